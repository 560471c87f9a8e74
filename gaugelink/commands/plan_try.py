"""Try one step at one valve of a job, and tell everything that follows from it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final

from gaugelink.errors import InputError
from gaugelink.planning.amount import shown
from gaugelink.planning.setting import inside
from gaugelink.planning.standing import TRIALS, WHOLE
from gaugelink.planning.trying import try_skim, try_step
from gaugelink.quantity import parse_length

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gaugelink.planning.allowances import Allowance
    from gaugelink.planning.amount import Amount
    from gaugelink.planning.standing import Trial
    from gaugelink.planning.task import Task
    from gaugelink.planning.trying import Change, Tried

_HELD: Final = "--try"
_SUCH: Final = "accepted: such as '2I cut seat 0.10 mm'"
_DEPTH: Final = re.compile(r"[-+\u2212]?[0-9.,]")
_STAYS: Final = "as it is"
TAKEN_OUT: Final = "shim"
"""The one step that may go below 0: shims taken out."""


def tried(task: Task, words: str) -> dict[str, Any]:
    """Make the document of a trial.

    Args:
        task: the head as it was measured.
        words: valve, step and depth, such as ``"2I cut seat 0.10 mm"``; a skim needs no valve, and
            new parts have no depth.

    Raises:
        InputError: they are not understood, or a new part is tried whose sizes nobody has told.
    """
    valve, step, depth_pm = _understood(task, words)
    if not valve:
        return _document(task, "", step, depth_pm, try_skim(task, depth_pm))
    place = [one.name for one in task.places].index(valve)
    try:
        found = try_step(task, place, step, depth_pm)
    except ValueError as fault:
        raise InputError(str(fault), field=_HELD) from None
    return _document(task, valve, step, depth_pm, found)


def _understood(task: Task, words: str) -> tuple[str, Trial, int]:
    """Give valve, step and depth, picometres; the valve is empty for a skim of the whole face."""
    parts = words.split()
    ends = next((at for at, part in enumerate(parts) if at and _DEPTH.match(part)), len(parts))
    trials: dict[str, Trial] = {step: step for step in TRIALS}
    valve, name = "", " ".join(parts[:ends])
    if name not in trials:
        valve, name = next(iter(parts), ""), " ".join(parts[1:ends])
    names = [place.name for place in task.places]
    if not name or (name not in trials and ends == len(parts)):
        raise InputError(f"found {words!r}, {_SUCH}", field=_HELD)
    if valve and valve not in names:
        what = f"found the valve {valve!r}, accepted: {', '.join(names)}"
        raise InputError(what, field=_HELD)
    if name not in trials:
        what = f"found the step {name!r}, accepted: {', '.join(TRIALS)}"
        raise InputError(what, field=_HELD)
    step, depth = trials[name], " ".join(parts[ends:])
    if not valve and step != "skim":
        what = f"found {step} at no valve, accepted: one of {', '.join(names)} before it"
        raise InputError(what, field=_HELD)
    return valve, step, _depth_pm(step, depth)


def _depth_pm(step: Trial, depth: str) -> int:
    if step in WHOLE:
        if depth:
            raise InputError(f"found {depth} of {step}, accepted: no depth", field=_HELD)
        return 0
    if not depth:
        raise InputError(f"found no depth of {step}, {_SUCH}", field=_HELD)
    try:
        depth_pm = parse_length(depth).pm
    except InputError as fault:
        raise fault.in_file("", field=_HELD) from None
    if depth_pm < 0 and step != TAKEN_OUT:
        more = "; 'fit insert' lifts the valve" if step == "cut seat" else ""
        what = (
            f"found {depth} of {step}, accepted: 0 or more{more}; below 0 only of shim (taken out)"
        )
        raise InputError(what, field=_HELD)
    return depth_pm


def _document(task: Task, valve: str, step: Trial, depth_pm: int, found: Tried) -> dict[str, Any]:
    return {
        "valve": valve,
        "step": step,
        "depth_mm": None if step in WHOLE else depth_pm / 1e9,
        "most_mm": None if found.most_pm is None else found.most_pm / 1e9,
        "cost": None if found.cents is None else found.cents / 100,
        "currency": task.shop.currency,
        "figures": [_figure(one, step) for one in found.figures],
        "broken": list(found.broken),
        "mended": list(found.mended),
        "beyond": list(found.beyond),
        "cannot": list(found.cannot),
        "then": list(found.then),
        "unmeasured": list(found.unmeasured),
        "left": [_left(one) for one in found.left.values()],
        "good": found.good,
    }


def _figure(change: Change, step: Trial) -> dict[str, Any]:
    """Write one figure; a limit is that after the step."""
    one = change.after or change.before
    assert one is not None

    def value(amount: Amount | None) -> float | None:
        return None if amount is None else float(amount.value)

    ends = [None if end is None else float(end) for end in (one.lower, one.upper)]
    return {
        "name": change.name,
        "unit": one.unit,
        "before": value(change.before),
        "after": value(change.after),
        "min": ends[0],
        "max": ends[1],
        "verdict": change.after.verdict if change.after else None,
        "words": _words(change, step),
    }


def _words(change: Change, step: Trial) -> str:
    """Say a figure before and after, and its limits."""
    one = change.after or change.before
    assert one is not None
    before, after = (None if amount is None else shown(amount)
                     for amount in (change.before, change.after))  # fmt: skip
    if after is None:
        said = f"{before}, then {'that of the new one' if step in WHOLE else 'to be measured'}"
    elif before is None:
        said = f"then {after}"
    elif before == after:
        said = f"{after}, {_STAYS}"
    else:
        said = f"{before}, then {after}"
    if limits := _limits(one):
        said += f" ({limits})"
    verdict = change.after.verdict if change.after else None
    return f"{said}: {verdict}" if verdict not in {None, "within"} else said


def _limits(one: Amount) -> str:
    """Write limits as a person says them."""
    if one.lower is not None and one.upper is not None:
        return f"{shown(one, one.lower).removesuffix(f' {one.unit}')} to {shown(one, one.upper)}"
    if one.lower is not None:
        return f"at least {shown(one, one.lower)}"
    return "" if one.upper is None else f"at most {shown(one, one.upper)}"


def _left(one: Allowance) -> dict[str, Any]:
    return {
        "step": one.step,
        "least_mm": one.least_pm / 1e9,
        "needed_by": one.needed_by,
        "most_mm": None if one.most_pm is None else one.most_pm / 1e9,
        "held_by": one.held_by,
    }


def text(told: dict[str, Any]) -> Iterator[str]:
    """Give the lines for people: what moves, what is not within, and what is left."""
    depth = "" if told["depth_mm"] is None else f" {told['depth_mm']:g} mm"
    cost = "" if told["cost"] is None else f", {told['cost']:.2f} {told['currency']}"
    yield f"{told['valve'] or 'Head face'}, {told['step']}{depth}{cost}:"
    for one in told["figures"]:
        if _STAYS not in one["words"] or one["verdict"] not in {None, "within"}:
            yield f"  {one['name']} {one['words']}"
    for key, words in (("cannot", "cannot be done so"), ("broken", "no longer kept"),
                       ("mended", "kept from now on"), ("then", "what follows"),
                       ("unmeasured", "not measured")):  # fmt: skip
        if told[key]:
            yield f"  {words}: {', '.join(told[key])}"
    if still_not := [name for name in told["beyond"] if name not in told["broken"]]:
        yield f"  not kept before, and not now: {', '.join(still_not)}"
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
