"""Whose fault a clearance is and what would decide a verdict, as the report prints it."""

from __future__ import annotations

from typing import Final

from gaugelink.report.rows import Doc, Print, items
from gaugelink.report.text import number, printable

_MOST: Final = 200
_BY: Final = {
    "sizes": "smallest stem, largest bore",
    "own and new valve": "own valve against a new one",
    "new valve": "a new valve in this guide",
}
_ANSWERS: Final = ("none", "valve", "guide", "either", "both")


def fault_rows(faults: list[Doc]) -> list[Print]:
    """Make the texts of every clearance that is, or may be, over its limit."""
    return [
        {
            "owner": printable(one.get("valve"), 12, unbroken=6) or "head",
            "method": printable(one.get("method"), 16, unbroken=8),
            "answer": one["answer"] if one.get("answer") in _ANSWERS else "",
            "share": _percent(number(one.get("probability"))),
            "sure": one.get("sure") is True,
            "words": _sentence(printable(one.get("words"), 240)),
            "by": _BY.get(str(one.get("by")), ""),
            "remarks": [printable(words, 400) for words in items(one.get("remarks"))][:8],
        }
        for one in faults[:_MOST]
    ]


def decider_rows(deciders: list[Doc]) -> list[Print]:
    """Make the texts of what would decide each undecided verdict."""
    return [
        {
            "owner": printable(one.get("valve"), 12, unbroken=6) or "head",
            "what": printable(one.get("characteristic"), 60, unbroken=18),
            "method": printable(one.get("method"), 16, unbroken=8),
            "words": _sentence(printable(one.get("words"), 240)),
        }
        for one in deciders[:_MOST]
    ]


def _sentence(words: str) -> str:
    """Leave out the answer and its probability, which have columns of their own.

    >>> _sentence("valve 97 %: a new valve alone brings it within")
    'A new valve alone brings it within.'
    """
    first, found, rest = words.partition(" %: ")
    text = rest if found and first.split(" ")[0] in _ANSWERS else words
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def _percent(probability: float | None) -> str:
    """Write a probability; never as certain.

    >>> _percent(0.974), _percent(0.9999), _percent(None)
    ('97 %', 'over 99 %', '')
    """
    if probability is None or not 0 <= probability <= 1:
        return ""
    if probability > 0.99:
        return "over 99 %"
    return "under 1 %" if probability < 0.01 else f"{100 * probability:.0f} %"
