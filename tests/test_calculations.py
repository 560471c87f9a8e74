"""The page of calculations: formulas found, examples run, tables those that the command prints."""

from __future__ import annotations

import doctest
import importlib.util
import inspect
import pkgutil
import re
import sys
from importlib import import_module
from pathlib import Path

import pytest

from gaugelink import metrology

PROJECT = Path(__file__).resolve().parents[1]
PAGE = PROJECT / "docs" / "calculations.md"

STEPS_OF_ANOTHER = ("flatness_hull", "fit_tables", "formula", "ready")
"""Modules without a formula of their own, beside those of the sweep, whose steps rock.md tells."""

NO_FORMULA = {
    "budget.correlation_matrix",  # checks and lays out
    "counts.counts_of",  # reads
    "flatness.table_of",  # lays out
    "runout.even_angles",  # lays out
    "straightness.profile",  # lays out
    "straightness.six_lines",  # finds points
    "sweep.display_step",  # a greatest common divisor
    "temperature.stated",  # names a material
}
"""Functions that reckon nothing that is shown, each with what it does."""


def text_of_page() -> str:
    return PAGE.read_text(encoding="utf-8")


def test_every_worked_example_gives_what_it_says() -> None:
    """All of them, and there are some."""
    found = doctest.testfile(str(PAGE), module_relative=False, encoding="utf-8")
    assert found.failed == 0
    assert found.attempted > 120


@pytest.mark.parametrize("name", ["form.md"])
def test_the_examples_of_the_other_pages_hold(name: str) -> None:
    found = doctest.testfile(str(PAGE.with_name(name)), module_relative=False, encoding="utf-8")
    assert found.failed == 0
    assert found.attempted > 0


def formulas() -> set[str]:
    """Give the public functions that reckon something, as module.function."""
    found = set()
    for module in pkgutil.iter_modules(metrology.__path__):
        if module.name in STEPS_OF_ANOTHER or module.name.startswith("sweep_"):
            continue
        loaded = import_module(f"gaugelink.metrology.{module.name}")
        found |= {
            f"{module.name}.{name}"
            for name, work in inspect.getmembers(loaded, callable)
            if inspect.isfunction(inspect.unwrap(work))  # also behind a cache
            and work.__module__ == loaded.__name__
            and not name.startswith("_")
        }
    return found


def test_the_index_leads_to_every_formula_and_to_nothing_else() -> None:
    index = text_of_page().partition("## Where to find what")[2].partition("\n## ")[0]
    named = set(re.findall(r"`([a-z_0-9]+\.[a-z_0-9]+)`", index))
    assert len(named) > 60
    assert named == formulas() - NO_FORMULA
    assert formulas() >= NO_FORMULA


def test_every_function_in_the_index_has_a_source_and_a_place_on_the_page() -> None:
    text = text_of_page()
    index = text.partition("## Where to find what")[2].partition("\n## ")[0]
    rows = [line.strip("|").split("|") for line in index.splitlines() if line.startswith("| ")]
    places = {
        re.sub(r"[^a-z -]", "", title.lower()).replace(" ", "-")
        for title in re.findall(r"^## (.+)$", text, re.MULTILINE)
    }
    for what, source, where, _ in rows[1:]:
        assert source.strip(), what
        assert re.fullmatch(r" \[below\]\(#(.+)\) ", where)[1] in places, what


def tables_of_page() -> list[list[str]]:
    """Give the rows of the two tables of published values, without their heads."""
    part = text_of_page().partition("## Published values that are held")[2]
    tables: list[list[str]] = []
    for line in part.splitlines():
        if line.startswith("| what | "):
            tables.append([])
        elif line.startswith("| "):
            tables[-1].append(line)
    return tables


@pytest.fixture(scope="module")
def printed(shared: Path) -> list[list[str]]:
    """Give the rows that the command prints, by table."""
    folder = PROJECT / "benchmarks"
    spec = importlib.util.spec_from_file_location("held_values", folder / "held_values.py")
    assert spec is not None
    assert spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(folder))
        patch.setitem(sys.modules, "held_values", script)
        spec.loader.exec_module(script)
        return [*script.tables(shared / "checks")]


def test_the_tables_are_those_that_the_command_prints(printed: list[list[str]]) -> None:
    """Row by row; the digits may be more on another machine, never fewer by more than one."""
    shown = tables_of_page()
    assert [len(table) for table in shown] == [len(table) for table in printed]
    for row, new in zip(shown[0], printed[0], strict=True):
        assert row.rsplit("|", 2)[0] == new.rsplit("|", 2)[0]
        # The last bit of a library function differs between builds.
        assert int(new.split("|")[-2]) >= int(row.split("|")[-2]) - 1, new
    assert shown[1] == printed[1]


def test_seven_digits_are_reached_unless_the_row_says_why_not(printed: list[list[str]]) -> None:
    few = [row for row in printed[0] if int(row.split("|")[-2]) < 7]
    assert len(few) < len(printed[0]) / 3
    for row in few:
        assert re.search(r"\((as printed|drawn|\w+ places)\)", row) or "as printed," in row, row


def test_what_is_held_whole_is_held_whole(printed: list[list[str]]) -> None:
    """But for one proof about roots that are no hashes, which is refused on purpose."""
    missed = []
    for row in printed[1]:
        right, of = map(int, row.split("|")[-2].split(" of "))
        assert of > 0
        if right != of:
            missed.append((row.split("|")[1].strip(), of - right))
    assert missed == [("verdicts on good and forged proofs", 1)]
