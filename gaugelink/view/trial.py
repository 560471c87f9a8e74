"""What one step would do at one valve, as the page draws it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.metrology.conformity import verdict
from gaugelink.planning.allowances import COMMON, EFFECT, FIGURES, STEPS, what_if
from gaugelink.planning.elsewhere import elsewhere, left_of_skim
from gaugelink.planning.held import as_found
from gaugelink.planning.setting import inside
from gaugelink.planning.task import Range
from gaugelink.planning.together import shown, tried
from gaugelink.quantity import rounded_text
from gaugelink.view.parts import Document, scale

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from fractions import Fraction

    from gaugelink.planning.allowances import Allowance, Consequence, Figure, Seated, Step
    from gaugelink.planning.task import Task
    from gaugelink.planning.together import Common

USUAL_MOST_PM = 500_000_000
"""How far the page lets a depth be tried where neither book nor shop says how much is possible."""


def trial_document(task: Task, place: int, step: Step, depth_pm: int) -> Document:
    """Write everything that follows from one step.

    Args:
        task: the head as it was measured.
        place: number of the valve's place.
        step: the step.
        depth_pm: how deep, picometres; below 0 for an insert that lifts the valve.

    Returns:
        Texts to show and numbers to draw: ``figures`` with a limit scale before and after,
        ``broken`` and ``mended`` limits, those of other valves with their place, ``left`` of each
        step afterwards.
    """
    seated = as_found(task, place)
    kind = task.places[place].kind
    found = what_if(seated, step, depth_pm, task.rules[kind].spring)
    change = found.load_change_n
    broken, mended = elsewhere(task, place, step, depth_pm)
    return {
        "valve": task.places[place].name,
        "step": step,
        "depth_mm": depth_pm / 1e9,
        "most_mm": seated.most.get(step, USUAL_MOST_PM) / 1e9,
        "figures": [_figure(task, kind, name, seated, found) for name in FIGURES
                    if name in seated.figures and name not in COMMON]
        + [_in_common(before, after) for before, after in tried(task, place, step, depth_pm)],
        "load": f"{float(change):+.1f} N" if change else "",
        "broken": [*found.broken, *broken],
        "mended": [*found.mended, *mended],
        "beyond": list(seated.after(step, depth_pm).beyond()),
        "unmeasured": [name for name in seated.unmeasured() if name in EFFECT[step]],
        "left": [{"step": name, "words": words} for name, words in _left(
            seated, {**found.left, "skim": left_of_skim(
                task, place, step, depth_pm, found.left["skim"])})],
    }  # fmt: skip


def _figure(task: Task, kind: str, name: Figure, seated: Seated, found: Consequence) -> Document:
    rules = task.rules[kind]
    limit = rules.limits.get(name) or task.head.get(name) or Range()
    u_pm = rules.u_pm.get(name) or task.u_pm.get(name) or 0

    def drawn(value: int) -> Document:
        word = verdict(value, u_pm, limit.lower, limit.upper) if limit != Range() else None
        return scale(value, u_pm, limit.lower, limit.upper, word)

    before, after = seated.figures[name], found.figures_pm[name]
    moved = after - before
    return {
        "name": name,
        "before": f"{rounded_text(before, 'mm', 3)} mm",
        "after": f"{rounded_text(after, 'mm', 3)} mm",
        "moved": f"{'+' if moved > 0 else ''}{rounded_text(moved, 'mm', 3)}" if moved else "",
        "scale": drawn(after),
    }


def _in_common(before: Common, after: Common) -> Document:
    """Write what several places make together as one more figure."""

    def picked(value: Fraction | None) -> int | None:
        return None if value is None else round(value * 10**9)  # a scale has no unit

    value, u, lower, upper = (picked(one) for one in (after.value, after.u, after.lower,
                                                      after.upper))  # fmt: skip
    word = verdict(value or 0, u or 0, lower, upper)
    moved = float(after.value - before.value)
    return {
        "name": after.name,
        "before": shown(before),
        "after": shown(after),
        "moved": f"{moved:+.3f}" if round(moved, 3) else "",
        "scale": scale(value, u, lower, upper, word),
    }


def _left(seated: Seated, left: Mapping[Step, Allowance]) -> Iterator[tuple[Step, str]]:
    """Say in words how much of each step that can matter is left afterwards, each step alone."""
    for step in STEPS:
        if any(name in seated.figures for name in EFFECT[step]):
            yield step, _words(left[step])


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
