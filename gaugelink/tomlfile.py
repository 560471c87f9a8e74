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
    from collections.abc import Sequence

    from pydantic import BaseModel

Model = TypeVar("Model", bound="BaseModel")

_HEADER = re.compile(r"^\s*(\[\[?)\s*([A-Za-z0-9_.\-\"' ]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"^\s*([A-Za-z0-9_\-]+|\"[^\"]*\"|'[^']*')\s*(?:\.[^=]*)?=")
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

    for number, row in enumerate(text.splitlines(), 1):
        if header := _HEADER.match(row):
            names = [part.strip().strip("\"'") for part in header[2].split(".")]
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
            note(list(current), number)
        elif key := _KEY.match(row):
            note([*current, key[1].strip("\"'")], number)
    return best[1] if best else None


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
        raise InputError(f"not valid TOML ({what})", file=file, line=line) from None


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
        path = [part for part in fault["loc"] if not _is_union_tag(part, data)]
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


def _is_union_tag(part: str | int, data: object) -> bool:
    """Pydantic puts names such as 'list[str]' into the path of a fault inside a union."""
    del data
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
