"""Where the sheet says how a zero is checked, a series begins and ends with that check."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from hypothesis import given, strategies as st

from gaugelink.deeds import Assign, Skip, ValueArrived
from gaugelink.errors import InputError
from gaugelink.head import Position, zero_check, zero_check_of
from gaugelink.plan import plan_for
from gaugelink.quantity import from_decimal, parse_length
from gaugelink.reading import Gauge, Stamp
from gaugelink.session import Session
from gaugelink.sheetfile import check, load
from gaugelink.slips import Taken, look
from gaugelink.view.state import JobView

TITLE = """\
[sheet]
name = "Pump engine"
edition = "1"
source = "invented"
[head]
cylinders = 2
valves = ["intake"]
face = { length = "300 mm", width = "100 mm", rows = 2, columns = 2 }
[[limit]]
characteristic = "stand-down"
new_min = "0.90 mm"
new_max = "1.30 mm"
service_max = "1.60 mm"
[[limit]]
characteristic = "guide projection"
new_min = "13.75 mm"
new_max = "14.25 mm"
[[limit]]
characteristic = "guide clearance"
method = "rock"
lift = "8 mm"
valve_used = "new"
guide_length = "50 mm"
reach = "28 mm"
service_max = "0.10 mm"
"""
ZERO = """\
[[zero]]
gauge = "depth gauge"
on = "on the head's face"
shows = "0.00 mm"
[[zero]]
gauge = "indicator"
on = "preloaded"
shows = "0.000 mm"
"""
D1 = Gauge("D1", "depth gauge", "Depth gauge", "no. 1", "plain-line", 8_500_000, "2030-01-01")
BEFORE = zero_check("depth gauge", "before", "stand-down")
AFTER = zero_check("depth gauge", "after", "guide projection")
S = 1_000_000_000
NOON = Stamp("2026-01-01T12:00:00.000000Z", 0, "A. N.", "1")


def sheet(more: str = ZERO):
    return load(TITLE + more, "s.toml")


def session() -> Session:
    return Session(plan_for(sheet()), {"D1": D1}, "as received", sheet=sheet())


def press(session: Session, text: str, at_s: int) -> list:
    stamp = Stamp("2026-01-01T00:00:00.000000Z", at_s * S, "A. N.", "1")
    shown = parse_length(f"{text} mm")
    return do(session, ValueArrived("D1", shown, text.encode()), stamp)


def do(session: Session, command, stamp: Stamp = NOON) -> list:
    events = session.decide(command, stamp)
    for event in events:
        session.apply(len(session.history), event)
    return events


def test_one_gauge_in_the_hand_is_checked_once_before_and_once_after() -> None:
    """A sweep needs no zero: travel is a difference."""
    places = [step.position for step in plan_for(sheet())]
    sweeps = [place for place in places if place.method == "rock"]
    assert places == [
        *sweeps,
        BEFORE,
        Position("1I", "stand-down"), Position("2I", "stand-down"),
        Position("1I", "guide projection"), Position("2I", "guide projection"),
        AFTER,
    ]  # fmt: skip
    assert [place for place in places if not zero_check_of(place)] == [
        step.position for step in plan_for(sheet(""))
    ]


def at_depth(session: Session) -> Session:
    session.go(next(n for n, step in enumerate(session.plan) if step.position == BEFORE))
    return session


def test_a_zero_that_is_off_is_asked_about_and_stays_asked_for_until_it_is_set() -> None:
    one = at_depth(session())
    start = one.cursor
    assert [type(event).__name__ for event in press(one, "0.05", 1)] == ["ReadingParked"]
    assert one.question is not None
    assert one.question.code == "zero"
    assert "0.05 mm where 0.00 mm is due, on the head's face; " in one.question.words
    assert one.cursor == start
    press(one, "0.00", 9)
    assert (one.question, one.cursor) == (None, start + 1)
    assert [item.shown.text for item in one.readings()] == ["0.00"]
    assert [item.event.shown.text for item in one.tray()] == ["0.05"]


def test_a_check_that_is_skipped_is_noted_with_its_reason() -> None:
    one = at_depth(session())
    number = one.cursor
    do(one, Skip("no plate at hand"))
    assert one.skipped[number] == "no plate at hand"
    assert one.step is not None
    assert one.step.position == Position("1I", "stand-down")


def test_a_zero_that_a_person_keeps_counts_with_its_reason() -> None:
    one = at_depth(session())
    press(one, "0.05", 1)
    assert one.question is not None
    do(one, Assign(one.question.place, one.cursor, "the face has a burr there"))
    assert [item.shown.text for item in one.readings()] == ["0.05"]


def test_the_check_after_a_series_says_what_to_do_with_its_readings() -> None:
    found = look(AFTER, parse_length("-0.05 mm"), D1, 9 * S, [], sheet())
    assert [item.code for item in found] == ["zero"]
    assert "what was measured since the check before" in found[0].words


def test_a_unit_that_was_changed_shows_at_the_first_reading_after_the_check() -> None:
    """Nought is nought in both units; the reading after it tells."""
    taken = [Taken(BEFORE, parse_length("0.00 mm"), "D1", 0)]
    place = Position("1I", "stand-down")
    assert look(place, parse_length("1.08 mm"), D1, 9 * S, taken, sheet()) == []
    found = look(place, parse_length("0.0425 in"), D1, 9 * S, taken, sheet())
    assert [item.code for item in found] == ["wrong unit"]


def test_one_press_twice_does_not_count_as_the_first_reading() -> None:
    taken = [Taken(BEFORE, parse_length("0.00 mm"), "D1", 0)]
    found = look(Position("1I", "stand-down"), parse_length("0.00 mm"), D1, S // 2, taken, sheet())
    assert [item.code for item in found] == ["double send"]


@given(st.integers(-200, 200))
def test_two_steps_may_be_off_and_no_more(hundredths: int) -> None:
    """Two steps of 0.01 mm are more than twice the standard uncertainty of 0.0085 mm."""
    found = look(BEFORE, from_decimal(hundredths, 2, "mm"), D1, 0, [], sheet())
    assert bool(found) == (abs(hundredths) > 2)


@pytest.mark.parametrize(
    ("old", "new", "line", "field", "words"),
    [
        ('"depth gauge"', '"ruler"', 27, "zero.1.gauge", "found 'ruler', accepted: micrometer, "),
        ('"indicator"', '"depth gauge"', 31, "zero.2.gauge", "a second time"),
        ('"0.00 mm"', '"0.00"', 29, "zero.1.shows", "unit"),
    ],
)
def test_a_bad_check_is_refused_with_its_line(
    old: str, new: str, line: int, field: str, words: str
) -> None:
    found = check(TITLE + ZERO.replace(old, new), "s.toml")
    [fault] = found.errors
    assert isinstance(fault, InputError)
    assert (fault.file, fault.line, fault.field) == ("s.toml", line, field)
    assert words in fault.what


def test_the_page_says_what_the_gauge_has_to_show_and_where() -> None:
    """Of the bench only its session and its gauges are looked at for what is asked next."""
    bench = SimpleNamespace(channels={}, session=at_depth(session()))
    view = JobView(bench, sheet(), None)  # type: ignore[arg-type]
    asked = view.next_document()
    assert asked is not None
    assert asked["words"] == "Zero check: depth gauge, before stand-down"
    assert asked["limit_words"] == "on the head's face, it has to show 0.00 mm"
    assert (asked["gauge"], asked["part"], asked["valve"]) == ("D1", "other", None)
