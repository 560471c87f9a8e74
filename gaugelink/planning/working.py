"""Work during a session: what goes on record with it, and what was measured before it.

The session's own questions about work, answered from events of the record alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Protocol

from gaugelink.errors import SessionError
from gaugelink.events import (
    PositionSkipped,
    ReadingAssigned,
    ReadingParked,
    ReadingTaken,
    SweepTaken,
    WorkDone,
)
from gaugelink.head import zero_check_of
from gaugelink.planning.oversized import check_size
from gaugelink.planning.stages import Placed, again, touches
from gaugelink.work import WORK

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from gaugelink.events import Event
    from gaugelink.head import Position
    from gaugelink.limits import Sheet
    from gaugelink.plan import Step
    from gaugelink.quantity import Displayed
    from gaugelink.reading import Reading, Stamp
    from gaugelink.work import Operation


_PARTS_THEM: Final = frozenset(
    {"valve replaced", "valve moved", "valve refaced", "insert fitted", "seat cut", "seat ground"}
)
"""Work after which valve and seat no longer belong together."""


class Told(Protocol):
    """What a person says was done (`gaugelink.deeds.DoWork`)."""

    @property
    def operation(self) -> Operation:
        """What was done."""

    @property
    def valves(self) -> tuple[str, ...]:
        """The valves that it concerns."""

    @property
    def depth(self) -> Displayed | None:
        """What was taken off."""

    @property
    def by(self) -> str:
        """Who did it."""

    @property
    def gauge(self) -> str:
        """The gauge that was found out."""

    @property
    def size(self) -> str | None:
        """What guide or valve are of since."""


class Line(Protocol):
    """A line of the session's history (`gaugelink.history.Entry`)."""

    @property
    def place(self) -> int:
        """Its place in the record."""

    @property
    def event(self) -> Event:
        """What happened."""

    @property
    def step(self) -> int | None:
        """The step of the plan that it belongs to."""

    @property
    def struck(self) -> str:
        """Why it was struck out."""

    @property
    def stale(self) -> str:
        """The work that made it stale."""


def decide_work(
    told: Told,
    stamp: Stamp,
    plan: Sequence[Step],
    gauges: Collection[str],
    sheet: Sheet | None,
    last_check: int | None,
) -> WorkDone:
    """Make the event of work that was done, from what a person says.

    Args:
        told: what the person says.
        stamp: who and when.
        plan: the plan; its valves are known where there is no sheet.
        gauges: the marks of the gauges.
        sheet: the limits, which say what the work makes stale on this engine.
        last_check: the record place of the last good check of the gauge that was found out.

    Raises:
        SessionError: valves, gauge, depth or size do not go with the operation.
    """
    name, concerns = told.operation, WORK[told.operation].concerns
    every = (
        [valve.name for valve in sheet.head.valves()]
        if sheet
        else list(dict.fromkeys(step.position.valve for step in plan if step.position.valve))
    )
    if unknown := sorted(set(told.valves) - set(every)):
        raise SessionError(f"found the valve {unknown[0]!r}, accepted: {', '.join(every)}")
    if concerns == "valves" and not told.valves:
        raise SessionError(f"{name!r} concerns single valves; say which")
    if concerns != "valves" and told.valves:
        raise SessionError(f"{name!r} concerns no single valve; leave the valves out")
    if concerns == "gauge" and told.gauge not in gauges:
        raise SessionError(f"found the gauge {told.gauge!r}, accepted: {', '.join(gauges)}")
    if concerns != "gauge" and told.gauge:
        raise SessionError(f"{name!r} concerns no gauge; leave the gauge out")
    if told.depth is not None and told.depth.pm <= 0:
        raise SessionError(f"found a depth of {told.depth}, accepted: a length above 0")
    check_size(told.size, name, told.valves, sheet)
    return WorkDone(
        stamp,
        name,
        tuple(valve for valve in every if valve in told.valves),
        sheet.stale_after(name) if sheet else WORK[name].stale,
        " ".join(told.by.split()) or stamp.operator,
        told.depth,
        told.gauge or None,
        last_check if concerns == "gauge" else None,
        size=told.size,
    )


