"""Canonical JSON: one sequence of bytes for one document, so that it can be hashed.

The rules are those of RFC 8785 (JSON Canonicalization Scheme), narrowed to what a record may hold:
texts, whole numbers, truths, lists and maps with text keys. Floats and nulls are refused, because
two programs that print the same float differently would disagree about a record that nobody
touched. Whole numbers stay within plus or minus 2^53 - 1, the range in which every JSON reader has
the same number (RFC 8785, clause 3.2.2.3 with RFC 7493, clause 2.2); 10^12, one metre in
picometres, is far inside.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final, TypeAlias

from gaugelink.errors import RecordError

if TYPE_CHECKING:
    from collections.abc import Sequence

Json: TypeAlias = "str | int | bool | Sequence[Json] | Mapping[str, Json]"
"""What a document may hold. Reading always gives lists and dicts."""

LARGEST: Final = 2**53 - 1
"""The largest whole number, included; the smallest is its negative, included."""

DEEPEST: Final = 64
"""Lists and maps inside one another, the outermost counted as 1. No honest event comes near."""

_ACCEPTED: Final = "accepted: text, whole number, true or false, list, map"

# The standard library escapes exactly what RFC 8785, 3.2.2.2 asks for and nothing more.
_quoted = json.JSONEncoder(ensure_ascii=False).encode


def encode(value: Json) -> bytes:
    """Write a document in its canonical form.

    Args:
        value: texts, integers, booleans, lists (or tuples) and mappings with text keys.

    Returns:
        UTF-8 bytes without blanks; map keys sorted by their UTF-16 code units (RFC 8785, 3.2.3).

    Raises:
        RecordError: something else is inside; the sentence names the path to it.

    >>> encode({"unit": "mm", "pm": 2138000000, "raw": ["2b", "0d"], "typed": False})
    b'{"pm":2138000000,"raw":["2b","0d"],"typed":false,"unit":"mm"}'
    """
    parts: list[str] = []
    _write(value, parts, "", 0)
    return "".join(parts).encode("utf-8")  # lone surrogates were refused text by text


def parse(data: bytes) -> Json:
    """Read a document that must already be in canonical form.

    Args:
        data: the bytes, nothing before or after the document.

    Returns:
        The document; writing it again gives exactly ``data``.

    Raises:
        RecordError: not JSON, not canonical, a key that stands twice, a lone surrogate, a float or
            a null.

    >>> parse(b'{"a":1,"b":[true]}')
    {'a': 1, 'b': [True]}
    >>> parse(b'{"b":1,"a":2}')
    Traceback (most recent call last):
    gaugelink.errors.RecordError: not canonical JSON: byte 2 is 'b', the canonical form has 'a'
    """
    try:
        text = data.decode("utf-8")
        value: Json = json.loads(text, object_pairs_hook=_map_without_repeats)
    except UnicodeDecodeError as fault:
        raise RecordError(f"not canonical JSON: not UTF-8 at byte {fault.start}") from None
    except RecursionError:
        raise RecordError(f"not canonical JSON: nested deeper than {DEEPEST}") from None
    except ValueError as fault:
        raise RecordError(f"not JSON: {fault}") from None
    again = encode(value)
    if again != data:
        raise RecordError(f"not canonical JSON: {_first_difference(data, again)}")
    return value


def parse_document(data: bytes) -> dict[str, Json]:
    """Read a canonical document that must be a map, as every entry and every head is.

    Raises:
        RecordError: as `parse`, or the document is not a map.

    >>> parse_document(b'{"kind":"note"}')
    {'kind': 'note'}
    """
    value = parse(data)
    if not isinstance(value, dict):
        raise RecordError(f"found {_name_of(value)}, accepted: a map")
    return value


def _write(value: Any, parts: list[str], path: str, depth: int) -> None:
    # bool first: in Python it is a kind of int.
    if value is True:
        parts.append("true")
    elif value is False:
        parts.append("false")
    elif isinstance(value, str):
        parts.append(_text(value, path))
    elif isinstance(value, int):
        if not -LARGEST <= value <= LARGEST:
            raise RecordError(
                f"{_at(path)}: found a number beyond 2^53 - 1, accepted: -{LARGEST} to {LARGEST};"
                " write a larger one as text"
            )
        parts.append(int.__repr__(value))
    elif isinstance(value, (list, tuple)):
        _check_depth(depth, path)
        parts.append("[")
        for place, item in enumerate(value):
            if place:
                parts.append(",")
            _write(item, parts, f"{path}[{place}]", depth + 1)
        parts.append("]")
    elif isinstance(value, Mapping):
        _check_depth(depth, path)
        _write_map(value, parts, path, depth)
    else:
        raise RecordError(f"{_at(path)}: found {_name_of(value)}, {_ACCEPTED}")


def _write_map(value: Mapping[Any, Any], parts: list[str], path: str, depth: int) -> None:
    texts = {}
    for key in value:
        if not isinstance(key, str):
            raise RecordError(f"{_at(path)}: found the key {key!r}, accepted: text keys")
        texts[key] = _text(key, path)
    parts.append("{")
    for place, key in enumerate(_in_order(list(texts))):
        parts.append(f",{texts[key]}:" if place else f"{texts[key]}:")
        _write(value[key], parts, f"{path}.{key}" if path else key, depth + 1)
    parts.append("}")


def _text(value: str, path: str) -> str:
    if not value.isascii():
        try:
            value.encode("utf-8")
        except UnicodeEncodeError as fault:
            raise RecordError(
                f"{_at(path)}: found a lone surrogate (character {fault.start}), accepted: Unicode"
                " text"
            ) from None
    return _quoted(value)


def _in_order(keys: Sequence[str]) -> list[str]:
    if all(key.isascii() for key in keys):
        return sorted(keys)
    # Big-endian UTF-16 bytes sort exactly as the code units do.
    return sorted(keys, key=lambda key: key.encode("utf-16-be"))


def _check_depth(depth: int, path: str) -> None:
    if depth >= DEEPEST:
        raise RecordError(f"{_at(path[:40])}: nested deeper than {DEEPEST}")


def _at(path: str) -> str:
    return path or "the document"


def _name_of(value: Any) -> str:
    if value is None:
        return "null"
    if isinstance(value, float):
        return f"a float ({value!r})"
    return f"{type(value).__name__} {value!r:.40}"


def _map_without_repeats(pairs: Sequence[tuple[str, Json]]) -> dict[str, Json]:
    value = dict(pairs)
    if len(value) != len(pairs):
        seen: set[str] = set()
        for key, _ in pairs:
            if key in seen:
                raise RecordError(f"not canonical JSON: the key {key!r} stands twice")
            seen.add(key)
    return value


def _first_difference(found: bytes, wanted: bytes) -> str:
    for place, (have, want) in enumerate(zip(found, wanted, strict=False)):
        if have != want:
            return f"byte {place} is {chr(have)!r}, the canonical form has {chr(want)!r}"
    return f"{len(found)} bytes, the canonical form has {len(wanted)}"
