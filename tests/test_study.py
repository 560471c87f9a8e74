"""A gauge study holds its book's example, and another program's arithmetic."""

from __future__ import annotations

import csv
import json
from fractions import Fraction
from importlib import import_module
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given, strategies as st

from gaugelink import content
from gaugelink.metrology.intervals import Term, interval_of_difference, interval_of_sum
from gaugelink.metrology.study import Components, Crossed, Row, Study, by_variance
from gaugelink.metrology.study_limits import limits
from gaugelink.metrology.study_range import by_range, range_moments

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from conftest import RunCli

BOOK = "grr_aiag_msa4_10x3x3.csv"
SECOND = "grr_vardeman_2x5x3.csv"


def study(run_cli: RunCli, *words: str | Path) -> dict[str, Any]:
    """Run the command and give its document."""
    status, out, err = run_cli("study", *words, "--json")
    assert (status, err) == (0, "")
    document: dict[str, Any] = json.loads(out)
    return document


def crossed(p: int, o: int, r: int, values: list[int]) -> Crossed:
    """Make a study of so many parts, operators and trials."""
    parts, operators = tuple(map(str, range(p))), tuple("ABCDEFGH"[:o])
    given_values = iter(values)
    cells = {(part, one): [next(given_values) for _ in range(r)]
             for part in parts for one in operators}  # fmt: skip
    return Crossed(parts, operators, r, cells)


def test_the_book_s_example_by_variance_is_held(
    run_cli: RunCli, check_file: Callable[[str], Path]
) -> None:
    """Source: AIAG MSA, 4th ed., analysis of variance of the 10 x 3 x 3 example, as printed."""
    held = json.loads(check_file("grr_aiag_msa4_results.json").read_text())["published_anova"]
    found = study(run_cli, check_file(BOOK))
    rows = {row["source"]: row for row in found["anova"]}
    for source, name in (("operator", "appraiser"), ("part", "parts"),
                         ("interaction", "interaction"), ("repeatability", "equipment"),
                         ("total", "total")):  # fmt: skip
        assert rows[source]["ss"] == pytest.approx(held["SS"][name], abs=6e-5), source
    assert rows["interaction"]["f"] == pytest.approx(
        held["F_vs_equipment"]["interaction"], abs=5e-4
    )
    assert found["interaction"] == "pooled"
    for name, key, places in (("repeatability", "EV", 6), ("reproducibility", "AV", 6),
                              ("rr", "GRR", 6), ("part", "PV", 6), ("total", "TV", 3)):  # fmt: skip
        assert found["sd"][name] == pytest.approx(held[key], abs=6 * 10**-places), name
    for name, key in (("repeatability", "pct_EV"), ("reproducibility", "pct_AV"),
                      ("rr", "pct_GRR"), ("part", "pct_PV")):  # fmt: skip
        assert round(found["percent_of_total"][name], 1) == held[key]
    assert found["distinct_categories"] == held["ndc"]


def test_the_book_tests_against_the_equipment(
    run_cli: RunCli, check_file: Callable[[str], Path]
) -> None:
    """Source: AIAG MSA, 4th ed., prints F against equipment also where nothing is pooled."""
    held = json.loads(check_file("grr_aiag_msa4_results.json").read_text())["published_anova"]
    found = study(run_cli, check_file(BOOK), "--interaction", "keep", "--test-against",
                  "repeatability")  # fmt: skip
    rows = {row["source"]: row for row in found["anova"]}
    assert round(rows["operator"]["f"], 2) == held["F_vs_equipment"]["appraiser"]
    assert round(rows["part"]["f"], 2) == held["F_vs_equipment"]["parts"]


def test_the_book_s_example_by_range_is_held(
    run_cli: RunCli, check_file: Callable[[str], Path]
) -> None:
    """Source: AIAG MSA, 4th ed., average-and-range report; its factors have four digits."""
    results = json.loads(check_file("grr_aiag_msa4_results.json").read_text())
    held, exact = (
        results["published_average_range"], results["recomputed_average_range_exact_constants"]
    )  # fmt: skip
    found = study(run_cli, check_file(BOOK), "--method", "range")
    for name, key in (("repeatability", "EV"), ("reproducibility", "AV"), ("rr", "GRR"),
                      ("part", "PV"), ("total", "TV")):  # fmt: skip
        assert found["sd"][name] == pytest.approx(held[key], rel=4e-4), name
        assert found["sd"][name] == pytest.approx(exact[key], rel=1e-9), name
    assert found["mean_range"] == pytest.approx(held["Rbar"], abs=5e-5)
    assert found["distinct_categories"] == held["ndc"]
    assert found["anova"] == []


