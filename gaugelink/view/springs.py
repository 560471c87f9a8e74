"""The springs of a head, as its page and its report draw them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gaugelink.force import force_text
from gaugelink.release import coil_words, length, load_words, springs_in

if TYPE_CHECKING:
    from gaugelink.course import Course
    from gaugelink.release import Sprung

Document = dict[str, Any]


def spring_documents(course: Course) -> list[Document]:
    """Write what is known of every spring that the sheet limits, valve by valve."""
    return [_document(one) for one in springs_in(course)]


def _document(one: Sprung) -> Document:
    spring, told = one.spring, one.told
    state = "not limited"
    if spring.load_limited:
        state = "not tested" if told is None else "test again" if told.void else "tested"
    high = one.heights_pm
    return {
        "valve": one.valve,
        "kinds": " and ".join(spring.kinds),
        "state": state,
        "void": told.void if told else "",
        "told": told.event.load if told else "",
        "u": (told.event.u or "") if told else "",
        "by": told.event.by if told else "",
        "place": told.place if told else None,
        "tested_at": spring.height,
        "installed": "" if high is None else length(one, high[1]),
        "step": one.step,
        "load": "" if one.load_n is None else force_text(one.load_n, spring.force),
        "load_limit": spring.words,
        "load_verdict": one.load or "",
        "load_words": load_words(one),
        "room": "" if one.room_pm is None else length(one, one.room_pm),
        "room_limit": "" if spring.bind_least_pm is None else length(one, spring.bind_least_pm),
        "room_verdict": one.coils or "",
        "room_words": coil_words(one),
    }
