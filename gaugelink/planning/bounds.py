"""Limits of a figure with their guard bands taken off, and limits of load and coils as such."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Literal

from gaugelink.metrology.conformity import GUARD_FACTOR
from gaugelink.metrology.springs import combined_n

if TYPE_CHECKING:
    from gaugelink.metrology.springs import Loads
    from gaugelink.planning.allowances import Figure


def guard_pm(u_pm: int) -> int:
    """Give the room that a limit needs for a standard uncertainty, rounded up to a picometre.

    >>> guard_pm(10_000_000)  # u = 0.010 mm
    16450000
    """
    return -(-GUARD_FACTOR.numerator * u_pm // GUARD_FACTOR.denominator)


@dataclass(frozen=True, slots=True)
class Bound:
    """One side of a limit on a figure.

    Attributes:
        name: what the book calls the limit; two bounds may bear on one figure, such as the
            installed height itself and the load of the spring at it.
        figure: the figure that it holds.
        side: whether the figure may not be below it or not above it.
        at_pm: the limit less its guard band, itself within, picometres.
    """

    name: str
    figure: Figure
    side: Literal["lower", "upper"]
    at_pm: int

    def room_pm(self, value_pm: int) -> int:
        """Give how far a value lies inside, below 0 where it lies beyond."""
        return value_pm - self.at_pm if self.side == "lower" else self.at_pm - value_pm


def bounds(
    name: str, figure: Figure, lower_pm: int | None, upper_pm: int | None, u_pm: int = 0
) -> tuple[Bound, ...]:
    """Make the bounds of a limit, drawn in by 1.645 standard uncertainties.

    >>> [one.at_pm for one in bounds("stand-down", "stand-down", 900, 1400, u_pm=10)]
    [917, 1383]
    """
    found: list[Bound] = []
    if lower_pm is not None:
        found.append(Bound(f"{name} min", figure, "lower", lower_pm + guard_pm(u_pm)))
    if upper_pm is not None:
        found.append(Bound(f"{name} max", figure, "upper", upper_pm - guard_pm(u_pm)))
    return tuple(found)


def load_bounds(
    spring: Loads,
    lowest_n: Fraction | None,
    highest_n: Fraction | None,
    *,
    lost_n: Fraction = Fraction(0),
    u_n: Fraction = Fraction(0),
    u_pm: int = 0,
) -> tuple[Bound, ...]:
    """Turn limits of the load at the installed height into bounds of that height.

    A tired spring has lost load: its curve lies lower by as much at every height. The guard band is
    that of load and height together, the height's turned into a load by the rate that holds there.

    Args:
        spring: of a new spring.
        lowest_n: smallest load allowed, or None.
        highest_n: largest load allowed, or None.
        lost_n: what the spring has lost against a new one, N.
        u_n: standard uncertainty of the load, N.
        u_pm: standard uncertainty of the height, picometres.

    >>> from gaugelink.metrology.springs import from_rate
    >>> new = from_rate(Fraction(30), Fraction(50))
    >>> [one.at_pm for one in load_bounds(new, Fraction(270), None, lost_n=Fraction(15))]
    [40500000000]
    """
    u_mm = Fraction(u_pm, 10**9)
    found: list[Bound] = []
    if lowest_n is not None:
        top = _highest(spring, lowest_n + lost_n, u_n, u_mm) * 10**9
        found.append(Bound("spring load min", "installed spring height", "upper",
                           top.numerator // top.denominator))  # fmt: skip
    if highest_n is not None:
        low = _lowest(spring, highest_n + lost_n, u_n, u_mm) * 10**9
        found.append(Bound("spring load max", "installed spring height", "lower",
                           -(-low.numerator // low.denominator)))  # fmt: skip
    return tuple(found)


def _highest(spring: Loads, least_n: Fraction, u_n: Fraction, u_mm: Fraction) -> Fraction:
    """Give the height up to which a spring has a load at least, its guard band taken off, mm.

    Every part of a table has a rate of its own, and with that a guard band of its own. So the parts
    are gone through from below, and where one ends short of the next, that is the height.
    """
    sure, reached = None, spring.free_mm
    for (top, load), rate in reversed([*zip(spring.points, spring.rates, strict=False)]):
        needed = max(Fraction(0), least_n + GUARD_FACTOR * combined_n(u_n, rate * u_mm))
        reached = top + (load - needed) / rate
        if sure is not None and reached <= sure:
            return sure
        if reached < top:
            return reached
        sure = top
    return reached  # above the table the first rate is carried on


def _lowest(spring: Loads, most_n: Fraction, u_n: Fraction, u_mm: Fraction) -> Fraction:
    """Give the height down to which a spring has a load at most, its guard band taken off, mm."""
    sure, reached = None, spring.free_mm
    for ((top, load), rate), (bottom, _) in zip(
        zip(spring.points, spring.rates, strict=False), spring.points[1:], strict=True
    ):
        allowed = max(Fraction(0), most_n - GUARD_FACTOR * combined_n(u_n, rate * u_mm))
        reached = top + (load - allowed) / rate
        if sure is not None and reached > sure:  # where two parts meet, the lower one holds
            return sure + Fraction(1, 10**9)
        if reached > bottom:
            return reached
        sure = bottom
    return reached


def bind_bound(lift_pm: int, solid_pm: int, least_pm: int, u_pm: int = 0) -> Bound:
    """Give the smallest installed height that leaves room before the coils touch at full lift.

    >>> bind_bound(10_000_000_000, 28_000_000_000, 1_500_000_000).at_pm / 1e9
    39.5
    """
    at = lift_pm + solid_pm + least_pm + guard_pm(u_pm)
    return Bound("coil-bind margin min", "installed spring height", "lower", at)
