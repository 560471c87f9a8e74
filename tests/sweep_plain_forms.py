"""The plain forms of what the sweep analysis does in blocks: slow, short, one after the other.

They are how the analysis was first written, and the tests hold the quick forms to them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gaugelink.metrology.sweep_clean import BACK_AND_FORTH_S, VISIT_S, WINDOW_S

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def spread_back(seconds: Floats, least: float) -> Floats:
    """Move each reading back to `least` before its successor, from the last to the first."""
    spread = seconds.copy()
    for place in range(len(spread) - 2, -1, -1):
        spread[place] = min(spread[place], spread[place + 1] - least)
    return spread


def typical_swing(values: Floats, seconds: Floats, step_pm: int) -> float:
    """Estimate the swing from wall to wall without looking for walls, in picometres.

    Windows of `WINDOW_S` see both walls; the range of each, its outer tenths left off, is steady
    under drift, a slip spoils few of them, and the ones at rest fall out.
    """
    # Button presses come seconds apart; the window then holds a few of them.
    window_s = max(WINDOW_S, 7 * float(np.median(np.diff(seconds))))
    ends = np.searchsorted(seconds, seconds + window_s)
    starts = np.searchsorted(seconds, np.arange(0.0, max(float(seconds[-1]) - 1.5, 0.1), 0.5))
    ranges = []
    for start in starts.tolist():
        window = np.sort(values[start : ends[start]])
        size = len(window)
        if size >= 4:
            off = max(2, size // 10) if size >= 9 else size // 6
            ranges.append(float(window[size - 1 - off] - window[off]))
    moving = np.asarray([each for each in ranges if each >= 1.5 * step_pm])
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
    # Single spikes go first: beside one, the two good readings of a short visit look like a pair.
    for wide in (1, 2, 1, 2, 3):
        places = np.flatnonzero(keep)
        x, s = values[places], seconds[places]
        if len(x) < wide + 4:
            break
        bad = _bad_rim(x, swing)
        before, after = x[: -wide - 1], x[wide + 1 :]
        inner = np.stack([x[1 + k : len(x) - wide + k] for k in range(wide)])
        span = s[wide + 1 :] - s[: -wide - 1]
        above = inner.min(axis=0) > np.maximum(before, after) + jump
        below = inner.max(axis=0) < np.minimum(before, after) - jump
        far = np.abs(inner.mean(axis=0) - (before + after) / 2) > 1.25 * swing
        rest = (np.abs(before - after) < 0.15 * swing) & (span < VISIT_S)
        short = (span < BACK_AND_FORTH_S) | rest if wide < 3 else np.zeros(len(far), np.bool_)
        for place in np.flatnonzero((above | below) & (short | far)).tolist():
            if span[place] >= BACK_AND_FORTH_S and not far[place]:
                # Longer than a twitch: a spike only if the stem rested at a wall meanwhile.
                near = np.sort(x[np.abs(s - s[place + 1]) < WINDOW_S])
                wall = near[-2 - wide] if below[place] else near[1 + wide]
                if abs(wall - before[place]) > 0.2 * swing:
                    continue
            bad[place + 1 : place + 1 + wide] = True
        keep[places[bad]] = False
    return keep


def _bad_rim(x: Floats, swing: float) -> NDArray[np.bool_]:
    """Spikes in the first two and last two readings, which have neighbours on one side only."""
    bad = np.zeros(len(x), dtype=np.bool_)
    if len(x) >= 6:
        bad[:2] = np.abs(x[:2] - np.median(x[2:5])) > 1.25 * swing
        bad[-2:] = np.abs(x[-2:] - np.median(x[-5:-2])) > 1.25 * swing
    return bad


def upper_figure(ends: Any, fit: Any, used: NDArray[np.bool_]) -> int:
    """Give the 80th percentile of the travels of each end against its two neighbours, pm.

    0 where no end has a neighbour on either side.
    """
    level = ends.level.copy()
    for after, size in fit.slips:
        level[after + 1 :] -= size
    travels = []
    for number in np.flatnonzero(used).tolist():
        opposite = np.flatnonzero(used & (ends.side == -ends.side[number]))
        before, later = opposite[opposite < number], opposite[opposite > number]
        if len(before) and len(later):
            a, b = int(before[-1]), int(later[0])
            share = (ends.at[number] - ends.at[a]) / max(float(ends.at[b] - ends.at[a]), 1e-9)
            middle = level[a] + share * (level[b] - level[a])
            travels.append(float(ends.side[number] * (level[number] - middle)))
    return round(float(np.quantile(travels, 0.8))) if travels else 0
