"""Figures of a limit sheet that are ten times off are told, with file, line and field."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, strategies as st

from gaugelink import content
from gaugelink.head import CHARACTERISTICS
from gaugelink.plausible import USUAL
from gaugelink.quantity import exact_text
from gaugelink.sheetfile import check

if TYPE_CHECKING:
    from conftest import RunCli

TITLE = """\
[sheet]
name = "Pump engine"
edition = "1"
source = "invented"
[head]
cylinders = 2
valves = ["intake", "exhaust"]
face = { length = "300 mm", width = "100 mm", rows = 2, columns = 2 }
[[limit]]
"""
DIRECT = 'characteristic = "guide clearance"\nmethod = "direct"\n'


def warnings_of(limit: str):
    found = check(TITLE + limit, "s.toml")
    assert not found.errors
    assert found.sheet is not None
    return found.warnings


@pytest.mark.parametrize(
    ("limit", "line", "field"),
    [
        # US Army TM 9-4310-397-14, p. 294: max stem clearance 0.006 in, printed as 0.015 mm.
        (DIRECT + 'service_max = "0.015 mm"\n', 12, "limit.1.service_max"),
        # TM 9-6115-604-34, table 1-4: rim thickness 12.67 mm, head thickness "34.755 in".
        ('characteristic = "margin"\nservice_min = "12.67 mm"\n', 11, "limit.1.service_min"),
        ('characteristic = "head thickness"\nnew_max = "34.755 in"\n', 11, "limit.1.new_max"),
        # Seat runout 0.003 in printed as 0.760 mm; seat width 0.025 in printed as 0.065 mm.
        ('characteristic = "seat runout"\nservice_max = "0.760 mm"\n', 11, "limit.1.service_max"),
        ('characteristic = "seat width"\nnew_min = "0.065 mm"\n', 11, "limit.1.new_min"),
    ],
)
def test_misprints_of_real_manuals_are_told(limit: str, line: int, field: str) -> None:
    [doubt] = warnings_of(limit)
    assert (doubt.file, doubt.line, doubt.field) == ("s.toml", line, field)
    assert "usual for" in doubt.what


@pytest.mark.parametrize(
    "limit",
    [
        # What these lines mean: the same manuals, printed right.
        DIRECT + 'service_max = "0.152 mm"\n',
        'characteristic = "margin"\nservice_min = "2.667 mm"\n',
        'characteristic = "head thickness"\nnew_max = "4.755 in"\n',
        'characteristic = "seat runout"\nservice_max = "0.076 mm"\n',
        'characteristic = "seat width"\nnew_min = "0.635 mm"\n',
        # A difference of readings has another magnitude.
        'characteristic = "stem diameter"\njudge = "range"\nservice_max = "0.02 mm"\n',
        # A valve that stands proud, as one book prints it: -0.86 to -1.22.
        'characteristic = "stand-down"\nnew_min = "-1.22 mm"\nnew_max = "-0.86 mm"\n',
    ],
)
def test_usual_figures_are_not_told(limit: str) -> None:
    assert warnings_of(limit) == []


def test_bounds_that_are_far_apart_are_told() -> None:
    [doubt] = warnings_of(
        'characteristic = "stem diameter"\nnew_min = "7.960 mm"\nservice_min = "6.935 mm"\n'
    )
    assert doubt.what.startswith("found service_min and new_min 1.025 mm apart, ")


def test_the_shipped_sheets_are_usual() -> None:
    names = content.names("sim/sheets")
    assert names
    for name in names:
        found = check(*content.read("sim/sheets", name))
        assert (found.errors, found.warnings) == ([], [])


def test_every_characteristic_that_can_be_limited_has_its_range() -> None:
    methods = {f"guide clearance, {method}" for method in ("direct", "rock")}
    assert set(USUAL) == set(CHARACTERISTICS) - {"guide clearance"} | methods
    for usual in USUAL.values():
        assert usual.low[0] < usual.low[1]
        assert usual.of("new_max")[0] < usual.of("new_max")[1]


@given(
    st.sampled_from(["stem diameter", "stand-down", "margin", "spring free length"]),
    st.sampled_from(["new_min", "service_max"]),
    st.integers(1, 400_000),
)
def test_the_unit_of_print_makes_no_difference(name: str, key: str, thousandths: int) -> None:
    """A thousandth of an inch is 25.4 um exactly, so both texts say the same length."""
    pm = thousandths * 25_400_000
    both = [
        warnings_of(f'characteristic = "{name}"\n{key} = "{exact_text(pm, unit)} {unit}"\n')
        for unit in ("mm", "in")
    ]
    assert len(both[0]) == len(both[1])


def test_the_command_tells_them_and_the_sheet_can_be_used(run_cli: RunCli, tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text(TITLE + DIRECT + 'service_max = "0.015 mm"\n', encoding="utf-8")
    status, out, err = run_cli("sheet", "check", path)
    assert (status, err) == (0, "")
    assert out.startswith(f"{path}, line 12, limit.1.service_max (unusual): found 0.015 mm, usual ")
    assert out.endswith("It can be used.\n")
    status, out, err = run_cli("sheet", "check", path, "--json")
    [doubt] = json.loads(out)["warnings"]
    assert (status, doubt["line"], doubt["field"]) == (0, 12, "limit.1.service_max")


def test_the_page_on_limit_sheets_gives_every_range() -> None:
    page = Path(__file__).resolve().parents[1] / "docs" / "limit-sheets.md"
    text = page.read_text(encoding="utf-8")
    for name, usual in USUAL.items():
        low, high = usual.low, usual.high or usual.low
        ranges = [f"{one / 1000:g} to {other / 1000:g}" for one, other in (low, high)]
        assert f"| {name} | {ranges[0]} | {ranges[1]} | " in text
