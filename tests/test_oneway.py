"""One-way analysis of variance holds certified values, and says what it needs."""

from __future__ import annotations

import json
import math
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from gaugelink.metrology.counts import counts_of, sum_of_squares
from gaugelink.metrology.oneway import oneway

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from conftest import RunCli


STRD = ("SiRstv", "SmLs01", "SmLs04", "SmLs07")
"""NIST Statistical Reference Datasets, one-way analysis of variance, easiest to hardest."""


def digits(found: float, certified: float) -> float:
    """How many significant digits agree (log relative error); 16 where all do."""
    return 16.0 if found == certified else -math.log10(abs(found - certified) / abs(certified))


@pytest.mark.parametrize("name", STRD)
def test_certified_values_are_held_to_every_digit_that_a_double_has(
    name: str, check_rows: Callable[[str], list[dict[str, str]]],
    check_file: Callable[[str], Path], run_cli: RunCli, tmp_path: Path,
) -> None:  # fmt: skip
    """Source: NIST StRD, certified values of the data file; printed with 15 digits."""
    rows = check_rows(f"strd_anova_{name}.csv")
    group, value = rows[0]
    table = tmp_path / "data.csv"
    table.write_text("group,value\n" + "".join(f"{row[group]},{row[value]}\n" for row in rows))
    status, out, _ = run_cli("oneway", table, "--json")
    assert status == 0
    found = json.loads(out)
    certified = json.loads(check_file("strd_anova_certified.json").read_text())["certified"][name]
    assert (found["df_between"], found["df_within"]) == (
        certified["df_between"], certified["df_within"])  # fmt: skip
    for key, held in (("ss_between", "ss_between"), ("ss_within", "ss_within"), ("f", "F")):
        assert digits(found[key], float(certified[held])) >= 13, key


def test_a_handbook_example_is_held(
    check_rows: Callable[[str], list[dict[str, str]]],
) -> None:
    """Source: NIST/SEMATECH e-Handbook 7.4.3: 27.897, 17.452, F 9.59; p recomputed (scipy)."""
    rows = check_rows("nist_handbook_oneway_743.csv")
    counts = counts_of(row["resistance"] for row in rows)
    groups: dict[str, list[int]] = {}
    for row, value in zip(rows, counts.values, strict=True):
        groups.setdefault(row["level"], []).append(value)
    table = oneway([*groups.values()])
    assert round(float(table.ss_between * counts.step**2), 3) == 27.897
    assert round(float(table.ss_within * counts.step**2), 3) == 17.452
    assert round(float(table.f), 2) == 9.59
    assert table.p == pytest.approx(0.003248223, abs=5e-10)


def test_the_example_of_the_guide_is_held(check_file: Callable[[str], Path]) -> None:
    """Source: JCGM 100:2008, H.5: 10 days of 5 voltages; s_b 85 uV, F 2.25, s_B 43 uV.

    The guide prints each day's mean and standard deviation; five readings that have them are
    mean - d, mean, mean, mean, mean + d with d = s sqrt(2).
    """
    held = json.loads(check_file("gum_h5_anova_voltage.json").read_text(encoding="utf-8"))
    groups = []
    for mean, sd in zip(held["day_mean_uV_above_10V"], held["day_sd_uV"], strict=True):
        away = round(1000 * sd * math.sqrt(2))
        groups.append([1000 * mean + by for by in (-away, 0, 0, 0, away)])
    table = oneway(groups)
    assert (table.df_between, table.df_within) == (9, 40)
    # The guide prints 2.25 from unrounded readings; its rounded table gives 2.26.
    assert round(float(table.f), 2) == 2.26
    assert float(table.f) == pytest.approx(held["published"]["F"], abs=0.015)
    assert round(math.sqrt(table.ms_within) / 1000) == held["published"]["s_b_uV"]
    assert table.variance_between is not None
    assert round(math.sqrt(table.variance_between) / 1000) == held["published"]["s_B_uV"]


