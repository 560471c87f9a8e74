"""The documents keep up with the code."""

from __future__ import annotations

import re
from dataclasses import MISSING, fields
from pathlib import Path

import pytest

from gaugelink.cli import COMMANDS
from gaugelink.event_documents import KINDS
from gaugelink.head import CHARACTERISTICS, GAUGE_KINDS

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
PAGES = sorted([ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "docs").rglob("*.md")])
SOURCES = {"gaugelink", "drivers", "sim", "dashboards"}
_LINK = re.compile(r"\]\((?!https?://)([^)#\s]+)[^)]*\)")


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_stands_in_the_readme(command: str):
    assert f"gaugelink {command}" in README


def test_every_command_in_the_readme_exists():
    named = set(re.findall(r"`gaugelink ([a-z]+)", README))
    assert named == set(COMMANDS)


def test_the_readme_has_its_two_commands():
    for heading in ("Run it", "Test it"):
        section = README.split(f"## {heading}\n")[1].split("\n## ")[0]
        blocks = re.findall(r"```sh\n(.*?)\n```", section, re.DOTALL)
        assert len(blocks) == 1
        assert "\n" not in blocks[0]


@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_every_link_between_pages_leads_somewhere(page: Path):
    for target in _LINK.findall(page.read_text(encoding="utf-8")):
        path = (page.parent / target).resolve()
        top = ROOT / path.relative_to(ROOT).parts[0]
        if top.name in SOURCES and not top.exists():
            continue  # the installed package is tested, with the sources out of reach
        assert path.exists(), f"{page.name} points at {target}"


def test_decisions_are_numbered_without_gaps():
    names = sorted(path.name for path in (ROOT / "docs" / "decisions").glob("*.md"))
    assert len(names) >= 10
    assert [int(name[:4]) for name in names] == list(range(1, len(names) + 1))


def test_every_decision_says_context_decision_consequence():
    for path in (ROOT / "docs" / "decisions").glob("*.md"):
        text = path.read_text(encoding="utf-8")
        for word in ("**Context.**", "**Decision.**", "**Consequence.**"):
            assert word in text, f"{path.name} lacks {word}"


def test_the_glossary_explains_the_words_of_the_program():
    glossary = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8").lower()
    for word in ("within", "outside", "undecided", "travel", "clearance", "rock", "stand-down"):
        assert f"| {word}" in glossary
    assert CHARACTERISTICS
    assert GAUGE_KINDS


def test_the_records_page_lists_every_kind_of_entry_with_what_it_says():
    """Whoever reads a record without the program finds there what each entry is."""
    page = (ROOT / "docs" / "record-format.md").read_text(encoding="utf-8")
    section = page.split("### Kinds of entries\n")[1].split("\n## ")[0]
    rows = re.findall(r"^\| `([a-z-]+)` \| (.+) \| (.+) \|$", section, re.MULTILINE)
    assert all(words.strip() for _, words, _ in rows)
    assert [(kind, named) for kind, _, named in rows] == [
        (
            kind,
            ", ".join(
                f"`{field.name}`" + ("" if field.default is MISSING else "?")
                for field in fields(event)
                if field.name != "stamp"
            ),
        )
        for kind, event in KINDS.items()
    ]
