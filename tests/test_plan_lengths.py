"""A valve that changes places brings its length with it: its tip stands higher or lower by that."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from random import Random

import pytest
from planning_heads import U, cheapest, small_head, steps

from gaugelink.planning.means import skims
from gaugelink.planning.options import Fitting, Ways
from gaugelink.planning.plan import Conflict, plan
from gaugelink.planning.task import Place, Range, Rules, Shop, Task
from gaugelink.planning.way import NEW

UM = 10**6


def with_lengths(task: Task, seed: int) -> Task:
    """Let the valves be of different lengths, and change places: what the tips then stand at."""
    draw = Random(f"{seed} lengths")
    one = draw.randint
    book = task.rules["intake"]
    limits = dict(book.limits)
    if draw.random() < 0.5:
        limits["valve length"] = Range(steps(one(995, 1000)))
    u = dict(book.u_pm) | {name: U for name in ("valve length", "tip height")
                           if draw.random() < 0.4}  # fmt: skip
    places = tuple(
        replace(place, married=False, readings=dict(place.readings) | (
            {"valve length": steps(one(997, 1003))} if draw.random() < 0.9 else {}))
        for place in task.places
    )  # fmt: skip
    return replace(task, places=places, rules={"intake": replace(book, limits=limits, u_pm=u)},
                   pairing=True)  # fmt: skip


@pytest.mark.parametrize("block", range(4))
def test_no_plan_is_cheaper_where_valves_of_different_lengths_change_places(block: int):
    """Against a search through every choice and every depth, forty heads a block."""
    seen: Counter[str] = Counter()
    for seed in range(40 * block + 5000, 40 * block + 5040):
        task = with_lengths(small_head(seed), seed)
        wanted, found = cheapest(task), plan(task)
        assert (None if isinstance(found, Conflict) else found.cents) == wanted, seed
        seen["impossible" if wanted is None else "possible"] += 1
        alike = replace(
            task,
            places=tuple(
                replace(
                    place,
                    readings={
                        name: pm for name, pm in place.readings.items() if name != "valve length"
                    },
                )
                for place in task.places
            ),
        )
        seen["moved"] += not isinstance(found, Conflict) and any(
            put.way.valve not in (NEW, put.way.place) for put in found.puts
        )
        seen["other"] += wanted != cheapest(alike)
    assert min(seen["impossible"], seen["possible"], seen["moved"], seen["other"]) >= 2, seen


def head(**readings: tuple[int, int]) -> Task:
    """Two valves, 1I 125.30 and 2I 125.10 mm long, 2I ground 0.03 deeper; u 10 um each reading."""
    one = {"stand-down": 1_000 * UM, "tip height": 36_550 * UM, "valve length": 125_300 * UM}
    two = {"stand-down": 1_030 * UM, "tip height": 36_380 * UM, "valve length": 125_100 * UM}
    rules = Rules({"tip height": Range(36_000 * UM, 37_000 * UM)},
                  {"tip height": 10 * UM, "valve length": 10 * UM})  # fmt: skip
    places = Place("1I", "intake", readings=one), Place(
        "2I", "intake", readings=two, drop_pm=30 * UM)  # fmt: skip
    return Task("invented", places, {"intake": rules}, Shop("EUR", {}), pairing=True)


def seated(task: Task, valve: int):
    return Fitting(Ways(task, skims(task)), 0, valve, frozenset()).seated(())


def test_the_tip_of_a_moved_valve_stands_by_its_length():
    """Worked by hand: 36.55, 0.03 for the deeper seat, less 125.30 - 125.10: 36.38 mm.

    Refacing has sunk the valve and not shortened it. The height comes from three readings of 10 um:
    u is 17.320509 um, and 1.645 of that is 28.492238 um, both rounded up.
    """
    found = seated(head(), 1)
    assert found.figures["tip height"] == 36_380 * UM
    low, high = (one.at_pm for one in found.held if one.figure == "tip height")
    assert (low, high) == (36_000 * UM + 28_492_238, 37_000 * UM - 28_492_238)


def test_the_own_valve_and_one_whose_length_nobody_knows_are_as_before():
    """16.45 um is 1.645 times the 10 um of the tip height alone."""
    own = seated(head(), 0)
    assert own.figures["tip height"] == 36_550 * UM
    assert next(one.at_pm for one in own.held if one.figure == "tip height") == 36_016_450_000
    task = head()
    short = {name: pm for name, pm in task.places[1].readings.items() if name != "valve length"}
    task = replace(task, places=(task.places[0], replace(task.places[1], readings=short)))
    assert seated(task, 1).figures["tip height"] == 36_580 * UM
