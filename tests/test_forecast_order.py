"""What the work order brings to a size is expected there: an oversize, or a seat insert.

Sizes are invented. A surprise needs 2.58 standard uncertainties; for an insert those of the gauge,
0.0085 mm, and of the machine, 0.02 mm to either side: 2.58 * 0.0143 = 0.037 mm (docs/forecast.md).
"""

from __future__ import annotations

import pytest
from release_kit import BEFORE, DEPTH
from test_forecast_rock import Bench, new_stem, oversize
from test_order_figures import one, taken, told, work

from gaugelink.capture.foretold import expected_at, preview
from gaugelink.deeds import DoWork, TakePlan
from gaugelink.events import PlannedFigure, PlannedStep
from gaugelink.planning.compared import compared_in
from gaugelink.planning.forecast_words import compared_words, expected_words
from gaugelink.reading import Stamp

INSERT = PlannedStep("insert fitted", ("1I",), "new seat insert", "", (one("1I", "1.05"),))
LAP = PlannedStep("seat lapped", ("1I",), "lap, about 0.005 mm", "0.005 mm",
                  (one("1I", "1.055"),))  # fmt: skip


def words(bench: Bench, name: str) -> list[str]:
    return [item.word for item in compared_in(bench.session, bench.travels)
            if item.forecast.position.characteristic == name]  # fmt: skip


@pytest.mark.parametrize("ordered", [True, False])
def test_an_oversize_valve_is_no_surprise_where_it_was_ordered(ordered: bool) -> None:
    bench = Bench()
    if ordered:
        bench.do(TakePlan("30.00 EUR", "the cheapest", (oversize(), new_stem())))
    bench.work("valve replaced")
    bench.go("stem diameter")
    step = bench.session.step
    assert step is not None
    expected = expected_at(bench.session, step.position)
    assert expected is not None
    sizes = "8.055 to 8.070" if ordered else "7.955 to 7.970"
    assert expected_words(expected) == f"expected {sizes} mm after valve replaced"
    bench.keep("8.061")
    assert words(bench, "stem diameter") == ["as foretold" if ordered else "surprise"]


@pytest.mark.parametrize(("size", "word"), [("7.962", "as foretold"), ("7.940", "surprise")])
def test_another_valve_than_the_one_that_was_to_be_moved_is_a_surprise(size, word) -> None:
    bench = Bench()
    stem = PlannedFigure("1I", "stem diameter", "7.960 mm", "7.962 mm")
    moved = PlannedStep("valve moved", ("1I",), "takes the valve of 2I", "", (stem,))
    bench.do(TakePlan("0.50 EUR", "the cheapest", (moved,)))
    bench.work("valve moved")
    bench.go("stem diameter")
    bench.keep(size)
    assert words(bench, "stem diameter") == [word]


def test_a_valve_that_no_order_moved_is_not_foretold() -> None:
    bench = Bench()
    bench.work("valve moved")
    bench.go("stem diameter")
    bench.keep("7.940")
    assert words(bench, "stem diameter") == ["not foretold"]


def test_a_guide_reamed_to_an_ordered_oversize_is_expected_there_and_else_not_foretold() -> None:
    bench = Bench()
    bench.do(TakePlan("30.00 EUR", "the cheapest", (oversize(), new_stem())))
    bench.work("guide reamed")
    bench.go("guide bore")
    bench.keep("8.130")
    assert words(bench, "guide bore") == ["surprise"]
    bench = Bench()
    bench.work("guide reamed")
    bench.go("guide bore")
    bench.keep("8.130")
    assert words(bench, "guide bore") == ["not foretold"]


@pytest.mark.parametrize(("size", "word"), [("1.08", "as foretold"), ("1.10", "surprise")])
def test_an_insert_lets_the_valve_sit_where_the_order_says(size: str, word: str) -> None:
    head = taken(INSERT)
    work(head, "insert fitted", "", "1I")
    head.at(BEFORE)
    head.at(DEPTH, size)
    assert told(head)["word"] == word
    (item,) = compared_in(head.session, {})
    assert compared_words(item) == (
        f"1I stand-down: insert fitted was told, expected 1.05 mm, found {size} mm"
    )


def test_lapping_goes_on_from_where_the_insert_brought_it() -> None:
    head = taken(INSERT, LAP)
    work(head, "insert fitted", "", "1I")
    work(head, "seat lapped", "0.05", "1I")
    assert told(head, 1)["expected"] == "1.100 mm"
    head.at(BEFORE)
    head.at(DEPTH, "1.10")
    (item,) = compared_in(head.session, {})
    assert (item.word, item.difference_pm) == ("as foretold", 0)


def test_an_insert_that_no_line_asked_for_is_not_foretold() -> None:
    head = taken(LAP)
    work(head, "insert fitted", "", "1I")
    head.at(BEFORE)
    head.at(DEPTH, "1.10")
    assert [item.word for item in compared_in(head.session, {})] == ["not foretold"]


def test_before_the_work_is_told_the_dialog_goes_by_the_order_too() -> None:
    bench = Bench()
    bench.do(TakePlan("30.00 EUR", "the cheapest", (oversize(), new_stem())))
    stamp = Stamp("2026-01-02T00:00:09.000000Z", 10**10, "A. N.", "1")
    lines = preview(bench.session, DoWork("guide reamed", ("1I",)), stamp)
    assert "1I guide bore, along: 8.030 mm \u2192 8.100 to 8.115 mm" in lines
    assert "1I guide clearance by rock, along: \u2192 travel 0.276 to 0.310 mm" in lines
