"""Whatever happens on a bench, in whatever order: nothing is lost, and the record tells it all."""
# ruff: noqa: D102  the name of a rule or an invariant is its promise

from __future__ import annotations

from typing import TYPE_CHECKING

import plain_scans
from hypothesis import settings, strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from session_bench import GAUGES, KINDS, PLAN, Bench, state

from gaugelink.deeds import Assign, ConfirmPosition, DoWork, Mode, Retake, Skip, StrikeOut
from gaugelink.errors import SessionError
from gaugelink.events import (
    GaugeFound,
    GaugeLost,
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
)
from gaugelink.work import WORK

if TYPE_CHECKING:
    from collections.abc import Callable

    from gaugelink.deeds import Command
    from gaugelink.events import Event
    from gaugelink.work import Operation

reasons = st.sampled_from(["dirt", "wrong valve", "  ", ""])
gauges = st.sampled_from([*KINDS, "X9"])
modes: st.SearchStrategy[Mode] = st.sampled_from(
    ("actual", "actual", "actual", "hold", "max", "min", "tir")
)

NOT_OF_A_READING = ReadingStruckOut | GaugeLost | GaugeFound | PositionConfirmed | WorkDone


def step_of(event: Event) -> int | None:
    """Number the step of the plan that an event is about."""
    if isinstance(event, ReadingTaken | SweepTaken | ReadingAssigned):
        position = event.tag.position
    elif isinstance(event, PositionSkipped):
        position = event.position
    else:
        return None
    return [step.position for step in PLAN].index(position)


def reopened_by(work: WorkDone, counts: dict[int, int], record: list[tuple[int, Event]]
                ) -> set[int]:  # fmt: skip
    """Number the steps that count, and that a reader of the record would measure again."""
    found = set()
    for step, place in counts.items():
        position, event = PLAN[step].position, record[place][1]
        if work.gauge is not None:
            assert not isinstance(event, PositionSkipped)
            assert work.since is None  # no zero is checked on this bench
            hit = getattr(event, "tag").gauge == work.gauge  # noqa: B009
        else:
            named = position.valve in work.valves or not work.valves
            hit = named and position.characteristic in work.stale
        if hit:
            found.add(step)
    return found


