"""Whether the gauges of a bench can judge the limits of a sheet."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, strategies as st

from gaugelink import content, sheetfile
from gaugelink.fitness import fitness
from gaugelink.metrology.conformity import verdict
from gaugelink.reading import Gauge

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from conftest import RunCli

    from gaugelink.limits import Sheet

SHEET = """
[sheet]
name = "Invented"
edition = "1"
source = "invented for this test"
invented = true
[head]
cylinders = 2
valves = ["intake", "exhaust"]
[[limit]]
characteristic = "guide clearance"
method = "direct"
new_min = "0.025 mm"
new_max = "0.060 mm"
source = "p. 1"
[[limit]]
characteristic = "stem diameter"
service_min = "7.935 mm"
source = "p. 2"
[[limit]]
characteristic = "guide clearance"
method = "rock"
lift = "8 mm"
valve_used = "new"
guide_length = "50 mm"
reach = "28 mm"
service_max = "0.10 mm"
source = "p. 3"
"""


def sheet(text: str = SHEET) -> Sheet:
    """Give a sheet."""
    return sheetfile.load(text, "sheet.toml")


def gauges(**u_um: float) -> Sequence[Gauge]:
    """Give gauges by kind, with their standard uncertainties in micrometres."""
    due = "2099-01-01"
    return [Gauge(kind, kind.replace("_", " "), kind, "1", "plain-line", round(u * 1e6), due)
            for kind, u in u_um.items()]  # fmt: skip


def test_even_good_gauges_do_not_reach_four_to_one_on_a_clearance() -> None:
    """Source: a handbook's worked figures: u 3.1 um in 35 um; a ratio of 2.9 with 2 u = 6."""
    direct, stem, rock = fitness(sheet(), gauges(micrometer=1.9, bore_gauge=2.4, indicator=3.2))
    assert round(direct.u_pm / 1e6, 1) == 3.1
    assert direct.ratio is not None
    assert round(direct.ratio, 1) == 2.9
    assert direct.word == "can with care"
    assert stem.word == "no room stated"
    # The same handbook: at a clearance of 94 um u is 2.5 um for a travel known to 3.2 um.
    assert round(rock.u_pm / 1e6, 1) == 2.5
    assert rock.word == "can"


def test_a_gauge_that_leaves_no_room_cannot_judge() -> None:
    """Where the guard bands meet there is no value that would be within."""
    direct = fitness(sheet(), gauges(micrometer=9.0, bore_gauge=9.0))[0]
    assert (direct.word, direct.left) == ("cannot", 0.0)
    missing = fitness(sheet(), gauges(micrometer=1.0))[0]
    assert (missing.word, missing.missing) == ("no gauge", ("bore gauge",))


@given(st.floats(0.1, 20), st.floats(0.1, 20))
def test_what_is_left_is_what_can_be_within(micrometer: float, bore: float) -> None:
    """The middle of the room is within exactly as long as something of it is left."""
    found = fitness(sheet(), gauges(micrometer=micrometer, bore_gauge=bore))[0]
    lower, upper = found.limit.lower, found.limit.upper
    assert lower is not None
    assert upper is not None
    middle = (lower.pm + upper.pm) // 2
    assert (verdict(middle, found.u_pm, lower.pm, upper.pm) == "within") is (found.left != 0)
    worse = fitness(sheet(), gauges(micrometer=2 * micrometer, bore_gauge=bore))[0]
    assert worse.ratio is not None
    assert found.ratio is not None
    assert worse.ratio < found.ratio


def test_inches_leave_the_same_room() -> None:
    """A sheet in inches gives the same answer for the same sizes."""
    inch = SHEET.replace("0.025 mm", "0.0010 in").replace("0.060 mm", "0.0024 in")
    mm = SHEET.replace("0.025 mm", "0.0254 mm").replace("0.060 mm", "0.06096 mm")
    pair = [fitness(sheet(text), gauges(micrometer=1.9, bore_gauge=2.4))[0] for text in (inch, mm)]
    assert pair[0].ratio == pair[1].ratio


def test_the_command_holds_a_bench_against_a_sheet(run_cli: RunCli, tmp_path: Path) -> None:
    """The bench and the sheet that ship; one line a limit, and figures where there are any."""
    bench = tmp_path / "bench.toml"
    bench.write_text(content.read("sim/bench", "example")[0], encoding="utf-8")
    paper = tmp_path / "sheet.toml"
    paper.write_text(content.read("sim/sheets", "demo-pump-engine")[0], encoding="utf-8")
    status, out, err = run_cli("sheet", "gauges", paper, "--bench", bench, "--json")
    assert err == ""
    limits = json.loads(out)["limits"]
    assert len(limits) == len(sheetfile.load(paper.read_text(), "a").limits)
    assert status == int(any(one["word"] in {"cannot", "no gauge"} for one in limits))
    text = run_cli("sheet", "gauges", paper, "--bench", bench)[1]
    assert "times 2 U" in text
    assert run_cli("sheet", "gauges", paper)[0] == 2
    assert run_cli("sheet", "check", paper, "--bench", bench)[0] == 2


@pytest.mark.parametrize("word", ["can", "can with care", "cannot"])
def test_each_word_can_come(word: str) -> None:
    """By the gauge alone, on one limit."""
    u = {"can": 1.0, "can with care": 3.0, "cannot": 9.0}[word]
    assert fitness(sheet(), gauges(micrometer=u, bore_gauge=u))[0].word == word
