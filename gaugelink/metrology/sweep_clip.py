"""Tell a gauge that ran into the end of its range from a stem that rested at a wall.

The end of a range has no flicker, no drift and no scatter: rest after rest shows one and the same
figure, and nothing lies beyond. A steady bench with a coarse display can look the same by
chance, so several signs are weighed together.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from gaugelink.metrology.sweep_result import Flag
from gaugelink.metrology.sweep_stretches import stretches

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from gaugelink.metrology.sweep_faults import Rests

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Truths = NDArray[np.bool_]

CERTAIN: Final = 3.0
"""Weight of signs at which the sweep is refused."""
COARSE_PM: Final = 2_000_000
"""A display with wider steps than this does not show a hand's tremor; its calm says nothing."""
LIKELY: Final = 1.5
"""Weight of signs at which the operator is told to look."""


def clipped(
    values: Floats,
    seconds: Floats,
    rests: Rests,
    swing: float,
    step_pm: int,
    range_pm: tuple[int, int] | None,
    *,
    slipped: bool,
) -> Flag | None:
    """Flag a gauge that ran into the end of its range before the stem reached the wall.

    Args:
        values: ``(n,)`` readings, pm, spikes taken out.
        seconds: ``(n,)`` working time.
        rests: the rests between the first rock and the last.
        swing: the travel, pm.
        step_pm: step of the display.
        range_pm: lowest and highest figure that the gauge can show, where known.
        slipped: whether the base is known to have slipped.
    """
    worst, worst_side = 0.0, 0
    for side in (1, -1):
        weight = _signs(values, seconds, rests, side, swing, step_pm, range_pm, slipped=slipped)
        if weight > worst:
            worst, worst_side = weight, side
    if worst < LIKELY:
        return None
    which, figure = ("low", "lowest") if worst_side < 0 else ("high", "highest")
    seen = f"The {which} ends show exactly the {figure} figure of the sweep and never flicker"
    if worst < CERTAIN:
        return Flag(
            "clipped",
            f"{seen}: make sure that the plunger has travel left at that wall.",
            spoils=False,
        )
    return Flag(
        "clipped",
        f"{seen}: the plunger was at the end of its travel before the stem reached the wall. Give "
        "the indicator more preload, to mid-travel, and rock again.",
        spoils=True,
    )


def _signs(
    values: Floats,
    seconds: Floats,
    rests: Rests,
    side: int,
    swing: float,
    step_pm: int,
    range_pm: tuple[int, int] | None,
    *,
    slipped: bool,
) -> float:
    """Weigh the signs that one side is the end of the range; 0 where it cannot be."""
    mine = rests.side == side
    other = (rests.side == -side) & rests.at_wall
    if np.count_nonzero(mine) < 2 or np.count_nonzero(other) < 2:
        return 0.0
    limit = float(values.max() if side > 0 else values.min())
    stands, moves, count = _standing(values, rests, mine, limit)
    still = rests.some(stands)
    if len(still) < (3 if moves.any() else 2) or count < 6:
        return 0.0
    levels = _medians(values, rests.some(moves))
    if np.any(levels * side > limit * side - 2.5 * step_pm):
        return 0.0  # It flickers there: the display is free to move.
    if range_pm is not None and limit in range_pm:
        return CERTAIN
    next_to = np.zeros(len(rests), dtype=np.bool_)
    next_to[1:] |= stands[:-1]
    next_to[:-1] |= stands[1:]
    beside = rests.some(other & next_to)
    if len(beside) < 2:
        return 0.0
    late, middles = _settled(values, beside, step_pm)
    if step_pm > COARSE_PM:
        moved = np.ptp(middles) >= 3 * step_pm
        return 2.0 + 2.0 * (limit == 0) if moved else 0.0
    figures, counts = np.unique(late, return_counts=True)
    span = round(float(figures[-1] - figures[0]) / step_pm)
    share = float(counts.max()) / float(counts.sum())
    # How likely is it that the display stays still this often by chance, as a power of ten?
    chance = count * math.log10(share)
    # Noise that flickers at the edge of a step may be silent in its middle: few steps prove less.
    if span >= 3 and chance < -5:
        weight = 3.0
    elif span >= 2:
        weight = 2.0 if chance < -12 else 1.5 if chance < -6 else 0.5
    else:
        weight = (1.5 if chance < -15 else 1.0 if chance < -8 else 0.0) * min(span, 1)
    if limit == 0 and span >= 1:
        weight += 2.0
    # A stem slows down before a wall, and readings lie close to it; at the range's end they do not.
    near_mine = _close_by(values, still, side, swing, step_pm)
    near_other = _close_by(values, beside, -side, swing, step_pm)
    ratio = (near_other + 0.1) / (near_mine + 0.1)
    missed = (near_other - near_mine) * min(len(still), 8)
    if ratio > 2.5 and missed > 4:
        weight += 1.5
    elif ratio > 1.6 and missed > 3:
        weight += 1.0
    # While the stem goes on to the wall and comes back, the display stands still.
    stay = _stay(seconds, still) / max(_stay(seconds, beside), 0.05)
    weight += 1.0 if stay > 1.35 else 0.5 if stay > 1.2 else -0.5 if stay < 1.0 else 0.0
    # Where the base slipped, some ends lie elsewhere for that reason alone.
    return 0.0 if slipped and moves.any() else weight


