"""From travel to clearance: the geometry of a rocked valve.

The guide is a straight tube of length L that has stem in it, the stem a straight rod. Pushed
sideways it tips until it touches opposite walls at the two ends. At the indicator, a distance a
beyond the guide's head end, it then travels between its two extremes by

    T = C (1 + 2 a / L)

with C the clearance on the diameter. The reach a includes the lift of the valve.

Source: geometry; for a = L/2 the factor is 2, as the books say that print a rock limit of twice the
direct one. Where the guide is bell-mouthed, rock sees how long the flare is, not how wide: the two
methods answer different questions, and their limits are never exchanged.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import cos, isqrt, radians
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gaugelink.metrology.sweep_result import Sweep

U_REACH_PM: Final = 1_000_000_000
"""Standard uncertainty of the reach, 1 mm (common practice, no source)."""

U_GUIDE_LENGTH_PM: Final = 500_000_000
"""Standard uncertainty of the guide's length, 0.5 mm (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Clearance:
    """Clearance by rock.

    Attributes:
        factor: travel over clearance, exact.
        clearance_pm: clearance on the diameter, picometres, exact.
        clearance_u_pm: its standard uncertainty, picometres.
    """

    factor: Fraction
    clearance_pm: Fraction
    clearance_u_pm: int


def factor(guide_length_pm: int, reach_pm: int) -> Fraction:
    """Give the factor k = 1 + 2 a / L by which travel exceeds clearance.

    Args:
        guide_length_pm: L > 0, the part of the guide that has stem in it, picometres.
        reach_pm: a >= 0, from the guide's head end to the contact point, lift included.

    Raises:
        ValueError: L is not above 0, or a is below 0.

    >>> factor(50, 25)  # half a guide length outside: divide by two
    Fraction(2, 1)
    """
    if guide_length_pm <= 0:
        raise ValueError(f"found a guide length of {guide_length_pm} pm, needed: more than 0")
    if reach_pm < 0:
        raise ValueError(f"found a reach of {reach_pm} pm, needed: not less than 0")
    return 1 + Fraction(2 * reach_pm, guide_length_pm)


def clearance(
    travel_pm: int | Fraction,
    *,
    guide_length_pm: int,
    reach_pm: int,
    travel_u_pm: int = 0,
    guide_length_u_pm: int = U_GUIDE_LENGTH_PM,
    reach_u_pm: int = U_REACH_PM,
    lean_deg: float = 0.0,
    flex_pm: int = 0,
) -> Clearance:
    """Turn travel into clearance, C = T / k, with its standard uncertainty.

    u(C)^2 = (u(T) / k)^2 + (C u(k) / k)^2 and u(k)^2 = (2 u(a) / L)^2 + (2 a u(L) / L^2)^2
    (law of propagation, JCGM 100:2008, 5.1.2, applied to the formula above).

    An indicator that leans by phi on a round part shows T cos(phi), too little; a valve pushed hard
    bends, and shows too much. How much of either is not known, so both widen the uncertainty, as
    rectangles of C (1 - cos phi) and of the flex over k.

    Args:
        travel_pm: T, picometres.
        guide_length_pm: L > 0, picometres.
        reach_pm: a >= 0, picometres.
        travel_u_pm: u(T), picometres.
        guide_length_u_pm: u(L), picometres.
        reach_u_pm: u(a), picometres.
        lean_deg: how far the indicator may lean from the motion, degrees, 0 to below 90.
        flex_pm: how much of the travel may be the valve's bending, picometres.

    Raises:
        ValueError: L is not above 0, a or the flex is below 0, or an impossible lean.

    >>> found = clearance(
    ...     200_000_000, guide_length_pm=50 * 10**9, reach_pm=28 * 10**9, travel_u_pm=3_000_000
    ... )
    >>> float(found.factor), round(float(found.clearance_pm) / 1e6, 1)  # 94.3 um
    (2.12, 94.3)
    >>> round(found.clearance_u_pm / 1e6, 1)  # um
    2.3
    """
    k = factor(guide_length_pm, reach_pm)
    size = Fraction(travel_pm) / k
    by_reach = Fraction(2 * reach_u_pm, guide_length_pm)
    by_length = Fraction(2 * reach_pm * guide_length_u_pm, guide_length_pm**2)
    if not 0 <= lean_deg < 90 or flex_pm < 0:
        raise ValueError(
            f"found a lean of {lean_deg:g} degrees and a flex of {flex_pm} pm, needed: 0 to below "
            "90 degrees, and not less than 0 pm"
        )
    by_lean = size * Fraction(1 - cos(radians(lean_deg)))
    square = (travel_u_pm / k) ** 2 + (size / k) ** 2 * (by_reach**2 + by_length**2)
    square += (by_lean**2 + (flex_pm / k) ** 2) / 3
    return Clearance(k, size, isqrt(round(square)))


