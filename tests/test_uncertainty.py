"""Uncertainty budgets hold the Guide's examples and two other programs' arithmetic."""

from __future__ import annotations

import contextlib
import json
from fractions import Fraction
from importlib import import_module
from math import inf, sqrt
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings, strategies as st

from gaugelink.metrology.budget import (
    Quantity,
    budget,
    coverage_factor,
    from_half_width,
    from_readings,
)
from gaugelink.metrology.counts import counts_of
from gaugelink.metrology.formula import read_formula
from gaugelink.metrology.montecarlo import draw

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from conftest import RunCli

END_GAUGE = """
[model]
expression = "ls + d + d1 + d2 - ls*(dalpha*(thetabar + Delta) + alpha_s*dtheta)"
unit = "nm"
coverage = 0.99
input = []
"""

INPUTS = """
name = "ls"
value = "50000623 nm"
expanded = "75 nm"
k = 3
dof = 18

name = "d"
value = "215 nm"
u = "5.8 nm"
dof = 24

name = "d1"
value = "0 nm"
u = "3.9 nm"
dof = 5

name = "d2"
value = "0 nm"
u = "6.7 nm"
dof = 8

name = "alpha_s"
value = "11.5e-6 / K"
half_width = "2e-6 / K"

name = "dalpha"
value = "0 / K"
half_width = "1e-6 / K"
dof = 50

name = "dtheta"
value = "0 K"
half_width = "0.05 K"
dof = 2

name = "thetabar"
value = "-0.1 K"
u = "0.2 K"

name = "Delta"
value = "0 K"
half_width = "0.5 K"
distribution = "u-shaped"
"""

SMALL = """
[model]
expression = "bore - stem"
[[input]]
name = "bore"
value = "8.012 mm"
u = "2.4 um"
[[input]]
name = "stem"
value = "7.965 mm"
u = "1.9 um"
"""


@pytest.fixture
def end_gauge(tmp_path: Path) -> Path:
    """Give the file of JCGM 100:2008, H.1: a 50 mm end gauge against a standard one."""
    tables = "".join(f"[[input]]\n{part.strip()}\n" for part in INPUTS.split("\n\n"))
    file = tmp_path / "end-gauge.toml"
    file.write_text(END_GAUGE.replace("input = []\n", "") + tables)
    return file


def drawn_up(run_cli: RunCli, *words: str | Path) -> dict[str, Any]:
    """Run the command and give its document."""
    status, out, err = run_cli("uncertainty", *words, "--json")
    assert (status, err) == (0, "")
    document: dict[str, Any] = json.loads(out)
    return document


def test_the_end_gauge_of_the_guide_is_held(
    end_gauge: Path, run_cli: RunCli, check_file: Callable[[str], Path]
) -> None:
    """Source: JCGM 100:2008, H.1, as printed; and recomputed with GTC at full precision."""
    held = json.loads(check_file("gum_h1_end_gauge.json").read_text())
    printed, exact = held["published"], held["recomputed"]
    found = drawn_up(run_cli, end_gauge)
    assert found["unit"] == "nm"
    assert round(found["value"]) == round(printed["length_mm"] * 1e6)
    assert round(found["u"]) == printed["uc_nm"]
    assert int(found["dof"]) == printed["dof"]
    assert round(found["k"], 2) == printed["t99"]
    assert round(found["u_second_order"]) == printed["uc_with_second_order_nm"]
    pairs = {"value": "length_nm", "u": "uc_nm", "dof": "dof", "k": "t99_at_16", "U": "U99_nm",
             "u_second_order": "uc_with_second_order_nm"}  # fmt: skip
    for key, wanted in pairs.items():
        assert found[key] == pytest.approx(exact[wanted], rel=1e-9), key
    assert found["bends"] is True
    rows = {row["name"]: row for row in found["budget"]}
    assert round(rows["dtheta"]["contribution"], 1) == printed["components_nm"]["dtheta"]
    assert round(rows["dalpha"]["contribution"], 1) == printed["components_nm"]["dalpha"]
    assert sum(row["percent"] for row in found["budget"]) == pytest.approx(100)


def test_ten_resistors_from_one_standard_add_up(check_file: Callable[[str], Path]) -> None:
    """Source: JCGM 100:2008, 5.2.2: 1 ohm fully correlated, 0.32 ohm if they were independent."""
    held = json.loads(check_file("gum_522_ten_resistors.json").read_text())["published"]
    names = [f"r{at}" for at in range(10)]
    model = read_formula(" + ".join(names), names)
    inputs = [Quantity(name, 1000.0, 0.1) for name in names]
    every = {(a, b): 1.0 for at, a in enumerate(names) for b in names[at + 1 :]}
    assert budget(model, inputs, every).u == pytest.approx(held["r_is_1_u_ohm"], rel=1e-12)
    assert round(budget(model, inputs).u, 2) == held["independent_u_ohm"]
    assert draw(model, inputs, every, trials=200_000).u == pytest.approx(1.0, rel=0.01)


