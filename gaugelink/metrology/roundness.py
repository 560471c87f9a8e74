"""Form of stems and bores from two-point readings, and the clearance between them.

Two jaws see ovality and taper; a three-lobed shape looks round to them (common practice, no
source). Sizes are whole picometres, results exact.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import cos, radians, sin, tan
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


@dataclass(frozen=True, slots=True)
class Size:
    """One reading of a diameter.

    Attributes:
        station: where along the part.
        direction: along or across the head.
        pm: the diameter.
    """

    station: str
    direction: str
    pm: int


def _by_station(sizes: Sequence[Size]) -> dict[str, list[Size]]:
    if not sizes:
        raise ValueError("found no reading, needed: at least one")
    stations: dict[str, list[Size]] = {}
    for size in sizes:
        stations.setdefault(size.station, []).append(size)
    return stations


def out_of_round(sizes: Sequence[Size]) -> dict[str, int]:
    """Give the difference between the directions at each station, picometres.

    Stations with readings in one direction only are left out: nothing is known of them.

    Raises:
        ValueError: no reading at all.

    >>> out_of_round([Size("top", "along", 8_012), Size("top", "across", 8_025)])
    {'top': 13}
    """
    return {
        station: max(size.pm for size in here) - min(size.pm for size in here)
        for station, here in _by_station(sizes).items()
        if len({size.direction for size in here}) > 1
    }


def taper(sizes: Sequence[Size]) -> Fraction:
    """Give the largest mean of a station less the smallest, picometres.

    Raises:
        ValueError: no reading at all.

    >>> taper([Size("top", "along", 10), Size("bottom", "along", 7), Size("bottom", "across", 8)])
    Fraction(5, 2)
    """
    means = [
        Fraction(sum(size.pm for size in here), len(here)) for here in _by_station(sizes).values()
    ]
    return max(means) - min(means)


def bell_mouth(sizes: Sequence[Size], stations: Sequence[str]) -> dict[str, Fraction]:
    """Give by how much a bore is wider at its ends than in its midst, picometres.

    In each direction the reading at the lip less the mean of those between the ends; of the
    directions the larger counts.

    Args:
        sizes: the readings of a bore.
        stations: the stations from one end to the other, at least three.

    Returns:
        The two ends, by station; an end without readings, or none between, is left out.

    Raises:
        ValueError: fewer than three stations.

    >>> bore = [Size("top", "along", 30), Size("middle", "along", 12), Size("bottom", "along", 14)]
    >>> bell_mouth(bore, ("top", "middle", "bottom"))
    {'top': Fraction(18, 1), 'bottom': Fraction(2, 1)}
    """
    if len(stations) < 3:
        raise ValueError(f"found {len(stations)} stations, needed: at least three")
    found: dict[str, Fraction] = {}
    for direction in dict.fromkeys(size.direction for size in sizes):
        here = [size for size in sizes if size.direction == direction]
        inner = [size.pm for size in here if size.station in stations[1:-1]]
        for end in (stations[0], stations[-1]):
            for size in here:
                if size.station == end and inner:
                    wider = size.pm - Fraction(sum(inner), len(inner))
                    found[end] = max(wider, found.get(end, wider))
    return found


@dataclass(frozen=True, slots=True)
class Between:
    """The two ends of a clearance, picometres; below 0 the parts do not go together."""

    tightest_pm: int
    worst_pm: int


def clearances(bores_pm: Sequence[int], stems_pm: Sequence[int]) -> Between:
    """Give the tightest and the worst clearance between a bore and a stem.

    The worst is what wears and lets oil through: largest bore less smallest stem. The tightest is
    what seizes, and wants a minimum: smallest bore less largest stem.

    Args:
        bores_pm: readings of the bore, or the two ends of its range in a book.
        stems_pm: the same of the stem.

    Raises:
        ValueError: no reading of one of them.

    >>> clearances((6_000, 6_012), (5_965, 5_980))  # guide and stem of a book, in micrometres
    Between(tightest_pm=20, worst_pm=47)
    """
    if not bores_pm or not stems_pm:
        raise ValueError("found no reading of the bore or the stem, needed: one of each")
    return Between(min(bores_pm) - max(stems_pm), max(bores_pm) - min(stems_pm))


def eccentricity(runout_pm: int) -> Fraction:
    """Turn the runout of a round part (highest reading less lowest) into how far it is off centre.

    A true circle that turns about a point beside its centre moves the indicator by twice the
    distance (geometry). Limits say which of the two they mean; they are never exchanged.

    >>> eccentricity(50)  # a seat that runs out by 0.05 mm is 0.025 mm off the guide
    Fraction(25, 1)
    """
    return Fraction(runout_pm, 2)


def runout_on_cone(eccentricity_pm: float, face_angle_deg: float) -> float:
    """Tell what an indicator square to a conical face reads for a seat off centre.

    Args:
        eccentricity_pm: how far the cone's axis lies beside that of turning.
        face_angle_deg: angle of the face from the head's face: 45 of a "45 degree seat".

    >>> round(runout_on_cone(25, 45), 1)
    35.4
    """
    return 2 * eccentricity_pm * sin(radians(face_angle_deg))


def drop_for_layer(layer_pm: float, face_angle_deg: float) -> float:
    """Tell how far a valve drops when a layer is taken off its seat or face.

    Args:
        layer_pm: thickness of the layer, square to the face.
        face_angle_deg: angle of the face from the head's face, below 90.

    >>> round(drop_for_layer(100, 30)), round(drop_for_layer(100, 45))
    (115, 141)
    """
    return layer_pm / cos(radians(face_angle_deg))


def drop_for_contact(wider_pm: float, face_angle_deg: float) -> float:
    """Tell how far a valve drops when its contact circle grows.

    Args:
        wider_pm: by how much the radius of the circle grows.
        face_angle_deg: angle of the face from the head's face, below 90.

    >>> round(drop_for_contact(100, 45))
    100
    """
    return wider_pm * tan(radians(face_angle_deg))


@dataclass(frozen=True, slots=True)
class Seated:
    """Where a seated valve stands; all depths and heights in picometres.

    Attributes:
        recession_pm: the head below the fire face; below 0 it stands proud.
        tip_pm: height of the tip above the spring seat.
        spring_pm: installed height of the spring.
    """

    recession_pm: int
    tip_pm: int
    spring_pm: int

    def after(self, *, drop_pm: int = 0, skim_pm: int = 0, tip_ground_pm: int = 0) -> Seated:
        """Tell where it stands after machining.

        Args:
            drop_pm: how far the valve drops by work on seat and face together; below 0 for a new
                insert that lets it rise.
            skim_pm: taken off the fire face: it makes the recession less and nothing else.
            tip_ground_pm: taken off the tip.

        >>> was = Seated(950, 36_000, 40_000)  # micrometres
        >>> was.after(drop_pm=200, skim_pm=100)  # seat 150, face 50
        Seated(recession_pm=1050, tip_pm=36200, spring_pm=40200)
        """
        return Seated(
            self.recession_pm + drop_pm - skim_pm,
            self.tip_pm + drop_pm - tip_ground_pm,
            self.spring_pm + drop_pm,
        )

    def cut_left(self, most: Mapping[str, int], shims_pm: int = 0) -> tuple[str, int]:
        """Tell how much deeper the seat may still be cut, and what stops it first.

        Args:
            most: the largest ``recession``, ``tip`` and ``spring`` that the book allows; those it
                does not limit are left out.
            shims_pm: shims that may still go under the spring: they allow as much more drop.

        Returns:
            The name of what stops it, and the axial depth; below 0 it is already too deep.

        Raises:
            ValueError: no limit at all, or one of another name.

        >>> Seated(950, 36_000, 40_000).cut_left({"recession": 1_200, "tip": 36_100})
        ('tip', 100)
        """
        now = {"recession": self.recession_pm, "tip": self.tip_pm,
               "spring": self.spring_pm - shims_pm}  # fmt: skip
        if not most or not set(most) <= set(now):
            raise ValueError(
                f"found limits for {', '.join(most) or 'nothing'}, needed: recession, tip or spring"
            )
        left = {name: limit - now[name] for name, limit in most.items()}
        first = min(left, key=lambda name: left[name])
        return first, left[first]
