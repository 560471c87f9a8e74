"""Every event can stand in the record and be made again from it, exactly or not at all."""

from __future__ import annotations

import types
from copy import deepcopy
from dataclasses import fields, is_dataclass, replace
from typing import TYPE_CHECKING, Any, Literal, Union, get_args, get_origin, get_type_hints

import pytest
from hypothesis import given, settings, strategies as st

from gaugelink import events
from gaugelink.errors import RecordError
from gaugelink.event_documents import KINDS, from_document, to_document
from gaugelink.events import (
    JobJudged,
    ReadingStruckOut,
)
from gaugelink.head import Position
from gaugelink.reading import Gauge, Stamp
from gaugelink.record import canonical, tree

if TYPE_CHECKING:
    from collections.abc import Iterator

# What canonical JSON can hold: RFC 8785 with RFC 7493, clauses 2.1 and 2.2.
integers = st.integers(-(2**53) + 1, 2**53 - 1)
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)

WITH_DEFAULTS = {item.name for item in fields(Position)} - {"valve", "characteristic"}
"""Keys that an older record may lack."""
WITH_DEFAULTS.add("repeatability_pm")  # of a gauge
ABSENT = {("spring-tested", "u"), ("chamber-filled", "u"), ("work-done", "gauge"),
          ("work-done", "since"), ("work-done", "voids"), ("work-done", "size"),
          ("job-opened", "sizes")}  # fmt: skip
"""Keys of an event that stand there only where they apply, or that an older record lacks."""


def anything(kind: Any) -> st.SearchStrategy[Any]:
    """Make values of an annotated type."""
    origin, inner = get_origin(kind), get_args(kind)
    if origin is Literal:
        return st.sampled_from(inner)
    if origin in {Union, types.UnionType}:
        return st.one_of(*(anything(item) for item in inner))
    if origin is tuple:
        return st.lists(anything(inner[0]), max_size=3).map(tuple)
    if is_dataclass(kind):
        assert isinstance(kind, type)
        hints = get_type_hints(kind)
        return st.builds(kind, **{name: anything(hints[name]) for name in hints})
    simple: dict[Any, st.SearchStrategy[Any]] = {
        bool: st.booleans(),
        int: integers,
        str: texts,
        bytes: st.binary(max_size=8),
        types.NoneType: st.none(),
    }
    return simple[kind]


def test_the_list_of_events_is_closed() -> None:
    assert list(KINDS) == [
        "job-opened",
        "gauge-lost",
        "gauge-found",
        "position-confirmed",
        "zero-doubted",
        "zero-checked",
        "battery-told",
        "reading-taken",
        "sweep-taken",
        "reading-parked",
        "sweep-parked",
        "reading-refused",
        "reading-assigned",
        "position-skipped",
        "reading-struck-out",
        "plan-taken",
        "work-done",
        "inspected",
        "spring-tested",
        "chamber-filled",
        "deviation-signed",
        "head-released",
        "job-judged",
    ]
    stamped = [item for item in vars(events).values() if isinstance(item, type)
               and is_dataclass(item) and "stamp" in get_type_hints(item)]  # fmt: skip
    assert set(stamped) == set(KINDS.values())


def leaves(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[tuple[Any, ...], Any]]:
    """Give every value inside a document, with the way to it."""
    if isinstance(value, dict):
        for key, item in value.items():
            yield from leaves(item, (*path, key))
    elif isinstance(value, list):
        for place, item in enumerate(value):
            yield from leaves(item, (*path, place))
    else:
        yield path, value


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=25)
@given(st.data())
def test_an_event_is_the_same_after_a_stay_in_the_record(kind: str, data: st.DataObject) -> None:
    event = data.draw(anything(KINDS[kind]))
    document = to_document(event)
    assert document["kind"] == kind
    for path, value in leaves(document):
        assert type(value) in {str, int, bool}, path
    again = canonical.parse_document(canonical.encode(document))
    assert again == document
    assert from_document(again) == event
    assert from_document({**again, "place": 12}) == event


def changed(document: dict[str, Any], path: tuple[Any, ...], value: Any) -> dict[str, Any]:
    """The document with one value inside it replaced; with ``...`` the key is left out."""
    copy = deepcopy(document)
    inside: Any = copy
    for part in path[:-1]:
        inside = inside[part]
    if value is ...:
        del inside[path[-1]]
    else:
        inside[path[-1]] = value
    return copy


