"""The work order of a plan."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from itertools import groupby, pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings, strategies as st
from planning_heads import small_head

from gaugelink.commands.plan_file import load_task
from gaugelink.head import CHARACTERISTICS
from gaugelink.planning.held import fitted
from gaugelink.planning.order import SECTION_OF, WorkOrder, work_order
from gaugelink.planning.plan import Plan, plan
from gaugelink.planning.setting import DIALS
from gaugelink.planning.task import DEEDS, DONE, SPRING_LOAD, Offer, Shop, Task
from gaugelink.work import WORK

PAGE = Path(__file__).parents[1] / "docs" / "planning.md"
JOB = re.findall(r"```toml\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)[0]

BARE = JOB[: JOB.index("[[prices.oversize]]")]
"""Without a guide reamed wider."""

TRADE = ["guides", "valves", "seats", "face", "lapping", "springs"]
"""Guides before valves and seats, the face before lapping, springs last: common practice, no
source."""


def ordered(text: str = JOB) -> tuple[Task, Plan, WorkOrder]:
    task = load_task(text, "job.toml")
    found = plan(task)
    assert isinstance(found, Plan)
    return task, found, work_order(task, found)


def test_every_line_of_the_example_is_as_reckoned_by_hand():
    """Sizes by hand from the job of docs/planning.md.

    Valve 2I: face 0.04 and seat 0.08 until clean, 0.005 lapped: 1.18 + 0.125 = 1.305 stand-down;
    41.1 + 0.125 - 0.381 = 40.844 installed; seat 1.6 + 1.5 x 0.08 = 1.72; margin 1.25 - 0.04.
    """
    _, _, order = ordered()
    assert [(line.operation, line.valves, line.depth) for line in order.lines] == [
        ("guide replaced", ("2I",), ""),
        ("valve refaced", ("2I",), "0.04 mm"),
        ("seat cut", ("2I",), "0.08 mm"),
        ("seat lapped", ("2I",), ""),
        ("shim changed", ("2I",), ""),
    ]
    after = {
        line.number: {one.figure: one.most_pm for one in line.expected} for line in order.lines
    }
    assert after[1] == {"guide bore": 8_015_000_000, "guide clearance": 64_000_000}
    assert after[2]["margin"] == 1_210_000_000
    assert after[2]["stand-down"] == 1_220_000_000
    assert after[3]["seat width"] == 1_720_000_000
    assert after[4]["stand-down"] == 1_305_000_000
    assert after[5] == {"installed spring height": 40_844_000_000}
    assert order.lines[3].about_pm == 5_000_000
    assert order.untouched == ("1I",)
    assert order.cost == "49.10 EUR"


def test_parts_are_counted():
    """By hand: one guide, two seals, one shim."""
    _, _, order = ordered()
    assert [(one.part, one.kind, one.quantity, one.places, one.cents_each) for one in order.parts] \
        == [("guide", "intake", 1, ("2I",), 950), ("stem seal", "intake", 2, ("1I", "2I"), 150),
            ("shim 0.381 mm", "", 1, ("2I",), 60)]  # fmt: skip
    assert [(one.place, one.pieces_pm) for one in order.shims] == [("2I", (381_000_000,))]


def test_every_line_says_why_it_is_there():
    """What 2I broke: bore and clearance, the runouts, and a height that the cuts would take."""
    _, _, order = ordered()
    assert [(line.deed, line.why) for line in order.lines] == [
        ("replace guide", "guide bore max, guide clearance max"),
        ("reface valve", "valve face runout max"),
        ("cut seat", "seat runout max"),
        ("lap", ""),
        # 41.1 is within 41.2, but 41.225 is not.
        ("shim", "installed spring height max"),
    ]


@pytest.mark.parametrize(
    ("changes", "deed", "why"),
    [
        ([('# scrap = "burnt"', 'scrap = "burnt"')],
         "replace valve", "valve face runout max, valve burnt, the old one is scrap"),
        ([('# guide_scrap = "loose"', 'guide_scrap = "loose"')], "replace guide",
         "guide bore max, guide clearance max, guide loose"),
        ([('seat_runout = "0.07 mm"', 'seat_runout = "0.01 mm"'),
          ('seat_clean_up = "0.08 mm"', 'seat_clean_up = "0 mm"')], "cut seat",
         "its guide has a new axis"),
        ([('flatness = "0.060 mm"', 'flatness = "0.120 mm"')], "skim", "head-face flatness max"),
        ([('# face_scrap = "scored"', 'face_scrap = "scored"')], "skim", "face scored"),
        ([('spring_load = "316 N"', 'spring_load = "200 N"')], "replace spring", "spring load min"),
    ],
)  # fmt: skip
def test_a_part_is_replaced_with_a_reason(changes: list[tuple[str, str]], deed: str, why: str):
    text = BARE
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    _, _, order = ordered(text)
    assert why in [line.why for line in order.lines if line.deed == deed]


def test_valves_that_change_places_say_where_the_others_go():
    """2I's valve is ground where it goes to; its clearance there is the new guide's work."""
    _, _, order = ordered(BARE.replace('margin = "1.32 mm"',
                                       'margin = "1.32 mm"\nguide_scrap = "loose"'))  # fmt: skip
    assert {(line.deed, line.place): line.why for line in order.lines if "valve" in line.deed} == {
        ("move valve", "1I"): "its own goes to 2I",
        ("move valve", "2I"): "its own goes to 1I",
        ("reface valve", "1I"): "valve face runout max",
    }


def test_one_spring_that_is_short_is_the_reason_of_a_set():
    text = JOB.replace("springs_as_set = false", "springs_as_set = true")
    text = text.replace('spring_free_length = "47.6 mm"', 'spring_free_length = "46.0 mm"')
    _, _, order = ordered(text)
    assert {line.place: line.why for line in order.lines if line.deed == "replace spring"} == {
        "1I": "springs go as a set", "2I": "spring free length min"}  # fmt: skip


def test_what_is_measured_again_comes_in_the_order_of_the_walk():
    """Gauge by gauge, to the rear and back; the bores of new guides before all others."""
    text = BARE.replace("pairing = true", "pairing = false")
    text = text.replace('margin = "1.32 mm"', 'margin = "1.32 mm"\nguide_scrap = "loose"')
    _, _, order = ordered(text)
    told = [(one.characteristic, one.place) for one in order.remeasure]
    assert {what for what, _ in told[:2]} == {"guide bore"}
    series = [[place for _, place in some] for _, some in groupby(told, key=lambda one: one[0])]
    assert max(map(len, series)) == 2
    # Each begins where the one before it ended, so that the head is walked once for each.
    assert all(one[-1] == two[0] for one, two in pairwise(series) if len(one) == len(two) == 2)
    assert [one.before_seats for one in order.remeasure[:3]] == [True, True, False]
    names = [name for name, _ in told]
    assert names == sorted(names, key=list(CHARACTERISTICS).index)


def test_only_what_the_job_measures_is_measured_again():
    _, _, every = ordered()
    text = JOB.replace("[job]\n", '[job]\nmeasured = ["stand-down", "guide bore"]\n', 1)
    _, _, some = ordered(text)
    assert {one.characteristic for one in every.remeasure} > {"stand-down", "guide bore", "margin"}
    assert [(one.place, one.characteristic) for one in some.remeasure] == [
        ("2I", "guide bore"), ("2I", "stand-down")]  # fmt: skip
    assert some.lines == every.lines


def test_an_oversize_is_not_held_against_the_limits_of_the_standard_size():
    """A bore reamed to 8.100 is beyond a wear limit of 8.040, which is not for it: that is said."""
    text = JOB.replace("replace_guide = { minutes = 16 }\n", "")
    _, found, order = ordered(text.replace('"7.951 mm", "7.955 mm"', '"7.931 mm", "7.955 mm"'))
    assert found.puts[1].way.oversize is not None
    told = {(line.deed, one.figure): one.words for line in order.lines for one in line.expected}
    assert told["ream guide", "guide bore"] == "guide bore 8.100 to 8.115 mm"
    assert told["replace valve", "stem diameter"] == "stem diameter 8.055 to 8.070 mm"
    # By hand: 8.100 - 8.070 and 8.115 - 8.055; the clearance is the same for every size.
    assert told["replace valve", "guide clearance"] == (
        "guide clearance 0.030 to 0.060 mm (limit 0.025 to 0.09 mm)")  # fmt: skip
    again = {one.characteristic: one.expected.words for one in order.remeasure}
    assert again["guide bore"] == "guide bore 8.100 to 8.115 mm"
    assert "signed deviation" in order.lines[0].caution


def test_springs_go_as_a_set_where_the_sheet_says_so():
    """One spring that has lost its length asks for both."""
    text = JOB.replace("springs_as_set = false", "springs_as_set = true")
    text = text.replace('spring_free_length = "47.6 mm"', 'spring_free_length = "46.0 mm"')
    _, _, order = ordered(text)
    [springs] = [one for one in order.parts if one.part == "spring"]
    assert (springs.quantity, springs.note) == (2, "as a set")
    assert sum(line.deed == "replace spring" for line in order.lines) == 2


def test_a_figure_that_later_work_changes_is_not_held_against_its_limit_yet():
    """The installed height after lapping is beyond its limit until the shim is in."""
    _, _, order = ordered()
    lapped = {one.figure: one for one in order.lines[3].expected}
    assert not lapped["installed spring height"].settled
    assert lapped["stand-down"].settled
    assert order.lines[4].expected[0].settled


def test_what_somebody_can_be_hurt_by_stands_at_the_step():
    """Press fits, dust and springs come with a word, and the maker's manual stands first."""
    _, _, order = ordered()
    by_deed = {line.deed: line.caution for line in order.lines}
    assert "liquid nitrogen" in by_deed["replace guide"]
    assert "dust" in by_deed["reface valve"]
    assert "load" in by_deed["shim"]
    assert "manuals" in order.cautions[0]
    assert set(by_deed.values()) == set(order.cautions[1:])


