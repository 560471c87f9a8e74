"""Limits that places keep together are kept by a plan, and no plan that keeps them is cheaper."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from itertools import product

import pytest
from hypothesis import given, strategies as st
from planning_heads import STEP, cheapest, small_head, steps, tied_well, with_ties

from gaugelink.planning.chamber import CUBIC_CM, Chamber, ratio, room_at, round_area
from gaugelink.planning.order import work_order
from gaugelink.planning.plan import Conflict, Plan, plan
from gaugelink.planning.setting import settings
from gaugelink.planning.settling import shares
from gaugelink.planning.task import Cylinder, Offer, Place, Range, Task
from gaugelink.planning.ties import Apart, Held, Sum, spread_name, ties


def possible(first: int, count: int):
    """Draw heads that can be done as long as nothing ties their places."""
    found = 0
    for seed in range(first, first + 10 * count):
        head = small_head(seed)
        if cheapest(head) is not None:
            found += 1
            yield seed, head
        if found == count:
            return


def sunk(found: Plan) -> tuple[int, ...]:
    return tuple(put.seated.figures.get("drop", 0) for put in found.puts)


def skimmed(found: Plan) -> int:
    return found.skim.pm if found.skim else 0


@pytest.mark.parametrize("together", [False, True])
@pytest.mark.parametrize("block", range(2))
def test_no_plan_that_keeps_the_ties_is_cheaper(block: int, together: bool):
    """Against a search through every choice and depth on a grid.

    The search can only be too dear: between its depths there may be better ones. What the plan does
    is held against the ties by the search's own arithmetic.
    """
    seen: Counter[str] = Counter()
    for seed, head in possible(9000 + 1000 * block, 70):
        task = with_ties(head, seed, together=together)
        wanted, found = cheapest(task, STEP // 2 if together else STEP), plan(task)
        if isinstance(found, Conflict):
            assert wanted is None, seed
            seen["impossible"] += 1
            continue
        assert found.optimal
        assert wanted is None or found.cents <= wanted, seed
        if ties(task):
            assert tied_well(task, sunk(found), skimmed(found)), seed
        seen["equal" if found.cents == wanted else "between"] += 1
        seen["dearer"] += found.cents != cheapest(head)
    assert min(seen["impossible"], seen["dearer"]) >= 8, seen
    assert seen["between"] <= 2, seen


def test_every_valve_may_use_its_whole_setting_at_once():
    """A dial may be set anywhere between its ends, whatever the others do between theirs."""
    seen = 0
    for seed, head in possible(14_000, 60):
        task = with_ties(head, seed, together=bool(seed % 2))
        found = plan(task)
        if isinstance(found, Conflict) or not ties(task):
            continue
        chosen = settings(task, found)
        skim = chosen.skim.pm if chosen.skim else 0
        for ends in ("least_pm", "most_pm", "pm"):
            by = []
            for put, own in zip(found.puts, chosen.places, strict=True):
                depths = {step: getattr(setting, ends) for step, setting in own.items()}
                # One step at its end, the others as they are set: ends hold each alone.
                for step in depths:
                    if step not in ("cut seat", "reface valve"):
                        depths[step] = own[step].pm
                if len({"cut seat", "reface valve"} & set(depths)) > 1:
                    depths["reface valve"] = own["reface valve"].pm
                by.append(put.way.sunk + put.way.lap_pm + depths.get("cut seat", 0)
                          + depths.get("reface valve", 0))  # fmt: skip
            assert tied_well(task, tuple(by), skim), (seed, ends)
            seen += 1
    assert seen > 60


def test_valves_that_lie_on_the_spread_exactly_are_left_alone():
    """A limit is kept by a figure that equals it."""
    task = _sound()
    now = task.places[1].readings["stand-down"] - task.places[0].readings["stand-down"]
    rules = replace(task.rules["intake"], spread_pm=now)
    found = plan(replace(task, rules={"intake": rules}))
    assert isinstance(found, Plan)
    assert not any(put.way.deeds for put in found.puts)
    rules = replace(rules, spread_pm=now - 1)
    found = plan(replace(task, rules={"intake": rules}))
    assert isinstance(found, Plan)
    assert any("cut seat" in put.way.deeds for put in found.puts)


def _sound() -> Task:
    """Two valves that need nothing, and a shop that cuts and skims."""
    head = small_head(0)
    one = Place("", "intake", (steps(599),) * 2, (steps(603),) * 2)
    readings = {"stand-down": steps(9), "seat runout": 0, "tip height": steps(100),
                "installed spring height": steps(200), "margin": steps(8)}  # fmt: skip
    places = (
        replace(one, name="1I", readings=readings),
        replace(one, name="2I", readings={**readings, "stand-down": steps(11)}),
    )
    rules = replace(
        head.rules["intake"], u_pm={}, load=(None, None), bind_least_pm=None, lift_pm=None,
        solid_pm=None, limits={"stand-down": Range(steps(6), steps(14))},
    )  # fmt: skip
    offers = {"cut seat": Offer(10, steps(1) // 2, steps(3)), "skim": Offer(50, steps(1), steps(3))}
    return replace(head, places=places, rules={"intake": rules},
                   shop=replace(head.shop, offers=offers), flatness_pm=0, cylinders=(),
                   springs_as_set=False, pairing=False, head={})  # fmt: skip


def test_what_ties_stand_in_the_way_is_named():
    """Two valves too far apart and nothing to cut with: the spread alone is in conflict."""
    task = _sound()
    rules = replace(task.rules["intake"], spread_pm=steps(1))
    task = replace(task, rules={"intake": rules}, shop=replace(task.shop, offers={}))
    found = plan(task)
    assert isinstance(found, Conflict)
    assert found.limits == (("", f"{spread_name('intake')} max"),)
    assert found.smallest


def test_a_chamber_that_would_get_too_large_asks_for_a_skim():
    """A compression ratio that sunk valves have lowered comes back with a skim (trade custom)."""
    task = _sound()
    cylinders = tuple(Cylinder(f"cylinder {at}", (f"{at}I",), volume=31 * CUBIC_CM)
                      for at in (1, 2))  # fmt: skip
    rules = replace(task.rules["intake"], head_area_mm2=round_area(40 * 10**9))
    chamber = Chamber(Fraction(4500), ratio=(Fraction("17.2"), None), swept=500 * CUBIC_CM)
    task = replace(task, rules={"intake": rules}, cylinders=cylinders, chamber=chamber)
    found = plan(task)
    assert isinstance(found, Plan)
    assert found.skim is not None
    volume = 31 * CUBIC_CM - 4500 * found.skim.pm
    assert ratio(500 * CUBIC_CM, volume) >= Fraction("17.2")
    # The least that does, to the nanometre that the solver's rounding is given.
    assert ratio(500 * CUBIC_CM, volume + 4500 * 2000) < Fraction("17.2")


def test_readings_without_which_a_tie_is_open_are_asked_for():
    """What was not measured ties nothing, and makes the plan partial."""
    task = _sound()
    others = dict(task.places[1].readings)
    del others["stand-down"]
    bare = replace(task.places[1], readings=others)
    rules = replace(task.rules["intake"], spread_pm=steps(1), limits={})
    task = replace(task, places=(task.places[0], bare), rules={"intake": rules},
                   cylinders=(Cylinder("cylinder 1", ("1I",)),),
                   chamber=Chamber(apart=CUBIC_CM))  # fmt: skip
    found = plan(task)
    assert isinstance(found, Plan)
    assert set(found.unproved) == {("2I", "stand-down"), ("cylinder 1", "chamber volume")}


def test_the_work_order_keeps_the_ties_with_its_rounded_depths():
    """A dial is set in hundredths where all valves together bear it."""
    task = _sound()
    rules = replace(task.rules["intake"], spread_pm=steps(1))
    task = replace(task, rules={"intake": rules})
    found = plan(task)
    assert isinstance(found, Plan)
    (line,) = [one for one in work_order(task, found).lines if one.deed == "cut seat"]
    assert line.place == "1I"
    assert line.setting is not None
    assert line.setting.pm % 10_000_000 == 0
    assert steps(1) <= line.setting.pm <= steps(2)


def test_chambers_and_ratios_are_those_of_the_trade():
    """A petrol and a diesel engine reckoned by hand: area times depth, (Vs + Vc) / Vc."""
    petrol = room_at(500, Fraction("9.5"))
    assert round(float(petrol), 1) == 58.8
    sunk_cm3 = round_area(36 * 10**9) * Fraction("0.30") / 1000
    assert round(float(sunk_cm3), 3) == 0.305
    assert round(float(ratio(500, petrol + sunk_cm3)), 2) == 9.46
    assert round(float(ratio(500, petrol - Fraction(45) * Fraction("0.02"))), 2) == 9.63
    diesel = room_at(500, Fraction("17.5"))
    both = 2 * round_area(40 * 10**9) * Fraction("0.5") / 1000
    assert round(float(diesel), 1) == 30.3
    assert round(float(both), 2) == 1.26
    assert round(float(ratio(500, diesel + both)), 1) == 16.8


@given(st.lists(st.integers(-10**9, 10**9), min_size=2, max_size=5), st.integers(0, 10**8),
       st.data())  # fmt: skip
def test_shares_of_a_spread_may_be_used_up_together(starts: list[int], room: int, data):
    """Each sum at either end of its share: the spread is kept, whatever the others do."""
    sums = tuple(Sum("", start, {at: Fraction(1)}, Fraction(1)) for at, start in enumerate(starts))
    spread = Apart("", "spread max", sums, Fraction(max(starts) - min(starts) + room))
    found = shares([spread], dict.fromkeys(range(len(starts)), 0), 0)
    assert found is not None
    ends = data.draw(st.sampled_from(list(product((0, 1), repeat=len(starts)))))
    moved = {at: found[at][end].at_pm for at, end in enumerate(ends)}
    assert spread.keeps(moved, 0)


def test_shares_of_a_sum_may_be_used_up_together():
    """Two valves of one chamber: both may sink by what is left over both areas."""
    total = Sum("chamber", 1000, {0: Fraction(3), 1: Fraction(2)}, Fraction(4))
    held = Held("cylinder 1", "chamber volume max", total, "upper", Fraction(1100))
    found = shares([held], {0: 0, 1: 0}, 0)
    assert found is not None
    assert [bound.at_pm for (bound,) in found.values()] == [20, 20]
    assert held.keeps({0: 20, 1: 20}, 0)
    assert not held.keeps({0: 20, 1: 21}, 0)
    assert shares([held], {0: 40, 1: 0}, 0) is None


def test_a_tighter_spread_never_costs_less_and_the_order_of_cylinders_nothing():
    """What holds for every limit holds for those that places share."""
    seen: Counter[str] = Counter()
    for _, head in possible(21_000, 25):
        costs = []
        for room in (4, 2, 0):
            rules = replace(head.rules["intake"], spread_pm=steps(room))
            found = plan(replace(head, rules={"intake": rules}))
            turned = plan(replace(head, rules={"intake": rules}, places=head.places[::-1]))
            costs.append(found.cents if isinstance(found, Plan) else 10**9)
            assert costs[-1] == (turned.cents if isinstance(turned, Plan) else 10**9)
        assert costs == sorted(costs)
        seen["dearer"] += costs[0] != costs[2]
    assert seen["dearer"] >= 5
