"""Which readings are stale after work on the head, and what to measure again, in which order.

What an operation makes stale stands in `gaugelink.work` and in the sheet; how it was on the day is
on record with the work itself. Work concerns what was measured before it, and nothing after it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

from gaugelink.head import zero_check_of

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

    from gaugelink.events import WorkDone
    from gaugelink.head import Position
    from gaugelink.plan import Step


@dataclass(frozen=True, slots=True)
class Placed:
    """A reading or a sweep: where it belongs, which gauge took it, and when.

    ``place`` is its number in the record: places tell before and after where clocks may not.
    """

    position: Position
    gauge: str
    place: int


@dataclass(frozen=True, slots=True)
class Checked:
    """A reading, and the first work that made it stale; it is fresh where there is none."""

    reading: Placed
    because: WorkDone | None = None

    @property
    def fresh(self) -> bool:
        """Whether the reading still says how the head is."""
        return self.because is None

    @property
    def words(self) -> str:
        """How it is shown: ``fresh``, or ``stale: guide replaced``."""
        return f"stale: {self.because.operation}" if self.because else "fresh"


def touches(work: WorkDone, place: int, reading: Placed) -> bool:
    """Tell whether work that is on record at `place` makes a reading stale.

    >>> from gaugelink.events import WorkDone
    >>> from gaugelink.head import Position
    >>> from gaugelink.reading import Stamp
    >>> work = WorkDone(Stamp("2026-01-01T00:00:00.000000Z", 0, "A. N.", "1"), "valve refaced",
    ...                 ("3E",), ("stand-down", "margin"), "A. N.")
    >>> before = Placed(Position("3E", "margin"), "C1", 4)
    >>> touches(work, 7, before), touches(work, 3, before)
    (True, False)
    """
    if reading.place >= place:
        return False
    if work.gauge is not None:
        checked = work.since is not None and reading.place <= work.since
        return reading.gauge == work.gauge and not checked
    position = reading.position
    return position.characteristic in work.stale and (
        not work.valves or not position.valve or position.valve in work.valves
    )


def stale(readings: Iterable[Placed], done: Iterable[tuple[int, WorkDone]]) -> list[Checked]:
    """Say of each reading whether it is fresh, and else which work made it stale first.

    Args:
        readings: in any order, which is kept.
        done: the work, each with its place in the record.
    """
    ordered = sorted(done, key=lambda item: item[0])
    return [
        Checked(
            reading,
            next((work for place, work in ordered if touches(work, place, reading)), None),
        )
        for reading in readings
    ]


def again(plan: Sequence[Step], positions: Collection[Position]) -> list[Step]:
    """Make the plan "measure these again".

    The steps keep the order of the plan, in which a gauge stays in the hand; how the head is
    walked with it, `gaugelink.planning.walk` says. A zero check belongs to its series, so where a
    series is measured again, even in part, its checks before and after are asked for again too.

    Args:
        plan: the whole plan.
        positions: what has to be measured again.
    """
    wanted = set(positions)
    found: list[Step] = []
    for _, series in groupby(plan, key=lambda step: (step.gauge_kind, step.sweep)):
        steps = list(series)
        needed = any(step.position in wanted for step in steps)
        found += [
            step
            for step in steps
            if step.position in wanted or (needed and zero_check_of(step.position) is not None)
        ]
    return found
