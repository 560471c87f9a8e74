"""A bridge behind a port: clocked gauges on its channels, each with a driver of its own.

What the bridge says of itself becomes sentences, each said once. Where a driver file says how its
channel is to be sampled, the bridge is told so at opening and whenever it has started again.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from gaugelink.capture.arrivals import Remark, Send
from gaugelink.errors import InputError
from gaugelink.wire.base import Noise, Partial, Value
from gaugelink.wire.bits import ClockedFrame
from gaugelink.wire.bridge import BridgeDecoder, Lost, Restarted, Tagged
from gaugelink.wire.bridge_lines import Hello, Note, Status, ask_line, set_line, who_line

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from gaugelink.capture.channel import Channel
    from gaugelink.wire.driver import Driver

Said = Value | Noise | Partial | Remark | Send

FS_PER_US = 10**9


def is_bridge(channels: Mapping[str, Channel]) -> bool:
    """Tell whether gauges by these marks are behind a bridge.

    A clocked gauge that has a mark on the wire has it from a bridge: the bit line has none.
    """
    return all(
        mark and isinstance(item.driver.frame, ClockedFrame) for mark, item in channels.items()
    )


class Bridge:
    """Takes the lines of a bridge apart, for the gauges of one cable.

    Args:
        port: what people call its port.
        channels: the gauges by their channel, ``1`` to ``9``.

    Attributes:
        greeting: what it is sent at opening: who is there, and how channels are to be sampled.

    Raises:
        InputError: a mark that no channel of a bridge has, or a pause that it cannot keep.
    """

    def __init__(self, port: str, channels: Mapping[str, Channel]) -> None:
        self._port = port
        self._channels = {_number(mark, port): channel for mark, channel in channels.items()}
        frames: dict[int, ClockedFrame] = {}
        settings = b""
        for number, channel in self._channels.items():
            frame = channel.driver.frame
            assert isinstance(frame, ClockedFrame)
            frames[number] = frame
            settings += _settings(number, channel.driver, frame)
            channel.request = ask_line(number) if channel.driver.sends == "when asked" else None
        self._settings = settings
        self.greeting = who_line() + settings
        self._decoder = BridgeDecoder(frames, joined_midstream=True)
        self._dropped: dict[int, int] = {}
        self._said: set[tuple[str, int]] = set()

    def feed(self, data: bytes) -> list[Said]:
        """Take the next bytes; give what they complete, values with their channel."""
        return self._all(self._decoder.feed(data))

    def gap(self) -> list[Said]:
        """Take note of a pause on the port."""
        return self._all(self._decoder.gap())

    def _all(self, came: list[Tagged]) -> list[Said]:
        found = [item for tagged in came for item in self._items(tagged)]
        # However many lines tell of one start, one answer is enough.
        sent = [item for item in found if isinstance(item, Send)]
        return [item for item in found if not isinstance(item, Send)] + sent[:1]

    def _items(self, tagged: Tagged) -> Iterator[Said]:
        number = tagged.channel or 0
        match tagged.item:
            case Value() as value:
                self._said -= {("silent", number), ("refused", number), ("busy", number)}
                yield replace(value, channel=str(number))
            case Noise() | Partial() as noise:
                yield noise
                if number and number not in self._channels:
                    yield from self._once(
                        "unknown", number,
                        f"a frame came on channel {number} of the bridge on {self._port}, and no "
                        "gauge of this bench is entered there; it is not on record",
                    )  # fmt: skip
            case Lost(count):
                yield from self._lost(number, count)
            case Restarted():
                marks = tuple(channel.gauge.id for channel in self._channels.values())
                self._dropped.clear()
                yield Remark(
                    f"the bridge on {self._port} has started again; what its gauges sent meanwhile "
                    "is lost",
                    marks,
                    "the bridge started again during the sweep",
                )
                yield from self._again()
            case Hello() as hello:
                yield from self._hello(hello)
            case Status() as status:
                yield from self._status(status)
            case Note() as note:
                yield from self._note(note)

    def _lost(self, number: int, count: int) -> Iterator[Remark]:
        channel = self._channels.get(number)
        if channel is None:
            return
        frames = "1 frame" if count == 1 else f"{count} frames"
        was = "was" if count == 1 else "were"
        yield Remark(
            f"{frames} of {channel.gauge.title} {was} lost between the bridge on {self._port} and "
            "the program",
            (channel.gauge.id,),
            f"{frames} {was} lost during the sweep",
        )

    def _hello(self, hello: Hello) -> Iterator[Remark | Send]:
        for number, channel in self._channels.items():
            if number not in hello.channels:
                has = ", ".join(map(str, hello.channels))
                yield from self._once(
                    "missing", number,
                    f"{channel.gauge.title} is entered on channel {number} of the bridge on "
                    f"{self._port}, which has only: {has}",
                )  # fmt: skip
        if hello.started:
            yield from self._again()

    def _again(self) -> Iterator[Send]:
        if self._settings:
            yield Send(self._settings)

    def _status(self, status: Status) -> Iterator[Remark]:
        if status.supply == "low":
            yield from self._once("supply", 0, f"the supply of the bridge on {self._port} is low")
        elif status.supply == "good":
            self._said.discard(("supply", 0))
        channel = self._channels.get(status.channel)
        before = self._dropped.get(status.channel)
        self._dropped[status.channel] = status.dropped
        if channel is not None and status.dropped > (before or 0):
            times = "once" if status.dropped == 1 else f"{status.dropped} times"
            since = "since its start" if before is None else "by now"
            yield Remark(
                f"the bridge on {self._port} missed clocks of {channel.gauge.title}, {times} "
                f"{since}; a frame without them is refused",
                (channel.gauge.id,) if before is not None else (),
                "the bridge missed clocks during the sweep",
            )

    def _note(self, note: Note) -> Iterator[Remark]:
        """Tell of what did not go as it should; ``asked`` and ``set`` are what was wanted."""
        channel = self._channels.get(note.channel)
        if note.word in {"asked", "set"} or (channel is None and note.channel):
            return
        title = channel.gauge.title if channel is not None else "one of its gauges"
        words = {
            "silent": f"{title} was asked and did not answer; look whether it is switched on",
            "busy": f"{title} was asked before its last answer was through",
            "refused": f"the bridge on {self._port} refused a request for {title}: it has no such "
            "channel, or no wire to ask on, or the request came damaged",
        }
        if channel is not None and note.word != "busy":
            channel.unasked()
        yield from self._once(note.word, note.channel, words[note.word])

    def _once(self, what: str, number: int, words: str) -> Iterator[Remark]:
        if (what, number) not in self._said:
            self._said.add((what, number))
            yield Remark(words)


def _settings(number: int, driver: Driver, frame: ClockedFrame) -> bytes:
    """Say how a channel is to be sampled; nothing where the driver file leaves that to the board.

    The edge in ``[frame]`` is that of a capture. A board reads DATA some microseconds after its
    edge, which may have to be the other one, and only who wired it knows what lies between.
    """
    port = driver.port
    if port.edge is None:
        return b""
    try:
        return set_line(number, port.edge, frame.pause_fs // FS_PER_US, inverted=port.inverted)
    except InputError as fault:
        raise InputError(fault.what, file=driver.file, field="frame.pause") from None


def _number(mark: str, port: str) -> int:
    if mark not in set("123456789"):
        raise InputError(f"found channel {mark!r} of the bridge on {port}, accepted: 1 to 9")
    return int(mark)
