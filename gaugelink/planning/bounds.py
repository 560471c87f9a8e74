"""Limits of a figure with their guard bands taken off, and limits of load and coils as such."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Literal

from gaugelink.metrology.conformity import GUARD_FACTOR

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


def height_at(spring: Loads, load_n: Fraction) -> Fraction:
    """Give the height at which a spring has a load, mm; the inverse of its `load`.

    Args:
        spring: loads at heights.
        load_n: the load, 0 or more.

    Raises:
        ValueError: the load is below 0.

    >>> from gaugelink.metrology.springs import from_rate
    >>> float(height_at(from_rate(Fraction("32.5"), Fraction(48)), Fraction("292.5")))
    39.0
    """
    if load_n < 0:
        raise ValueError(f"found a load of {float(load_n):g} N, needed: 0 or more")
    (high, less), rate = spring.points[0], spring.rates[0]
    for (next_high, next_less), next_rate in zip(spring.points, spring.rates, strict=False):
        if load_n >= next_less:
            high, less, rate = next_high, next_less, next_rate
    return high - (load_n - less) / rate


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

    A tired spring has lost load: its curve lies lower by as much at every height.

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
    found: list[Bound] = []
    guard = GUARD_FACTOR * u_n
    if lowest_n is not None:
        top = height_at(spring, max(Fraction(0), lowest_n + lost_n + guard)) * 10**9
        found.append(Bound("spring load min", "installed spring height", "upper",
                           top.numerator // top.denominator - guard_pm(u_pm)))  # fmt: skip
    if highest_n is not None:
        low = height_at(spring, max(Fraction(0), highest_n + lost_n - guard)) * 10**9
        found.append(Bound("spring load max", "installed spring height", "lower",
                           -(-low.numerator // low.denominator) + guard_pm(u_pm)))  # fmt: skip
    return tuple(found)


def bind_bound(lift_pm: int, solid_pm: int, least_pm: int, u_pm: int = 0) -> Bound:
    """Give the smallest installed height that leaves room before the coils touch at full lift.

    >>> bind_bound(10_000_000_000, 28_000_000_000, 1_500_000_000).at_pm / 1e9
    39.5
    """
    at = lift_pm + solid_pm + least_pm + guard_pm(u_pm)
    return Bound("coil-bind margin min", "installed spring height", "lower", at)
