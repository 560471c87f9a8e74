"""Whatever is measured, worked on, looked at and signed, no head goes out that is not fit.

The small head of `release_kit`, through the stages of a job. What a release needs is told again
here by a reader of the record alone, who knows nothing of how the program keeps it.
"""
# ruff: noqa: D102  the name of a rule or an invariant is its promise

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import plain_scans
import pytest
from hypothesis import settings, strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from release_kit import AFTER, BEFORE, DEPTH, OF, PLAN, ROCK, STEM, TRACE, Head

from gaugelink.deeds import (
    Assign,
    DoWork,
    Inspect,
    Release,
    Retake,
    SignDeviation,
    Skip,
    StrikeOut,
    SweepArrived,
    TakePlan,
)
from gaugelink.errors import SessionError
from gaugelink.events import (
    DeviationSigned,
    HeadReleased,
    Inspected,
    PlannedStep,
    PlanTaken,
    PositionSkipped,
    ReadingAssigned,
    ReadingParked,
    ReadingStruckOut,
    ReadingTaken,
    SweepParked,
    SweepTaken,
    WorkDone,
)
from gaugelink.inspection import CHECKS
from gaugelink.planning.ticking import ticked
from gaugelink.release import signables
from gaugelink.slips import comparable
from gaugelink.work import STAGES

if TYPE_CHECKING:
    from gaugelink.deeds import Command
    from gaugelink.events import Event
    from gaugelink.inspection import Check
    from gaugelink.reading import Reading
    from gaugelink.release import Signable
    from gaugelink.work import Operation

VALVES = ("1I", "2I")
TEXTS = {
    "M1": ["7.951", "7.953", "7.956", "7.850"],
    "D1": ["1.21", "1.27", "1.59", "1.75", "0.00", "0.05"],
    "I1": ["0.123"],
}
"""What gauges send: sound, worn out, on the edge of the limit, and a zero that is off."""
OPERATIONS: dict[Operation, tuple[str, ...]] = {
    "guide honed": VALVES,
    "valve replaced": VALVES,
    "seat cut": VALVES,
    "seat lapped": VALVES,
    "face skimmed": (),
    "head washed": (),
}
MEASURING = ReadingTaken | SweepTaken | ReadingAssigned | PositionSkipped

reasons = st.sampled_from(["dirt", "agreed", " "])
names = st.sampled_from(["C. D.", "C. D.", "C. D.", " "])
operations = st.sampled_from(list(OPERATIONS))
some_valves = st.sampled_from([("1I",), ("2I",), VALVES])


def owners(work: WorkDone | PlannedStep) -> tuple[str, ...]:
    """Name what a line or a work concerns; the head is the empty name."""
    return work.valves or ("",)


def what_counts(record: list[tuple[int, Event]]) -> dict[int, int]:
    """Find for each step the reading that counts, by going through the record."""
    counts: dict[int, int] = {}
    skipped: set[int] = set()
    number_of = {step.position: number for number, step in enumerate(PLAN)}
    for place, event in record:
        match event:
            case (
                ReadingTaken(tag=tag) | ReadingAssigned(tag=tag) | SweepTaken(tag=tag, usable=True)
            ):
                counts[number_of[tag.position]] = place
                skipped.discard(number_of[tag.position])
            case PositionSkipped(position=position):
                counts.pop(number_of[position], None)
                skipped.add(number_of[position])
            case ReadingStruckOut(struck=struck):
                counts = {step: at for step, at in counts.items() if at != struck}
            case WorkDone():
                gone = undone(event, {*counts, *skipped})
                counts = {step: at for step, at in counts.items() if step not in gone}
                skipped -= gone
            case _:
                pass
    return counts


def undone(work: WorkDone, settled: set[int]) -> set[int]:
    """Number the steps that work takes back: what it touches, and the zero checks around that."""
    found = {
        step
        for step in settled
        if PLAN[step].position.characteristic in work.stale
        and PLAN[step].position.valve in (work.valves or VALVES)
    }
    return found | ({BEFORE, AFTER} if found & {DEPTH, DEPTH + 1} else set())


