"""Which places have a guide or a valve of another size than the standard one, told by the work.

Whoever tells the work may say the size. Where nobody does, the line of the work order that asked
for it says: it foretells the size of every guide that is reamed and of every valve that is fitted,
and where that lies within a size that the sheet has limits of, the place has it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from gaugelink.errors import InputError, SessionError
from gaugelink.planning.order_figures import ordered
from gaugelink.planning.ticking import ticked

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from gaugelink.events import OtherSize, PlanTaken, WorkDone
    from gaugelink.limits import Limit, Sheet
    from gaugelink.planning.ticking import Ticked
    from gaugelink.work import Operation

SIZED: Final[dict[Operation, str]] = {
    "guide replaced": "guide bore",
    "guide reamed": "guide bore",
    "guide honed": "guide bore",
    "guide sleeved": "guide bore",
    "valve replaced": "stem diameter",
    "valve moved": "stem diameter",
}
"""Work that may give a place another size, and of what."""

KEEPS: Final = frozenset({"guide honed"})
"""Work that takes off a little: without a word the size stays."""

Sizes = dict[tuple[str, str], str]
"""By valve and characteristic the name of the size; the standard one has none."""


def resized(
    sizes: Mapping[tuple[str, str], str],
    work: WorkDone,
    order: tuple[int, PlanTaken] | None,
    done: Iterable[tuple[int, WorkDone]],
    sheet: Sheet | None,
) -> Sizes:
    """Give the sizes of all places once work is done.

    Args:
        sizes: before it.
        work: what was done.
        order: the work order in force with its record place; None: there is none.
        done: all work so far with its record places, this one included.
        sheet: the limits.
    """
    found = dict(sizes)
    what = SIZED.get(work.operation)
    if what is None or sheet is None:
        return found
    lines = ticked(*order, done) if order is not None and work.size is None else []
    for valve in work.valves:
        name = work.size
        if name is None:
            name = _of_the_order(lines, work, valve, what, sheet)
        if name is None and work.operation in KEEPS:
            continue
        found.pop((valve, what), None)
        if name:
            found[valve, what] = name
    return found


def carried(
    sizes: Mapping[tuple[str, str], str],
    told: Iterable[OtherSize],
    done: Iterable[tuple[int, WorkDone]],
) -> Sizes:
    """Give the sizes of all places once a job is opened with those of the round before.

    Args:
        sizes: before it.
        told: the sizes of the round before.
        done: the work of this record; it knows better of the places that it concerns.
    """
    own = {(valve, SIZED[work.operation]) for _, work in done if work.operation in SIZED
           for valve in work.valves}  # fmt: skip
    before = {(one.valve, one.characteristic): one.size for one in told}
    return {key: size for key, size in before.items() if key not in own} | {
        key: size for key, size in sizes.items() if key in own
    }


def sizes_for(sheet: Sheet | None, characteristic: str, valve: str) -> list[str]:
    """List the oversizes that a sheet has for a part, in its order."""
    found = (limit.size for limit in _limits_of(sheet, characteristic, valve))
    return list(dict.fromkeys(found))


def check_size(
    size: str | None, operation: Operation, valves: Iterable[str], sheet: Sheet | None
) -> None:
    """Refuse a size that was told with work and cannot be.

    Raises:
        SessionError: the work gives nothing a size, or the sheet has no such size there.
    """
    if size is None:
        return
    what = SIZED.get(operation)
    if what is None:
        raise SessionError(f"{operation!r} gives no part another size; leave the size out")
    for valve in valves if size else ():
        known = sizes_for(sheet, what, valve)
        if size not in known:
            accepted = ", ".join(["standard", *known])
            raise SessionError(
                f"found the size {size!r} for the {what} of {valve}, accepted: {accepted}"
            )


def brought(
    lines: Sequence[Ticked], work: WorkDone, valve: str, figure: str, sheet: Sheet | None
) -> tuple[int, int] | None:
    """Give the sizes to which work brings a figure, picometres; None: nothing says.

    Args:
        lines: of the work order, ticked.
        work: the work.
        valve: the valve.
        figure: the characteristic.
        sheet: the limits, with the sizes that may be told with the work.
    """
    if work.size is None or SIZED.get(work.operation) != figure:
        return ordered(lines, work, valve, figure)
    return new_of(sheet, figure, valve, work.size) if work.size else None


def new_of(
    sheet: Sheet | None, characteristic: str, valve: str, size: str
) -> tuple[int, int] | None:
    """Give what a new part of an oversize measures, picometres; None: the sheet has none."""
    for limit in _limits_of(sheet, characteristic, valve):
        if limit.size == size:
            return limit.bounds["new_min"].pm, limit.bounds["new_max"].pm
    return None


def _limits_of(sheet: Sheet | None, characteristic: str, valve: str) -> list[Limit]:
    return [limit for limit in (sheet.oversizes if sheet else ())
            if limit.characteristic == characteristic and valve in limit.valves]  # fmt: skip


def _of_the_order(
    lines: Sequence[Ticked], work: WorkDone, valve: str, what: str, sheet: Sheet
) -> str | None:
    """Name the size that the line of the work order foretells; None where it says nothing."""
    try:
        span = ordered(lines, work, valve, what)
    except InputError:  # an order of another version may say it in other words
        span = None
    if span is None:
        return None
    for limit in _limits_of(sheet, what, valve):
        if limit.bounds["new_min"].pm <= span[0] and span[1] <= limit.bounds["new_max"].pm:
            return limit.size
    return ""
