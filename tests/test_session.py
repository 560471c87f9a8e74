"""A session asks for one place after another, keeps every value that comes, and guesses none."""

from __future__ import annotations

import pytest
from session_bench import GAUGES, PLAN, SHOWN, TRACE, Bench, state

from gaugelink.deeds import Assign, ConfirmPosition, Mode, Retake, Skip, StrikeOut
from gaugelink.errors import SessionError
from gaugelink.events import (
    GaugeFound,
    GaugeLost,
    PositionConfirmed,
    ReadingAssigned,
    ReadingParked,
    ReadingRefused,
    ReadingStruckOut,
    ReadingTaken,
    SweepParked,
    SweepTaken,
)

TAKEN = ["M1"] * 4 + ["B1"] * 2
"""The gauges that fill the steps before the first sweep."""


@pytest.fixture
def bench() -> Bench:
    return Bench()


def test_the_bench_of_these_tests_has_this_plan() -> None:
    assert [(step.gauge_kind, step.sweep) for step in PLAN] == [
        *[("micrometer", False)] * 4,
        *[("bore gauge", False)] * 2,
        *[("indicator", True)] * 2,
        ("depth gauge", False),
    ]


def test_a_value_from_the_right_gauge_goes_to_the_place_that_is_asked_for(bench: Bench) -> None:
    place = bench.value("M1")
    event = bench.session.history[place].event
    assert isinstance(event, ReadingTaken)
    assert (event.tag.position, event.tag.stage, event.tag.gauge) == (
        PLAN[0].position,
        "as received",
        "M1",
    )
    assert (event.shown, event.raw, event.trigger) == (SHOWN, b"value 0", "gauge")
    assert bench.session.filled == {0: place}
    assert bench.session.cursor == 1


def test_a_whole_head_is_measured_step_by_step(bench: Bench) -> None:
    bench.values(TAKEN)
    assert bench.session.step == PLAN[6]
    bench.sweep()
    bench.sweep()
    assert bench.session.cursor == 8
    bench.value("D1")
    assert bench.session.finished
    assert bench.session.cursor == len(PLAN)
    assert len(bench.session.readings()) == 7
    assert len(bench.session.sweeps()) == 2
    assert bench.session.tray() == []


def test_a_value_from_another_kind_of_gauge_waits_in_the_tray(bench: Bench) -> None:
    place = bench.value("B1")
    event = bench.session.history[place].event
    assert isinstance(event, ReadingParked)
    assert event.why == (
        "the value came from the bore gauge, asked for: Intake valve of cylinder 1: "
        "stem diameter, top, with the micrometer"
    )
    assert (bench.session.filled, bench.session.cursor) == ({}, 0)
    assert [entry.place for entry in bench.session.tray()] == [place]


def test_a_value_from_a_gauge_that_nobody_knows_waits_in_the_tray(bench: Bench) -> None:
    place = bench.value("X9")
    event = bench.session.history[place].event
    assert isinstance(event, ReadingParked)
    assert event.why.startswith("the value came from the unknown gauge 'X9', asked for: ")
    with pytest.raises(SessionError, match="unknown gauge 'X9', asked for there: micrometer"):
        bench.do(Assign(place, 0, "it was the old micrometer"))


def test_a_single_value_where_a_sweep_is_asked_for_waits_in_the_tray(bench: Bench) -> None:
    bench.values(TAKEN)
    event = bench.session.history[bench.value("I1")].event
    assert isinstance(event, ReadingParked)
    assert event.why == "a rock sweep was asked for, not a single value"


def test_a_value_that_comes_when_nothing_is_asked_for_waits_in_the_tray(bench: Bench) -> None:
    for _ in PLAN:
        bench.do(Skip("not today"))
    assert bench.session.finished
    event = bench.session.history[bench.value("M1")].event
    assert isinstance(event, ReadingParked)
    assert event.why == "nothing was asked for"


@pytest.mark.parametrize(
    ("mode", "words"),
    [
        ("hold", "holding an old value"),
        ("max", "showing the largest value"),
        ("min", "showing the smallest value"),
        ("tir", "showing a difference"),
    ],
)
@pytest.mark.parametrize("gauge", ["M1", "B1", "X9"])
def test_a_value_that_is_not_the_actual_one_is_refused_and_kept(
    bench: Bench, mode: Mode, words: str, gauge: str
) -> None:
    event = bench.session.history[bench.value(gauge, mode)].event
    assert isinstance(event, ReadingRefused)
    assert event.why == f"the gauge was {words}; set it to show the actual value and measure again"
    assert (event.raw, bench.session.filled, bench.session.tray()) == (b"value 0", {}, [])


# ---- striking out, and again ------------------------------------------------------------------


