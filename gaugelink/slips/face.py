"""Heights of the face: a point that is not where its neighbours lead.

A face has no limit for a single height; warped faces bow and twist, but smoothly. A height is
foretold from the points beside it, and held against how well that went until then.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from gaugelink.quantity import PM_PER_UM, micrometres_text
from gaugelink.slips.suspicion import Suspicion

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gaugelink.head import Position
    from gaugelink.quantity import Displayed
    from gaugelink.reading import Gauge
    from gaugelink.slips.suspicion import Taken

ROUGH_PM: Final = 20 * PM_PER_UM
"""A sound face differs by less from what its neighbours foretell (common practice, no source)."""
FAR: Final = 6
"""Times the median of what the other points were off."""
LEAST: Final = 4
"""A straight line is off by the bow, which has to be known first."""
_STATION = re.compile(r"([A-Z])([1-9][0-9]?)")
Spot = tuple[int, int]


def off_the_face(
    position: Position, shown: Displayed, gauge: Gauge, taken: Sequence[Taken]
) -> Suspicion | None:
    """Ask about a height that is not where its neighbours lead.

    Args:
        position: the place, a point of the grid.
        shown: the value.
        gauge: the gauge that sent it.
        taken: the readings that count, oldest first, without this place.
    """
    spot = _spot(position)
    if spot is None:
        return None
    known: dict[Spot, int] = {}
    kept: set[Spot] = set()
    errors: dict[bool, list[int]] = {True: [], False: []}
    for item in taken:
        place = _spot(item.position)
        if place is None or item.gauge != gauge.id:
            continue
        square, foretold = _foretold(place, known)
        if foretold is not None:
            errors[square].append(abs(item.shown.pm - foretold))
        known[place] = item.shown.pm
        if item.kept:
            kept.add(place)
    # What a person has kept leads nowhere: it is asked about once.
    square, foretold = _foretold(spot, {at: pm for at, pm in known.items() if at not in kept})
    if foretold is None or (not square and len(errors[square]) < LEAST):
        return None
    off = shown.pm - foretold
    ordered = sorted(errors[square])
    usual = ordered[len(ordered) // 2] if ordered else 0
    if abs(off) <= max(ROUGH_PM, FAR * usual, 3 * gauge.u_pm + shown.step_pm):
        return None
    words = (
        f"{shown} is {micrometres_text(abs(off))} um {'above' if off > 0 else 'below'} where its "
        f"neighbours lead; see that {gauge.title} and its base sit, and measure again"
    )
    return Suspicion("implausible", words)


def _spot(position: Position) -> Spot | None:
    if position.characteristic != "face height":
        return None
    match = _STATION.fullmatch(position.station)
    return (ord(match[1]) - ord("A"), int(match[2])) if match else None


def _foretold(spot: Spot, known: Mapping[Spot, int]) -> tuple[bool, int | None]:
    """Foretell a height from a square of points, else along a straight line; tell which.

    A square whose fourth point is foretold from three is exact for a face that is bowed one way,
    and nearly so for one that is twisted; a straight line is off by the bow.

    >>> _foretold((1, 2), {(0, 1): 10, (0, 2): 15, (1, 1): 20})
    (True, 25)
    >>> _foretold((0, 3), {(0, 1): 10, (0, 2): 15})
    (False, 20)
    """
    row, column = spot
    above, left, corner = (row - 1, column), (row, column - 1), (row - 1, column - 1)
    if above in known and left in known and corner in known:
        return True, known[above] + known[left] - known[corner]
    for near, far in ((left, (row, column - 2)), (above, (row - 2, column))):
        if near in known and far in known:
            return False, 2 * known[near] - known[far]
    return False, None
