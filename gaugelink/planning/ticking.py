"""How far a work order has been carried out, told by the work that is on record since."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gaugelink.events import PlannedStep, PlanTaken, WorkDone

FACE = ""
"""Stands for the head where a step concerns no single valve."""


@dataclass(frozen=True, slots=True)
class Ticked:
    """A line of a work order.

    Attributes:
        step: what it asks for.
        done: the work that did it, by valve; `FACE` where it concerns the whole head.
        places: the record place of that work.
    """

    step: PlannedStep
    done: dict[str, WorkDone] = field(default_factory=dict)
    places: dict[str, int] = field(default_factory=dict)

    @property
    def owners(self) -> tuple[str, ...]:
        """The valves that it concerns, or the head alone."""
        return self.step.valves or (FACE,)

    @property
    def finished(self) -> bool:
        """Whether it is done on every valve that it concerns."""
        return len(self.done) == len(self.owners)


def ticked(place: int, order: PlanTaken, work: Iterable[tuple[int, WorkDone]]) -> list[Ticked]:
    """Tick off a work order.

    Work counts for the first line that asks for it and on which that valve is still open, whatever
    the order it was done in. Work that no line asks for ticks nothing.

    Args:
        place: the record place of the order; work before it did something else.
        order: the order.
        work: the work, each with its place in the record.

    >>> from gaugelink.events import PlannedStep, PlanTaken, WorkDone
    >>> from gaugelink.reading import Stamp
    >>> at = Stamp("2026-01-01T00:00:00.000000Z", 0, "A. N.", "1")
    >>> order = PlanTaken(at, "30.00 EUR", "", (PlannedStep("seat lapped", ("1I", "2I"), "", ""),),
    ...                   "A. N.")
    >>> lapped = WorkDone(at, "seat lapped", ("2I",), ("stand-down",), "A. N.")
    >>> [line] = ticked(4, order, [(3, lapped), (7, lapped)])
    >>> list(line.done), line.finished
    (['2I'], False)
    """
    lines = [Ticked(step) for step in order.steps]
    for at, done in work:
        if at <= place:
            continue
        for valve in done.valves or (FACE,):
            open_line = next(
                (line for line in lines
                 if line.step.operation == done.operation and valve in line.owners
                 and valve not in line.done),
                None,
            )  # fmt: skip
            if open_line is not None:
                open_line.done[valve] = done
                open_line.places[valve] = at
    return lines
