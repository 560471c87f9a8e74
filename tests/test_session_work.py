"""After work on the head, what it touched is asked for again, and counts no longer."""

from __future__ import annotations

import pytest
from session_bench import GAUGES, PLAN, SHEET, Bench, state

from gaugelink.deeds import Assign, DoWork, Retake, Skip, StrikeOut, ValueArrived
from gaugelink.errors import SessionError
from gaugelink.events import ReadingParked, ReadingTaken, WorkDone
from gaugelink.plan import plan_for
from gaugelink.quantity import parse_length
from gaugelink.reading import Stamp
from gaugelink.session import Session
from gaugelink.sheetfile import load
from gaugelink.work import WORK

TAKEN = ["M1"] * 4 + ["B1"] * 2


@pytest.fixture
def bench() -> Bench:
    """Steps 0 to 3 stems (1I, 1I, 2I, 2I), 4 and 5 bores, 6 and 7 sweeps of 2I, 8 stand-down."""
    bench = Bench()
    bench.values(TAKEN)
    bench.sweep()
    bench.sweep()
    bench.value("D1")
    assert bench.session.finished
    return bench


def test_a_guide_that_was_honed_is_measured_again_with_all_that_hangs_on_it(bench: Bench) -> None:
    filled = dict(bench.session.filled)
    bench.do(DoWork("guide honed", ("2I",), parse_length("0.02 mm"), by="B. T."))
    session = bench.session
    assert not session.finished
    assert sorted(session.filled) == [0, 1, 2, 3, 4, 8]
    assert (session.cursor, session.again) == (5, "stale: guide honed")
    assert {place for place, entry in session.history.items() if entry.stale} == {
        filled[5], filled[6], filled[7]
    }  # fmt: skip
    assert session.history[filled[5]].stale == "guide honed"
    assert isinstance(session.history[filled[5]].event, ReadingTaken), "it stays readable"
    assert filled[5] not in {item.place for item in session.readings()}
    assert session.sweeps() == []


def test_a_reading_taken_after_the_work_is_fresh_and_counts(bench: Bench) -> None:
    bench.do(DoWork("guide honed", ("2I",)))
    place = bench.value("B1")
    assert bench.session.filled[5] == place
    assert not bench.session.history[place].stale
    assert bench.session.cursor == 6
    bench.sweep()
    bench.sweep()
    assert bench.session.finished
    kinds = [type(event).__name__ for _, event in bench.record]
    assert "ReadingStruckOut" not in kinds, "nothing was wrong with what is stale"


def test_work_stands_in_the_record_whole(bench: Bench) -> None:
    (place,) = bench.do(DoWork("valve replaced", ("2I", "1I", "2I"), by="  B.  T. "))
    event = bench.record[place][1]
    assert isinstance(event, WorkDone)
    assert (event.valves, event.by, event.depth) == (("1I", "2I"), "B. T.", None)
    assert event.stale == WORK["valve replaced"].stale
    assert (event.gauge, event.since) == (None, None)
    (place,) = bench.do(DoWork("seat cut", ("1I",), parse_length("0.15 mm")))
    event = bench.record[place][1]
    assert isinstance(event, WorkDone)
    assert (event.by, str(event.depth)) == ("A. N.", "0.15 mm")
    assert bench.session.work == [item for item in bench.record if isinstance(item[1], WorkDone)]


def test_a_record_with_work_gives_the_same_session_again(bench: Bench) -> None:
    for work in (DoWork("valve moved", ("1I", "2I")), DoWork("head washed")):
        bench.do(work)
        bench.value("M1" if bench.session.cursor < 4 else "B1")
    again = bench.replayed()
    assert state(again) == state(bench.session)
    assert (again.cursor, again.again) == (bench.session.cursor, bench.session.again)
    assert (again.work, again.reopened) == (bench.session.work, bench.session.reopened)


def test_work_that_touches_nothing_measured_moves_nothing(bench: Bench) -> None:
    bench.do(DoWork("spring changed", ("1I",)))
    assert bench.session.finished
    assert bench.session.step is None


def test_a_place_that_was_skipped_is_asked_for_again_after_work_on_it() -> None:
    bench = Bench()
    bench.values(["M1"] * 4)
    bench.do(Skip("the guide is cracked"))
    bench.do(DoWork("guide replaced", ("1I",)))
    assert bench.session.skipped == {}
    assert (bench.session.cursor, bench.session.again) == (4, "stale: guide replaced")


def test_a_value_measured_before_the_work_is_not_put_in_place_after_it(bench: Bench) -> None:
    parked = bench.value("B1")
    assert isinstance(bench.session.history[parked].event, ReadingParked)
    bench.do(DoWork("guide honed", ("2I",)))
    with pytest.raises(SessionError, match="was measured before this work: guide honed"):
        bench.do(Assign(parked, 5, "it is the bore of 2I"))
    bench.do(Assign(parked, 4, "it is the bore of 1I, which nobody honed"))
    assert bench.session.filled[4] != parked


def test_a_stale_value_out_of_the_tray_can_be_struck_out_and_is_back_in_the_tray() -> None:
    bench = Bench()
    parked = bench.value("B1")
    (assigned,) = bench.do(Assign(parked, 5, "I remember"))
    bench.do(DoWork("guide honed", ("2I",)))
    with pytest.raises(SessionError, match=f"counts through record place {assigned}"):
        bench.do(StrikeOut(parked, "wrong"))
    bench.do(StrikeOut(assigned, "it was 1I"))
    assert [entry.place for entry in bench.session.tray()] == [parked]
    assert bench.session.history[assigned].stale == "guide honed"


