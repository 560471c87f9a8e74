"""The measuring plan: every place that the limits of a sheet need, in an order that saves steps.

One gauge stays in the hand for as long as it can be used, and the head is walked from front to
back; at each valve the stations come from top to bottom, along before across. Where the sheet says
how the zero of a gauge is checked, a series of readings begins and ends with that check.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, Final

from gaugelink.errors import InputError
from gaugelink.head import CHARACTERISTICS, DIRECTIONS, Position, zero_check

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gaugelink.limits import Limit, Sheet

_HEIGHT: Final = "installed spring height"


@dataclass(frozen=True, slots=True)
class Step:
    """One step: a place, the kind of gauge that measures there, and whether it is a sweep."""

    position: Position
    gauge_kind: str

    @property
    def sweep(self) -> bool:
        """Whether the step records a rock sweep rather than a single value."""
        return self.position.method == "rock"


def plan_for(sheet: Sheet) -> list[Step]:
    """Make the plan for a sheet.

    Raises:
        InputError: a limit by rock on clearance lacks the guide's length or the reach, without
            which travel cannot be turned into clearance.
    """
    wanted: dict[Position, str] = {}
    for limit in sheet.limits:
        if limit.method == "rock" and limit.figure == "clearance" and limit.reach is None:
            raise InputError(
                "to turn rock into clearance the limit needs guide_length and reach; add them, or "
                'say figure = "travel" if the book limits the travel itself',
                file=sheet.file,
                line=limit.line,
                field="guide_length",
            )
        for position in _positions(sheet, limit):
            wanted.setdefault(position, CHARACTERISTICS[position.characteristic].gauge)
    # Load and coil bind hang on the installed height, whether or not the book limits it as such.
    limited = {position.valve for position in wanted if position.characteristic == _HEIGHT}
    for valve in sheet.head.valves():
        if sheet.spring_of(valve.kind) is not None and valve.name not in limited:
            wanted[Position(valve.name, _HEIGHT)] = CHARACTERISTICS[_HEIGHT].gauge
    order = {name: number for number, name in enumerate(CHARACTERISTICS)}
    valves = {"": 0} | {item.name: n for n, item in enumerate(sheet.head.valves(), 1)}
    places = list(wanted)
    steps = sorted(
        (Step(position, kind) for position, kind in wanted.items()),
        key=lambda step: (
            order[step.position.characteristic],
            valves[step.position.valve],
            places.index(step.position),
        ),
    )
    return list(_with_checks(steps, sheet))


def _with_checks(steps: list[Step], sheet: Sheet) -> Iterator[Step]:
    """Put a zero check before and after every series of single readings of a gauge.

    A sweep needs none: a travel is a difference, and the zero drops out of it.
    """
    for (kind, sweep), series in groupby(steps, key=lambda step: (step.gauge_kind, step.sweep)):
        found = list(series)
        if sheet.zero_of(kind) is None or sweep:
            yield from found
            continue
        first, last = (found[at].position.characteristic for at in (0, -1))
        yield Step(zero_check(kind, "before", first), kind)
        yield from found
        yield Step(zero_check(kind, "after", last), kind)


def _positions(sheet: Sheet, limit: Limit) -> Iterator[Position]:
    if limit.characteristic == "head-face flatness":
        assert sheet.head.face is not None
        for station in sheet.head.face.points():
            yield Position("", "face height", station)
    elif limit.method == "direct":
        for valve in limit.valves:
            for name in CHARACTERISTICS["guide clearance"].reckoned_from:
                for station, direction in limit.wanted():
                    yield Position(valve, name, station, direction)
    elif limit.method == "rock":
        lift = str(limit.lift)
        for valve in limit.valves:
            for direction in limit.directions or DIRECTIONS:
                yield Position(valve, "guide clearance", "", direction, "rock", lift,
                               limit.valve_used)  # fmt: skip
    else:
        for valve in limit.valves or ("",):
            for station, direction in limit.wanted():
                yield Position(valve, limit.characteristic, station, direction)
