"""Which readings are doubtful because a zero check beside them was off.

A zero check vouches for what the same gauge measured next to it, in both directions. One that is
off leaves in doubt what was measured since the check before it, and what is measured after it until
the next one. Setting the zero and checking it again mends what comes then, and nothing that was
measured before; so a check that was off counts although it lies in the tray and a good one stands
in its place. Only a person can say that the check itself was wrong, by striking it out.

Doubtful is not stale: the reading counts and is shown, and the head is not released with it.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol

from gaugelink.events import ReadingAssigned, ReadingParked, ReadingTaken
from gaugelink.head import ZERO_CHECK, zero_check_of
from gaugelink.planning.compared import REPEATED
from gaugelink.slips import read_note
from gaugelink.slips.zero import zero_off

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from gaugelink.head import Position
    from gaugelink.limits import Sheet
    from gaugelink.plan import Step
    from gaugelink.planning.working import Line
    from gaugelink.quantity import Displayed
    from gaugelink.reading import Gauge


class Seen(Protocol):
    """Where a session stands (`gaugelink.course.Course`)."""

    @property
    def plan(self) -> Sequence[Step]:
        """The steps."""

    @property
    def gauges(self) -> Mapping[str, Gauge]:
        """The gauges by their mark."""

    @property
    def history(self) -> Mapping[int, Line]:
        """Everything that was taken, by record place."""

    @property
    def filled(self) -> Mapping[int, int]:
        """For each step that has one, the record place of the reading that counts."""

    @property
    def sheet(self) -> Sheet | None:
        """The limits, which say how the zero is checked."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why a reading is doubtful.

    Attributes:
        later: whether the check came after the reading.
        gauge: which gauge.
        check: which check it was, such as ``depth gauge, after stand-down``.
        shown: what the gauge showed.
        due: what it has to show there.
        strike: the record place by which the check can be struck out.
    """

    later: bool
    gauge: str
    check: str
    shown: Displayed
    due: Displayed
    strike: int

    @property
    def words(self) -> str:
        """Say it to a person.

        >>> from gaugelink.quantity import parse_length
        >>> shown, due = parse_length("0.05 mm"), parse_length("0.00 mm")
        >>> Doubt(True, "D1", "depth gauge, after stand-down", shown, due, 12).words
        'measured before a zero check (depth gauge, after stand-down) showed 0.05 mm where 0.00 mm is due'
        """  # noqa: E501  one sentence
        when = "before" if self.later else "after"
        return (
            f"measured {when} a zero check ({self.check}) showed {self.shown} where {self.due} "
            "is due"
        )


@dataclass(frozen=True, slots=True)
class _Check:
    """A zero check as it was made: when, with which gauge, and what it showed if it was off."""

    place: int
    gauge: str
    off: Doubt | None


def doubts(seen: Seen) -> dict[int, Doubt]:
    """Say which readings that count are doubtful, by record place; empty where none is.

    Of the checks beside a reading, the one after it is named where both were off.
    """
    if seen.sheet is None or not seen.sheet.zeros:
        return {}
    of: dict[str, list[_Check]] = {}
    for check in sorted(_checks(seen), key=lambda item: item.place):
        of.setdefault(check.gauge, []).append(check)
    if not any(check.off for checks in of.values() for check in checks):
        return {}
    found = {}
    for step, place in sorted(seen.filled.items()):
        event = seen.history[place].event
        if zero_check_of(seen.plan[step].position) is not None:
            continue
        # A sweep needs no zero: a travel is a difference.
        if not isinstance(event, ReadingTaken | ReadingAssigned):
            continue
        measured = event.parked if isinstance(event, ReadingAssigned) else place
        checks = of.get(event.tag.gauge, [])
        at = bisect_left(checks, measured, key=lambda item: item.place)
        after = checks[at].off if at < len(checks) else None
        before = checks[at - 1].off if at else None
        if after is not None:
            found[place] = after
        elif before is not None:
            found[place] = replace(before, later=False)
    return found


def _checks(seen: Seen) -> Iterator[_Check]:
    """Go through the checks that were made, those that lie in the tray too."""
    put = {line.event.parked: line.place for line in seen.history.values()
           if isinstance(line.event, ReadingAssigned) and not line.struck}  # fmt: skip
    asked = {step.position.words: step.position for step in seen.plan
             if step.position.characteristic == ZERO_CHECK}  # fmt: skip
    for line in seen.history.values():
        event = line.event
        if line.struck and line.struck not in REPEATED:
            continue  # a person has said that it was wrong
        if isinstance(event, ReadingTaken):
            if event.tag.position.characteristic == ZERO_CHECK:
                yield _check(seen, line.place, event.tag.gauge, event.shown, event.tag.position)
        elif isinstance(event, ReadingParked):
            position = _asked_for(seen, line, event, asked)
            if position is not None:
                found = _check(seen, line.place, event.gauge, event.shown, position)
                if found.off is not None and line.place in put:
                    off = replace(found.off, strike=put[line.place])
                    found = replace(found, off=off)
                yield found


def _asked_for(
    seen: Seen, line: Line, event: ReadingParked, asked: Mapping[str, Position]
) -> Position | None:
    """Find the check that a value of the tray was sent for; None where it was for none."""
    if line.step is not None:
        position = seen.plan[line.step].position
        return position if position.characteristic == ZERO_CHECK else None
    noted = read_note(event.why) if "Zero check: " in event.why else None
    return asked.get(noted.place_words) if noted else None


def _check(seen: Seen, place: int, gauge: str, shown: Displayed, position: Position) -> _Check:
    known, kind = seen.gauges[gauge], zero_check_of(position)
    zero = seen.sheet.zero_of(kind[0]) if seen.sheet and kind else None
    if zero is None or zero_off(shown, known, zero, "") is None:
        return _Check(place, gauge, None)
    return _Check(place, gauge, Doubt(True, gauge, position.station, shown, zero.shows, place))
