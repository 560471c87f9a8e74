"""A bridge on a port: which channels it has, and which driver files understand each of them.

A line of a bridge has a check, so one good line is enough to know a bridge (docs/bridge-line.md).
Its frames are bits only: every clocked driver is tried on those of each channel.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gaugelink.capture.listening import Score, conclude, score_of
from gaugelink.ports.port import Chunk
from gaugelink.wire.base import Noise
from gaugelink.wire.bits import ClockedFrame
from gaugelink.wire.bridge import BridgeDecoder, Lost
from gaugelink.wire.bridge_lines import Bits, Hello, Note, Status, read_line

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from gaugelink.wire.bridge import Tagged
    from gaugelink.wire.driver import Driver


@dataclass(slots=True)
class BridgeChannel:
    """What was heard from one channel of a bridge.

    Attributes:
        number: 1 to 9.
        frames: that came.
        lost: that the sequence numbers tell of and that never came.
        dropped: how often the bridge itself had no room for clocks, since its start.
        scores: of the clocked drivers that were tried.
        fits: the names of the drivers that fit.
        words: a sentence for a person.
    """

    number: int
    frames: int = 0
    lost: int = 0
    dropped: int = 0
    scores: list[Score] = field(default_factory=list)
    fits: list[str] = field(default_factory=list)
    words: str = ""


@dataclass(slots=True)
class BridgeHeard:
    """A bridge that was heard.

    Attributes:
        firmware: its version; empty if it did not say hello.
        supply: of the bridge: good, low, unknown, or empty if it did not say.
        channels: by number; those that it said it has, and those that were heard.
    """

    firmware: str = ""
    supply: str = ""
    channels: dict[int, BridgeChannel] = field(default_factory=dict)

    @property
    def words(self) -> str:
        """Say which bridge it is.

        >>> bridge = BridgeHeard("1.0.0", "good", {2: BridgeChannel(2), 1: BridgeChannel(1)})
        >>> bridge.words
        'a bridge is here, with 2 channels (1, 2), firmware 1.0.0'
        """
        count = len(self.channels)
        channels = "1 channel" if count == 1 else f"{count} channels"
        numbers = ", ".join(map(str, sorted(self.channels)))
        with_them = f", with {channels} ({numbers})" if count else "; it named no channel yet"
        firmware = f", firmware {self.firmware}" if self.firmware else ""
        supply = ", its supply is low" if self.supply == "low" else ""
        return f"a bridge is here{with_them}{firmware}{supply}"

    def channel(self, number: int) -> BridgeChannel:
        """Give a channel, a new one if it has not been heard of."""
        return self.channels.setdefault(number, BridgeChannel(number))


def bridge_heard(chunks: Iterable[Chunk], drivers: Sequence[Driver]) -> BridgeHeard | None:
    r"""Find a bridge in what came down a port, and try the drivers on its channels.

    Args:
        chunks: what came, with the times of arrival.
        drivers: those to try; only the clocked ones among them are.

    Returns:
        The bridge, or None: not one good line of a bridge came.

    >>> line = b"@1 bits 2 017 0000004711 001001100000000000001000 07EB\n"
    >>> found = bridge_heard([Chunk(line, 0)], [])
    >>> found.words, found.channels[2].words
    ('a bridge is here, with 1 channel (2)', '1 frame came, and no driver file understands it')
    """
    decoder = BridgeDecoder({}, joined_midstream=True)
    found = BridgeHeard()
    frames: dict[int, list[Chunk]] = {}
    known = False
    for chunk in chunks:
        for tagged in decoder.feed(chunk.data):
            known = _take(found, frames, tagged, chunk.mono_ns) or known
    if not known:
        return None
    clocked = [driver for driver in drivers if isinstance(driver.frame, ClockedFrame)]
    for number, channel in found.channels.items():
        _try(channel, frames.get(number, []), clocked)
    return found


def _take(found: BridgeHeard, frames: dict[int, list[Chunk]], tagged: Tagged, mono_ns: int) -> bool:
    """Take note of an item; tell whether it was a good line of a bridge."""
    match tagged.item:
        case Hello() as hello:
            found.firmware = hello.firmware
            for number in hello.channels:
                found.channel(number)
        case Status() as status:
            found.supply = status.supply
            found.channel(status.channel).dropped = status.dropped
        case Lost(count):
            assert tagged.channel is not None
            found.channel(tagged.channel).lost += count
        case Noise(raw, _):
            # No channel has a gauge here, so frames come as noise: the line is whole all the same.
            line = read_line(raw)
            if not isinstance(line, Bits):
                return False
            found.channel(line.channel).frames += 1
            frames.setdefault(line.channel, []).append(Chunk(line.bits + b"\n", mono_ns))
        case Note():
            pass
        case _:
            return False
    return True


def _try(channel: BridgeChannel, frames: list[Chunk], drivers: Sequence[Driver]) -> None:
    heard = sum(len(frame.data) for frame in frames)
    channel.scores = [
        score_of(driver.name, driver.frame.decoder(), driver.pause_ns, frames, 0)
        for driver in drivers
    ]
    channel.fits, channel.words = conclude(channel.scores, heard)
    if not frames:
        channel.words = "no frame came; press the gauge's button, or look at its cable"
    elif not channel.fits:
        came = "1 frame" if channel.frames == 1 else f"{channel.frames} frames"
        it = "it" if channel.frames == 1 else "them"
        channel.words = f"{came} came, and no driver file understands {it}"
    if channel.lost:
        lost = "1 frame was" if channel.lost == 1 else f"{channel.lost} frames were"
        channel.words += f"; {lost} lost on the way"
    if channel.dropped:
        channel.words += f"; the bridge itself missed clocks {channel.dropped} times"
