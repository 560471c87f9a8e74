"""How each gauge of a bench stands: lost, back and unconfirmed, zero in doubt, battery low.

Told by events of the record only, so that a bench that lost its power knows what it knew before.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from gaugelink.events import (
    BatteryTold,
    GaugeFound,
    GaugeLost,
    PositionConfirmed,
    ZeroChecked,
    ZeroDoubted,
)

Told = GaugeLost | GaugeFound | PositionConfirmed | ZeroDoubted | ZeroChecked | BatteryTold

UNCONFIRMED: Final = "the gauge was lost and is back; confirm that it is at the position asked for"
BATTERY: Final = "its battery is low, and a gauge may then slow down or jump; change it first"


def zero_words(why: str) -> str:
    """Say what is to be done about a zero in doubt.

    >>> zero_words("it was switched on")
    'it was switched on; check the zero on its master, then confirm it'
    """
    return f"{why}; check the zero on its master, then confirm it"


@dataclass(slots=True)
class Standing:
    """What stands against gauges, by their marks.

    Attributes:
        lost: those that are lost.
        unconfirmed: those that were lost and are back, and nobody has said yet that they are where
            they are asked for.
        zero: those whose zero is in doubt, and why.
        battery: those that said that their battery is low, since they were found.
    """

    lost: set[str] = field(default_factory=set)
    unconfirmed: set[str] = field(default_factory=set)
    zero: dict[str, str] = field(default_factory=dict)
    battery: set[str] = field(default_factory=set)

    def apply(self, event: Told) -> None:
        """Take in an event of the record."""
        gauge = event.gauge
        match event:
            case GaugeLost():
                self.lost.add(gauge)
                self.unconfirmed.discard(gauge)
            case GaugeFound():
                if gauge in self.lost:
                    self.unconfirmed.add(gauge)
                self.lost.discard(gauge)
                self.battery.discard(gauge)
            case PositionConfirmed():
                self.unconfirmed.discard(gauge)
            case ZeroDoubted(why=why):
                self.zero[gauge] = why
            case ZeroChecked():
                self.zero.pop(gauge, None)
            case BatteryTold(low=low):
                if low:
                    self.battery.add(gauge)
                else:
                    self.battery.discard(gauge)

    def against_value(self, gauge: str, *, zero_asked: bool = False) -> str:
        """Say why a gauge's value cannot be put into the place asked for; empty where it can.

        Args:
            gauge: the gauge.
            zero_asked: what is asked for is how the zero is; then a doubt is no reason.
        """
        if gauge in self.unconfirmed:
            return UNCONFIRMED
        if gauge in self.zero and not zero_asked:
            return zero_words(self.zero[gauge])
        return ""

    def against_sweep(self, gauge: str) -> str:
        """Say why a sweep cannot be recorded with a gauge; empty where it can."""
        return self.against_value(gauge) or (BATTERY if gauge in self.battery else "")