def test_an_insert_says_how_much_higher_the_valve_sits():
    """A seat that lies too deep gets an insert; the dial reads a rise, above 0."""
    text = JOB.replace('stand_down = "1.18 mm"', 'stand_down = "1.60 mm"')
    _, _, order = ordered(text)
    [insert] = [line for line in order.lines if line.deed == "fit insert"]
    assert insert.setting is not None
    assert 0 < insert.setting.least_pm <= insert.setting.pm <= insert.setting.most_pm
    assert "higher" in insert.words
    assert (insert.part, insert.quantity) == ("insert", 1)


def test_a_skim_concerns_the_head_and_says_its_thickness():
    """A face that is not flat is skimmed by its clean-up, 120.40 - 0.09 = 120.31."""
    _, _, order = ordered(JOB.replace('flatness = "0.060 mm"', 'flatness = "0.095 mm"'))
    [skim] = [line for line in order.lines if line.deed == "skim"]
    assert (skim.valves, skim.depth) == ((), "0.09 mm")
    assert skim.expected[0].most_pm == 120_310_000_000
    again = {(one.place, one.characteristic) for one in order.remeasure}
    assert {("", "head thickness"), ("1I", "stand-down"), ("2I", "stand-down")} <= again


def test_the_order_is_a_plain_document():
    """It can be written as JSON without loss."""
    _, _, order = ordered()
    told = order.as_document()
    assert json.loads(json.dumps(told, allow_nan=False)) == told
    assert told["lines"][2]["depth_mm"] == 0.08


