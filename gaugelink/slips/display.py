"""What a display does by itself: it stands still, or shows another number of decimal places."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final

from gaugelink.slips.suspicion import Suspicion

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelink.head import Position
    from gaugelink.quantity import Displayed
    from gaugelink.reading import Gauge
    from gaugelink.slips.suspicion import Taken

CHANCE: Final = 2000
"""A head has some 200 readings. A run that chance makes once in 2000 is asked about."""
ENOUGH: Final = 3
"""So many values with as many decimal places: some gauges leave out zeros at the end."""
PRIOR: Final = 4
"""What is not known yet stands for one equal pair in four, as two values that scatter by about a
display step are equal (28 % at a standard deviation of one step; normal distribution)."""


def stands_still(
    position: Position, shown: Displayed, gauge: Gauge, taken: Sequence[Taken], *, alone: bool
) -> Suspicion | None:
    """Ask whether so many equal values in a row can be chance.

    How often two successive values of this gauge are equal is counted over the values before the
    run.

    Args:
        position: the place that is asked for.
        shown: the value.
        gauge: the gauge that sent it.
        taken: the readings that count, oldest first.
        alone: nothing else is wrong with the value; else two equal ones before it say enough.
    """
    series = [
        item
        for item in taken
        if item.gauge == gauge.id and item.position.characteristic == position.characteristic
    ]
    run = 0
    for item in reversed(series):
        if item.shown != shown or item.kept:
            break
        run += 1
    before = [item.shown.pm for item in series[: len(series) - run]]
    pairs = list(pairwise(before))
    equal = sum(one == other for one, other in pairs) + 1
    too_many = equal**run * CHANCE < (len(pairs) + PRIOR) ** run
    if not too_many and (alone or run < 2):
        return None
    words = (
        f"{shown} came {run + 1} times in a row from {gauge.title}, at places that "
        "differ; see whether its display still follows the spindle, and measure again"
    )
    return Suspicion("frozen display", words, strong=too_many)


def digits_changed(shown: Displayed, gauge: Gauge, taken: Sequence[Taken]) -> Suspicion | None:
    """Ask about a value with another display step than all of this gauge's values before it.

    A digit that got lost on the way, or a decimal sign that moved, shows so even where the size
    itself says nothing: a height of the face may be 0.02 mm as well as 0.2 mm.

    Args:
        shown: the value.
        gauge: the gauge that sent it.
        taken: the readings that count, oldest first.
    """
    steps = [
        item.shown.step_pm
        for item in taken
        if item.gauge == gauge.id and item.shown.unit == shown.unit
    ]
    if len(steps) < ENOUGH or len(set(steps)) > 1 or steps[0] == shown.step_pm:
        return None
    words = (
        f"{shown} has {'fewer' if shown.step_pm > steps[0] else 'more'} decimal places than all "
        f"{len(steps)} values of {gauge.title} before it; see its display, and measure again"
    )
    return Suspicion("decimal shift", words)
