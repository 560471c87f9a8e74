"""What rock will show in a bore that was measured: travel foretold, and held against the travel.

In a bore of local clearance c(z), z from the guide's head end, the stem's axis may lie along any
straight line p + q z that stays within c(z)/2 of the middle. At the indicator, a before the head
end, it reaches p - q a; the travel is twice the most of that: a linear programme in p and q. Its
dual says that the stem rests at two places, on opposite walls, and that the travel is

    T = min over z1 < z2 of  ((z2 + a) c(z1) + (z1 + a) c(z2)) / (z2 - z1)

which is exact in whole numbers. For a straight bore this is c (1 + 2 a / L). Where a flare is wider
than the stem tilts, the stem rests on the flare's inner edge: rock sees how long a bell-mouth is,
not how wide.

Source: geometry and the duality of linear programming; held against a solver in the tests.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations
from math import sqrt
from typing import TYPE_CHECKING, Final, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping

COVERAGE: Final = 2
"""Standard uncertainties that a difference may have before it means something (95 %)."""

MEANS: Final = {
    "agrees": "rock and bore readings tell the same",
    "above": "more travel than the bore readings explain: a bell-mouth between the stations, a "
    "guide loose in the head (press on the guide and watch the indicator), a stem bent by a heavy "
    "hand, or a base that slipped",
    "below": "less travel than the bore readings let expect: dirt or an oil film, rocks that "
    "stopped short of the wall, or an indicator off the line of movement",
}
"""What a disagreement means (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Foretold:
    """Travel foretold from a bore.

    Attributes:
        travel_pm: the travel, exact for the readings.
        rests_pm: the two depths at which the stem rests, from the head end.
        clearances_pm: the clearance at either.
        stations_pm: the two stations that were read for these; one and the same where nothing was
            read nearer to either end.
        at_the_end: whether the farther rest is the guide's other end, and not a station.
        reach_pm: for which reach.
    """

    travel_pm: Fraction
    rests_pm: tuple[int, int]
    clearances_pm: tuple[int, int]
    stations_pm: tuple[int, int]
    at_the_end: bool
    reach_pm: int

    @property
    def effective_length_pm(self) -> int:
        """Length between the rests: what guides the stem."""
        return self.rests_pm[1] - self.rests_pm[0]

    def u_pm(
        self, u_bore_pm: float, u_reach_pm: float, *, u_stem_pm: float = 0.0,
        u_guide_length_pm: float = 0.0,
    ) -> float:  # fmt: skip
        """Give the standard uncertainty of the travel.

        Law of propagation (JCGM 100:2008, 5.1.2) on the formula above, rests kept. The stem was
        read once for all stations, so what it is wrong by counts at both rests together
        (5.2.2, note 1); what a bore reading is wrong by counts at its own.

        Args:
            u_bore_pm: of a bore reading.
            u_reach_pm: of the reach.
            u_stem_pm: of the stem's size.
            u_guide_length_pm: of the guide's length; it counts where the stem rests at its end.

        >>> found = foretell({0: 50, 50_000: 50}, 50_000, 25_000)  # micrometres
        >>> round(found.u_pm(2, 0), 2), round(found.u_pm(0, 1_000), 2)
        (3.16, 2.0)
        >>> found.u_pm(0, 0, u_stem_pm=2), found.u_pm(0, 0, u_guide_length_pm=500)  # 2 * 2; as T
        (4.0, 0.0)
        >>> round(foretell({25_000: 50}, 50_000, 25_000).u_pm(0, 0, u_guide_length_pm=500), 2)
        0.5
        """
        (near, far), apart = self.rests_pm, self.effective_length_pm
        one, other = (far + self.reach_pm) / apart, (near + self.reach_pm) / apart
        alike = self.stations_pm[0] == self.stations_pm[1]
        by_bore = (one + other if alike else sqrt(one**2 + other**2)) * u_bore_pm
        by_stem = (one + other) * u_stem_pm
        slope = sum(self.clearances_pm) / apart
        by_length = other * slope * u_guide_length_pm if self.at_the_end else 0.0
        return sqrt(by_bore**2 + by_stem**2 + (slope * u_reach_pm) ** 2 + by_length**2)


def foretell(clearance_pm: Mapping[int, int], guide_length_pm: int, reach_pm: int) -> Foretold:
    """Foretell the travel of a rock from local clearances.

    Between the stations the clearance is taken to run straight; from the first station to the head
    end, and from the last to the other end, to stay what it is.

    Args:
        clearance_pm: bore less stem by depth from the guide's head end, both picometres.
        guide_length_pm: L, the part of the guide that has stem in it.
        reach_pm: a, from the head end to the contact point, lift included, 0 or more.

    Raises:
        ValueError: no station, one outside the guide, a length that is not above 0, a reach below
            0, or a stem thicker than the bore.

    >>> found = foretell({5: 90, 25: 50, 45: 70}, 50, 25)  # a bore worn at both ends
    >>> found.travel_pm, found.rests_pm
    (Fraction(170, 1), (0, 50))
    """
    if guide_length_pm <= 0 or reach_pm < 0:
        raise ValueError(
            "found a guide length or a reach too small, needed: above 0, and 0 or more"
        )
    if not clearance_pm:
        raise ValueError("found no station, needed: at least one")
    depths = sorted(clearance_pm)
    if depths[0] < 0 or depths[-1] > guide_length_pm:
        raise ValueError("found a station outside the guide, needed: from 0 to its length")
    tightest = min(clearance_pm.values())
    if tightest < 0:
        raise ValueError(
            f"found a stem thicker than the bore by {-tightest / 10**6:g} um, needed: one that fits"
        )
    read = {0: depths[0], guide_length_pm: depths[-1], **{depth: depth for depth in depths}}
    spots = {depth: clearance_pm[station] for depth, station in read.items()}
    best: Foretold | None = None
    for near, far in combinations(sorted(spots), 2):
        pair = (spots[near], spots[far])
        travel = Fraction((far + reach_pm) * pair[0] + (near + reach_pm) * pair[1], far - near)
        if best is None or travel < best.travel_pm:
            best = Foretold(travel, (near, far), pair, (read[near], read[far]),
                            far == guide_length_pm != read[far], reach_pm)  # fmt: skip
    assert best is not None
    return best


@dataclass(frozen=True, slots=True)
class Compared:
    """A travel held against the one foretold.

    Attributes:
        word: whether they agree, or on which side the measured one is.
        difference_pm: measured less foretold.
        u_pm: standard uncertainty of the difference.
    """

    word: Literal["agrees", "above", "below"]
    difference_pm: Fraction
    u_pm: float

    @property
    def means(self) -> str:
        """What that means, in words."""
        return MEANS[self.word]


def compare(travel_pm: int | Fraction, travel_u_pm: float, found: Foretold, found_u_pm: float
            ) -> Compared:  # fmt: skip
    """Hold a measured travel against the one foretold.

    Args:
        travel_pm: as measured.
        travel_u_pm: its standard uncertainty.
        found: as foretold.
        found_u_pm: its standard uncertainty.

    >>> found = foretell({0: 50, 50_000: 50}, 50_000, 25_000)  # foretold: 100
    >>> compare(105, 2, found, 3).word, compare(120, 2, found, 3).word
    ('agrees', 'above')
    """
    difference = Fraction(travel_pm) - found.travel_pm
    u_pm = sqrt(travel_u_pm**2 + found_u_pm**2)
    word: Literal["agrees", "above", "below"] = "agrees"
    if abs(difference) > COVERAGE * u_pm:
        word = "above" if difference > 0 else "below"
    return Compared(word, difference, u_pm)
