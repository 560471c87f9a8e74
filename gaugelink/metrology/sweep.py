"""Travel of a rock sweep: from the readings of an indicator to wall-to-wall movement.

The stem is rocked from wall to wall while the indicator is read all the time. The answer is not the
highest reading less the lowest, which every bump and every micrometre of drift makes larger; it is
what the settled rests at the two walls agree on, once the drift of the base is taken out.

Steps: put spikes aside (`sweep_clean`); cut the sweep at its turning points (`sweep_ends`); fit all
ends with half the travel up or down on a base that drifts and may slip (`sweep_fit`); look again at
each end where the wall must be (`sweep_walls`, `sweep_settle`); leave out what does not belong and
say what is wrong (`sweep_judge`, `sweep_faults`, `sweep_clip`). Half swings are many: each step is
taken for all of them at once (`sweep_stretches`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from gaugelink.metrology import sweep_faults as faults, sweep_judge as judge
from gaugelink.metrology.sweep_clean import believable, typical_swing, working_seconds
from gaugelink.metrology.sweep_clip import clipped
from gaugelink.metrology.sweep_ends import half_swings
from gaugelink.metrology.sweep_result import Flag, FlagCode, Plateau, Side, Sweep
from gaugelink.metrology.sweep_walls import Ends, find_walls

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from gaugelink.metrology.sweep_fit import EndFit

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]

__all__ = [
    "Flag",
    "FlagCode",
    "Plateau",
    "Side",
    "Sweep",
    "display_step",
    "measure_travel",
    "plateaus_so_far",
]


FEWEST_FIGURES: Final = 12
LEAST_TRAVEL_PM: Final = 5_000_000
"""No stem in a guide moves less than 5 um; less is the flicker of the display."""


def display_step(value_pm: Integers, shown_step_pm: int) -> int:
    """Find the step by which a display counts.

    A gauge may show four places and count in fives of the last one. The readings tell: every
    difference is a whole number of steps.

    Args:
        value_pm: ``(n,)`` int64 readings, pm.
        shown_step_pm: one unit of the last place shown, pm.

    >>> import numpy as np
    >>> fives = np.array([0, 5, 20, 35, 40, 55, 60, 75, 80, 95, 110, 125])
    >>> display_step(fives * 1_270_000, 1_270_000)  # 0.00005 in, counted in fives: 0.00025 in
    6350000
    """
    seen = np.unique(value_pm)
    # Few different figures have large common divisors by chance.
    if len(seen) < FEWEST_FIGURES:
        return shown_step_pm
    return max(int(np.gcd.reduce(np.diff(seen))), shown_step_pm)


def plateaus_so_far(t_ns: Integers, value_pm: Integers, step_pm: int) -> tuple[Plateau, ...]:
    """Give the plateaus of a sweep that is still going on, for the live plot.

    The whole analysis runs anew, at 2,000 readings in a few milliseconds; `LiveSweep` does it only
    as often as a long sweep needs. The last plateau is still growing, and what was seen as an end
    may turn out short when a farther one follows.

    Args:
        t_ns: ``(n,)`` int64, ns.
        value_pm: ``(n,)`` int64, pm.
        step_pm: step of the display, pm.
    """
    return measure_travel(t_ns, value_pm, step_pm).plateaus


def measure_travel(
    t_ns: Integers,
    value_pm: Integers,
    step_pm: int,
    *,
    units: Sequence[str] | None = None,
    u_instrument_pm: int = 0,
    range_pm: tuple[int, int] | None = None,
) -> Sweep:
    """Measure the travel in a rock sweep.

    Valid for a stem that rests at each wall for at least one reading, from about 3 readings a
    second. What all ends share is not seen in their scatter: flex under a heavy hand, an indicator
    off the line of movement.

    Args:
        t_ns: ``(n,)`` int64, ns, monotonic time of arrival; bunches are allowed.
        value_pm: ``(n,)`` int64, pm.
        step_pm: step of the display, pm.
        units: unit shown with each reading, where known, so that a change is seen.
        u_instrument_pm: standard uncertainty of the indicator over the travel, pm.
        range_pm: lowest and highest figure that the gauge can show, where known.

    Returns:
        The travel with its ends and flags. A sweep that cannot be used is a result, not an error.

    Raises:
        ValueError: the arrays differ in length, or the step is not positive: a fault of the caller.

    >>> import numpy as np
    >>> rock = [0] * 8 + [30, 70] + [100] * 8 + [70, 30]
    >>> value = np.array(rock * 4 + [0] * 8, dtype=np.int64) * 1_000_000
    >>> t = np.arange(len(value), dtype=np.int64) * 100_000_000
    >>> sweep = measure_travel(t, value, 1_000_000)
    >>> sweep.travel_pm, sweep.full_rocks, sweep.usable
    (100000000, 4, True)
    """
    if len(t_ns) != len(value_pm) or (units is not None and len(units) != len(t_ns)):
        raise ValueError("times, values and units must be of one length")
    if step_pm <= 0:
        raise ValueError("the display step must be positive")
    early = [faults.backwards(t_ns), faults.unit_changed(units) if units else None]
    flags = [flag for flag in early if flag is not None]
    if len(t_ns) < 4:
        return _nothing(value_pm, step_pm, flags)
    seconds = working_seconds(np.maximum.accumulate(t_ns))
    values = value_pm.astype(np.float64)
    swing = typical_swing(values, seconds, step_pm)
    if swing < max(1.5 * step_pm, LEAST_TRAVEL_PM):
        return _nothing(value_pm, step_pm, flags)
    believed = believable(values, seconds, swing, step_pm)
    kept, aside = np.flatnonzero(believed), values[~believed]
    values, seconds = values[kept], seconds[kept]
    usual = swing
    swings, swing = half_swings(values, seconds, step_pm, swing)
    if swings is None:
        return _nothing(value_pm, step_pm, flags, moved=True)
    ends, fit = find_walls(value_pm[kept], seconds, swings, step_pm, swing)
    judged = judge.judge_ends(ends, fit, seconds, step_pm)
    turned_back = judge.astray(values, seconds, ends, judged, fit.travel_pm)
    flags += judge.flags_of_ends(fit, judged, ends.side, turned_back, step_pm)
    spikes = faults.many_spikes(aside, ends.level.min(), ends.level.max(), len(t_ns))
    flags += [spikes] if spikes else []
    flags += _flags_of_readings(values, seconds, ends, fit, judged, usual, step_pm, range_pm, flags)
    travel_pm = max(round(fit.travel_pm), 0)
    return Sweep(
        travel_pm=travel_pm,
        travel_u_pm=judge.uncertainty(fit, judged, ends.side, step_pm, u_instrument_pm),
        upper_pm=max(travel_pm, judge.upper_figure(ends, fit, judged.used)),
        full_rocks=judged.full_rocks(ends.side),
        step_pm=step_pm,
        plateaus=judge.plateaus(ends, judged, kept),
        flags=tuple(flags),
    )


def _nothing(value_pm: Integers, step_pm: int, flags: list[Flag], *, moved: bool = False) -> Sweep:
    text = (
        "The stem moved, but rested nowhere for a reading. Stay at each wall until the display "
        "has settled, and rock again."
        if moved
        else "No rocking was seen. Check that the point touches the valve and that the spindle "
        "moves, then rock from wall to wall."
    )
    found = [Flag("no movement", text, spoils=True)]
    if len(value_pm) >= 10 and int(np.ptp(value_pm)) == 0:
        found.append(
            Flag(
                "frozen",
                "Every reading is the same to the last figure: the gauge may be in hold. Set it to "
                "plain reading.",
                spoils=True,
            )
        )
    return Sweep(0, 0, 0, 0, step_pm, (), (*flags, *found))


def _flags_of_readings(
    values: Floats,
    seconds: Floats,
    ends: Ends,
    fit: EndFit,
    judged: judge.Judged,
    swing: float,
    step_pm: int,
    range_pm: tuple[int, int] | None,
    known: list[Flag],
) -> list[Flag]:
    """Look for the faults that show in the readings rather than in the ends."""
    travel = fit.travel_pm
    rests = faults.Rests(ends.rests.first, ends.rests.last, ends.side, judged.used)
    rocking = rests.some(slice(judged.first, judged.last + 1))
    begin, finish = float(seconds[rocking.first[0]]), float(seconds[rocking.last[-1]])
    found = [
        faults.missing(seconds, begin, finish),
        faults.frozen(values, seconds, rests, travel, step_pm),
        clipped(values, seconds, rocking, travel, step_pm, range_pm, slipped=bool(fit.slips)),
    ]
    if not any(flag.code == "unit change" for flag in known):
        found.append(faults.unit_jumped(values, swing))
    return [flag for flag in found if flag is not None]
