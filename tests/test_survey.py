"""What was measured on a head arrives whole in the task that a plan works with."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from gaugelink import content, sheetfile
from gaugelink.commands.plan_document import document, text
from gaugelink.commands.plan_file import load_prices
from gaugelink.inspection import CHECKS, VOIDS
from gaugelink.judging import Measured, judge
from gaugelink.planning.order import work_order
from gaugelink.planning.plan import Conflict, Plan, plan
from gaugelink.planning.survey import Findings, Survey, survey
from gaugelink.planning.task import Range
from gaugelink.quantity import parse_length
from gaugelink.report.order import order_pdf
from gaugelink.view.advice import advice_document, advice_lines

SHEET = """
[sheet]
name = "Two valves (invented)"
edition = "1"
source = "invented"
invented = true

[head]
cylinders = 1
valves = ["intake", "exhaust"]

[rebuild]
pairing = true
clean_up = "0.05 mm"

[[limit]]
characteristic = "stem diameter"
stations = ["top", "bottom"]
judge = "smallest"
new_min = "7.960 mm"
new_max = "7.975 mm"
service_min = "7.935 mm"

[[limit]]
characteristic = "guide bore"
judge = "largest"
new_min = "8.000 mm"
new_max = "8.015 mm"
service_max = "8.060 mm"

[[limit]]
characteristic = "guide clearance"
method = "direct"
judge = "largest"
service_max = "0.090 mm"

[[limit]]
characteristic = "guide clearance"
method = "rock"
lift = "8 mm"
valve_used = "new"
guide_length = "50 mm"
reach = "28 mm"
directions = ["across"]
service_max = "0.080 mm"

[[limit]]
characteristic = "stand-down"
new_min = "0.90 mm"
new_max = "1.30 mm"
service_max = "1.60 mm"

[[limit]]
characteristic = "spring free length"
judge = "smallest"
service_min = "47.10 mm"

[[limit]]
characteristic = "stem diameter"
stations = ["top", "bottom"]
judge = "range"
service_max = "0.020 mm"

[[limit]]
characteristic = "stand-down"
judge = "range"
service_max = "0.10 mm"

