"""Try one step at one valve of a job, and tell everything that follows from it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

from gaugelink.commands.plan_document import common_document
from gaugelink.errors import InputError
from gaugelink.planning.allowances import COMMON, EFFECT, STEPS, what_if
from gaugelink.planning.elsewhere import elsewhere, left_of_skim
from gaugelink.planning.held import as_found
from gaugelink.planning.setting import inside
from gaugelink.planning.together import shown, tried as in_common
from gaugelink.quantity import parse_length

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gaugelink.planning.allowances import Step
    from gaugelink.planning.task import Task

_TRIAL: Final = re.compile(
    r"\s*(?P<valve>\S+)\s+(?P<step>[a-z ]+?)\s+(?P<depth>[-+\u2212]?[0-9.,].*)"
)
_HELD: Final = "--try"
BACK: Final[dict[Step, str]] = {
    "cut seat": "an insert that lifts the valve", "shim": "shims taken out",
}  # fmt: skip
"""Steps that may go the other way, and what that is."""


def tried(task: Task, words: str) -> dict[str, Any]:
    """Make the document of a trial.

    Args:
        task: the head as it was measured.
        words: valve, step and depth, such as ``"2I cut seat 0.10 mm"``; a depth below 0 is for an
            insert that lifts the valve.

    Raises:
        InputError: they are not understood.
    """
    match = _TRIAL.fullmatch(" ".join(words.split()))
    if match is None:
        raise InputError(f"found {words!r}, accepted: such as '2I cut seat 0.10 mm'", field=_HELD)
    names = [place.name for place in task.places]
    if match["valve"] not in names:
        what = f"found the valve {match['valve']!r}, accepted: {', '.join(names)}"
        raise InputError(what, field=_HELD)
    steps: dict[str, Step] = {step: step for step in STEPS}
    if match["step"] not in steps:
        what = f"found the step {match['step']!r}, accepted: {', '.join(STEPS)}"
        raise InputError(what, field=_HELD)
    step = steps[match["step"]]
    try:
        depth_pm = parse_length(match["depth"]).pm
    except InputError as fault:
        raise fault.in_file("", field=_HELD) from None
    if depth_pm < 0 and step not in BACK:
        what = f"found {match['depth']} of {step}, accepted: 0 or more; below 0 only of " + (
            " and ".join(f"{name} ({why})" for name, why in BACK.items()))  # fmt: skip
        raise InputError(what, field=_HELD)
    place = names.index(match["valve"])
    seated = as_found(task, place)
    spring = task.rules[task.places[place].kind].spring
    found = what_if(seated, step, depth_pm, spring)
    broken, mended = elsewhere(task, place, step, depth_pm)
    most = seated.most.get(step)
    return {
        "valve": match["valve"],
        "step": step,
        "depth_mm": depth_pm / 1e9,
        "most_mm": None if most is None else most / 1e9,
        "moved_mm": {name: pm / 1e9 for name, pm in found.moved_pm.items() if name not in COMMON},
        "figures_mm": {
            name: pm / 1e9 for name, pm in found.figures_pm.items() if name not in COMMON
        },
        "together": [
            common_document(after) | {"before": float(before.value), "was": shown(before)}
            for before, after in in_common(task, place, step, depth_pm)
        ],
        "load_change_n": None if found.load_change_n is None else float(found.load_change_n),
        "broken": [*found.broken, *broken],
        "mended": [*found.mended, *mended],
        "beyond": [*seated.after(step, depth_pm).beyond(), *broken],
        "unmeasured": [name for name in seated.unmeasured() if name in EFFECT[step]],
        "left": [
            {
                "step": one.step,
                "least_mm": one.least_pm / 1e9,
                "needed_by": one.needed_by,
                "most_mm": None if one.most_pm is None else one.most_pm / 1e9,
                "held_by": one.held_by,
            }
            for one in {
                **found.left,
                "skim": left_of_skim(task, place, step, depth_pm, found.left["skim"]),
            }.values()
        ],
    }


def too_deep(told: dict[str, Any]) -> bool:
    """Tell whether the step that was tried is deeper than shop or maker allow at once."""
    return told["most_mm"] is not None and told["depth_mm"] > told["most_mm"]


def text(told: dict[str, Any]) -> Iterator[str]:
    """Give the lines for people."""
    yield f"{told['valve']}, {told['step']} {told['depth_mm']:g} mm:"
    for name, by in told["moved_mm"].items():
        yield f"  {name} {by:+.3f} mm, then {told['figures_mm'][name]:.3f} mm"
    for one in told["together"]:
        if one["before"] != one["value"]:
            yield f"  {one['name']} {one['was']}, then {one['words']}"
    if round(told["load_change_n"] or 0.0, 1):
        yield f"  spring load {told['load_change_n']:+.1f} N"
    if too_deep(told):
        yield f"  deeper than shop or maker allow at once, {told['most_mm']:g} mm"
    for key, words in (("broken", "no longer kept"), ("mended", "kept from now on"),
                       ("unmeasured", "not measured")):  # fmt: skip
        if told[key]:
            yield f"  {words}: {', '.join(told[key])}"
    if still := [name for name in told["beyond"] if name not in told["broken"]]:
        yield f"  not kept before, and not now: {', '.join(still)}"
    yield "What is left then, each step alone:"
    for one in told["left"]:
        # Rounded to the inside: what is told can be done.
        ends = round(one["least_mm"] * 1e9), one["most_mm"]
        lowest, highest = inside(ends[0], None if ends[1] is None else round(ends[1] * 1e9))
        least = f"at least {lowest / 1e9:.3f} mm ({one['needed_by']})" if one["least_mm"] else ""
        most = "no limit" if highest is None else f"up to {highest / 1e9:.3f} mm ({one['held_by']})"
        if highest is not None and highest <= 0 and not least:
            most = f"none ({one['held_by']})"
        elif one["most_mm"] is not None and one["most_mm"] < one["least_mm"]:
            most = f"which {one['held_by']} forbids"
        yield f"  {one['step']}: {', '.join(part for part in (least, most) if part)}"
