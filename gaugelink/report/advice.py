"""The cheapest plan and the work order, as the report prints them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from gaugelink.report.rows import items, mapping, mappings
from gaugelink.report.text import moment, moment_words, printable

if TYPE_CHECKING:
    from gaugelink.report.rows import Doc, Print

_MOST: Final = 400


def advice_part(advice: object) -> Print | None:
    """Make the texts of a plan; None where there is none.

    Args:
        advice: the document of `gaugelink.view.advice`; anything else of it is left out.
    """
    doc = mapping(advice)
    if not doc:
        return None
    return {
        "cost": printable(doc.get("cost"), 40),
        "standing": printable(doc.get("standing"), 160),
        "conflict": _texts(doc, "conflict"),
        "conflict_words": printable(doc.get("conflict_words"), 160),
        "missing": _texts(doc, "missing"),
        "barred": [printable(text, 600) for text in items(doc.get("barred"))][:_MOST],
        "valves": [
            {"valve": printable(row.get("valve"), 12, unbroken=6),
             "words": printable(row.get("words"), 300)}
            for row in mappings(doc.get("valves"))[:_MOST]
        ],
        "untouched": _texts(doc, "untouched"),
        "parts": _texts(doc, "parts"),
        "together": _texts(doc, "together"),
        "alternatives": [
            {"cost": f"{printable(row.get('cost'), 40)} ({printable(row.get('more'), 20)})",
             "differs": [printable(text, 160) for text in items(row.get("differs"))][:_MOST]}
            for row in mappings(doc.get("alternatives"))[:20]
        ],
        "more_words": printable(doc.get("more_words"), 160),
        "left_out": _texts(doc, "left_out"),
        "cautions": _texts(doc, "cautions"),
    }  # fmt: skip


def order_part(order: object) -> Print | None:
    """Make the texts of a work order; None where no plan was taken."""
    doc = mapping(order)
    if not doc:
        return None
    return {
        "cost": printable(doc.get("cost"), 40),
        "standing": printable(doc.get("standing"), 160),
        "by": printable(doc.get("by"), 60),
        "utc": moment_words(moment(doc.get("utc"))),
        "rows": [_row(line) for line in mappings(doc.get("lines"))[:_MOST]],
    }


def _row(line: Doc) -> Print:
    owners = mappings(line.get("owners"))
    return {
        "owners": [
            {"name": printable(owner.get("name"), 12, unbroken=6),
             "done": owner.get("done") is True}
            for owner in owners
        ] or [{"name": "face", "done": line.get("finished") is True}],
        "words": printable(line.get("words"), 200),
        "told": printable(line.get("told"), 300),
        "found": [_found(one) for one in mappings(line.get("figures"))[:_MOST] if one.get("found")],
    }  # fmt: skip


def _found(one: Doc) -> str:
    """Say what a line should have left behind at a valve, and what was found."""
    owner = printable(one.get("valve"), 12, unbroken=6) or "head"
    difference = printable(one.get("difference"), 30)
    return (
        f"{owner} {printable(one.get('figure'), 60)}: expected "
        f"{printable(one.get('expected'), 60)}, found {printable(one.get('found'), 60)}"
        f"{f' ({difference})' if difference else ''}"
        f"{', a surprise' if one.get('word') == 'surprise' else ''}"
    )


def _texts(doc: Doc, key: str) -> list[str]:
    return [printable(text, 300) for text in items(doc.get(key))][:_MOST]