def _standing(
    values: Floats, rests: Rests, mine: Truths, limit: float
) -> tuple[Truths, Truths, int]:
    """Tell the rests of one side that stand on a figure from those that move.

    Returns:
        Which stand; which do not; and how many readings stand, 0 where too many of them flicker.
    """
    laid = stretches(rests.first[mine], rests.last[mine] + 1)
    there = values[laid.places] == limit
    number = laid.number(there)
    (first, _), (last, _) = laid.first_true(there), laid.last_true(there)
    # On the way in and out readings lie just inside, and with noise to and fro.
    begin, end = first + 1, last
    trim = np.where(end - begin > 8, 2, 0)
    begin, end = begin + trim, end - trim
    few = number <= 2
    begin, end = np.where(few, 0, begin), np.where(few, 0, end)
    before = np.concatenate([[0], np.cumsum(~there)])
    flickers = before[end] - before[begin]
    core = np.where(few, number, end - begin)
    stand = (number > 0) & (flickers <= 0.1 * core)
    stands, moves = np.zeros((2, len(rests)), dtype=np.bool_)
    stands[mine], moves[mine] = stand, ~stand
    count = int(number[stand].sum())
    return stands, moves, count if flickers[stand].sum() <= 0.02 * count else 0


def _medians(values: Floats, rests: Rests) -> Floats:
    laid = stretches(rests.first, rests.last + 1)
    return laid.medians(values[laid.places].astype(np.int64))


def _settled(values: Floats, rests: Rests, step_pm: int) -> tuple[Integers, Integers]:
    """Take the readings of rests without those on the way in and out.

    Returns:
        All that are left, and the middle one of each rest.
    """
    size = rests.last - rests.first + 1
    laid = stretches(rests.first + size * 2 // 5, rests.last + 1)
    ordered = laid.ordered(values[laid.places].astype(np.int64))
    middle = ordered[laid.start + laid.size // 2]
    close = np.abs(ordered - laid.each(middle)) <= 2.5 * step_pm
    left, number = ordered[close], laid.number(close)
    return left, left[np.cumsum(number) - number + number // 2]


def _close_by(values: Floats, rests: Rests, side: int, swing: float, step_pm: int) -> float:
    """Readings just inside a wall, before and after the rest there, per rest."""
    around = stretches(np.maximum(rests.first - 8, 0), np.minimum(rests.last + 9, len(values)))
    inward = (around.each(_medians(values, rests)) - values[around.places]) * side
    count = np.count_nonzero((inward > 1.5 * step_pm) & (inward < 0.12 * swing))
    return int(count) / len(rests)


def _stay(seconds: Floats, rests: Rests) -> float:
    inner = rests.some(slice(1, -1)) if len(rests) > 3 else rests
    return float(np.mean(inner.stays(seconds)))
