"""`gaugelink judge` holds a file of readings against a sheet, and refuses what it cannot read."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import RunCli

SHEET = """\
[sheet]
name = "Pump engine"
edition = "2"
source = "invented"

[head]
cylinders = 2
valves = ["intake", "exhaust"]
face = { length = "300 mm", width = "100 mm", rows = 2, columns = 2 }

[[limit]]
characteristic = "stem diameter"
valves = ["intake"]
stations = ["top", "bottom"]
judge = "smallest"
new_max = "7.975 mm"
service_min = ["7.935 mm", "0.3124 in"]
source = "p. 12"

[[limit]]
characteristic = "guide clearance"
method = "rock"
lift = "8 mm"
valve_used = "new"
judge = "largest"
service_max = "0.10 mm"

[[limit]]
characteristic = "head-face flatness"
service_max = "0.05 mm"
"""
HEADER = "valve,characteristic,station,direction,value,unit"


class Judge:
    """Writes the files and runs the command."""

    def __init__(self, run_cli: RunCli, folder: Path) -> None:
        self.run_cli = run_cli
        self.sheet = folder / "s.toml"
        self.readings = folder / "r.csv"
        self.sheet.write_text(SHEET, encoding="utf-8")

    def __call__(self, rows: str, *words: str) -> tuple[int, str, str]:
        """Judge these rows; the header is theirs if they have one."""
        text = rows if rows.startswith(("valve", "\ufeff")) else f"{HEADER}\n{rows}"
        self.readings.write_text(text, encoding="utf-8")
        return self.run_cli("judge", self.sheet, self.readings, *words)

    def json(self, rows: str) -> tuple[int, dict[str, Any]]:
        """Judge these rows; give the document."""
        status, out, err = self(rows, "--json")
        assert err == ""
        document = json.loads(out)
        assert isinstance(document, dict)
        return status, document

    def refusal(self, rows: str) -> str:
        """Judge these rows, which must be refused; give the sentence without the file's name."""
        status, out, err = self(rows)
        assert (status, out) == (2, "")
        assert err.startswith(f"gaugelink: {self.readings}, ")
        assert err.count("\n") == 1
        assert self(rows, "--json") == (2, "", err)
        return err.removeprefix(f"gaugelink: {self.readings}, ").removesuffix("\n")


@pytest.fixture
def judge(run_cli: RunCli, tmp_path: Path) -> Judge:
    return Judge(run_cli, tmp_path)


STEMS = "1I,stem diameter,top,along,7.940,mm\n1I,stem diameter,bottom,along,0.3124,in\n"


def test_json_has_the_shape_that_other_programs_read(judge: Judge) -> None:
    status, document = judge.json(STEMS)
    assert status == 0
    assert set(document) == {"verdicts", "counts", "unjudged", "not_measured"}
    assert document["counts"] == {"within": 1, "outside": 0, "undecided": 0}
    assert document["unjudged"] == []
    (verdict,) = document["verdicts"]
    assert verdict == {
        "valve": "1I",
        "characteristic": "stem diameter",
        "method": "",
        "value": "0.3124",
        "unit": "in",
        "verdict": "within",
        "limit": "service min 7.935 mm (0.3124 in), new max 7.975 mm",
        "source": "p. 12",
        "reason": "smallest of 2 readings: bottom, along",
        "probability": None,
        "lines": [2, 3],
    }
    assert {
        "valve": "2I", "characteristic": "stem diameter", "method": "", "missing": "",
    } in document["not_measured"]  # fmt: skip


@pytest.mark.parametrize(
    ("rows", "status", "verdict"),
    [
        (STEMS, 0, "within"),
        (STEMS.replace("0.3124", "0.31239"), 1, "outside"),
        (STEMS.partition("\n")[0] + "\n", 1, "undecided"),
        ("1E,guide clearance,,,0.1,mm\n", 0, "within"),
        ("1e,guide clearance,,,0.1001,mm\n", 1, "outside"),
        ("1E,guide clearance,,along,0.1,mm\n", 1, "undecided"),
        ("".join(f",face height,{name},,{z},mm\n" for name, z in
                 (("A1", 0), ("A2", 0), ("B1", 0), ("B2", "0.1"))), 0, "within"),
        ("".join(f"head,face height,{name},,{z},mm\n" for name, z in
                 (("A1", 0), ("A2", 0), ("B1", 0), ("B2", "0.101"))), 1, "outside"),
        ("-,head-face flatness,,,0.05,mm\n", 0, "within"),
    ],
)  # fmt: skip
def test_the_status_says_whether_everything_is_within(
    judge: Judge, rows: str, status: int, verdict: str
) -> None:
    found, document = judge.json(rows)
    assert [item["verdict"] for item in document["verdicts"]] == [verdict]
    assert found == status
    assert judge(rows)[0] == status