[[limit]]
characteristic = "head thickness"
service_min = "119.90 mm"
"""
U = 2_000_000


def pm(text: str) -> int:
    return parse_length(text).pm


def value(name: str, valve: str, text: str, station: str = "", **more: Any) -> Measured:
    figure, direction = text.removesuffix(" mm"), more.pop("direction", "")
    return Measured(valve, name, station, direction, pm(text), figure, "mm", more.pop("u_pm", U),
                    more.pop("place"), **more)  # fmt: skip


def readings(**other: str | None) -> list[Measured]:
    """Give a sound head, every reading; a changed one by valve, underscore and key, None: none."""
    found = []
    for number, valve in enumerate(("1I", "1E")):
        texts = {
            "top": "7.968 mm", "bottom": "7.966 mm", "bore": "8.006 mm", "rock": "0.045 mm",
            "down": "1.10 mm", "spring": "47.90 mm",
        }  # fmt: skip
        for key, told in other.items():
            if key.startswith(f"v{valve}_"):
                texts[key.partition("_")[2]] = told  # type: ignore[assignment]
        at = 10 * number
        rows = [
            ("stem diameter", "top", {"station": "top"}),
            ("stem diameter", "bottom", {"station": "bottom"}),
            ("guide bore", "bore", {}),
            ("guide clearance", "rock", {"direction": "across", "method": "rock",
                                         "lift_pm": pm("8 mm"), "valve_used": "new"}),
            ("stand-down", "down", {"u_pm": 8_000_000}),
            ("spring free length", "spring", {}),
        ]  # fmt: skip
        for place, (name, key, more) in enumerate(rows, at):
            if texts[key] is not None:
                found.append(value(name, valve, texts[key], place=place, **more))
    found.append(value("head thickness", "", "120.40 mm", place=99))
    return found


def surveyed(findings: Findings | None = None, **other: str | None) -> Survey:
    sheet = sheetfile.load(SHEET, "sheet.toml")
    shop = load_prices(*content.read("sim/prices", "demo-shop"), kinds=sheet.head.kinds)
    measured = readings(**other)
    return survey(sheet, measured, judge(sheet, measured), shop, findings, "trial")


def test_figures_limits_and_new_sizes_come_from_readings_and_sheet():
    task = surveyed(v1E_down="1.45 mm").task
    intake, exhaust = task.places
    assert (intake.name, intake.kind, exhaust.kind) == ("1I", "intake", "exhaust")
    assert intake.stem == (pm("7.966 mm"), pm("7.968 mm"))
    assert intake.bore == (pm("8.006 mm"), pm("8.006 mm"))
    assert exhaust.readings == {"stand-down": pm("1.45 mm")}
    rules = task.rules["exhaust"]
    assert rules.limits["stand-down"] == Range(pm("0.90 mm"), pm("1.60 mm"))
    assert rules.limits["guide clearance"] == Range(None, pm("0.090 mm"))
    assert rules.new_stem == (pm("7.960 mm"), pm("7.975 mm"))
    assert rules.new_bore == (pm("8.000 mm"), pm("8.015 mm"))
    assert rules.u_pm == {"stem diameter": U, "guide bore": U, "stand-down": 8_000_000}
    assert (task.pairing, task.springs_as_set, task.clean_up_pm) == (True, False, pm("0.05 mm"))
    assert (task.thickness_pm, task.flatness_pm) == (pm("120.40 mm"), None)
    assert task.head["head thickness"] == Range(pm("119.90 mm"), None)


def test_a_sound_head_that_is_measured_whole_needs_no_work():
    found = plan(surveyed().task)
    assert isinstance(found, Plan)
    assert not found.unproved
    assert all(not put.way.deeds for put in found.puts)


@pytest.mark.parametrize(
    ("changed", "part", "why"),
    [
        ({"v1E_top": "7.930 mm"}, "scrap", "stem diameter"),
        (
            {"v1E_top": "7.936 mm", "v1E_bottom": "7.937 mm", "v1E_bore": "8.002 mm"},
            "scrap",
            "stem diameter undecided",
        ),
        ({"v1E_top": "7.985 mm", "v1E_bottom": "7.991 mm"}, "scrap", "stem diameter"),
        ({"v1E_bottom": "7.940 mm"}, "scrap", "stem diameter (range)"),
        ({"v1E_bore": "8.070 mm"}, "guide_scrap", "guide bore"),
        ({"v1E_rock": "0.100 mm"}, "guide_scrap", "guide clearance by rock"),
        ({"v1E_spring": "47.00 mm"}, "spring_scrap", "spring free length"),
    ],
)
def test_a_part_whose_limit_is_not_kept_cannot_stay(
    changed: dict[str, str], part: str, why: str
) -> None:
    intake, exhaust = surveyed(**changed).task.places
    assert getattr(exhaust, part) == why
    assert (intake.scrap, intake.guide_scrap, intake.spring_scrap) == ("", "", "")


@pytest.mark.parametrize(
    ("key", "part", "name"),
    [("top", "valve", "stem diameter"), ("bore", "guide", "guide bore"),
     ("rock", "guide", "guide clearance by rock"), ("spring", "spring", "spring free length")],
)  # fmt: skip
def test_what_was_not_measured_is_left_open_and_asked_for(key: str, part: str, name: str):
    task = surveyed(**{f"v1E_{key}": None}).task
    place = task.places[1]
    assert name in place.open[part]
    assert (place.scrap, place.guide_scrap, place.spring_scrap) == ("", "", "")
    found = plan(task)
    assert isinstance(found, Plan)
    assert ("1E", name) in found.unproved
    assert {where for where, _ in found.unproved} == {"1E"}


def test_rock_with_the_own_valve_says_nothing_of_its_own_where_both_sizes_are_known():
    own = SHEET.replace('valve_used = "new"', 'valve_used = "own"')
    sheet = sheetfile.load(own, "sheet.toml")
    shop = load_prices(*content.read("sim/prices", "demo-shop"), kinds=sheet.head.kinds)
    measured = readings(v1E_rock="0.100 mm")
    measured = [value("guide clearance", item.valve, f"{item.text} mm", direction="across",
                      method="rock", lift_pm=item.lift_pm, valve_used="own", place=item.place)
                if item.method == "rock" else item for item in measured]  # fmt: skip
    place = survey(sheet, measured, judge(sheet, measured), shop).task.places[1]
    assert place.guide_scrap == ""
    without = [item for item in measured if item.characteristic != "guide bore"]
    place = survey(sheet, without, judge(sheet, without), shop).task.places[1]
    assert place.guide_scrap == "guide clearance by rock"


def test_what_people_said_counts():
    findings = Findings(
        {
            ("1E", "valve"): "burnt",
            ("1I", "spring"): "end coil broken",
            ("1I", "guide"): "cracked",
            ("1E", "seat"): "pitted",
        },
        {"1I"},
    )
    intake, exhaust = surveyed(findings).task.places
    assert exhaust.scrap == "burnt"
    assert (intake.spring_scrap, intake.guide_scrap) == ("end coil broken", "cracked")
    assert (exhaust.seat_scrap, intake.seat_scrap) == ("pitted", "")
    assert (intake.married, exhaust.married) == (True, False)


def test_a_head_that_was_condemned_by_looking_arrives():
    found = surveyed(Findings({("", "crack test"): "between 1I and 1E", ("", "head face"): ""}))
    assert (found.task.cracked, found.task.face_scrap) == ("between 1I and 1E", "condemned")
    sound = surveyed().task
    assert (sound.cracked, sound.face_scrap) == ("", "")


def test_every_check_of_the_head_as_a_whole_is_known_to_a_plan():
    of_head = [check for check, look in CHECKS.items() if look.of == "head"]
    for check in of_head:
        task = surveyed(Findings({("", check): "bad"})).task
        assert "bad" in (task.cracked, task.face_scrap), check


def test_a_face_that_was_condemned_is_skimmed_and_looked_at_again():
    found = surveyed(Findings({("", "head face"): "scored"}))
    best = plan(found.task)
    assert isinstance(best, Plan)
    assert best.skim is not None
    assert best.skim.pm == pm("0.05 mm")  # at least the clean-up of the sheet, and the machine's
    order = work_order(found.task, best)
    assert any("Head face condemned (scored)" in words for words in order.cautions)
    assert "face skimmed" in [line.operation for line in order.lines]
    assert "head face" in VOIDS["face skimmed"]
    # No skim is offered: then the face is the one thing that cannot be kept.
    shop = replace(found.task.shop, offers={deed: offer for deed, offer in
                   found.task.shop.offers.items() if deed != "skim"})  # fmt: skip
    none = plan(replace(found.task, shop=shop))
    assert isinstance(none, Conflict)
    assert none.limits == (("", "head face fit for use"),)
    assert none.smallest


def test_a_cracked_head_is_planned_for_the_rest_and_not_released_by_it():
    found = surveyed(Findings({("", "crack test"): "between 1I and 1E"}), v1E_bore="8.070 mm")
    best = plan(found.task)
    assert isinstance(best, Plan)
    assert best == plan(surveyed(v1E_bore="8.070 mm").task), "the rest is planned all the same"
    told = document(found.task, best, 0)
    assert told["partial"]
    (words,) = told["barred"]
    assert words.startswith("Crack test condemned (between 1I and 1E): nothing in this plan")
    assert "a repair by the maker's manual, a pressure test, and then the crack test again" in words
    assert next(iter(text(found.task, told))) == words
    order = work_order(found.task, best)
    assert order.standing.endswith("It does not release the head.")
    assert b"%PDF" in order_pdf(order.as_document())
    advice = advice_document(told)
    assert advice["barred"] == [words]
    assert advice["standing"].endswith("it does not release the head")
    assert " ".join(advice_lines(advice, 60)).startswith("Crack test condemned")
    sound = document(found.task, best, 0) | {"barred": []}
    assert "release" not in advice_document(sound)["standing"]


def test_limits_that_no_plan_reckons_with_are_named():
    assert surveyed().left_out == ("stand-down (range)",)


def test_the_reading_that_says_most_about_its_limits_stands_for_several():
    sheet = sheetfile.load(SHEET, "sheet.toml")
    shop = load_prices(*content.read("sim/prices", "demo-shop"), kinds=sheet.head.kinds)
    measured = [*readings(), value("stand-down", "1E", "1.55 mm", place=50)]
    task = survey(sheet, measured, judge(sheet, measured), shop).task
    assert task.places[1].readings["stand-down"] == pm("1.55 mm")


@pytest.mark.parametrize(
    ("given", "what"),
    [('clean_up = "-0.05 mm"', "found '-0.05 mm', accepted: 0 or more"),
     ('clean_up = "thin"', "found 'thin'")],
)  # fmt: skip
def test_a_bad_clean_up_is_refused_with_its_line(given: str, what: str):
    found = sheetfile.check(SHEET.replace('clean_up = "0.05 mm"', given), "sheet.toml")
    assert what in str(found.errors[0])
    assert "line 14" in str(found.errors[0])
    assert "rebuild.clean_up" in str(found.errors[0])


def test_a_spread_of_the_sheet_is_in_the_plan():
    """The book's limit reaches the rules of its kind alone."""
    text = SHEET.replace('clean_up = "0.05 mm"', 'stand_down_spread = { exhaust = "0.10 mm" }')
    text = text.replace("cylinders = 1", "cylinders = 2")
    sheet = sheetfile.load(text, "sheet.toml")
    shop = load_prices(*content.read("sim/prices", "demo-shop"), kinds=sheet.head.kinds)
    rules = survey(sheet, [], judge(sheet, []), shop).task.rules
    assert (rules["intake"].spread_pm, rules["exhaust"].spread_pm) == (None, pm("0.10 mm"))


def test_the_cost_of_a_partial_plan_is_told_as_the_least():
    """Page and report say it as the command line does."""
    sheet = sheetfile.load(SHEET, "sheet.toml")
    shop = load_prices(*content.read("sim/prices", "demo-shop"), kinds=sheet.head.kinds)
    task = survey(sheet, [], judge(sheet, []), shop).task
    told = document(task, plan(task), 0)
    assert told["missing"]
    assert advice_document(told)["cost"] == f"at least {told['cost']:.2f} EUR"
    assert next(iter(text(task, told))).startswith(f"Cost: at least {told['cost']:.2f} EUR")
