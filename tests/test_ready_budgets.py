"""Ready-made budgets come to the handbook's figures, and take the shop's gauges."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from gaugelink.budgetfile import load_budget
from gaugelink.metrology.budget import budget
from gaugelink.metrology.ready import READY, ready_text

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
    gauges = {line.gauge: 50_000_000 for line in READY[kind].lines if line.gauge}
    own = load_budget(ready_text(kind, gauges), kind)
    for line, one, other in zip(READY[kind].lines, usual.inputs, own.inputs, strict=True):
        assert one.value == other.value
        if line.gauge:
            assert other.u == pytest.approx(50e-6)  # metres
        else:
            assert other == one
    assert budget(own.formula, own.inputs).u > budget(usual.formula, usual.inputs).u


def test_what_is_not_ready_is_said(run_cli: RunCli) -> None:
    """Status 2, and what there is."""
    status, out, err = run_cli("uncertainty", "--ready", "colour")
    assert (status, out) == (2, "")
    assert "--ready: found 'colour', accepted: stem, bore" in err
    assert run_cli("uncertainty")[0] == 2
    assert run_cli("uncertainty", "a.toml", "--bench", "b.toml")[0] == 2
