"""Faults of a sweep that do not show in the ends alone: time, gaps, spikes, unit, hold.

Each function looks at the readings, and gives a flag or nothing. The sentences are for the person
at the bench.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from gaugelink.metrology.sweep_clean import usual_pause
from gaugelink.metrology.sweep_result import Flag
from gaugelink.quantity import PM_PER_INCH, PM_PER_MM

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Places = NDArray[np.intp]
    Truths = NDArray[np.bool_]

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
class Rests:
    """The rests at the walls, as the faults are looked for.

    Attributes:
        first, last: ``(m,)`` indices of the readings of each, both included.
        side: ``(m,)`` +1 high, -1 low.
        at_wall: ``(m,)`` whether its level is the level of the wall.
    """

    first: Places
    last: Places
    side: Floats
    at_wall: Truths

    def __len__(self) -> int:
        """Say how many there are."""
        return len(self.first)

    def some(self, where: slice | Places | Truths) -> Rests:
        """Take out some of them."""
        return Rests(self.first[where], self.last[where], self.side[where], self.at_wall[where])

    def stays(self, seconds: Floats) -> Floats:
        """Say how long each was, seconds."""
        took: Floats = seconds[self.last] - seconds[self.first]
        return took


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
    least = max(GAP_S, 6 * usual_pause(pause))
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
    values: Floats, seconds: Floats, rests: Rests, swing: float, step_pm: int
) -> Flag | None:
    """Flag a display that stood still while the stem was rocked.

    A stem at rest and a display in hold look alike. What gives the hold away: it lasts longer than
    the rests of this hand, or lies between the walls, or is perfectly quiet where the other
    rests flicker.
    """
    change = np.flatnonzero(values[1:] != values[:-1])
    edges = np.concatenate([[0], change + 1, [len(values)]])
    begin, end = edges[:-1], edges[1:] - 1
    held = seconds[end] - seconds[begin]
    # What stands from the first reading on is the rest before the first rock.
    runs = np.flatnonzero((held > 1.0) & (end - begin >= 3) & (begin > 0))
    if not len(runs):
        return None
    begin, end, held = begin[runs], end[runs], held[runs]
    usual, flicker = _habits(seconds, rests, change)
    moved, level = max(3.0 * step_pm, 0.1 * swing), values[begin]
    rocked = _farthest(values)(begin - 1, level) > moved
    rocked_on = _farthest(values[::-1])(len(values) - 1 - end, level) > moved
    quiet = ((1 - flicker) ** (end - begin) < 1e-5) & (held > 1.5 * usual)
    walls = rests.some(rests.at_wall)
    # Rests that begin before the run ends, less those that end before it begins.
    wall = np.searchsorted(np.sort(walls.first), end, side="right") > np.searchsorted(
        np.sort(walls.last), begin
    )
    longest = np.where(wall, max(WALL_HELD_S, 2.2 * usual), SHELF_HELD_S)
    told = rocked & (quiet | np.where(rocked_on, held > longest, held >= TAIL_HELD_S))
    if not told.any():
        return None
    run = int(np.argmax(told))
    if not rocked_on[run]:
        return Flag(
            "frozen",
            f"The display did not change once in the last {held[run]:.1f} s. If the valve was "
            "still being rocked then, the gauge was in hold: rock again.",
            spoils=False,
        )
    return Flag(
        "frozen",
        f"The display stood still for {held[run]:.1f} s in the middle of the rocking and then "
        "jumped: the gauge was in hold, max, min or TIR mode, or switched itself off. Set "
        "it to plain reading and rock again.",
        spoils=True,
    )


def _farthest(values: Floats) -> Callable[[Places, Floats], Floats]:
    """Give a function that tells how far from a level the readings up to a place went."""
    top, bottom = np.maximum.accumulate(values), np.minimum.accumulate(values)

    def farthest(place: Places, level: Floats) -> Floats:
        return np.maximum(top[place] - level, level - bottom[place])

    return farthest


def _habits(seconds: Floats, rests: Rests, change: Places) -> tuple[float, float]:
    """How long this hand usually rests at a wall, and how often the display changes there.

    Args:
        seconds: ``(n,)`` working time.
        rests: the rests, at least one.
        change: the readings after which the display changed.
    """
    inner = rests.some(slice(1, -1)) if len(rests) > 4 else rests
    usual = float(np.sort(inner.stays(seconds))[len(inner) // 2])
    size = rests.last - rests.first + 1
    long = rests.at_wall & (size >= 4)
    if np.count_nonzero(long) < 3:
        return usual, 0.0
    late, last = (rests.first + size // 3)[long], rests.last[long]
    changes = np.searchsorted(change, last) - np.searchsorted(change, late)
    rates = np.sort(changes / (last - late))
    return usual, float(rates[len(rates) // 3])
