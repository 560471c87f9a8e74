"""What was foretold after work beside what was found, as the report prints it."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from itertools import groupby
from typing import Final

from gaugelink.report.rows import Doc, Print, items, label, whole
from gaugelink.report.text import printable

_MOST: Final = 400
_WORDS: Final = ("as foretold", "surprise", "not foretold")


def forecast_rows(rows: list[Doc], listed: frozenset[int] = frozenset()) -> list[Print]:
    """Make the texts of every reading that was taken after work, surprises first.

    Several places of a part that all came out as foretold, and for which the same was, are one row.

    Args:
        rows: as `gaugelink.view.forecast` writes them.
        listed: the record places that the list of readings shows, so that they can be led to.
    """
    ordered = sorted(rows, key=lambda row: row.get("word") != "surprise")
    made = []
    for _, group in groupby(ordered[:_MOST], key=_alike):
        rows = list(group)
        joined = _joined(rows) if len(rows) > 1 else None
        made += [_row(row, listed) for row in (rows if joined is None else [joined])]
    return made


_SAME: Final = ("valve", "characteristic", "work", "expected", "u_text", "word", "words")


def _alike(row: Doc) -> object:
    """Say which rows may become one; a surprise and what is not foretold stand alone."""
    if row.get("word") != "as foretold":
        return object()
    return [str(row.get(key)) for key in _SAME]


def _joined(rows: list[Doc]) -> Doc | None:
    """Make one row of several, with ranges for their sizes; None where these are no sizes."""
    before, found = (_span([row.get(key) for row in rows]) for key in ("before", "found"))
    if before is None or found is None or any(_size(row.get("difference")) is None for row in rows):
        return None
    most = max(rows, key=lambda row: abs((_size(row.get("difference")) or (Decimal(), ""))[0]))
    return {
        **rows[0],
        "before": before,
        "found": found,
        "station": f"{len(rows)} places",
        "direction": "",
        "difference": most.get("difference"),
        "place_to": rows[-1].get("place"),
    }


def _span(texts: list[object]) -> str | None:
    """Write the least and the most of some sizes; empty where there are none, None where odd.

    >>> _span(["7.953 mm", "7.955 mm", "7.954 mm"]), _span(["", ""]), _span(["7.9 mm", "0.3 in"])
    ('7.953 to 7.955 mm', '', None)
    """
    if not any(texts):
        return ""
    sizes = [size for text in texts if (size := _size(text)) is not None]
    units = {unit for _, unit in sizes}
    if len(sizes) < len(texts) or len(units) != 1:
        return None
    low, high = min(sizes)[0], max(sizes)[0]
    return f"{low if low == high else f'{low} to {high}'} {units.pop()}"


def _size(text: object) -> tuple[Decimal, str] | None:
    figure, _, unit = str(text).partition(" ")
    try:
        found = Decimal(figure)
    except InvalidOperation:
        return None
    return (found, unit) if found.is_finite() and unit else None


def _row(row: Doc, listed: frozenset[int]) -> Print:
    last = whole(row.get("place_to"))
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
        "place": "" if place is None else f"{place} to {last}" if last is not None else str(place),
        "to": label(place) if place in listed and place is not None else None,
    }
