"""A limit sheet is accepted whole or refused with the line of every fault in it."""

from __future__ import annotations

import hashlib
import re
from typing import TYPE_CHECKING

import pytest

from gaugelink.errors import InputError
from gaugelink.sheetfile import check, load

if TYPE_CHECKING:
    from pathlib import Path

CONTRACT = """\
[sheet]
name = "Demo pump engine, six cylinders, twelve valves"
edition = "2"
source = "title, page"

[head]
cylinders = 6
valves = ["intake", "exhaust"]        # per cylinder, in order from the front

[[limit]]
characteristic = "stem diameter"
valves = ["intake"]                    # absent: all
stations = ["top", "middle", "bottom"]
directions = ["along", "across"]
judge = "smallest"                     # each | smallest | largest | mean | range
new_min = "7.960 mm"
new_max = "7.975 mm"
service_min = ["7.935 mm", "0.3124 in"]   # a pair where the book prints both
source = "p. 12"

[[limit]]
characteristic = "guide clearance"
method = "rock"                        # rock | direct; never compared with the other
lift = "8 mm"
valve_used = "new"
service_max = "0.10 mm"
"""
"""The sheet by which the file format is fixed for everybody who writes one."""

GOOD = """\
# invented figures
[sheet]
name = "Pump engine"
edition = "1"
source = "invented"
invented = true

[head]
cylinders = 2
valves = ["intake", "exhaust", "exhaust"]
[head.face]
length = "300 mm"
width = "100 mm"
rows = 3
columns = 5

[[limit]]
characteristic = "stem diameter"
valves = ["intake", "2E1"]
stations = ["top", "bottom"]
directions = ["along", "across"]
judge = "smallest"
new_min = ["7.960 mm", "0.3134 in"]
new_max = "7.975 mm"
service_min = ["7.935 mm", "0.3124 in"]

[[limit]]
characteristic = "guide clearance"
method = "rock"
lift = "8 mm"
valve_used = "new"
guide_length = "50 mm"
reach = "25 mm"
service_max = "0.10 mm"

[[limit]]
characteristic = "guide clearance"
method = "direct"
stations = ["top", "bottom"]
new_min = "0.020 mm"
service_max = "0.08 mm"

[[limit]]
characteristic = "margin"
service_min = ["0.105 in", "12.67 mm"]
resolved.service_min = { keep = "in", reason = "the drawing shows 2.7", by = "A. N." }

[[limit]]
characteristic = "head-face flatness"
service_max = "0.05 mm"
"""


def faults_of(text: str) -> list[InputError]:
    found = check(text, "s.toml")
    assert found.sheet is None
    return found.errors


def test_the_sheet_of_the_contract_is_accepted_word_for_word() -> None:
    found = check(CONTRACT, "s.toml")
    assert (found.limits, found.disagreements, found.errors) == (2, [], [])
    sheet = load(CONTRACT, "s.toml")
    stem, rock = sheet.limits
    assert stem.valves == ("1I", "2I", "3I", "4I", "5I", "6I")
    assert stem.lower is not None
    assert stem.lower.pm == 7_934_960_000  # 0.3124 in is the wider of the two
    assert stem.words == "service min 7.935 mm (0.3124 in), new max 7.975 mm"
    assert len(stem.wanted()) == 6
    assert len(rock.valves) == 12
    assert rock.words == "service max 0.10 mm"
    assert (rock.method, str(rock.lift), rock.valve_used) == ("rock", "8 mm", "new")


def test_the_sheet_of_the_contract_is_that_of_the_design_page(shared: Path) -> None:
    page = (shared / "design.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```toml\n(.*?)```", page, re.DOTALL)
    assert CONTRACT in blocks


def test_the_good_sheet_is_good() -> None:
    sheet = load(GOOD, "s.toml")
    assert len(sheet.limits) == 5
    assert sheet.invented
    assert sheet.sha256 == hashlib.sha256(GOOD.encode()).hexdigest()
    assert sheet.text == GOOD