def test_a_retake_strikes_the_last_reading_out_and_asks_again(bench: Bench) -> None:
    first, second = bench.values(["M1", "M1"])
    (strike,) = bench.do(Retake("  dirty \n stem "))
    event = bench.record[strike][1]
    assert isinstance(event, ReadingStruckOut)
    assert (event.struck, event.reason) == (second, "dirty stem")
    assert bench.session.filled == {0: first}
    assert (bench.session.cursor, bench.session.again) == (1, "dirty stem")
    assert bench.session.history[second].struck == "dirty stem"
    bench.value("M1")
    assert (bench.session.cursor, bench.session.again) == (2, "")


def test_a_retake_twice_strikes_out_the_one_before(bench: Bench) -> None:
    bench.values(["M1", "M1"])
    bench.do(Retake("dirt"))
    bench.do(Retake("dirt"))
    assert (bench.session.filled, bench.session.cursor) == ({}, 0)
    with pytest.raises(SessionError, match="nothing has been taken yet that could be retaken"):
        bench.do(Retake("dirt"))


def test_after_an_early_reading_was_struck_out_the_bench_goes_on_where_it_was(bench: Bench) -> None:
    places = bench.values(["M1", "M1", "M1"])
    bench.do(StrikeOut(places[0], "wrong valve in the hand"))
    assert (bench.session.cursor, bench.session.again) == (0, "wrong valve in the hand")
    bench.value("M1")
    assert bench.session.cursor == 3


def test_a_step_back_replaces_the_reading_there_and_keeps_the_old_one_readable(
    bench: Bench,
) -> None:
    old, _ = bench.values(["M1", "M1"])
    bench.session.back()
    bench.session.back()
    assert bench.session.again == "there is a reading already; a new one replaces it"
    new = bench.value("M1")
    assert bench.session.filled[0] == new
    assert bench.session.history[old].struck == "measured again"
    assert [reading.place for reading in bench.session.readings()] == [1, new]
    assert bench.session.cursor == 2
    assert [event.struck for _, event in bench.record if isinstance(event, ReadingStruckOut)] == [
        old
    ]


def test_there_is_no_step_before_the_first_and_none_beyond_the_last(bench: Bench) -> None:
    with pytest.raises(SessionError, match="first position"):
        bench.session.back()
    for number in (-1, len(PLAN)):
        with pytest.raises(SessionError, match=f"found step {number}, accepted: 0 to 8"):
            bench.session.go(number)


@pytest.mark.parametrize("reason", ["", "   ", "\n\t"])
def test_whatever_takes_something_away_needs_a_reason(bench: Bench, reason: str) -> None:
    place = bench.value("M1")
    parked = bench.value("D1")
    for command in (
        Skip(reason),
        Retake(reason),
        StrikeOut(place, reason),
        StrikeOut(parked, reason),
        Assign(parked, 8, reason),
    ):
        with pytest.raises(SessionError, match="a reason is needed; it stays in the record"):
            bench.do(command)
    bench.session.go(0)
    with pytest.raises(SessionError, match="a reason is needed"):
        bench.do(Skip(reason))
    assert len(bench.record) == 2


def test_only_what_was_taken_can_be_struck_out_and_only_once(bench: Bench) -> None:
    place = bench.value("M1")
    bench.do(StrikeOut(place, "dirt"))
    with pytest.raises(SessionError, match="place 0 is struck out already: dirt"):
        bench.do(StrikeOut(place, "more dirt"))
    (skip,) = bench.do(Skip("no stem there"))
    for wrong in (skip, 99, 1):
        with pytest.raises(SessionError, match=f"record place {wrong} is not a reading"):
            bench.do(StrikeOut(wrong, "x"))


def test_a_skipped_place_keeps_its_reason_and_can_still_be_measured(bench: Bench) -> None:
    bench.do(Skip("valve  is stuck"))
    assert (bench.session.skipped, bench.session.cursor) == ({0: "valve is stuck"}, 1)
    bench.session.go(0)
    place = bench.value("M1")
    assert (bench.session.skipped, bench.session.filled) == ({}, {0: place})


def test_skipping_a_measured_place_strikes_its_reading_out(bench: Bench) -> None:
    place = bench.value("M1")
    bench.session.back()
    strike, _ = bench.do(Skip("the stem is bent"))
    event = bench.record[strike][1]
    assert isinstance(event, ReadingStruckOut)
    assert (event.struck, event.reason) == (place, "the stem is bent")
    assert (bench.session.filled, bench.session.skipped) == ({}, {0: "the stem is bent"})


def test_nothing_can_be_skipped_when_nothing_is_asked_for(bench: Bench) -> None:
    for _ in PLAN:
        bench.do(Skip("not today"))
    with pytest.raises(SessionError, match="every position is measured or skipped"):
        bench.do(Skip("again"))


# ---- the tray ---------------------------------------------------------------------------------


