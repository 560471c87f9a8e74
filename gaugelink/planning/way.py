"""One whole way to put a place of the head right, and which ways another one makes needless."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gaugelink.planning.means import Stack
    from gaugelink.planning.task import Deed, Oversize, Span

FAR: Final = 10**15
"""A length that no head has, 1 km: stands for "not limited"."""

NEW: Final = -1
"""In the place of a used valve's number: a new valve."""


@dataclass(frozen=True, slots=True)
class Way:
    """One way to put a place right.

    Attributes:
        place: number of the place.
        valve: number of the place whose used valve is fitted, or `NEW`.
        deeds: what is done, in the order of the trade.
        oversize: the guide is reamed to it.
        stack: shims under the spring.
        cents: what it costs, parts included.
        skim: the shallowest and the deepest skim of the face that it bears, picometres.
        seat, face, tip: the depths between which each of these can be chosen, picometres.
        lap_pm: what lapping takes.
        unproved: limits that would have to be kept by what was not measured.
    """

    place: int
    valve: int
    deeds: tuple[Deed, ...]
    oversize: Oversize | None
    stack: Stack
    cents: int
    skim: Span
    seat: Span
    face: Span
    tip: Span
    lap_pm: int
    unproved: tuple[str, ...]


def needed(ways: Iterable[Way], *, useful: bool = False) -> list[Way]:
    """Leave out every way that another one makes needless.

    Args:
        ways: of one place.
        useful: leave out only those that do the same and more; else also those that are dearer.

    Returns:
        The cheapest first.
    """
    kept: list[Way] = []
    for way in sorted(ways, key=lambda one: (one.cents, len(one.deeds), len(one.unproved))):
        for other in kept:
            same = other.valve == way.valve and (
                ("replace spring" in other.deeds) == ("replace spring" in way.deeds)
            )
            wider = other.skim[0] <= way.skim[0] and way.skim[1] <= other.skim[1]
            if same and wider and (not useful or set(other.deeds) <= set(way.deeds)):
                break
        else:
            kept.append(way)
    return kept
