"""Budgets at their edges: whole degrees of freedom, bends of either sign, units, and bad files."""

from __future__ import annotations

import contextlib
import json
import re
from math import exp, inf, isfinite, sqrt
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings, strategies as st
from scipy.stats import t as student

from gaugelink.budgetfile import load_budget
from gaugelink.errors import InputError
from gaugelink.metrology.budget import Quantity, budget, coverage_factor
from gaugelink.metrology.formula import read_formula
from gaugelink.metrology.montecarlo import draw, draw_until_settled, numerical_tolerance

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import RunCli

ALONE = read_formula("a", ["a"])


@given(st.floats(1e-9, 1e9), st.integers(1, 400), st.floats(0.01, 100))
def test_one_input_alone_keeps_its_degrees_of_freedom(u: float, dof: int, slope: float) -> None:
    """8.9999 for 9 would be cut to 8, 0.9999 for 1 refused: by the definition both are whole."""
    for formula in (ALONE, read_formula(f"{slope!r} * a", ["a"])):
        found = budget(formula, [Quantity("a", 1.0, u, dof)])
        assert found.dof == dof
        assert found.coverage_factor() == pytest.approx(float(student.ppf(0.975, dof)), rel=1e-12)


def test_degrees_of_freedom_are_cut_or_taken_as_they_are() -> None:
    """Source: JCGM 100:2008, G.4.1, which leaves the choice; quantiles of scipy.stats."""
    assert coverage_factor(16.75, 0.99) == pytest.approx(float(student.ppf(0.995, 16)))
    assert coverage_factor(16.75, 0.99, cut=False) == pytest.approx(
        float(student.ppf(0.995, 16.75))
    )


@pytest.mark.parametrize("scale", [1e-120, 1e-9, 1.0, 1e120])
def test_no_unit_is_too_small_or_too_large(scale: float) -> None:
    """By hand: sqrt(3^2 + 4^2) = 5; 5^4 / (3^4 / 9 + 4^4 / 9) = 16.69."""
    inputs = [Quantity("a", 1.0, 3 * scale, 9), Quantity("b", 1.0, 4 * scale, 9)]
    found = budget(read_formula("a + b", ["a", "b"]), inputs)
    assert found.u == pytest.approx(5 * scale, rel=1e-12)
    assert found.dof == pytest.approx(9 * 625 / (81 + 256))
    assert [row.share for row in found.rows] == pytest.approx([0.36, 0.64])


def test_a_bend_that_takes_from_u_is_told_as_well() -> None:
    """At 0 a sine is flatter around than at it: u is 0.66, not 1 (exact: (1 - exp(-2)) / 2)."""
    found = budget(read_formula("sin(a)", ["a"]), [Quantity("a", 0.0, 1.0)])
    assert found.u == 1.0
    assert found.u_second < sqrt((1 - exp(-2)) / 2)
    assert found.curved


@pytest.mark.parametrize("r", [-0.9, -0.3, 0.0, 0.5, 1.0])
def test_the_second_order_holds_for_correlated_inputs(r: float) -> None:
    """Exact: the variance of the product of two correlated normal quantities; a cube of one."""
    inputs = [Quantity("a", 2.0, 0.7), Quantity("b", -1.0, 0.4)]
    found = budget(read_formula("a * b", ["a", "b"]), inputs, {("a", "b"): r})
    first = (1 * 0.7) ** 2 + (2 * 0.4) ** 2 - 2 * 2 * 0.7 * 0.4 * r
    assert found.u == pytest.approx(sqrt(first))
    assert found.u_second == pytest.approx(sqrt(first + (0.7 * 0.4) ** 2 * (1 + r * r)))
    alike = [Quantity("a", 2.0, 0.3), Quantity("b", 2.0, 0.3)]
    cube = budget(read_formula("((a + b) / 2)**3", ["a", "b"]), alike, {("a", "b"): 1.0})
    assert cube.u_second == pytest.approx(sqrt(9 * 2**4 * 0.3**2 + 36 * 2**2 * 0.3**4))


