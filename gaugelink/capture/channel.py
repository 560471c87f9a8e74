"""A gauge and what it does: its driver, what its display shows now, and what is wanted of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from gaugelink.ports.serial import Line

if TYPE_CHECKING:
    from gaugelink.reading import Gauge
    from gaugelink.wire.base import Value
    from gaugelink.wire.driver import Driver


ANSWER_NS: Final = 1_000_000_000
"""How long a gauge that was asked is waited for before it may be asked again."""

BOUNCE_NS: Final = 500_000_000
"""The same figure again within so long is one press of a button or pedal that bounced; repeats
that are meant come later (common practice, no source)."""


def line_of(driver: Driver) -> Line:
    """Give the settings of the port that a driver file states."""
    port = driver.port
    return Line(
        port.baud, port.bytesize, port.parity, port.stopbits, port.flow, port.dtr, port.rts,
        port.interface, port.endpoint, port.layout or "us",
    )  # fmt: skip


@dataclass(slots=True)
class Channel:
    """One gauge, alone behind its port or one of several there (`gaugelink.capture.cable`).

    Attributes:
        last: the last value that came.
        armed: why the next value of a gauge that sends all the time, or has to be asked, is
            wanted; empty when not.
        asked_ns: when it was asked last.
        taken: the value that was taken last, and when, so that a bouncing button shows.
        values: how many came since the start.
    """

    gauge: Gauge
    driver: Driver
    last: Value | None = None
    armed: str = ""
    asked_ns: int = 0
    taken: tuple[str, int] | None = None
    values: int = 0

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

    def restart(self) -> None:
        """Forget what was: the port was opened, now, or again."""
        self.last = None
        self.armed = ""
        self.taken = None