@pytest.mark.parametrize(
    ("columns", "cells", "verdict", "words"),
    [
        (",method", "rock", "within", "the only reading"),
        (",lift", "8 mm", "within", "the only reading"),
        (",lift", "9 mm", "undecided", "taken with a lift of 9 mm, the limit is for 8 mm"),
        (",valve_used", "own", "undecided", "taken with the own valve"),
        (",figure", "clearance", "within", "the only reading"),
        (",u", "0.02", "undecided", "the uncertainty reaches across the limit"),
        (",u", "0.001", "within", "the only reading"),
        (",u", "", "within", "the only reading"),
    ],
)
def test_what_is_known_of_a_rock_reading_stands_in_further_columns(
    judge: Judge, columns: str, cells: str, verdict: str, words: str
) -> None:
    rows = f"{HEADER}{columns}\n1E,guide clearance,,,0.09,mm,{cells}\n"
    status, document = judge.json(rows)
    (item,) = document["verdicts"]
    assert (item["verdict"], status) == (verdict, int(verdict != "within"))
    assert words in item["reason"]
    if cells == "0.001":
        assert 0.99 < item["probability"] <= 1


@pytest.mark.parametrize("cells", ["direct,", "rock,travel"])
def test_a_reading_that_no_limit_uses_is_named_and_not_passed_over(
    judge: Judge, cells: str
) -> None:
    rows = f"{HEADER},method,figure\n1E,guide clearance,,,0.01,mm,{cells}\n"
    status, document = judge.json(rows)
    assert status == 1
    assert document["unjudged"] == [{"line": 2, "valve": "1E", "characteristic": "guide clearance"}]
    status, out, _ = judge(rows)
    words = " ".join(out.split())
    assert status == 1
    assert "line 2: 1E guide clearance is not judged: no limit of the sheet uses it" in words


def test_people_read_a_table_the_counts_and_what_is_missing(judge: Judge) -> None:
    status, out, err = judge(STEMS.replace("7.940", "7.930"))
    assert (status, err) == (1, "")
    words = " ".join(out.split())
    assert "0 within, 1 outside, 0 undecided" in words
    for word in ("1I", "stem diameter", "7.930", "mm", "outside"):
        assert word in words
    assert "not measured: stem diameter of 2I" in words
    assert "not measured: guide clearance by rock of 1I, 1E, 2I, 2E" in words
    assert "not measured: head-face flatness of head" in words


def test_a_table_of_a_spreadsheet_with_decimal_commas_is_the_same(judge: Judge) -> None:
    plain = judge.json(STEMS)
    comma = f"{HEADER}\n{STEMS}".replace(",", ";").replace(".", ",")
    assert judge.json("\ufeff" + comma) == plain


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        ("3I,stem diameter,top,,7.9,mm",
         "line 2, valve: found '3I', accepted on this head: 1I, 1E, 2I, 2E"),
        ("1I1,stem diameter,top,,7.9,mm", "line 2, valve: found '1I1', accepted on this head"),
        (",stem diameter,top,,7.9,mm", "line 2, valve: found '', accepted on this head"),
        ("1I,face height,A1,,7.9,mm", "line 2, valve: found '1I'; face height has no valve"),
        ("1I,stem,top,,7.9,mm",
         "line 2, characteristic: found 'stem', accepted: stem diameter, guide bore"),
        ("1I,stem diameter,top,up,7.9,mm",
         "line 2, direction: found 'up', accepted: along, across"),
        ("1I,stem diameter,top,,7.9,cm", "line 2, unit: found 'cm', accepted: mm, in"),
        ("1I,stem diameter,top,,7.9,", "line 2, unit: found '', accepted: mm, in"),
        ("1I,stem diameter,top,,,mm",
         "line 2, value: found '', accepted: a plain decimal number such as 7.965"),
        ("1I,stem diameter,top,,7.9e0,mm", "line 2, value: found '7.9e0', accepted: a plain"),
        ("1I,stem diameter,top,,nan,mm", "line 2, value: found 'nan', accepted: a plain decimal"),
        ("1I,stem diameter,top,,0.31 in,mm",
         "line 2, value: found '0.31 in' where the unit is stated to be mm"),
        ("1I,stem diameter,top,,7.9,mm,8",
         "line 2: found 7 cells, accepted: 6, as in the header"),
        ("\n1I,stem diameter,top,,7.9,mm\n# x\n1I,stem diameter,top,,x,mm",
         "line 5, value: found 'x'"),
    ],
)  # fmt: skip
def test_a_bad_row_is_refused_with_its_line_and_column(
    judge: Judge, row: str, sentence: str
) -> None:
    assert judge.refusal(row + "\n").startswith(sentence)


