"""What several parts of the report share: careful access, verdict rows, record places."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

from gaugelink.report.scale import Axes, axis_of, expanded_um, limit_scale, verdict_word
from gaugelink.report.text import micrometres, printable

Doc: TypeAlias = Mapping[str, Any]
Print: TypeAlias = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Frame:
    """What a row needs to know of the rest of the report.

    Attributes:
        listed: the record places that the list of readings shows, so that they can be led to.
        axes: the axes that verdicts against one and the same limit share.
    """

    listed: frozenset[int]
    axes: Axes


def mapping(value: object) -> Doc:
    """Take a map; an empty one for everything else."""
    return value if isinstance(value, Mapping) else {}


def items(value: object) -> list[Any]:
    """Take a list; an empty one for everything else."""
    return list(value) if isinstance(value, (list, tuple)) else []


def mappings(value: object) -> list[Doc]:
    """Take the maps of a list.

    >>> mappings([{"valve": "3E"}, None, 7])
    [{'valve': '3E'}]
    """
    return [item for item in items(value) if isinstance(item, Mapping)]


def whole(value: object) -> int | None:
    """Take a whole number; None for everything else, the truth values included.

    >>> whole(88), whole(True), whole("88")
    (88, None, None)
    """
    return value if isinstance(value, int) and not isinstance(value, bool) else None


def label(place: int) -> str:
    """Name the spot in the list of readings that a record place is linked to."""
    return f"place-{place}"


def places_of(value: object, listed: frozenset[int]) -> list[Print]:
    """Write record places as runs, each with the place it leads to, or None.

    >>> places_of([12, 13, 14, 20], frozenset({12}))
    [{'text': '12\u201314', 'to': 'place-12'}, {'text': '20', 'to': None}]
    """
    runs: list[list[int]] = []
    for place in sorted({n for n in map(whole, items(value)) if n is not None}):
        if runs and place == runs[-1][1] + 1:
            runs[-1][1] = place
        else:
            runs.append([place, place])
    return [
        {
            "text": printable(first if first == last else f"{first}\u2013{last}", 40, unbroken=10),
            "to": label(first) if first in listed else None,
        }
        for first, last in runs[:40]
    ]


def verdict_row(verdict: Doc, frame: Frame) -> Print:
    """Make the texts and the scale of one verdict."""
    expanded = expanded_um(verdict.get("scale"))
    text = printable(verdict.get("text"), 24, unbroken=12)
    unit = printable(verdict.get("unit"), 8)
    given = printable(verdict.get("u_text"), 20)
    method = printable(verdict.get("method"), 16)
    shown = f"\u00b1 {micrometres(expanded)} µm" if expanded is not None else ""
    if not shown and given:
        shown = f"u {given}"
    return {
        "characteristic": printable(verdict.get("characteristic"), 60, unbroken=18),
        "method": f"by {method}" if method == "rock" else method,
        "value": f"{text} {unit}".strip() if text else "",
        "expanded": shown if text else "",
        "scale": limit_scale(
            verdict.get("scale"), verdict.get("verdict"), axis_of(verdict, frame.axes)
        ),
        "verdict": verdict_word(verdict.get("verdict")),
        "limit": printable(verdict.get("limit"), 120) or "no limit",
        "source": printable(verdict.get("source"), 40, unbroken=10),
        "places": places_of(verdict.get("places"), frame.listed),
    }
