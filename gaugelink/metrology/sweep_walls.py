"""Find the two walls: settle every end where the fit of all ends says that the wall must be.

A single end cannot tell a wall from a shelf, a peak or a rest half-way. All ends together can. So
the ends are fitted, then each half swing is looked at again near the place that the fit expects,
and the fit is repeated with what was found there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from gaugelink.metrology.sweep_ends import HalfSwing, Settled, settle
from gaugelink.metrology.sweep_fit import EndFit, fit_ends, fullness

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]

FULL_SHARE: Final = 0.82
"""A swing of less than this share of the travel did not go from wall to wall."""
NEAR: Final = ((3.0, 0.05), (2.5, 0.03))
"""How near to the expected wall a rest must lie, in display steps or as a share of the travel,
whichever is more: first look, second look."""


@dataclass(slots=True)
class Ends:
    """The ends of a sweep; indices count the readings that are left without the spikes.

    Attributes:
        swings: the half swings.
        rests: first and last reading of the rest in each, both included.
        settled: the settled part of each; None where nothing was near enough.
        level: ``(m,)`` float64, pm.
        at: ``(m,)`` working seconds.
        side: ``(m,)`` +1 high, -1 low.
        trust: ``(m,)`` weight in the fit, 0 for an end that is not asked.
    """

    swings: list[HalfSwing]
    rests: list[tuple[int, int]]
    settled: list[Settled | None]
    level: Floats
    at: Floats
    side: Floats
    trust: Floats


def find_walls(
    value_pm: Integers, seconds: Floats, swings: list[HalfSwing], step_pm: int, swing: float
) -> tuple[Ends, EndFit]:
    """Settle the ends and fit them.

    Args:
        value_pm: ``(n,)`` readings without the spikes, whole picometres.
        seconds: ``(n,)`` working time.
        swings: at least two half swings.
        step_pm: step of the display.
        swing: first estimate of the travel, pm.
    """
    level = np.array([each.rough_pm for each in swings])
    ends = Ends(
        swings,
        [(each.first, each.last - 1) for each in swings],
        [None] * len(swings),
        level,
        np.array([float(seconds[each.first : each.last].mean()) for each in swings]),
        np.array([float(each.side) for each in swings]),
        (fullness(level, swing) >= FULL_SHARE).astype(np.float64),
    )
    fit = fit_ends(ends.level, ends.at, ends.side, ends.trust, step_pm, swing)
    for steps, share in NEAR:
        width = max(steps * step_pm, share * fit.travel_pm)
        for number, each in enumerate(swings):
            here = slice(each.first, each.last)
            part, believed = _rest_of(
                value_pm[here],
                seconds[here],
                each,
                float(fit.expected_pm[number]),
                width,
                step_pm,
                leaving=number == 0,
            )
            ends.trust[number] = 0.0
            if part is None:
                continue
            ends.rests[number] = each.first + part.first, each.first + part.last
            ends.settled[number] = part
            ends.level[number], ends.at[number] = float(part.level_pm), part.at_s
            if believed:
                # A level made of one or two readings may be a reading on the way.
                ends.trust[number] = min(1.0, 0.4 + 0.2 * part.count)
        full = fullness(ends.level, fit.travel_pm) >= FULL_SHARE
        ends.trust = np.where(full, np.maximum(ends.trust, 0.2), ends.trust)
        fit = fit_ends(ends.level, ends.at, ends.side, ends.trust, step_pm, fit.travel_pm)
    return ends, fit


def _rest_of(
    value_pm: Integers,
    seconds: Floats,
    swing: HalfSwing,
    expected_pm: float,
    width: float,
    step_pm: int,
    *,
    leaving: bool,
) -> tuple[Settled | None, bool]:
    """Take the rest where the wall is expected, unless the stem clearly rested elsewhere.

    Returns:
        The rest, and whether it is the expected one.
    """

    def rest_near(level: float) -> Settled | None:
        return settle(value_pm, seconds, swing.side, level, width, step_pm, leaving=leaving)

    at_wall = rest_near(expected_pm)
    if at_wall is None:
        return rest_near(swing.rough_pm), False
    farther = int(np.count_nonzero((value_pm - expected_pm) * swing.side > width))
    if farther > max(2, at_wall.readings // 2):
        return rest_near(swing.rough_pm), False
    if at_wall.readings < 4:
        # The stem may only have passed by on its way to a longer rest.
        own = rest_near(swing.rough_pm)
        if own is not None and 3 * at_wall.readings < own.readings:
            return own, False
    return at_wall, True
