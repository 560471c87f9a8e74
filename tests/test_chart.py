"""Control charts and capability hold published examples, and what their rules promise."""

from __future__ import annotations

import json
from math import comb
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given, strategies as st

from gaugelink.metrology.capability import capability
from gaugelink.metrology.charts import RUNS, Band, Kind, chart, deviation_moments, signals

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from conftest import RunCli

FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
"""Source: NIST/SEMATECH e-Handbook 6.3.2.2, flow rate of ten batches (from memory)."""

STEADY = Band(0.0, -3.0, 3.0)


@pytest.fixture
def rings(check_rows: Callable[[str], list[dict[str, str]]], tmp_path: Path) -> Path:
    """Give the piston rings: 25 subgroups of 5, as the command reads them."""
    file = tmp_path / "rings.csv"
    rows = check_rows("xbar_piston_rings.csv")
    file.write_text("subgroup,value\n" + "".join(
        f"{row['sample']},{row[f'x{at}']}\n" for row in rows for at in range(1, 6)))  # fmt: skip
    return file


def drawn(run_cli: RunCli, *words: str | Path, status: int = 0) -> dict[str, Any]:
    """Run the command and give its document."""
    got, out, err = run_cli("chart", *words, "--json")
    assert (got, err) == (status, "")
    document: dict[str, Any] = json.loads(out)
    return document


def test_individuals_of_the_handbook_are_held(run_cli: RunCli, tmp_path: Path) -> None:
    """Source: e-Handbook 6.3.2.2: mean 50.81, limits 45.8159 and 55.8041 (d2 of three places)."""
    file = tmp_path / "flow.csv"
    file.write_text("subgroup,value\n" + "".join(f"{at},{v}\n" for at, v in enumerate(FLOW)))
    found = drawn(run_cli, file, "--kind", "individuals", "--constants", "rounded")
    assert found["center"] == pytest.approx(50.81)
    assert round(found["spread_center"], 4) == 1.8778
    assert (round(found["lower"], 4), round(found["upper"], 4)) == (45.8159, 55.8041)
    exact = drawn(run_cli, file, "--kind", "individuals")
    assert exact["upper"] == pytest.approx(55.80241168005055, rel=1e-9)  # recomputed
    assert exact["spread_upper"] == pytest.approx(6.133821048441466, rel=1e-9)
    assert exact["points"][2] == {"subgroup": "2", "value": 49.9, "spread": 2.3}


@pytest.mark.parametrize(("kind", "mark"), [("xbar-r", "R"), ("xbar-s", "s")])
def test_the_piston_rings_are_held(
    kind: str, mark: str, rings: Path, run_cli: RunCli, check_file: Callable[[str], Path]
) -> None:
    """Source: Montgomery, table 6.3 (later editions); printed for s, recomputed for both."""
    results = json.loads(check_file("xbar_piston_rings_results.json").read_text())
    held = results["later_editions"]["recomputed"]
    found = drawn(run_cli, rings, "--kind", kind)
    for key, wanted in (("center", "xbarbar"), ("upper", f"{mark}_UCL_x"),
                        ("lower", f"{mark}_LCL_x"), ("spread_center", f"{mark}bar"),
                        ("spread_upper", f"{mark}_UCL"), ("spread_lower", f"{mark}_LCL"),
                        ("sigma", f"sigma_{mark}")):  # fmt: skip
        assert found[key] == pytest.approx(held[wanted], rel=1e-9, abs=1e-12), key
    assert found["signals"] == []
    if kind == "xbar-s":
        printed = results["later_editions"]["published"]["s_chart"]
        assert round(found["upper"], 3) == pytest.approx(printed["UCL_x"], abs=0.0011)
        assert round(found["spread_upper"], 4) == printed["UCL_s"]


