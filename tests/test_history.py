"""What a history keeps at hand is what going through all of it would find."""

from __future__ import annotations

from dataclasses import replace

import plain_scans
from hypothesis import given, strategies as st
from release_kit import AFTER, BEFORE, DEPTH, PLAN, TRACE, Head

from gaugelink.deeds import Assign, DoWork, StrikeOut
from gaugelink.events import ReadingParked, ReadingTaken, SweepParked, SweepTaken
from gaugelink.history import Entry, History
from gaugelink.quantity import parse_length
from gaugelink.reading import Stamp, Tag
from gaugelink.slips import Suspicion, write_note

STAMP = Stamp("2026-01-01T00:00:00.000000Z", 1, "A. N.", "bench 1")
SHOWN = parse_length("7.95 mm")
STEPS = (0, 1)
PLACES = [PLAN[step].position for step in STEPS]
ASKED = [write_note(Suspicion("sign", "-1 mm; see the zero"), place) for place in PLACES]
TWICE = write_note(Suspicion("double send", "one press"), PLACES[0])
EVENTS = [
    ReadingTaken(STAMP, Tag(PLACES[0], "as received", "M1"), SHOWN, b"", "gauge"),
    SweepTaken(STAMP, Tag(PLACES[0], "as received", "I1"), TRACE, b"", True, ()),
    SweepParked(STAMP, "I1", TRACE, b"", (), "broken off"),
    *(ReadingParked(STAMP, "M1", SHOWN, b"", why) for why in (*ASKED, TWICE, "nothing was asked")),
]

events = st.sampled_from(EVENTS)
steps = st.sampled_from([None, *STEPS])
words = st.sampled_from(["", "dirt"])
deeds = st.one_of(
    st.tuples(st.just("new"), events, steps),
    st.tuples(st.just("moved"), st.integers(0, 30), steps),
    st.tuples(st.just("struck"), st.integers(0, 30), words),
    st.tuples(st.just("stale"), st.integers(0, 30), words),
)


@given(st.lists(deeds, max_size=30))
def test_whatever_becomes_of_lines_it_gives_what_going_through_all_gives(done):
    """More than any session does to its lines: they change their step, and come back."""
    history = History()
    for name, what, value in done:
        if name == "new":
            history.put(Entry(len(history), what, value))
        elif what in history:
            field = {"moved": "step", "struck": "struck", "stale": "stale"}[name]
            history.put(replace(history[what], **{field: value}))
        for step in STEPS:
            assert history.last_of(step) == plain_scans.last_of(history, step)
            assert history.last_gone(step) == plain_scans.last_gone(history, step)
            position = PLAN[step].position.words
            assert history.asked(position) == plain_scans.asked(history, position)
        assert history.tray() == plain_scans.tray(history)
        assert history.last_sweep() == plain_scans.last_sweep(history)
    assert list(reversed(history)) == sorted(history, reverse=True)


def asked(head, step):
    """What is asked about the step."""
    head.session.go(step)
    plain_scans.hold(head.session)
    return head.session.question and head.session.question.place


def test_a_question_is_answered_by_measuring_and_not_asked_again_when_that_is_taken_back():
    head = Head()
    doubtful = head.at(BEFORE, "0.05")
    assert asked(head, BEFORE) == doubtful
    assert asked(head, AFTER) is None
    (assigned,) = head.do(Assign(doubtful, BEFORE, "it is right"))
    assert asked(head, BEFORE) is None
    head.do(StrikeOut(assigned, "it was not"))
    assert asked(head, BEFORE) is None, "it was measured once since, and is measured again"
    again = head.at(BEFORE, "0.06")
    assert asked(head, BEFORE) == again
    head.do(StrikeOut(again, "a slip"))
    assert asked(head, BEFORE) is None


def test_a_question_from_before_work_is_not_asked_after_it():
    head = Head()
    head.measure()
    doubtful = head.at(AFTER, "0.05")
    assert asked(head, AFTER) == doubtful
    head.do(DoWork("seat cut", ("1I",)))
    assert asked(head, AFTER) is None


def test_sizes_from_before_the_work_follow_each_work_and_each_reading_struck_out_since():
    head = Head()
    head.measure()
    assert head.session.before_work() == {}
    stand_down = PLAN[DEPTH].position
    head.do(DoWork("seat lapped", ("1I",)))
    assert str(head.session.before_work()[stand_down]) == "1.27 mm"
    head.do(StrikeOut(max(place for place, line in head.session.history.items()
                          if line.stale and line.step == DEPTH), "dirt"))  # fmt: skip
    assert stand_down not in head.session.before_work()
    plain_scans.hold(head.session)
    head.measure()
    head.do(DoWork("seat lapped", ("1I",)))
    assert stand_down in head.session.before_work()
    head.do(DoWork("seat cut", ("1I",)))
    assert stand_down not in head.session.before_work(), "cut, it may be any size"
    plain_scans.hold(head.session)