class AnyHead(RuleBasedStateMachine):
    """A head to which anything may happen, until it is released, and after."""

    def __init__(self) -> None:
        super().__init__()
        self.head = Head(stage=STAGES[0])
        self.said: list[Event] = []
        """What the bench has said is on record, in order."""
        self.sent = 0
        self.papers: list[Signable] = []
        self.rounds: list[tuple[Head, dict[str, Any]]] = []

    # ---- carrying out -------------------------------------------------------------------------

    def attempt(self, command: Command) -> bool:
        """Do it, or be told why not; nothing is on record then."""
        before = len(self.head.record)
        stood = state(self.head.session)
        try:
            places = self.head.do(command)
        except SessionError as fault:
            assert str(fault)  # noqa: PT017  the other outcome is as good
            assert len(self.head.record) == before
            assert state(self.head.session) == stood
            return False
        assert places == list(range(before, before + len(places)))
        self.said += [event for _, event in self.head.record[before:]]
        return True

    def measure(self, step: int, text: str = "") -> None:
        before = len(self.head.record)
        self.head.at(step, text)
        self.sent += 1
        self.said += [event for _, event in self.head.record[before:]]

    def places(self, kind: Any) -> list[int]:
        return [place for place, event in self.head.record if isinstance(event, kind)]

    # ---- measuring ----------------------------------------------------------------------------

    @rule(data=st.data(), gauge=st.sampled_from(list(TEXTS)))
    def a_value_comes(self, data: st.DataObject, gauge: str) -> None:
        before = len(self.head.record)
        self.head.value(gauge, data.draw(st.sampled_from(TEXTS[gauge])))
        self.sent += 1
        self.said += [event for _, event in self.head.record[before:]]

    @rule()
    def everything_open_is_measured(self) -> None:
        for step in range(len(PLAN)):
            if self.head.session.is_open(step):
                self.measure(step)

    @rule(data=st.data(), step=st.sampled_from([STEM, STEM + 3, BEFORE, DEPTH, DEPTH + 1, AFTER]))
    def a_place_is_measured_again(self, data: st.DataObject, step: int) -> None:
        gauge = OF[PLAN[step].gauge_kind]
        self.measure(step, data.draw(st.sampled_from(TEXTS[gauge])))

    @rule(usable=st.booleans())
    def a_sweep_ends(self, usable: bool) -> None:
        self.head.session.go(ROCK)
        flags = () if usable else ("too few rocks",)
        self.sent += self.attempt(SweepArrived("I1", TRACE, b"sweep", usable, flags))

    @rule(step=st.integers(0, len(PLAN) - 1), reason=reasons)
    def a_place_is_skipped(self, step: int, reason: str) -> None:
        self.head.session.go(step)
        self.attempt(Skip(reason))

    @rule()
    def the_last_reading_is_retaken(self) -> None:
        self.attempt(Retake("dirt"))

    @precondition(lambda self: self.places(ReadingParked))
    @rule(data=st.data())
    def a_value_is_put_where_it_could_belong(self, data: st.DataObject) -> None:
        place = data.draw(st.sampled_from(self.places(ReadingParked)))
        step = data.draw(st.sampled_from([STEM, BEFORE, DEPTH, AFTER]))
        self.attempt(Assign(place, step, "I remember"))

    @rule(data=st.data(), reason=reasons)
    def anything_on_record_is_struck_out(self, data: st.DataObject, reason: str) -> None:
        place = data.draw(st.integers(0, len(self.head.record)))
        self.attempt(StrikeOut(place, reason))

    @precondition(lambda self: self.places(Inspected | DeviationSigned | HeadReleased))
    @rule(data=st.data())
    def a_signature_is_struck_out(self, data: st.DataObject) -> None:
        places = self.places(Inspected | DeviationSigned | HeadReleased)
        self.attempt(StrikeOut(data.draw(st.sampled_from(places)), "a mistake"))

    # ---- working and planning -----------------------------------------------------------------

    @rule(operation=operations, valves=some_valves)
    def work_is_done(self, operation: Operation, valves: tuple[str, ...]) -> None:
        self.attempt(DoWork(operation, valves if OPERATIONS[operation] else ()))

    @rule(lines=st.lists(st.tuples(operations, some_valves), max_size=4))
    def a_plan_is_taken(self, lines: list[tuple[Operation, tuple[str, ...]]]) -> None:
        steps = tuple(
            PlannedStep(operation, valves if OPERATIONS[operation] else (), operation, "")
            for operation, valves in lines
        )
        assert self.attempt(TakePlan("30.00 EUR", "cheapest", steps)) is bool(steps)

    @precondition(lambda self: self.head.session.order is not None)
    @rule(data=st.data())
    def a_line_of_the_plan_is_done(self, data: st.DataObject) -> None:
        order = self.head.session.order
        assert order is not None
        step = data.draw(st.sampled_from(order[1].steps))
        assert self.attempt(DoWork(step.operation, step.valves))

    # ---- looking and signing ------------------------------------------------------------------

    @rule(check=st.sampled_from(list(CHECKS)), sound=st.booleans(), valves=some_valves)
    def something_is_looked_at(self, check: Check, sound: bool, valves: tuple[str, ...]) -> None:
        words = "" if sound else "pitted"
        concerns = valves if CHECKS[check].of == "valve" else ()
        assert self.attempt(Inspect(check, concerns, sound, words))

    @rule()
    def everything_is_looked_at(self) -> None:
        for check in CHECKS:
            assert self.attempt(Inspect(check))

    @rule()
    def what_can_be_signed_for_is_noted(self) -> None:
        self.papers += signables(self.head.session, self.head.judgement())

    @precondition(lambda self: self.papers)
    @rule(data=st.data(), by=names, reason=reasons)
    def a_paper_is_signed(self, data: st.DataObject, by: str, reason: str) -> None:
        """Perhaps one that was noted long ago: then it is refused, or says nothing any more."""
        paper = data.draw(st.sampled_from(self.papers))
        counts = set(what_counts(self.head.record).values())
        signed = self.attempt(SignDeviation(
            paper.valve, paper.characteristic, paper.method, paper.limit, paper.value,
            paper.places, by, reason,
        ))  # fmt: skip
        assert signed is bool(by.strip() and reason.strip() and set(paper.places) <= counts)

    @rule()
    def everything_that_is_not_within_is_signed_for(self) -> None:
        for paper in signables(self.head.session, self.head.judgement()):
            assert self.attempt(SignDeviation(
                paper.valve, paper.characteristic, paper.method, paper.limit, paper.value,
                paper.places, "C. D.", "agreed",
            ))  # fmt: skip

    @rule(by=names)
    def the_head_is_released_or_it_is_said_what_stands_against_it(self, by: str) -> None:
        session, against = self.head.session, self.head.words()
        free = not against and not session.signoff.released and bool(by.strip())
        assert self.attempt(Release(by, "", self.head.judgement(), session.seen)) is free

    @rule(looked=st.booleans())
    def everything_is_made_good_and_the_head_is_released(self, looked: bool) -> None:
        """So that a run gets somewhere; perhaps nobody has looked since the last work."""
        self.everything_open_is_measured()
        if looked:
            self.everything_is_looked_at()
        self.everything_that_is_not_within_is_signed_for()
        self.the_head_is_released_or_it_is_said_what_stands_against_it("C. D.")

    @rule(step=st.sampled_from([STEM, STEM + 2, DEPTH]), work=st.booleans())
    def a_head_that_is_not_within_is_made_good_but_for_that(self, step: int, work: bool) -> None:
        if work:
            self.attempt(DoWork("seat lapped", VALVES))
        self.measure(step, TEXTS[OF[PLAN[step].gauge_kind]][3])
        self.everything_is_made_good_and_the_head_is_released(looked=True)

    @rule(step=st.sampled_from([BEFORE, AFTER]))
    def a_zero_that_is_off_is_left_in_the_tray(self, step: int) -> None:
        self.measure(step, "0.05")

    @rule(reason=st.sampled_from(["a value", "work"]))
    def whoever_looked_before_something_else_came_cannot_release(self, reason: str) -> None:
        seen, judgement = self.head.session.seen, self.head.judgement()
        if reason == "work":
            self.attempt(DoWork("head washed"))
        else:
            self.measure(STEM, "7.955")
        with pytest.raises(SessionError, match="meanwhile"):
            self.head.do(Release("C. D.", "", judgement, seen))

    # ---- the stages of a job ------------------------------------------------------------------

    @precondition(lambda self: self.head.stage != STAGES[-1])
    @rule(changed=st.sampled_from([(), (("1I", "valve"),), (("", "face"),)]))
    def the_next_round_begins(self, changed: tuple[tuple[str, Any], ...]) -> None:
        """A round is a record of its own, held against the one before."""
        old = self.head
        self.rounds.append((old, state(old.session)))
        earlier: list[Reading] = comparable(old.session.readings(), changed)
        stage = STAGES[STAGES.index(old.stage) + 1]
        self.head = Head(stage=stage, earlier=earlier)
        self.said, self.sent, self.papers = [], 0, []

    # ---- what always holds --------------------------------------------------------------------

    @invariant()
    def nothing_that_was_acknowledged_is_lost(self) -> None:
        assert [event for _, event in self.head.record[1:]] == self.said
        kinds = ReadingTaken | ReadingParked | SweepTaken | SweepParked
        assert len(self.places(kinds)) == self.sent
        session = self.head.session
        for place in self.places(kinds | ReadingAssigned | PositionSkipped):
            assert session.history[place].event == self.head.record[place][1]
        assert [place for place, _ in session.signoff.inspections] == self.places(Inspected)
        assert [place for place, _ in session.signoff.deviations] == self.places(DeviationSigned)
        assert [place for place, _ in session.work] == self.places(WorkDone)

    @invariant()
    def the_record_leads_to_the_same_state(self) -> None:
        assert state(self.head.replayed()) == state(self.head.session)
        for old, stood in self.rounds[-1:]:
            assert state(old.replayed()) == stood

    @invariant()
    def what_counts_is_what_a_reader_of_the_record_would_count(self) -> None:
        assert self.head.session.filled == what_counts(self.head.record)

    @invariant()
    def what_is_kept_at_hand_is_what_going_through_all_would_find(self) -> None:
        plain_scans.hold(self.head.session)

    @invariant()
    def every_reading_belongs_to_the_stage_of_its_round(self) -> None:
        session = self.head.session
        assert {reading.tag.stage for reading in session.readings()} <= {self.head.stage}
        before = STAGES[: STAGES.index(self.head.stage)]
        assert {reading.tag.stage for reading in session.earlier} <= set(before[-1:])

    @invariant()
    def no_release_goes_by_anything_stale_missing_or_condemned(self) -> None:
        """Held against the record as it was when the head was released."""
        places = self.places(HeadReleased)
        if not places:
            return
        record = self.head.record[: places[-1]]
        assert sorted(what_counts(record)) == list(range(len(PLAN)))
        release = self.head.record[places[-1]][1]
        assert isinstance(release, HeadReleased)
        gone = {event.struck for _, event in record if isinstance(event, ReadingStruckOut)}
        assert not gone & set(release.deviations)
        assert len(release.deviations) >= min(1, release.outside + release.undecided)
        for check, look in CHECKS.items():
            for owner in VALVES if look.of == "valve" else ("",):
                seen = [
                    event
                    for place, event in record
                    if (isinstance(event, Inspected) and event.check == check
                        and owner in (event.valves or (owner,)) and place not in gone)
                    or (isinstance(event, WorkDone) and check in (event.voids or ())
                        and (not owner or owner in (event.valves or (owner,))))
                ]  # fmt: skip
                if look.required:
                    assert isinstance(seen[-1], Inspected)
                if seen and not isinstance(seen[-1], Inspected):
                    assert not any(isinstance(event, Inspected) for event in seen)
                assert all(event.sound for event in seen[-1:] if isinstance(event, Inspected))

    @invariant()
    def a_release_stands_as_long_as_nothing_that_it_went_by_has_changed(self) -> None:
        session = self.head.session
        places = self.places(HeadReleased)
        if session.signoff.released:
            later = self.head.record[places[-1] + 1 :]
            assert not [event for _, event in later if isinstance(event, MEASURING | WorkDone)]
            assert not [event for _, event in later
                        if isinstance(event, Inspected) and not event.sound]  # fmt: skip
            # A value that came since, and that nobody put anywhere, changes no reading.
            assert {block.kind for block in self.head.blocks()} <= {"question open"}
        elif places:
            assert session.signoff.taken_back

    @invariant()
    def the_plan_is_ticked_by_work_after_it_and_by_nothing_else(self) -> None:
        plans = self.places(PlanTaken)
        assert (self.head.session.order is not None) is bool(plans)
        if not plans:
            return
        place, order = self.head.record[plans[-1]]
        assert isinstance(order, PlanTaken)
        assert self.head.session.order == (place, order)
        lines = ticked(place, order, self.head.session.work)
        done = [(event.operation, owner)
                for at, event in self.head.record if isinstance(event, WorkDone) and at > place
                for owner in owners(event)]  # fmt: skip
        for line in lines:
            assert set(line.done) <= set(line.owners)
        for pair in {(line.step.operation, owner) for line in lines for owner in line.owners}:
            wanted = [line for line in lines
                      if line.step.operation == pair[0] and pair[1] in line.owners]  # fmt: skip
            ticks = sum(pair[1] in line.done for line in wanted)
            assert ticks == min(len(wanted), done.count(pair))


def state(session: Any) -> dict[str, Any]:
    """What a session knows, but for what is asked for now."""
    return {
        name: getattr(session, name)
        for name in ("skipped", "standing", "signoff", "work", "reopened", "order", "due", "seen")
    } | {"history": dict(session.history), "filled": dict(session.filled)}


TestAnyHead = AnyHead.TestCase
TestAnyHead.settings = settings(max_examples=120, stateful_step_count=30)
