"""What holds a valve in its place: for trying a step, and for the last check of a plan."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from gaugelink.planning.allowances import STEPS
from gaugelink.planning.bounds import bounds
from gaugelink.planning.means import PROTRUSIONS, protruding, skims
from gaugelink.planning.options import Fitting, Ways
from gaugelink.planning.task import Range
from gaugelink.planning.together import with_others
from gaugelink.planning.way import NEW

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gaugelink.planning.allowances import Figure, Seated, Step
    from gaugelink.planning.bounds import Bound
    from gaugelink.planning.plan import Plan
    from gaugelink.planning.task import Deed, Place, Rules, Task
    from gaugelink.planning.way import Way


def fitted(task: Task, way: Way, tied: Sequence[Bound] = ()) -> Seated:
    """Give the place of a way with its valve and spring before any work, for a last check.

    Args:
        task: the head.
        way: of the place.
        tied: what other places leave of its drop.
    """
    fitting = Fitting(Ways(task, skims(task)), way.place, way.valve, frozenset())
    new = "replace spring" in way.deeds
    for is_new, load, _ in fitting.springs():
        if is_new == new:
            seated = fitting.seated(load, deeds=way.deeds)
            if not tied:
                return seated
            figures: dict[Figure, int] = {**seated.figures, "drop": way.sunk}
            return replace(seated, figures=figures, held=(*seated.held, *tied))
    raise ValueError("found a way that keeps a spring which cannot be kept")  # pragma: no cover


def as_found(
    task: Task, place: int, *, new_valve: bool = False, new_spring: bool = False,
    deeds: Sequence[Deed] = (),
) -> Seated:  # fmt: skip
    """Give a place as it is, for trying a step.

    The head's thickness comes in where it was measured, how far injector and prechamber of its
    cylinder stand out, and what the place has in common with others, these as they are. A spring
    that cannot stay, or whose load was not measured, counts as a new one.

    Args:
        task: the head.
        place: number of the place.
        new_valve: put a new valve into it, instead of its own.
        new_spring: put a new spring on it.
        deeds: what is going to be done, as far as it frees a figure from what was measured.
    """
    fitting = Fitting(Ways(task, skims(task)), place, NEW if new_valve else place, frozenset())
    springs = fitting.springs(new=True)
    tested = task.places[place].spring_load_n is not None
    load = springs[0 if not new_spring and tested else -1][1]
    seated = fitting.seated(load, deeds=deeds)
    return with_others(task, place, _with_head(task, place, seated))


def afterwards(task: Task, plan: Plan) -> list[Seated]:
    """Give every place once a plan is done, for what is left of each step.

    Args:
        task: the head as it was measured.
        plan: its plan, whose depths count as taken.
    """
    skim = plan.skim.pm if plan.skim else 0
    return [_with_head(task, put.way.place, put.seated, skim=skim,
                       taken={step: abs(depth.pm) for step, depth in put.depths.items()})
            for put in plan.puts]  # fmt: skip


def _with_head(
    task: Task, place: int, seated: Seated, *, skim: int = 0,
    taken: Mapping[Step, int] | None = None,
) -> Seated:  # fmt: skip
    """Add to a place what the shop allows of a step, the head's thickness, and what stands out."""
    offers, done = task.shop.offers, taken or {}
    most: dict[Step, int] = {step: offers[step].most_pm - done.get(step, 0) for step in STEPS
                             if step in offers and offers[step].most_pm}  # fmt: skip
    if "skim" in most:
        most["skim"] -= skim
    if task.shop.most_shims_pm is not None:
        most["shim"] = task.shop.most_shims_pm - done.get("shim", 0)
    thick = task.head.get("head thickness", Range())
    held = (*seated.held, *bounds("head thickness", "head thickness", thick.lower, thick.upper,
                                  task.u_pm.get("head thickness", 0)))  # fmt: skip
    figures = dict(seated.figures)
    if task.thickness_pm is not None:
        figures["head thickness"] = task.thickness_pm - skim
    for cylinder in task.cylinders:
        if task.places[place].name in cylinder.valves:
            held += protruding(task)
            figures |= {name: cylinder.readings[name] + skim for name in PROTRUSIONS
                        if name in cylinder.readings}  # fmt: skip
    return replace(seated, figures=figures, held=held, most=most)


def limits_at(task: Task, place: Place) -> tuple[str, ...]:
    """Name all limits of a place, as `Ways.at` can leave them out."""
    rules: Rules = task.rules[place.kind]
    found = [
        f"{name} {end}" for name, limit in rules.limits.items()
        for end, value in (("min", limit.lower), ("max", limit.upper)) if value is not None
    ]  # fmt: skip
    found += [f"spring load {end}" for end, value in zip(("min", "max"), rules.load, strict=True)
              if value is not None]  # fmt: skip
    if rules.bind_least_pm is not None:
        found.append("coil-bind margin min")
    scrap = {"fit for use": place.scrap, "guide fit for use": place.guide_scrap,
             "spring fit for use": place.spring_scrap,
             "seat fit for use": place.seat_scrap}  # fmt: skip
    return (*found, *(name for name, why in scrap.items() if why))
