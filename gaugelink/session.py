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

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, assert_never

from gaugelink.deeds import (
    MODE_WORDS,
    Assign,
    Command,
    ConfirmPosition,
    ConfirmZero,
    DoWork,
    Retake,
    Skip,
    StrikeOut,
    SweepArrived,
    ValueArrived,
)
from gaugelink.errors import SessionError
from gaugelink.events import (
    BatteryTold,
    Event,
    GaugeFound,
    GaugeLost,
    JobJudged,
    JobOpened,
    PositionConfirmed,
    PositionSkipped,
    ReadingAssigned,
    ReadingParked,
    ReadingRefused,
    ReadingStruckOut,
    ReadingTaken,
    SweepParked,
    SweepTaken,
    WorkDone,
    ZeroChecked,
    ZeroDoubted,
)
from gaugelink.head import zero_check_of
from gaugelink.planning.working import (
    decide_work,
    last_good_check,
    outdated,
    sizes_before,
    undone_by,
)
from gaugelink.reading import Reading, Sweep, Tag
from gaugelink.slips import Taken, look, read_note, write_note
from gaugelink.standing import Standing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelink.head import Position
    from gaugelink.limits import Sheet
    from gaugelink.plan import Step
    from gaugelink.quantity import Displayed
    from gaugelink.reading import Gauge, Stamp


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the history: an event of the record, and whether it still counts.

    ``struck`` is the reason why it was struck out, ``stale`` the work that made it stale.
    """

    place: int
    event: Event
    step: int | None = None
    struck: str = ""
    stale: str = ""


@dataclass(frozen=True, slots=True)
class Question:
    """A value in the tray that looks like a slip, for the step that is asked for.

    `Assign` keeps it there; measuring again leaves it in the tray.
    """

    place: int
    step: int
    code: str
    words: str


@dataclass(slots=True)
class Session:
    """A capture session over a plan.

    Attributes:
        plan: the steps, in order of measuring.
        gauges: the gauges of the bench by their mark.
        stage: stage of the job, for example ``as received``.
        cursor: number of the step asked for; equal to ``len(plan)`` when nothing is.
        filled: for each step that has one, the record place of the reading that counts.
        skipped: for each step skipped, the reason.
        history: everything taken, parked, refused and skipped, by record place.
        standing: how each gauge stands; values of one that stands badly go to the tray.
        sheet: the limits that values are held against before they are recorded; without one
            nothing is.
        earlier: the readings of the stage before, as far as they can be compared
            (`gaugelink.slips.comparable`); values are held against them too.
        work: the work done on the head, each with its place in the record.
        reopened: for each step whose series is measured again, the place of the last such work.
    """

    plan: Sequence[Step]
    gauges: dict[str, Gauge]
    stage: str
    cursor: int = 0
    filled: dict[int, int] = field(default_factory=dict)
    skipped: dict[int, str] = field(default_factory=dict)
    history: dict[int, Entry] = field(default_factory=dict)
    standing: Standing = field(default_factory=Standing)
    again: str = ""
    sheet: Sheet | None = None
    earlier: Sequence[Reading] = ()
    work: list[tuple[int, WorkDone]] = field(default_factory=list)
    reopened: dict[int, int] = field(default_factory=dict)

    # ---- what is asked for ----------------------------------------------------------------------

    @property
    def lost(self) -> set[str]:
        """The gauges that are lost."""
        return self.standing.lost

    @property
    def unconfirmed(self) -> set[str]:
        """The gauges that were lost and are back, and whose position nobody has confirmed."""
        return self.standing.unconfirmed

    @property
    def step(self) -> Step | None:
        """The step asked for; None when everything is measured or skipped."""
        return self.plan[self.cursor] if self.cursor < len(self.plan) else None

    @property
    def question(self) -> Question | None:
        """What is asked about the value that came last for this step; None when nothing is."""
        if self.step is None:
            return None
        for place in sorted(self.history, reverse=True):
            entry = self.history[place]
            if entry.step == self.cursor or place < self.reopened.get(self.cursor, 0):
                break  # the step was measured, assigned, skipped or worked on since
            noted = read_note(entry.event.why) if isinstance(entry.event, ReadingParked) else None
            if noted and noted.place_words == self.step.position.words and (
                noted.code != "double send" and not entry.struck and entry.step is None
            ):  # fmt: skip
                return Question(place, self.cursor, noted.code, noted.words)
        return None

    def against(self, gauge: str) -> str:
        """Say why a gauge's value cannot be taken for what is asked now; empty where it can."""
        zero_asked = self.step is not None and zero_check_of(self.step.position) is not None
        return self.standing.against_value(gauge, zero_asked=zero_asked)

    def is_open(self, number: int) -> bool:
        """Tell whether a step has neither a reading nor been skipped."""
        return number not in self.filled and number not in self.skipped

    @property
    def finished(self) -> bool:
        """Whether every step has a reading or a reason why not."""
        return len(self.filled) + len(self.skipped) == len(self.plan)

    def go(self, number: int) -> None:
        """Ask for a step by its number, whatever its state.

        Raises:
            SessionError: there is no such step.
        """
        if not 0 <= number < len(self.plan):
            raise SessionError(f"found step {number}, accepted: 0 to {len(self.plan) - 1}")
        self.cursor = number
        self.again = self._why_again(number)

    def back(self) -> None:
        """Ask for the step before the one asked for now; a new reading there replaces the old.

        Raises:
            SessionError: this is the first step.
        """
        if self.cursor == 0:
            raise SessionError("this is the first position; there is none before it")
        self.go(self.cursor - 1)

    # ---- deciding -------------------------------------------------------------------------------

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
                return [decide_work(command, stamp, self.plan, self.gauges, self.sheet, check)]
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
            events.append(self._strike(self.filled[number], "replaced from the tray", stamp))
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
        found = look(step.position, shown, self.gauges[gauge], stamp.mono_ns, taken, self.sheet,
                     sizes_before(self.history, self.earlier, self.work))  # fmt: skip
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
        return [] if old is None else [self._strike(old, "measured again", stamp)]

    def _strike(self, place: int, reason: str, stamp: Stamp) -> ReadingStruckOut:
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
        counting = [place for place, entry in self.history.items()
                    if entry.step is not None and self.filled.get(entry.step) == place]  # fmt: skip
        if not counting:
            raise SessionError("nothing has been taken yet that could be retaken")
        return max(counting)

    def _asked_for(self) -> Step:
        step = self.step
        if step is None:
            raise SessionError("nothing is asked for: every position is measured or skipped")
        return step

    def _tag(self, number: int, gauge: str) -> Tag:
        return Tag(self.plan[number].position, self.stage, gauge)

    # ---- taking in what the record holds --------------------------------------------------------

    def apply(self, place: int, event: Event) -> None:
        """Take in an event that is in the record at `place`."""
        match event:
            case ReadingTaken(tag=tag) | ReadingAssigned(tag=tag):
                self._fill(place, event, self._number(tag.position))
            case SweepTaken(tag=tag, usable=usable):
                number = self._number(tag.position)
                if usable:
                    self._fill(place, event, number)
                else:
                    self.history[place] = Entry(place, event, number)
                    self.cursor = number
                    self.again = "the sweep could not be used: " + "; ".join(event.flags)
            case PositionSkipped(position=position, reason=reason):
                number = self._number(position)
                self.history[place] = Entry(place, event, number)
                self.filled.pop(number, None)
                self.skipped[number] = reason
                self._advance(number)
            case ReadingParked() | SweepParked() | ReadingRefused():
                self.history[place] = Entry(place, event)
            case ReadingStruckOut(struck=struck, reason=reason):
                self._apply_strike(struck, reason)
            case (
                GaugeLost()
                | GaugeFound()
                | PositionConfirmed()
                | ZeroDoubted()
                | ZeroChecked()
                | BatteryTold()
            ):
                self.standing.apply(event)
            case WorkDone():
                self._apply_work(place, event)
            case JobOpened() | JobJudged():
                pass
            case _:
                assert_never(event)

    def _fill(self, place: int, event: Event, number: int) -> None:
        self.history[place] = Entry(place, event, number)
        self.filled[number] = place
        self.skipped.pop(number, None)
        if isinstance(event, ReadingAssigned):
            parked = self.history[event.parked]
            self.history[event.parked] = replace(parked, step=number)
            if number != self.cursor:
                return  # what is asked for stays so; a value from the tray does not change it
        # Not only where the cursor stands: it is moved by hand without an event, and a session
        # that is fed the record again must find its way all the same.
        self._advance(number)

    def _apply_strike(self, struck: int, reason: str) -> None:
        entry = self.history[struck]
        self.history[struck] = replace(entry, struck=reason)
        if isinstance(entry.event, ReadingAssigned):
            # The value itself was not struck out, only its place: it is back in the tray.
            parked = self.history[entry.event.parked]
            self.history[parked.place] = replace(parked, step=None)
        if entry.step is not None and self.filled.get(entry.step) == struck:
            del self.filled[entry.step]
            self.cursor = entry.step
            self.again = reason

    def _apply_work(self, place: int, event: WorkDone) -> None:
        self.work.append((place, event))
        places, numbers = undone_by(
            event, place, self.history, self.plan, self.filled, self.skipped
        )
        for old in places:
            self.history[old] = replace(self.history[old], stale=event.operation)
        for number in numbers:
            self.reopened[number] = place
            self.filled.pop(number, None)
            self.skipped.pop(number, None)
        if numbers:
            self.cursor = numbers[0]
            self.again = self._why_again(self.cursor)

    def _number(self, position: Position) -> int:
        for number, step in enumerate(self.plan):
            if step.position == position:
                return number
        raise SessionError(f"the plan has no step for {position.words}")

    def _advance(self, number: int) -> None:
        """Ask for the next open step after `number`, else the first open one, else nothing."""
        order = [*range(number + 1, len(self.plan)), *range(min(number + 1, len(self.plan)))]
        self.cursor = next((item for item in order if self.is_open(item)), len(self.plan))
        self.again = self._why_again(self.cursor)

    def _why_again(self, number: int) -> str:
        why = [entry.struck or f"stale: {entry.stale}" for entry in self.history.values()
               if entry.step == number and (entry.struck or entry.stale)]  # fmt: skip
        if number in self.filled:
            return "there is a reading already; a new one replaces it"
        return why[-1] if why else ""

    # ---- what there is --------------------------------------------------------------------------

    def readings(self) -> list[Reading]:
        """Give the single readings that count, none of them stale, in order of the record."""
        found = []
        for place in sorted(self.filled.values()):
            event = self.history[place].event
            if isinstance(event, ReadingTaken):
                found.append(Reading(event.tag, event.shown, event.raw, event.stamp, place))
            elif isinstance(event, ReadingAssigned):
                parked = self.history[event.parked].event
                assert isinstance(parked, ReadingParked)
                found.append(Reading(event.tag, parked.shown, parked.raw, parked.stamp, place))
        return found

    def sweeps(self) -> list[Sweep]:
        """Give the rock sweeps that count, in order of the record."""
        found = []
        for place in sorted(self.filled.values()):
            event = self.history[place].event
            if isinstance(event, SweepTaken):
                found.append(Sweep(event.tag, event.trace, event.raw, event.stamp, place,
                                   event.usable, event.flags))  # fmt: skip
        return found

    def tray(self) -> list[Entry]:
        """Give the values that belong nowhere yet, and the sweeps that never will, oldest first."""
        return [entry for entry in self.history.values()
                if isinstance(entry.event, ReadingParked | SweepParked) and entry.step is None
                and not entry.struck]  # fmt: skip


def _given(reason: str) -> str:
    text = " ".join(reason.split())
    if not text:
        raise SessionError("a reason is needed; it stays in the record")
    return text
