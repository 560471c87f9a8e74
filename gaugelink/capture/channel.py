"""A gauge and what it does: its driver, what its display shows now, and what is wanted of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from gaugelink.capture.signs import Signs
from gaugelink.ports.serial import Line

if TYPE_CHECKING:
    from gaugelink.reading import Gauge
    from gaugelink.wire.base import Value
    from gaugelink.wire.driver import Driver


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
        request: what asks it for a value; None: it cannot be asked.
        asked_ns: when it was asked, as long as it has not answered; None: no answer is awaited.
        polled: it was asked only to see what it shows.
        taken: the value that was taken last, and when, so that a bouncing button shows.
        values: how many came since the start.
        signs: what its values show of trouble.
    """

    gauge: Gauge
    driver: Driver
    last: Value | None = None
    armed: str = ""
    request: bytes | None = field(init=False)
    asked_ns: int | None = None
    polled: bool = False
    taken: tuple[str, int] | None = None
    values: int = 0

    signs: Signs = field(default_factory=Signs)

    def __post_init__(self) -> None:
        """Ask as the driver file says, as long as nobody says otherwise."""
        self.request = self.driver.request

    def awaits(self, now_ns: int) -> bool:
        """Tell whether it has been asked and may still answer.

        Until then it is not asked again: some gauges take two seconds.
        """
        return self.asked_ns is not None and now_ns - self.asked_ns < self.driver.answer_ns

    def answered(self) -> bool:
        """Take note that a value came; tell whether it was asked for only to be seen."""
        polled = self.polled
        self.asked_ns, self.polled = None, False
        return polled

    def unasked(self) -> None:
        """Take note that no answer is coming any more."""
        self.asked_ns = None
        self.polled = False
        if self.armed == "asked":
            self.armed = ""

    def unwanted(self, value: Value, mono_ns: int) -> str:
        """Say why nobody can have wanted a value that came; empty where somebody may have.

        It goes to the tray then: put into the place that is asked for, it would be a second
        reading from one press, in a place where the gauge has not been yet.
        """
        if self.armed:
            return ""
        if self.request:
            return "nobody had asked the gauge: its answer came late or twice"
        if self.taken is not None:
            text, taken_ns = self.taken
            passed_ns = mono_ns - taken_ns
            if text == str(value.shown) and passed_ns < BOUNCE_NS:
                return f"the same value came {passed_ns // 1_000_000} ms before: a button bounced"
        return ""

    def restart(self) -> None:
        """Forget what was: the port was opened, now, or again."""
        self.unasked()
        self.last = None
        self.armed = ""
        self.taken = None
        self.signs = Signs()
