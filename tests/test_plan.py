"""The measuring plan asks for all that the limits need, once, in an order that saves steps."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings, strategies as st

from gaugelink.errors import InputError
from gaugelink.head import CHARACTERISTICS, Position
from gaugelink.judging import Judgement, Measured, judge
from gaugelink.plan import Step, plan_for
from gaugelink.quantity import parse_length
from gaugelink.sheetfile import load

if TYPE_CHECKING:
    from gaugelink.limits import Sheet

TITLE = """\
[sheet]
name = "Pump engine"
edition = "1"
source = "invented"
[head]
cylinders = 3
valves = ["intake", "exhaust"]
face = { length = "300 mm", width = "100 mm", rows = 3, columns = 4 }
"""
STEM = """\
[[limit]]
characteristic = "stem diameter"
stations = ["top", "middle", "bottom"]
directions = ["along", "across"]
judge = "smallest"
service_min = "7.935 mm"
"""
WEAR = """\
[[limit]]
characteristic = "stem diameter"
stations = ["top", "middle", "bottom"]
directions = ["along", "across"]
judge = "range"
service_max = "0.02 mm"
"""
STAND_DOWN = """\
[[limit]]
characteristic = "stand-down"
service_min = "0.5 mm"
service_max = "1.5 mm"
"""
ROCK = """\
[[limit]]
characteristic = "guide clearance"
method = "rock"
lift = "8 mm"
valve_used = "new"
guide_length = "50 mm"
reach = "25 mm"
judge = "largest"
service_max = "0.10 mm"
"""
DIRECT = """\
[[limit]]
characteristic = "guide clearance"
method = "direct"
stations = ["top", "bottom"]
directions = ["along", "across"]
new_min = "0.02 mm"
service_max = "0.12 mm"
"""
FLAT = """\
[[limit]]
characteristic = "head-face flatness"
service_max = "0.05 mm"
"""
THICK = """\
[[limit]]
characteristic = "head thickness"
stations = ["front", "back"]
judge = "smallest"
service_min = "99 mm"
"""
EVERYTHING = (STAND_DOWN, FLAT, ROCK, THICK, WEAR, DIRECT, STEM)
"""In an order that nobody would measure in."""


def sheet_of(*limits: str) -> Sheet:
    return load(TITLE + "".join(limits), "s.toml")


def test_one_gauge_stays_in_the_hand_and_the_head_is_walked_from_front_to_back() -> None:
    plan = plan_for(sheet_of(*EVERYTHING))
    order = [step.position.characteristic for step in plan]
    assert list(dict.fromkeys(order)) == [
        "stem diameter",
        "guide bore",
        "guide clearance",
        "stand-down",
        "head thickness",
        "face height",
    ]
    assert order == sorted(order, key=list(CHARACTERISTICS).index)
    for name in dict.fromkeys(order):
        valves = [step.position.valve for step in plan if step.position.characteristic == name]
        assert list(dict.fromkeys(valves)) in (["1I", "1E", "2I", "2E", "3I", "3E"], [""])
        assert len(dict.fromkeys(valves)) == len(list(itertools.groupby(valves)))


def test_the_order_of_the_limits_does_not_change_the_walk() -> None:
    """Books often list intake and exhaust in tables of their own."""
    limits = [STAND_DOWN + f'valves = ["{kind}"]\n' for kind in ("exhaust", "intake")]
    plan = plan_for(sheet_of(*limits))
    assert [step.position.valve for step in plan] == ["1I", "1E", "2I", "2E", "3I", "3E"]


def test_at_a_valve_the_stations_come_from_top_to_bottom_along_before_across() -> None:
    plan = plan_for(sheet_of(STEM))
    assert [(s.position.valve, s.position.station, s.position.direction) for s in plan[:7]] == [
        ("1I", "top", "along"),
        ("1I", "top", "across"),
        ("1I", "middle", "along"),
        ("1I", "middle", "across"),
        ("1I", "bottom", "along"),
        ("1I", "bottom", "across"),
        ("1E", "top", "along"),
    ]


def test_a_place_that_several_limits_need_is_asked_for_once() -> None:
    plan = plan_for(sheet_of(STEM, WEAR, DIRECT))
    assert len({step.position for step in plan}) == len(plan)
    assert len(plan) == 6 * 6 + 6 * 4  # every stem at 6 places, every bore at 4


def test_rock_is_a_sweep_in_both_directions_and_nothing_else_is() -> None:
    sweeps = [step for step in plan_for(sheet_of(*EVERYTHING)) if step.sweep]
    assert sweeps[:2] == [
        Step(Position("1I", "guide clearance", "", way, "rock", "8 mm", "new"), "indicator")
        for way in ("along", "across")
    ]
    assert len(sweeps) == 12


def test_direct_clearance_is_measured_as_stems_and_bores() -> None:
    plan = plan_for(sheet_of(DIRECT))
    assert {(step.position.characteristic, step.gauge_kind) for step in plan} == {
        ("stem diameter", "micrometer"),
        ("guide bore", "bore gauge"),
    }
    assert len(plan) == 6 * 2 * 4


def test_flatness_is_measured_at_every_point_of_the_grid() -> None:
    plan = plan_for(sheet_of(FLAT))
    assert [step.position.station for step in plan] == [
        f"{row}{column}" for row in "ABC" for column in (1, 2, 3, 4)
    ]
    assert {(step.position.valve, step.gauge_kind) for step in plan} == {("", "indicator")}


def test_rock_without_the_guides_length_cannot_become_clearance() -> None:
    bare = ROCK.replace('guide_length = "50 mm"\nreach = "25 mm"\n', "")
    with pytest.raises(InputError) as fault:
        plan_for(sheet_of(STEM, bare))
    assert (fault.value.file, fault.value.line, fault.value.field) == ("s.toml", 15, "guide_length")
    assert 'say figure = "travel" if the book limits the travel itself' in fault.value.what
    assert plan_for(sheet_of(STEM, bare + 'figure = "travel"\n'))


def measured(sheet: Sheet, plan: list[Step]) -> list[Measured]:
    """Something good, or at least plausible, for every step."""
    good = {
        "stem diameter": "7.960 mm",
        "guide bore": "8.000 mm",
        "guide clearance": "0.050 mm",
        "stand-down": "1.00 mm",
        "head thickness": "100.00 mm",
        "face height": "0.000 mm",
    }
    found = []
    for place, step in enumerate(plan):
        position = step.position
        shown = parse_length(good[position.characteristic])
        lift = parse_length(position.lift).pm if position.lift else None
        found.append(
            Measured(
                position.valve, position.characteristic, position.station, position.direction,
                shown.pm, shown.text, shown.unit, None, place, position.method, lift,
                position.valve_used,
            )
        )  # fmt: skip
    assert sheet.limits
    return found


@settings(max_examples=40)
@given(st.lists(st.sampled_from(EVERYTHING), min_size=1, unique=True))
def test_whoever_carries_out_the_plan_leaves_nothing_undecided(limits: list[str]) -> None:
    """Plan and judging agree about what a limit needs, and nothing is measured for nothing."""
    sheet = sheet_of(*limits)
    found: Judgement = judge(sheet, measured(sheet, plan_for(sheet)))
    assert {item.verdict for item in found.verdicts} == {"within"}
    assert (found.missing, found.unused) == ([], [])


@settings(max_examples=40)
@given(st.lists(st.sampled_from(EVERYTHING), min_size=1, unique=True), st.data())
def test_whoever_leaves_out_a_step_is_told(limits: list[str], data: st.DataObject) -> None:
    sheet = sheet_of(*limits)
    values = measured(sheet, plan_for(sheet))
    del values[data.draw(st.integers(0, len(values) - 1))]
    found = judge(sheet, values)
    told = bool(found.missing) or found.counts()["undecided"] > 0
    assert told


def test_steps_of_a_plan_take_gauges_that_are_known() -> None:
    for step in plan_for(sheet_of(*EVERYTHING)):
        assert step.gauge_kind == CHARACTERISTICS[step.position.characteristic].gauge
