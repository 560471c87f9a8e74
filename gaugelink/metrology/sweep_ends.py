"""Find the half swings of a rock sweep: everything that happened near one wall.

The stem comes in, rests, and leaves. Spikes are put aside before; a shelf on the way to a wall is
not a wall. What counts of a half swing is its settled part (`sweep_settle`).

Inside the search lengths are picometres as floating point, which holds every whole picometre up
to 9 m exactly; a level that is handed on is computed from the whole numbers.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from gaugelink.metrology.sweep_stretches import Stretches, stretches, unbroken

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Places = NDArray[np.intp]

TURN_SHARE: Final = 0.3
"""A way back of less than this share of the swing is a shelf or a change of grip, not a turn."""
BLOCK: Final = 64
"""Readings that `turns` looks at together."""


@dataclass(frozen=True, slots=True)
class HalfSwings:
    """The readings around each turn, high and low in turn.

    Attributes:
        first, last: ``(m,)`` index of its first reading, and of the one after its last.
        side: ``(m,)`` +1 at the high wall, -1 at the low one.
        rough_pm: ``(m,)`` where most of the outer readings lie.
    """

    first: Places
    last: Places
    side: Integers
    rough_pm: Floats

    def __len__(self) -> int:
        """Say how many there are."""
        return len(self.first)


def turns(values: Floats, way_back: float) -> list[int]:
    """Give the indices of the turning points: the stem came back by more than `way_back` after.

    The first and the last extreme of the record count as turning points.

    >>> import numpy as np
    >>> turns(np.array([0.0, 9.0, 8.0, 10.0, 1.0, 0.0, 7.0]), 3.0)
    [0, 3, 5, 6]
    """
    found: list[int] = []
    if not len(values):
        return found
    places = _telling(values, way_back)
    high = low = int(places[0])
    highest = lowest = float(values[high])
    rising: bool | None = None
    for place, value in zip(places.tolist(), values[places].tolist(), strict=True):
        # On the way up only the highest reading can be the next turn, on the way down the lowest.
        if rising is not False:
            if value > highest:
                high, highest = place, value
            elif highest - value > way_back:
                found.append(high)
                rising, low, lowest = False, place, value
                continue
        if rising is not True:
            if value < lowest:
                low, lowest = place, value
            elif value - lowest > way_back:
                found.append(low)
                rising, high, highest = True, place, value
    if rising is not None:
        found.append(high if rising else low)
    return found


def _telling(values: Floats, way_back: float) -> Places:
    """Give the readings that can change anything in the turning points.

    Within a block whose range is no more than `way_back` the stem turns once at most, and then
    against what lies before: only the block's first highest and first lowest reading can matter.
    On a way up or down only its first and its last reading can.
    """
    whole = len(values) // BLOCK
    cut = values[: whole * BLOCK].reshape(whole, BLOCK)
    begin = np.arange(whole) * BLOCK
    top, bottom = begin + cut.argmax(axis=1), begin + cut.argmin(axis=1)
    keep = np.ones(len(values), dtype=np.bool_)
    keep[: whole * BLOCK] = np.repeat(values[top] - values[bottom] > way_back, BLOCK)
    keep[top] = keep[bottom] = True
    places = np.flatnonzero(keep)
    x = values[places]
    # Indices, not truths: numpy is several times as quick with them where truths come mixed.
    moves = np.flatnonzero(np.concatenate([[True], x[1:] != x[:-1]]))
    places, x = places[moves], x[moves]
    up = x[1:] > x[:-1]
    turned = np.concatenate([[True], up[1:] != up[:-1], [True]])
    telling: Places = places[np.flatnonzero(turned[: len(places)])]
    return telling


def half_swings(
    values: Floats, seconds: Floats, step_pm: int, swing: float
) -> tuple[HalfSwings | None, float]:
    """Cut the sweep into half swings.

    Args:
        values: ``(n,)`` readings with the spikes taken out.
        seconds: ``(n,)`` working time.
        step_pm: step of the display.
        swing: estimate of the way from wall to wall, pm.

    Returns:
        The half swings, at least two, or None where the stem did not turn; and the better
        estimate of the swing.
    """
    pivots: list[int] = []
    better = swing
    for _ in range(3):
        pivots = turns(values, max(TURN_SHARE * swing, 1.2 * step_pm))
        if len(pivots) < 2:
            return None, swing
        ways = np.abs(np.diff(values[pivots]))
        ways = ways[1:-1] if len(ways) > 3 else ways
        better = float(np.median(ways[ways >= 0.5 * np.median(ways)]))
        if abs(better - swing) < 0.2 * swing:
            break
        swing = better
    swing = better
    pivot = np.array(pivots)
    first, last = _around(values, pivot, 0.5 * swing)
    side = np.full(len(pivot), -1, dtype=np.int64)
    side[int(values[pivots[1]] > values[pivots[0]]) :: 2] = 1
    laid = stretches(first, last)
    outward = (values.take(laid.places) - laid.each(values[pivot])) * laid.each(side)
    enough = round(0.2 * (len(values) - 1) / max(float(seconds[-1]), 1e-9))
    tie = max(1.5 * step_pm, 0.015 * swing)
    total, count = _outermost_rests(outward.astype(np.int64), laid, enough, tie)
    total += count * (values[pivot] * side).astype(np.int64)
    return HalfSwings(first, last, side, total / count * side), swing


def _around(values: Floats, pivot: Places, far: float) -> tuple[Places, Places]:
    """Go from each turning point both ways until the next one, or a reading that lies far off."""
    before, after = np.concatenate([[0], pivot[:-1]]), np.concatenate([pivot[1:], [len(values)]])
    behind, ahead = unbroken(before, pivot), unbroken(pivot, after)
    level = values[pivot]
    place, found = behind.last_true(np.abs(values[: pivot[-1]] - behind.each(level)) > far)
    first = np.where(found, place + 1, before)
    place, found = ahead.first_true(np.abs(values[pivot[0] :] - ahead.each(level)) > far)
    return first, np.where(found, pivot[0] + place, after)


def _outermost_rests(
    outward: Integers, laid: Stretches, least: int, tie: float
) -> tuple[Integers, Integers]:
    """Find where the outermost `least` readings that lie together lie, or the densest place.

    Returns:
        The sum of the readings there in each stretch, and how many they are.
    """
    ordered = laid.ordered(outward)
    take = np.maximum(2, np.minimum(np.ceil(0.35 * laid.size).astype(np.intp), least))
    # So few that some lie on the way in or out; those can only fall short of the wall.
    few = laid.size <= 4
    tiny = stretches(laid.start[few], laid.end[few])
    top = tiny.each(ordered[laid.end[few] - 1] - tie)
    take[few] = tiny.number(ordered[tiny.places] >= top)
    windows = stretches(laid.start, laid.end - take + 1)
    width = ordered.take(windows.places + windows.each(take - 1)) - ordered.take(windows.places)
    narrow = np.maximum(tie, np.minimum.reduceat(width, windows.start))
    place, _ = windows.last_true(width <= windows.each(narrow))
    start = np.where(few, laid.end - take, windows.places[place])
    before = np.zeros(len(ordered) + 1, dtype=np.int64)
    np.cumsum(ordered, out=before[1:])
    return before[start + take] - before[start], take
