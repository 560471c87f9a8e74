"""The capture session: what is asked for next, and what becomes of every value that comes.

A pure state machine. `Session.decide` turns something that happens on the bench into events without
changing anything; the events go into the record; only then `Session.apply` takes them in. So the
session never knows more than the record, an acknowledged reading is on disk, and a session that is
fed a record's events again stands where the bench stood.

A value goes to the place that is being asked for if it comes from the right kind of gauge, and to
the unassigned tray otherwise. It is never guessed where it belongs. A value that looks like a slip
goes to the tray too, and the question what to do with it stands until the place has a reading.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, assert_never

from gaugelink.course import Course
from gaugelink.deeds import (
    MODE_WORDS,
    Assign,
    Command,
    ConfirmPosition,
    ConfirmZero,
    DoWork,
    FillChamber,
    Inspect,
    Release,
    Retake,
    SignDeviation,
    Skip,
    StrikeOut,
    SweepArrived,
    TakePlan,
    TellSpring,
    ValueArrived,
)
from gaugelink.errors import SessionError
from gaugelink.events import (
    Event,
    PlanTaken,
    PositionConfirmed,
    PositionSkipped,
    ReadingAssigned,
    ReadingParked,
    ReadingRefused,
    ReadingStruckOut,
    ReadingTaken,
    SweepParked,
    SweepTaken,
    ZeroChecked,
)
from gaugelink.inspection import VOIDS
from gaugelink.planning.compared import FROM_THE_TRAY, MEASURED_AGAIN
from gaugelink.planning.working import (
    decide_work,
    last_good_check,
    outdated,
)
from gaugelink.reading import Tag
from gaugelink.signing import (
    decide_chamber,
    decide_deviation,
    decide_inspection,
    decide_release,
    decide_spring,
)
from gaugelink.slips import Taken, look, read_note, write_note

if TYPE_CHECKING:
    from gaugelink.plan import Step
    from gaugelink.quantity import Displayed
    from gaugelink.reading import Stamp


@dataclass(slots=True)
class Session(Course):
    """A capture session: its course, and what becomes of whatever happens on the bench."""

    def decide(self, command: Command, stamp: Stamp) -> list[Event]:
        """Say which events a command leads to. Changes nothing.

        Raises:
            SessionError: the command cannot be carried out now; the sentence says why.
        """
        match command:
            case ValueArrived():
                return self._value(command, stamp)
            case SweepArrived():
                return self._sweep(command, stamp)
            case Skip(reason):
                step = self._asked_for()
                events: list[Event] = []
                if self.cursor in self.filled:
                    events.append(self._strike(self.filled[self.cursor], reason, stamp))
                return [*events, PositionSkipped(stamp, step.position, _given(reason))]
            case Retake(reason):
                return [self._strike(self._last_taken(), reason, stamp)]
            case StrikeOut(place, reason):
                return [self._strike(place, reason, stamp)]
            case Assign(place, step_number, reason):
                return self._assign(place, step_number, reason, stamp)
            case ConfirmPosition():
                return self._confirm(stamp)
            case ConfirmZero(gauge):
                if gauge not in self.standing.zero:
                    raise SessionError(f"the zero of {gauge} is not in doubt")
                return [ZeroChecked(stamp, gauge)]
            case DoWork():
                check = last_good_check(command.gauge, self.history.values())
                work = decide_work(command, stamp, self.plan, self.gauges, self.sheet, check)
                return [replace(work, voids=VOIDS[work.operation])]
            case TakePlan(cost, standing, steps, by):
                if not steps:
                    raise SessionError("the plan asks for no work; there is nothing to take")
                name = " ".join(by.split()) or stamp.operator
                return [PlanTaken(stamp, cost, standing, steps, name)]
            case Inspect():
                return [decide_inspection(command, stamp, self)]
            case TellSpring():
                return [decide_spring(command, stamp, self)]
            case FillChamber():
                return [decide_chamber(command, stamp, self)]
            case SignDeviation():
                return [decide_deviation(command, stamp, self)]
            case Release():
                return [decide_release(command, stamp, self)]
            case _:
                assert_never(command)

    def _value(self, command: ValueArrived, stamp: Stamp) -> list[Event]:
        gauge, shown, raw = command.gauge, command.shown, command.raw
        if command.mode != "actual":
            words = MODE_WORDS[command.mode]
            why = f"the gauge was {words}; set it to show the actual value and measure again"
            return [ReadingRefused(stamp, gauge, shown, raw, why)]
        why = self._not_for_this_step(gauge) or self._doubt(gauge, shown, stamp)
        if why:
            return [ReadingParked(stamp, gauge, shown, raw, why)]
        tag = self._tag(self.cursor, gauge)
        return [*self._replaced(stamp), ReadingTaken(stamp, tag, shown, raw, command.trigger)]

    def _sweep(self, command: SweepArrived, stamp: Stamp) -> list[Event]:
        if why := command.why or self._against_sweep(command):
            return [SweepParked(stamp, command.gauge, command.trace, command.raw, command.flags,
                                why)]  # fmt: skip
        tag = self._tag(self.cursor, command.gauge)
        events = self._replaced(stamp) if command.usable else []
        return [*events, SweepTaken(stamp, tag, command.trace, command.raw, command.usable,
                                    command.flags)]  # fmt: skip

    def _against_sweep(self, command: SweepArrived) -> str:
        """Say why a sweep belongs nowhere; empty where it belongs to what is asked for."""
        step = self.step
        if step is None:
            return "nothing was asked for"
        if not step.sweep:
            return f"no sweep was asked for, but {step.position.words}"
        kind = self._kind(command.gauge)
        if kind != step.gauge_kind:
            return f"the sweep came from the {kind}, asked for: {step.gauge_kind}"
        # A sweep during which the battery went low is kept in its place, but cannot be used.
        if command.usable:
            return self.standing.against_sweep(command.gauge)
        return self.standing.against_value(command.gauge)

    def _assign(self, place: int, number: int, reason: str, stamp: Stamp) -> list[Event]:
        entry = self.history.get(place)
        if entry is None or not isinstance(entry.event, ReadingParked) or entry.struck:
            raise SessionError(f"record place {place} is not a value in the tray")
        if entry.step is not None:
            raise SessionError(f"record place {place} has been put into a position already")
        if not 0 <= number < len(self.plan) or self.plan[number].sweep:
            raise SessionError(f"step {number} is not one that takes a single reading")
        parked = entry.event
        kind = self._kind(parked.gauge)
        if kind != self.plan[number].gauge_kind:
            wanted = self.plan[number].gauge_kind
            raise SessionError(f"the value came from the {kind}, asked for there: {wanted}")
        position, since = self.plan[number].position, self.reopened.get(number)
        if why := outdated(position, parked.gauge, place, self.work, since):
            raise SessionError(f"the value was measured before this work: {why}; measure again")
        events: list[Event] = []
        if number in self.filled:
            events.append(self._strike(self.filled[number], FROM_THE_TRAY, stamp))
        tag = self._tag(number, parked.gauge)
        return [*events, ReadingAssigned(stamp, place, tag, _given(reason))]

    def _confirm(self, stamp: Stamp) -> list[Event]:
        if not self.unconfirmed:
            raise SessionError("no gauge waits for its position to be confirmed")
        position = self.step.position if self.step else None
        return [PositionConfirmed(stamp, gauge, position) for gauge in sorted(self.unconfirmed)]

    def _not_for_this_step(self, gauge: str) -> str:
        step = self.step
        if step is None:
            return "nothing was asked for"
        if against := self.against(gauge):
            return against
        kind = self._kind(gauge)
        if step.sweep:
            return "a rock sweep was asked for, not a single value"
        if kind != step.gauge_kind:
            wanted = f"{step.position.words}, with the {step.gauge_kind}"
            return f"the value came from the {kind}, asked for: {wanted}"
        return ""

    def _doubt(self, gauge: str, shown: Displayed, stamp: Stamp) -> str:
        """Say what a value looks like that is not what it should be; empty where it looks right."""
        step = self.step
        if self.sheet is None or step is None:
            return ""
        taken = [
            Taken(item.tag.position, item.shown, item.tag.gauge, item.stamp.mono_ns,
                  self._was_asked_about(item.place))
            for item in self.readings()
        ]  # fmt: skip
        found = look(step.position, shown, self.gauges[gauge], stamp.mono_ns, taken,
                     self.sheet.sized(self.sizes), self.before_work())  # fmt: skip
        return write_note(found[0], step.position) if found else ""

    def _was_asked_about(self, place: int) -> bool:
        event = self.history[place].event
        if not isinstance(event, ReadingAssigned):
            return False
        parked = self.history[event.parked].event
        return isinstance(parked, ReadingParked) and read_note(parked.why) is not None

    def _kind(self, gauge: str) -> str:
        known = self.gauges.get(gauge)
        return known.kind if known else f"unknown gauge {gauge!r}"

    def _replaced(self, stamp: Stamp) -> list[Event]:
        old = self.filled.get(self.cursor)
        return [] if old is None else [self._strike(old, MEASURED_AGAIN, stamp)]

    def _strike(self, place: int, reason: str, stamp: Stamp) -> ReadingStruckOut:
        if self.signoff.knows(place):
            if why := self.signoff.over(place):
                raise SessionError(f"record place {place} does not count any more: {why}")
            return ReadingStruckOut(stamp, place, _given(reason))
        entry = self.history.get(place)
        if entry is None or isinstance(entry.event, PositionSkipped):
            raise SessionError(f"record place {place} is not a reading")
        if entry.struck:
            raise SessionError(f"record place {place} is struck out already: {entry.struck}")
        if isinstance(entry.event, ReadingParked) and entry.step is not None:
            through = next(
                other.place
                for other in self.history.values()
                if isinstance(other.event, ReadingAssigned)
                and other.event.parked == place
                and not other.struck
            )
            raise SessionError(
                f"the value at record place {place} counts through record place "
                f"{through}; strike that out, and it is back in the tray"
            )
        return ReadingStruckOut(stamp, place, _given(reason))

    def _last_taken(self) -> int:
        if not self.filled:
            raise SessionError("nothing has been taken yet that could be retaken")
        return max(self.filled.values())

    def _asked_for(self) -> Step:
        step = self.step
        if step is None:
            raise SessionError("nothing is asked for: every position is measured or skipped")
        return step

    def _tag(self, number: int, gauge: str) -> Tag:
        return Tag(self.plan[number].position, self.stage, gauge)


def _given(reason: str) -> str:
    text = " ".join(reason.split())
    if not text:
        raise SessionError("a reason is needed; it stays in the record")
    return text
