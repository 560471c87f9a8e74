"""Depths as a machine's dial is set to them, and how far each may then go.

A plan reckons in picometres; a dial reads hundredths of a millimetre. Every depth is rounded up to
the coarsest of the `DIALS` with which all limits are still kept, all steps of a valve together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from gaugelink.planning.held import fitted
from gaugelink.planning.settling import shares
from gaugelink.planning.ties import ties

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from gaugelink.planning.allowances import Seated, Step
    from gaugelink.planning.bounds import Bound
    from gaugelink.planning.plan import Depth, Plan, Put
    from gaugelink.planning.task import Span, Task

DIALS: Final = (10_000_000, 1_000_000, 1)
"""What one division of a dial is, picometres: 0.01 mm, 0.001 mm, and no rounding at all."""


@dataclass(frozen=True, slots=True)
class Setting:
    """What a dial is set to, and how far that may go while all else stays; picometres."""

    pm: int
    least_pm: int
    most_pm: int


@dataclass(frozen=True, slots=True)
class Settings:
    """All settings of one plan: the skim's, and by place those of the valve's own steps."""

    skim: Setting | None
    places: tuple[Mapping[Step, Setting], ...]


def up(pm: int, dial: int) -> int:
    """Round a depth up to a whole division of a dial; a rise, below 0, gets less.

    >>> up(83_400_000, 10_000_000), up(-83_400_000, 10_000_000)
    (90000000, -80000000)
    """
    return -(-pm // dial) * dial


def inside(least_pm: int, most_pm: int | None) -> tuple[int, int | None]:
    """Round ends of a depth to whole micrometres that lie inside of them.

    >>> inside(93_160_000, 136_840_000)
    (94000000, 136000000)
    """
    most = None if most_pm is None else most_pm // DIALS[1] * DIALS[1]
    return up(least_pm, DIALS[1]), most


def settings(task: Task, plan: Plan) -> Settings:
    """Set every depth of a plan, on the coarsest dials with which it keeps its limits.

    Where limits tie places together, each gets its share of the room: all may use theirs at once.
    """
    all_ties = ties(task)
    sunk = {put.way.place: put.seated.figures["drop"] for put in plan.puts
            if "drop" in put.seated.figures}  # fmt: skip
    for dial in DIALS:
        skim = _skim(plan.skim, dial)
        if skim is not None and plan.skim is not None and skim.pm > plan.skim.most_pm:
            continue
        taken = skim.pm if skim else 0
        held = shares(all_ties, sunk, taken)
        if held is None:
            continue
        found = [_place(task, put, taken, held.get(put.way.place, ())) for put in plan.puts]
        if None not in found:
            return Settings(skim, tuple(one for one in found if one is not None))
    return Settings(_skim(plan.skim, 1), tuple(
        {step: Setting(depth.pm, depth.least_pm, depth.most_pm)
         for step, depth in put.depths.items()} for put in plan.puts))  # fmt: skip


def _skim(depth: Depth | None, dial: int) -> Setting | None:
    return Setting(up(depth.pm, dial), depth.least_pm, depth.most_pm) if depth else None


def _place(task: Task, put: Put, skim: int, tied: Sequence[Bound]) -> dict[Step, Setting] | None:
    """Set the depths of one place for a skim; None where none of the dials keeps the limits."""
    way = put.way
    before = fitted(task, way, tied).after("skim", skim).after("shim", way.stack.thickness)
    before = before.after("lap", way.lap_pm)
    spans: dict[str, Span] = {"cut seat": way.seat, "reface valve": way.face, "grind tip": way.tip}
    for dial in DIALS:
        chosen = {step: up(depth.pm, dial) for step, depth in put.depths.items()}
        if _keeps(before, chosen, spans):
            return {step: _ends(before, chosen, spans, step) for step in chosen}
    return None


def _keeps(before: Seated, chosen: Mapping[Step, int], spans: Mapping[str, Span]) -> bool:
    done = before
    for step, pm in chosen.items():
        if not spans[step][0] <= pm <= spans[step][1]:
            return False
        done = done.after(step, pm)
    return not done.beyond()


def _ends(
    before: Seated, chosen: Mapping[Step, int], spans: Mapping[str, Span], step: Step
) -> Setting:
    """Find how far one step may go, the others as set.

    What a step moves grows or shrinks with its depth alone, so what is kept at two depths is kept
    between them, and halving finds the ends.
    """

    def furthest(end: int) -> int:
        good, bad = chosen[step], end
        if _keeps(before, {**chosen, step: end}, spans):
            return end
        while abs(bad - good) > 1:
            middle = (good + bad) // 2
            if _keeps(before, {**chosen, step: middle}, spans):
                good = middle
            else:
                bad = middle
        return good

    return Setting(chosen[step], *(furthest(end) for end in spans[step]))


def readable(setting: Setting) -> Iterator[int]:
    """Give the depth and its ends in whole micrometres, rounded to the inside of what they may be.

    >>> list(readable(Setting(90_000_000, 83_400_001, 120_999_999)))
    [90000000, 84000000, 120000000]
    """
    least, most = up(setting.least_pm, DIALS[1]), setting.most_pm // DIALS[1] * DIALS[1]
    if least > most:  # no whole micrometre lies between
        yield from (setting.pm, setting.least_pm, setting.most_pm)
        return
    yield min(max(up(setting.pm, DIALS[1]), least), most)
    yield least
    yield most
