"""Find the two walls: settle every end where the fit of all ends says that the wall must be.

A single end cannot tell a wall from a shelf, a peak or a rest half-way. All ends together can. So
the ends are fitted, then each half swing is looked at again near the place that the fit expects,
and the fit is repeated with what was found there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from gaugelink.metrology.sweep_fit import EndFit, fit_ends, fullness
from gaugelink.metrology.sweep_settle import Settled, settle
from gaugelink.metrology.sweep_stretches import Stretches, stretches

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from gaugelink.metrology.sweep_ends import HalfSwings

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Truths = NDArray[np.bool_]

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
        rests: the rest in each and its settled part; a rest of no readings is the whole half
            swing, because nothing in it was near enough.
        level: ``(m,)`` float64, pm.
        at: ``(m,)`` working seconds.
        side: ``(m,)`` +1 high, -1 low.
        trust: ``(m,)`` weight in the fit, 0 for an end that is not asked.
    """

    swings: HalfSwings
    rests: Settled
    level: Floats
    at: Floats
    side: Floats
    trust: Floats


def find_walls(
    value_pm: Integers, seconds: Floats, swings: HalfSwings, step_pm: int, swing: float
) -> tuple[Ends, EndFit]:
    """Settle the ends and fit them.

    Args:
        value_pm: ``(n,)`` readings without the spikes, whole picometres.
        seconds: ``(n,)`` working time.
        swings: at least two half swings.
        step_pm: step of the display.
        swing: first estimate of the travel, pm.
    """
    laid = stretches(swings.first, swings.last)
    rests = Settled.none(len(swings))
    rests.first[:], rests.last[:] = swings.first, swings.last - 1
    ends = Ends(
        swings,
        rests,
        swings.rough_pm.copy(),
        laid.sums(seconds) / laid.size,
        swings.side.astype(np.float64),
        (fullness(swings.rough_pm, swing) >= FULL_SHARE).astype(np.float64),
    )
    fit = fit_ends(ends.level, ends.at, ends.side, ends.trust, step_pm, swing)
    for steps, share in NEAR:
        width = max(steps * step_pm, share * fit.travel_pm)
        found, believed = _rests_of(
            value_pm, seconds, swings, laid, fit.expected_pm, width, step_pm
        )
        there = np.flatnonzero(found.readings)
        rests.put(there, found.some(there))
        ends.level[there], ends.at[there] = found.twice_pm[there] / 2, found.at_s[there]
        # A level made of one or two readings may be a reading on the way.
        ends.trust = np.where(believed, np.minimum(1.0, 0.4 + 0.2 * found.count), 0.0)
        full = fullness(ends.level, fit.travel_pm) >= FULL_SHARE
        ends.trust = np.where(full, np.maximum(ends.trust, 0.2), ends.trust)
        fit = fit_ends(ends.level, ends.at, ends.side, ends.trust, step_pm, fit.travel_pm)
    return ends, fit


def _rests_of(
    value_pm: Integers,
    seconds: Floats,
    swings: HalfSwings,
    laid: Stretches,
    expected_pm: Floats,
    width: float,
    step_pm: int,
) -> tuple[Settled, Truths]:
    """Take each rest where the wall is expected, unless the stem clearly rested elsewhere.

    Returns:
        The rests, and which of them are the expected ones.
    """
    found = settle(value_pm, seconds, laid, swings.side, expected_pm, width, step_pm, leaving=True)
    none = found.readings == 0
    farther = found.farther > np.maximum(2, found.readings // 2)
    # The stem may only have passed by on its way to a longer rest.
    brief = ~none & ~farther & (found.readings < 4)
    doubtful = np.flatnonzero(none | farther | brief)
    believed = ~none & ~farther
    if len(doubtful):
        own = settle(
            value_pm,
            seconds,
            stretches(swings.first[doubtful], swings.last[doubtful]),
            swings.side[doubtful],
            swings.rough_pm[doubtful],
            width,
            step_pm,
            leaving=bool(doubtful[0] == 0),
        )
        better = ~brief[doubtful] | (3 * found.readings[doubtful] < own.readings)
        found.put(doubtful[better], own.some(better))
        believed[doubtful[better]] = False
    return found, believed