def test_the_capability_of_the_piston_rings_is_held(
    rings: Path, run_cli: RunCli, check_file: Callable[[str], Path]
) -> None:
    """Source: recomputed beside Montgomery's example, limits 73.95 and 74.05 mm."""
    results = json.loads(check_file("xbar_piston_rings_results.json").read_text())
    held = results["later_editions"]["recomputed_capability_spec_73.95_74.05"]
    words = (rings, "--kind", "xbar-r", "--lower", "73.95mm", "--upper", "74.05 mm")
    found = drawn(run_cli, *words)["capability"]
    for key in ("Cp", "Cpk", "Pp", "Ppk"):
        assert found[key.lower()] == pytest.approx(held[key], rel=1e-9), key
        low, high = found[f"{key.lower()}_95_percent"]
        assert low < held[key] < high


def test_the_capability_of_the_handbook_is_held() -> None:
    """Source: e-Handbook 6.1.6: limits 8 and 20, mean 16, s 2: Cp 1.0, Cpk 0.6667."""
    found = capability(16.0, 2.0, 49, 50, 8.0, 20.0)
    assert (found.width, round(found.nearer, 4)) == (1.0, 0.6667)
    one_sided = capability(16.0, 2.0, 49, 50, None, 20.0)
    assert (one_sided.width, round(one_sided.nearer, 4)) == (None, 0.6667)


def test_intervals_of_capability_hold_the_truth_as_often_as_they_say() -> None:
    """3,000 simulated samples of 50; three standard deviations of that count are 1.2 %."""
    random = np.random.default_rng(20261125)
    held = [0, 0]
    for _ in range(3000):
        sample = random.normal(16.0, 2.0, 50)
        found = capability(float(sample.mean()), float(sample.std(ddof=1)), 49, 50, 8.0, 20.0)
        assert found.width_ends is not None
        held[0] += found.width_ends[0] <= 1.0 <= found.width_ends[1]
        held[1] += found.nearer_ends[0] <= 2 / 3 <= found.nearer_ends[1]
    for count in held:
        assert count / 3000 == pytest.approx(0.95, abs=0.015)


@pytest.mark.parametrize(
    ("kind", "groups", "size"),
    [("individuals", 30, 1), ("xbar-r", 10, 25), ("xbar-r", 25, 2), ("xbar-s", 10, 25)],
)
def test_spreads_from_charts_have_their_own_degrees_of_freedom(
    kind: Kind, groups: int, size: int
) -> None:
    """2,000 simulated charts; ranges of 25 know less of the spread than nine tenths of it."""
    random = np.random.default_rng(20261126)
    held = 0
    for _ in range(2000):
        sample = np.round(random.normal(0.0, 1e6, (groups, size))).astype(int)
        found = chart(sample.tolist(), kind)
        ends = capability(0.0, found.sigma / 1e6, found.df, groups * size, -3.0, 3.0).width_ends
        assert ends is not None
        held += ends[0] <= 1.0 <= ends[1]
    assert held / 2000 == pytest.approx(0.95, abs=0.016)


def test_factors_of_standard_deviations_are_held(
    check_rows: Callable[[str], list[dict[str, str]]],
) -> None:
    """Source: control chart constants from the gamma function, nine digits."""
    for row in check_rows("control_chart_constants_exact.csv"):
        c4, scatter = deviation_moments(int(row["n"]))
        assert c4 == pytest.approx(float(row["c4"]), abs=6e-10)
        assert 1 + 3 * scatter / c4 == pytest.approx(float(row["B4"]), abs=6e-9)


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ([0, 0, 3.1], [(2, "above the upper limit")]),
        ([0, -3.1], [(1, "below the lower limit")]),
        ([2.1, 0.5, 2.1], [(2, RUNS[0][3])]),
        ([2.1, -2.1, 0], []),
        ([2.1, 2.1, 0], [(1, RUNS[0][3])]),
        ([-1.1, -1.1, 0.5, -1.1, -1.1], [(4, RUNS[1][3])]),
        ([0.1] * 8, [(7, RUNS[2][3])]),
        ([0.1] * 7 + [-0.1], []),
        ([-1, -0.5, 0.2, 0.4, 0.5, 0.6], [(5, "6 in a row rising")]),
        ([0.3, 0.2, 0.1, -0.1, -0.2, -0.3], [(5, "6 in a row falling")]),
        ([0.1, -0.1] * 10, []),
    ],
)
def test_each_rule_tells_when_it_is_complete(
    values: list[float], told: list[tuple[int, str]]
) -> None:
    """At the point that completes it, and not again at a point that has nothing to do with it."""
    assert signals(values, STEADY) == told


