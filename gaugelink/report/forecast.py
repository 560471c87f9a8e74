"""What was foretold after work beside what was found, as the report prints it."""

from __future__ import annotations

from typing import Final

from gaugelink.report.rows import Doc, Print, items, label, whole
from gaugelink.report.text import printable

_MOST: Final = 400
_WORDS: Final = ("as foretold", "surprise", "not foretold")


def forecast_rows(rows: list[Doc], listed: frozenset[int] = frozenset()) -> list[Print]:
    """Make the texts of every reading that was taken after work, surprises first.

    Args:
        rows: as `gaugelink.view.forecast` writes them.
        listed: the record places that the list of readings shows, so that they can be led to.
    """
    ordered = sorted(rows, key=lambda row: row.get("word") != "surprise")
    return [_row(row, listed) for row in ordered[:_MOST]]


def _row(row: Doc, listed: frozenset[int]) -> Print:
    place = whole(row.get("place"))
    word = row["word"] if row.get("word") in _WORDS else ""
    what = [printable(row.get(key), 60, unbroken=18)
            for key in ("characteristic", "station", "direction") if row.get(key)]  # fmt: skip
    remarks = [printable(row.get("words"), 300)] if row.get("words") else []
    meanings = [printable(one, 80) for one in items(row.get("meanings"))][:8]
    if word == "surprise" and meanings:
        remarks.append(f"It can be that {', or '.join(meanings)}.")
    if word == "surprise" and "answer" in row:
        answer = printable(row.get("answer"), 400)
        remarks.append(f"Answer: {answer or 'none; it stands against a release'}.")
    expanded = printable(row.get("u_text"), 24)
    return {
        "owner": printable(row.get("valve"), 12, unbroken=6) or "head",
        "what": ", ".join(what),
        "before": printable(row.get("before"), 30, unbroken=14),
        "work": printable(row.get("work"), 160, unbroken=18),
        "expected": printable(row.get("expected"), 50, unbroken=14),
        "found": printable(row.get("found"), 30, unbroken=14),
        "difference": printable(row.get("difference"), 30, unbroken=14),
        "expanded": f"± {expanded}" if expanded else "",
        "word": word,
        "remarks": remarks,
        "place": "" if place is None else str(place),
        "to": label(place) if place in listed and place is not None else None,
    }
