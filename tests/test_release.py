"""What stands against a release is listed, all of it, in plain words."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings, strategies as st
from release_kit import (
    AFTER,
    BEFORE,
    DEPTH,
    GAUGES,
    PLAN,
    ROCK,
    STEM,
    TRACE,
    Head,
    ready,
)

from gaugelink.deeds import (
    Assign,
    DoWork,
    Inspect,
    Release,
    Retake,
    Skip,
    StrikeOut,
    SweepArrived,
)
from gaugelink.errors import SessionError
from gaugelink.events import JobOpened
from gaugelink.inspection import CHECKS
from gaugelink.work import WORK


def test_nothing_of_a_new_head_is_passed_over() -> None:
    blocks = Head().blocks()
    assert {(b.valve, b.what) for b in blocks if b.kind == "not measured"} == {
        (step.position.valve, step.position.characteristic + " by rock" * step.sweep)
        for step in PLAN
    } - {("", "zero check")}
    assert [b.words for b in blocks if b.kind == "zero check"] == [
        "zero check of the depth gauge, before stand-down: not measured yet",
        "zero check of the depth gauge, after stand-down: not measured yet",
    ]
    assert sum(b.kind == "not inspected" for b in blocks) == 5 * 2 + 2
    assert blocks[0].words == "1I stem diameter: not measured yet (2 places)"
    assert blocks[0].step == STEM


def test_a_place_that_was_skipped_stands_against_it_with_its_reason() -> None:
    head = ready()
    head.session.go(DEPTH + 1)
    head.do(Skip("plate is dirty"))
    assert head.words() == ["2I stand-down: skipped (plate is dirty); measure it"]
    assert head.blocks()[0].step == DEPTH + 1


def test_what_work_made_stale_names_the_work() -> None:
    head = ready()
    head.do(DoWork("seat cut", ("2I",)))
    words = head.words()
    assert "2I stand-down: stale after seat cut; measure again" in words
    assert "2I seat: looked at before this work: seat cut; look again" in words
    assert "zero check of the depth gauge, before stand-down: stale after seat cut; measure again" \
        in words  # fmt: skip
    assert not [line for line in words if line.startswith("1I")]


def test_a_gauge_that_was_found_out_takes_back_what_it_measured() -> None:
    head = ready()
    head.do(DoWork("gauge found out", gauge="M1"))
    assert head.words() == [
        f"{valve} stem diameter: stale after gauge found out (2 places); measure again"
        for valve in ("1I", "2I")
    ]


def test_a_sweep_that_cannot_be_used_is_told_with_its_faults() -> None:
    head = ready()
    head.session.go(ROCK)
    head.do(Retake("knocked"))  # strikes out the last reading of all: the after-check
    head.do(StrikeOut(head.session.filled[ROCK], "knocked"))
    head.do(SweepArrived("I1", TRACE, b"", False, ("too few rocks",)))
    found = [block for block in head.blocks() if block.kind == "sweep not usable"]
    assert [(block.words, block.step) for block in found] == [
        ("1I guide clearance by rock: the sweep is not usable (too few rocks); rock again", ROCK)
    ]


def test_an_undecided_verdict_is_told_with_its_reason() -> None:
    head = ready()
    head.at(DEPTH, "1.59")
    head.at(AFTER)
    (block,) = head.blocks()
    assert block.kind == "undecided"
    assert block.words.startswith("1I stand-down: undecided, 1.59 mm against service max 1.60 mm (")
    assert block.judged is not None
    head.sign(block.judged)
    assert head.words() == []


def test_an_after_check_that_is_off_stands_against_it() -> None:
    head = ready()
    head.at(AFTER, "0.05")  # asked about, so it lies in the tray
    head.do(Assign(len(head.record) - 1, AFTER, "it says what it says"))
    kinds = {block.kind for block in head.blocks()}
    assert kinds == {"zero check"}
    (words,) = head.words()
    assert words.startswith(
        "zero check of the depth gauge, after stand-down: off, 0.05 mm where 0.00 mm is due"
    )


def test_an_after_check_says_nothing_about_what_was_measured_after_it() -> None:
    head = ready()
    head.at(DEPTH, "1.31")
    assert head.words() == [
        (
            "1I stand-down: measured after the zero check (depth gauge, after stand-down); "
            "check the zero again"
        )
    ]
    assert head.blocks()[0].step == AFTER
    head.at(AFTER)
    assert head.words() == []


def test_a_check_stands_for_its_own_gauge_only() -> None:
    head = Head()
    other = replace(GAUGES["D1"], id="D2", serial="4")
    head.session.gauges["D2"] = other
    head.measure()
    head.look()
    head.session.go(DEPTH)
    head.value("D2", "1.27")
    head.at(AFTER)
    assert head.words() == [
        (
            "1I stand-down: measured with D2, and the zero of D1 was checked after; "
            "measure again with D1"
        )
    ]


def test_the_calibration_has_to_reach_to_the_day_of_the_reading() -> None:
    head = ready()
    head.day = "2026-06-30"
    head.at(STEM, "7.961")
    assert head.words() == [], "the last day is a day of it"
    head.day = "2026-07-01"
    head.at(STEM, "7.962")
    assert head.words() == [
        (
            "1I stem diameter: measured on 2026-07-01, and the calibration of M1 ended on "
            "2026-06-30; measure again with a gauge in calibration"
        )
    ]


def test_a_gauge_that_was_calibrated_later_was_not_in_calibration_before() -> None:
    head = ready()
    head.day = "2026-07-01"
    head.at(STEM, "7.962")
    gauge = replace(GAUGES["M1"], calibration_due="2027-06-30")
    opened = head.record[0][1]
    assert isinstance(opened, JobOpened)
    head.put(replace(opened, stamp=head.stamp(), gauges=(gauge,)))
    head.session.gauges["M1"] = gauge
    assert [block.kind for block in head.blocks()] == ["calibration"]
    head.at(STEM, "7.963")
    assert head.words() == []


def test_a_gauge_without_a_calibration_date_measures_nothing_that_is_released() -> None:
    head = ready()
    head.session.due["M1"] = [(0, "")]
    assert head.words()[0] == (
        "1I stem diameter: no calibration date of M1 is known (2 places); "
        "measure again with a gauge in calibration"
    )


def test_it_is_told_beforehand_that_a_gauge_cannot_measure_what_is_left() -> None:
    head = Head()
    head.day = "2026-07-01"
    early = [block.words for block in head.blocks() if block.kind == "calibration"]
    assert early == [
        f"{kind}: calibration ended on 2026-06-30; what is left cannot be measured with it"
        for kind in ("micrometer", "indicator", "depth gauge")
    ]


def test_a_value_that_came_after_the_reading_and_was_left_is_a_question() -> None:
    head = ready()
    head.session.go(STEM)
    place = head.value("M1", "79.50")  # looks like a shifted decimal sign
    assert head.words() == [
        "1I stem diameter: 79.50 mm came after it and was left in the tray; measure again"
    ]
    assert head.blocks()[0].step == STEM
    head.do(StrikeOut(place, "the display was read wrongly"))
    assert head.words() == []


def test_a_value_that_was_answered_by_measuring_again_is_none() -> None:
    head = ready()
    head.session.go(STEM)
    head.value("M1", "79.50")
    head.value("M1", "7.951")
    assert len(head.session.tray()) == 1
    assert head.words() == []


def test_the_blocks_come_in_one_order_worst_first() -> None:
    head = ready()
    head.at(DEPTH, "1.75")
    head.at(AFTER)
    head.do(Inspect("crack test", sound=False, words="crack between 1I and the water way"))
    head.do(DoWork("spring changed", ("2I",)))
    head.session.go(STEM)
    head.do(Skip("worn out"))
    assert [block.kind for block in head.blocks()] == [
        "condemned", "outside", "skipped", "not inspected", "not inspected"
    ]  # fmt: skip


# ---- whatever is wrong ---------------------------------------------------------------------------

steps = st.integers(0, len(PLAN) - 1)
valves = st.sampled_from([("1I",), ("2I",), ("1I", "2I")])
checks = st.sampled_from(list(CHECKS))


def skip(head: Head, step: int) -> None:
    head.session.go(step)
    head.do(Skip("no"))


def work(head: Head, operation, which) -> None:
    concerns = WORK[operation].concerns
    gauge = "D1" if concerns == "gauge" else ""
    head.do(DoWork(operation, which if concerns == "valves" else (), gauge=gauge))


def condemn(head: Head, check, which) -> None:
    head.do(Inspect(check, which if CHECKS[check].of == "valve" else (), False, "bad"))


def strike(head: Head, step: int) -> None:
    if step in head.session.filled:
        head.do(StrikeOut(head.session.filled[step], "bad"))


def run_out(head: Head, mark: str) -> None:
    head.session.due[mark] = [(0, "2026-01-01")]


faults = st.lists(
    st.one_of(
        st.tuples(st.just(skip), st.tuples(steps)),
        st.tuples(st.just(work), st.tuples(st.sampled_from(list(WORK)), valves)),
        st.tuples(st.just(condemn), st.tuples(checks, valves)),
        st.tuples(st.just(strike), st.tuples(steps)),
        st.tuples(st.just(run_out), st.tuples(st.sampled_from(list(GAUGES)))),
    ),
    max_size=6,
)


def subjects(head: Head) -> set[tuple[str, str]]:
    """What stands in the way, whatever the matter with it is."""
    return {(block.valve, block.what) for block in head.blocks()}


@settings(max_examples=120, deadline=None)
@given(faults)
def test_another_fault_never_frees_what_was_blocked(found) -> None:
    """It may be blocked for another reason then: what was condemned and replaced is looked at."""
    head = ready()
    blocked: set[tuple[str, str]] = set()
    for fault, what in found:
        fault(head, *what)
        now = subjects(head)
        assert blocked <= now
        blocked = now


@settings(max_examples=120, deadline=None)
@given(faults, st.booleans())
def test_a_head_is_released_exactly_when_the_list_is_empty(found, mended: bool) -> None:
    head = ready()
    for fault, what in found:
        fault(head, *what)
    if mended:
        head.session.due.clear()
        for step in range(len(PLAN)):
            if step not in head.session.filled:
                head.at(step)
        head.at(AFTER)
        for check in CHECKS:
            head.do(Inspect(check))
    blocks = head.blocks()
    assert not (mended and blocks)
    deed = Release("C. D.", "", head.judgement(), head.session.seen)
    if blocks:
        with pytest.raises(SessionError, match="cannot be released"):
            head.do(deed)
        assert head.session.signoff.release is None
    else:
        head.do(deed)
        assert head.session.signoff.released


def test_the_zero_before_is_as_good_a_check() -> None:
    head = ready()
    strike(head, BEFORE)
    assert head.words() == ["zero check of the depth gauge, before stand-down: not measured yet"]
