"""Studies that one person does."""

from __future__ import annotations

import json
from fractions import Fraction
from math import sqrt
from typing import TYPE_CHECKING, Any

import pytest
from scipy import stats

from gaugelink.metrology.study_small import on_master, one_person

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from conftest import RunCli

READINGS = [8001, 8002, 8000, 8001, 8001, 8003, 8001, 8000, 8002, 8001, 8001, 8002]


def test_repeatability_is_that_of_the_handbook(
    check_rows: Callable[[str], list[dict[str, str]]],
) -> None:
    """Source: NIST/SEMATECH e-Handbook 7.4.3: mean square within 1.454, 12 degrees of freedom."""
    groups: dict[str, list[int]] = {}
    for row in check_rows("nist_handbook_oneway_743.csv"):
        groups.setdefault(row["level"], []).append(round(float(row["resistance"]) * 10))
    found = one_person([*groups.values()])
    assert round(found.repeatability**2 / 100, 3) == 1.454
    assert found.df == 12
    low, high = (end**2 / found.repeatability**2 * 1.0 for end in found.repeatability_ends)
    assert low == pytest.approx(12 / stats.chi2.ppf(0.975, 12), rel=1e-9)
    assert high == pytest.approx(12 / stats.chi2.ppf(0.025, 12), rel=1e-9)


def test_the_bias_is_tested_as_scipy_does() -> None:
    """Source: scipy, t test of one sample."""
    found = on_master(READINGS, Fraction(8000), tolerance=50)
    held = stats.ttest_1samp(READINGS, 8000)
    assert found.bias_p == pytest.approx(held.pvalue, rel=1e-9)
    assert found.bias == pytest.approx(1.25)
    sd = stats.tstd(READINGS)
    assert found.width == pytest.approx(10 / (6 * sd))
    assert found.nearer == pytest.approx((5 - 1.25) / (3 * sd))
    assert found.can is True  # 1.92 and 1.44, by hand from sd 0.866
    assert on_master(READINGS, Fraction(8000), tolerance=46).can is False  # (4.6 - 1.25) / 2.598


def test_a_doubtful_master_makes_the_bias_less_sure() -> None:
    """Its own uncertainty is counted in; a display that never flickers still has its step."""
    assert on_master(READINGS, Fraction(8000), 2.0).bias_p > 0.4
    still = on_master([8001] * 25, Fraction(8001), 0.1, 50)
    assert still.width == pytest.approx(10 / (6 / sqrt(12)))


def told(run_cli: RunCli, *words: str | Path) -> dict[str, Any]:
    """Run the command and give its document."""
    status, out, err = run_cli("study", *words, "--json")
    assert (status, err) == (0, "")
    document: dict[str, Any] = json.loads(out)
    return document


def test_both_are_told_by_the_command(run_cli: RunCli, tmp_path: Path) -> None:
    """In the unit of the file, and in words."""
    file = tmp_path / "master.csv"
    file.write_text("value\n" + "".join(f"{value / 1000:.3f}\n" for value in READINGS))
    words = (file, "--master", "8.000 mm", "--tolerance", "0.05mm", "--u-master", "0.0001 mm")
    found = told(run_cli, *words)
    assert found["bias"] == pytest.approx(0.00125)
    assert found["can_judge"] is True
    out = run_cli("study", *words)[1]
    assert "it is real (p below 5 %)" in out
    assert "Fewer than 25 readings" in out
    file.write_text("part,value,unit\n1,0.3140,in\n1,0.3141,in\n2,0.3150,in\n2,0.3152,in\n")
    found = told(run_cli, file, "--one-person", "--tolerance", "0.01in")
    assert found["sd"]["repeatability"] == pytest.approx(sqrt((0.5 + 2) / 2) * 1e-4)
    assert found["percent_of_tolerance"]["repeatability"] == pytest.approx(
        600 * found["sd"]["repeatability"] / 0.01)  # fmt: skip
    assert "What differs between people is not in it" in run_cli("study", file, "--one-person")[1]


@pytest.mark.parametrize(
    ("text", "words", "sentence"),
    [
        ("value\n1\n", ("--master", "1mm"), "found 1 readings, needed: at least two"),
        ("value\n1\n1\n", ("--master", "1mm"), "found readings that never differ"),
        ("value\n1\n2\n", ("--master", "one"), "--master: found"),
        ("part,value\n1,1\n1,2\n2,1\n", ("--one-person",), "measured unequally often"),
        ("part,value\n1,1\n1,2\n", ("--one-person",), "needed: at least two to compare"),
        ("part,operator,value\n1,A,1\n1,B,2\n", ("--one-person",), "accepted with --one-person"),
        ("part,value\n1,1\n1,2\n", ("--one-person", "--master", "1mm"), "one of the two"),
    ],
)
def test_what_cannot_be_analysed_is_said_in_a_sentence(
    text: str, words: tuple[str, ...], sentence: str, run_cli: RunCli, tmp_path: Path
) -> None:
    """Status 2, nothing on standard output."""
    file = tmp_path / "data.csv"
    file.write_text(text)
    status, out, err = run_cli("study", file, *words, "--json")
    assert (status, out) == (2, "")
    assert sentence in err