@pytest.mark.parametrize(
    ("column", "cell", "sentence"),
    [
        ("method", "wobble", "line 2, method: found 'wobble', accepted: rock, direct"),
        ("lift", "8", "line 2, lift: found '8' without a unit"),
        ("lift", "-8 mm", "line 2, lift: found '-8 mm', accepted: a length not below 0"),
        ("valve_used", "old", "line 2, valve_used: found 'old', accepted: new, own"),
        ("figure", "play", "line 2, figure: found 'play', accepted: clearance, travel"),
        ("u", "-0.001", "line 2, u: found '-0.001', accepted: a length not below 0"),
        ("u", "1 in", "line 2, u: found '1 in' where the unit is stated to be mm"),
        ("colour", "red", "line 1, colour: unknown column; accepted: valve, characteristic"),
    ],
)
def test_a_bad_cell_of_a_further_column_is_refused(
    judge: Judge, column: str, cell: str, sentence: str
) -> None:
    rows = f"{HEADER},{column}\n1E,guide clearance,,,0.09,mm,{cell}\n"
    assert judge.refusal(rows).startswith(sentence)


def test_a_sheet_with_an_open_disagreement_judges_nothing(judge: Judge) -> None:
    judge.sheet.write_text(SHEET.replace("7.935 mm", "7.953 mm"), encoding="utf-8")
    status, out, err = judge(STEMS)
    assert (status, out) == (2, "")
    assert err.startswith(f"gaugelink: {judge.sheet}, line 17, limit.1.service_min: 7.953 mm and ")
    assert err.count("\n") == 1


def test_either_file_may_be_absent(judge: Judge, tmp_path: Path) -> None:
    judge(STEMS)
    for sheet, readings in ((judge.sheet, "none"), ("none", judge.readings)):
        status, out, err = judge.run_cli("judge", tmp_path / sheet, tmp_path / readings)
        assert (status, out) == (2, "")
        assert err.startswith(f"gaugelink: {tmp_path / 'none'}: cannot be read (")


BENCH = """
[bench]
name = "bench 1"
operator = "A. Demo"
record = "records"
[[gauge]]
id = "M1"
kind = "micrometer"
title = "Micrometer"
serial = "1"
driver = "signed-line"
u = "0.0019 mm"
repeatability = "0.0018 mm"
calibration_due = 2099-01-01
port = "COM5"
"""


def test_with_a_bench_file_its_gauges_tell_the_uncertainty_and_what_would_decide(
    judge: Judge, tmp_path: Path
):
    bench = tmp_path / "bench.toml"
    bench.write_text(BENCH, encoding="utf-8")
    rows = "1I,stem diameter,top,,7.940,mm\n1I,stem diameter,bottom,,7.937,mm\n"
    assert judge(rows)[0] == 0  # without an uncertainty it is compared as it is
    status, out, err = judge(rows, "--bench", str(bench))
    assert (status, err) == (1, "")
    # 7.937 is 2.04 um above 0.3124 in, the wider of the two: 1.8^2 / ((2.04 / 1.645)^2 - 0.37)
    # is 2.8 by hand, three readings in all.
    assert "to decide 1I stem diameter: 2 more readings of the same place would decide it" in out
    (one,) = json.loads(judge(rows, "--bench", str(bench), "--json")[1])["deciders"]
    assert (one["verdict"], one["more"], one["gauges"]) == (0, 2, [])
    bench.write_text(BENCH.replace("signed-line", "nobody"), encoding="utf-8")
    status, out, err = judge(rows, "--bench", str(bench))
    assert (status, out) == (2, "")
    assert "bench.toml" in err


def test_a_row_keeps_the_uncertainty_that_it_states(judge: Judge, tmp_path: Path):
    bench = tmp_path / "bench.toml"
    bench.write_text(BENCH, encoding="utf-8")
    rows = (f"{HEADER},u\n1I,stem diameter,top,,7.940,mm,0.0004\n"
            "1I,stem diameter,bottom,,7.937,mm,0.0004\n")  # fmt: skip
    assert judge(rows, "--bench", str(bench))[0] == 0
