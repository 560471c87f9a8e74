"""A gauge on its port: bytes in, values out, and what its display shows now."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from gaugelink.ports.serial import Line
from gaugelink.wire.base import Noise, Partial, Value

if TYPE_CHECKING:
    from collections.abc import Callable

    from gaugelink.ports.identity import PortIdentity
    from gaugelink.ports.port import Port
    from gaugelink.reading import Gauge
    from gaugelink.wire.base import Decoder, Item
    from gaugelink.wire.driver import Driver


ANSWER_NS: Final = 1_000_000_000
"""How long a gauge that was asked is waited for before it may be asked again."""

BOUNCE_NS: Final = 500_000_000
"""The same figure again within so long is one press of a button or pedal that bounced; repeats
that are meant come later (common practice, no source)."""


def line_of(driver: Driver) -> Line:
    """Give the settings of the serial line that a driver file states."""
    port = driver.port
    return Line(port.baud, port.bytesize, port.parity, port.stopbits, port.flow, port.dtr, port.rts)


@dataclass(slots=True)
class Channel:
    """One gauge with its port, driver and decoder.

    Attributes:
        last: the last value that came.
        armed: why the next value of a gauge that sends all the time, or has to be asked, is
            wanted; empty when not.
        asked_ns: when it was asked last.
        taken: the value that was taken last, and when, so that a bouncing button shows.
        bytes_in: bytes since the start.
        noise_bytes: those that made no value.
        identity: what the gauge's adapter is known by; None: once lost it is not looked for.
        plug: makes a port of the same kind and settings under another name.
    """

    gauge: Gauge
    driver: Driver
    port: Port
    identity: PortIdentity | None = None
    plug: Callable[[str], Port] | None = None
    decoder: Decoder = field(init=False)
    last: Value | None = None
    armed: str = ""
    asked_ns: int = 0
    taken: tuple[str, int] | None = None
    here: bool = False
    bytes_in: int = 0
    noise_bytes: int = 0
    values: int = 0
    heard_ns: int = 0

    def __post_init__(self) -> None:
        """Start decoding; the stream is joined somewhere in the middle."""
        self.decoder = self.driver.decoder(joined_midstream=True)

    def feed(self, data: bytes, mono_ns: int) -> list[Value]:
        """Decode what came, counting what made no value.

        Args:
            data: the bytes.
            mono_ns: when they came. After a silence as long as the driver's pause a new frame
                begins; what had begun before it is dropped.
        """
        items: list[Item] = []
        if mono_ns - self.heard_ns >= self.driver.pause_ns:
            items += self.decoder.gap()
        self.heard_ns = mono_ns
        self.bytes_in += len(data)
        items += self.decoder.feed(data)
        values = []
        for item in items:
            match item:
                case Value():
                    values.append(item)
                    self.last = item
                    self.values += 1
                case Noise() | Partial():
                    self.noise_bytes += len(item.raw)
        return values

    def unwanted(self, value: Value, mono_ns: int) -> str:
        """Say why nobody can have wanted a value that came; empty where somebody may have.

        It goes to the tray then: put into the place that is asked for, it would be a second
        reading from one press, in a place where the gauge has not been yet.
        """
        if self.armed:
            return ""
        if self.driver.request:
            return "nobody had asked the gauge: its answer came late or twice"
        if self.taken is not None:
            text, taken_ns = self.taken
            passed_ns = mono_ns - taken_ns
            if text == str(value.shown) and passed_ns < BOUNCE_NS:
                return f"the same value came {passed_ns // 1_000_000} ms before: a button bounced"
        return ""

    def restart(self, mono_ns: int) -> None:
        """Begin a new stream: the port was opened, now, or again."""
        self.heard_ns = mono_ns
        self.decoder = self.driver.decoder(joined_midstream=True)
        self.last = None
        self.armed = ""
        self.taken = None
