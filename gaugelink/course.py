"""Where a capture session stands: what is asked for, and what the record holds of it.

Changed by `Course.apply` alone, which takes in what is in the record already, and by moving the
cursor by hand. So a course that is fed a record's events again stands where the bench stood.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, assert_never

from gaugelink.errors import SessionError
from gaugelink.events import (
    BatteryTold,
    ChamberFilled,
    DeviationSigned,
    Event,
    GaugeFound,
    GaugeLost,
    HeadReleased,
    Inspected,
    JobJudged,
    JobOpened,
    PlanTaken,
    PositionConfirmed,
    PositionSkipped,
    ReadingAssigned,
    ReadingParked,
    ReadingRefused,
    ReadingStruckOut,
    ReadingTaken,
    SpringTested,
    SweepParked,
    SweepTaken,
    WorkDone,
    ZeroChecked,
    ZeroDoubted,
)
from gaugelink.head import zero_check_of
from gaugelink.history import Entry, History
from gaugelink.planning.oversized import Sizes, carried, resized
from gaugelink.planning.walk import cylinder_of, walk
from gaugelink.planning.working import sizes_before, undone_by
from gaugelink.reading import Reading, Sweep
from gaugelink.signoff import SignOff
from gaugelink.slips import read_note
from gaugelink.standing import Standing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelink.head import Position
    from gaugelink.limits import Sheet
    from gaugelink.plan import Step
    from gaugelink.quantity import Displayed
    from gaugelink.reading import Gauge


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
class Course:
    """Where a capture session stands: the plan, and what the record holds of it.

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
        sizes: where a guide or a valve is of another size than the standard one.
        reopened: for each step whose series is measured again, the place of the last such work.
        cylinder: where a reading was taken last; None where none was.
        order: the plan that was taken last, with its place in the record; None where none was.
        signoff: what people have said and signed.
        due: for each gauge, the date to which it was calibrated, as of each record place where
            that was told.
        seen: how many entries of the record have been taken in.
    """

    plan: Sequence[Step]
    gauges: dict[str, Gauge]
    stage: str
    cursor: int = 0
    filled: dict[int, int] = field(default_factory=dict)
    skipped: dict[int, str] = field(default_factory=dict)
    history: History = field(default_factory=History)
    standing: Standing = field(default_factory=Standing)
    again: str = ""
    sheet: Sheet | None = None
    earlier: Sequence[Reading] = ()
    work: list[tuple[int, WorkDone]] = field(default_factory=list)
    sizes: Sizes = field(default_factory=dict)
    reopened: dict[int, int] = field(default_factory=dict)
    cylinder: int | None = None
    order: tuple[int, PlanTaken] | None = None
    signoff: SignOff = field(default_factory=SignOff)
    due: dict[str, list[tuple[int, str]]] = field(default_factory=dict)
    seen: int = 0
    _before: dict[Position, Displayed] | None = field(default=None, compare=False, repr=False)

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
        place = self.history.asked(self.step.position.words)
        answered = self.history.last_of(self.cursor)  # measured, assigned, skipped
        if place <= answered or place < self.reopened.get(self.cursor, 0):
            return None
        event = self.history[place].event
        assert isinstance(event, ReadingParked)
        noted = read_note(event.why)
        assert noted is not None
        return Question(place, self.cursor, noted.code, noted.words)

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

    # ---- taking in what the record holds --------------------------------------------------------

    def apply(self, place: int, event: Event) -> None:
        """Take in an event that is in the record at `place`."""
        self.seen = place + 1
        self.signoff.apply(place, event, self.filled.values())
        match event:
            case ReadingTaken(tag=tag) | ReadingAssigned(tag=tag):
                self._fill(place, event, self._number(tag.position))
            case SweepTaken(tag=tag, usable=usable):
                number = self._number(tag.position)
                if usable:
                    self._fill(place, event, number)
                else:
                    self.history.put(Entry(place, event, number))
                    self.cursor = number
                    self.again = "the sweep could not be used: " + "; ".join(event.flags)
            case PositionSkipped(position=position, reason=reason):
                number = self._number(position)
                self.history.put(Entry(place, event, number))
                self.filled.pop(number, None)
                self.skipped[number] = reason
                self._advance(number)
            case ReadingParked() | SweepParked() | ReadingRefused():
                self.history.put(Entry(place, event))
            case ReadingStruckOut(struck=struck, reason=reason):
                if not self.signoff.knows(struck):
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
                self.sizes = resized(self.sizes, event, self.order, self.work, self.sheet)
            case PlanTaken():
                self.order = (place, event)
            case JobOpened(gauges=gauges, sizes=sizes):
                for gauge in gauges:
                    self.due.setdefault(gauge.id, []).append((place, gauge.calibration_due))
                if sizes is not None:
                    self.sizes = carried(self.sizes, sizes, self.work)
            case JobJudged() | Inspected() | DeviationSigned() | HeadReleased():
                pass
            case SpringTested() | ChamberFilled():
                pass  # the sign-off has taken in what it needs
            case _:
                assert_never(event)

    def _fill(self, place: int, event: Event, number: int) -> None:
        self.history.put(Entry(place, event, number))
        self.filled[number] = place
        self.skipped.pop(number, None)
        if isinstance(event, ReadingAssigned):
            parked = self.history[event.parked]
            self.history.put(replace(parked, step=number))
            if number != self.cursor:
                return  # what is asked for stays so; a value from the tray does not change it
        # Not only where the cursor stands: it is moved by hand without an event, and a session
        # that is fed the record again must find its way all the same.
        self._advance(number)

    def _apply_strike(self, struck: int, reason: str) -> None:
        entry = self.history[struck]
        if entry.stale:
            self._before = None
        self.history.put(replace(entry, struck=reason))
        if isinstance(entry.event, ReadingAssigned):
            # The value itself was not struck out, only its place: it is back in the tray.
            parked = self.history[entry.event.parked]
            self.history.put(replace(parked, step=None))
        if entry.step is not None and self.filled.get(entry.step) == struck:
            del self.filled[entry.step]
            self.cursor = entry.step
            self.again = reason

    def _apply_work(self, place: int, event: WorkDone) -> None:
        self.work.append((place, event))
        self._before = None
        places, numbers = undone_by(
            event, place, self.history, self.plan, self.filled, self.skipped
        )
        for old in places:
            self.history.put(replace(self.history[old], stale=event.operation))
        for number in numbers:
            self.reopened[number] = place
            self.filled.pop(number, None)
            self.skipped.pop(number, None)
        if numbers:
            # With several jobs told one after the other, all that they touched is one walk.
            again = [number for number in self.reopened if self.is_open(number)]
            self.cursor = walk(self.plan, again)[0]
            self.again = self._why_again(self.cursor)

    def _number(self, position: Position) -> int:
        for number, step in enumerate(self.plan):
            if step.position == position:
                return number
        raise SessionError(f"the plan has no step for {position.words}")

    def _advance(self, number: int) -> None:
        self.cylinder = cylinder_of(self.plan[number]) or self.cylinder
        self.cursor = self._next(number)
        self.again = self._why_again(self.cursor)

    def _next(self, number: int) -> int:
        """Give the open step that comes after a step; the plan's length where none is open.

        The first time the head is walked from front to rear, with the next open step after
        `number`, else the first open one. What is only measured again is walked the least way.
        """
        steps = range(len(self.plan))
        order = [*steps[number + 1 :], *steps[: number + 1]]
        order = [item for item in order if self.is_open(item)]
        if order and all(item in self.reopened for item in order):
            order = walk(self.plan, order, number, self.cylinder)
        return order[0] if order else len(self.plan)

    def _why_again(self, number: int) -> str:
        if number in self.filled:
            return "there is a reading already; a new one replaces it"
        gone = self.history.last_gone(number)
        return (gone.struck or f"stale: {gone.stale}") if gone else ""

    # ---- what there is --------------------------------------------------------------------------

    def before_work(self) -> dict[Position, Displayed]:
        """Tell what each place gave before the work, as far as a new size compares with it.

        Every value is held against it, so it is kept until more work is done, or a reading that is
        stale is struck out. Change nothing in it.
        """
        if self._before is None:
            self._before = sizes_before(self.history, self.earlier, self.work)
        return self._before

    def due_at(self, gauge: str, place: int) -> str:
        """Say to which date a gauge was calibrated, as known at a record place; empty: unknown.

        A gauge that was calibrated later was not in calibration before.
        """
        told = [due for at, due in self.due.get(gauge, []) if at <= place]
        return told[-1] if told else self.gauges[gauge].calibration_due

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
        return self.history.tray()
