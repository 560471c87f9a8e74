"""Which places have a guide or a valve of another size than the standard one, told by the work.

A work order foretells the size of every guide that it reams and of every valve that it fits. Where
that lies within a size that the sheet has limits of, and the work is on record, the place has it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from gaugelink.errors import InputError
from gaugelink.quantity import parse_length

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gaugelink.events import PlannedFigure, PlanTaken, WorkDone
    from gaugelink.limits import Sheet
    from gaugelink.work import Operation

SIZED: Final[dict[Operation, str]] = {
    "guide replaced": "guide bore",
    "guide reamed": "guide bore",
    "valve replaced": "stem diameter",
    "valve moved": "stem diameter",
}
"""Work that gives a place another size, and of what."""

Sizes = dict[tuple[str, str], str]
"""By valve and characteristic the name of the size; the standard one has none."""


def resized(
    sizes: Mapping[tuple[str, str], str], work: WorkDone, order: PlanTaken | None,
    sheet: Sheet | None,
) -> Sizes:  # fmt: skip
    """Give the sizes of all places once work is done.

    Args:
        sizes: before it.
        work: what was done.
        order: the work order in force; None: there is none, and the size is the standard one.
        sheet: the limits.
    """
    found = dict(sizes)
    what = SIZED.get(work.operation)
    if what is None or sheet is None:
        return found
    for valve in work.valves:
        found.pop((valve, what), None)
        name = next((size for one in _foretold(order, work.operation, valve, what)
                     if (size := _size_of(sheet, one))), "")  # fmt: skip
        if name:
            found[valve, what] = name
    return found


def _foretold(
    order: PlanTaken | None, operation: Operation, valve: str, what: str
) -> list[PlannedFigure]:
    return [one for step in (order.steps if order else ())
            if step.operation == operation and valve in step.valves
            for one in step.expected or () if (one.valve, one.figure) == (valve, what)]  # fmt: skip


def _size_of(sheet: Sheet, one: PlannedFigure) -> str:
    """Name the size that a foretold figure lies within; empty where it is of none."""
    try:
        least, most = parse_length(one.least).pm, parse_length(one.most).pm
    except InputError:  # an order of another version may say it in other words
        return ""
    for limit in sheet.oversizes:
        if limit.characteristic == one.figure and one.valve in limit.valves:
            new = limit.bounds["new_min"].pm, limit.bounds["new_max"].pm
            if new[0] <= least and most <= new[1]:
                return limit.size
    return ""
