r"""Several clocked gauges on one port, through a bridge: lines in, tagged values out.

The bridge only forwards bits (docs/bridge-line.md); each channel's own codec reads them here. A gap
in a channel's sequence numbers is said as `Lost`, whether the bridge, the cable or this computer
lost the frames.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from gaugelink.wire.base import Item, Noise, Partial, Value
from gaugelink.wire.bridge_lines import (
    MICROSECONDS,
    SEQUENCES,
    Bits,
    BridgeLines,
    Hello,
    Line,
    Note,
    Status,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from gaugelink.wire.bits import ClockedFrame


@dataclass(frozen=True, slots=True)
class Lost:
    """Frames of a channel that never came; their number is known modulo 1000.

    Attributes:
        count: how many, 1 to 999.
        raw: nothing, for no byte came.
    """

    count: int
    raw: bytes = b""


@dataclass(frozen=True, slots=True)
class Restarted:
    """The bridge has started again: it counts and times from the beginning.

    What it lost meanwhile is not known.

    Attributes:
        raw: nothing; the line that tells of it follows.
    """

    raw: bytes = b""


@dataclass(frozen=True, slots=True)
class Tagged:
    """What came, and where and when.

    Attributes:
        channel: 1 to 9; None: the bridge itself, or it cannot be told.
        us: microseconds since the bridge started, of the frame's first clock or of what the bridge
            says; counted on where the line wraps at 2**32, as long as something comes at least
            once in 35 minutes (the bridge speaks once a second). None: it cannot be told.
        item: what came. Its ``raw`` is the whole line.
    """

    channel: int | None
    us: int | None
    item: Value | Noise | Partial | Lost | Restarted | Hello | Status | Note


class BridgeDecoder:
    r"""Turns the bytes of a bridge into tagged items. Holds no port and no clock.

    Every byte that is fed ends in exactly one item, in order, however the bytes are cut.

    Args:
        frames: the ``[frame]`` table of the driver of each channel's gauge.
        joined_midstream: the stream is joined at an unknown place, as after opening a port.

    >>> from gaugelink.wire.scale24 import Scale24Frame
    >>> scale = Scale24Frame(codec="scale24", edge="rising", pause="1 ms", sign_bit=20,
    ...     inch_bit=23, step_mm="0.01 mm", step_in="0.0005 in")
    >>> bridge = BridgeDecoder({2: scale})
    >>> [came] = bridge.feed(b"@1 bits 2 017 0000004711 001001100000000000001000 07EB\n")
    >>> came.channel, came.us, str(came.item.shown)
    (2, 4711, '-1.00 mm')
    """

    def __init__(
        self, frames: Mapping[int, ClockedFrame], *, joined_midstream: bool = False
    ) -> None:
        self._lines = BridgeLines(joined_midstream=joined_midstream)
        self._codecs = {channel: frame.decoder() for channel, frame in frames.items()}
        self._next: dict[int, int] = {}
        self._run = ""
        self._us: int | None = None

    def feed(self, data: bytes) -> list[Tagged]:
        """Take the next bytes; give the items that they complete."""
        return self._tagged(self._lines.feed(data))

    def gap(self) -> list[Tagged]:
        """Take note of half a second without a byte: a line that has begun is broken off."""
        return self._tagged(self._lines.gap())

    def end(self) -> list[Tagged]:
        """Take note of the end of the stream; give what was still begun."""
        return self._tagged(self._lines.end())

    def _tagged(self, lines: list[Line]) -> list[Tagged]:
        return [item for line in lines for item in self._items(line)]

    def _items(self, line: Line) -> Iterator[Tagged]:
        match line:
            case Noise() | Partial():
                yield Tagged(None, None, line)
            case Bits():
                us = self._time(line.us)
                yield from self._lost(line.channel, line.sequence, us)
                self._next[line.channel] = (line.sequence + 1) % SEQUENCES
                yield Tagged(line.channel, us, self._decoded(line))
            case Hello():
                yield from self._run_is(line.run, started=line.started)
                if line.started:
                    self._next = dict.fromkeys(line.channels, 0)
                yield Tagged(None, self._time(line.us), line)
            case Status():
                yield from self._run_is(line.run)
                us = self._time(line.us)
                yield from self._lost(line.channel, line.sequence, us)
                self._next[line.channel] = line.sequence
                yield Tagged(line.channel, us, line)
            case Note():
                yield Tagged(line.channel or None, self._time(line.us), line)

    def _decoded(self, line: Bits) -> Item:
        codec = self._codecs.get(line.channel)
        if codec is None:
            return Noise(line.raw, f"channel {line.channel} has no gauge here")
        # A codec may need several items for bits that are far too many; the line stays one.
        first, *_ = codec.feed(line.bits + b"\n")
        return replace(first, raw=line.raw)

    def _lost(self, channel: int, sequence: int, us: int) -> Iterator[Tagged]:
        count = (sequence - self._next.get(channel, sequence)) % SEQUENCES
        if count:
            yield Tagged(channel, us, Lost(count))

    def _run_is(self, run: str, *, started: bool = False) -> Iterator[Tagged]:
        if started or self._run not in ("", run):
            known = self._run or self._us is not None
            self._next.clear()
            self._us = None
            if known:
                yield Tagged(None, None, Restarted())
        self._run = run

    def _time(self, us: int) -> int:
        """Count on where the line wraps; a frame may be a little older than what came before."""
        if self._us is None:
            self._us = us
        half = MICROSECONDS // 2
        now = self._us + (us - self._us + half) % MICROSECONDS - half
        self._us = max(self._us, now)
        return now


class ThroughBridge:
    """A `gaugelink.wire.base.Decoder` for the one gauge on one channel of a bridge.

    Whatever else the bridge says is noise with its meaning as the reason. Frames that were lost
    are told with the channel's next item, as a note beside a value.

    Args:
        frame: the ``[frame]`` table of the gauge's driver.
        channel: 1 to 9.
        joined_midstream: the stream is joined at an unknown place.
    """

    def __init__(
        self, frame: ClockedFrame, channel: int, *, joined_midstream: bool = False
    ) -> None:
        self._channel = channel
        self._bridge = BridgeDecoder({channel: frame}, joined_midstream=joined_midstream)
        self._remarks: list[str] = []

    def feed(self, data: bytes) -> list[Item]:
        """Take the next bytes; give the items that they complete."""
        return self._own(self._bridge.feed(data))

    def gap(self) -> list[Item]:
        """Take note of a pause on the port."""
        return self._own(self._bridge.gap())

    def end(self) -> list[Item]:
        """Take note of the end of the stream."""
        return self._own(self._bridge.end())

    def _own(self, came: list[Tagged]) -> list[Item]:
        items: list[Item] = []
        for tagged in came:
            match tagged.item:
                case Lost(count):
                    if tagged.channel == self._channel:
                        frames = "1 frame was" if count == 1 else f"{count} frames were"
                        self._remarks.append(f"{frames} lost before this")
                case Restarted():
                    self._remarks.append("the bridge has started again")
                case item:
                    items.append(self._remarked(tagged.channel, item))
        return items

    def _remarked(
        self, channel: int | None, item: Value | Noise | Partial | Hello | Status | Note
    ) -> Item:
        said = item if isinstance(item, Value | Noise | Partial) else Noise(item.raw, _said(item))
        if channel != self._channel or not self._remarks:
            return said
        remarks, self._remarks = tuple(self._remarks), []
        if isinstance(said, Value):
            return replace(said, notes=said.notes + remarks)
        return replace(said, why="; ".join((said.why, *remarks)))


def _said(line: Hello | Status | Note) -> str:
    match line:
        case Hello():
            channels = ", ".join(map(str, line.channels))
            state = "has started" if line.started else "is here"
            return f"the bridge {state}: firmware {line.firmware}, channels {channels}"
        case Status():
            return (
                f"the bridge on channel {line.channel}: clocks missed {line.dropped} times, "
                f"supply {line.supply}"
            )
        case Note():
            return f"the bridge on channel {line.channel}: {line.word}"
