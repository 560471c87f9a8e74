"""What is seen in the ends and rests of a sweep, one after the other: the plain forms, slow.

This is how the analysis was first written, and the tests hold to it the form that looks at all ends
together.
"""

from __future__ import annotations

import math
from fractions import Fraction
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from gaugelink.metrology.sweep_clip import CERTAIN, COARSE_PM
from gaugelink.metrology.sweep_faults import SHELF_HELD_S, TAIL_HELD_S, WALL_HELD_S, Rests
from gaugelink.metrology.sweep_judge import ASTRAY_S
from gaugelink.metrology.sweep_result import Flag, Plateau

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


class Rest(NamedTuple):
    """A rest at a wall, first and last reading included."""

    first: int
    last: int
    side: int
    at_wall: bool


def listed(rests: Rests) -> list[Rest]:
    """Take rests apart."""
    columns = (rests.first, rests.last, rests.side, rests.at_wall)
    return [Rest(*each) for each in zip(*(column.tolist() for column in columns), strict=True)]


def frozen(
    values: Floats, seconds: Floats, all_rests: Rests, swing: float, step_pm: int
) -> Flag | None:
    """Flag a display that stood still while the stem was rocked, run after run."""
    rests = listed(all_rests)
    change = np.flatnonzero(np.abs(np.diff(values)) > 0)
    edges = np.concatenate([[0], change + 1, [len(values)]])
    begins, ends = edges[:-1], edges[1:] - 1
    lengths = seconds[ends] - seconds[begins]
    usual, flicker = _habits(values, seconds, rests)
    moved = max(3.0 * step_pm, 0.1 * swing)
    runs = np.flatnonzero((lengths > 1.0) & (ends - begins >= 3)).tolist()
    if not runs:
        return None
    for run in runs:
        begin, end, held = int(begins[run]), int(ends[run]), float(lengths[run])
        level = float(values[begin])
        if not begin or farthest(values, begin - 1, level) <= moved:
            continue  # The rest before the first rock.
        quiet = (1 - flicker) ** (end - begin) < 1e-5 and held > 1.5 * usual
        if farthest(values[::-1], len(values) - 1 - end, level) <= moved:
            if held >= TAIL_HELD_S or quiet:
                return Flag(
                    "frozen",
                    f"The display did not change once in the last {held:.1f} s. If the valve was "
                    "still being rocked then, the gauge was in hold: rock again.",
                    spoils=False,
                )
            continue
        wall = any(rest.at_wall and rest.first <= end and rest.last >= begin for rest in rests)
        longest = max(WALL_HELD_S, 2.2 * usual) if wall else SHELF_HELD_S
        if held > longest or quiet:
            return Flag(
                "frozen",
                f"The display stood still for {held:.1f} s in the middle of the rocking and then "
                "jumped: the gauge was in hold, max, min or TIR mode, or switched itself off. Set "
                "it to plain reading and rock again.",
                spoils=True,
            )
    return None


def _habits(values: Floats, seconds: Floats, rests: Sequence[Rest]) -> tuple[float, float]:
    """How long this hand usually rests at a wall, and how often the display changes there."""
    inner = rests[1:-1] if len(rests) > 4 else rests
    stays = sorted(float(seconds[rest.last] - seconds[rest.first]) for rest in inner)
    rates = []
    for rest in rests:
        part = values[rest.first : rest.last + 1]
        if rest.at_wall and len(part) >= 4:
            late = part[len(part) // 3 :]
            rates.append(float(np.mean(np.diff(late) != 0)))
    usual = stays[len(stays) // 2] if stays else 0.5
    return usual, (sorted(rates)[len(rates) // 3] if len(rates) >= 3 else 0.0)


def signs(
    values: Floats,
    seconds: Floats,
    all_rests: Rests,
    side: int,
    swing: float,
    step_pm: int,
    range_pm: tuple[int, int] | None,
    *,
    slipped: bool,
) -> float:
    """Weigh the signs that one side is the end of the range; 0 where it cannot be."""
    rests = listed(all_rests)
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


def astray(values: Floats, seconds: Floats, ends: Any, judged: Any, travel: float) -> int:
    """Count the ways from wall to wall that took so long that the stem turned back in between."""
    took = []
    for number in range(judged.first, judged.last):
        here, there = _swing(ends, number), _swing(ends, number + 1)
        near_here = np.abs(values[here[0] : here[1]] - ends.level[number]) < 0.1 * travel
        near_there = np.abs(values[there[0] : there[1]] - ends.level[number + 1]) < 0.1 * travel
        if near_here.any() and near_there.any():
            left = here[1] - 1 - int(np.argmax(near_here[::-1]))
            came = there[0] + int(np.argmax(near_there))
            took.append(float(seconds[came] - seconds[left]))
    if not took:
        return 0
    longest = max(ASTRAY_S, 3 * sorted(took)[len(took) // 2])
    return sum(each > longest for each in took)


def plateaus(ends: Any, judged: Any, kept: NDArray[np.intp]) -> tuple[Plateau, ...]:
    """Write the ends with the indices of all readings, end after end."""
    found = []
    for number in range(len(ends.level)):
        settled = bool(ends.rests.readings[number])
        rough = round(2 * float(ends.swings.rough_pm[number]))
        found.append(
            Plateau(
                int(kept[ends.rests.first[number]]),
                int(kept[ends.rests.last[number]]),
                Fraction(int(ends.rests.twice_pm[number]) if settled else rough, 2),
                "high" if ends.side[number] > 0 else "low",
                bool(judged.used[number]),
                judged.why[number],
            )
        )
    return tuple(found)


def _swing(ends: Any, number: int) -> tuple[int, int]:
    return int(ends.swings.first[number]), int(ends.swings.last[number])


def farthest(values: Floats, place: int, level: float) -> float:
    """How far the readings up to a place went from a level."""
    return float(np.abs(values[: place + 1] - level).max())