def test_chance_alone_seldom_makes_a_signal() -> None:
    """Each run rule is as rare as the binomial law says (normal tail 0.02275, 0.15866, 0.5)."""
    tails = {2.0: 0.02275, 1.0: 0.15866, 0.0: 0.5}
    for window, needed, beyond, words in RUNS:
        p = tails[beyond]
        side = sum(comb(window, k) * p**k * (1 - p) ** (window - k)
                   for k in range(needed, window + 1))  # fmt: skip
        random = np.random.default_rng(7)
        points = random.standard_normal((40_000, window))
        hits = sum(
            any(at == window - 1 and what == words for at, what in signals(list(row), STEADY))
            for row in points
        )
        # Only windows whose last point takes part are told: less than all, more than half.
        assert side < hits / 40_000 < 2 * side * 1.1, words


@given(st.lists(st.integers(-1000, 1000), min_size=3, max_size=30).filter(
    lambda values: len(set(values)) > 1), st.integers(-(10**9), 10**9))  # fmt: skip
def test_a_shift_moves_the_chart_and_nothing_else(values: list[int], shift: int) -> None:
    """Spread and signals stay; the centre moves along."""
    one = chart([[value] for value in values], "individuals")
    other = chart([[value + shift] for value in values], "individuals")
    assert other.spread == one.spread
    assert other.sigma == one.sigma
    assert other.location.center - shift == pytest.approx(one.location.center, abs=1e-5)


@pytest.mark.parametrize(
    ("rows", "kind", "words"),
    [
        ("1,5\n", "individuals", "found 1 subgroups, needed: at least two"),
        ("1,5\n1,6\n2,5\n2,7\n", "individuals", "found 2 readings in a subgroup"),
        ("1,5\n1,6\n2,5\n", "xbar-r", "found subgroups of unequal size"),
        ("1,5\n2,5\n", "individuals", "found readings that never differ"),
        ("1,5\n2,x\n", "individuals", "line 3, value: found 'x'"),
        ("1,5\n2,6\n", "xbar-s", "found 1 readings in a subgroup, needed: 2 to 25"),
    ],
)
def test_what_cannot_be_charted_is_said_in_a_sentence(
    rows: str, kind: str, words: str, run_cli: RunCli, tmp_path: Path
) -> None:
    """Status 2, nothing on standard output."""
    file = tmp_path / "data.csv"
    file.write_text(f"subgroup,value\n{rows}")
    status, out, err = run_cli("chart", file, "--kind", kind, "--json")
    assert (status, out) == (2, "")
    assert words in err


def test_a_signal_is_told_in_words_and_drawn(run_cli: RunCli, tmp_path: Path) -> None:
    """Status 1: something happened; the plot is one file that asks for nothing."""
    file, page = tmp_path / "data.csv", tmp_path / "chart.html"
    values = [7.960, 7.961, 7.960, 7.961, 7.962, 7.960, 7.961, 7.999]
    file.write_text("subgroup,value\n" + "".join(f"{at},{v}\n" for at, v in enumerate(values)))
    words = (file, "--kind", "individuals", "--plot", page, "--upper", "8mm")
    status, out, _ = run_cli("chart", *words)
    assert status == 1
    assert "Subgroup 7: above the upper limit (chart of values)" in out
    assert "Cpk" in out
    assert "above the upper limit" in page.read_text(encoding="utf-8")