@pytest.mark.parametrize("name", [BOOK, SECOND])
@pytest.mark.parametrize("interaction", ["keep", "pool"])
def test_recomputed_results_are_held_at_full_precision(
    name: str, interaction: str, run_cli: RunCli, check_file: Callable[[str], Path]
) -> None:
    """Source: recomputation beside the published figures (numpy, statsmodels 0.15.0)."""
    results = name.replace("10x3x3.csv", "results.json").replace("2x5x3.csv", "results.json")
    held = json.loads(check_file(results).read_text())["recomputed_anova"]
    found = study(run_cli, check_file(name), "--interaction", interaction)
    part = held["with_interaction" if interaction == "keep" else "pooled"]
    for key, wanted in (("repeatability", "sd_EV"), ("rr", "sd_GRR"), ("part", "sd_PV"),
                        ("total", "sd_TV")):  # fmt: skip
        assert found["sd"][key] == pytest.approx(part[wanted], rel=1e-9), key
    rows = {row["source"]: row for row in found["anova"]}
    tests = held["F_random"] if interaction == "keep" else part["F"]
    for source in ("part", "operator"):
        assert rows[source]["f"] == pytest.approx(tests[source], rel=1e-9)
    if interaction == "keep":
        for source in ("part", "operator", "interaction"):
            assert rows[source]["p"] == pytest.approx(held["p_random"][source], rel=1e-6)


@pytest.mark.parametrize("name", [BOOK, SECOND])
def test_sums_of_squares_are_those_of_statsmodels(
    name: str, run_cli: RunCli, check_file: Callable[[str], Path]
) -> None:
    """Source: statsmodels, ordinary least squares with both factors and their interaction."""
    pd = import_module("pandas")
    formula = import_module("statsmodels.formula.api")
    anova_lm = import_module("statsmodels.stats.anova").anova_lm
    lines = check_file(name).read_text().splitlines()
    rows = [*csv.DictReader(line for line in lines if not line.startswith("#"))]
    frame = pd.DataFrame(rows)
    frame["value"] = frame["value"].astype(float)
    table = anova_lm(formula.ols("value ~ C(part) * C(operator)", data=frame).fit())
    found = {row["source"]: row for row in study(run_cli, check_file(name))["anova"]}
    for source, other in (("part", "C(part)"), ("operator", "C(operator)"),
                          ("interaction", "C(part):C(operator)"), ("repeatability", "Residual"),
                          ):  # fmt: skip
        assert found[source]["ss"] == pytest.approx(table.loc[other, "sum_sq"], rel=1e-9)
        assert found[source]["df"] == table.loc[other, "df"]


def test_factors_of_the_range_are_those_of_the_charts(
    check_rows: Callable[[str], list[dict[str, str]]],
) -> None:
    """Source: control chart constants by adaptive quadrature, nine digits."""
    for row in check_rows("control_chart_constants_exact.csv"):
        d2, d3 = range_moments(int(row["n"]))
        assert d2 == pytest.approx(float(row["d2"]), abs=6e-10)
        assert d3 == pytest.approx(float(row["d3"]), abs=6e-10)


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    """95 % of 4,000 simulated studies; three standard deviations of that count are 1 %."""
    p, o, r, part, people, both, gauge = 10, 3, 3, 1.0, 0.05, 0.02, 0.05
    random = np.random.default_rng(20261125)
    held = {"rr": 0, "part": 0, "repeatability": 0}
    runs = 4000
    for _ in range(runs):
        msi = (gauge + r * both) * random.chisquare(18) / 18
        mso = (gauge + r * both + p * r * people) * random.chisquare(o - 1) / (o - 1)
        mse = gauge * random.chisquare(60) / 60
        msp = (gauge + r * both + o * r * part) * random.chisquare(p - 1) / (p - 1)
        low, high = interval_of_sum([
            Term(1 / (p * r), mso, o - 1), Term((p - 1) / (p * r), msi, 18),
            Term((r - 1) / r, mse, 60),
        ])  # fmt: skip
        held["rr"] += low <= people + both + gauge <= high
        low, high = interval_of_difference(
            [Term(1 / (o * r), msp, p - 1)], Term(1 / (o * r), msi, 18)
        )
        held["part"] += low <= part <= high
        low, high = interval_of_sum([Term(1.0, mse, 60)])
        held["repeatability"] += low <= gauge <= high
    for name, count in held.items():
        assert count / runs == pytest.approx(0.95, abs=0.011), name


