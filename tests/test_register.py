"""What a bench's register says of its gauges goes into the verdicts of whatever they measure."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from gaugelink import content

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import RunCli

LIMITS = {
    "stem diameter": ("service_min", "7.935 mm"),
    "guide bore": ("service_max", "8.040 mm"),
    "guide clearance": ("service_max", "0.104 mm"),
    "stand-down": ("service_max", "1.4 mm"),
    "spring free length": ("service_min", "47.1 mm"),
    "head-face flatness": ("service_max", "0.05 mm"),
}
"""Invented, for a head of one cylinder with one valve."""

READINGS = """\
valve,characteristic,station,direction,value,unit
1I,stem diameter,,,7.936,mm
1I,guide bore,,,8.039,mm
1I,stand-down,,,1.39,mm
1I,spring free length,,,47.11,mm
head,face height,A1,,0,mm
head,face height,A2,,0,mm
head,face height,B1,,0,mm
head,face height,B2,,0.098,mm
"""
"""Each a little inside its limit; the face is a zone of half of what its last corner stands up."""

SHEET = """\
[sheet]
name = "Invented"
edition = "1"
source = "invented"
[head]
cylinders = 1
valves = ["intake"]
face = { length = "100 mm", width = "100 mm", rows = 2, columns = 2 }
"""


def sheet_of(limits: dict[str, tuple[str, str]]) -> str:
    text = SHEET
    for name, (key, size) in limits.items():
        method = '\nmethod = "direct"' if name == "guide clearance" else ""
        text += f'[[limit]]\ncharacteristic = "{name}"{method}\n{key} = "{size}"\n'
    return text


@pytest.mark.parametrize("with_bench", [False, True])
def test_a_verdict_of_each_kind_of_gauge_keeps_a_guard_band(
    with_bench: bool, run_cli: RunCli, tmp_path: Path
) -> None:
    """A micrometer inside a limit is within by itself, and undecided with the bench that ships.

    By hand, um: stem 1 of 3.1 (1.645 times 1.9); bore 1 of 3.9; their difference 1 of 5.0;
    stand-down 10 of 14; spring 10 of 25; flatness 1 of 3.5 (the root of 2 times 1.5).
    """
    sheet, rows, bench = (tmp_path / name for name in ("s.toml", "r.csv", "bench.toml"))
    sheet.write_text(sheet_of(LIMITS), encoding="utf-8")
    rows.write_text(READINGS, encoding="utf-8")
    bench.write_text(content.read("sim/bench", "example")[0], encoding="utf-8")
    words = ("--bench", bench) if with_bench else ()
    status, out, err = run_cli("judge", sheet, rows, *words, "--json")
    assert (status, err) == (int(with_bench), "")
    found = {item["characteristic"]: item["verdict"] for item in json.loads(out)["verdicts"]}
    assert found == dict.fromkeys(LIMITS, "undecided" if with_bench else "within")
