"""The ends of a sweep found one half swing after the other: slow, and each step in plain sight.

This is how the analysis was first written, and the tests hold to it the form that looks at all half
swings together.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np

from gaugelink.metrology.sweep_ends import TURN_SHARE, HalfSwings, turns
from gaugelink.metrology.sweep_settle import LATE_SHARE, LONGEST_REST_S, Settled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]


@dataclass(frozen=True)
class Rest:
    """A rest and its settled part; indices count within the half swing."""

    first: int
    last: int
    readings: int
    level_pm: Fraction
    at_s: float
    count: int


def half_swings(
    values: Floats, seconds: Floats, step_pm: int, swing: float
) -> tuple[HalfSwings | None, float]:
    """Cut the sweep into half swings, turn after turn."""
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
        swings.append((first, last, side, rough))
    return HalfSwings(*(np.array(each) for each in zip(*swings, strict=True))), swing


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


def settle(
    value_pm: Integers,
    seconds: Floats,
    side: int,
    near_pm: float,
    width_pm: float,
    step_pm: int,
    *,
    leaving: bool,
) -> Rest | None:
    """Find the settled part of one half swing close to where the wall is expected."""
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
    level = Fraction(nearest(2 * total, len(chosen)), 2)
    at = float(seconds[chosen].sum()) / len(chosen)
    return Rest(int(run[0]), int(run[-1]), len(run), level, at, len(chosen))


def rest_of(
    value_pm: Integers,
    seconds: Floats,
    side: int,
    rough_pm: float,
    expected_pm: float,
    width: float,
    step_pm: int,
    *,
    leaving: bool,
) -> tuple[Rest | None, bool]:
    """Take the rest where the wall is expected, unless the stem clearly rested elsewhere."""

    def rest_near(level: float) -> Rest | None:
        return settle(value_pm, seconds, side, level, width, step_pm, leaving=leaving)

    at_wall = rest_near(expected_pm)
    if at_wall is None:
        return rest_near(rough_pm), False
    farther = int(np.count_nonzero((value_pm - expected_pm) * side > width))
    if farther > max(2, at_wall.readings // 2):
        return rest_near(rough_pm), False
    if at_wall.readings < 4:
        # The stem may only have passed by on its way to a longer rest.
        own = rest_near(rough_pm)
        if own is not None and 3 * at_wall.readings < own.readings:
            return own, False
    return at_wall, True


def nearest(total: int, count: int) -> int:
    """Divide and round, halves to the even one."""
    return round(Fraction(total, count))


def rests_of(
    value_pm: Integers,
    seconds: Floats,
    swings: HalfSwings,
    _laid: Any,
    expected_pm: Floats,
    width: float,
    step_pm: int,
) -> tuple[Settled, NDArray[np.bool_]]:
    """Settle half swing after half swing."""
    found, trusted = Settled.none(len(swings)), np.zeros(len(swings), dtype=np.bool_)
    for number in range(len(swings)):
        begin, end = int(swings.first[number]), int(swings.last[number])
        rest, trusted[number] = rest_of(
            value_pm[begin:end],
            seconds[begin:end],
            int(swings.side[number]),
            float(swings.rough_pm[number]),
            float(expected_pm[number]),
            width,
            step_pm,
            leaving=number == 0,
        )
        if rest is None:
            continue
        found.first[number], found.last[number] = begin + rest.first, begin + rest.last
        found.readings[number], found.count[number] = rest.readings, rest.count
        found.twice_pm[number], found.at_s[number] = int(2 * rest.level_pm), rest.at_s
    return found, trusted
