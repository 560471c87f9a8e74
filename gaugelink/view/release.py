"""Whether a head may be released, as its page and its report draw it."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

from gaugelink.inspection import CHECKS
from gaugelink.release import (
    KINDS,
    Block,
    Kind,
    blocks,
    lapsed_words,
    signables,
    signed,
    valves_of,
)
from gaugelink.view.chambers import chamber_documents
from gaugelink.view.springs import spring_documents

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from gaugelink.course import Course
    from gaugelink.judging import Judgement
    from gaugelink.planning.forecast import Compared
    from gaugelink.signoff import Looked

Document = dict[str, Any]

MOST_ROWS: Final = 30
"""So many rows of one kind are drawn at most; the count tells how many there are."""

TITLES: Final[dict[Kind, str]] = {
    "condemned": "Condemned",
    "outside": "Outside its limit",
    "undecided": "Undecided",
    "surprise": "Surprises that nothing explains yet",
    "doubtful": "Doubtful: the zero was off",
    "stale": "Stale after work",
    "sweep not usable": "Sweep not usable",
    "skipped": "Skipped",
    "not measured": "Not measured",
    "question open": "Left in the tray",
    "zero check": "Zero checks",
    "calibration": "Calibration",
    "not inspected": "Not looked at",
}
assert tuple(TITLES) == KINDS


def release_document(
    course: Course,
    judgement: Judgement,
    today: str,
    most: int = MOST_ROWS,
    compared: Sequence[Compared] | None = None,
) -> Document:
    """Write whether a head may be released, what stands against it, and what was signed.

    Args:
        course: where the session stands.
        judgement: the verdicts as of now.
        today: today's date, ISO 8601.
        most: rows of one kind at most.
        compared: readings beside what was foretold, where they are at hand.
    """
    found = blocks(course, judgement, today, compared)
    signoff = course.signoff
    last = signoff.release[1] if signoff.release is not None else None
    document: Document = {
        "released": signoff.released,
        "place": signoff.release[0] if signoff.release is not None else None,
        "at": last.stamp.utc if last else "",
        "by": last.by if last else "",
        "words": last.words if last else "",
        "taken_back": signoff.taken_back,
        "count": len(found),
        "groups": _groups(found, most),
        "checks": _checks(course),
        "springs": spring_documents(course),
        "chambers": chamber_documents(course, judgement),
        "deviations": _deviations(course, judgement, compared),
    }
    return {"sentence": release_words(document), **document}


def release_words(document: Document) -> str:
    """Say in one sentence how the head stands.

    >>> release_words({"released": False, "at": "", "taken_back": "", "count": 2})
    'not released; 2 things stand against it.'
    """
    count = document["count"]
    against = "1 thing stands" if count == 1 else f"{count or 'nothing'} things stand"
    against = against.replace("nothing things stand", "nothing stands") + " against it"
    if not document["at"]:
        return f"not released; {against}."
    released = f"released at {moment(document['at'])} by {document['by']}"
    if document["words"]:
        released += f" ({document['words']})"
    if document["released"]:
        return released if released.endswith(".") else f"{released}."
    return f"{released}; no longer, because: {document['taken_back']}; {against}."


def moment(utc: str) -> str:
    """Write a time of the record for reading.

    >>> moment("2026-01-02T10:30:00.000000Z")
    '2026-01-02 10:30 UTC'
    """
    return f"{utc[:10]} {utc[11:16]} UTC"


def _groups(found: Iterable[Block], most: int) -> list[Document]:
    """Put blocks together by kind, and those that say the same of several valves in one row."""
    rows: dict[Kind, dict[object, Document]] = {}
    counts: dict[Kind, int] = {}
    for block in found:
        same = rows.setdefault(block.kind, {})
        counts[block.kind] = counts.get(block.kind, 0) + 1
        key = (block.what, block.why, block.sign, block.strike)
        if key in same:
            same[key]["valves"].append(block.valve)
        else:
            same[key] = {
                "valves": [block.valve] if block.valve else [],
                "what": block.what,
                "why": block.why,
                "step": block.step,
                "sign": _to_sign(block),
                "strike": block.strike,
                "gauge": block.gauge,
            }
    return [
        {"kind": kind, "title": TITLES[kind], "count": counts[kind],
         "rows": list(same.values())[:most], "more": max(0, len(same) - most)}
        for kind, same in rows.items()
    ]  # fmt: skip


def _to_sign(block: Block) -> Document | None:
    """Write what a deviation is signed for; None where none can be."""
    return None if block.sign is None else {**asdict(block.sign), "places": list(block.sign.places)}


def _checks(course: Course) -> list[Document]:
    valves = valves_of(course)
    looked = course.signoff.looked(valves, course.work)
    return [
        {
            "name": name,
            "of": look.of,
            "at": look.at,
            "required": look.required,
            "cells": [
                {"valve": valve, **_cell(looked.get((name, valve)))}
                for valve in (valves if look.of == "valve" else ("",))
            ],
        }
        for name, look in CHECKS.items()
    ]


def _cell(looked: Looked | None) -> Document:
    if looked is None:
        return {"state": "not looked at", "by": "", "words": "", "place": None}
    event = looked.event
    state = "look again" if looked.void else "sound" if event.sound else "condemned"
    words = f"before this work: {looked.void}" if looked.void else event.words
    return {"state": state, "by": event.by, "words": words, "place": looked.place}


def _deviations(
    course: Course, judgement: Judgement, compared: Sequence[Compared] | None
) -> list[Document]:
    """Write what was signed, and whether it still holds."""
    if not course.signoff.deviations:
        return []
    papers = signables(course, judgement, compared)
    held = {last[0] for paper in papers if (last := signed(paper, course)) is not None}
    found = []
    for place, event in course.signoff.deviations:
        struck = course.signoff.withdrawn.get(place, "")
        void = "" if place in held else lapsed_words(event, papers)
        found.append(
            {
                "place": place,
                "valve": event.valve or None,
                "characteristic": event.characteristic,
                "method": event.method,
                "value": event.value,
                "limit": event.limit,
                "by": event.by,
                "reason": event.reason,
                "utc": event.stamp.utc,
                "state": "struck out" if struck else "void" if void else "holds",
                "why": struck or void,
            }
        )
    return found
