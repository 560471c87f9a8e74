"""Beside each line of a work order stands what it should leave behind, and then what was found.

Sizes are invented; what is expected is geometry, reckoned by hand: a seat cut 0.15 mm deep lets the
valve sink by 0.15 mm, lapping by what it takes.
"""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any

from planning_heads import small_head
from release_kit import AFTER, BEFORE, DEPTH, Head, ready
from report_sample import sample_document
from test_advising import adviser, measured
from test_work_order import ordered as printed
from view_shapes import ORDER, check

from gaugelink.deeds import DoWork, Inspect, TakePlan
from gaugelink.events import PlannedFigure, PlannedStep
from gaugelink.planning.compared import compared_in
from gaugelink.planning.order import FACE, work_order
from gaugelink.planning.order_figures import due, figures_of, ordered
from gaugelink.planning.plan import Conflict, plan
from gaugelink.planning.ticking import ticked
from gaugelink.quantity import parse_length
from gaugelink.report.layout import lay_out
from gaugelink.view.order import order_document

if TYPE_CHECKING:
    from pathlib import Path

    from bench_kit import Rig


def one(valve: str, size: str, most: str = "", figure: str = "stand-down") -> PlannedFigure:
    return PlannedFigure(valve, figure, f"{size} mm", f"{most or size} mm")


CUT = PlannedStep("seat cut", ("1I", "2I"), "cut seat 0.150 mm", "0.150 mm",
                  (one("1I", "1.42"), one("2I", "1.43")))  # fmt: skip
LAP = PlannedStep("seat lapped", ("1I",), "lap, about 0.005 mm", "0.005 mm",
                  (one("1I", "1.425"),))  # fmt: skip


def taken(*steps: PlannedStep) -> Head:
    """A head that is measured (stand-downs 1.27 and 1.28 mm), and the order of what to do to it."""
    head = ready()
    head.do(TakePlan("30.00 EUR", "the cheapest", steps or (CUT, LAP)))
    return head


def work(head: Head, operation: Any, depth: str, *valves: str) -> None:
    head.do(DoWork(operation, valves, parse_length(f"{depth} mm") if depth else None))


def told(head: Head, line: int = 0, figure: int = 0) -> dict[str, Any]:
    document = order_document(head.session, compared_in(head.session, {}))
    assert document is not None
    check(document, ORDER)
    found: dict[str, Any] = document["lines"][line]["figures"][figure]
    return found


def test_before_the_work_the_plan_says_what_to_expect() -> None:
    head = taken()
    assert told(head) == {
        "valve": "1I", "figure": "stand-down", "expected": "1.420 mm", "moved": "", "done": False,
        "found": "", "difference": "", "word": "", "words": "",
    }  # fmt: skip
    assert told(head, 1)["expected"] == "1.425 mm"
    again = head.replayed()
    assert order_document(again, compared_in(again, {})) == order_document(
        head.session, compared_in(head.session, {})
    )


def test_the_depth_that_was_told_moves_its_line_and_those_after_it_at_once() -> None:
    head = taken()
    work(head, "seat cut", "0.18", "1I")
    assert [(told(head, *at)["expected"], told(head, *at)["moved"])
            for at in ((0, 0), (0, 1), (1, 0))] == [
        ("1.450 mm", "+0.030 mm"), ("1.430 mm", ""), ("1.455 mm", "+0.030 mm")
    ]  # fmt: skip
    work(head, "seat lapped", "0.002", "1I")
    assert (told(head)["expected"], told(head, 1)["expected"]) == ("1.450 mm", "1.452 mm")


def test_a_depth_that_nobody_told_moves_nothing() -> None:
    head = taken()
    work(head, "seat cut", "", "1I")
    assert (told(head)["expected"], told(head)["done"]) == ("1.420 mm", True)


def test_what_is_measured_then_stands_beside_it() -> None:
    head = taken()
    work(head, "seat cut", "0.15", "1I", "2I")
    assert told(head)["found"] == "", "what was measured before the work is not what came of it"
    head.at(BEFORE)
    head.at(DEPTH, "1.43")
    found = told(head)
    assert (found["found"], found["difference"], found["word"]) == (
        "1.43 mm", "+0.010 mm", "as foretold"
    )  # fmt: skip
    assert told(head, 0, 1)["found"] == ""


def test_a_surprise_is_marked_with_its_sentence() -> None:
    head = taken()
    work(head, "seat cut", "0.15", "1I", "2I")
    head.at(BEFORE)
    head.at(DEPTH, "1.51")
    found = told(head)
    assert (found["found"], found["difference"], found["word"]) == (
        "1.51 mm", "+0.090 mm", "surprise"
    )  # fmt: skip
    assert found["words"] == "seat cut 0.15 mm was told, it moved by 0.24 mm"


def test_what_is_found_belongs_to_the_line_that_changed_it_last() -> None:
    head = taken()
    work(head, "seat cut", "0.15", "1I")
    head.at(BEFORE)
    head.at(DEPTH, "1.43")
    work(head, "seat lapped", "0.005", "1I")
    assert (told(head)["found"], told(head, 1)["found"]) == ("", "")
    head.at(BEFORE)
    head.at(DEPTH, "1.44")
    head.at(AFTER)
    assert (told(head)["found"], told(head, 1)["found"]) == ("", "1.44 mm")