def test_coverage_factors_of_the_guide_are_held(
    check_rows: Callable[[str], list[dict[str, str]]],
) -> None:
    """Source: JCGM 100:2008, table G.2: printed, and to eight places (nu 35 is misprinted)."""
    for row in check_rows("student_t_table_g2.csv"):
        dof = inf if row["nu"] == "inf" else float(row["nu"])
        for name, coverage in (("90", 0.9), ("95", 0.95), ("99", 0.99)):
            k = coverage_factor(dof, coverage)
            assert k == pytest.approx(float(row[f"e{name}"]), abs=1e-8)
            if (row["nu"], name) != ("35", "90"):
                places = len(row[f"p{name}"].partition(".")[2])
                assert k == pytest.approx(float(row[f"p{name}"]), abs=0.51 * 10**-places)


@pytest.mark.parametrize("case", [0, 1, 2])
def test_the_additive_examples_of_drawing_are_held(
    case: int, check_file: Callable[[str], Path]
) -> None:
    """Source: JCGM 101:2008, 9.2: intervals as printed, exact quantiles beside them."""
    held = json.loads(check_file("jcgm101_9_2_additive.json").read_text())["cases"][case]
    shapes = ["normal"] * 4 if case == 0 else ["rectangular"] * 4
    sizes = [1.0, 1.0, 1.0, 10.0 if case == 2 else 1.0]
    names = ["a", "b", "c", "d"]
    inputs = [Quantity(name, 0.0, size, distribution=shape)  # type: ignore[arg-type]
              for name, size, shape in zip(names, sizes, shapes, strict=True)]  # fmt: skip
    model = read_formula("a + b + c + d", names)
    plain, found = budget(model, inputs), draw(model, inputs, trials=400_000)
    assert round(plain.u, 1) == held["published"]["u"]
    wanted = held["published"].get("gum_interval", held["published"].get("interval95"))
    assert round(plain.expanded(), 1 if case == 2 else 2) == wanted[1]
    half = held["exact"].get("half", held["exact"].get("mcm_half"))
    # Ends are had to about 1/sqrt(trials) of the density there.
    for low, high in (found.symmetric, found.shortest):
        assert (high - low) / 2 == pytest.approx(half, rel=0.006)
    assert found.u == pytest.approx(held["exact"]["u"], rel=0.006)


def test_the_gauge_block_by_drawing_is_held(check_file: Callable[[str], Path]) -> None:
    """Source: JCGM 101:2008, 9.5: 838 nm, u 36 nm, 99 % from 745 to 932 nm, as printed."""
    held = json.loads(check_file("jcgm101_9_5_gauge_block.json").read_text())
    names = ["Ls", "D", "d1", "d2", "alpha_s", "theta0", "Delta", "dalpha", "dtheta"]

    def trapezoid(name: str, half: float, inexact: float) -> Quantity:
        u = sqrt(half**2 / 3 + inexact**2 / 9)
        return Quantity(name, 0.0, u, distribution="rectangular", inexact=inexact)

    inputs = [
        Quantity("Ls", 50000623.0, 25.0, 18), Quantity("D", 215.0, 6.0, 24),
        Quantity("d1", 0.0, 4.0, 5), Quantity("d2", 0.0, 7.0, 8),
        from_half_width("alpha_s", 11.5e-6, 2e-6, "rectangular"), Quantity("theta0", -0.1, 0.2),
        from_half_width("Delta", 0.0, 0.5, "u-shaped"),
        trapezoid("dalpha", 1e-6, 0.1e-6), trapezoid("dtheta", 0.05, 0.025),
    ]  # fmt: skip
    model = read_formula(
        "(Ls*(1 + alpha_s*(theta0 + Delta - dtheta)) + D + d1 + d2)"
        " / (1 + (alpha_s + dalpha)*(theta0 + Delta)) - 50000000",
        names,
    )
    found = draw(model, inputs, trials=1_000_000, coverage=0.99)
    printed = held["published"]["MCM"]
    assert round(found.value) == printed["y"]
    assert round(found.u) == printed["u"]
    for end, wanted, exact in zip(
        found.symmetric, printed["interval99"], held["recomputed"]["sym99"], strict=True
    ):
        assert end == pytest.approx(exact, abs=0.6)
        assert end == pytest.approx(wanted, abs=1.1)
    plain = budget(model, inputs)
    assert round(plain.u) == held["published"]["GUF"]["u"]