def test_a_run_of_lots_goes_on_until_two_digits_hold() -> None:
    """Source: JCGM 101:2008, 7.9.4. Exact ends of one normal input: 1.959964."""
    found = draw_until_settled(ALONE, [Quantity("a", 5.0, 1.0)], finer=5)
    assert found.settled
    assert found.trials % 10_000 == 0
    assert [end - 5 for end in found.symmetric] == pytest.approx([-1.959964, 1.959964], abs=0.01)
    assert found.u == pytest.approx(1.0, abs=0.01)
    short = draw_until_settled(ALONE, [Quantity("a", 5.0, 1.0)], finer=5, most=20_000)
    assert (short.settled, short.trials) == (False, 20_000)
    assert draw_until_settled(ALONE, [Quantity("a", 5.0, 0.0)]).settled


def test_numerical_tolerances_of_the_guide_are_held() -> None:
    """Source: JCGM 101:2008, 7.9.2, examples 1 and 2 (from memory)."""
    assert numerical_tolerance(0.00035) == pytest.approx(0.000005)
    assert numerical_tolerance(2.0) == pytest.approx(0.05)
    assert numerical_tolerance(9.96, 1) == pytest.approx(5.0)  # 1 x 10^1
    assert numerical_tolerance(0.0) == 0.0


def test_three_readings_have_no_standard_deviation_when_drawn() -> None:
    """Source: JCGM 101:2008, 6.4.9.4: the t distribution has a variance from 3 degrees on."""
    three = draw(ALONE, [Quantity("a", 5.0, 1.0, 2)], trials=100_000)
    assert three.u == inf
    assert three.symmetric[1] - 5 == pytest.approx(float(student.ppf(0.975, 2)), rel=0.05)
    assert draw(ALONE, [Quantity("a", 5.0, 1.0, 3)], trials=100_000).u < 2
    two = draw(ALONE, [Quantity("a", 5.0, 1.0, 1)], trials=100_000)
    assert two.value == pytest.approx(5.0, abs=0.05)
    assert max(two.histogram[0]) < 5 + 2000  # a plot of what is drawn, not of its farthest point
    settled = draw_until_settled(ALONE, [Quantity("a", 5.0, 1.0, 2)])
    assert settled.settled


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1e999999999 * a", "found '1e999999999', accepted: a number"),
        ("0x10 * a", "found '0x10'"),
        ("((((9**12)**12)**12)**12) * a", "power too large"),
        ("0**-1 * a", "division by 0"),
        ("a**1e300", "found the power 1e300"),
    ],
)
def test_numbers_that_would_take_for_ever_are_refused(text: str, words: str) -> None:
    """Each of them hung, or came out as another kind of fault."""
    with pytest.raises(ValueError, match=re.escape(words)):
        read_formula(text, ["a"])


@pytest.mark.parametrize(
    "text", ["exp(exp(exp(exp(100)))) * a", "exp(1e30) * a", "1e300 * a * 1e300"]
)
def test_a_result_beyond_all_numbers_is_refused(text: str) -> None:
    """It is no result, and JSON has no word for it."""
    with pytest.raises(ValueError, match=r"too large|no value"):
        budget(read_formula(text, ["a"]), [Quantity("a", 1.0, 0.1)])


def written(expression: str, *inputs: str, unit: str = "") -> str:
    model = f"[model]\nexpression = '{expression}'\n" if expression else ""
    return (model or "[model]\n") + unit + "".join(f"\n[[input]]\n{one}\n" for one in inputs)


BORE, STEM = (
    'name = "bore"\nvalue = "8.012 mm"\nu = "2 um"',
    'name = "stem"\nvalue = "7.965 mm"\nu = "2 um"',
)


@pytest.mark.parametrize(
    ("expression", "value", "unit"),
    [
        ("1 / (bore - stem)", 1 / 0.047, "1/mm"),
        ("log(bore / stem - 1) * stem", None, ""),
        ("asin(stem / bore)", None, ""),
        ("sqrt(bore**2 - stem**2)", sqrt(8.012**2 - 7.965**2), "mm"),
    ],
)
def test_units_are_checked_where_the_inputs_are(
    expression: str, value: float | None, unit: str
) -> None:
    """Inputs of the same unit are not equal: a difference of them may stand below the line."""
    line = f'unit = "{unit}"\n' if unit else ""
    loaded = load_budget(written(expression, BORE, STEM, unit=line), "b.toml")
    found = budget(loaded.formula, loaded.inputs)
    if value is not None:
        assert found.value / loaded.scale == pytest.approx(value)


