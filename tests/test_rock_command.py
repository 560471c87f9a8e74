"""`gaugelink rock`: a file in, travel and clearance out; bad files are named to the cell."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from sweep_maker import Made, Wish, make, spoil

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from conftest import RunCli

GEOMETRY = ("--guide-length", "50mm", "--reach", "28mm")
SEED = 815


def lines(made: Made, unit: str = "mm", axis: str = "", places: int = 3) -> list[str]:
    """Write a made sweep as a gauge with so many places shows it."""
    per = {"mm": 10**9, "in": 25_400_000_000}
    units = made.units or [unit] * len(made.t_ns)
    return [
        f"{(t - made.t_ns[0]) / 1e9:.4f},{value / per[here]:.{places}f},{here}"
        + (f",{axis}" if axis else "")
        for t, value, here in zip(made.t_ns.tolist(), made.value_pm.tolist(), units, strict=True)
    ]


@pytest.fixture
def write(tmp_path: Path) -> Callable[..., Path]:
    """Write a CSV file."""

    def to_file(rows: list[str], header: str = "time_s,value,unit") -> Path:
        path = tmp_path / "sweep.csv"
        path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
        return path

    return to_file


def good(**wishes: Any) -> Made:
    wish = Wish(travel_um=200.0, rocks=5, rate=16.0, slips_um=[], spikes=0.0, drift_um=8.0)
    for name, value in wishes.items():
        setattr(wish, name, value)
    return make(np.random.default_rng(SEED), wish)


def test_a_good_sweep_gives_travel_and_clearance_in_millimetres(
    run_cli: RunCli, write: Any
) -> None:
    status, out, err = run_cli("rock", write(lines(good())), *GEOMETRY, "--json")
    found = json.loads(out)
    assert (status, err) == (0, "")
    assert found["travel_mm"] == pytest.approx(0.200, abs=0.002)
    assert found["clearance_mm"] == pytest.approx(found["travel_mm"] / 2.12, rel=1e-9)
    assert found["clearance_upper_mm"] == pytest.approx(found["travel_upper_mm"] / 2.12, rel=1e-9)
    assert found["clearance_upper_mm"] >= found["clearance_mm"]
    assert 0 < found["clearance_u_mm"] < 0.004
    assert 0.0017 < found["travel_u_mm"] < 0.003
    assert found["full_rocks"] == 5
    assert found["usable"] is True
    assert found["flags"] == []
    assert {end["side"] for end in found["ends"]} == {"high", "low"}
    assert all(isinstance(end["level_mm"], float) for end in found["ends"])
    assert "axes" not in found


def test_a_leaning_indicator_makes_the_clearance_less_sure_and_nothing_else(
    run_cli: RunCli, write: Any
) -> None:
    path = write(lines(good()))
    plain = json.loads(run_cli("rock", path, *GEOMETRY, "--json")[1])
    words = ("--lean", "20", "--flex", "0.01 mm")
    leaning = json.loads(run_cli("rock", path, *GEOMETRY, *words, "--json")[1])
    assert leaning.pop("clearance_u_mm") > plain.pop("clearance_u_mm") + 0.001
    assert leaning == plain
    assert "--lean: found 90" in run_cli("rock", path, *GEOMETRY, "--lean", "90")[2]
    assert "--flex" in run_cli("rock", path, *GEOMETRY, "--flex", "-1mm")[2]


def test_an_inch_gauge_that_counts_in_fives_gives_the_same_travel(
    run_cli: RunCli, write: Any
) -> None:
    made = good(step_pm=1_270_000)
    path = write(lines(made, "in", places=5))
    _, out, _ = run_cli("rock", path, "--guide-length", "2in", "--reach", "1in", "--json")
    found = json.loads(out)
    assert found["travel_mm"] == pytest.approx(0.200, abs=0.002)
    assert found["factor"] == 2.0


def test_both_directions_in_one_file_are_two_sweeps(run_cli: RunCli, write: Any) -> None:
    along = lines(good(travel_um=120.0), axis="along")
    across = lines(good(travel_um=180.0, drift_um=0.0), axis="across")
    mixed = [row for pair in zip(along, across, strict=False) for row in pair]
    status, out, _ = run_cli("rock", write(mixed, "time_s,value,unit,axis"), *GEOMETRY, "--json")
    found = json.loads(out)
    assert status == 0
    assert found["axis"] == "across"
    assert found["travel_mm"] == found["axes"]["across"]["travel_mm"]
    assert found["axes"]["along"]["travel_mm"] == pytest.approx(0.120, abs=0.0015)
    assert found["axes"]["across"]["travel_mm"] == pytest.approx(0.180, abs=0.0018)
    assert found["axes"]["along"]["usable"] is True


def test_a_spoilt_direction_is_named_and_spoils_the_result(run_cli: RunCli, write: Any) -> None:
    along = lines(good(rocks=2), axis="along")
    across = lines(good(travel_um=180.0), axis="across")
    path = write([*along, *across], "time_s,value,unit,axis")
    status, out, _ = run_cli("rock", path, *GEOMETRY, "--json")
    found = json.loads(out)
    assert status == 1
    assert found["usable"] is False
    assert [(flag["axis"], flag["code"]) for flag in found["flags"] if flag["spoils"]] == [
        ("along", "too few rocks")
    ]
    assert found["axes"]["across"]["usable"] is True


@pytest.mark.parametrize("order", ["mm first", "in first"])
def test_a_unit_that_changes_in_the_file_spoils_the_sweep(
    run_cli: RunCli, write: Any, order: str
) -> None:
    made = good()
    half = len(made.t_ns) // 2
    made.units = ["mm"] * half + ["in"] * (len(made.t_ns) - half)
    if order == "in first":
        made.units.reverse()
    status, out, _ = run_cli("rock", write(lines(made, places=4)), *GEOMETRY, "--json")
    found = json.loads(out)
    assert status == 1
    assert found["usable"] is False
    assert "unit change" in [flag["code"] for flag in found["flags"]]


@pytest.mark.parametrize("kind", ["too few rocks", "short ends"])
def test_a_spoilt_sweep_ends_with_status_1_and_says_what_to_do(
    run_cli: RunCli, write: Any, kind: Any
) -> None:
    made = spoil(np.random.default_rng(SEED), kind, Wish(rocks=6, spikes=0.0, slips_um=[]))
    status, out, _ = run_cli("rock", write(lines(made)), *GEOMETRY)
    assert status == 1
    assert "rock again" in out


def test_a_few_rows_that_do_not_move_are_a_sweep_that_cannot_be_used(
    run_cli: RunCli, write: Any
) -> None:
    status, out, _ = run_cli("rock", write(["0,1.000,mm", "0.1,1.000,mm"]), *GEOMETRY, "--json")
    found = json.loads(out)
    assert status == 1
    assert (found["travel_mm"], found["ends"], found["usable"]) == (0.0, [], False)
    assert found["flags"][0]["code"] == "no movement"


def test_without_json_a_person_reads_travel_clearance_and_a_drawing(
    run_cli: RunCli, write: Any
) -> None:
    status, out, _ = run_cli("rock", write(lines(good())), *GEOMETRY)
    assert status == 0
    assert "travel" in out
    assert "clearance" in out
    assert "====" in out
    assert out.isascii()
    assert out.rstrip().endswith("usable")


def test_programs_that_write_floating_point_numbers_are_understood(
    run_cli: RunCli, write: Any
) -> None:
    made = good()
    rows = [
        f"{t / 1e9!r},{0.1 * (value / 1e8)!r},mm"
        for t, value in zip(
            (made.t_ns - made.t_ns[0]).tolist(), made.value_pm.tolist(), strict=True
        )
    ]
    rows[0] = "1e-05," + rows[0].split(",", 1)[1]
    assert any(len(row.split(",")[1]) > 15 for row in rows)
    _, out, _ = run_cli("rock", write(rows), *GEOMETRY, "--json")
    assert json.loads(out)["travel_mm"] == pytest.approx(0.200, abs=0.002)


def test_semicolons_and_decimal_commas_are_understood(run_cli: RunCli, write: Any) -> None:
    rows = [row.replace(",", ";").replace(".", ",") for row in lines(good())]
    status, out, _ = run_cli("rock", write(rows, "time_s;value;unit"), *GEOMETRY, "--json")
    assert status == 0
    assert json.loads(out)["travel_mm"] == pytest.approx(0.200, abs=0.002)


@pytest.mark.parametrize(
    ("row", "column", "found"),
    [
        ("0.3,1.000,", "unit", "no unit"),
        ("0.3,1.000,um", "unit", "'um'"),
        ("0.3,,mm", "value", "''"),
        ("0.3,nan,mm", "value", "'nan'"),
        ("0.3,inf,mm", "value", "'inf'"),
        ("0.3,1.0.0,mm", "value", "'1.0.0'"),
        ("0.3,1e99,mm", "value", "5000 mm"),
        ("0.3,9999999.0,mm", "value", "5000 mm"),
        (",1.000,mm", "time_s", "''"),
        ("NaN,1.000,mm", "time_s", "'NaN'"),
        ("inf,1.000,mm", "time_s", "'inf'"),
        ("1e30,1.000,mm", "time_s", "'1e30'"),
        ("1_0,1.000,mm", "time_s", "'1_0'"),
    ],
)
def test_a_bad_cell_is_named_with_file_line_and_column(
    run_cli: RunCli, write: Any, row: str, column: str, found: str
) -> None:
    rows = lines(good())
    rows[5] = row
    path = write(rows)
    status, out, err = run_cli("rock", path, *GEOMETRY, "--json")
    assert (status, out) == (2, "")
    assert f"{path}, line 7, {column}: " in err
    assert found in err
    assert "accepted" in err
    assert err.count("\n") == 1


def test_an_unknown_direction_is_bad_input(run_cli: RunCli, write: Any) -> None:
    path = write(lines(good(), axis="sideways"), "time_s,value,unit,axis")
    status, _, err = run_cli("rock", path, *GEOMETRY)
    assert status == 2
    assert "line 2, axis" in err
    assert "along, across" in err


def test_a_missing_column_is_bad_input(run_cli: RunCli, write: Any) -> None:
    status, _, err = run_cli("rock", write(["0,1"], "time_s,value"), *GEOMETRY)
    assert status == 2
    assert "unit" in err


def test_a_missing_file_is_bad_input(run_cli: RunCli, tmp_path: Path) -> None:
    status, out, err = run_cli("rock", tmp_path / "none.csv", *GEOMETRY, "--json")
    assert (status, out) == (2, "")
    assert "none.csv" in err


@pytest.mark.parametrize(
    ("words", "field"),
    [
        (("--guide-length", "0mm", "--reach", "28mm"), "--guide-length"),
        (("--guide-length", "50", "--reach", "28mm"), "--guide-length"),
        (("--guide-length", "50mm", "--reach=-1mm"), "--reach"),
        (("--guide-length", "50mm", "--reach", "28 furlongs"), "--reach"),
        ((*GEOMETRY, "--u-instrument", "manyum"), "--u-instrument"),
        ((*GEOMETRY, "--range", "0mm"), "--range"),
        ((*GEOMETRY, "--range", "5mm:1mm"), "--range"),
        ((*GEOMETRY, "--range", "0:1"), "--range"),
    ],
)
def test_a_bad_argument_is_named(
    run_cli: RunCli, write: Any, words: tuple[str, ...], field: str
) -> None:
    status, out, err = run_cli("rock", write(lines(good())), *words, "--json")
    assert (status, out) == (2, "")
    assert field in err


def test_the_instrument_counts_into_the_uncertainty(run_cli: RunCli, write: Any) -> None:
    path = write(lines(good()))
    u = {}
    for given in ("0um", "1.5um", "0.003mm"):
        _, out, _ = run_cli("rock", path, *GEOMETRY, "--u-instrument", given, "--json")
        u[given] = json.loads(out)["travel_u_mm"]
    squares = {given: value**2 - u["0um"] ** 2 for given, value in u.items()}
    assert squares["1.5um"] == pytest.approx(0.0015**2, rel=1e-3)
    assert squares["0.003mm"] == pytest.approx(0.003**2, rel=1e-3)


def test_a_known_range_tells_an_end_that_stands_on_it(run_cli: RunCli, write: Any) -> None:
    made = good(noise_um=0.0, drift_um=0.0)
    limit = int(np.percentile(made.value_pm, 90)) // 10**6 * 10**6 - 40 * 10**6
    made.value_pm = np.minimum(made.value_pm, limit)
    span = f"--range=-100mm:{limit / 1e9:.3f}mm"
    status, out, _ = run_cli("rock", write(lines(made)), *GEOMETRY, span, "--json")
    assert status == 1
    assert "clipped" in [flag["code"] for flag in json.loads(out)["flags"]]
