"""What a step at one valve does to the rest of the head: a skim is one for all."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from gaugelink.planning.allowances import allowance, allowances
from gaugelink.planning.held import afterwards, as_found
from gaugelink.planning.means import PROTRUSIONS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelink.planning.allowances import Allowance, Step
    from gaugelink.planning.plan import Plan
    from gaugelink.planning.task import Cylinder, Task

OF_ALL: Final = ("head thickness", "spread")
"""Limits that are the same at every valve, and told with the step's own."""
OF_CYLINDER: Final = (*PROTRUSIONS, "chamber volume", "compression ratio")


def elsewhere(
    task: Task, place: int | None, step: Step, depth_pm: int
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Say which limits of other valves and cylinders a step breaks, and which it mends.

    Args:
        task: the head as it was measured.
        place: number of the place where the step is tried; None: of the face as a whole.
        step: the step; all but a skim stay where they are done.
        depth_pm: its depth, picometres.

    Returns:
        Limits that were kept and are no longer, and limits that are kept from now on, as words
        such as ``stand-down min at 1I``.
    """
    broken: dict[str, None] = {}
    mended: dict[str, None] = {}
    own = None if place is None else _cylinder(task, place)
    for number, other in enumerate(task.places if step == "skim" else ()):
        seated, cylinder = as_found(task, number), _cylinder(task, number)
        before, now = seated.beyond(), seated.after(step, depth_pm).beyond()
        for name in {**dict.fromkeys(before), **dict.fromkeys(now)}:
            of_cylinder = name.startswith(OF_CYLINDER)
            told = (
                number == place
                or (of_cylinder and cylinder == own is not None)
                or name.startswith(OF_ALL)
            )
            if told or (name in before) == (name in now):
                continue
            where = cylinder.name if of_cylinder and cylinder else other.name
            (broken if name in now else mended)[f"{name} at {where}"] = None
    return tuple(broken), tuple(mended)


def left_of_skim(
    task: Task, place: int | None, step: Step, depth_pm: int, own: Allowance
) -> Allowance:
    """Say how much of a skim is left: it is one for all valves, and the least of them holds it.

    Args:
        task: the head as it was measured.
        place: number of the place where a step was tried; None: at none.
        step: the step.
        depth_pm: its depth, picometres.
        own: what is left of a skim at that place afterwards.
    """
    others = []
    for number in range(len(task.places)):
        seated = as_found(task, number)
        one = allowance(seated.after(step, depth_pm) if step == "skim" else seated, "skim")
        others.append(own if number == place else one)
    return _least(task, place, own, others)


def left_afterwards(task: Task, plan: Plan) -> list[dict[Step, Allowance]]:
    """Say for every place how much of each step is left once a plan is done, each step alone.

    Args:
        task: the head as it was measured.
        plan: its plan.

    Returns:
        By place, in the order of the plan; a skim as far as every valve and cylinder bears it.
    """
    found = [allowances(seated) for seated in afterwards(task, plan)]
    skims = [one["skim"] for one in found]
    return [{**one, "skim": _least(task, at, one["skim"], skims)} for at, one in enumerate(found)]


def _least(task: Task, place: int | None, own: Allowance, others: Sequence[Allowance]) -> Allowance:
    """Give what all places bear of a skim; limits of other places are named with theirs."""
    found = own
    for number, (other, one) in enumerate(zip(task.places, others, strict=True)):
        if number == place:
            continue
        if one.most_pm is not None and (found.most_pm is None or one.most_pm < found.most_pm):
            held_by = _at(one.held_by, other.name)
            found = replace(found, most_pm=one.most_pm, held_by=held_by)
        if one.least_pm > found.least_pm:
            needed_by = _at(one.needed_by, other.name)
            found = replace(found, least_pm=one.least_pm, needed_by=needed_by)
    return found


def _at(limit: str, place: str) -> str:
    return limit if limit.startswith((*OF_ALL, "most of")) else f"{limit} at {place}"


def _cylinder(task: Task, place: int) -> Cylinder | None:
    name = task.places[place].name
    return next((one for one in task.cylinders if name in one.valves), None)