def test_a_sensitivity_has_a_unit_of_its_own() -> None:
    """By hand: 3 K at 0.09 um/K is 0.27 um; sqrt(2^2 + (0.5 * 0.09)^2) um."""
    warm = 'name = "warm"\nvalue = "3 K"\nu = "0.5 K"\nsensitivity = "0.09 um/K"'
    loaded = load_budget(written("", BORE, warm, unit='unit = "um"\n'), "b.toml")
    found = budget(loaded.formula, loaded.inputs)
    assert found.value / loaded.scale == pytest.approx(8012.27)
    assert found.u / loaded.scale == pytest.approx(sqrt(4 + 0.045**2))


@pytest.mark.parametrize(
    ("inputs", "words"),
    [
        ([BORE, 'name = "warm"\nvalue = "3 K"\nu = "0.5 K"\nsensitivity = 0.09'],
         "input.2.sensitivity: found warm by its sensitivity in K and bore in mm, accepted"),
        (['name = "in"\nvalue = 1\nu = 1'], "input.1.name: found 'in', which means something else"),
        (['name = "exp"\nvalue = 1\nu = 1'], "input.1.name: found 'exp'"),
        (['name = "a"\nvalue = 1\nu = 1\nsensitivity = inf'], "input.1.sensitivity: found inf"),
        (['name = "a"\nvalue = 1\nexpanded = 1\nk = inf'], "input.1.k: found inf"),
        (['name = "a"\nvalue = true\nu = 1'], "input.1.value"),
        (['name = "a"\nreadings = [true, false]'], "input.1.readings.1"),
        (['name = "a"\nreadings = ["1", "2"]\ninexact = 0.5'], "input.1.inexact: found it beside"),
        (['name = "a"\nvalue = 1\nexpanded = 1\nk = 2\ninexact = 0.5'], "inexact: accepted: only"),
        (['name = "a"\nvalue = "9**9**9**9 mm"\nu = "1 um"'], "found '9**9**9**9 mm'"),
        (['name = "a"\nvalue = "1 mm**9**9**9"\nu = "1 um"'], "input.1.value"),
        (['name = "a"\nvalue = "20 degC"\nu = "1 K"'], "found a temperature on a scale (degC)"),
        (['name = "a"\nvalue = "1 mm"\nunit = "mm**9**9**9"\nu = 1'], "input.1.unit"),
    ],
)  # fmt: skip
def test_what_a_file_cannot_mean_is_said(inputs: list[str], words: str) -> None:
    """Nothing is left out in silence, nothing hangs, and the place is named."""
    with pytest.raises(InputError) as fault:
        load_budget(written("", *inputs), "b.toml")
    assert words in str(fault.value)


WORDS = st.sampled_from([
    "[model]", "[[input]]", "[[correlation]]", "name", "value", "u", "dof", "k", "r", "a", "b",
    "expanded", "half_width", "readings", "resolution", "inexact", "distribution", "expression",
    "coverage", "unit", "sensitivity", "=", "\n", "\n", "\n", '"a"', '"b"', '"8.012 mm"', '"2 um"',
    '"a-b"', '"1/(a-b)"', '"K"', '"mm"', "0", "1", "-1", "2.5", "nan", "inf", "true", "[", "]", ",",
    '["7.9", "7.8"]', '"rectangular"', '"1e300 mm"', "1979-05-27",
])  # fmt: skip


@settings(max_examples=150)
@given(st.lists(WORDS, max_size=40).map(" ".join))
def test_whatever_a_file_says_is_a_budget_or_a_sentence(text: str) -> None:
    """No other way out."""
    with contextlib.suppress(InputError, ValueError):
        loaded = load_budget(text, "b.toml")
        assert budget(loaded.formula, loaded.inputs, loaded.correlations).dof >= 1


