"""Watching the gauge that is asked for, so that nobody needs a button.

Switched on, a gauge that sends all the time is taken from when it has come to rest, and a sweep
begins by itself when the spindle begins to move. Switched off, nothing happens without a button.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gaugelink.capture.triggers import Motion, Steady

if TYPE_CHECKING:
    from gaugelink.wire.base import Value


@dataclass(slots=True)
class Watch:
    """The triggers without a button, for all gauges of a bench."""

    on: bool = False
    _steady: dict[str, Steady] = field(default_factory=dict)
    _motion: Motion[Value] = field(default_factory=Motion)
    _moving: str = ""

    def switch(self, *, on: bool) -> None:
        """Switch on or off; whatever was seen before no longer counts."""
        self.on = on
        self._steady.clear()
        self._motion.forget()

    def rests(self, gauge: str, value: Value, mono_ns: int) -> bool:
        """Tell whether this value is to be taken because it has come to rest."""
        if not self.on or value.mode != "actual":
            return False
        steady = self._steady.setdefault(gauge, Steady())
        return steady.feed(value.shown.pm, value.shown.step_pm, mono_ns)

    def taken(self, gauge: str, value: Value) -> None:
        """Take note that a value was taken by a button: it must move away before a rest counts."""
        if self.on:
            self._steady.setdefault(gauge, Steady()).disarm(value.shown.pm)

    def moves(self, gauge: str, value: Value, mono_ns: int) -> list[tuple[int, Value]]:
        """Give the first samples of a sweep if it begins now, with their times; else nothing."""
        if not self.on:
            return []
        if gauge != self._moving:
            self._moving = gauge
            self._motion.forget()
        shown = value.shown
        return (
            self._motion.before()
            if self._motion.feed(shown.pm, shown.step_pm, mono_ns, value)
            else []
        )
