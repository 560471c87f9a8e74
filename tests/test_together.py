"""What valves and cylinders have in common: told before and after a step, and after a plan."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from gaugelink.commands.plan_document import document
from gaugelink.commands.plan_export import job_file
from gaugelink.commands.plan_file import load_task
from gaugelink.commands.plan_try import text, tried
from gaugelink.planning.allowances import allowance
from gaugelink.planning.chamber import CUBIC_CM
from gaugelink.planning.held import as_found
from gaugelink.planning.plan import Plan, plan
from gaugelink.planning.survey import Survey
from gaugelink.planning.together import together
from gaugelink.view.trial import trial_document

if TYPE_CHECKING:
    from conftest import RunCli

PAGE = Path(__file__).resolve().parents[1] / "docs" / "planning.md"
JOB = re.findall(r"```toml\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)[0]


def by_name(rows: Any) -> dict[str, Any]:
    return {one["name"]: one for one in rows}


def test_a_try_tells_what_several_places_have_in_common():
    """By hand: 40 mm across, 0.10 deep is 0.1257 cm3; (500 + 30.2 + 0.1257) / 30.3257 = 17.49."""
    told = tried(load_task(JOB, "job.toml"), "2I cut seat 0.10 mm")
    rows = by_name(told["figures"])
    ratio = rows["compression ratio of cylinder 2"]
    assert ratio["words"] == "17.56, then 17.49 (at least 17.20)"  # 530.2 / 30.2 before
    assert (ratio["before"], ratio["unit"]) == (pytest.approx(530.2 / 30.2), "")
    other = rows["compression ratio of cylinder 1"]
    assert other["words"] == "17.61, as it is (at least 17.20)"  # 530.1 / 30.1
    assert rows["spread of stand-down, intake"]["words"] == (
        "0.130 mm, then 0.230 mm (at most 0.400 mm)")  # fmt: skip
    assert rows["spread of chamber volume"]["after"] == pytest.approx(0.1 + 0.04 * 3.14159265)
    lines = list(text(told))
    assert "  compression ratio of cylinder 2 17.56, then 17.49 (at least 17.20)" in lines
    assert not any("cylinder 1" in line for line in lines)
    assert not {"drop", "chamber volume"}.intersection(rows)


def test_a_skim_takes_the_area_times_its_depth_off_every_chamber():
    """45 cm2, 0.20 mm deep: 0.90 cm3, as in the trade's example; nothing moves apart."""
    told = tried(load_task(JOB, "job.toml"), "2I skim 0.20 mm")
    rows = by_name(told["figures"])
    room = Fraction("12.10") + 18 - Fraction("0.90")
    ratio = (500 + room) / room
    assert rows["compression ratio of cylinder 1"]["after"] == pytest.approx(float(ratio))
    assert rows["spread of chamber volume"]["words"] == "0.10 cm3, as it is (at most 1.00 cm3)"
    assert rows["spread of stand-down, intake"]["words"].startswith("0.130 mm, as it is")


def test_the_others_hold_what_is_left_of_a_step():
    """2I stands 0.13 deeper than 1I; a guard band off 0.14 leaves nothing."""
    job = JOB.replace('stand_down_spread = "0.40 mm"', 'stand_down_spread = "0.14 mm"')
    task = load_task(job, "job.toml")
    found = allowance(as_found(task, 1), "cut seat")
    assert found.held_by == "spread of stand-down, intake max"
    assert found.most_pm is not None
    assert found.most_pm < 0
    up = allowance(as_found(task, 0), "cut seat")
    assert up.least_pm > 0
    assert up.needed_by == "spread of stand-down, intake max"


def test_a_broken_common_limit_is_named():
    """A cut that lowers the compression below its limit says so."""
    job = JOB.replace(
        'compression_ratio = { min = "17.2" }', 'compression_ratio = { min = "17.5" }'
    )
    task = load_task(job, "job.toml")
    told = tried(task, "2I cut seat 0.20 mm")
    assert "compression ratio min" in told["broken"]
    assert "compression ratio min" in trial_document(task, 1, "cut seat", 200_000_000)["broken"]


def test_the_page_draws_common_figures_with_their_limits():
    """Each is a figure with a scale, like the valve's own."""
    rows = by_name(
        trial_document(load_task(JOB, "job.toml"), 1, "cut seat", 100_000_000)["figures"]
    )
    one = rows["compression ratio of cylinder 2"]
    assert (one["before"], one["after"], one["scale"]["verdict"]) == ("17.56", "17.49", "within")
    assert one["scale"]["lower_mm"] == pytest.approx(17.2)
    assert "drop" not in rows
    assert rows["spread of stand-down, intake"]["moved"] == "+0.100"


def test_a_plan_tells_what_is_in_common_after_the_work():
    """The plan's figures are those of its stand-downs."""
    task = load_task(JOB, "job.toml")
    told = document(task, plan(task), 0)
    downs = [one["expected_mm"]["stand-down"] for one in told["valves"]]
    rows = by_name(told["together"])
    assert rows["spread of stand-down, intake"]["value"] == pytest.approx(abs(downs[1] - downs[0]))
    grown = (downs[1] - 1.18) * 40**2 * 3.14159265 / 4 / 1000
    assert rows["compression ratio of cylinder 2"]["value"] == pytest.approx(
        1 + 500 / (30.2 + grown), rel=1e-6
    )