@pytest.mark.parametrize("name", ["NumAcc1", "NumAcc2", "NumAcc3", "Lew", "Mavro"])
def test_repeated_readings_are_held_to_every_digit_that_a_double_has(
    name: str, check_rows: Callable[[str], list[dict[str, str]]],
    check_file: Callable[[str], Path],
) -> None:  # fmt: skip
    """Source: NIST StRD, univariate, certified mean and standard deviation."""
    held = json.loads(check_file("strd_univariate_certified.json").read_text())["certified"][name]
    rows = check_rows(f"strd_univariate_{name}.csv")
    counts = counts_of(next(iter(row.values())) for row in rows)
    found = from_readings("x", counts.values, counts.step)
    assert found.value == pytest.approx(float(held["mean"]), rel=1e-14)
    sd = found.u * sqrt(len(rows))
    assert sd == pytest.approx(float(held["sd_n_minus_1"]), rel=1e-13)


def test_equal_readings_have_no_scatter_at_all() -> None:
    """As counts: however large and however many, exactly 0."""
    found = from_readings("x", [79_650_001] * 1000, Fraction(1, 10**7))
    assert (found.value, found.u, found.dof) == (7.9650001, 0.0, 999)


amounts = st.floats(0.5, 5.0)
smalls = st.floats(0.001, 0.1)


@settings(max_examples=40)
@given(st.lists(st.tuples(amounts, smalls, st.integers(2, 60)), min_size=3, max_size=3))
def test_budgets_are_those_of_two_other_programs(rows: list[tuple[float, float, int]]) -> None:
    """Sources: GTC (result, u, degrees of freedom) and uncertainties (result, u), to 1e-9."""
    gtc = import_module("GTC")
    other = import_module("uncertainties")
    umath = import_module("uncertainties.umath")
    inputs = [Quantity(name, *row) for name, row in zip("abc", rows, strict=True)]
    found = budget(read_formula("a * b / sqrt(c) + exp(a / 10) * b**2", ["a", "b", "c"]), inputs)
    a, b, c = (gtc.ureal(*row) for row in rows)
    result = a * b / gtc.sqrt(c) + gtc.exp(a / 10) * b**2
    assert found.value == pytest.approx(result.x, rel=1e-12)
    assert found.u == pytest.approx(result.u, rel=1e-9)
    assert found.dof == pytest.approx(result.df, rel=1e-9)
    a, b, c = (other.ufloat(*row[:2]) for row in rows)
    result = a * b / umath.sqrt(c) + umath.exp(a / 10) * b**2
    assert found.u == pytest.approx(result.std_dev, rel=1e-9)


@settings(max_examples=40)
@given(st.lists(st.tuples(amounts, smalls), min_size=2, max_size=2), st.floats(-0.99, 0.99))
def test_correlated_budgets_are_those_of_another_program(
    rows: list[tuple[float, float]], r: float
) -> None:
    """Source: uncertainties, correlated_values_norm."""
    other = import_module("uncertainties")
    inputs = [Quantity(name, *row) for name, row in zip("ab", rows, strict=True)]
    found = budget(read_formula("a * b - a", ["a", "b"]), inputs, {("a", "b"): r})
    a, b = other.correlated_values_norm(rows, [[1.0, r], [r, 1.0]])
    assert found.u == pytest.approx((a * b - a).std_dev, rel=1e-7, abs=1e-12)


