"""A sheet says what the book wants of chambers, and a plan gets them reckoned, not measured."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from gaugelink import content
from gaugelink.commands.plan_export import job_file
from gaugelink.commands.plan_file import load_task
from gaugelink.errors import InputError
from gaugelink.judging import Measured, judge
from gaugelink.planning.survey import Survey, survey
from gaugelink.planning.task import Shop, Task
from gaugelink.planning.ties import ties
from gaugelink.quantity import parse_length
from gaugelink.sheetfile import check, load

SHEET = """
[sheet]
name = "Invented"
edition = "1"
source = "invented"
invented = true

[head]
cylinders = 2
valves = ["intake", "exhaust"]

[chamber]
volume = "30 cm3"
thickness = "100 mm"
stand_down = { intake = "1.00 mm", exhaust = "1.00 mm" }
head_diameter = { intake = "40 mm", exhaust = "40 mm" }
area = "20 cm2"
swept_volume = "500 cm3"
compression_ratio_min = "17.2"
max_spread = "0.8 cm3"

[[limit]]
characteristic = "stand-down"
service_max = "1.80 mm"

[[limit]]
characteristic = "head thickness"
service_min = "99.5 mm"
"""
PRICES = content.read("sim/prices", "demo-shop")
STOOD = {"1I": "1.30 mm", "1E": "1.20 mm", "2I": "1.00 mm", "2E": "1.00 mm"}


def task_of(
    text: str, stood: dict[str, str] = STOOD, thickness: str | None = "99.9 mm", u_pm: int = 0
) -> Task:
    given = [(valve, "stand-down", value) for valve, value in stood.items()]
    given += [("", "head thickness", thickness)] if thickness else []
    measured = []
    for number, (valve, name, value) in enumerate(given):
        length = parse_length(value)
        measured.append(Measured(valve, name, "", "", length.pm, value.split()[0], length.unit,
                                 u_pm, number))  # fmt: skip
    sheet = load(text, "sheet.toml")
    return survey(sheet, measured, judge(sheet, measured), Shop("EUR", {})).task


def test_volume_is_reckoned_from_stand_down_and_skim():
    # By hand: a head of 40 mm has 1256.637 mm2. Skimmed by 0.10, the valves of cylinder 1 have sunk
    # by 0.40 and 0.30, those of cylinder 2 by 0.10 each; the skim took 0.10 * 2000 mm2 off.
    # 30000 + 1256.637 * 0.70 - 200 = 30679.646; 30000 + 1256.637 * 0.20 - 200 = 30051.327 mm3.
    task = task_of(SHEET)
    volumes = [one.volume for one in task.cylinders]
    assert [round((volume or 0) / 1e9, 3) for volume in volumes] == [30679.646, 30051.327]
    assert [one.valves for one in task.cylinders] == [("1I", "1E"), ("2I", "2E")]


def test_limits_become_ties_of_the_plan():
    # 500 / 30.679646 + 1 = 17.297 and 500 / 30.051327 + 1 = 17.638, by hand; 0.63 cm3 apart.
    still = dict.fromkeys(range(4), 0)
    found = ties(task_of(SHEET))
    assert [(one.where, one.name) for one in found] == [
        ("cylinder 1", "compression ratio min"),
        ("cylinder 2", "compression ratio min"),
        ("", "spread of chamber volume max"),
    ]
    assert [one.keeps(still, 0) for one in found] == [True, True, True]
    tight = SHEET.replace('"17.2"', '"17.3"').replace('"0.8 cm3"', '"0.6 cm3"')
    assert [one.keeps(still, 0) for one in ties(task_of(tight))] == [False, True, False]


def test_uncertainty_comes_from_the_readings():
    # u of 0.01 mm each: sqrt(2 * 12.56637^2 + (5.13274)^2) = 18.498 mm3, by hand.
    chamber = task_of(SHEET, u_pm=10**7).chamber
    assert chamber is not None
    assert round(chamber.u / 1e9, 3) == 18.498


def test_a_job_file_written_of_it_gives_the_same_chambers():
    task = task_of(SHEET, u_pm=10**7)
    again = load_task(job_file(Survey(task), "a record"), "job.toml", PRICES)
    assert again.cylinders == task.cylinders
    assert again.chamber == task.chamber
    areas = [[rules.head_area_mm2 for rules in one.rules.values()] for one in (task, again)]
    assert areas[0] == areas[1]


def test_what_is_not_measured_leaves_the_volume_open():
    less = {valve: value for valve, value in STOOD.items() if valve != "2E"}
    assert [one.volume is None for one in task_of(SHEET, less).cylinders] == [False, True]
    assert [one.volume for one in task_of(SHEET, thickness=None).cylinders] == [None, None]


def test_inches_and_millimetres_give_the_same_task():
    pairs = (
        ("30 cm3", "30.3160684 cm3", "1.85 in3"), ("100 mm", "101.6 mm", "4 in"),
        ('intake = "1.00 mm"', 'intake = "1.016 mm"', 'intake = "0.040 in"'),
        ('intake = "40 mm"', 'intake = "40.64 mm"', 'intake = "1.6 in"'),
        ("20 cm2", "1290.32 mm2", "2 in2"), ("0.8 cm3", "819.3532 mm3", "0.05 in3"),
        ("500 cm3", "491.61192 ml", "30 in3"),
    )  # fmt: skip
    metric = inch = SHEET
    for typed, in_metric, in_inch in pairs:
        assert typed in SHEET
        metric, inch = metric.replace(typed, in_metric), inch.replace(typed, in_inch)
    assert task_of(metric) == task_of(inch)


def test_the_example_of_the_manual_is_a_good_table():
    page = Path(__file__).resolve().parents[1] / "docs" / "limit-sheets.md"
    table = page.read_text(encoding="utf-8").split("```toml\n[chamber]\n")[1].split("```")[0]
    text = SHEET[: SHEET.index("[chamber]")] + "[chamber]\n" + table + "\n"
    chamber = load(text + SHEET[SHEET.index("[[limit]]") :], "sheet.toml").chamber
    assert chamber is not None
    assert chamber.beside == 3 * 10**12
    # As new it keeps its own limits: (500 + 33) / 33 = 16.15, by hand.
    assert chamber.ratio[0] < 1 + Fraction(chamber.swept, chamber.volume + chamber.beside)
    assert chamber.least < chamber.volume < chamber.most


def test_a_sheet_without_the_table_has_no_chambers():
    text = SHEET[: SHEET.index("[chamber]")] + SHEET[SHEET.index("[[limit]]") :]
    task = task_of(text)
    assert task.chamber is None
    assert task.cylinders == ()
    assert all(rules.head_area_mm2 is None for rules in task.rules.values())


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"30 cm3"', '"30"', "found '30' without a unit, accepted: mm3, cm3, ml or in3"),
        ('"30 cm3"', '"30 cm2"', "found the unit 'cm2' in '30 cm2', accepted: mm3"),
        ('"30 cm3"', '"0 cm3"', "above 0"),
        ('"30 cm3"', '"3e1 cm3"', "accepted"),
        ('"20 cm2"', '"-1 cm2"', "0 to 10000 cm2"),
        ('"17.2"', '"1"', "above 1"),
        ('"17.2"', '"17.2"\ncompression_ratio_max = "17"', "not below compression_ratio_min"),
        ('swept_volume = "500 cm3"', "", "swept_volume"),
        ("swept_volume", 'beside = "40 cm3"\nswept_volume', "nothing is left"),
        (', exhaust = "40 mm"', "", "exhaust is missing"),
        ('thickness = "100 mm"', 'thickness = "0 mm"', "above 0"),
        ('[[limit]]\ncharacteristic = "head thickness"\nservice_min = "99.5 mm"\n', "",
         "one of head thickness"),
        ('compression_ratio_min = "17.2"\nmax_spread = "0.8 cm3"', "", "limits nothing"),
    ],
)  # fmt: skip
def test_a_bad_table_is_one_sentence(old, new, words):
    assert old in SHEET
    faults = check(SHEET.replace(old, new, 1), "sheet.toml").errors
    assert len(faults) == 1
    assert words in str(faults[0])
    assert "chamber" in (faults[0].field or "")
    assert "\n" not in faults[0].what
    with pytest.raises(InputError):
        load(SHEET.replace(old, new, 1), "sheet.toml")
