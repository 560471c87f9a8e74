"""What the places of a session should read after work, and which readings surprised."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from gaugelink.events import WorkDone
from gaugelink.head import zero_check_of
from gaugelink.planning.compared import (
    around_of,
    compared_in,
    new_sizes_of,
    ordered_sizes_of,
    sizes_in,
)
from gaugelink.planning.forecast import base_of, foretell, was_found_out
from gaugelink.planning.forecast_rock import foretell_rock
from gaugelink.planning.forecast_words import place_words, size_words, surprise_words
from gaugelink.planning.stages import Placed, touches

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gaugelink.deeds import DoWork
    from gaugelink.head import Position
    from gaugelink.planning.compared import Travels
    from gaugelink.planning.forecast import Forecast, Sized
    from gaugelink.quantity import Displayed
    from gaugelink.reading import Stamp
    from gaugelink.session import Session

_NOW: Final = 2**53
"""A place behind everything on record."""
MOST_LINES: Final = 40
MOST_TOLD: Final = 3


def surprises(session: Session, travels: Travels) -> dict[int, str]:
    """Say every surprise in words, by the record place of its reading or sweep."""
    return {item.found.placed.place: surprise_words(item) for item in compared_in(session, travels)
            if item.surprise}  # fmt: skip


def new_surprises(known: Mapping[int, str], now: Mapping[int, str]) -> list[str]:
    """List what has become a surprise, shortened where one reading makes many of them.

    >>> new_surprises({4: "a"}, {4: "a", 5: "b"})
    ['b']
    >>> new_surprises({}, dict(enumerate("abcde")))
    ['a', 'b', 'and 3 more readings are a surprise']
    """
    words = [now[place] for place in sorted(now) if place not in known]
    if len(words) <= MOST_TOLD:
        return words
    rest = len(words) - MOST_TOLD + 1
    return [*words[: MOST_TOLD - 1], f"and {rest} more readings are a surprise"]


def expected_at(session: Session, position: Position) -> Forecast | None:
    """Say what a place should read now; None where no work says anything."""
    if not session.work or zero_check_of(position) is not None:
        return None
    return _expected(session, position, sizes_in(session), session.work)


def _expected(
    session: Session, position: Position, sizes: list[Sized], done: list[tuple[int, WorkDone]]
) -> Forecast | None:
    if position.method == "rock":
        around = around_of(session, sizes, done)
        return foretell_rock(position, around, _NOW + 1) if around else None
    good = [item for item in sizes if not was_found_out(item, done)]
    thickness = [item for item in good if item.placed.position.characteristic == "head thickness"]
    before = base_of(good, position, done, _NOW + 1)
    found = foretell(position, before, done, until=_NOW + 1, new_sizes=new_sizes_of(session.sheet),
                     thickness=thickness, ordered=ordered_sizes_of(session, done))  # fmt: skip
    return found if found is not None and found.because else None


def preview(session: Session, operation: DoWork, stamp: Stamp) -> list[str]:
    """Say what work would foretell if it were told, a line for each place. Changes nothing.

    Raises:
        SessionError: the work makes no sense as it is.
    """
    [event] = session.decide(operation, stamp)
    assert isinstance(event, WorkDone)
    if event.gauge is not None:
        return []
    sizes = sizes_in(session)
    done = [*session.work, (_NOW, event)]
    lines: list[str] = []
    silent: dict[str, None] = {}
    for step in session.plan:
        position = step.position
        if step.sweep:
            then = _expected(session, position, sizes, done)
            if touches(event, _NOW, Placed(position, "", -1)) and then and not then.why_not:
                lines.append(f"{place_words(position)}: \u2192 {size_words(then)}")
            continue
        measured = [item for item in sizes if item.placed.position == position]
        if not measured or not touches(event, _NOW, measured[-1].placed):
            continue
        then = _expected(session, position, sizes, done)
        if then is None or then.why_not:
            silent.setdefault(position.characteristic)
            continue
        lines.append(f"{place_words(position)}: {_now(session, position, measured, sizes)} "
                     f"\u2192 {size_words(then)}")  # fmt: skip
    more = len(lines) - MOST_LINES
    shown = lines[:MOST_LINES] + ([f"and {more} more"] if more > 0 else [])
    return shown + ([f"not foretold: {', '.join(silent)}"] if silent else [])


def _now(session: Session, position: Position, measured: list[Sized], sizes: list[Sized]) -> str:
    last: Displayed = max(measured, key=lambda item: item.placed.place).shown
    known = _expected(session, position, sizes, session.work) if session.work else None
    fresh = any(step.position == position and number in session.filled
                for number, step in enumerate(session.plan))  # fmt: skip
    return str(last) if fresh or known is None or known.why_not else size_words(known)
