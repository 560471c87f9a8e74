"""Put the readings of a rock sweep in order: spread out bunches, see the swing, leave spikes out.

Nothing here knows of walls or turns. Long sweeps are looked at as a whole or in blocks, never one
reading after the other where that can be helped.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Places = NDArray[np.intp]

BACK_AND_FORTH_S: Final = 0.4
"""No hand goes to a wall and back within this time: what does is a spike."""
VISIT_S: Final = 0.7
"""Shortest time in which a hand leaves one wall, touches the other and is back."""
WINDOW_S: Final = 2.5
"""A window of this length sees both walls of a rock at the usual pace."""
SHORT_BUNCH: Final = 12
"""Bunches of up to this many readings are spread out all together."""
AT_ONCE: Final = 16_384
"""Readings that `typical_swing` orders together: as many as a processor has at hand."""


def working_seconds(t_ns: Integers) -> Floats:
    """Turn arrival times into seconds from the first reading, bunches spread out again.

    A computer hands over several readings at once when the port was slow; each was taken earlier
    than it arrived. A reading cannot have been taken later than one reading time before its
    successor, which undoes a bunch and leaves evenly arriving readings where they are.

    Args:
        t_ns: ``(n,)`` int64, ns, never going backwards.

    >>> import numpy as np
    >>> bunch = np.array([0, 100, 400, 400, 400, 500], dtype=np.int64) * 1_000_000
    >>> [round(float(s), 1) for s in working_seconds(bunch)]
    [0.0, 0.1, 0.2, 0.3, 0.4, 0.5]
    """
    seconds = (t_ns - t_ns[0]) / 1e9
    if len(seconds) < 3:
        return np.asarray(seconds)
    pause = np.diff(seconds)
    mean = float(seconds[-1]) / (len(seconds) - 1)
    if np.count_nonzero(pause < 0.3 * mean) < 0.1 * len(pause):
        return np.asarray(seconds)
    # Places where readings are truly missing would stretch the mean; they are left out of it.
    period = float(np.mean(pause[pause < 8 * mean]))
    spread = spread_back(np.asarray(seconds), 0.9 * period)
    # A bunch is spread back no further than to the reading that arrived before it.
    spread = np.maximum(spread, seconds - 12 * period)
    return np.maximum.accumulate(spread - spread[0])


def spread_back(seconds: Floats, least: float) -> Floats:
    """Move times back until each lies at least `least` before its successor.

    >>> import numpy as np
    >>> spread_back(np.array([0.0, 1.0, 4.0, 4.0, 4.0]), 1.0).tolist()
    [0.0, 1.0, 2.0, 3.0, 4.0]
    """
    spread = seconds.copy()
    # Only a reading that stands too near to its successor moves, and then perhaps the one before.
    moving = np.flatnonzero(spread[:-1] > spread[1:] - least)
    for _ in range(SHORT_BUNCH):
        if not len(moving):
            return spread
        spread[moving] = spread[moving + 1] - least
        moving = moving[moving > 0] - 1
        moving = moving[spread[moving] > spread[moving + 1] - least]
    # What is left belongs to long bunches: one reading after the other, from the last.
    listed, reached = spread.tolist(), len(spread)
    for start in moving[::-1].tolist():
        if start >= reached:
            continue
        place, moved = start, listed[start + 1] - least
        while place >= 0 and listed[place] > moved:
            listed[place] = moved
            moved -= least
            place -= 1
        reached = place
    return np.array(listed)


def usual_pause(pause: Floats) -> float:
    """Give the median of the times between readings, at least one.

    Ordered whole, which is quicker than to look for the median alone where most are alike.

    >>> import numpy as np
    >>> usual_pause(np.array([1.0, 9.0, 2.0])), usual_pause(np.array([4.0, 1.0, 2.0, 9.0]))
    (2.0, 3.0)
    """
    ordered = np.sort(pause)
    middle = len(ordered) // 2
    return float((ordered[(len(ordered) - 1) // 2] + ordered[middle]) / 2)


def typical_swing(values: Floats, seconds: Floats, step_pm: int) -> float:
    """Estimate the swing from wall to wall without looking for walls, in picometres.

    Windows of `WINDOW_S` see both walls; the range of each, its outer tenths left off, is steady
    under drift, a slip spoils few of them, and the ones at rest fall out.
    """
    # Button presses come seconds apart; the window then holds a few of them.
    window_s = max(WINDOW_S, 7 * usual_pause(np.diff(seconds)))
    starts = np.searchsorted(seconds, np.arange(0.0, max(float(seconds[-1]) - 1.5, 0.1), 0.5))
    sizes = np.searchsorted(seconds, seconds[starts] + window_s) - starts
    ranges = np.zeros(len(starts))
    # Windows with equally many readings are ordered together.
    for size in np.unique(sizes[sizes >= 4]).tolist():
        off = max(2, size // 10) if size >= 9 else size // 6
        windows = sliding_window_view(values, size)
        alike = np.flatnonzero(sizes == size)
        together = max(AT_ONCE // size, 1)
        for some in np.split(alike, range(together, len(alike), together)):
            rows = np.sort(windows[starts[some]], axis=1)
            ranges[some] = rows[:, size - 1 - off] - rows[:, off]
    moving = ranges[ranges >= 1.5 * step_pm]
    if not len(moving):
        return 0.0
    moving = moving[moving >= 0.4 * np.quantile(moving, 0.75)]
    return float(np.quantile(moving, 0.6))


def believable(values: Floats, seconds: Floats, swing: float, step_pm: int) -> NDArray[np.bool_]:
    """Tell spikes of one to three readings from the readings that the stem can have made.

    Returns:
        ``(n,)`` bool, True where the reading is kept.
    """
    keep = np.ones(len(values), dtype=np.bool_)
    jump = max(4.0 * step_pm, 0.12 * swing)
    x, s = values, seconds
    places: Places | None = None
    leaps = _leaps(x, jump)
    looked: set[int] = set()
    # Single spikes go first: beside one, the two good readings of a short visit look like a pair.
    for wide in (1, 2, 1, 2, 3):
        if len(x) < wide + 4:
            break
        if wide in looked:
            continue  # nothing went since, so nothing would be found
        looked.add(wide)
        bad = np.concatenate([_bad_rim(x, swing), _spikes(x, s, leaps, wide, swing, jump)])
        if len(bad):
            keep[bad if places is None else places[bad]] = False
            places = np.flatnonzero(keep)
            x, s = values[places], seconds[places]
            leaps = _leaps(x, jump)
            looked.clear()
    return keep


def _leaps(x: Floats, jump: float) -> Places:
    """Readings after which the next lies so far off that a spike may begin there."""
    # A little less than the jump, which the rounding of a sum cannot make up for.
    return np.flatnonzero(np.abs(np.diff(x)) > 0.9 * jump)


def _spikes(x: Floats, s: Floats, leaps: Places, wide: int, swing: float, jump: float) -> Places:
    """Readings in spikes of `wide` readings that no hand can have made."""
    # Everything else lies within a jump of the reading before it, and begins no spike.
    begin = leaps[leaps < len(x) - wide - 1]
    before, after = x[begin], x[begin + wide + 1]
    inner = np.stack([x[begin + 1 + k] for k in range(wide)])
    span = s[begin + wide + 1] - s[begin]
    above = inner.min(axis=0) > np.maximum(before, after) + jump
    below = inner.max(axis=0) < np.minimum(before, after) - jump
    far = np.abs(inner.mean(axis=0) - (before + after) / 2) > 1.25 * swing
    rest = (np.abs(before - after) < 0.15 * swing) & (span < VISIT_S)
    short = (span < BACK_AND_FORTH_S) | rest if wide < 3 else np.zeros(len(far), np.bool_)
    found = (above | below) & (short | far)
    for number in np.flatnonzero(found & (span >= BACK_AND_FORTH_S) & ~far).tolist():
        # Longer than a twitch: a spike only if the stem rested at a wall meanwhile.
        middle = s[begin[number] + 1]
        here = slice(*np.searchsorted(s, (middle - WINDOW_S - 0.1, middle + WINDOW_S + 0.1)))
        near = np.sort(x[here][np.abs(s[here] - middle) < WINDOW_S])
        wall = near[-2 - wide] if below[number] else near[1 + wide]
        found[number] = abs(wall - before[number]) <= 0.2 * swing
    spikes: Places = (begin[found][:, None] + np.arange(1, wide + 1)).ravel()
    return spikes


def _bad_rim(x: Floats, swing: float) -> Places:
    """Spikes in the first two and last two readings, which have neighbours on one side only."""
    if len(x) < 6:
        return np.empty(0, dtype=np.intp)
    first = np.abs(x[:2] - np.median(x[2:5])) > 1.25 * swing
    last = np.abs(x[-2:] - np.median(x[-5:-2])) > 1.25 * swing
    return np.concatenate([np.flatnonzero(first), len(x) - 2 + np.flatnonzero(last)])
