"""Events as documents of the record, and made again from them.

A document has integers, strings, booleans, lists and maps, never a float, so that a bench that lost
its power goes on where it was. Bytes are written as hexadecimal digits. What is absent is left out.
"""

from __future__ import annotations

import types
from dataclasses import fields, is_dataclass
from functools import cache
from typing import (
    TYPE_CHECKING,
    Any,
    Final,
    Literal,
    Protocol,
    Union,
    get_args,
    get_origin,
    get_type_hints,
)

from gaugelink.errors import RecordError
from gaugelink.events import Event

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

Json = str | int | bool | list["Json"] | dict[str, "Json"]

_STAMP: Final = ("utc", "mono_ns", "operator", "bench")


def kind_of(event_type: type) -> str:
    """Name an event in the record: ``ReadingTaken`` is ``reading-taken``."""
    name = event_type.__name__
    return "".join(f"-{c.lower()}" if c.isupper() else c for c in name).lstrip("-")


KINDS: Final[dict[str, type[Event]]] = {kind_of(item): item for item in get_args(Event)}


def to_document(event: Event) -> dict[str, Json]:
    """Write an event as a document of the record.

    >>> from gaugelink.events import ReadingStruckOut
    >>> from gaugelink.reading import Stamp
    >>> stamp = Stamp("2026-01-01T00:00:00.000000Z", 5, "A. N.", "1")
    >>> to_document(ReadingStruckOut(stamp, 7, "wrong valve"))["struck"]
    7
    """
    written = _plain(event)
    assert isinstance(written, dict)
    stamp = written.pop("stamp")
    assert isinstance(stamp, dict)
    return {"kind": kind_of(type(event)), **stamp, **written}


def from_document(document: Mapping[str, Any]) -> Event:
    """Make the event again from its document; the store's own key ``place`` is left aside.

    Raises:
        RecordError: unknown kind, or a key is missing, unknown or of another type.
    """
    kind = document.get("kind")
    event_type = KINDS.get(kind) if isinstance(kind, str) else None
    if event_type is None or kind is None:
        raise RecordError(
            f"the record holds an event of kind {kind!r}, which this version does not know; "
            f"known: {', '.join(KINDS)}"
        )
    rest = {key: item for key, item in document.items() if key not in {"kind", "place", *_STAMP}}
    rest["stamp"] = {key: document[key] for key in _STAMP if key in document}
    event = _typed(rest, event_type, kind)
    assert isinstance(event, event_type)
    return event


class Recorded(Protocol):
    """An entry of a record (`gaugelink.record.Entry`)."""

    @property
    def place(self) -> int:
        """Its place in the record."""

    @property
    def document(self) -> Mapping[str, Any]:
        """What it says."""


def events_of(entries: Iterable[Recorded], file: str) -> Iterator[tuple[int, Event]]:
    """Make the events of a record again, each with its place.

    Args:
        entries: of the record.
        file: its name for messages.

    Raises:
        RecordError: an entry is no event; the sentence names it and says what to do.
    """
    for entry in entries:
        try:
            event = from_document(entry.document)
        except RecordError as fault:
            what = f"entry {entry.place} cannot be read: {fault}; run gaugelink verify on it"
            raise RecordError(f"{file}: {what}") from None
        yield entry.place, event


def _plain(value: object) -> Json:
    if isinstance(value, bytes):
        return value.hex()
    if isinstance(value, str | int):
        return value
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    assert is_dataclass(value)
    return {
        field.name: _plain(item)
        for field in fields(value)
        if (item := getattr(value, field.name)) is not None
    }


@cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind)


def _typed(value: Any, kind: Any, where: str) -> Any:
    origin = get_origin(kind)
    if origin is Literal:
        if value in get_args(kind):
            return value
    elif origin in {Union, types.UnionType}:
        inner = next(item for item in get_args(kind) if item is not type(None))
        return _typed(value, inner, where)
    elif origin is tuple:
        if isinstance(value, list):
            inner = get_args(kind)[0]
            if inner in {int, str}:  # long traces: one pass in C instead of a call a sample
                if all(type(item) is inner for item in value):
                    return tuple(value)
            else:
                return tuple(_typed(item, inner, where) for item in value)
    elif kind is bytes:
        if isinstance(value, str):
            try:
                raw = bytes.fromhex(value)
            except ValueError:
                raw = None
            if raw is not None and raw.hex() == value:  # no capitals, no blanks: one way to write
                return raw
    elif isinstance(kind, type) and is_dataclass(kind):
        if isinstance(value, dict):
            hints = _hints(kind)
            known = {
                name: _typed(value[name], hints[name], f"{where}.{name}")
                for name in hints
                if name in value
            }
            if len(known) == len(value):
                try:
                    return kind(**known)
                except TypeError as fault:
                    raise RecordError(f"the record's {where} is incomplete ({fault})") from None
            unknown = ", ".join(sorted(set(value) - set(hints)))
            raise RecordError(f"the record's {where} holds unknown keys: {unknown}")
    elif type(value) is kind:
        return value
    raise RecordError(f"the record's {where} holds {value!r:.60}, which has another type there")