class AnyBench(RuleBasedStateMachine):
    """A bench on which anything may happen."""

    def __init__(self) -> None:
        super().__init__()
        self.bench = Bench()
        self.moved_by_hand = False
        """Whether what is asked for was chosen without an event, and no event has told since."""

    def carry_out(self, action: Callable[[], object]) -> None:
        """Do it, or be told why not; either is in order, and no third thing is."""
        before = list(self.bench.record)
        counted = set(self.bench.session.filled.values())
        try:
            action()
        except SessionError as fault:
            assert str(fault)  # noqa: PT017  the other outcome is as good
            assert self.bench.record == before
        for _, event in self.bench.record[len(before) :]:
            if isinstance(event, ReadingTaken | SweepTaken | PositionSkipped) or (
                isinstance(event, ReadingStruckOut) and event.struck in counted
            ):
                self.moved_by_hand = False

    def parked(self) -> list[tuple[int, str]]:
        """Everything that was ever parked, with its gauge."""
        return [
            (place, event.gauge)
            for place, event in self.bench.record
            if isinstance(event, ReadingParked)
        ]

    def attempt(self, command: Command) -> None:
        self.carry_out(lambda: self.bench.do(command))

    @rule(gauge=gauges, mode=modes)
    def a_value_comes(self, gauge: str, mode: Mode) -> None:
        before = len(self.bench.record)
        self.carry_out(lambda: self.bench.value(gauge, mode))
        assert len(self.bench.record) > before, "a value that comes is never turned away"

    @precondition(lambda self: self.bench.session.step is not None)
    @rule()
    def the_right_thing_is_done(self) -> None:
        """So that a run gets somewhere."""
        step = self.bench.session.step
        if step is None:
            return
        self.attempt(ConfirmPosition())
        gauge = next(mark for mark, kind in KINDS.items() if kind == step.gauge_kind)
        before = len(self.bench.record)
        self.carry_out(lambda: self.bench.sweep(gauge) if step.sweep else self.bench.value(gauge))
        assert len(self.bench.record) > before

    @rule(gauge=gauges, usable=st.booleans())
    def a_sweep_ends(self, gauge: str, usable: bool) -> None:
        counted = dict(self.bench.session.filled)
        self.carry_out(lambda: self.bench.sweep(gauge, usable=usable))
        if not usable:
            assert self.bench.session.filled == counted

    @rule(step=st.sampled_from([n for n, step in enumerate(PLAN) if step.sweep]))
    def a_sweep_is_chosen_and_fails(self, step: int) -> None:
        self.another_place_is_chosen(step)
        self.a_sweep_ends("I1", usable=False)

    @rule(reason=reasons)
    def a_place_is_skipped(self, reason: str) -> None:
        self.attempt(Skip(reason))

    @rule(reason=reasons)
    def the_last_reading_is_retaken(self, reason: str) -> None:
        self.attempt(Retake(reason))

    @rule(place=st.integers(-1, 12), reason=reasons)
    def something_is_struck_out(self, place: int, reason: str) -> None:
        self.attempt(StrikeOut(place, reason))

    @rule(place=st.integers(-1, 12), step=st.integers(-1, len(PLAN)), reason=reasons)
    def something_is_assigned(self, place: int, step: int, reason: str) -> None:
        self.attempt(Assign(place, step, reason))

    @precondition(lambda self: self.parked())
    @rule(data=st.data())
    def a_value_that_was_parked_is_put_where_it_could_belong(self, data: st.DataObject) -> None:
        place, gauge = data.draw(st.sampled_from(self.parked()))
        steps = [n for n, step in enumerate(PLAN) if KINDS.get(gauge) == step.gauge_kind]
        self.attempt(Assign(place, data.draw(st.sampled_from(steps or [0])), "I remember"))

    @rule(step=st.sampled_from([n for n, step in enumerate(PLAN) if not step.sweep]))
    def a_value_goes_through_the_tray(self, step: int) -> None:
        gauge = next(mark for mark, kind in KINDS.items() if kind == PLAN[step].gauge_kind)
        self.another_place_is_chosen(8 if step < 8 else 0)
        self.a_value_comes(gauge, "actual")
        self.attempt(Assign(self.bench.record[-1][0], step, "I remember"))

    @precondition(lambda self: self.parked())
    @rule(data=st.data())
    def a_value_that_was_parked_is_struck_out(self, data: st.DataObject) -> None:
        place, _ = data.draw(st.sampled_from(self.parked()))
        self.attempt(StrikeOut(place, "it was nothing"))

    @precondition(lambda self: self.bench.session.filled)
    @rule(data=st.data())
    def a_value_that_counts_is_struck_out(self, data: st.DataObject) -> None:
        places = sorted(self.bench.session.filled.values())
        self.attempt(StrikeOut(data.draw(st.sampled_from(places)), "it was nothing"))

    @rule(
        operation=st.sampled_from(list(WORK)),
        valves=st.sampled_from([(), ("1I",), ("2I",), ("2I", "1I"), ("9E",)]),
        gauge=st.sampled_from(["", "", *KINDS]),
    )
    def work_is_done(self, operation: Operation, valves: tuple[str, ...], gauge: str) -> None:
        self.attempt(DoWork(operation, valves, gauge=gauge))

    @rule(operation=st.sampled_from(["guide honed", "valve replaced", "seat cut"]),
          valve=st.sampled_from(["1I", "2I"]))  # fmt: skip
    def one_valve_is_worked_on(self, operation: Operation, valve: str) -> None:
        self.attempt(DoWork(operation, (valve,)))

    @rule(step=st.integers(0, len(PLAN) - 1))
    def another_place_is_chosen(self, step: int) -> None:
        self.bench.session.go(step)
        self.moved_by_hand = True

    @rule()
    def one_step_back(self) -> None:
        try:
            self.bench.session.back()
        except SessionError:
            assert self.bench.session.cursor == 0
        else:
            self.moved_by_hand = True

    @rule(gauge=st.sampled_from(list(KINDS)), lost=st.booleans())
    def a_gauge_comes_or_goes(self, gauge: str, lost: bool) -> None:
        stamp = self.bench.stamp()
        event = GaugeLost(stamp, gauge, "COM3", "out") if lost else GaugeFound(stamp, gauge, "COM3")
        self.bench.put(event)

    @rule()
    def a_position_is_confirmed(self) -> None:
        waiting = set(self.bench.session.unconfirmed)
        before = len(self.bench.record)
        self.attempt(ConfirmPosition())
        assert {event.gauge for _, event in self.bench.record[before:]} == waiting
        assert not self.bench.session.unconfirmed

    # ---- what always holds --------------------------------------------------------------------

    @invariant()
    def every_value_that_came_is_in_the_record_once(self) -> None:
        kept = [
            event.raw
            for _, event in self.bench.record
            if isinstance(
                event, ReadingTaken | ReadingParked | ReadingRefused | SweepTaken | SweepParked
            )
        ]
        assert kept == self.bench.sent
        entries = self.bench.session.history
        for place, event in self.bench.record:
            if not isinstance(event, NOT_OF_A_READING):
                assert entries[place].event == event

    @invariant()
    def nothing_is_taken_from_a_gauge_that_was_lost_and_not_confirmed(self) -> None:
        lost: set[str] = set()
        back: set[str] = set()
        for _, event in self.bench.record:
            match event:
                case GaugeLost(gauge=gauge):
                    lost.add(gauge)
                    back.discard(gauge)
                case GaugeFound(gauge=gauge) if gauge in lost:
                    lost.discard(gauge)
                    back.add(gauge)
                case PositionConfirmed(gauge=gauge):
                    back.discard(gauge)
                case ReadingTaken(tag=tag) | SweepTaken(tag=tag):
                    assert tag.gauge not in back
        assert back == self.bench.session.unconfirmed

    @invariant()
    def what_counts_is_what_a_reader_of_the_record_would_count(self) -> None:
        counts: dict[int, int] = {}
        skipped: dict[int, str] = {}
        skips: dict[int, int] = {}
        for place, event in self.bench.record:
            number = step_of(event)
            if isinstance(event, ReadingStruckOut):
                counts = {step: at for step, at in counts.items() if at != event.struck}
            elif isinstance(event, PositionSkipped):
                assert number is not None
                assert number not in counts, "skipped without striking out"
                skipped[number] = event.reason
                skips[number] = place
            elif isinstance(event, WorkDone):
                gone = reopened_by(event, counts, self.bench.record)
                counts = {step: at for step, at in counts.items() if step not in gone}
                if event.gauge is None:
                    for step in reopened_by(event, {n: skips[n] for n in skipped},
                                            self.bench.record):  # fmt: skip
                        del skipped[step]
            elif number is not None and not (isinstance(event, SweepTaken) and not event.usable):
                assert number not in counts, "replaced without striking out"
                counts[number] = place
                skipped.pop(number, None)
        assert self.bench.session.filled == counts
        assert self.bench.session.skipped == skipped

    @invariant()
    def what_counts_comes_from_the_right_gauge_and_is_not_struck_out(self) -> None:
        session = self.bench.session
        struck = {e.struck for _, e in self.bench.record if isinstance(e, ReadingStruckOut)}
        for step, place in session.filled.items():
            event = session.history[place].event
            assert isinstance(event, ReadingTaken | ReadingAssigned | SweepTaken)
            assert event.tag.position == PLAN[step].position
            assert GAUGES[event.tag.gauge].kind == PLAN[step].gauge_kind
            assert isinstance(event, SweepTaken) is PLAN[step].sweep
            assert place not in struck
            if isinstance(event, ReadingAssigned):
                assert event.parked not in struck
        assert len(session.readings()) + len(session.sweeps()) == len(session.filled)

    @invariant()
    def every_parked_value_is_in_the_tray_in_one_place_or_struck_out(self) -> None:
        session = self.bench.session
        struck = {e.struck for _, e in self.bench.record if isinstance(e, ReadingStruckOut)}
        counting = [session.history[place].event for place in session.filled.values()]
        # What is stale keeps its place in the history, though it counts no longer.
        counting += [entry.event for entry in session.history.values()
                     if entry.stale and not entry.struck]  # fmt: skip
        placed = [event.parked for event in counting if isinstance(event, ReadingAssigned)]
        parked = {
            at for at, event in self.bench.record if isinstance(event, ReadingParked | SweepParked)
        }
        assert len(placed) == len(set(placed))
        tray = {entry.place for entry in session.tray()}
        assert tray | set(placed) | (parked & struck) == parked
        assert not tray & set(placed)
        assert not tray & struck

    @invariant()
    def nothing_that_counts_was_measured_before_work_that_touches_it(self) -> None:
        session = self.bench.session
        for step, place in session.filled.items():
            event = self.bench.record[place][1]
            measured = event.parked if isinstance(event, ReadingAssigned) else place
            for at, work in self.bench.record:
                if isinstance(work, WorkDone) and at > measured:
                    assert not reopened_by(work, {step: place}, self.bench.record)
            assert not session.history[place].stale

    @invariant()
    def what_is_kept_at_hand_is_what_going_through_all_would_find(self) -> None:
        plain_scans.hold(self.bench.session)

    @invariant()
    def whatever_was_taken_away_has_a_reason(self) -> None:
        for _, event in self.bench.record:
            if isinstance(event, ReadingStruckOut | PositionSkipped | ReadingAssigned):
                assert event.reason.strip() == event.reason != ""

    @invariant()
    def something_is_asked_for_as_long_as_something_is_open(self) -> None:
        session = self.bench.session
        is_open = [number for number in range(len(PLAN)) if session.is_open(number)]
        assert session.finished is (not is_open)
        assert (session.step is None) is (session.cursor == len(PLAN))
        if is_open:
            assert session.step is not None

    @invariant()
    def a_session_fed_with_the_record_stands_where_the_bench_stands(self) -> None:
        again = self.bench.replayed()
        assert state(again) == state(self.bench.session)
        if not self.moved_by_hand:
            assert again.cursor == self.bench.session.cursor
            assert again.again == self.bench.session.again


TestAnyBench = AnyBench.TestCase
TestAnyBench.settings = settings(max_examples=120, stateful_step_count=35)