@dataclass(frozen=True, slots=True)
class Rock:
    """A valve rocked in one direction or two.

    Attributes:
        direction: the direction with the larger travel; it is the result.
        sweeps: the sweep of each direction.
        clearances: the clearance of each.
    """

    direction: str
    sweeps: Mapping[str, Sweep]
    clearances: Mapping[str, Clearance]

    @property
    def sweep(self) -> Sweep:
        """The sweep that is the result."""
        return self.sweeps[self.direction]

    @property
    def clearance(self) -> Clearance:
        """The clearance that is the result."""
        return self.clearances[self.direction]

    @property
    def usable(self) -> bool:
        """Whether every sweep is usable: while one is not, nobody knows which is the larger."""
        return all(sweep.usable for sweep in self.sweeps.values())


def rock(
    sweeps: Mapping[str, Sweep],
    *,
    guide_length_pm: int,
    reach_pm: int,
    guide_length_u_pm: int = U_GUIDE_LENGTH_PM,
    reach_u_pm: int = U_REACH_PM,
    lean_deg: float = 0.0,
    flex_pm: int = 0,
) -> Rock:
    """Join the sweeps of one valve; the larger is held against the limit.

    Guides wear oval, because the rocker or cam pushes one way (common practice, no source).

    Args:
        sweeps: the sweep of each direction, ``along`` and ``across``, or one alone under any name.
        guide_length_pm: L > 0, picometres.
        reach_pm: a >= 0, picometres, lift included.
        guide_length_u_pm: u(L), picometres.
        reach_u_pm: u(a), picometres.
        lean_deg: how far the indicator may lean, degrees.
        flex_pm: how much of the travel may be bending, picometres.

    Raises:
        ValueError: no sweep at all, L is not above 0, or a is below 0.

    >>> from gaugelink.metrology.sweep_result import Sweep
    >>> one, other = (Sweep(t, 10**6, t, 5, 10**6, (), ()) for t in (80 * 10**6, 120 * 10**6))
    >>> found = rock(
    ...     {"along": one, "across": other}, guide_length_pm=50 * 10**9, reach_pm=25 * 10**9
    ... )
    >>> found.direction, found.clearance.clearance_pm == 60 * 10**6
    ('across', True)
    """
    if not sweeps:
        raise ValueError("found no sweep, needed: at least one")
    # Of two equal travels it is along, whatever the order of the rows in a file.
    largest = max(sweep.travel_pm for sweep in sweeps.values())
    equal = [name for name, sweep in sweeps.items() if sweep.travel_pm == largest]
    clearances = {
        name: clearance(
            sweep.travel_pm,
            guide_length_pm=guide_length_pm,
            reach_pm=reach_pm,
            travel_u_pm=sweep.travel_u_pm,
            guide_length_u_pm=guide_length_u_pm,
            reach_u_pm=reach_u_pm,
            lean_deg=lean_deg,
            flex_pm=flex_pm,
        )
        for name, sweep in sweeps.items()
    }
    return Rock("along" if "along" in equal else min(equal), dict(sweeps), clearances)