def test_a_cylinder_may_have_several_valves_of_a_kind() -> None:
    sheet = load(GOOD, "s.toml")
    stem, rock = sheet.limits[:2]
    assert stem.valves == ("1I", "2I", "2E1")
    assert stem.kinds == ("intake", "exhaust")
    assert rock.valves == ("1I", "1E1", "1E2", "2I", "2E1", "2E2")
    assert [limit.method for limit in sheet.of("guide clearance", "2E1")] == ["rock", "direct"]
    assert list(sheet.of("stem diameter", "1E1")) == []


MUTATIONS = [
    # what is there, what is written instead, the line's text, the field, words of the message
    ("[sheet]\n", "", None, None, "this key is missing"),
    ('name = "Pump engine"', 'name = " "', 'name = " "', "sheet.name", "at least 1 character"),
    ('edition = "1"', "edition = 1", "edition = 1", "sheet.edition", "found 1; input should be"),
    ('source = "invented"\n', "", "[sheet]", "sheet.source", "this key is missing"),
    ("invented = true", 'invented = "yes"', 'invented = "yes"', "sheet.invented", "found 'yes'"),
    ("cylinders = 2", "cylinders = 0", "cylinders = 0", "head.cylinders", "found 0"),
    ("cylinders = 2", 'cylinders = "2"', 'cylinders = "2"', "head.cylinders", "found '2'"),
    ('"exhaust", "exhaust"]', '"outlet"]', 'valves = ["intake", "outlet"]', "head.valves.2",
     "found 'outlet'; input should be 'intake' or 'exhaust'"),
    ('length = "300 mm"', 'length = "300"', 'length = "300"', "head.face.length", "without a unit"),
    ('width = "100 mm"', 'width = "-1 mm"', 'width = "-1 mm"', "head.face.width", "above 0"),
    ("rows = 3", "rows = 1", "rows = 1", "head.face.rows", "greater than or equal to 2"),
    ("columns = 5\n", "", "[head.face]", "head.face.columns", "missing"),
    ('"stem diameter"', '"stem diametre"', 'characteristic = "stem diametre"',
     "limit.1.characteristic", "found 'stem diametre', accepted: stem diameter, guide bore"),
    ('"intake", "2E1"]', '"inlet"]', 'valves = ["inlet"]', "limit.1.valves",
     "found 'inlet', accepted on this head: intake, exhaust, 1I, ..."),
    ('"intake", "2E1"]', '"3I"]', 'valves = ["3I"]', "limit.1.valves", "found '3I', accepted"),
    ('"intake", "2E1"]', '"2E"]', 'valves = ["2E"]', "limit.1.valves", "found '2E', accepted"),
    ('["intake", "2E1"]', "[]", "valves = []", "limit.1.valves", "found an empty list"),
    ('stations = ["top", "bottom"]\ndirections', 'stations = ["top", "top "]\ndirections',
     'stations = ["top", "top "]', "limit.1.stations", "in which one stands twice"),
    ('directions = ["along", "across"]', 'directions = ["x"]', 'directions = ["x"]',
     "limit.1.directions.1", "found 'x'; input should be 'along' or 'across'"),
    ('judge = "smallest"', 'judge = "least"', 'judge = "least"', "limit.1.judge",
     "found 'least'; input should be 'each', 'smallest', 'largest', 'mean' or 'range'"),
    ('new_max = "7.975 mm"', "new_max = 7.975", "new_max = 7.975", "limit.1.new_max",
     'found 7.975 without a unit, accepted: text such as "7.975 mm"'),
    ('new_max = "7.975 mm"', 'new_max = "7.975"', 'new_max = "7.975"', "limit.1.new_max",
     "found '7.975' without a unit"),
    ('new_max = "7.975 mm"', 'new_max = "7.975 cm"', 'new_max = "7.975 cm"', "limit.1.new_max",
     "found the unit 'cm'"),
    ('new_max = "7.975 mm"', 'new_max = ["8 mm", "8.0 mm"]', 'new_max = ["8 mm", "8.0 mm"]',
     "limit.1.new_max", "found two figures in mm, accepted: mm and in"),
    ('new_max = "7.975 mm"', 'new_max = ["8 mm", "0.3 in", "1 mm"]', "new_max =",
     "limit.1.new_max", "at most 2"),
    ('new_max = "7.975 mm"', 'new_max = "7.955 mm"', 'new_max = "7.955 mm"', "limit.1.new_max",
     "found new_max 7.955 mm below new_min 7.960 mm (0.3134 in); the order is service_min, "),
    ('new_max = "7.975 mm"', 'max_new = "7.975 mm"', 'max_new = "7.975 mm"', "limit.1.max_new",
     "unknown key, found '7.975 mm'; accepted: characteristic, valves, stations"),
    ('service_min = ["7.935 mm", "0.3124 in"]', 'service_max = "7.970 mm"',
     'service_max = "7.970 mm"', "limit.1.service_max", "below new_max 7.975 mm"),
    ('lift = "8 mm"\n', "", "[[limit]]@2", "limit.2.lift",
     'a limit by rock needs it, for example lift = "8 mm"'),
    ('lift = "8 mm"', 'lift = "0 mm"', 'lift = "0 mm"', "limit.2.lift", "a length above 0"),
    ('valve_used = "new"\n', "", "[[limit]]@2", "limit.2.valve_used", "a limit by rock needs it"),
    ('reach = "25 mm"\n', "", "[[limit]]@2", "limit.2.reach", "belong together"),
    ('method = "rock"\n', "", "[[limit]]@2", "limit.2.method",
     'guide clearance needs method = "rock" or "direct"'),
    ('method = "rock"', 'method = "rock"\nstations = ["top"]', 'stations = ["top"]',
     "limit.2.stations", "rock has directions, not stations"),
    ('method = "direct"', 'method = "direct"\nlift = "8 mm"', 'lift = "8 mm"@2', "limit.3.lift",
     "belongs to a limit by rock, not to a direct one"),
    ('method = "direct"', 'method = "direct"\njudge = "range"', 'judge = "range"', "limit.3.judge",
     "accepted for direct clearance: each, smallest, largest, mean"),
    ('"margin"', '"margin"\nmethod = "rock"', 'method = "rock"@2', "limit.4.method",
     "belongs to guide clearance, not to 'margin'"),
    ('service_min = ["0.105 in", "12.67 mm"]\n', "", "resolved", "limit.4.resolved.service_min",
     "has no pair of figures to resolve"),
    ('reason = "the drawing shows 2.7"', 'reason = " "', "resolved",
     "limit.4.resolved.service_min.reason", "at least 1 character"),
    ('keep = "in"', 'keep = "inch"', "resolved", "limit.4.resolved.service_min.keep",
     "found 'inch'; input should be 'mm' or 'in'"),
    ('service_max = "0.05 mm"', "", "head-face flatness", "limit.5.characteristic",
     "the limit has no figure; needed: any of service_min, new_min, new_max, service_max"),
    ('"head-face flatness"', '"head-face flatness"\nvalves = ["intake"]', 'valves = ["intake"]',
     "limit.5.valves", "belongs to the head as a whole"),
    ("[head.face]", "[head.fase]", "[head.fase]", "head.fase", "unknown key"),
    ('[[limit]]\ncharacteristic = "margin"', '[[limits]]\ncharacteristic = "margin"', "[[limits]]",
     "limits", "unknown key"),
    ('judge = "smallest"', 'judge = "smallest', 'judge = "smallest', None, "not valid TOML"),
]  # fmt: skip


