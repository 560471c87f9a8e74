"""The report says what to do with the head, or how far its work order is done."""

from __future__ import annotations

from typing import Any

from report_sample import sample_document
from test_report_pdf import squeezed, text_of

from gaugelink.report.layout import lay_out
from gaugelink.report.pdf import make_pdf

PLAN: dict[str, Any] = {
    "cost": "138.50 EUR",
    "standing": "the cheapest at these prices",
    "conflict": [],
    "lines": [],
    "valves": [{"valve": "3E", "words": "ream guide to +0.1; new valve"},
               {"valve": "face", "words": "skim face 0.060 mm"}],
    "untouched": ["1I", "1E"],
    "parts": ["1 valve +0.1 exhaust", "6 stem seal intake"],
    "remeasure": [],
    "missing": ["5I: spring free length"],
    "alternatives": [{"cost": "146.50 EUR", "more": "+8.00", "differs": ["4E: grind valve face"]}],
    "cautions": ["Hot heads burn."],
    "left_out": ["stand-down (range)"],
    "together": ["compression ratio of cylinder 2 17.47 (min 17.2)"],
}  # fmt: skip
ORDER: dict[str, Any] = {
    "place": 240,
    "cost": "138.50 EUR",
    "standing": "the cheapest at these prices",
    "by": "C. D.",
    "utc": "2026-11-25T12:51:37.123456Z",
    "lines": [
        {"operation": "seat lapped", "words": "lap, about 0.005 mm", "depth": "0.005 mm",
         "owners": [{"name": "2I", "done": True}, {"name": "3E", "done": False}],
         "finished": False, "told": "2I: 0.004 mm B. T."},
        {"operation": "face skimmed", "words": "skim face 0.060 mm", "depth": "0.060 mm",
         "owners": [], "finished": True, "told": "0.060 mm B. T."},
    ],
    "done": 2,
    "of": 3,
}  # fmt: skip


def printed(**more: Any) -> str:
    return text_of(make_pdf(sample_document() | more, {}))


def test_the_plan_stands_with_its_cost_its_parts_and_what_is_missing():
    found = printed(advice=PLAN)
    for words in (
        "What to do", "138.50 EUR", "the cheapest at these prices",
        "3E ream guide to +0.1; new valve", "face skim face 0.060 mm", "Nothing to do: 1I, 1E",
        "6 stem seal intake", "5I: spring free length", "Or 146.50 EUR (+8.00). 4E: grind valve",
        "In common, after the work. compression ratio of cylinder 2 17.47 (min 17.2)",
        "Not in the plan: stand-down (range)", "Mind. Hot heads burn.",
    ):  # fmt: skip
        assert squeezed(words) in found, words


def test_where_nothing_works_the_limits_in_the_way_are_named():
    found = printed(advice=PLAN | {"cost": None, "conflict": ["2I: stand-down max"]})
    assert squeezed("No work on offer keeps these limits together: 2I: stand-down max.") in found
    assert squeezed("Nothing to do") not in found


def test_a_work_order_takes_the_place_of_the_plan_and_shows_how_far_it_is():
    found = printed(advice=PLAN, order=ORDER)
    assert squeezed("taken by C. D. at 2026-11-25 12:51:37") in found
    assert squeezed("2I 3E lap, about 0.005 mm 2I: 0.004 mm B. T.") in found
    assert squeezed("face skim face 0.060 mm") in found
    assert squeezed("What to do 138.50") not in found
    rows = lay_out({"order": ORDER})["order"]["rows"]
    assert [[owner["done"] for owner in row["owners"]] for row in rows] == [[True, False], [True]]


def test_without_prices_neither_is_there():
    found = printed(advice=None, order=None)
    assert squeezed("What to do") not in found
    assert squeezed("Work order") not in found


def test_a_plan_of_the_wrong_shape_still_makes_a_report():
    odd = {"cost": ["x"], "valves": [None, {"valve": 3, "words": "#image()"}], "parts": "seals",
           "alternatives": [{"differs": None}], "cautions": {"a": 1}}  # fmt: skip
    assert squeezed("#image()") in printed(advice=odd)
    assert printed(order={"lines": [{"owners": 7}], "utc": 5})