@pytest.mark.parametrize(
    ("people", "both", "gauge"), [(0.36, 0.09, 0.25), (1.0, 1.0, 0.04), (0.36, 0.0, 0.25)]
)
def test_what_people_add_is_held_as_often_as_is_said(
    people: float, both: float, gauge: float
) -> None:
    """95 % of 4,000 simulated studies of 10 x 3 x 3 with the interaction kept, or a little more."""
    p, o, r = 10, 3, 3
    random = np.random.default_rng(20261126)
    held = 0
    for _ in range(4000):
        rows = {
            "part": Row("part", p - 1, Fraction(1)),
            "operator": chanced(random, "operator", o - 1, gauge + r * both + p * r * people),
            "interaction": chanced(random, "interaction", (p - 1) * (o - 1), gauge + r * both),
            "repeatability": chanced(random, "repeatability", p * o * (r - 1), gauge),
        }
        none = Components(*[Fraction(0)] * 4)
        low, high = limits(
            Study(rows, {}, pooled=False, against="interaction", components=none, size=(p, o, r))
        )["reproducibility"]
        held += low <= people + both <= high
    assert 0.94 < held / 4000 < 0.98


def chanced(random: np.random.Generator, source: str, df: int, ms: float) -> Row:
    """Make a row with a mean square that scatters about its expectation."""
    return Row(source, df, Fraction(float(random.chisquare(df)) * ms))


readings = st.lists(st.integers(-50, 50), min_size=24, max_size=24).filter(
    lambda values: any(values[at] != values[at + 1] for at in range(0, 24, 2))
)


@given(readings, st.integers(-(10**12), 10**12), st.sampled_from(["keep", "pool", "auto"]))
def test_a_common_shift_changes_nothing(values: list[int], shift: int, interaction: Any) -> None:
    """Only differences count, to the last digit; variances are never below 0."""
    one = by_variance(crossed(4, 3, 2, values), interaction)
    other = by_variance(crossed(4, 3, 2, [value + shift for value in values]), interaction)
    assert one == other
    found = one.components
    assert min(found.repeatability, found.operator, found.interaction, found.part) >= 0
    assert by_range(crossed(4, 3, 2, values)).rr >= 0
    for low, high in limits(one).values():
        assert 0 <= low <= high or high == pytest.approx(0)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda rows: rows[:-1], "found 1 trials of part '2' by 'B' and 2 elsewhere"),
        (lambda rows: [row for row in rows if row[2] == "A"], "operator: found one operator (A)"),
        (lambda rows: [row for row in rows if row[0] == "1"], "part: found one part (1)"),
        (lambda rows: [row for row in rows if ",1," in row], "found one trial of each part"),
        (lambda rows: [row[: row.rindex(",")] + ",5" for row in rows], "trials that never differ"),
        (lambda rows: [*rows, "2,B,2,7"], "found trial '2' of part '2' by 'B' twice (line 9)"),
        (lambda rows: [*rows[:-1], "2,B,2,nan"], "line 9, value: found 'nan'"),
    ],
)
def test_what_cannot_be_analysed_is_said_in_a_sentence(
    change: Callable[[list[str]], list[str]], words: str, run_cli: RunCli, tmp_path: Path
) -> None:
    """Status 2, nothing on standard output, and what is needed."""
    rows = [f"{part},{one},{trial},{7 + part * 2 + trial}" for part in (1, 2) for one in "AB"
            for trial in (1, 2)]  # fmt: skip
    file = tmp_path / "study.csv"
    file.write_text("part,operator,trial,value\n" + "\n".join(change(rows)) + "\n")
    status, out, err = run_cli("study", file, "--json")
    assert (status, out) == (2, "")
    assert words in err


def test_the_tolerance_is_judged_in_the_readings_unit(
    run_cli: RunCli, check_file: Callable[[str], Path], tmp_path: Path
) -> None:
    """Six standard deviations of measuring against the width; inches are inches."""
    mm = study(run_cli, check_file(BOOK), "--tolerance", "4 mm")
    assert mm["percent_of_tolerance"]["rr"] == pytest.approx(100 * 6 * mm["sd"]["rr"] / 4)
    lines = [line for line in check_file(BOOK).read_text().splitlines() if line[0] != "#"]
    file = tmp_path / "inch.csv"
    file.write_text("\n".join([lines[0] + ",unit", *(line + ",in" for line in lines[1:])]))
    inch = study(run_cli, file, "--tolerance", "4 in")
    assert inch["percent_of_tolerance"] == mm["percent_of_tolerance"]
    assert study(run_cli, file, "--tolerance", "101.6 mm")["percent_of_tolerance"]["rr"] == (
        pytest.approx(mm["percent_of_tolerance"]["rr"], rel=1e-12))  # fmt: skip


