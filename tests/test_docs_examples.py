"""Every example in a docstring gives what it says."""

from __future__ import annotations

import doctest
import pkgutil
import sys
from importlib import import_module
from typing import TYPE_CHECKING

import pytest

import gaugelink

if TYPE_CHECKING:
    from types import ModuleType

NAMES = sorted(
    item.name
    for item in pkgutil.walk_packages(gaugelink.__path__, "gaugelink.")
    if item.name != "gaugelink.__main__"  # it runs the command line
)


def loaded(name: str) -> ModuleType:
    if name.endswith("_posix") and sys.platform == "win32":
        pytest.skip("this module is for other systems")
    return import_module(name)


@pytest.mark.parametrize("name", NAMES)
def test_the_examples_of_a_module_hold(name: str) -> None:
    failed, _ = doctest.testmod(loaded(name), report=True)
    assert failed == 0


def test_there_are_examples_to_hold() -> None:
    """None at all must not pass for good."""
    finder = doctest.DocTestFinder(exclude_empty=True)
    found = {
        name: sum(len(item.examples) for item in finder.find(import_module(name)))
        for name in NAMES
        if not name.endswith("_posix")
    }
    assert len(found) >= 80
    assert sum(found.values()) >= 100
    for name in ("quantity", "head", "event_documents", "errors", "metrology.conformity",
                 "metrology.flatness", "tomlfile"):  # fmt: skip
        assert found[f"gaugelink.{name}"] >= 1