def test_several_readings_are_shown_from_the_least_to_the_most() -> None:
    step = PlannedStep("valve replaced", ("1I",), "new valve", "",
                       (one("1I", "7.955", "7.970", "stem diameter"),))  # fmt: skip
    head = taken(step)
    work(head, "valve replaced", "", "1I")
    assert told(head)["expected"] == "7.955 to 7.970 mm"
    head.at(0, "7.957")
    head.at(1, "7.961")
    assert (told(head)["found"], told(head)["difference"]) == ("7.957 to 7.961 mm", "")


def test_a_skim_moves_every_valve() -> None:
    skim = PlannedStep("face skimmed", (), "skim face 0.100 mm", "0.100 mm",
                       (one("1I", "1.17"), one("2I", "1.18")))  # fmt: skip
    head = taken(skim)
    work(head, "face skimmed", "0.12")
    assert [told(head, 0, at)["expected"] for at in (0, 1)] == ["1.150 mm", "1.160 mm"]
    head.at(BEFORE)
    head.at(DEPTH, "1.15")
    assert (told(head)["found"], told(head)["word"]) == ("1.15 mm", "as foretold")


def test_an_order_of_an_older_record_has_no_figures() -> None:
    head = taken(PlannedStep("seat cut", ("1I",), "cut seat 0.150 mm", "0.150 mm"))
    document = order_document(head.session, compared_in(head.session, {}))
    assert document is not None
    assert document["lines"][0]["figures"] == []


def test_a_depth_in_words_of_another_version_moves_nothing() -> None:
    head = taken(PlannedStep("seat cut", ("1I",), "cut", "a little", (one("1I", "1.42"),)))
    work(head, "seat cut", "0.18", "1I")
    assert told(head)["expected"] == "1.420 mm"


def test_the_line_that_asked_for_work_says_what_it_foretold() -> None:
    head = taken()
    work(head, "seat cut", "0.15", "1I")
    assert head.session.order is not None
    lines = ticked(*head.session.order, head.session.work)
    done = head.session.work[0][1]
    assert ordered(lines, done, "1I", "stand-down") == (1_420_000_000, 1_420_000_000)
    assert ordered(lines, done, "2I", "stand-down") is None, "the same work, on another valve"
    assert ordered(lines, done, "1I", "tip height") is None


def test_the_figures_are_those_of_the_printed_order() -> None:
    _, _, order = printed()
    figures = figures_of(order)
    for line in order.lines:
        wanted = {(f.figure, f.least_pm, f.most_pm) for f in line.expected if f.most_pm is not None}
        assert {(f.figure, parse_length(f.least).pm, parse_length(f.most).pm)
                for f in figures.get((line.deed, line.place), ())} == wanted  # fmt: skip
    assert parse_length(figures["cut seat", "2I"][0].least).pm == 1_305_000_000 - 5_000_000


def test_after_a_skim_the_stand_down_of_every_valve_is_foretold_once() -> None:
    """Of those that no later line moves; for the others the later line says it."""
    skimmed = 0
    for seed in range(40):
        task = small_head(seed)
        found = plan(task)
        if isinstance(found, Conflict) or found.skim is None:
            continue
        order = work_order(task, found)
        at = [line.place for line in order.lines].index(FACE)
        figures = figures_of(order)
        named = [f.valve for line in order.lines[at:]
                 for f in figures.get((line.deed, line.place), ())
                 if f.figure == "stand-down"]  # fmt: skip
        assert sorted(named) == sorted(
            place.name for place in task.places if "stand-down" in place.readings
        )
        skimmed += 1
    assert skimmed > 3


def test_no_line_foretells_anything_for_an_order_without_figures() -> None:
    assert due([]) == []


def test_the_report_prints_what_was_expected_and_found() -> None:
    head = taken()
    work(head, "seat cut", "0.15", "1I", "2I")
    head.at(BEFORE)
    head.at(DEPTH, "1.51")
    laid = lay_out(
        sample_document() | {"order": order_document(head.session, compared_in(head.session, {}))}
    )
    assert laid["order"]["rows"][0]["found"] == [
        "1I stand-down: expected 1.420 mm, found 1.51 mm (+0.090 mm), a surprise"
    ]


def test_page_and_printed_sheet_name_the_same_depth(tmp_path: Path) -> None:
    """A seat that was condemned by looking is cut; its depth is set on a dial of 0.01 mm."""

    async def test(rig: Rig) -> None:
        await rig.bench.do(Inspect("seat", ("1I",), False, "pitted", "A. N."))
        advisor = adviser(rig)
        _, plan = await advisor.ask({"about": "plan"})
        (cut,) = [line for line in plan["lines"] if line["operation"] == "cut seat"]
        _, table = await advisor.paper("work-order.csv") or ("", b"")
        (row,) = [row for row in csv.DictReader(io.StringIO(table.decode("utf-8-sig")))
                  if row["operation"] == "seat cut"]  # fmt: skip
        assert parse_length(cut["depth"]).pm == parse_length(f"{row['depth mm']} mm").pm
        await advisor.take({"do": "take-plan", "key": plan["key"]})
        order = rig.view().state()["order"]
        (line,) = [line for line in order["lines"] if line["operation"] == "seat cut"]
        (figure,) = [one for one in line["figures"] if one["figure"] == "stand-down"]
        depth = parse_length(cut["depth"]).pm
        assert parse_length(figure["expected"]).pm == 1_080_000_000 + depth, "it stood at 1.08 mm"

    measured(tmp_path, test)