def test_a_job_with_ties_is_written_and_read_back_the_same():
    """Nothing of them is lost in a file."""
    task = load_task(JOB, "job.toml")
    bare = replace(task, places=tuple(replace(one, drop_pm=0, seat_least_pm=0, face_least_pm=0)
                                      for one in task.places))  # fmt: skip
    prices = JOB[JOB.index("[prices]") :]
    again = load_task(job_file(Survey(bare), "here"), "job.toml", (prices, "prices.toml"))
    assert again.chamber == task.chamber
    assert again.cylinders == task.cylinders
    assert {kind: (one.spread_pm, one.head_area_mm2) for kind, one in again.rules.items()} == {
        kind: (one.spread_pm, one.head_area_mm2) for kind, one in task.rules.items()}  # fmt: skip


def test_inches_give_the_same_chambers():
    """Figures that inches say exactly give the very same plan."""
    mm = JOB
    inch = JOB
    for old, metric, other in (
        ("45 cm2", "25.4 cm2", "3.937 in2"), ("1 cm3", "16387.064 mm3", "1 in3"),
        ("500 cm3", "491.61192 cm3", "30 in3"), ("12.20 cm3", "12.290298 cm3", "0.75 in3"),
        ("0.40 mm", "0.381 mm", "0.015 in"),
    ):  # fmt: skip
        mm, inch = mm.replace(f'"{old}"', f'"{metric}"'), inch.replace(f'"{old}"', f'"{other}"')
    one, two = load_task(mm, "job.toml"), load_task(inch, "job.toml")
    assert one.cylinders == two.cylinders
    assert one.chamber is not None
    assert two.chamber is not None
    assert replace(one.chamber, area_mm2=two.chamber.area_mm2) == two.chamber
    assert float(one.chamber.area_mm2) == pytest.approx(float(two.chamber.area_mm2), rel=1e-4)
    found = [plan(replace(task, chamber=one.chamber)) for task in (one, two)]
    assert isinstance(found[0], Plan)
    assert found[0] == found[1]


def test_the_uncertainty_of_a_ratio_follows_from_that_of_the_volume():
    """First order, JCGM 100:2008, 5.1.2: the swept volume counts as exact."""
    task = load_task(JOB, "job.toml")
    found = {one.name: one for one in together(task, {}, 0)}
    ratio = found["compression ratio of cylinder 1"]
    assert float(ratio.u) == pytest.approx(500 * 0.03 / 30.1**2)
    assert task.chamber is not None
    assert task.chamber.u == 3 * CUBIC_CM // 100


@pytest.mark.parametrize(("old", "new", "told"), [
    ('area = "45 cm2"', 'area = "45 cm"',
     "found the unit 'cm' in '45 cm', accepted: mm2, cm2 or in2"),
    ('area = "45 cm2"', 'area = "-45 cm2"', "0 to 10000 cm2"),
    ('max_spread = "1 cm3"', 'max_spread = "1 mm"',
     "found the unit 'mm' in '1 mm', accepted: mm3, cm3, ml or in3"),
    ('max_spread = "1 cm3"', 'max_spread = "-1 cm3"', "0 to a million"),
    ('min = "17.2"', 'min = "1"', "above 1"),
    ('min = "17.2"', 'min = "17.2", max = "16"', "min not above max"),
    ('min = "17.2"', 'min = "90"', "nothing is left"),
    ('swept_volume = "500 cm3"', "", "swept_volume"),
    ('head_diameter = "40 mm"', "", "head_diameter is missing"),
    ('chamber_volume = "12.10 cm3"', 'chamber_volume = "twelve"', "30.3 cm3"),
    ('max_spread = "1 cm3"', 'volume = { min = "13 cm3", max = "12 cm3" }', "min not above max"),
])  # fmt: skip
def test_bad_chambers_are_refused_in_one_sentence(
    run_cli: RunCli, tmp_path: Path, old: str, new: str, told: str
):
    """With file, line and what is accepted."""
    assert JOB.count(old) == 1
    file = tmp_path / "job.toml"
    file.write_text(JOB.replace(old, new), encoding="utf-8")
    status, out, err = run_cli("plan", file)
    assert (status, out) == (2, "")
    assert told in err
    assert "job.toml" in err


def test_the_json_of_a_plan_has_what_is_in_common(run_cli: RunCli, tmp_path: Path):
    """For other programs, with unit and limits."""
    file = tmp_path / "job.toml"
    file.write_text(JOB, encoding="utf-8")
    _, out, _ = run_cli("plan", file, "--json")
    rows = by_name(json.loads(out)["together"])
    assert rows["spread of chamber volume"]["unit"] == "cm3"
    assert rows["spread of chamber volume"]["max"] == 1.0
    _, out, _ = run_cli("plan", file)
    assert "In common, after the work:" in out
