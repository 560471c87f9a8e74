"""Whether the gauges of a bench can judge the limits of a sheet.

A limit leaves a room: between its two bounds, or from the size of a new part to where service ends.
A guarded verdict takes 1.645 standard uncertainties off at every bound; what is left of the room is
where the word is *within*. Nothing is left where the gauge is too coarse for the limit.

The comparison of room and expanded uncertainty is the usual one (room over 2 U; four or more is
wanted; common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import isqrt
from typing import TYPE_CHECKING, Final, Literal

from gaugelink.head import CHARACTERISTICS
from gaugelink.metrology.conformity import GUARD_FACTOR
from gaugelink.metrology.rock import clearance

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from gaugelink.limits import Limit, Sheet
    from gaugelink.reading import Gauge

Word = Literal["can", "can with care", "cannot", "no gauge", "no room stated"]

WANTED: Final = 4
COVERAGE_FACTOR: Final = 2

FROM_NOTHING: Final = (
    "guide clearance", "stem runout", "valve face runout", "seat runout", "spring squareness",
    "head-face flatness",
)  # fmt: skip
"""Characteristics whose best size is none, where the sheet prints no new one."""

WORDS: Final[Mapping[Word, str]] = {
    "can": "can judge it",
    "can with care": "can judge it; near the limit it stays undecided",
    "cannot": "cannot judge it: a better gauge or another method is needed",
    "no gauge": "the bench has no gauge for it",
    "no room stated": "the sheet has one bound only, and no new size to tell how much it allows",
}


@dataclass(frozen=True, slots=True)
class Fitness:
    """A limit, and what the bench can do with it.

    Attributes:
        limit: the limit.
        word: a key of `WORDS`.
        missing: kinds of gauge that the bench lacks.
        u_pm: standard uncertainty of what is judged, picometres; 0 while a gauge is missing.
        room_pm: what the limit leaves, picometres; 0 where the sheet does not tell.
    """

    limit: Limit
    word: Word
    missing: tuple[str, ...] = ()
    u_pm: int = 0
    room_pm: int = 0

    @property
    def ratio(self) -> float | None:
        """Room over twice the expanded uncertainty; None where either is not known."""
        if not (self.u_pm and self.room_pm):
            return None
        return self.room_pm / (2 * COVERAGE_FACTOR * self.u_pm)

    @property
    def u_most_pm(self) -> int:
        """Standard uncertainty from which on nothing is within; 0 where it is not known."""
        bounds = (self.limit.lower is not None) + (self.limit.upper is not None)
        return int(self.room_pm / (bounds * GUARD_FACTOR))

    @property
    def left(self) -> float | None:
        """Share of the room in which the word is *within*; None where it is not known."""
        if not (self.u_pm and self.room_pm):
            return None
        bounds = (self.limit.lower is not None) + (self.limit.upper is not None)
        return max(0.0, 1 - float(bounds * GUARD_FACTOR * self.u_pm) / self.room_pm)


def fitness(sheet: Sheet, gauges: Iterable[Gauge]) -> list[Fitness]:
    """Hold the gauges of a bench against the limits of a sheet.

    Of two gauges of a kind the less certain one counts: any of them may be taken.

    Args:
        sheet: the limits.
        gauges: the bench's register.

    Returns:
        One for each limit, in the order of the sheet.
    """
    u_pm: dict[str, int] = {}
    for gauge in gauges:
        u_pm[gauge.kind] = max(gauge.u_pm, u_pm.get(gauge.kind, 0))
    return [_one(limit, u_pm) for limit in sheet.limits]


def _one(limit: Limit, known: Mapping[str, int]) -> Fitness:
    kinds = kinds_of(limit)
    missing = tuple(kind for kind in dict.fromkeys(kinds) if kind not in known)
    room_pm = _room_pm(limit)
    if missing:
        return Fitness(limit, "no gauge", missing, 0, room_pm)
    # Readings that are subtracted from each other add up as squares.
    u_pm = isqrt(sum(known[kind] ** 2 for kind in kinds))
    if limit.method == "rock" and limit.figure == "clearance":
        u_pm = _rock_u_pm(limit, u_pm)
    if not room_pm:
        return Fitness(limit, "no room stated", (), u_pm, 0)
    found = Fitness(limit, "can", (), u_pm, room_pm)
    if found.left == 0:
        return Fitness(limit, "cannot", (), u_pm, room_pm)
    if found.ratio is not None and found.ratio < WANTED:
        return Fitness(limit, "can with care", (), u_pm, room_pm)
    return found


def kinds_of(limit: Limit) -> list[str]:
    """List the gauges whose readings make the figure, each as often as it enters."""
    about = CHARACTERISTICS[limit.characteristic]
    if limit.characteristic == "head-face flatness":
        return [CHARACTERISTICS["face height"].gauge] * 2  # the highest less the lowest
    if limit.characteristic == "guide clearance" and limit.method != "rock":
        return [CHARACTERISTICS[name].gauge for name in about.reckoned_from]
    return [about.gauge]


def _rock_u_pm(limit: Limit, travel_u_pm: int) -> int:
    """Give the uncertainty of a clearance by rock, at the limit itself."""
    side = limit.upper or limit.lower
    assert side is not None
    assert limit.guide_length is not None
    assert limit.reach is not None
    length_pm, reach_pm = limit.guide_length.pm, limit.reach.pm
    travel_pm = side.pm * (1 + Fraction(2 * reach_pm, length_pm))
    return clearance(
        travel_pm, guide_length_pm=length_pm, reach_pm=reach_pm, travel_u_pm=travel_u_pm
    ).clearance_u_pm


def _room_pm(limit: Limit) -> int:
    lower, upper = limit.lower, limit.upper
    if lower is not None and upper is not None:
        return upper.pm - lower.pm
    new = [bound.pm for name, bound in limit.bounds.items() if name.startswith("new_")]
    if lower is not None:
        return max(0, max(new) - lower.pm) if new else 0
    assert upper is not None
    if new and upper.pm > min(new):
        return upper.pm - min(new)
    return upper.pm if limit.characteristic in FROM_NOTHING else 0
