"""A zero check that is off leaves in doubt what the gauge measured beside it, before and after.

The gauge has u = 0.0085 mm and shows 0.01 mm, so that a check may be off by 0.02 mm (by
docs/slips.md); all values are invented.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from bench_kit import STAND_DOWN, run, running
from cable_kit import nothing_left
from hypothesis import given, settings, strategies as st
from release_kit import AFTER, BEFORE, DEPTH, PLAN, STEM, Head
from report_sample import sample_document
from test_release_command import path
from test_view_release import drawn, rows
from view_kit import take
from view_shapes import STATE, check

from gaugelink.deeds import Assign, DoWork, Retake, StrikeOut
from gaugelink.planning.doubt import doubts
from gaugelink.report.layout import lay_out

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import RunCli

__all__ = ["nothing_left", "path"]

WHY = (
    "stand-down: measured before a zero check (depth gauge, after stand-down) showed 0.05 mm where "
    "0.00 mm is due; measure again, or strike that check out if it was wrong itself"
)


def measured(after: str = "0.05") -> Head:
    """A head whose check after the series was off, and good when it was made once more."""
    head = Head()
    head.look()
    for step in range(AFTER):
        head.at(step)
    head.at(AFTER, after)
    if head.session.is_open(AFTER):
        head.at(AFTER)
    return head


def test_a_good_check_after_a_series_leaves_nothing_in_doubt() -> None:
    head = measured("0.02")
    assert doubts(head.session) == {}
    assert head.words() == []


def test_a_check_that_is_off_leaves_its_series_in_doubt_even_once_the_zero_is_set() -> None:
    """The good check that stands in its place says how the gauge is now, not how it was."""
    head = measured()
    assert AFTER in head.session.filled
    assert head.words() == [f"1I {WHY}", f"2I {WHY}"]
    assert {block.kind for block in head.blocks()} == {"doubtful"}
    assert [block.step for block in head.blocks()] == [DEPTH, DEPTH + 1]
    assert set(doubts(head.session)) == {head.session.filled[n] for n in (DEPTH, DEPTH + 1)}
    assert doubts(head.replayed()) == doubts(head.session)


def test_what_is_measured_again_after_the_zero_was_set_is_doubtful_no_more() -> None:
    head = measured()
    head.at(DEPTH, "1.31")
    head.at(AFTER)
    assert head.words() == [f"2I {WHY}"]
    head.at(DEPTH + 1, "1.32")
    head.at(AFTER)
    assert head.words() == []


def test_the_whole_series_is_asked_for_again_once_the_gauge_is_told_as_found_out() -> None:
    head = measured()
    (gauge,) = {block.gauge for block in head.blocks()}
    head.do(DoWork("gauge found out", gauge=gauge))
    assert head.session.cursor == BEFORE
    assert sorted(set(range(len(PLAN))) - set(head.session.filled)) == list(
        range(BEFORE, AFTER + 1)
    )
    for step in range(BEFORE, AFTER + 1):
        head.at(step)
    assert head.words() == []


def test_a_check_that_was_wrong_itself_is_struck_out_with_a_reason() -> None:
    head = measured()
    (strike,) = {block.strike for block in head.blocks()}
    assert strike is not None
    head.do(StrikeOut(strike, "the plate was dirty, the zero was not touched"))
    assert head.words() == []


def test_a_check_that_a_person_kept_leaves_as_much_in_doubt() -> None:
    head = Head()
    head.look()
    for step in range(AFTER):
        head.at(step)
    place = head.at(AFTER, "0.05")
    (put,) = head.do(Assign(place, AFTER, "it says what it says"))
    assert {block.kind for block in head.blocks()} == {"doubtful", "zero check"}
    assert {block.strike for block in head.blocks() if block.kind == "doubtful"} == {put}
    head.at(AFTER)
    assert head.words() == [f"1I {WHY}", f"2I {WHY}"], "a good one does not take it back"


def test_a_check_that_is_off_before_a_series_leaves_in_doubt_what_comes_after() -> None:
    head = Head()
    head.look()
    for step in range(BEFORE):
        head.at(step)
    place = head.at(BEFORE, "-0.04")
    head.do(Assign(place, BEFORE, "it says what it says"))
    for step in range(DEPTH, AFTER + 1):
        head.at(step)
    words = (
        "1I stand-down: measured after a zero check (depth gauge, before stand-down) showed "
        "-0.04 mm where 0.00 mm is due; measure again, or strike that check out if it was wrong "
        "itself"
    )
    assert [line for line in head.words() if line.startswith("1I")] == [words]
    head.at(BEFORE)
    assert words in head.words(), "what was measured before the good check stays in doubt"


def test_a_check_that_was_off_and_set_before_the_series_harms_nothing() -> None:
    head = Head()
    head.look()
    for step in range(BEFORE):
        head.at(step)
    head.at(BEFORE, "0.05")
    for step in range(BEFORE, AFTER + 1):
        head.at(step)
    assert head.words() == []


def test_other_gauges_and_sweeps_are_not_concerned() -> None:
    head = measured()
    stems = {head.session.filled[step] for step in range(STEM, STEM + 4)}
    assert not stems & set(doubts(head.session))


def test_measuring_the_check_again_by_hand_does_not_hide_that_it_was_off() -> None:
    head = measured()
    head.do(Retake("to see whether it repeats"))
    head.at(AFTER)
    assert {block.kind for block in head.blocks()} == {"doubtful"}


def test_work_that_makes_the_reading_stale_asks_for_it_anyway() -> None:
    head = measured()
    head.do(DoWork("seat cut", ("1I",)))
    kinds = {(block.valve, block.kind) for block in head.blocks() if block.what == "stand-down"}
    assert kinds == {("1I", "stale"), ("2I", "doubtful")}


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from([BEFORE, DEPTH, DEPTH + 1, AFTER]),
            st.sampled_from(["0.00", "0.01", "0.05"]),
        ),
        max_size=8,
    )
)
def test_a_reading_is_doubtful_exactly_where_the_check_next_to_it_is_off(taken) -> None:
    """Against a list that is kept by hand: what was pressed in which order, and how it looked."""
    head, pressed = Head(), []
    for count, (step, text) in enumerate(taken):
        head.day = f"2026-01-{count + 2:02}"
        zero = step in {BEFORE, AFTER}
        place = head.at(step, text if zero else f"1.{10 + count}")
        pressed.append((step, zero and text == "0.05", place))
    wanted = set()
    for at, (step, _, place) in enumerate(pressed):
        if step in {BEFORE, AFTER} or head.session.filled.get(step) != place:
            continue
        checks = [(n, off) for n, (other, off, _) in enumerate(pressed) if other in {BEFORE, AFTER}]
        later = next((off for n, off in checks if n > at), False)
        sooner = next((off for n, off in reversed(checks) if n < at), False)
        if later or sooner:
            wanted.add(place)
    assert set(doubts(head.session)) == wanted


# ---- where it is seen ---------------------------------------------------------------------------


def test_the_row_of_a_page_can_be_measured_again_or_the_check_struck_out() -> None:
    head = measured()
    document = drawn(head)
    assert rows(document) == [f"Doubtful: the zero was off: 1I, 2I {WHY.replace(': ', ' ', 1)}"]
    (row,) = document["groups"][0]["rows"]
    assert (row["step"], row["sign"]) == (DEPTH, None)
    assert PLAN[row["step"]].position.valve == "1I"
    assert head.session.history[row["strike"]].event.shown.text == "0.05"  # type: ignore[union-attr]


def test_the_command_lists_it(run_cli: RunCli, path: Path) -> None:
    status, out, err = run_cli("release", str(measured().write(path)), "--today", "2026-01-02")
    assert (status, err) == (1, "")
    assert f"Doubtful: the zero was off (2)\n  1I, 2I {WHY}\n" in out


def test_the_report_says_how_many_are_doubtful_and_which() -> None:
    document = sample_document()
    words = "measured before a zero check (depth gauge, after stand-down) showed 0.05 mm"
    document["readings"][0]["doubt"] = words
    laid = lay_out(document)
    assert "1 reading is doubtful: a zero check was off" in laid["outcome"]["remarks"]
    row = laid["readings"]["rows"][0]
    assert (row["state"], row["reason"].startswith(words)) == ("doubtful", True)


@pytest.mark.usefixtures("nothing_left")
def test_the_bench_marks_the_readings_at_once(tmp_path: Path) -> None:
    sheet = '\n[[zero]]\ngauge = "depth gauge"\non = "on the head\'s face"\nshows = "0.00 mm"\n'
    from bench_kit import SHEET  # noqa: PLC0415

    async def test() -> None:
        async with running(tmp_path, sheet_text=SHEET + sheet) as rig:
            rig.session.sheet = rig.sheet
            view = rig.view()
            plan = [step.position for step in rig.session.plan]
            first = next(n for n, one in enumerate(plan) if one.characteristic == "zero check")
            await rig.bench.go(first)
            for text in (b" 0.00\r", b" 1.08\r", b" 1.12\r", b" 0.06\r"):
                await take(rig, "D1", text)
            assert first <= STAND_DOWN + 1
            state = view.state()
            check(state, STATE)
            doubted = {one["text"]: one["doubt"] for one in state["readings"] if one["doubt"]}
            assert set(doubted) == {"1.08", "1.12"}
            assert "showed 0.06 mm where 0.00 mm is due" in doubted["1.08"]
            assert "it may be off as much" in rig.audience.warnings()[-1]

    run(test())
