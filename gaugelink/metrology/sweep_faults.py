"""Faults of a sweep that do not show in the ends alone: time, gaps, spikes, unit, hold.

Each function looks at the readings, and gives a flag or nothing. The sentences are for the person
at the bench.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from gaugelink.metrology.sweep_result import Flag
from gaugelink.quantity import PM_PER_INCH, PM_PER_MM

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]

INCH_RATIO: Final = PM_PER_INCH / PM_PER_MM
SPIKE_SHARE: Final = 0.06
FEWEST_SPIKES: Final = 5
GAP_S: Final = 1.0
HIDDEN_ROCK_S: Final = 2.5
"""A gap of this length can hide a whole rock."""
SHELF_HELD_S: Final = 1.2
"""Nobody pauses this long half-way between the walls."""
WALL_HELD_S: Final = 2.0
TAIL_HELD_S: Final = 4.0


@dataclass(frozen=True, slots=True)
class Rest:
    """A rest at a wall, as the faults are looked for.

    Attributes:
        first, last: indices of its readings, both included.
        side: +1 high, -1 low.
        at_wall: whether its level is the level of the wall.
    """

    first: int
    last: int
    side: int
    at_wall: bool


def backwards(t_ns: Integers) -> Flag | None:
    """Flag a clock that ran backwards."""
    back = np.flatnonzero(np.diff(t_ns) < 0)
    if not len(back):
        return None
    return Flag(
        "time",
        f"Time goes backwards at reading {int(back[0]) + 2}: the order of the readings cannot "
        "be trusted. Check the clock that stamps them and rock again.",
        spoils=True,
    )


def missing(seconds: Floats, begin: float, finish: float) -> Flag | None:
    """Flag readings missing while the stem was rocked.

    Args:
        seconds: ``(n,)`` working time.
        begin: start of the rocking.
        finish: its end.
    """
    pause = np.diff(seconds)
    least = max(GAP_S, 6 * float(np.median(pause)))
    inside = (seconds[1:] > begin) & (seconds[:-1] < finish)
    wide = np.flatnonzero((pause > least) & inside)
    if not len(wide):
        return None
    longest = float(pause[wide].max())
    spoils = longest >= HIDDEN_ROCK_S
    what = "Rock again." if spoils else "The ends that were seen still count."
    return Flag(
        "gap",
        f"No reading for {longest:.1f} s in the middle of the rocking: look at the cable and the "
        f"battery. {what}",
        spoils=spoils,
    )


def many_spikes(aside: Floats, low: float, high: float, readings: int) -> Flag | None:
    """Flag a sweep in which so much was put aside between the walls that it may be rocking.

    Args:
        aside: readings that were put aside as spikes, pm.
        low: the lowest end, pm.
        high: the highest end, pm.
        readings: how many readings the sweep has.
    """
    count = int(np.count_nonzero((aside >= low) & (aside <= high)))
    if count < FEWEST_SPIKES or count <= SPIKE_SHARE * readings:
        return None
    return Flag(
        "spikes",
        f"{count} of {readings} readings jump away and back at once: a bad cable, or a hand too "
        "quick for this gauge. Check the cable, stay longer at each wall, and rock again.",
        spoils=True,
    )


def unit_changed(units: Sequence[str]) -> Flag | None:
    """Flag a unit that is not the unit of the first reading throughout."""
    if units.count(units[0]) == len(units):
        return None
    other = next(place for place, unit in enumerate(units) if unit != units[0])
    return Flag(
        "unit change",
        f"The gauge went from {units[0]} to {units[other]} at reading {other + 1}: its unit "
        f"button was pressed. Set it back to {units[0]} and rock again.",
        spoils=True,
    )


def unit_jumped(values: Floats, swing: float) -> Flag | None:
    """Flag a jump by the ratio of inch and millimetre where readings carry no unit.

    Args:
        values: ``(n,)`` readings, pm, spikes taken out.
        swing: the usual way from wall to wall, pm.
    """
    if len(values) < 12:
        return None
    jump = int(np.argmax(np.abs(np.diff(values)))) + 1
    if abs(values[jump] - values[jump - 1]) < 4 * swing or not 5 <= jump <= len(values) - 5:
        return None
    before, after = float(np.median(values[:jump])), float(np.median(values[jump:]))
    small, large = sorted((abs(before), abs(after)))
    if before * after <= 0 or abs(large / small / INCH_RATIO - 1) > 0.03 + swing / large:
        return None
    return Flag(
        "unit change",
        f"The readings jump by the ratio of inch to millimetre at reading {jump + 1}: the unit "
        "button of the gauge was pressed. Set it back and rock again.",
        spoils=True,
    )


def frozen(
    values: Floats, seconds: Floats, rests: Sequence[Rest], swing: float, step_pm: int
) -> Flag | None:
    """Flag a display that stood still while the stem was rocked.

    A stem at rest and a display in hold look alike. What gives the hold away: it lasts longer than
    the rests of this hand, or lies between the walls, or is perfectly quiet where the other
    rests flicker.
    """
    change = np.flatnonzero(np.abs(np.diff(values)) > 0)
    edges = np.concatenate([[0], change + 1, [len(values)]])
    begins, ends = edges[:-1], edges[1:] - 1
    lengths = seconds[ends] - seconds[begins]
    usual, flicker = _habits(values, seconds, rests)
    moved = max(3.0 * step_pm, 0.1 * swing)
    runs = np.flatnonzero((lengths > 1.0) & (ends - begins >= 3)).tolist()
    if not runs:
        return None
    before, after = _farthest(values), _farthest(values[::-1])
    for run in runs:
        begin, end, held = int(begins[run]), int(ends[run]), float(lengths[run])
        level = float(values[begin])
        if not begin or before(begin - 1, level) <= moved:
            continue  # The rest before the first rock.
        quiet = (1 - flicker) ** (end - begin) < 1e-5 and held > 1.5 * usual
        if after(len(values) - 1 - end, level) <= moved:
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


def _farthest(values: Floats) -> Callable[[int, float], float]:
    """Give a function that tells how far from a level the readings up to a place went."""
    top, bottom = np.maximum.accumulate(values), np.minimum.accumulate(values)

    def farthest(place: int, level: float) -> float:
        return max(float(top[place]) - level, level - float(bottom[place]))

    return farthest


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
