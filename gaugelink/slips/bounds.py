"""What sizes the printed limits make plausible, new and worn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable
    from fractions import Fraction

    from gaugelink.limits import Limit

WEAR_TIMES: Final = 4
"""Heads come in worn beyond their limits, that is why they come; so what the book allows for wear
counts four times before a value is no longer taken for wear."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """What limits make plausible: the range of new parts, and how far wear may have taken them.

    `wear` is the direction in which wear moves the size: -1, +1, or 0 where the limits do not say.
    """

    new_low: int
    new_high: int
    low: int
    high: int
    wear: int

    def holds(self, pm: int | Fraction, slack: int | Fraction = 0) -> bool:
        """Tell whether a length can be this size, worn or new; the ends are within.

        Stems new from 7.960 mm with 7.935 mm as service limit count as worn down to 7.860 mm:

        >>> Bounds(7_960, 7_975, 7_860, 7_975, -1).holds(7_860)
        True
        """
        return self.low - slack <= pm <= self.high + slack


def bounds_for(limits: Iterable[Limit]) -> Bounds | None:
    """Make out of the printed limits what sizes are plausible; None if they do not say.

    A book that gives a new range and a service limit beside it says which way the size wears and by
    how much. One that gives a single bound says neither.
    """
    found: dict[str, int] = {}
    for limit in limits:
        if limit.method or limit.judge == "range":
            continue
        for name, bound in limit.bounds.items():
            found.setdefault(name, bound.pm)
    low = found.get("new_min", found.get("service_min"))
    high = found.get("new_max", found.get("service_max"))
    if low is None or high is None:
        return None
    down = low - found["service_min"] if "service_min" in found else 0
    up = found["service_max"] - high if "service_max" in found else 0
    if not down and not up:
        # One bound a side: which of them is worn towards is not said.
        room = WEAR_TIMES * (high - low)
        return Bounds(low, high, low - room, high + room, 0)
    wear = 0 if down and up else -1 if down else 1
    return Bounds(low, high, low - WEAR_TIMES * down, high + WEAR_TIMES * up, wear)