def test_a_value_from_the_tray_is_put_in_place_by_a_person_with_a_reason(bench: Bench) -> None:
    parked = bench.value("D1")
    (place,) = bench.do(Assign(parked, 8, "taken while the stem was wiped"))
    event = bench.session.history[place].event
    assert isinstance(event, ReadingAssigned)
    assert (event.parked, event.reason) == (parked, "taken while the stem was wiped")
    assert (bench.session.filled, bench.session.tray()) == ({8: place}, [])
    assert bench.session.cursor == 0
    (reading,) = bench.session.readings()
    assert (reading.raw, reading.place, reading.stamp.mono_ns) == (b"value 0", place, 0)


def test_a_value_is_in_one_place_at_most(bench: Bench) -> None:
    bench.session.go(4)
    parked = bench.value("M1")
    bench.do(Assign(parked, 0, "wrong order"))
    for step in (0, 1):
        with pytest.raises(SessionError, match="has been put into a position already"):
            bench.do(Assign(parked, step, "again"))


def test_a_value_that_counts_cannot_be_struck_out_behind_its_place(bench: Bench) -> None:
    parked = bench.value("D1")
    (place,) = bench.do(Assign(parked, 8, "taken early"))
    with pytest.raises(SessionError, match=f"counts through record place {place}; strike that out"):
        bench.do(StrikeOut(parked, "wrong"))
    bench.do(StrikeOut(place, "it was another valve"))
    assert [entry.place for entry in bench.session.tray()] == [parked]
    assert bench.session.cursor == 8
    bench.do(StrikeOut(parked, "wrong"))
    assert bench.session.tray() == []
    with pytest.raises(SessionError, match=f"record place {parked} is not a value in the tray"):
        bench.do(Assign(parked, 8, "after all"))


def test_a_value_from_the_tray_replaces_the_reading_there(bench: Bench) -> None:
    first = bench.value("M1")
    bench.session.go(4)
    parked = bench.value("M1")
    strike, place = bench.do(Assign(parked, 0, "the first was of another valve"))
    event = bench.record[strike][1]
    assert isinstance(event, ReadingStruckOut)
    assert (event.struck, event.reason) == (first, "replaced from the tray")
    assert bench.session.filled == {0: place}


def test_what_is_asked_for_stays_when_a_value_from_the_tray_goes_elsewhere(bench: Bench) -> None:
    bench.values(["M1", "M1"])
    parked = bench.value("D1")
    bench.session.back()
    bench.do(Assign(parked, 8, "taken early"))
    assert bench.session.cursor == 1


@pytest.mark.parametrize(
    ("step", "words"),
    [
        (-1, "step -1 is not one that takes a single reading"),
        (9, "step 9 is not one that takes a single reading"),
        (6, "step 6 is not one that takes a single reading"),
        (0, "the value came from the depth gauge, asked for there: micrometer"),
    ],
)
def test_a_value_from_the_tray_goes_only_where_its_gauge_measures(
    bench: Bench, step: int, words: str
) -> None:
    parked = bench.value("D1")
    with pytest.raises(SessionError, match=words):
        bench.do(Assign(parked, step, "x"))


def test_only_the_tray_can_be_assigned_from(bench: Bench) -> None:
    taken = bench.value("M1")
    refused = bench.value("M1", "hold")
    for place in (taken, refused, 99):
        with pytest.raises(SessionError, match=f"record place {place} is not a value in the tray"):
            bench.do(Assign(place, 1, "x"))


# ---- sweeps and gauges ------------------------------------------------------------------------


def test_an_unusable_sweep_is_kept_and_leaves_its_step_open(bench: Bench) -> None:
    bench.values(TAKEN)
    bad = bench.sweep(usable=False)
    assert bench.session.is_open(6)
    assert bench.session.cursor == 6
    assert bench.session.again == "the sweep could not be used: too few rocks; too fast"
    assert isinstance(bench.session.history[bad].event, SweepTaken)
    assert bench.session.sweeps() == []
    good = bench.sweep()
    assert (bench.session.filled[6], bench.session.cursor) == (good, 7)
    assert bench.session.history[bad].struck == ""
    bench.session.back()
    bench.sweep(usable=False)
    assert bench.session.filled[6] == good


def test_a_sweep_is_taken_only_where_one_is_asked_for(bench: Bench) -> None:
    places = [bench.sweep()]
    bench.values(TAKEN)
    places += [bench.sweep(gauge) for gauge in ("M1", "X9")]
    for _ in range(3):
        bench.do(Skip("not today"))
    places.append(bench.sweep())
    parked = [bench.session.history[place].event for place in places]
    assert all(isinstance(event, SweepParked) and event.trace == TRACE for event in parked)
    assert [event.why for event in parked] == [
        f"no sweep was asked for, but {PLAN[0].position.words}",
        "the sweep came from the micrometer, asked for: indicator",
        "the sweep came from the unknown gauge 'X9', asked for: indicator",
        "nothing was asked for",
    ]
    assert [entry.place for entry in bench.session.tray()] == places
    assert bench.session.sweeps() == []


