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
        drop: how far the valve may drop from where it sits with this way, by everything but the
            stand-down, picometres.
        stand: how far it may drop by its stand-down, before any skim; a skim adds its depth.
        sunk: how much deeper the valve sits than the one that was measured here, before any work.
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
    drop: Span
    stand: Span
    sunk: int
    unproved: tuple[str, ...]

    def sinks(self, skim: int) -> Span:
        """Give how far the valve of this place can have sunk since it was measured, for a skim."""
        return (self.sunk + max(self.drop[0], self.stand[0] + skim),
                self.sunk + min(self.drop[1], self.stand[1] + skim))  # fmt: skip


def needed(
    ways: Iterable[Way], *, useful: bool = False, tied: bool = False, as_set: bool = True
) -> list[Way]:
    """Leave out every way that another one makes needless.

    Args:
        ways: of one place.
        useful: leave out only those that do the same and more; else also those that are dearer.
        tied: other places have a say in how far the valve of this one sinks.
        as_set: a new spring at one place asks for one at every other.

    Returns:
        The cheapest first.
    """
    kept: list[Way] = []
    for way in sorted(ways, key=lambda one: (one.cents, len(one.deeds), len(one.unproved))):
        for other in kept:
            same = other.valve == way.valve and (
                not as_set or ("replace spring" in other.deeds) == ("replace spring" in way.deeds)
            )
            wider = _within(way.skim, other.skim)
            if tied:
                wider = wider and _within(way.drop, other.drop) and _within(way.stand, other.stand)
            if same and wider and (not useful or set(other.deeds) <= set(way.deeds)):
                break
        else:
            kept.append(way)
    return kept


def _within(inner: Span, outer: Span) -> bool:
    return outer[0] <= inner[0] and inner[1] <= outer[1]