def maps(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Give the way to every map inside a document."""
    if isinstance(value, dict):
        yield path
        for key, item in value.items():
            yield from maps(item, (*path, key))
    elif isinstance(value, list):
        for place, item in enumerate(value):
            yield from maps(item, (*path, place))


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=25)
@given(st.data())
def test_a_document_that_was_bent_is_refused(kind: str, data: st.DataObject) -> None:
    document = to_document(data.draw(anything(KINDS[kind])))
    for path, value in list(leaves(document)):
        others: list[Any] = [None, 1.5, [], {}, [value]]
        others.append(5 if type(value) is str else "x")
        others.append(1 if type(value) is bool else True)
        for wrong in others:
            with pytest.raises(RecordError):
                from_document(changed(document, path, wrong))
        may_lack = path[-1] in WITH_DEFAULTS or (kind, *path) in ABSENT
        if isinstance(path[-1], str) and not may_lack:
            with pytest.raises(RecordError):
                from_document(changed(document, path, ...))
    for path in list(maps(document)):
        with pytest.raises(RecordError, match=r"unknown keys: colour"):
            from_document(changed(document, (*path, "colour"), "blue"))


STRIKE = to_document(
    ReadingStruckOut(Stamp("2026-01-01T00:00:00.000000Z", 5, "A. N.", "bench 1"), 7, "wrong valve")
)


def test_an_event_stands_in_the_record_like_this() -> None:
    assert STRIKE == {
        "kind": "reading-struck-out",
        "utc": "2026-01-01T00:00:00.000000Z",
        "mono_ns": 5,
        "operator": "A. N.",
        "bench": "bench 1",
        "struck": 7,
        "reason": "wrong valve",
    }


@pytest.mark.parametrize("kind", [None, 5, ["reading-taken"], "", "Reading-Taken", "tea-made"])
def test_an_unknown_kind_is_refused_with_those_that_are_known(kind: Any) -> None:
    with pytest.raises(RecordError, match="does not know; known: job-opened, gauge-lost"):
        from_document({**STRIKE, "kind": kind})


@pytest.mark.parametrize("raw", ["0D", "0d 0a", "0", "zz", " 0d", "\u0660\u0661"])
def test_bytes_have_one_way_to_be_written(raw: str) -> None:
    parked: dict[str, Any] = {
        **{key: item for key, item in STRIKE.items() if key not in {"struck", "reason"}},
        "kind": "reading-parked",
        "gauge": "M1",
        "shown": {"text": "1", "unit": "mm", "pm": 10**9, "step_pm": 10**9},
        "raw": "0d",
        "why": "",
    }
    event = from_document(parked)
    assert isinstance(event, events.ReadingParked)
    assert event.raw == b"\r"
    with pytest.raises(RecordError, match="another type"):
        from_document({**parked, "raw": raw})


@given(anything(JobJudged))
def test_an_older_record_may_lack_what_a_position_can_do_without(event: JobJudged) -> None:
    """Only places have keys with defaults; a verdict has none."""
    document = to_document(event)
    assert not {path[-1] for path, _ in leaves(document)} & WITH_DEFAULTS - {"method"}


def test_a_place_without_station_direction_and_method_is_read_with_them_empty() -> None:
    skipped = {
        **{key: item for key, item in STRIKE.items() if key != "struck"},
        "kind": "position-skipped",
        "position": {"valve": "3E", "characteristic": "stand-down"},
    }
    event = from_document(skipped)
    assert isinstance(event, events.PositionSkipped)
    assert event.position == Position("3E", "stand-down")


OPENED_BEFORE = (
    b'{"bench":"bench 1","clock":"real","gauges":[{"calibration_due":"2027-03-31","driver":"signed-'
    b'line","id":"M1","kind":"micrometer","serial":"DEMO-2107","title":"Outside micrometer 0-25 mm"'
    b',"u_pm":1900000}],"head":"a head","invented":true,"job":"D-1","kind":"job-opened","mono_ns":7'
    b',"operator":"A. Demo","program":"gaugelink 0.1.0","serial":"H-1","sheet_edition":"1","sheet_n'
    b'ame":"s","sheet_sha256":"00","sheet_text":"text","stage":"as received","utc":"2026-03-02T08:0'
    b'0:00.000000Z"}'
)
"""An entry as it was written before gauges had a repeatability (commit d9aeefc)."""


def test_a_gauge_without_repeatability_is_written_and_hashed_as_before_there_was_one():
    event = from_document(canonical.parse_document(OPENED_BEFORE))
    assert isinstance(event, events.JobOpened)
    (gauge,) = event.gauges
    assert gauge == Gauge("M1", "micrometer", "Outside micrometer 0-25 mm", "DEMO-2107",
                          "signed-line", 1_900_000, "2027-03-31")  # fmt: skip
    again = canonical.encode(to_document(event))
    assert again == OPENED_BEFORE
    # SHA-256 of a zero byte and the entry, by the standard library at that commit.
    wanted = "cb445d1cf7d39d44ec431f99faac8a2f90d71e454b3024fc028a5213f84c8b46"
    assert tree.leaf_hash(again).hex() == wanted
    told = replace(event, gauges=(replace(gauge, repeatability_pm=900_000),))
    written = to_document(told)
    assert written["gauges"][0]["repeatability_pm"] == 900_000
    assert from_document(written) == told
