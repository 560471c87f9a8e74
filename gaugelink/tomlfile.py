"""TOML files that people write: checked against a model, with the line of every fault.

Limit sheets, driver files and scenario files all go through `check`. The standard library's reader
keeps no line numbers, so a small scanner finds the line of a table or key again.
"""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING, TypeVar

from gaugelink.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from pydantic import BaseModel

Model = TypeVar("Model", bound="BaseModel")

_HEADER = re.compile(r"^\s*(\[\[?)\s*([A-Za-z0-9_.\-\"' ]+?)\s*\]\]?\s*(?:#.*)?$")
_NAME = r"(?:[A-Za-z0-9_\-]+|\"[^\"]*\"|'[^']*')"
_KEY = re.compile(rf"^\s*({_NAME}(?:\s*\.\s*{_NAME})*)\s*=")
_PARTS = re.compile(_NAME)
_TOKEN = re.compile(r'''"""|\'\'\'|"(?:[^"\\]|\\.)*"|\'[^\']*\'|\#.*|[\[\]{}]''')
_LONG_END = {'"""': re.compile(r'(?:\\.|[^\\])*?"""'), "'''": re.compile(r".*?'''")}
_TOML_PLACE = re.compile(r"\s*\(at line (\d+), column \d+\)$")


def line_of(text: str, path: Sequence[str | int]) -> int | None:
    r"""Find the line, counted from 1, on which the table or key at `path` stands.

    The deepest part of the path that can be found decides; None if not even the first can.

    >>> line_of("[sheet]\nname = 'x'\n[[limit]]\na = 1\n[[limit]]\na = 2", ("limit", 1, "a"))
    6
    """
    wanted = [part for part in path if part != "__root__"]
    current: list[str | int] = []
    counts: dict[str, int] = {}
    best: tuple[int, int] | None = None

    def note(here: list[str | int], line: int) -> None:
        nonlocal best
        depth = len(here)
        if depth <= len(wanted) and here == wanted[:depth] and (best is None or depth > best[0]):
            best = (depth, line)

    for number, row in _statements(text):
        if header := _HEADER.match(row):
            names = _names(header[2])
            joined = ".".join(names)
            current = []
            for place, name in enumerate(names):
                current.append(name)
                prefix = ".".join(names[: place + 1])
                if place + 1 < len(names) and prefix in counts:
                    current.append(counts[prefix])
            if header[1] == "[[":
                counts[joined] = counts.get(joined, -1) + 1
                current.append(counts[joined])
                for inner in [name for name in counts if name.startswith(f"{joined}.")]:
                    del counts[inner]  # lists inside this table are counted anew
            for place in range(len(current)):
                note(current[: place + 1], number)
        elif key := _KEY.match(row):
            names = _names(key[1])
            for place in range(len(names)):
                note([*current, *names[: place + 1]], number)
    return best[1] if best else None


def _names(dotted: str) -> list[str]:
    return [part.strip("\"'") for part in _PARTS.findall(dotted)]


def _statements(text: str) -> Iterator[tuple[int, str]]:
    """Give the lines on which a statement begins: none inside a long text or a list."""
    quote, depth = "", 0
    for number, row in enumerate(text.split("\n"), 1):
        at = 0
        if not quote and depth == 0:
            yield number, row
        while True:
            if quote:
                end = _LONG_END[quote].match(row, at)
                if end is None:
                    break
                quote, at = "", end.end()
            token = _TOKEN.search(row, at)
            if token is None:
                break
            at = token.end()
            if token[0] in _LONG_END:
                quote = token[0]
            elif token[0] in "[{":
                depth += 1
            elif token[0] in "]}":
                depth -= 1


def parse(text: str, file: str) -> dict[str, object]:
    """Read TOML.

    Raises:
        InputError: not TOML; names the file and the line.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        message = str(fault)
        place = _TOML_PLACE.search(message)
        what = _TOML_PLACE.sub("", message)
        line = int(place[1]) if place else None
        if line is None and "end of document" in message:
            line = text.rstrip("\n").count("\n") + 1
        raise InputError(f"not valid TOML ({what})", file=file, line=line) from None
    except (ValueError, RecursionError):
        # Not the grammar's own errors: thousands of digits, or lists in lists without end.
        what = "a number is too long, or lists stand too deep in one another"
        raise InputError(f"not valid TOML ({what})", file=file) from None


def check(model: type[Model], text: str, file: str) -> Model:
    """Read TOML and hold it against a model.

    Raises:
        InputError: the first fault, with file, line, field, what was found and what is accepted.
    """
    from pydantic import ValidationError  # noqa: PLC0415  half of the start-up time of a command

    data = parse(text, file)
    try:
        return model.model_validate(data)
    except ValidationError as faults:
        fault = faults.errors()[0]
        more = faults.error_count() - 1
        path = [part for part in fault["loc"] if not _is_union_tag(part)]
        field = ".".join(str(part + 1) if isinstance(part, int) else part for part in path)
        found = _shown(fault.get("input"))
        words = {
            "missing": "this key is missing; it must be given",
            "extra_forbidden": f"unknown key, found {found}; accepted: {_keys(model, path)}",
        }
        what = words.get(fault["type"])
        if what is None:
            message = fault["msg"].removeprefix("Value error, ")
            message = message[:1].lower() + message[1:]
            what = message if fault["type"] == "value_error" else f"found {found}; {message}"
        if more:
            what += f" (and {more} more)"
        raise InputError(what, file=file, line=line_of(text, path), field=field) from None


def _is_union_tag(part: str | int) -> bool:
    """Pydantic puts names such as 'list[str]' into the path of a fault inside a union."""
    return isinstance(part, str) and ("[" in part or part in {"str", "int", "bool", "float"})


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _keys(model: type[BaseModel], path: Sequence[str | int]) -> str:
    here: object = model
    for part in path[:-1]:
        if isinstance(part, int):
            continue
        field = getattr(here, "model_fields", {}).get(part)
        if field is None:
            break
        here = _model_inside(field.annotation)
    fields = getattr(here, "model_fields", {})
    return ", ".join((item.alias or name) for name, item in fields.items()) or "see the docs"


def _model_inside(annotation: object) -> object:
    if hasattr(annotation, "model_fields"):
        return annotation
    for inner in getattr(annotation, "__args__", ()):
        found = _model_inside(inner)
        if hasattr(found, "model_fields"):
            return found
    return annotation
