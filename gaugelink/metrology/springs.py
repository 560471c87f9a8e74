"""Valve springs: rate, loads, solid height, room to spare, and shims.

Everything is exact: heights in millimetres, loads in newtons, both fractions. A plain spring has
one rate; a progressive one is kept as a table of loads at heights, and is never boiled down to one
figure. Several on one valve are in `nest`.

Source: rate of a helical spring of round wire, R = G d^4 / (8 D^3 n): EN 13906-1; Shigley,
Mechanical Engineering Design, chapter 10 (both from memory, held by published examples in the
tests).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations_with_replacement, pairwise
from math import isqrt, lcm
from typing import TYPE_CHECKING, Final, Literal

from gaugelink.metrology.conformity import verdict

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelink.metrology.conformity import VerdictWord

Ends = Literal["ground", "squared"]

MOST_PIECES: Final = 3
"""Shims in one stack: more of them shift on each other (common practice, no source)."""

_FINE: Final = 10**6
"""Uncertainties of loads are rounded up to a micronewton."""


def rate_from_shape(
    wire_mm: Fraction, mean_mm: Fraction, active_coils: Fraction, shear_n_per_mm2: Fraction
) -> Fraction:
    """Give the rate of a spring from its shape, R = G d^4 / (8 D^3 n).

    Args:
        wire_mm: d, diameter of the wire.
        mean_mm: D, mean diameter of the coils: outer diameter less d.
        active_coils: n, coils that can move.
        shear_n_per_mm2: G, shear modulus; 1 GPa is 1000 N/mm^2.

    Returns:
        Newtons for a millimetre.

    Raises:
        ValueError: one of them is not above 0, or the wire is as thick as the coil.

    >>> round(float(rate_from_shape(Fraction(4), Fraction(30), Fraction(5), Fraction(79300))), 2)
    18.8
    """
    for name, value in (("wire diameter", wire_mm), ("mean diameter", mean_mm),
                        ("number of active coils", active_coils),
                        ("shear modulus", shear_n_per_mm2)):  # fmt: skip
        if value <= 0:
            raise ValueError(f"found a {name} of {float(value):g}, needed: more than 0")
    if wire_mm >= mean_mm:
        raise ValueError(
            f"found a wire of {float(wire_mm):g} mm and a mean diameter of {float(mean_mm):g} mm, "
            "needed: the wire thinner"
        )
    return shear_n_per_mm2 * wire_mm**4 / (8 * mean_mm**3 * active_coils)


def solid_height(wire_mm: Fraction, total_coils: Fraction, ends: Ends = "ground") -> Fraction:
    """Give the height at which all coils touch.

    Args:
        wire_mm: diameter of the wire.
        total_coils: all coils, the dead ones at the ends included.
        ends: closed and ground flat, as valve springs are: coils times wire; closed only
            ("squared"): one wire more (Shigley, table 10-1, from memory). Books of the trade differ
            by half a coil; a measured height is better.

    >>> solid_height(Fraction(4), Fraction(7)), solid_height(Fraction(4), Fraction(7), "squared")
    (Fraction(28, 1), Fraction(32, 1))
    """
    return wire_mm * (total_coils + (1 if ends == "squared" else 0))


@dataclass(frozen=True, slots=True)
class Loads:
    """Loads at heights, straight between neighbours.

    Attributes:
        points: ``(height in mm, load in N)``, heights falling, loads rising; at least two.
    """

    points: tuple[tuple[Fraction, Fraction], ...]

    def __post_init__(self) -> None:
        if len(self.points) < 2:
            raise ValueError(f"found loads at {len(self.points)} height, needed: at least two")
        for (high, less), (low, more) in pairwise(self.points):
            if low >= high or more <= less:
                raise ValueError(
                    f"found {float(less):g} N at {float(high):g} mm and {float(more):g} N at "
                    f"{float(low):g} mm, needed: a larger load at every smaller height, each "
                    "height once"
                )
        if self.points[0][1] < 0:
            raise ValueError("found a load below 0, needed: 0 or more")

    @property
    def rates(self) -> tuple[Fraction, ...]:
        """The rate between neighbouring heights, N/mm, from the greatest height down."""
        return tuple(
            (more - less) / (high - low) for (high, less), (low, more) in pairwise(self.points)
        )

    @property
    def rate(self) -> Fraction:
        """The rate from the first height to the last, N/mm; of a progressive spring a mean."""
        (high, less), (low, more) = self.points[0], self.points[-1]
        return (more - less) / (high - low)

    @property
    def free_mm(self) -> Fraction:
        """The height without load: the first rate carried on."""
        high, less = self.points[0]
        return high + less / self.rates[0]

    @property
    def progressive(self) -> bool:
        """Whether the rate changes by more than a tenth: more than a tester's scatter does."""
        return max(self.rates) > Fraction(11, 10) * min(self.rates)

    def load(self, height_mm: Fraction) -> Fraction:
        """Give the load at a height, N; 0 from the free length up.

        Above the table the first rate is carried on, below it the last.

        >>> spring = from_table([(Fraction(40), Fraction(100)), (Fraction(30), Fraction(300))])
        >>> spring.load(Fraction(35)), spring.load(Fraction(28)), spring.load(Fraction(50))
        (Fraction(200, 1), Fraction(340, 1), Fraction(0, 1))
        """
        high, less, rate = self._part(height_mm)
        return max(Fraction(0), less + rate * (high - height_mm))

    def rate_at(self, height_mm: Fraction) -> Fraction:
        """Give the rate at a height on being pressed further, N/mm; 0 above the free length.

        >>> spring = from_table([(Fraction(40), Fraction(0)), (Fraction(30), Fraction(200)),
        ...                      (Fraction(28), Fraction(300))])
        >>> [int(spring.rate_at(Fraction(height))) for height in (41, 40, 30, 27)]
        [0, 20, 50, 50]
        """
        return Fraction(0) if height_mm > self.free_mm else self._part(height_mm)[2]

    def _part(self, height_mm: Fraction) -> tuple[Fraction, Fraction, Fraction]:
        """Give height and load where the part of the table begins that holds here, and its rate."""
        (high, less), rate = self.points[0], self.rates[0]
        for (next_high, next_less), next_rate in zip(self.points, self.rates, strict=False):
            if height_mm <= next_high:
                high, less, rate = next_high, next_less, next_rate
        return high, less, rate

    def change(self, height_mm: Fraction, by_mm: Fraction) -> Fraction:
        """Give what the load changes by when the installed height grows, N.

        A seat cut or a ground valve face lets the valve drop and the spring grow: the load falls.

        >>> spring = from_rate(Fraction("32.5"), Fraction(48))
        >>> float(spring.change(Fraction("38.9"), Fraction("0.2")))
        -6.5
        """
        return self.load(height_mm + by_mm) - self.load(height_mm)


