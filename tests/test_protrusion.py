"""What a cylinder has one of: injectors and prechambers are measured, judged and planned with.

The limits are those of US Army TM 9-6115-604-34, table 1-4: injector tip 2.29 to 2.79 mm.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, strategies as st
from release_kit import DAY

from gaugelink import content
from gaugelink.capture.measured import judge_session
from gaugelink.commands.plan_export import job_file
from gaugelink.commands.plan_file import load_prices, load_task
from gaugelink.deeds import DoWork, SignDeviation, ValueArrived
from gaugelink.errors import InputError
from gaugelink.head import Position
from gaugelink.judging import Judgement, Measured, judge
from gaugelink.plan import plan_for
from gaugelink.planning.compared import compared_in
from gaugelink.planning.order import work_order
from gaugelink.planning.plan import Conflict, Plan, plan
from gaugelink.planning.survey import Survey, survey
from gaugelink.planning.task import Range
from gaugelink.planning.walk import walk
from gaugelink.quantity import parse_length
from gaugelink.reading import Gauge, Stamp
from gaugelink.release import blocks
from gaugelink.session import Session
from gaugelink.sheetfile import check, load

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import RunCli

HEAD = """\
[sheet]
name = "Pump engine"
edition = "1"
source = "invented"
[head]
cylinders = 3
valves = ["intake"]
face = { length = "300 mm", width = "100 mm", rows = 2, columns = 2 }
"""
INJECTOR = """\
[[limit]]
characteristic = "injector protrusion"
new_min = "2.29 mm"
new_max = "2.79 mm"
"""
PRECHAMBER = """\
[[limit]]
characteristic = "prechamber protrusion"
stations = ["front", "rear"]
judge = "largest"
service_max = "0.10 mm"
"""
FLAT = """\
[[limit]]
characteristic = "head-face flatness"
service_max = "0.080 mm"
"""
SHEET = load(HEAD + INJECTOR + PRECHAMBER + FLAT, "s.toml")
NAME = "injector protrusion"
U = 4_000_000
STAMP = Stamp("2026-01-02T00:00:00.000000Z", 0, "A. N.", "bench 1")
_TEXT, _FILE = content.read("sim/prices", "demo-shop")
PRICES = _TEXT.partition("[[prices.oversize]]")[0], _FILE
"""Without the oversize of exhaust valves, of which this head has none."""


def value(name: str, station: str, text: str, place: int = 1, u_pm: int | None = U) -> Measured:
    return Measured("", name, station, "", parse_length(f"{text} mm").pm, text, "mm", u_pm, place)


def injectors(*texts: str) -> list[Measured]:
    return [value(NAME, f"cylinder {number}", text, number)
            for number, text in enumerate(texts, 1)]  # fmt: skip


def test_every_cylinder_is_asked_for_and_says_its_name() -> None:
    words = [step.position.words for step in plan_for(SHEET)]
    assert words[:5] == [
        "Cylinder 1: injector protrusion", "Cylinder 2: injector protrusion",
        "Cylinder 3: injector protrusion", "Cylinder 1: prechamber protrusion, front",
        "Cylinder 1: prechamber protrusion, rear",
    ]  # fmt: skip
    steps = plan_for(SHEET)
    wanted = [n for n, step in enumerate(steps) if step.position.cylinder]
    assert [steps[n].position.cylinder for n in walk(steps, wanted)] == [1, 2, 3, 3, 3, 2, 2, 1, 1]


def test_each_cylinder_is_judged_by_itself() -> None:
    found = judge(SHEET, injectors("2.29", "2.54", "2.79"))
    own = [one for one in found.verdicts if one.characteristic == NAME]
    assert [(one.reason.split(";")[0], one.verdict) for one in own] == [
        ("cylinder 1", "undecided"), ("cylinder 2", "within"), ("cylinder 3", "undecided")
    ]  # fmt: skip
    assert judge(SHEET, injectors("2.20", "2.54", "2.90")).counts() == {
        "within": 1, "outside": 2, "undecided": 0
    }  # fmt: skip
    lacking = judge(SHEET, injectors("2.50", "2.54")).missing[0]
    assert (lacking.characteristic, lacking.why) == (NAME, "cylinder 3")


def test_points_at_one_cylinder_are_combined_and_never_those_of_two() -> None:
    readings = [
        value("prechamber protrusion", "cylinder 1, front", "0.02", 1),
        value("prechamber protrusion", "cylinder 1, rear", "0.04", 2),
        value("prechamber protrusion", "cylinder 2, front", "0.14", 3),
    ]
    one, two = judge(SHEET, readings).verdicts
    assert (one.verdict, one.text, one.places) == ("within", "0.04", (1, 2))
    assert one.reason.startswith("cylinder 1: largest of 2 readings: cylinder 1, rear")
    assert (two.verdict, two.places) == ("outside", (3,)), "the missing one cannot mend it"


@given(st.lists(st.integers(200, 300), min_size=3, max_size=3), st.permutations([0, 1, 2]))
def test_what_another_cylinder_reads_changes_no_verdict(sizes: list[int], order: list[int]) -> None:
    def verdicts(cylinders: list[int]) -> list[str]:
        found = judge(SHEET, injectors(*(f"{sizes[at] / 100:.2f}" for at in cylinders)))
        return [one.verdict for one in found.verdicts if one.characteristic == NAME]

    plain = verdicts([0, 1, 2])
    assert verdicts(order) == [plain[at] for at in order]


@pytest.mark.parametrize(
    ("limit", "line", "what"),
    [
        (INJECTOR + 'valves = ["intake"]\n', 13, "belongs to a cylinder, so it takes no valves"),
        (PRECHAMBER.replace('"rear"', '"front"'), 11, "in which one stands twice"),
    ],
)
def test_a_limit_that_makes_no_sense_is_refused_with_its_line(
    limit: str, line: int, what: str
) -> None:
    (fault,) = check(HEAD + limit, "s.toml").errors
    assert (fault.file, fault.line) == ("s.toml", line)
    assert what in fault.what


# ---- planning -----------------------------------------------------------------------------------


def surveyed(more: str, *given_: Measured) -> Survey:
    sheet = load(HEAD + INJECTOR + PRECHAMBER + FLAT + more, "s.toml")
    shop = load_prices(*PRICES, kinds=sheet.head.kinds)
    return survey(sheet, given_, judge(sheet, given_), shop, name="J1")


def face(far: str) -> list[Measured]:
    """A face of which one corner lies off the plane of the others."""
    texts = {"A1": "0.000", "A2": "0.000", "B1": "0.000", "B2": far}
    return [value("face height", station, text, at, 500_000)
            for at, (station, text) in enumerate(texts.items(), 20)]  # fmt: skip


def test_the_task_has_them_and_is_that_of_its_job_file() -> None:
    found = surveyed(
        "", *injectors("2.41", "2.46", "2.52"),
        value("prechamber protrusion", "cylinder 2, front", "0.02", 8),
        value("prechamber protrusion", "cylinder 2, rear", "0.05", 9), *face("0.000"),
    )  # fmt: skip
    assert found.left_out == ()
    assert [(one.name, one.valves, dict(one.readings)) for one in found.task.cylinders] == [
        ("cylinder 1", ("1I",), {NAME: 2_410_000_000}),
        ("cylinder 2", ("2I",), {NAME: 2_460_000_000, "prechamber protrusion": 50_000_000}),
        ("cylinder 3", ("3I",), {NAME: 2_520_000_000}),
    ]
    assert found.task.head[NAME] == Range(2_290_000_000, 2_790_000_000)
    again = load_task(job_file(found, "D-0042.sqlite"), "job.toml", PRICES)
    assert again.cylinders == found.task.cylinders
    assert again.head == found.task.head
    assert {name: u for name, u in again.u_pm.items() if name in found.task.u_pm} == {
        name: u for name, u in found.task.u_pm.items() if u
    }
    assert plan(again) == plan(found.task)


def test_a_skim_goes_no_deeper_than_the_injectors_bear() -> None:
    """By hand: one corner 0.240 off is 0.120 of flatness (half of it, four corners of a grid).

    U of flatness is 2.3 um of 0.5 * root 2 * 1.645: at least 0.121 or so comes off, and cylinder 3
    has 0.27 to go; of 2.74 it would come to more than 2.79.
    """
    others = [value("prechamber protrusion", f"cylinder {number}, {end}", "-0.20", 30 + number)
              for number in (1, 2, 3) for end in ("front", "rear")]  # fmt: skip
    found = plan(surveyed("", *injectors("2.41", "2.46", "2.52"), *others, *face("0.240")).task)
    assert isinstance(found, Plan)
    assert found.skim is not None
    depth = found.skim.pm
    task = surveyed("", *injectors("2.41", "2.46", "2.52"), *others, *face("0.240")).task
    again = {(one.place, one.characteristic): one.expected
             for one in work_order(task, found).remeasure}  # fmt: skip
    assert again["cylinder 3", NAME].least_pm == 2_520_000_000 + depth
    stuck = plan(surveyed("", *injectors("2.41", "2.46", "2.78"), *others, *face("0.240")).task)
    assert isinstance(stuck, Conflict)
    assert set(stuck.limits) == {
        ("", "head-face flatness max"), ("cylinder 3", "injector protrusion max")
    }  # fmt: skip


# ---- on the bench -------------------------------------------------------------------------------


class Bench:
    """Three injectors on a bench, in fake time."""

    def __init__(self) -> None:
        self.sheet = load(HEAD + INJECTOR, "s.toml")
        gauge = Gauge("I1", "indicator", "Indicator", "2", "none", U, "2026-06-30")
        self.session = Session(plan_for(self.sheet), {"I1": gauge}, "final", sheet=self.sheet)
        self.places = 0

    def do(self, deed: Any) -> int:
        """Carry out a command; give the record place of its last event."""
        for event in self.session.decide(deed, STAMP):
            self.session.apply(self.places, event)
            self.places += 1
        return self.places - 1

    def measure(self, *texts: str) -> None:
        """Let the gauge send values, one after the other."""
        for text in texts:
            self.do(ValueArrived("I1", parse_length(f"{text} mm"), text.encode()))

    def judgement(self) -> Judgement:
        """Judge what counts."""
        return judge_session(self.sheet, self.session, {})


def test_a_skim_makes_them_stale_and_foretells_them() -> None:
    """By hand: 2.41 and a skim of 0.10 are 2.51; 2.60 is more than 2.58 u beyond that."""
    bench = Bench()
    bench.measure("2.41", "2.46", "2.52")
    bench.do(DoWork("face skimmed", (), parse_length("0.10 mm"), "A. N."))
    assert bench.session.filled == {}
    asked = bench.session.step
    assert asked is not None
    assert asked.position == Position("", NAME, "cylinder 1")
    bench.measure("2.51", "2.57", "2.71")
    assert [one.word for one in compared_in(bench.session, {})] == [
        "as foretold", "as foretold", "surprise"
    ]  # fmt: skip


def test_one_that_is_outside_stands_against_a_release_with_its_cylinder() -> None:
    bench = Bench()
    bench.measure("2.41", "2.96", "2.52")
    found = [one for one in blocks(bench.session, bench.judgement(), DAY) if one.judged]
    (block,) = found
    assert block.words == (
        "injector protrusion of cylinder 2: outside, 2.96 mm against new min 2.29 mm, "
        "new max 2.79 mm"
    )
    assert block.sign is not None
    bench.do(SignDeviation("", NAME, "", block.sign.limit, "2.96 mm", block.sign.places, "C. D.",
                           "shorter washer ordered"))  # fmt: skip
    assert [one for one in blocks(bench.session, bench.judgement(), DAY) if one.judged] == []


def test_a_file_of_readings_names_the_cylinder(run_cli: RunCli, tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(HEAD + INJECTOR, encoding="utf-8")
    (tmp_path / "r.csv").write_text(
        "valve,characteristic,station,direction,value,unit\n"
        ",injector protrusion,cylinder 1,,2.41,mm\n"
        ",injector protrusion,cylinder 2,,0.1165,in\n"
        ",injector protrusion,cylinder 3,,2.52,mm\n",
        encoding="utf-8",
    )
    status, out, err = run_cli("judge", tmp_path / "s.toml", tmp_path / "r.csv", "--json")
    assert (status, err) == (1, "")
    told = [(one["verdict"], one["value"]) for one in json.loads(out)["verdicts"]]
    assert told == [("within", "2.41"), ("outside", "0.1165"), ("within", "2.52")]


def test_a_task_without_cylinders_refuses_nothing_new() -> None:
    with pytest.raises(InputError, match="belongs to a cylinder"):
        load(HEAD + INJECTOR + 'valves = ["1I"]\n', "s.toml")
