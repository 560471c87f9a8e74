"""The page about faults names tests, and each of them exists."""

from __future__ import annotations

import re
from pathlib import Path

HERE = Path(__file__).resolve().parent
PAGE = HERE.parent / "docs" / "faults.md"
ROWS = [row for row in PAGE.read_text(encoding="utf-8").splitlines() if row.startswith("| ")][1:]
NAMED = [re.findall(r"`(test_\w+)`", row) for row in ROWS]
FAULTS = 17
"""Faults that the trade knows (the handbook of the trade, section 6.7)."""


def test_every_fault_of_the_trade_has_a_row_and_every_row_a_test():
    assert len(ROWS) == FAULTS
    assert all(NAMED)


def test_every_test_that_the_page_names_exists_once():
    found: dict[str, int] = {}
    for path in HERE.glob("test_*.py"):
        for name in re.findall(r"def (test_\w+)\(", path.read_text(encoding="utf-8")):
            found[name] = found.get(name, 0) + 1
    for name in (name for row in NAMED for name in row):
        assert found.get(name) == 1, f"{name} is there {found.get(name, 0)} times"


def test_every_test_of_the_faults_stands_on_the_page():
    text = (HERE / "test_faults_of_the_trade.py").read_text(encoding="utf-8")
    names = set(re.findall(r"def (test_\w+)\(", text))
    assert names <= {name for row in NAMED for name in row}
