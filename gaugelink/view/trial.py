"""What one step would do at one valve, as the page draws it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.planning.allowances import EFFECT, STEPS
from gaugelink.planning.amount import shown
from gaugelink.planning.setting import inside
from gaugelink.planning.standing import WHOLE
from gaugelink.planning.trying import try_step
from gaugelink.quantity import rounded_text
from gaugelink.view.parts import Document, scale

if TYPE_CHECKING:
    from fractions import Fraction

    from gaugelink.planning.allowances import Allowance
    from gaugelink.planning.standing import Trial
    from gaugelink.planning.task import Task
    from gaugelink.planning.trying import Change

USUAL_MOST_PM = 500_000_000
"""How far the page lets a depth be tried where neither book nor shop says how much is possible."""


def trial_document(task: Task, place: int, step: Trial, depth_pm: int) -> Document:
    """Write everything that follows from one step.

    Args:
        task: the head as it was measured.
        place: number of the valve's place.
        step: the step.
        depth_pm: how deep, picometres; of an insert how far it lifts the valve; 0 for new parts.

    Returns:
        Texts to show and numbers to draw: ``figures`` with a limit scale before and after,
        ``broken`` and ``mended`` limits, those of other valves with their place, ``left`` of each
        step afterwards.

    Raises:
        ValueError: a new part is tried whose sizes nobody has told.
    """
    found = try_step(task, place, step, depth_pm)
    most_pm = USUAL_MOST_PM if found.most_pm is None else found.most_pm
    measured = {one.name for one in found.figures}
    return {
        "valve": task.places[place].name,
        "step": step,
        "depth_mm": depth_pm / 1e9,
        "most_mm": most_pm / 1e9,
        "cost": "" if found.cents is None else f"{found.cents / 100:.2f} {task.shop.currency}",
        "figures": [_figure(one, step) for one in found.figures],
        "broken": list(found.broken),
        "mended": list(found.mended),
        "beyond": list(found.beyond),
        "cannot": list(found.cannot),
        "then": list(found.then),
        "unmeasured": list(found.unmeasured),
        "left": [{"step": one, "words": _words(found.left[one])} for one in STEPS
                 if measured.intersection(EFFECT[one])],
    }  # fmt: skip


def _figure(change: Change, step: Trial) -> Document:
    def picked(value: Fraction | None) -> int | None:
        return None if value is None else round(value * 10**9)  # a scale has no unit

    one = change.after or change.before
    assert one is not None
    value, u, lower, upper = (picked(end) for end in (one.value, one.u, one.lower, one.upper))
    gone = change.after is None
    moved = f"{float(change.by):+.{1 if one.unit == 'N' else 3}f}" if change.by else ""
    return {
        "name": change.name,
        "before": shown(change.before) if change.before else "",
        "after": ("of the new one" if step in WHOLE else "measure again") if gone else shown(one),
        "moved": moved if float(moved or 0) else "",
        "stays": not change.moves,
        "scale": scale(None if gone else value, u, lower, upper, None if gone else one.verdict),
    }


def _words(one: Allowance) -> str:
    def mm(pm: int) -> str:
        return f"{rounded_text(pm, 'mm', 3)} mm"

    # Rounded to the inside: what is told can be done.
    lowest, highest = inside(one.least_pm, one.most_pm)
    least = f"at least {mm(lowest)} for {one.needed_by}" if one.least_pm else ""
    if highest is None:
        most = "" if least else "no limit holds it"
    elif least and not one.possible:
        most = f"but {one.held_by} forbids that"
    elif highest <= 0:
        most = f"none: {one.held_by}"
    else:
        most = f"up to {mm(highest)}, then {one.held_by}"
    return ", ".join(part for part in (least, most) if part)