def line_with(text: str, wanted: str) -> int:
    """The line that holds a text; ``@2`` asks for the second such line."""
    needle, _, nth = wanted.partition("@")
    lines = [number for number, row in enumerate(text.splitlines(), 1) if needle in row]
    return lines[int(nth or 1) - 1]


@pytest.mark.parametrize(("old", "new", "row", "field", "words"), MUTATIONS)
def test_a_fault_in_a_sheet_is_placed(
    old: str, new: str, row: str | None, field: str | None, words: str
) -> None:
    assert GOOD.count(old) >= 1
    text = GOOD.replace(old, new, 1)
    faults = faults_of(text)
    found = [fault for fault in faults if words in fault.what]
    assert found, [str(fault) for fault in faults]
    if row is not None:
        assert (found[0].file, found[0].line, found[0].field) == (
            "s.toml",
            line_with(text, row),
            field,
        )
    with pytest.raises(InputError) as first:
        load(text, "s.toml")
    assert str(first.value) == str(faults[0])


def test_the_sheet_was_bent_in_many_ways() -> None:
    assert len(MUTATIONS) >= 40


def test_a_sheet_without_limits_does_not_point_at_the_head() -> None:
    (fault,) = faults_of(GOOD.partition("[[limit]]")[0])
    assert str(fault) == "s.toml, limit: this key is missing; it must be given"