def test_a_result_is_given_in_the_unit_asked_for(run_cli: RunCli, tmp_path: Path) -> None:
    """Source: the stem and bore of the handbook's example, u 1.9 and 2.4 um: 3.1 um together."""
    file = tmp_path / "clearance.toml"
    file.write_text(SMALL)
    mm = drawn_up(run_cli, file)
    assert (mm["unit"], round(mm["value"], 6), round(mm["u"], 5)) == ("mm", 0.047, 0.00306)
    assert mm["dof"] is None
    file.write_text(SMALL.replace('stem"\n', 'stem"\nunit = "um"\n', 1))
    um = drawn_up(run_cli, file)
    assert (um["unit"], round(um["value"], 3), round(um["u"], 2)) == ("um", 47.0, 3.06)
    file.write_text(SMALL.replace('"7.965 mm"', '"0.31358267716535433 in"'))
    assert drawn_up(run_cli, file)["value"] == pytest.approx(0.047, abs=1e-12)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("bore - stem", "bore - steam", "model.expression: found the name 'steam', accepted: bore"),
        ("bore - stem", "bore - stem*stem", "its units do not go together"),
        ("bore - stem", "__import__('os')", "found \"__import__('os')\", accepted: numbers"),
        ("bore - stem", "bore ** 99", "found the power 99, accepted: a number up to 12"),
        ("bore - stem", "sqrt(stem - bore)", "the formula has no value there"),
        ("bore - stem", "bore - ", "accepted: a formula such as"),
        ('u = "2.4 um"', 'u = "-2.4 um"', "input.1.u: found less than 0"),
        ('u = "2.4 um"', 'u = "2.4 K"', "input.1.u: found '2.4 K', accepted: an amount in mm"),
        ('u = "2.4 um"', 'u = "2.4 wombats"', "accepted: a number with its unit"),
        ('u = "2.4 um"', 'u = "inf um"', "finite"),
        ('u = "2.4 um"', "u = inf", "found inf"),
        ('u = "2.4 um"', "", "input.1: found none of them, accepted: one of u, half_width"),
        ('u = "2.4 um"', 'expanded = "4.8 um"', "input.1.k: accepted: k beside an expanded"),
        ('u = "2.4 um"', 'half_width = "4 um"\ndistribution = "normal"', "found 'normal'"),
        ('name = "stem"', 'name = "bore"', "input.2.name: found 'bore' twice"),
        ('"7.965 mm"', '"20 degC"', "found"),
        ('u = "1.9 um"', 'u = "1.9 um"\n[[correlation]]\na = "bore"\nb = "seat"\nr = 0.5',
         "correlation.1.b: found 'seat', accepted: bore, stem"),
        ('u = "1.9 um"', 'u = "1.9 um"\n[[correlation]]\na = "bore"\nb = "stem"\nr = 1.5',
         "correlation.1.r"),
    ],
)  # fmt: skip
def test_a_bad_file_is_said_in_a_sentence(
    old: str, new: str, words: str, run_cli: RunCli, tmp_path: Path
) -> None:
    """File, line, field, found, accepted; status 2 and nothing on standard output."""
    file = tmp_path / "budget.toml"
    assert old in SMALL
    file.write_text(SMALL.replace(old, new))
    status, out, err = run_cli("uncertainty", file, "--json")
    assert (status, out) == (2, ""), err
    assert words in err
    assert "budget.toml" in err


def test_correlations_that_cannot_all_be_are_refused() -> None:
    """Three quantities of which each opposes the other two fully cannot exist."""
    names = ["a", "b", "c"]
    inputs = [Quantity(name, 1.0, 0.1) for name in names]
    every = {("a", "b"): -0.9, ("b", "c"): -0.9, ("a", "c"): -0.9}
    with pytest.raises(ValueError, match="not positive semidefinite"):
        budget(read_formula("a + b + c", names), inputs, every)


def test_readings_and_plain_sums_need_no_formula(run_cli: RunCli, tmp_path: Path) -> None:
    """Without a formula the result is the sum of the inputs, each by its sensitivity."""
    file = tmp_path / "sum.toml"
    file.write_text(
        '[[input]]\nname = "stem"\nunit = "mm"\nreadings = ["7.965", "7.966", "7.964", "7.965"]\n'
        '[[input]]\nname = "zero"\nvalue = 0.002\nunit = "mm"\nresolution = "1 um"\n'
        "sensitivity = -1\n"
    )
    found = drawn_up(run_cli, file, "--coverage", "0.9")
    assert found["value"] == pytest.approx(7.963)
    assert found["u"] == pytest.approx(sqrt(0.001**2 / 6 + 0.001**2 / 12))
    assert found["coverage"] == 0.9
    assert [row["dof"] for row in found["budget"]] == [3, None]


def test_people_get_a_table_a_plot_and_a_warning(
    end_gauge: Path, run_cli: RunCli, tmp_path: Path
) -> None:
    """The bend is told, with what to do; the plot is one file."""
    page = tmp_path / "budget.html"
    words = (end_gauge, "--monte-carlo", "20000", "--plot", page)
    status, out, _ = run_cli("uncertainty", *words)
    assert status == 0
    assert "U = 92.48 nm (k = 2.921, 99 %)" in out
    assert "The formula bends within the uncertainties" in out
    assert "Drawn 20000 times" in out
    assert "contribution to u, nm" in page.read_text(encoding="utf-8")
    assert run_cli("uncertainty", end_gauge, "--monte-carlo", "10")[0] == 2
    assert run_cli("uncertainty", end_gauge, "--coverage", "1.5")[0] == 2


@settings(max_examples=200)
@given(st.text(alphabet="ab+-*/()., 012sqrtexp_[]'\"", max_size=40))
def test_no_formula_runs_anything(text: str) -> None:
    """Whatever is written is a formula or a sentence."""
    with contextlib.suppress(ValueError):  # the only way out besides an expression
        found = read_formula(text, ["a", "b"])
        assert {str(symbol) for symbol in found.free_symbols} <= {"a", "b"}