def test_the_plots_come_as_one_file_that_asks_for_nothing(
    run_cli: RunCli, check_file: Callable[[str], Path], tmp_path: Path
) -> None:
    """The page holds its own script; people get the table and a conclusion beside it."""
    page = tmp_path / "study.html"
    status, out, _ = run_cli("study", check_file(BOOK), "--tolerance", "4mm", "--plot", page)
    assert status == 0
    assert "the gauge cannot judge this: look for a better gauge" in out
    text = page.read_text(encoding="utf-8")
    assert "Range of a cell, mm" in text
    assert "<script src=" not in text.replace(' type="text/javascript"', "")
    assert run_cli("study", check_file(BOOK), "--plot", tmp_path / "a.txt")[0] == 2


def test_the_tables_of_a_study_fit_a_terminal(
    check_file: Callable[[str], Path], run_cli: RunCli
) -> None:
    """80 columns, and no blanks at the end of a line."""
    file = check_file("grr_aiag_msa4_10x3x3.csv")
    for words in (("--tolerance", "8mm"), ("--method", "range"), ("--interaction", "keep")):
        status, out, _ = run_cli("study", file, *words)
        assert status == 0
        table = out.partition("\nMeasuring takes")[0].splitlines()
        assert max(map(len, table)) <= 80
        assert all(line == line.rstrip() for line in table)


def test_a_study_says_of_each_limit_of_a_sheet_whether_it_can_be_judged(
    run_cli: RunCli, tmp_path: Path
) -> None:
    """By hand: the room from 0.3124 in to 7.975 mm is 40.04 um; six of rr as its share."""
    sheet = tmp_path / "sheet.toml"
    sheet.write_text(content.read("sim/sheets", "demo-pump-engine")[0], encoding="utf-8")
    words = ("--sheet", sheet, "--characteristic", "stem diameter", "--json")

    def study(step: int) -> Path:
        file = tmp_path / "stems.csv"
        rows = [
            f"{part},{one},{trial},{(7_960_000 + 3_000 * part + step * (trial + place)) / 1e6:.6f}"
            for part in range(5) for place, one in enumerate("AB") for trial in (1, 2)
        ]  # fmt: skip
        file.write_text("part,operator,trial,value\n" + "\n".join(rows) + "\n")
        return file

    status, out, _ = run_cli("study", study(500), *words)
    found = json.loads(out)
    row = found["limits"][0]
    assert (status, row["word"], row["room_um"]) == (0, "can", 40.04)
    assert row["u_um"] == pytest.approx(found["sd"]["rr"] * 1e3, abs=1e-6)
    assert row["percent_of_room"] == pytest.approx(600 * row["u_um"] / 40.04)
    coarse = json.loads(run_cli("study", study(20_000), *words)[1])
    assert {row["word"] for row in coarse["limits"]} == {"cannot"}
    text = run_cli("study", study(20_000), *words[:-1])[1]
    assert "cannot judge it: a better gauge or another method is needed" in text
    for bad, said in (
        (("--characteristic", "stem diameter"), "--characteristic: found it, accepted: with"),
        (("--sheet", sheet), "--characteristic: found none, accepted: one that the sheet limits"),
        (("--sheet", sheet, "--characteristic", "wood"), "--characteristic: found 'wood'"),
        (("--sheet", sheet, "--characteristic", "stem diameter", "--one-person"), "--sheet: found"),
    ):
        status, out, err = run_cli("study", study(500), *bad)
        assert (status, out) == (2, "")
        assert said in err


def test_the_spread_of_older_books_is_5_15(
    check_file: Callable[[str], Path], run_cli: RunCli
) -> None:
    """By hand: shares of the tolerance are as 5.15 to 6, all else is as it was."""
    words = ("study", check_file("grr_aiag_msa4_10x3x3.csv"), "--tolerance", "8mm", "--json")
    six, older = (json.loads(run_cli(*words, *more)[1]) for more in ((), ("--spread", "5.15")))
    shares = [found.pop("percent_of_tolerance") for found in (six, older)]
    assert (six.pop("spread"), older.pop("spread")) == (6, 5.15)
    assert six == older
    for name, share in shares[0].items():
        assert shares[1][name] == pytest.approx(share * 5.15 / 6)
    assert run_cli(*words, "--spread", "4")[0] == 2
