"""`gaugelink fault` reads what `judge` reads, and says of every clearance whose fault it is."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest
from test_attribution import BORE, DIRECT, NEW, ROCK, STEM, TITLE, UM
from test_judge_command import BENCH

from gaugelink.planning.fault import Size, attribute

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import RunCli

SHEET = TITLE.replace('["intake"]', '["intake", "exhaust"]') + STEM + BORE + DIRECT + ROCK
HEADER = "valve,characteristic,station,direction,value,unit,u,method,valve_used"
WORN = """\
1I,stem diameter,,,5.940,mm,0.001,,
1I,guide bore,,,6.025,mm,0.002,,
1E,stem diameter,,,5.975,mm,0.001,,
1E,guide bore,,,6.020,mm,0.002,,
"""


@pytest.fixture
def fault(run_cli: RunCli, tmp_path: Path) -> Any:
    sheet, readings = tmp_path / "s.toml", tmp_path / "r.csv"
    sheet.write_text(SHEET, encoding="utf-8")

    def run(rows: str, *words: str) -> tuple[int, str, str]:
        readings.write_text(f"{HEADER}\n{rows}", encoding="utf-8")
        return run_cli("fault", sheet, readings, *words)

    return run


def test_one_line_a_clearance_over_its_limit(fault):
    status, out, err = fault(WORN)
    assert (status, err) == (1, "")
    assert out == (
        "1I  direct 0.0850 mm, new min 0.025 mm, service max 0.080 mm: valve 99 %: "
        "a new valve alone brings it within (by sizes)\n"
    )


def test_the_document_holds_what_the_sizes_give(fault):
    status, out, _ = fault(WORN, "--json")
    (one,) = json.loads(out)["faults"]
    wanted = attribute(Size(5_940 * UM, UM), Size(6_025 * UM, 2 * UM), 80 * UM, NEW)
    assert status == 1
    assert one["probabilities"] == wanted.probabilities
    assert (one["answer"], one["probability"]) == ("valve", wanted.right)
    assert one["sure"] is True
    assert (one["valve"], one["method"], one["value"], one["verdict"]) == (
        "1I", "direct", "0.0850", "outside")  # fmt: skip
    assert one["lines"] == [2, 3]
    assert (one["doubts"], one["missing"]) == ([], [])


def test_uncertainties_may_be_given_once_for_all_rows(fault):
    bare = WORN.replace("0.001", "").replace("0.002", "")
    status, out, _ = fault(bare)
    assert status == 1
    assert "cannot be told" in out
    assert "missing: the uncertainty of the stem" in out
    with_u = fault(bare, "--u-stem", "0.001mm", "--u-bore", "0.002mm")
    assert with_u == fault(WORN)
    status, out, err = fault(WORN, "--u-stem", "0mm")
    assert (status, out) == (2, "")
    assert "--u-stem" in err


def test_uncertainties_may_come_from_the_bench_file(fault, tmp_path: Path):
    bench = tmp_path / "bench.toml"
    other = BENCH.replace('"M1"', '"B1"').replace('"micrometer"', '"bore gauge"')
    other = other[other.index("[[gauge]]") :].replace("COM5", "COM6")
    other = other.replace("signed-line", "bcd52-inch8")
    text = (BENCH + other).replace('repeatability = "0.0018 mm"\n', "")
    bench.write_text(text.replace("0.0019", "0.001", 1).replace("0.0019", "0.002"), "utf-8")
    bare = WORN.replace("0.001", "").replace("0.002", "")
    assert fault(bare, "--bench", str(bench)) == fault(WORN)
    bench.write_text("", "utf-8")
    status, out, err = fault(bare, "--bench", str(bench))
    assert (status, out) == (2, "")
    assert "bench.toml" in err


def test_nothing_over_its_limit_ends_with_0(fault):
    assert fault(WORN[WORN.index("1E") :]) == (
        0, "No guide clearance is over its limit.\n", "")  # fmt: skip
    status, out, _ = fault("1I,stem diameter,,,5.940,mm,0.001,,\n", "--json")
    assert (status, json.loads(out)) == (0, {"faults": []})


def test_a_rock_with_a_new_valve_tells_of_the_guide(fault):
    rows = "".join(f"1I,guide clearance,,{way},0.095,mm,0.003,rock,new\n"
                   for way in ("along", "across"))  # fmt: skip
    status, out, _ = fault(rows)
    assert status == 1
    assert out.startswith("1I  rock 0.095 mm, service max 0.080 mm: guide over 99 %: ")


def test_bad_input_ends_with_2_as_at_judge(fault):
    status, out, err = fault("1I,stem size,,,5.940,mm,,,\n")
    assert (status, out) == (2, "")
    assert "line 2" in err
    assert "characteristic" in err