def test_a_retake_does_not_reach_back_to_what_is_stale(bench: Bench) -> None:
    last = bench.session.filled[8]
    bench.do(DoWork("seat cut", ("1I",)))
    assert bench.session.cursor == 8
    (strike,) = bench.do(Retake("dirt"))
    assert bench.record[strike][1].struck != last  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("work", "words"),
    [
        (DoWork("guide honed"), "concerns single valves; say which"),
        (DoWork("guide honed", ("7E",)), "found the valve '7E', accepted: 1I, 2I"),
        (DoWork("face skimmed", ("1I",)), "concerns no single valve"),
        (DoWork("gauge found out"), "found the gauge '', accepted: M1"),
        (DoWork("gauge found out", gauge="X9"), "found the gauge 'X9'"),
        (DoWork("seat cut", ("1I",), gauge="M1"), "concerns no gauge"),
        (DoWork("seat cut", ("1I",), parse_length("-0.1 mm")), "a length above 0"),
    ],
)
def test_work_that_makes_no_sense_is_refused(bench: Bench, work: DoWork, words: str) -> None:
    before = list(bench.record)
    with pytest.raises(SessionError, match=words):
        bench.do(work)
    assert bench.record == before


def test_without_zero_checks_all_readings_of_a_gauge_found_out_are_stale(bench: Bench) -> None:
    bench.do(DoWork("gauge found out", gauge="M1"))
    assert sorted(bench.session.filled) == [4, 5, 6, 7, 8]
    assert bench.session.cursor == 0


# ---- with a sheet: zero checks, its own table, and the round before ------------------------------

WITH_ZERO = load(
    SHEET.replace("[[limit]]", '[[zero]]\ngauge = "depth gauge"\non = "on the face"\n'
                  'shows = "0.00 mm"\n[[limit]]', 1)
    .replace('valves = ["1I"]\nservice_max = "1.5 mm"', 'service_max = "1.5 mm"')
    + '[[stale]]\noperation = "guide honed"\nremoved = ["stand-down"]\nreason = "p. 3"\n',
    "s.toml",
)  # fmt: skip
STEPS = plan_for(WITH_ZERO)
"""Steps 8 and 11 zero checks of the depth gauge, 9 and 10 stand-downs."""


class Checked(Bench):
    """A bench with a sheet; ten seconds pass between events."""

    def __init__(self) -> None:
        super().__init__(Session(STEPS, GAUGES, "as received", sheet=WITH_ZERO))

    def stamp(self) -> Stamp:
        """Stamp the next event, ten seconds after the last."""
        stamp = super().stamp()
        return Stamp(stamp.utc, stamp.mono_ns * 10**10, stamp.operator, stamp.bench)

    def send(self, gauge: str, text: str) -> int:
        """Let a gauge send a value; give the place of the event that holds it."""
        return self.do(ValueArrived(gauge, parse_length(f"{text} mm"), b""))[-1]


@pytest.fixture
def checked() -> Checked:
    bench = Checked()
    assert [step.position.characteristic for step in STEPS[8:]] == [
        "zero check", "stand-down", "stand-down", "zero check"
    ]  # fmt: skip
    bench.session.go(8)
    for text in ("0.00", "1.20", "1.22", "0.00"):
        bench.send("D1", text)
    assert sorted(bench.session.filled) == [8, 9, 10, 11]
    return bench


def test_the_checks_of_a_series_are_asked_for_again_with_it(checked: Checked) -> None:
    checked.do(DoWork("seat cut", ("2I",)))
    assert sorted(checked.session.filled) == [9]
    assert (checked.session.cursor, checked.session.again) == (8, "stale: seat cut")


def test_a_sheet_says_what_work_leaves_alone(checked: Checked) -> None:
    checked.do(DoWork("guide honed", ("2I",)))
    assert sorted(checked.session.filled) == [8, 9, 10, 11]
    event = checked.session.work[0][1]
    assert "stand-down" not in event.stale
    assert "guide bore" in event.stale


def test_a_gauge_found_out_takes_back_what_it_measured_since_its_last_good_check(
    checked: Checked,
) -> None:
    filled = dict(checked.session.filled)
    checked.do(DoWork("gauge found out", gauge="D1"))
    event = checked.session.work[0][1]
    assert event.since == filled[8], "not the check after: it may have been set before telling"
    stale = {place for place, entry in checked.session.history.items() if entry.stale}
    assert stale == set(filled.values())
    assert checked.session.cursor == 8


def test_after_lapping_a_new_reading_is_held_against_the_stale_one(checked: Checked) -> None:
    checked.do(DoWork("seat lapped", ("1I",)))
    checked.send("D1", "0.00")
    assert checked.session.step is not None
    assert checked.session.step.position.valve == "1I"
    place = checked.send("D1", "1.08")  # lapping lets a valve sink, it never raises one
    event = checked.session.history[place].event
    assert isinstance(event, ReadingParked)
    assert "1.20 mm in the round before" in event.why


def test_after_cutting_a_new_reading_is_not_held_against_the_stale_one(checked: Checked) -> None:
    checked.do(DoWork("insert fitted", ("1I",)))
    checked.send("D1", "0.00")
    place = checked.send("D1", "1.08")
    assert isinstance(checked.session.history[place].event, ReadingTaken)


def test_a_question_from_before_the_work_is_asked_no_longer(checked: Checked) -> None:
    checked.session.go(9)
    parked = checked.send("D1", "120")
    assert checked.session.question is not None
    assert checked.session.question.place == parked
    checked.do(DoWork("seat cut", ("1I",)))
    checked.send("D1", "0.00")
    assert checked.session.cursor == 9
    assert checked.session.question is None


def test_the_plan_of_these_tests_has_a_series_with_checks() -> None:
    assert len(STEPS) == len(PLAN) + 3
