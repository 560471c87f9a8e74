"""A measured head, written as a job file, gives the same plan when it is read again."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings, strategies as st
from test_survey import surveyed

from gaugelink import content
from gaugelink.commands.plan_export import job_file
from gaugelink.commands.plan_file import load_task
from gaugelink.errors import InputError
from gaugelink.metrology.springs import from_rate
from gaugelink.planning.plan import plan
from gaugelink.planning.survey import Findings, Survey

if TYPE_CHECKING:
    from gaugelink.planning.task import Task

PRICES = content.read("sim/prices", "demo-shop")


def again(found: Survey) -> Task:
    return load_task(job_file(found, "D-0042.sqlite"), "job.toml", PRICES)


@pytest.mark.parametrize(
    "changed",
    [{}, {"v1E_top": "7.930 mm", "v1E_bottom": "7.931 mm"}, {"v1E_bore": "8.070 mm"},
     {"v1E_rock": None}, {"v1I_spring": "47.00 mm"}, {"v1E_down": "1.59 mm"}, {"v1I_bore": None}],
)  # fmt: skip
def test_the_same_head_is_read_again(changed: dict[str, str | None]):
    found = surveyed(
        Findings({("1I", "valve"): 'burnt, "blue"', ("1I", "seat"): "pitted",
                  ("", "crack test"): "by the plug", ("", "head face"): "scored"}, {"1E"}),
        **changed,
    )  # fmt: skip
    task, read = found.task, again(found)
    assert read.places == task.places
    assert (read.name, read.pairing, read.springs_as_set, read.clean_up_pm) == (
        task.name, task.pairing, task.springs_as_set, task.clean_up_pm)  # fmt: skip
    assert (read.cracked, read.face_scrap) == ("by the plug", "scored")
    assert (read.thickness_pm, read.flatness_pm) == (task.thickness_pm, task.flatness_pm)
    for kind, rules in task.rules.items():
        assert read.rules[kind].limits == rules.limits
        assert (read.rules[kind].new_stem, read.rules[kind].new_bore) == (
            rules.new_stem, rules.new_bore)  # fmt: skip
        assert {name: u for name, u in read.rules[kind].u_pm.items() if name in rules.u_pm} == (
            rules.u_pm)  # fmt: skip
    assert plan(read) == plan(task)


def test_what_is_left_out_stands_on_top():
    text = job_file(surveyed(), "D-0042.sqlite")
    assert text.splitlines()[:2] == [
        "# D-0042.sqlite: the head as it was measured. Plan it with --prices.",
        "# Not in it: stand-down (range)",
    ]


@settings(max_examples=60)
@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=30))
def test_any_text_of_a_person_is_read_again_as_it_was(words: str):
    found = surveyed()
    first, *rest = found.task.places
    task = replace(found.task, name=words, places=(replace(first, scrap=words), *rest))
    read = again(replace(found, task=task, left_out=(words,)))
    assert (read.name, read.places[0].scrap) == (words, words)


def test_what_a_job_file_could_not_say_is_refused():
    found = surveyed()
    rules = replace(found.task.rules["intake"], spring=from_rate(Fraction(30), Fraction(50, 3)))
    task = replace(found.task, rules={**found.task.rules, "intake": rules})
    with pytest.raises(InputError, match="no whole picometre"):
        job_file(replace(found, task=task), "x")
