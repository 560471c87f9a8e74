"""Find the half swings of a rock sweep and the settled part of each.

A half swing is everything that happened near one wall: the stem comes in, rests, and leaves. What
counts of it is the settled part, late in the rest: the hand has stopped pushing harder, a peak from
hitting the wall is over, and the oil film is pressed out. Spikes are put aside, never averaged in;
a shelf on the way to a wall is not a wall.

Inside the search lengths are picometres as floating point, which holds every whole picometre up
to 9 m exactly; a level that is handed on is computed from the whole numbers.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]

TURN_SHARE: Final = 0.3
"""A way back of less than this share of the swing is a shelf or a change of grip, not a turn."""
LONGEST_REST_S: Final = 1.2
LATE_SHARE: Final = 0.6
"""Share of the rest at a wall, counted from its end, that is taken as settled."""


@dataclass(frozen=True, slots=True)
class HalfSwing:
    """The readings around one turn: indices `first` (included) to `last` (excluded).

    Attributes:
        side: +1 at the high wall, -1 at the low one.
        rough_pm: where most of the outer readings lie.
    """

    first: int
    last: int
    side: int
    rough_pm: float


@dataclass(frozen=True, slots=True)
class Settled:
    """A rest and its settled part.

    Attributes:
        first, last: first and last reading of the whole rest, both included.
        readings: how many readings the rest has.
        level_pm: mean of the settled readings, a whole or half picometre.
        at_s: their mean time, in working seconds.
        count: how many readings are settled.
    """

    first: int
    last: int
    readings: int
    level_pm: Fraction
    at_s: float
    count: int


BLOCK: Final = 64
"""Readings that `turns` looks at together."""


def turns(values: Floats, way_back: float) -> list[int]:
    """Give the indices of the turning points: the stem came back by more than `way_back` after.

    The first and the last extreme of the record count as turning points.

    >>> import numpy as np
    >>> turns(np.array([0.0, 9.0, 8.0, 10.0, 1.0, 0.0, 7.0]), 3.0)
    [0, 3, 5, 6]
    """
    found: list[int] = []
    high = low = 0
    highest = lowest = float(values[0]) if len(values) else 0.0
    rising: bool | None = None
    blocks = len(values) // BLOCK
    cut = values[: blocks * BLOCK].reshape(blocks, BLOCK)
    tops, bottoms = cut.max(axis=1).tolist(), cut.min(axis=1).tolist()
    for number, begin in enumerate(range(0, len(values), BLOCK)):
        if rising is not None and number < blocks:
            # A block in which the stem cannot have turned is taken in one step.
            top, bottom = tops[number], bottoms[number]
            if rising and max(highest, top) - bottom <= way_back:
                if top > highest:
                    high, highest = begin + int(cut[number].argmax()), top
                continue
            if not rising and top - min(lowest, bottom) <= way_back:
                if bottom < lowest:
                    low, lowest = begin + int(cut[number].argmin()), bottom
                continue
        for place, value in enumerate(values[begin : begin + BLOCK].tolist(), begin):
            if value > highest:
                high, highest = place, value
            if value < lowest:
                low, lowest = place, value
            if rising is not True and value - lowest > way_back:
                found.append(low)
                rising, high, highest = True, place, value
            elif rising is not False and highest - value > way_back:
                found.append(high)
                rising, low, lowest = False, place, value
    if rising is not None:
        found.append(high if rising else low)
    return found


def half_swings(
    values: Floats, seconds: Floats, step_pm: int, swing: float
) -> tuple[list[HalfSwing], float]:
    """Cut the sweep into half swings.

    Args:
        values: ``(n,)`` readings with the spikes taken out.
        seconds: ``(n,)`` working time.
        step_pm: step of the display.
        swing: estimate of the way from wall to wall, pm.

    Returns:
        The half swings, high and low in turn, and the better estimate of the swing.
    """
    pivots: list[int] = []
    better = swing
    for _ in range(3):
        pivots = turns(values, max(TURN_SHARE * swing, 1.2 * step_pm))
        if len(pivots) < 2:
            return [], swing
        ways = np.abs(np.diff(values[pivots]))
        ways = ways[1:-1] if len(ways) > 3 else ways
        better = float(np.median(ways[ways >= 0.5 * np.median(ways)]))
        if abs(better - swing) < 0.2 * swing:
            break
        swing = better
    swing = better
    enough = round(0.2 * (len(values) - 1) / max(float(seconds[-1]), 1e-9))
    rising = bool(values[pivots[1]] > values[pivots[0]])
    swings = []
    for number, pivot in enumerate(pivots):
        side = 1 if rising == bool(number % 2) else -1
        begin = pivots[number - 1] if number else 0
        end = pivots[number + 1] if number + 1 < len(pivots) else len(values)
        away = np.abs(values[begin:end] - values[pivot]) > 0.5 * swing
        before = np.flatnonzero(away[: pivot - begin])
        after = np.flatnonzero(away[pivot - begin :])
        first = begin + int(before[-1]) + 1 if len(before) else begin
        last = pivot + int(after[0]) if len(after) else end
        outward = values[first:last] * side
        rough = _outermost_rest(outward, enough, max(1.5 * step_pm, 0.015 * swing)) * side
        swings.append(HalfSwing(first, last, side, rough))
    return swings, swing


def _outermost_rest(outward: Floats, least: int, tie: float) -> float:
    """Where the outermost `least` readings that lie together lie, or the densest place."""
    ordered = np.sort(outward)
    size = len(ordered)
    if size <= 4:
        # So few that some lie on the way in or out; those can only fall short of the wall.
        return float(np.mean(ordered[ordered >= ordered[-1] - tie]))
    take = max(2, min(math.ceil(0.35 * size), least))
    widths = ordered[take - 1 :] - ordered[: size - take + 1]
    together = np.flatnonzero(widths <= tie)
    start = int(together[-1]) if len(together) else size - take - int(np.argmin(widths[::-1]))
    return float(np.mean(ordered[start : start + take]))


def _nearest(total: int, count: int) -> int:
    """Divide and round to the nearest whole number, halves to the even one."""
    whole, rest = divmod(total, count)
    return whole + (2 * rest > count or (2 * rest == count and whole % 2 == 1))


def settle(
    value_pm: Integers,
    seconds: Floats,
    side: int,
    near_pm: float,
    width_pm: float,
    step_pm: int,
    *,
    leaving: bool,
) -> Settled | None:
    """Find the settled part of a half swing close to where the wall is expected.

    Args:
        value_pm: readings of the half swing, whole picometres.
        seconds: working time of each.
        side: +1 at the high wall, -1 at the low one.
        near_pm: where the wall is expected.
        width_pm: how far from there a reading may lie.
        step_pm: step of the display.
        leaving: whether the sweep begins here, so that the end of the rest matters.

    Returns:
        The rest, indices counted within the half swing; None where no reading lies near enough.
    """
    close = np.flatnonzero(np.abs(value_pm - near_pm) <= width_pm)
    if not len(close):
        return None
    run = close
    if int(close[-1]) - int(close[0]) >= len(close) + 3:
        apart = (close[1:] - close[:-1] > 3) & (seconds[close[1:]] - seconds[close[:-1]] > 0.15)
        bounds = [0, *(np.flatnonzero(apart) + 1).tolist(), len(close)]
        runs = list(itertools.pairwise(bounds))
        begin, end = max(runs, key=lambda each: (each[1] - each[0], each[0]))
        run = close[begin:end]
    # A long rest before the first rock or after the last is taken near the rock only.
    if leaving:
        near = run[seconds[run] >= seconds[run[-1]] - LONGEST_REST_S]
    else:
        near = run[seconds[run] <= seconds[run[0]] + LONGEST_REST_S]
    late = near[len(near) - math.ceil(LATE_SHARE * len(near)) :]
    outward = value_pm[late] * side
    if len(late) <= 3:
        chosen = late[outward >= outward.max() - max(step_pm, round(0.12 * width_pm))]
    else:
        middle = np.sort(outward)[len(outward) // 2]
        chosen = late[np.abs(outward - middle) <= max(1.5 * step_pm, 0.25 * width_pm)]
        if not len(chosen):
            chosen = late
    total = int(value_pm[chosen].sum())
    level = Fraction(_nearest(2 * total, len(chosen)), 2)
    at = float(seconds[chosen].sum()) / len(chosen)
    return Settled(int(run[0]), int(run[-1]), len(run), level, at, len(chosen))
