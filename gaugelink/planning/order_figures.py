"""What each line of a work order should leave behind: planned, and after the depths really taken.

A plan foretells every figure with all lines before it done as planned. Once another depth is told
than was planned, whatever the line and those after it foretell moves by the difference.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gaugelink.errors import InputError
from gaugelink.events import PlannedFigure
from gaugelink.planning.allowances import EFFECT
from gaugelink.planning.forecast import STEP_OF
from gaugelink.planning.order_shape import FACE
from gaugelink.quantity import exact_text, parse_length, rounded_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gaugelink.events import WorkDone
    from gaugelink.planning.order_shape import WorkOrder
    from gaugelink.planning.task import Deed
    from gaugelink.planning.ticking import Ticked

_MOVED_BY_A_SKIM = "stand-down"


@dataclass(frozen=True, slots=True)
class Due:
    """What a line of a work order should leave at one valve, as it stands now.

    Attributes:
        valve: the valve; empty: the head.
        figure: what is measured.
        least_pm, most_pm: between which it should lie, picometres.
        moved_pm: by how much the depths that were told move it away from the plan, picometres.
        done: the record place of the work of this line on this valve; None: it is still to do.
        settled: whether no line that is done since changes it.
    """

    valve: str
    figure: str
    least_pm: int
    most_pm: int
    moved_pm: int
    done: int | None
    settled: bool

    @property
    def words(self) -> str:
        """The size or the range.

        >>> Due("3E", "stand-down", 1_050_000_000, 1_050_000_000, 0, None, True).words
        '1.050 mm'
        """
        least, most = (rounded_text(pm, "mm", 3) for pm in (self.least_pm, self.most_pm))
        return f"{least} mm" if least == most else f"{least} to {most} mm"


def figures_of(order: WorkOrder) -> dict[tuple[Deed, str], tuple[PlannedFigure, ...]]:
    """List what every line foretells, by its step and place; without those that foretell nothing.

    A skim moves the stand-down of all valves: it is foretold there for those that no later line
    moves again.
    """
    found = {
        (line.deed, line.place): tuple(
            _planned(line.place, one.figure, one.least_pm, one.most_pm)
            for one in line.expected
            if one.least_pm is not None and one.most_pm is not None
        )
        for line in order.lines
    }
    skim = next((at for at, line in enumerate(order.lines) if line.place == FACE), None)
    if skim is not None:
        later = {line.place for line in order.lines[skim + 1 :]
                 if _MOVED_BY_A_SKIM in [one.figure for one in line.expected]}  # fmt: skip
        own = order.lines[skim].deed, FACE
        found[own] += tuple(
            _planned(again.place, _MOVED_BY_A_SKIM, again.expected.least_pm, again.expected.most_pm)
            for again in order.remeasure
            if again.characteristic == _MOVED_BY_A_SKIM and again.place not in later
            and again.expected.least_pm is not None and again.expected.most_pm is not None
        )  # fmt: skip
    return {key: figures for key, figures in found.items() if figures}


def due(lines: Sequence[Ticked]) -> list[list[Due]]:
    """Say what every line should leave behind, with the depths that were told so far.

    Args:
        lines: of the order, ticked as far as the work is done.

    Returns:
        For each line its figures, in its own order; none for an order of an older record.
    """
    return [
        [_due(lines, at, one) for one in line.step.expected or ()] for at, line in enumerate(lines)
    ]


def _due(lines: Sequence[Ticked], at: int, one: PlannedFigure) -> Due:
    moved = sum(_moved(line, one) for line in lines[: at + 1])
    owner = one.valve if one.valve in lines[at].owners else FACE
    done = lines[at].places.get(owner)
    later = [place for line in lines for name, place in line.places.items()
             if name in {one.valve, FACE} and line is not lines[at]
             and _changes(line, one)]  # fmt: skip
    least, most = (parse_length(text).pm + moved for text in (one.least, one.most))
    settled = done is not None and all(place < done for place in later)
    return Due(one.valve, one.figure, least, most, moved, done, settled)


def _changes(line: Ticked, one: PlannedFigure) -> bool:
    return any(other.valve == one.valve and other.figure == one.figure
               for other in line.step.expected or ())  # fmt: skip


def _moved(line: Ticked, one: PlannedFigure) -> int:
    """Say by how much a line moves a figure, other than it was planned."""
    step = STEP_OF.get(line.step.operation)
    effect = EFFECT[step].get(one.figure, 0) if step else 0  # type: ignore[call-overload]
    if not effect or not line.step.depth:
        return 0
    return sum(effect * _more(line, work) for owner, work in line.done.items()
               if owner in {one.valve, FACE})  # fmt: skip


def _more(line: Ticked, work: WorkDone) -> int:
    """Say how much deeper work went than planned; nothing where nobody told."""
    if work.depth is None:
        return 0
    try:
        return work.depth.pm - parse_length(line.step.depth).pm
    except InputError:  # an order of another version may say its depth in other words
        return 0


def _planned(valve: str, figure: str, least: int | None, most: int | None) -> PlannedFigure:
    assert least is not None
    assert most is not None
    return PlannedFigure(valve, figure, *(f"{exact_text(pm, 'mm')} mm" for pm in (least, most)))


def ordered(
    lines: Sequence[Ticked], work: WorkDone, valve: str, figure: str
) -> tuple[int, int] | None:
    """Give what the line that asked for work foretells of a figure; None where none did.

    Args:
        lines: of the order, ticked.
        work: the work.
        valve: the valve.
        figure: the characteristic.
    """
    found: Iterator[PlannedFigure] = (
        one
        for line in lines
        if line.done.get(valve) is work
        for one in line.step.expected or ()
        if one.valve == valve and one.figure == figure
    )
    one = next(found, None)
    return None if one is None else (parse_length(one.least).pm, parse_length(one.most).pm)