def last_good_check(gauge: str, history: Iterable[Line]) -> int | None:
    """Find the last good zero check of a gauge before the last size that it measured.

    A check after the last size does not vouch for it here: whoever finds a gauge out sets it and
    checks it at once, perhaps before telling.

    Returns:
        The record place; None where there is none.
    """
    checks: list[int] = []
    found: int | None = None
    for line in sorted(history, key=lambda item: item.place):
        event = line.event
        if not isinstance(event, ReadingTaken | ReadingAssigned | SweepTaken) or (
            event.tag.gauge != gauge
        ):
            continue
        if zero_check_of(event.tag.position) is None:
            found = checks[-1] if checks else None
        elif isinstance(event, ReadingTaken) and not line.struck and not line.stale:
            # A check that was put in its place from the tray was out, and a person kept it.
            checks.append(line.place)
    return found


def married(done: Iterable[tuple[int, WorkDone]]) -> frozenset[str]:
    """Name the valves that were lapped into their seats, and neither parted from them since."""
    found: set[str] = set()
    for _, work in done:
        if work.operation == "seat lapped":
            found.update(work.valves)
        elif work.operation in _PARTS_THEM:
            found.difference_update(work.valves)
    return frozenset(found)


def placed(place: int, event: Event) -> Placed | None:
    """Tell where an event's reading belongs and when it was measured; None: it is no reading.

    A value out of the tray was measured when it came, not when it was put in its place.
    """
    match event:
        case ReadingTaken(tag=tag) | SweepTaken(tag=tag):
            return Placed(tag.position, tag.gauge, place)
        case ReadingAssigned(tag=tag, parked=parked):
            return Placed(tag.position, tag.gauge, parked)
        case PositionSkipped(position=position):
            return Placed(position, "", place)  # its reason was that of the head before the work
    return None


def undone_by(
    work: WorkDone,
    at: int,
    history: Mapping[int, Line],
    plan: Sequence[Step],
    filled: Mapping[int, int],
    skipped: Collection[int],
) -> tuple[list[int], list[int]]:
    """Tell what work takes back: lines of the history, and steps to be measured again.

    A zero check counts no longer where any of its series is measured again.

    Args:
        work: the work.
        at: its place in the record.
        history: by record place.
        plan: the plan.
        filled: for each step that has one, the record place of the reading that counts.
        skipped: the steps that were skipped.

    Returns:
        Record places of what becomes stale, and numbers of steps, in order of measuring.
    """
    places, counted = [], set()
    for line in history.values():
        reading = placed(line.place, line.event)
        if line.stale or reading is None or not touches(work, at, reading):
            continue
        places.append(line.place)
        if line.step is not None and (line.step in skipped or filled.get(line.step) == line.place):
            counted.add(reading.position)
    number_of = {step.position: number for number, step in enumerate(plan)}
    numbers = [number_of[step.position] for step in again(plan, counted)]
    places += [filled[number] for number in numbers
               if number in filled and filled[number] not in places]  # fmt: skip
    return places, numbers


def outdated(
    position: Position,
    gauge: str,
    place: int,
    done: Iterable[tuple[int, WorkDone]],
    reopened: int | None = None,
) -> str:
    """Name the work that a value was measured before, if it were put in a place; empty: none.

    Args:
        position: the place.
        gauge: the gauge of the value.
        place: its record place.
        done: the work, each with its place in the record.
        reopened: the place of the last work after which the series is measured again.
    """
    reading = Placed(position, gauge, place)
    return next(
        (
            work.operation
            for at, work in done
            if touches(work, at, reading) or place < at == reopened
        ),
        "",
    )


def sizes_before(
    history: Mapping[int, Line],
    earlier: Iterable[Reading],
    done: Sequence[tuple[int, WorkDone]],
) -> dict[Position, Displayed]:
    """Tell what each place gave before the work, as far as a new size compares with it.

    Args:
        history: by record place; what is stale in it was measured before.
        earlier: readings of the round before, in another record.
        done: the work, each with its place in the record.
    """
    found = {
        item.tag.position: item.shown
        for item in earlier
        if _compares(Placed(item.tag.position, item.tag.gauge, -1), done)
    }
    if not done:
        return found  # nothing is stale, and the history, with its tray, may be long
    for line in history.values():
        if not line.stale or line.struck:
            continue
        event = line.event
        reading = placed(line.place, event)
        if isinstance(event, ReadingAssigned):
            event = history[event.parked].event
        if (
            reading is not None
            and isinstance(event, ReadingTaken | ReadingParked)
            and _compares(reading, done)
        ):
            found[reading.position] = event.shown
    return found


def _compares(reading: Placed, done: Iterable[tuple[int, WorkDone]]) -> bool:
    """Tell whether a new size can still be held against an earlier one, after work since.

    Work that changes sizes by a few micrometres only leaves them comparable; all other voids it.
    """
    return all(WORK[work.operation].little for at, work in done if touches(work, at, reading))
