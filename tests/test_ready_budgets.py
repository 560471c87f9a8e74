"""Ready-made budgets come to the handbook's figures, and take the shop's gauges."""

from __future__ import annotations

import tomllib
from math import hypot
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, strategies as st

from gaugelink import content
from gaugelink.budgetfile import load_budget
from gaugelink.head import GAUGE_KINDS
from gaugelink.metrology.budget import budget
from gaugelink.metrology.ready import READY, Own, ready_text

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import RunCli


@pytest.mark.parametrize(
    ("kind", "printed"),
    [("stem", "3.7"), ("bore", "4.9"), ("clearance", "6"), ("rock", "5.0"), ("depth", "17")],
)
def test_the_handbook_s_figures_are_held(kind: str, printed: str) -> None:
    """Source: a handbook table of plausible shop figures (worked by hand), U = 2 u in um."""
    loaded = load_budget(ready_text(kind), kind)
    found = budget(loaded.formula, loaded.inputs)
    places = len(printed.partition(".")[2])
    assert f"{2 * found.u / loaded.scale:.{places}f}" == printed


@pytest.mark.parametrize("kind", READY)
def test_every_ready_budget_can_be_drawn_up_as_it_is(
    kind: str, run_cli: RunCli, tmp_path: Path
) -> None:
    """What is printed is a budget file like any other."""
    status, out, _ = run_cli("uncertainty", "--ready", kind)
    assert status == 0
    file = tmp_path / "budget.toml"
    file.write_text(out, encoding="utf-8")
    status, out, _ = run_cli("uncertainty", file)
    assert status == 0
    assert "U = " in out
    assert "bends" not in out


@pytest.mark.parametrize("kind", READY)
def test_the_shop_s_gauge_takes_its_place(kind: str) -> None:
    """A gauge known to be worse makes the result worse, and nothing else changes."""
    usual = load_budget(ready_text(kind), kind)
    gauges = {line.gauge: Own("X", 50_000_000) for line in READY[kind].lines if line.gauge}
    own = load_budget(ready_text(kind, gauges), kind)
    for line, one, other in zip(READY[kind].lines, usual.inputs, own.inputs, strict=True):
        assert one.value == other.value
        if line.gauge:
            assert other.u == pytest.approx(50e-6)  # metres
        else:
            assert other == one
    assert budget(own.formula, own.inputs).u > budget(usual.formula, usual.inputs).u


def test_there_are_seven_and_each_asks_for_a_gauge_of_a_bench() -> None:
    assert set(READY) == {"stem", "bore", "clearance", "rock", "depth", "spring length", "flatness"}
    for kind, made in READY.items():
        kinds = {line.gauge or line.scatter_of for line in made.lines} - {""}
        assert kinds, kind
        assert kinds <= set(GAUGE_KINDS)


@pytest.mark.parametrize(
    ("kind", "rows"),
    [
        # The bench file that ships; M1 has u 1.9 um of which 0.9 um scatter: 1.673 um are left.
        ("stem", {"gauge": 1.673320053, "repeatability": 0.9}),
        ("bore", {"bore_gauge": 2.4, "bore_repeatability": 2.0}),
        ("clearance", {"bore_gauge": 2.4, "gauge": 1.673320053, "repeatability": 0.9}),
        ("rock", {"gauge": 1.5}),
        ("depth", {"gauge": 8.5}),
        ("spring length", {"gauge": 15.0}),
        ("flatness", {"gauge_high": 1.5, "gauge_low": 1.5}),
    ],
)
def test_every_ready_budget_is_filled_from_the_bench_that_ships(
    kind: str, rows: dict[str, float], run_cli: RunCli, tmp_path: Path
) -> None:
    """What is printed is drawn up again, and has the register's figures (by hand, um)."""
    bench, file = tmp_path / "bench.toml", tmp_path / "budget.toml"
    bench.write_text(content.read("sim/bench", "example")[0], encoding="utf-8")
    status, out, err = run_cli("uncertainty", "--ready", kind, "--bench", bench)
    assert (status, err) == (0, "")
    file.write_text(out, encoding="utf-8")
    told = {one.name: one.u * 1e6 for one in load_budget(out, kind).inputs}
    assert {name: told[name] for name in rows} == pytest.approx(rows)
    assert run_cli("uncertainty", file)[0] == 0


def test_what_the_register_does_not_know_keeps_the_usual_figure_and_says_so(
    run_cli: RunCli, tmp_path: Path
) -> None:
    bench = tmp_path / "bench.toml"
    bench.write_text(content.read("sim/bench", "example")[0].replace(
        'kind = "caliper"', 'kind = "depth gauge"'), encoding="utf-8")  # fmt: skip
    out = run_cli("uncertainty", "--ready", "spring length", "--bench", bench)[1]
    assert "# the caliper itself, within; the register has no caliper" in out
    assert 'half_width = "0.03 mm"' in out
    out = run_cli("uncertainty", "--ready", "bore", "--bench", bench)[1]
    assert "again; the register has no repeatability of B1" in out
    # Of the two depth gauges the less certain one, whatever the order in the file.
    assert 'u = "15 um"' in run_cli("uncertainty", "--ready", "depth", "--bench", bench)[1]


@given(st.integers(1, 10**9), st.floats(0, 1), st.text(min_size=1, max_size=20))
def test_a_repeatability_is_counted_once(u_pm: int, share: float, mark: str) -> None:
    """Gauge and repeatability together are the u of the register; any mark leaves a good file."""
    own = Own(mark, u_pm, round(share * u_pm))
    rows = tomllib.loads(ready_text("stem", {"micrometer": own}))["input"]
    um = {one["name"]: float(one["u"].removesuffix(" um")) for one in rows if "u" in one}
    assert hypot(um["gauge"], um["repeatability"]) * 1e6 == pytest.approx(u_pm, abs=1.5)


def test_what_is_not_ready_is_said(run_cli: RunCli) -> None:
    """Status 2, and what there is."""
    status, out, err = run_cli("uncertainty", "--ready", "colour")
    assert (status, out) == (2, "")
    assert "--ready: found 'colour', accepted: stem, bore" in err
    assert run_cli("uncertainty")[0] == 2
    assert run_cli("uncertainty", "a.toml", "--bench", "b.toml")[0] == 2