@given(st.lists(st.lists(st.integers(-(10**6), 10**6), min_size=2, max_size=6), min_size=2,
                max_size=5), st.integers(-(10**15), 10**15))  # fmt: skip
def test_a_common_shift_changes_nothing_at_all(groups: list[list[int]], shift: int) -> None:
    """However large the readings are, only their differences count; to the last digit."""
    if all(len(set(group)) == 1 for group in groups):
        return
    moved = [[value + shift for value in group] for group in groups]
    assert oneway(moved) == oneway(groups)


@given(st.lists(st.integers(-(10**9), 10**9), min_size=1, max_size=20))
def test_the_sum_of_squares_is_that_of_the_differences(values: list[int]) -> None:
    """The short formula gives what the definition gives, exactly."""
    mean = Fraction(sum(values), len(values))
    assert sum_of_squares(values) == sum((value - mean) ** 2 for value in values)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("a,1\na,2\n", "found 1 group, needed: at least two"),
        ("a,1\nb,2\n", "found one reading in each group, needed: a second one"),
        ("a,1\na,1\nb,2\nb,2\n", "do not differ within any group"),
        ("a,1\n,2\n", "line 3, group: the cell is empty"),
        ("a,1\nb,inf\n", "line 3, value: found 'inf'"),
        ("a,1e3\n", "line 2, value: found '1e3'"),
    ],
)
def test_what_cannot_be_analysed_is_said_in_a_sentence(
    rows: str, words: str, run_cli: RunCli, tmp_path: Path
) -> None:
    """Status 2, nothing on standard output."""
    table = tmp_path / "data.csv"
    table.write_text(f"group,value\n{rows}")
    status, out, err = run_cli("oneway", table, "--json")
    assert (status, out) == (2, "")
    assert words in err


def test_the_table_is_printed_with_its_conclusion(run_cli: RunCli, tmp_path: Path) -> None:
    """Without --json people get the usual table and a sentence."""
    table = tmp_path / "data.csv"
    table.write_text("group,value\na,7.960\na,7.961\na,7.962\nb,7.970\nb,7.971\nb,7.972\n")
    status, out, _ = run_cli("oneway", table)
    assert status == 0
    assert "the groups differ by more than their scatter explains" in out
    assert "Standard deviation within: 0.001" in out


def test_groups_of_any_size_have_a_spread_of_their_own() -> None:
    """Own simulation: groups of 1, 2 and 9 of standard deviation 3, readings of 1."""
    by_hand = oneway([[1], [2, 4], [3, 5, 7]])
    assert by_hand.each == Fraction(11, 6)  # (6 - 14 / 6) / 2
    assert oneway([[1, 2], [3, 5], [4, 9]]).each == 2
    random = np.random.default_rng(20261126)
    sizes = (1, 2, 9)
    found = []
    for _ in range(2000):
        groups = [
            np.round((random.normal(0, 3) + random.normal(0, 1, size)) * 1e4) for size in sizes
        ]
        table = oneway([[int(value) for value in group] for group in groups])
        # Cut at 0 it would be too large on average; the plain one is what has no bias.
        found.append(float((table.ms_between - table.ms_within) / table.each) / 1e8)
    assert np.mean(found) == pytest.approx(9.0, abs=4 * np.std(found) / 2000**0.5)
    assert abs(np.mean(found) - 9) < 0.9


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(alphabet="group,value\n0123456789.-+eE;\t\"' #naif", max_size=120))
def test_whatever_a_file_holds_is_a_table_or_a_sentence(
    run_cli: RunCli, tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    """Status 0 or 2, and a sentence with the file's name."""
    file = tmp_path_factory.mktemp("any") / "data.csv"
    file.write_text("group,value\n" + text, encoding="utf-8")
    status, _, err = run_cli("oneway", file)
    assert status in {0, 2}
    assert (status == 0) == (not err)