@settings(max_examples=60)
@given(
    st.sampled_from(["a-b", "a/b", "1/(a-b)", "a*b", "sqrt(a**2-b**2)", "log(a/b)", "asin(b/a)"]),
    *[st.sampled_from(["8 mm", "7 in", "0 mm", "-3 um", "1e300 mm", "5 K", "2", "1e-300 N"])] * 2,
    st.sampled_from(["0 mm", "2 um", "1e290 mm", "0.1 K", "0", "1"]),
)
def test_whatever_the_inputs_are_is_a_budget_or_a_sentence(
    expression: str, a: str, b: str, u: str
) -> None:
    """Very large, very small, equal, or of another kind."""
    text = written(expression, *(f'name = "{name}"\nvalue = "{value}"\nu = "{u}"'
                                 for name, value in (("a", a), ("b", b))))  # fmt: skip
    with contextlib.suppress(InputError, ValueError):
        loaded = load_budget(text, "b.toml")
        found = budget(loaded.formula, loaded.inputs, loaded.correlations)
        assert found.dof >= 1
        assert isfinite(found.u_second)


def test_the_table_fits_a_terminal_and_says_what_is_not_used(
    run_cli: RunCli, tmp_path: Path
) -> None:
    """Every ready-made budget within 80 columns; an input outside the formula is told."""
    file = tmp_path / "b.toml"
    for kind in ("stem", "bore", "clearance", "rock", "depth", "spring length", "flatness"):
        status, text, _ = run_cli("uncertainty", "--ready", kind)
        assert status == 0
        file.write_text(text, encoding="utf-8")
        status, out, _ = run_cli("uncertainty", file)
        assert status == 0
        table = out.partition("\n\n")[0]
        assert max(map(len, table.splitlines())) <= 80, table
    file.write_text(written("bore - stem", BORE, STEM, 'name = "zero"\nvalue = "0 um"\nu = "1 um"'))
    status, out, _ = run_cli("uncertainty", file)
    assert (status, "Not in the formula, and so without effect: zero." in out) == (0, True)


def test_what_was_drawn_says_whether_the_budget_is_as_good(run_cli: RunCli, tmp_path: Path) -> None:
    """Source: JCGM 101:2008, 9.2.3 and 9.2.4, ends 3.88 for 3.92 and 17.0 for 19.9; clause 8.1."""
    file = tmp_path / "b.toml"

    def drawn(sizes: list[int], trials: str = "auto") -> dict[str, object]:
        inputs = [f'name = "x{at}"\nvalue = 0\nu = {size}\ndistribution = "rectangular"'
                  for at, size in enumerate(sizes)]  # fmt: skip
        file.write_text(written("", *inputs))
        status, out, _ = run_cli("uncertainty", file, "--monte-carlo", trials, "--json")
        assert status == 0
        found: dict[str, object] = json.loads(out)["monte_carlo"]
        return found

    assert drawn([1, 1, 1, 1])["budget_holds"] is True
    dominated = drawn([1, 1, 1, 10])
    assert (dominated["budget_holds"], dominated["tolerance"], dominated["settled"]) == (
        False, 0.5, True,
    )  # fmt: skip
    status, out, _ = run_cli("uncertainty", file, "--monte-carlo", "auto")
    assert "Take the interval that was drawn: the budget's is off by 2.9" in out
    for bad in ("9999", "many", "-5"):
        status, out, err = run_cli("uncertainty", file, f"--monte-carlo={bad}")
        assert (status, out) == (2, "")
        assert "accepted: auto, or 10000" in err


def test_a_half_width_is_at_most_as_inexact_as_it_is_wide() -> None:
    """Source: JCGM 101:2008, 6.4.3.3: u^2 = a^2 / 3 + d^2 / 9; with d = a, u = 2/3 a."""
    widest = Quantity("a", 0.0, 2 / 3, distribution="rectangular", inexact=1.0)
    assert budget(ALONE, [widest]).u == pytest.approx(2 / 3)
    assert draw(ALONE, [widest], trials=200_000).u == pytest.approx(2 / 3, rel=0.01)
    wider = Quantity("a", 0.0, 2 / 3, distribution="rectangular", inexact=1.1)
    with pytest.raises(ValueError, match="up to the half width itself"):
        budget(ALONE, [wider])