def test_flatness_needs_to_know_the_face() -> None:
    text = re.sub(r"\[head\.face\]\n(.+\n){4}", "", GOOD)
    (fault,) = faults_of(text)
    assert (fault.line, fault.field) == (
        line_with(text, "head-face flatness"),
        "limit.5.characteristic",
    )
    assert "needs [head.face]" in fault.what


def test_every_fault_is_reported_and_not_only_the_first() -> None:
    text = (
        GOOD.replace('"stem diameter"', '"stem"')
        .replace('lift = "8 mm"', 'lift = "8"')
        .replace('service_max = "0.05 mm"', 'service_max = "0,05"')
    )
    faults = faults_of(text)
    assert [fault.field for fault in faults] == [
        "limit.1.characteristic",
        "limit.2.lift",
        "limit.5.service_max",
    ]
    assert [fault.line for fault in faults] == sorted(fault.line or 0 for fault in faults)


def sheet_with(*limits: str) -> str:
    return GOOD.partition("[[limit]]")[0] + "".join(f"[[limit]]\n{item}\n" for item in limits)


STEM = 'characteristic = "stem diameter"\nservice_min = "7.9 mm"\n'


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("", ""),
        ('valves = ["intake"]', ""),
        ('valves = ["intake"]', 'valves = ["1I"]'),
        ('stations = ["top"]', ""),
        ('stations = ["top", "middle"]', 'stations = ["middle"]'),
        ('directions = ["along"]', ""),
    ],
)
def test_two_limits_for_one_question_are_refused(one: str, other: str) -> None:
    text = sheet_with(STEM + one, STEM + other)
    (fault,) = faults_of(text)
    assert fault.line == line_with(text, "stem diameter@2")
    assert "has such a limit already, on line 17; one of the two must go" in fault.what


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ('valves = ["intake"]', 'valves = ["exhaust"]'),
        ('valves = ["1I"]', 'valves = ["2I"]'),
        ('stations = ["top"]', 'stations = ["middle"]'),
        ('directions = ["along"]', 'directions = ["across"]'),
        ('judge = "smallest"', 'judge = "range"'),
    ],
)
def test_limits_may_differ_in_valves_stations_directions_or_judge(one: str, other: str) -> None:
    assert len(load(sheet_with(STEM + one, STEM + other), "s.toml").limits) == 2


def test_a_guide_may_be_rocked_with_its_own_valve_and_with_a_new_one() -> None:
    rock = 'characteristic = "guide clearance"\nmethod = "rock"\nlift = "8 mm"\n'
    both = [f'{rock}valve_used = "{used}"\nservice_max = "0.1 mm"\n' for used in ("own", "new")]
    assert [one.valve_used for one in load(sheet_with(*both), "s.toml").limits] == ["own", "new"]
    assert len(faults_of(sheet_with(both[0], both[0]))) == 1