def test_a_parked_sweep_is_given_to_no_place_and_can_be_struck_out(bench: Bench) -> None:
    place = bench.sweep()
    with pytest.raises(SessionError, match=f"record place {place} is not a value in the tray"):
        bench.do(Assign(place, 6, "I remember"))
    bench.do(StrikeOut(place, "a try"))
    assert bench.session.tray() == []
    assert bench.session.history[place].struck == "a try"
    assert state(bench.replayed()) == state(bench.session)


def test_a_gauge_is_lost_until_it_is_found(bench: Bench) -> None:
    bench.put(GaugeLost(bench.stamp(), "M1", "COM3", "unplugged"))
    assert bench.session.lost == {"M1"}
    bench.put(GaugeFound(bench.stamp(), "M1", "COM3"))
    bench.put(GaugeFound(bench.stamp(), "B1", "COM4"))
    assert bench.session.lost == set()
    assert bench.session.history == {}


def test_a_session_fed_with_the_record_asks_for_what_the_bench_asked_for(bench: Bench) -> None:
    """Moving by hand is no event: the readings themselves show the way."""
    bench.value("M1")
    bench.session.go(6)
    bench.sweep()
    assert bench.session.cursor == 7
    bench.session.go(6)
    bench.sweep(usable=False)
    again = bench.replayed()
    assert state(again) == state(bench.session)
    assert bench.session.cursor == 6
    assert (again.cursor, again.again) == (bench.session.cursor, bench.session.again)


def test_an_event_of_another_plan_is_refused(bench: Bench) -> None:
    bench.values(["M1"])
    other = Bench()
    other.session.plan = PLAN[1:]
    with pytest.raises(SessionError, match="the plan has no step for Intake valve of cylinder 1"):
        other.session.apply(*bench.record[0])


def test_the_gauges_of_these_tests_are_registered() -> None:
    assert len(GAUGES) == 4


def test_what_a_gauge_sends_that_was_lost_and_is_back_waits_until_its_position_is_confirmed(
    bench: Bench,
) -> None:
    bench.put(GaugeLost(bench.stamp(), "M1", "COM3", "unplugged"))
    bench.put(GaugeFound(bench.stamp(), "M1", "COM7"))
    assert bench.session.unconfirmed == {"M1"}
    asked = bench.session.cursor
    place = bench.value("M1")
    parked = bench.session.history[place].event
    assert isinstance(parked, ReadingParked)
    assert "lost and is back; confirm" in parked.why
    assert bench.session.cursor == asked
    [at] = bench.do(ConfirmPosition())
    confirmed = bench.record[at][1]
    assert confirmed == PositionConfirmed(confirmed.stamp, "M1", PLAN[asked].position)
    assert isinstance(bench.session.history[bench.value("M1")].event, ReadingTaken)
    assert [entry.place for entry in bench.session.tray()] == [place]
    assert state(bench.replayed()) == state(bench.session)


def test_a_gauge_that_was_there_from_the_start_needs_no_confirming(bench: Bench) -> None:
    bench.put(GaugeFound(bench.stamp(), "M1", "COM3"))
    assert bench.session.unconfirmed == set()
    with pytest.raises(SessionError, match="no gauge waits for its position to be confirmed"):
        bench.do(ConfirmPosition())


def test_a_sweep_of_a_gauge_that_was_lost_waits_for_the_position_too(bench: Bench) -> None:
    bench.session.go(6)
    bench.put(GaugeLost(bench.stamp(), "I1", "COM3", "unplugged"))
    bench.put(GaugeFound(bench.stamp(), "I1", "COM3"))
    parked = bench.session.history[bench.sweep()].event
    assert isinstance(parked, SweepParked)
    assert "confirm that it is at the position" in parked.why
    assert 6 not in bench.session.filled
    bench.do(ConfirmPosition())
    bench.sweep()
    assert 6 in bench.session.filled


def test_a_gauge_that_is_lost_again_before_it_was_confirmed_waits_anew(bench: Bench) -> None:
    bench.put(GaugeLost(bench.stamp(), "M1", "COM3", "unplugged"))
    bench.put(GaugeFound(bench.stamp(), "M1", "COM3"))
    bench.put(GaugeLost(bench.stamp(), "M1", "COM3", "unplugged"))
    assert (bench.session.unconfirmed, bench.session.lost) == (set(), {"M1"})
    bench.put(GaugeFound(bench.stamp(), "M1", "COM3"))
    assert bench.session.unconfirmed == {"M1"}
