"""Files that people write are refused with line, field, what was found and what is accepted."""

from __future__ import annotations

from typing import Annotated, Literal

import pytest
from hypothesis import given, strategies as st
from pydantic import BaseModel, ConfigDict, Field

from gaugelink.errors import InputError
from gaugelink.tomlfile import check, line_of, parse


class Tool(BaseModel):
    """The innermost table."""

    model_config = ConfigDict(extra="forbid", strict=True)

    name: str
    colour: Literal["blue", "black"] = "blue"
    sizes: list[int] = []


class Shelf(BaseModel):
    """A table with a list of tables."""

    model_config = ConfigDict(extra="forbid", strict=True)

    height: int
    label: str | list[str] = ""
    tool: Annotated[list[Tool], Field(min_length=1)]


class Shop(BaseModel):
    """The whole file."""

    model_config = ConfigDict(extra="forbid", strict=True)

    shelf: Shelf


GOOD = """\
# a shop
[shelf]
height = 3
label = "left"

[[shelf.tool]]
name = "scraper"

[[shelf.tool]]   # the second
name = "stone"
colour = "black"
sizes = [
  1,
  2,
]
"""


def fault_of(text: str) -> InputError:
    with pytest.raises(InputError) as fault:
        check(Shop, text, "shop.toml")
    return fault.value


def test_a_good_file_becomes_its_model() -> None:
    shop = check(Shop, GOOD, "shop.toml")
    assert [tool.name for tool in shop.shelf.tool] == ["scraper", "stone"]


@pytest.mark.parametrize(
    ("old", "new", "line", "field", "words"),
    [
        ("height = 3\n", "", 2, "shelf.height", "missing"),
        ("height = 3", "height = '3'", 3, "shelf.height", "found '3'; input should be a valid int"),
        ("height = 3", "heigth = 3", 2, "shelf.height", "missing; it must be given (and 1 more)"),
        ('label = "left"', "label = 4", 4, "shelf.label", "found 4; input should be"),
        ('name = "stone"\n', "", 9, "shelf.tool.2.name", "missing"),
        ('name = "scraper"', 'name = "scraper"\nnam = 1', 8, "shelf.tool.1.nam",
         "unknown key, found 1; accepted: name, colour, sizes"),
        ('colour = "black"', 'colour = "red"', 11, "shelf.tool.2.colour",
         "found 'red'; input should be 'blue' or 'black'"),
        ("  2,", '  "2",', 12, "shelf.tool.2.sizes.2", "found '2'"),
        ("# a shop", "open = true", 1, "open", "unknown key, found True; accepted: shelf"),
        ("# a shop", "x = " + "[1, " * 30 + "]" * 30, 1, "x", "unknown key"),
    ],
)  # fmt: skip
def test_a_fault_is_placed(old: str, new: str, line: int, field: str, words: str) -> None:
    assert GOOD.count(old) == 1
    fault = fault_of(GOOD.replace(old, new))
    assert (fault.file, fault.line, fault.field) == ("shop.toml", line, field)
    assert words in fault.what
    assert len(str(fault)) < 250


def test_a_table_that_is_missing_altogether_has_no_line() -> None:
    fault = fault_of("# nothing\n")
    assert (fault.line, fault.field) == (None, "shelf")
    assert str(fault) == "shop.toml, shelf: this key is missing; it must be given"


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("a = \n", 1),
        ("a = 1\nb = 'x\n", 2),
        ("a = 1\na = 2\nb = 3", 2),
        ("[a]\n[b]\n[a]\n", 3),
        ("a = 1\nb = [1,\n2\n", 3),
        ("a = 1\n# \u2028 still the second line\nb = nonsense\n", 3),
        ("a = 1\r\nb = nonsense\r\n", 2),
        ("a = " + "1" * 5000, None),
        ("a = " + "[" * 5000, None),
    ],
)
def test_what_is_not_toml_is_refused_on_its_line(text: str, line: int | None) -> None:
    with pytest.raises(InputError) as fault:
        parse(text, "shop.toml")
    assert (fault.value.file, fault.value.line) == ("shop.toml", line)
    assert fault.value.what.startswith("not valid TOML (")


TRAPS = '''\
note = """
[shelf]
height = 1
"""
lines = [
  ["shelf"],
  "height = 2",  # height = 3
]
quote = "a # no remark [ [ [" # a remark ] ] ]
long = \'\'\'one line''\'\'\'
[shelf]
height = 4
"quoted" . name.x = 5
quoted.name.y = { z = 6 }
'''


def test_lines_inside_texts_and_lists_are_not_mistaken_for_keys() -> None:
    parse(TRAPS, "traps.toml")
    assert line_of(TRAPS, ("shelf",)) == 11
    assert line_of(TRAPS, ("shelf", "height")) == 12
    assert line_of(TRAPS, ("shelf", "quoted", "name", "x")) == 13
    assert line_of(TRAPS, ("shelf", "quoted", "name", "y", "z")) == 14
    assert line_of(TRAPS, ("lines", 1)) == 5


def test_lists_inside_lists_of_tables_are_counted_anew() -> None:
    text = "[[a]]\n[[a.b]]\nx = 1\n[[a]]\n[[a.b]]\nx = 2\n[[a.b]]\nx = 3\n[a.c]\nx = 4\n"
    assert line_of(text, ("a", 0, "b", 0, "x")) == 3
    assert line_of(text, ("a", 1, "b", 0, "x")) == 6
    assert line_of(text, ("a", 1, "b", 1, "x")) == 8
    assert line_of(text, ("a", 1, "c", "x")) == 10
    assert line_of(text, ("a", 0, "c", "x")) == 1
    assert line_of(text, ("z",)) is None


FILLERS = ("", "# a = 1", "   ", "  # [t0]", 'x = """\n[t0]\nk0 = 1\n"""', "y = [\n  [1],\n]",
           'z = "[[" # ]', "w = '''\nk0 = 2'''", 'v = { k0 = 1, "k1" = [2] }')  # fmt: skip


@given(st.lists(st.tuples(st.booleans(), st.lists(st.sampled_from(FILLERS))), max_size=6))
def test_every_key_is_found_on_its_line(tables: list[tuple[bool, list[str]]]) -> None:
    rows: list[str] = []
    where: dict[tuple[str | int, ...], int] = {}
    listed = 0
    for number, (plain, fillers) in enumerate(tables):
        here: tuple[str | int, ...] = (f"t{number}",) if plain else ("many", listed)
        rows.append(f"[t{number}]" if plain else "[[many]]  # [t0]")
        listed += not plain
        where[here] = len(rows)
        for key, filler in enumerate(fillers):
            rows.append(f"k{key} = {number}")
            where[*here, f"k{key}"] = len(rows)
            rows.extend(f"{filler}".replace(" = ", f"{key} = ", 1).split("\n"))
    text = "\n".join(rows)
    parse(text, "t.toml")
    assert {path: line_of(text, path) for path in where} == where
