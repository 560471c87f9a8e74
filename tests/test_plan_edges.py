"""Plans at the edges: limits that their guard bands close, parts that do not go together."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest
from planning_heads import U, cheapest, small_head, steps
from test_plan_command import changed, told

from gaugelink.commands.plan_file import load_task
from gaugelink.commands.plan_try import tried
from gaugelink.planning.plan import Conflict, plan
from gaugelink.planning.task import Range, Task


def squeezed(seed: int) -> Task:
    """Draw a head one of whose heights has no more room than its guard bands take, or less."""
    task, draw = small_head(seed), Random(seed)
    book = task.rules["intake"]
    name, low = draw.choice([("stand-down", 8), ("tip height", 98)])
    room = Range(steps(low), steps(low + draw.choice([0, 1, 2])))
    tight = replace(book, limits={**book.limits, name: room}, u_pm={**book.u_pm, name: U})
    return replace(task, rules={"intake": tight})


@pytest.mark.parametrize("block", range(2))
def test_a_limit_without_room_is_a_conflict_and_never_a_plan(block: int):
    """Against a search through everything, sixty heads a block."""
    possible = 0
    for seed in range(60 * block, 60 * block + 60):
        task = squeezed(seed)
        found = plan(task)
        cost = None if isinstance(found, Conflict) else found.cents
        assert cost == cheapest(task), seed
        possible += cost is not None
    assert possible >= 1


def test_a_stand_down_that_no_uncertainty_lets_be_kept_is_named():
    """0.90 to 0.91 with 0.008 of uncertainty: 0.013 off each end leaves nothing."""
    found = told(changed(('max = "1.40 mm"', 'max = "0.91 mm"')))
    assert found["cost"] is None
    assert {row["limit"] for row in found["conflict"]} == {"stand-down min", "stand-down max"}


def test_no_valve_goes_into_a_guide_that_is_narrower():
    """Without a least clearance in the book too: 8.030 does not go into 8.018."""
    limit = ('guide_clearance = { min = "0.025 mm", max', "guide_clearance = { max")
    found = told(changed(limit, ('["7.944 mm", "7.949 mm"]', '["8.029 mm", "8.030 mm"]')))
    assert found["valves"][0]["steps"]


def test_a_step_is_tried_where_a_spring_is_scrap_and_none_is_offered():
    text = changed(("replace_spring = { minutes = 1 }\n", ""),
                   ("drop =", 'spring_scrap = "broken"\ndrop ='))  # fmt: skip
    assert tried(load_task(text, "job.toml"), "2I cut seat 0.10 mm")["broken"] == []