def with_dial_offers(task: Task) -> Task:
    """Move the drawn offers off the dials' divisions, and let them reach further."""
    offers = {deed: replace(offer, most_pm=offer.most_pm + 20_000_000 if offer.most_pm else 0)
              for deed, offer in task.shop.offers.items()}  # fmt: skip
    assert all(isinstance(offer, Offer) for offer in offers.values())
    shop: Shop = replace(task.shop, offers=offers)
    return replace(task, shop=shop)


@pytest.mark.parametrize("seed", range(60))
def test_dials_keep_every_limit(seed: int):
    """What the order sets keeps all limits, all steps together and each to both of its ends."""
    task = with_dial_offers(small_head(seed))
    found = plan(task)
    if not isinstance(found, Plan):
        return
    order = work_order(task, found)
    skim = next((line.setting.pm for line in order.lines if line.deed == "skim" and line.setting),
                0)  # fmt: skip
    for put in found.puts:
        name = task.places[put.way.place].name
        own = {line.deed: line.setting for line in order.lines
               if line.place == name and line.setting}  # fmt: skip
        for changed in [None, *own]:
            for end in ("least_pm", "most_pm"):
                done = fitted(task, put.way).after("skim", skim)
                done = done.after("shim", put.way.stack.thickness).after("lap", put.way.lap_pm)
                for deed, setting in own.items():
                    pm = getattr(setting, end) if deed == changed else setting.pm
                    step = "cut seat" if deed == "fit insert" else deed
                    done = done.after(step, -pm if deed == "fit insert" else pm)
                assert not done.beyond()


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 400))
def test_every_order_has_the_order_of_the_trade_and_loses_nothing(seed: int):
    """Numbers count on, sections follow one another, every step of the plan is one line."""
    task = small_head(seed)
    found = plan(task)
    if not isinstance(found, Plan):
        return
    order = work_order(task, found)
    assert [line.number for line in order.lines] == list(range(1, len(order.lines) + 1))
    places = [TRADE.index(line.section) for line in order.lines]
    assert places == sorted(places)
    steps = {(task.places[put.way.place].name, deed) for put in found.puts
             for deed in put.way.deeds}  # fmt: skip
    steps |= {("", "skim")} if found.skim else set()
    assert {(line.place, line.deed) for line in order.lines} == steps
    for put in found.puts:
        name = task.places[put.way.place].name
        stale = {what for line in order.lines if line.place in (name, "")
                 for what in WORK[line.operation].stale}  # fmt: skip
        asked = {one.characteristic for one in order.remeasure if one.place == name}
        seldom = {"valve face runout", "retainer-to-seal"} - set(
            task.places[put.way.place].readings
        )
        load = task.rules[task.places[put.way.place].kind].load
        new = "replace spring" in put.way.deeds
        tested = {SPRING_LOAD} if new and load != (None, None) else set()
        own = {what for what in stale - seldom if CHARACTERISTICS[what].of == "valve"}
        assert asked == own | tested
    pieces = sum(len(put.way.stack.pieces) for put in found.puts)
    assert sum(one.quantity for one in order.parts if one.part.startswith("shim ")) == pieces
    seals = [one for one in order.parts if one.part == "stem seal"]
    assert sum(one.quantity for one in seals) == len(task.places)


def test_every_step_of_a_plan_has_its_operation():
    """Each belongs to a section, and is known to what makes readings stale."""
    assert list(DONE) == list(SECTION_OF) == list(DEEDS)
    assert all(operation in WORK for operation in DONE.values())
    assert list(dict.fromkeys(SECTION_OF.values())) == TRADE


def test_a_depth_is_set_on_the_coarsest_dial_that_keeps_the_limits():
    """0.083 to clean is set as 0.09; where the tip's height bears only 0.085, as 0.083."""
    free = JOB.replace('seat_clean_up = "0.08 mm"', 'seat_clean_up = "0.083 mm"')
    _, _, order = ordered(free)
    assert order.lines[2].depth == "0.09 mm"
    tight = free.replace('tip_height = { min = "36.00 mm", max = "37.10 mm" }',
                         'tip_height = { min = "36.00 mm", max = "37.05 mm" }')  # fmt: skip
    _, _, order = ordered(tight)
    assert order.lines[2].depth == "0.083 mm"
    assert DIALS[0] == 10_000_000