def from_table(pairs: Sequence[tuple[Fraction, Fraction]]) -> Loads:
    """Make a spring of loads measured at heights, in any order.

    Raises:
        ValueError: fewer than two heights, or a load that does not rise as the height falls.
    """
    return Loads(tuple(sorted(pairs, reverse=True)))


def from_rate(rate_n_per_mm: Fraction, free_mm: Fraction) -> Loads:
    """Make a spring of one rate.

    Raises:
        ValueError: the rate or the free length is not above 0.
    """
    if rate_n_per_mm <= 0 or free_mm <= 0:
        raise ValueError(
            f"found a rate of {float(rate_n_per_mm):g} N/mm and a free length of "
            f"{float(free_mm):g} mm, needed: both more than 0"
        )
    return Loads(((free_mm, Fraction(0)), (Fraction(0), rate_n_per_mm * free_mm)))


def combined_n(one: Fraction, other: Fraction) -> Fraction:
    """Combine two independent standard uncertainties of a load (JCGM 100:2008, 5.1.2).

    Returns:
        The root of the sum of their squares, N, rounded up to a micronewton.

    >>> combined_n(Fraction(3), Fraction(4)), float(combined_n(Fraction(1), Fraction(1)))
    (Fraction(5, 1), 1.414214)
    """
    square = (one * one + other * other) * _FINE**2
    whole = -(-square.numerator // square.denominator)
    return Fraction(isqrt(whole - 1) + 1, _FINE) if whole else Fraction(0)


def load_verdict(
    load_n: Fraction, u_n: Fraction | None, least_n: Fraction | None, most_n: Fraction | None
) -> VerdictWord:
    """Hold a load against its limits, exactly; the rule is that of `conformity.verdict`.

    Args:
        load_n: the load, N.
        u_n: its standard uncertainty, N; None for simple comparison.
        least_n: lower limit, itself within; None where there is none.
        most_n: upper limit, itself within; None where there is none.

    >>> load_verdict(Fraction(260), Fraction(2), Fraction("257.9"), None)  # 2.1 < 1.645 * 2
    'undecided'
    """
    given = [one for one in (u_n, least_n, most_n) if one is not None]
    fine = lcm(*(one.denominator for one in given))  # so that all of them are whole numbers
    u, least, most = (None if one is None else int(one * fine) for one in (u_n, least_n, most_n))
    return verdict(load_n * fine, u, least, most)


def bind_margin(installed_mm: Fraction, lift_mm: Fraction, solid_mm: Fraction) -> Fraction:
    """Give the room left before the coils touch at full lift, mm.

    Books want 1.5 mm (0.060 in) in all (common practice, no source).

    >>> bind_margin(Fraction(40), Fraction(10), Fraction(28))
    Fraction(2, 1)
    """
    return installed_mm - lift_mm - solid_mm


@dataclass(frozen=True, slots=True)
class Stack:
    """Shims chosen from stock.

    Attributes:
        shims: their thicknesses, mm, the thickest first.
        left_mm: what is still missing to the wanted height; below 0 where there is too much.
    """

    shims: tuple[Fraction, ...]
    left_mm: Fraction

    @property
    def thickness(self) -> Fraction:
        """Of the whole stack, mm."""
        return sum(self.shims, start=Fraction(0))


def choose_shims(
    needed_mm: Fraction, stock_mm: Sequence[Fraction], most_mm: Fraction | None = None
) -> Stack:
    """Choose the stack that comes nearest to what is needed, of few pieces.

    Shims bring back a height, never a tired spring.

    Args:
        needed_mm: installed height less the height wanted; none is chosen for 0 or less.
        stock_mm: thicknesses at hand, each as often as needed.
        most_mm: thickest stack allowed.

    Raises:
        ValueError: a thickness is not above 0.

    >>> stock = [Fraction(part, 1000) for part in (381, 762, 1524)]  # 0.015, 0.030, 0.060 in
    >>> found = choose_shims(Fraction("1.1"), stock)
    >>> [float(shim) for shim in found.shims], float(found.left_mm)
    ([0.762, 0.381], -0.043)
    """
    if any(shim <= 0 for shim in stock_mm):
        raise ValueError("found a shim of no thickness, needed: more than 0")
    best = Stack((), needed_mm)
    sizes = sorted(set(stock_mm), reverse=True)
    for pieces in range(1, MOST_PIECES + 1):
        for shims in combinations_with_replacement(sizes, pieces):
            thickness = sum(shims, start=Fraction(0))
            if most_mm is not None and thickness > most_mm:
                continue
            # Of two equally near the first found stays: fewer pieces.
            if abs(needed_mm - thickness) < abs(best.left_mm):
                best = Stack(shims, needed_mm - thickness)
    return best
