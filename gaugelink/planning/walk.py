"""In which order places are measured again, so that the head is walked least.

The gauge stays in the hand: what is to be measured comes in the plan's order of characteristics,
each with its zero checks. Within a characteristic only the cylinders are free, and each of them
may be taken from the front or from the rear, so that one characteristic begins near where the one
before it ended. At one cylinder the order of the plan stays. Walking is counted in cylinders.
"""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, TypeVar

from gaugelink.head import zero_check_of

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from gaugelink.plan import Step

_Ends = tuple[int, int]
_What = TypeVar("_What")


def cylinder_of(step: Step) -> int | None:
    """Give the cylinder where a step is taken; None for the whole head and for a zero check."""
    return step.position.cylinder


def walk(
    plan: Sequence[Step], wanted: Collection[int], at: int | None = None, here: int | None = None
) -> list[int]:
    """Put steps in the order that walks the head least.

    Args:
        plan: all steps, in order of measuring.
        wanted: numbers of those that are to be taken.
        at: number of the step that was taken last; its characteristic goes on first, then those
            after it in the plan, then those before it. None: the plan begins.
        here: the cylinder where somebody stands, None: nowhere yet.

    Returns:
        The numbers wanted, in the order to take them. Of two walks as short, the one that begins
        at the front.

    Three cylinders, stem diameters, then stand-downs; the second characteristic is walked back:

    >>> from gaugelink.head import Position
    >>> from gaugelink.plan import Step
    >>> plan = [Step(Position(f"{n}E", what), gauge)
    ...         for what, gauge in (("stem diameter", "micrometer"), ("stand-down", "depth gauge"))
    ...         for n in (1, 2, 3)]
    >>> [plan[number].position.valve for number in walk(plan, range(6))]
    ['1E', '2E', '3E', '3E', '2E', '1E']
    """
    blocks = [
        [(number, cylinder_of(plan[number])) for number in block]
        for _, block in groupby(_from(plan, sorted(wanted), at),
                                key=lambda number: _series(plan[number]))
    ]  # fmt: skip
    return in_series(blocks, here)


def in_series(
    blocks: Sequence[Sequence[tuple[_What, int | None]]], here: int | None = None
) -> list[_What]:
    """Put what is measured series by series into the order that walks the head least.

    Args:
        blocks: the series in their order, each with what is measured and its cylinder; None for
            what belongs to no cylinder.
        here: the cylinder where somebody stands, None: nowhere yet.

    >>> in_series([[("1E", 1), ("2E", 2)], [("1E too", 1), ("2E too", 2)]])
    ['1E', '2E', '2E too', '1E too']
    """
    ends: list[_Ends | None] = []
    for block in blocks:
        places = [found for _, found in block if found is not None]
        ends.append((min(places), max(places)) if places else None)
    order: list[_What] = []
    for block, end, rearward in zip(blocks, ends, _directions(ends, here), strict=True):
        found = list(block)
        if end is not None:
            found.sort(key=lambda item: _when(item[1], here, rearward))
            here = end[rearward]
        order += [what for what, _ in found]
    return order


def _from(plan: Sequence[Step], wanted: Sequence[int], at: int | None) -> list[int]:
    """Begin with the series of characteristics where somebody stands; the plan goes round."""
    if at is None:
        return list(wanted)
    own, first = _series(plan[at]), at
    while first and _series(plan[first - 1]) == own:
        first -= 1
    return [*(n for n in wanted if n >= first), *(n for n in wanted if n < first)]


def _series(step: Step) -> tuple[str, str]:
    """Say what is measured in one go; the check after one gauge is not that before the next."""
    position = step.position
    return position.characteristic, "" if zero_check_of(position) is None else position.station


def _when(cylinder: int | None, here: int | None, rearward: bool) -> tuple[bool, int]:
    """Say when a cylinder's turn comes: what lies on the way to the far end is taken on the way."""
    assert cylinder is not None, "a series is taken at cylinders, or nowhere along the head"
    if here is None:
        return False, cylinder if rearward else -cylinder
    behind = cylinder > here if rearward else cylinder < here
    return behind, abs(cylinder - here)


def _directions(ends: Sequence[_Ends | None], here: int | None) -> list[bool]:
    """Say of each series whether it ends at the rear, so that all of them together walk least."""

    def cost(end: _Ends, start: int | None, rearward: bool) -> int:
        return end[1] - end[0] + (0 if start is None else abs(start - end[not rearward]))

    # From the last series to the first: what is still to be walked from either end of each.
    rest: list[dict[int, int]] = [{} for _ in ends]
    after: tuple[_Ends, dict[int, int]] | None = None
    for number in reversed(range(len(ends))):
        if (end := ends[number]) is None:
            continue
        for place in end:
            rest[number][place] = 0 if after is None else min(
                cost(after[0], place, way) + after[1][after[0][way]] for way in (True, False)
            )  # fmt: skip
        after = end, rest[number]
    found = []
    for number, end in enumerate(ends):
        rearward = end is None or min(
            # Of two as short, what is near comes first: nothing then is passed without being taken.
            (True, False),
            key=lambda way: ((own := cost(end, here, way)) + rest[number][end[way]], own),
        )
        found.append(rearward)
        here = here if end is None else end[rearward]
    return found
