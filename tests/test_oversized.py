"""A guide reamed wider as the work order says is held to the limits of its size."""

from __future__ import annotations

from dataclasses import replace

import pytest
from test_survey import SHEET, readings, value

from gaugelink import content, sheetfile
from gaugelink.commands.plan_file import load_prices
from gaugelink.events import PlannedFigure, PlannedStep, PlanTaken, WorkDone
from gaugelink.judging import judge
from gaugelink.plan import plan_for
from gaugelink.planning.deciding import Register, deciders
from gaugelink.planning.survey import survey
from gaugelink.reading import Gauge, Stamp
from gaugelink.session import Session

SIZED = """
[[limit]]
characteristic = "guide bore"
size = "+0.1"
valves = ["exhaust"]
new_min = "8.100 mm"
new_max = "8.115 mm"
service_max = "8.160 mm"

[[limit]]
characteristic = "stem diameter"
size = "+0.1"
valves = ["exhaust"]
stations = ["top", "bottom"]
judge = "smallest"
new_min = "8.045 mm"
new_max = "8.060 mm"
service_min = "8.020 mm"
"""
TEXT = SHEET + SIZED
SHEET_OF = sheetfile.load(TEXT, "sheet.toml")
AT = Stamp("2026-01-01T00:00:00.000000Z", 0, "A. N.", "1")
REAMED = {("1E", "guide bore"): "+0.1", ("1E", "stem diameter"): "+0.1"}


def order(bore: str = "8.100 mm", to: str = "8.115 mm") -> PlanTaken:
    steps = (
        PlannedStep("guide reamed", ("1E",), "ream guide to +0.1", "",
                    (PlannedFigure("1E", "guide bore", bore, to),)),
        PlannedStep("valve replaced", ("1E",), "new valve, size +0.1", "",
                    (PlannedFigure("1E", "stem diameter", "8.045 mm", "8.060 mm"),)),
    )  # fmt: skip
    return PlanTaken(AT, "60.00 EUR", "the cheapest", steps, "A. N.")


def work(what, *valves: str) -> WorkDone:
    return WorkDone(AT, what, valves, (), "A. N.")


def session(*events: PlanTaken | WorkDone, sheet=SHEET_OF) -> Session:
    gauge = Gauge("M1", "micrometer", "Micrometer", "1", "none", 1_000_000, "")
    found = Session(plan_for(sheet), {"M1": gauge}, "final", sheet=sheet)
    for place, event in enumerate(events):
        found.apply(place, event)
    return found


def test_work_of_the_order_gives_a_place_its_size():
    """The order alone gives nothing: the work has to be told."""
    assert session(order()).sizes == {}
    both = session(order(), work("guide reamed", "1E"), work("valve replaced", "1E"))
    assert both.sizes == REAMED
    assert session(order(), work("guide reamed", "1E")).sizes == {("1E", "guide bore"): "+0.1"}


@pytest.mark.parametrize("events", [
    (work("guide reamed", "1E"),),
    (order("8.100 mm", "8.120 mm"), work("guide reamed", "1E")),
    (order(), work("guide reamed", "1I")),
    (order(), work("guide reamed", "1E"), work("guide replaced", "1E")),
    (order(), work("seat cut", "1E")),
])  # fmt: skip
def test_anything_else_leaves_or_makes_it_standard(events):
    """No order, another size, another valve, a standard guide pressed in later, other work."""
    assert session(*events).sizes == {}


def test_a_later_order_does_not_forget_what_was_done():
    """A new plan is taken after the reaming."""
    assert session(order(), work("guide reamed", "1E"), replace(order(), steps=())).sizes


def test_a_reamed_place_is_held_to_its_own_limits_and_no_other_place_is():
    """By hand: 8.108 is beyond 8.060, the standard limit, and within 8.160; 8.053 beyond 8.020."""
    given = readings(v1E_top="8.055 mm", v1E_bottom="8.053 mm", v1E_bore="8.108 mm")

    def verdicts(sheet) -> dict[tuple[str, str], str]:
        return {(one.valve, one.characteristic): one.verdict
                for one in judge(sheet, given).verdicts if "range" not in one.reason
                and one.characteristic in ("guide bore", "stem diameter")}  # fmt: skip

    before, after = verdicts(SHEET_OF), verdicts(SHEET_OF.sized(REAMED))
    assert before["1E", "guide bore"] == "outside"
    assert after["1E", "guide bore"] == after["1E", "stem diameter"] == "within"
    assert {key: word for key, word in before.items() if key[0] == "1I"} == {
        key: word for key, word in after.items() if key[0] == "1I"}  # fmt: skip
    worn = [*given, value("guide bore", "1E", "8.175 mm", place=99)]
    assert "outside" in [one.verdict for one in judge(SHEET_OF.sized(REAMED), worn).verdicts
                         if one.characteristic == "guide bore"]  # fmt: skip


def test_what_would_decide_is_told_of_an_oversize_too():
    """A bore near the limit of its own size: the sheet is asked by the line of that limit."""
    given = readings(v1E_top="8.055 mm", v1E_bottom="8.053 mm", v1E_bore="8.159 mm")
    judged = judge(SHEET_OF.sized(REAMED), given).verdicts
    found = [one.judged for one in deciders(SHEET_OF, judged, Register([]))]
    assert ("1E", "guide bore") in [(one.valve, one.characteristic) for one in found]


def test_taper_is_still_judged_and_a_size_without_limits_is_standard():
    """A range has no size; a name that the sheet does not know changes nothing."""
    sized = SHEET_OF.sized(REAMED)
    assert [one.judge for one in sized.of("stem diameter", "1E")] == ["range", "smallest"]
    assert SHEET_OF.sized({("1E", "guide bore"): "+0.3"}) is SHEET_OF
    assert SHEET_OF.sized({}) is SHEET_OF
    assert sized.text == SHEET_OF.text


def test_a_plan_made_after_the_work_leaves_the_reamed_place_alone():
    """Without its size it would be scrap."""
    given = readings(v1E_top="8.055 mm", v1E_bottom="8.053 mm", v1E_bore="8.108 mm")
    shop = load_prices(*content.read("sim/prices", "demo-shop"), kinds=SHEET_OF.head.kinds)
    with_size = survey(SHEET_OF, given, judge(SHEET_OF.sized(REAMED), given), shop, sizes=REAMED)
    without = survey(SHEET_OF, given, judge(SHEET_OF, given), shop)
    exhaust, worn = with_size.task.places[1], without.task.places[1]
    assert (exhaust.guide_scrap, exhaust.scrap) == ("", "")
    assert worn.guide_scrap == "guide bore"
    # New parts are of the standard size, whatever one place has.
    assert with_size.task.rules == without.task.rules


@pytest.mark.parametrize(("old", "new", "told"), [
    ('characteristic = "guide bore"\nsize', 'characteristic = "stand-down"\nsize',
     "belongs to guide bore or stem diameter"),
    ('new_min = "8.100 mm"\n', "", "needed with it: new_min and new_max"),
    ('size = "+0.1"', 'size = ""', "size"),
])  # fmt: skip
def test_a_bad_size_is_refused(old: str, new: str, told: str):
    """In one sentence, with its line."""
    found = sheetfile.check(SHEET + SIZED.replace(old, new, 1), "sheet.toml")
    assert told in str(found.errors[0])
    assert "line" in str(found.errors[0])


def test_the_same_size_twice_is_refused():
    """One of the two must go."""
    found = sheetfile.check(TEXT + SIZED, "sheet.toml")
    assert len(found.errors) == 2
    assert "has such a limit already" in str(found.errors[0])
