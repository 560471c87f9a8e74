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

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from gaugelink.metrology.sweep_faults import Rest

    Floats = NDArray[np.float64]

CERTAIN: Final = 3.0
"""Weight of signs at which the sweep is refused."""
COARSE_PM: Final = 2_000_000
"""A display with wider steps than this does not show a hand's tremor; its calm says nothing."""
LIKELY: Final = 1.5
"""Weight of signs at which the operator is told to look."""


def clipped(
    values: Floats,
    seconds: Floats,
    rests: Sequence[Rest],
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
    rests: Sequence[Rest],
    side: int,
    swing: float,
    step_pm: int,
    range_pm: tuple[int, int] | None,
    *,
    slipped: bool,
) -> float:
    """Weigh the signs that one side is the end of the range; 0 where it cannot be."""
    mine = [rest for rest in rests if rest.side == side]
    other = [rest for rest in rests if rest.side == -side and rest.at_wall]
    if len(mine) < 2 or len(other) < 2:
        return 0.0
    limit = float((values * side).max() * side)
    still, count, odd = [], 0, 0
    for rest in mine:
        part = values[rest.first : rest.last + 1]
        # On the way in and out readings lie just inside, and with noise to and fro.
        there = np.flatnonzero(part == limit)
        core = part[there[0] + 1 : there[-1]] if len(there) > 2 else part[there]
        core = core[2:-2] if len(core) > 8 else core
        flickers = int(np.count_nonzero(core != limit))
        if len(there) and flickers <= 0.1 * len(core):
            still.append(rest)
            count += len(there)
            odd += flickers
        elif float(np.median(part) * side) > limit * side - 2.5 * step_pm:
            return 0.0  # It flickers there: the display is free to move.
    if odd > 0.02 * count:
        return 0.0
    if len(still) < (2 if len(still) == len(mine) else 3) or count < 6:
        return 0.0
    if range_pm is not None and limit in range_pm:
        return CERTAIN
    stands = set(still)
    beside = [
        here
        for before, here, after in zip([None, *rests], rests, [*rests[1:], None], strict=False)
        if here.side == -side and here.at_wall and (before in stands or after in stands)
    ]
    if len(beside) < 2:
        return 0.0
    late = [_settled(values[rest.first : rest.last + 1], step_pm) for rest in beside]
    if step_pm > COARSE_PM:
        middles = [float(np.sort(part)[len(part) // 2]) for part in late]
        moved = max(middles) - min(middles) >= 3 * step_pm
        return 2.0 + 2.0 * (limit == 0) if moved else 0.0
    levels, counts = np.unique(np.concatenate(late), return_counts=True)
    span = round(float(levels[-1] - levels[0]) / step_pm)
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
    return 0.0 if slipped and len(still) < len(mine) else weight


def _settled(part: Floats, step_pm: int) -> Floats:
    """The readings of a rest without those on the way in and out."""
    part = part[len(part) * 2 // 5 :]
    middle = np.sort(part)[len(part) // 2]
    settled: Floats = part[np.abs(part - middle) <= 2.5 * step_pm]
    return settled


def _close_by(
    values: Floats, rests: Sequence[Rest], side: int, swing: float, step_pm: int
) -> float:
    """Readings just inside a wall, before and after the rest there, per rest."""
    count = 0
    for rest in rests:
        level = np.median(values[rest.first : rest.last + 1])
        inward = (level - values[max(rest.first - 8, 0) : rest.last + 9]) * side
        count += int(np.count_nonzero((inward > 1.5 * step_pm) & (inward < 0.12 * swing)))
    return count / len(rests)


def _stay(seconds: Floats, rests: Sequence[Rest]) -> float:
    inner = rests[1:-1] if len(rests) > 3 else rests
    return float(np.mean([seconds[rest.last] - seconds[rest.first] for rest in inner]))
