"""`gaugelink feeler` takes blades for what they are: bounds of a gap."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import RunCli

FACE = "line,goes,stops\nfront edge,0,0.02\nrear edge,0.03,0.04\nrising diagonal,0.05,0.06\n"


def told(run_cli: RunCli, folder: Path, limit: str, status: int, text: str = FACE
         ) -> dict[str, Any]:  # fmt: skip
    file = folder / "blades.csv"
    file.write_text(text)
    got, out, err = run_cli("feeler", file, "--limit", limit, "--json")
    assert (got, err) == (status, "")
    document: dict[str, Any] = json.loads(out)
    return document


@pytest.mark.parametrize(
    ("limit", "status", "verdicts"),
    [
        ("0.06mm", 0, ["within", "within", "within"]),
        ("0.05mm", 1, ["within", "within", "undecided"]),
        ("0.035mm", 1, ["within", "undecided", "outside"]),
    ],
)
def test_a_gap_is_judged_by_its_bounds(
    limit: str, status: int, verdicts: list[str], run_cli: RunCli, tmp_path: Path
) -> None:
    found = told(run_cli, tmp_path, limit, status)
    assert [row["verdict"] for row in found["lines"]] == verdicts
    assert found["verdict"] == verdicts[-1]
    assert (found["goes_mm"], found["stops_mm"]) == (0.05, 0.06)


def test_a_gap_that_no_blade_stopped_in_is_never_within(run_cli: RunCli, tmp_path: Path) -> None:
    found = told(run_cli, tmp_path, "9mm", 1, "line,goes,stops\nedge,0.1,\nother,0,0.02\n")
    assert (found["verdict"], found["stops_mm"]) == ("undecided", None)


def test_inch_blades_are_held_against_a_metric_limit_exactly(
    run_cli: RunCli, tmp_path: Path
) -> None:
    """0.002 in is 0.0508 mm: it stops, so the gap is below; 0.0507 mm does not decide."""
    text = "line,goes,stops,unit\nedge,0.0015,0.002,in\n"
    assert told(run_cli, tmp_path, "0.0508mm", 0, text)["verdict"] == "within"
    assert told(run_cli, tmp_path, "0.0507mm", 1, text)["verdict"] == "undecided"


def test_people_are_told_what_would_decide(run_cli: RunCli, tmp_path: Path) -> None:
    file = tmp_path / "blades.csv"
    file.write_text(FACE)
    status, out, _ = run_cli("feeler", file, "--limit", "0.05mm")
    assert status == 1
    assert "largest" in out
    assert "try a blade between" in out


@pytest.mark.parametrize(
    ("text", "limit", "sentence"),
    [
        (FACE.replace("0.05,0.06", "0.06,0.05"), "1mm", "line 4, stops: found a blade of 0.05"),
        (FACE.replace("rear", "front"), "1mm", "line 3, line: found 'front edge' twice"),
        (FACE.replace("rear edge", ""), "1mm", "line 3, line: the cell is empty"),
        (FACE.replace("0.03,", ","), "1mm", "line 3, goes: found ''"),
        (FACE.replace("0.03,", "-1,"), "1mm", "line 3, goes: found '-1', accepted: 0 or more"),
        (FACE, "1", "--limit: found '1' without a unit"),
        (FACE, "-1mm", "--limit"),
    ],
)
def test_what_cannot_be_judged_is_said_in_a_sentence(
    text: str, limit: str, sentence: str, run_cli: RunCli, tmp_path: Path
) -> None:
    file = tmp_path / "blades.csv"
    file.write_text(text)
    status, out, err = run_cli("feeler", file, f"--limit={limit}", "--json")
    assert (status, out) == (2, "")
    assert sentence in err
    assert err.count("\n") == 1
