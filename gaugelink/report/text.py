"""Make any text fit to be set on paper.

Names, reasons and gauge answers come from outside and may hold anything. A report sets them with
the typefaces that are built into the typesetter, so that it looks the same on every machine; a
character that those lack would stop a PDF/A file from being made at all. Here such a character is
replaced by its code point, and so is every character that has no shape but an effect (control
characters, and those that turn the direction of writing and could make a figure read backwards).
The unaltered texts are in the attached ``report.json``.
"""

from __future__ import annotations

import math
import re
import unicodedata
from bisect import bisect_right
from collections.abc import Mapping
from typing import Any, Final

_RANGES: Final = (
    (0x20, 0x7E), (0xA0, 0xAC), (0xAE, 0x241), (0x250, 0x2E9), (0x300, 0x33F),
    (0x384, 0x38A), (0x38E, 0x3A1), (0x3A3, 0x3CE), (0x3D0, 0x3E1), (0x3F0, 0x45F),
    (0x490, 0x4C4), (0x531, 0x556), (0x561, 0x587), (0x5D0, 0x5EA), (0x60C, 0x60C),
    (0x61B, 0x61B), (0x61F, 0x61F), (0x621, 0x63A), (0x640, 0x655), (0x660, 0x66D),
    (0x6F0, 0x6F9), (0x10D0, 0x10FC), (0x1E00, 0x1E9B), (0x1E9E, 0x1EF9), (0x2010, 0x2015),
    (0x2018, 0x2027), (0x2030, 0x2037), (0x2039, 0x203F), (0x2070, 0x2071), (0x2074, 0x208E),
    (0x20A0, 0x20B5), (0x2100, 0x2103), (0x2153, 0x2184), (0x2190, 0x2220), (0x2241, 0x226B),
    (0x23CE, 0x23CF), (0x2423, 0x2423), (0x2460, 0x2473), (0x2500, 0x25FF),
)  # fmt: skip
"""Code points, ends included, that typst's built-in Libertinus Serif (regular, semibold, bold) or
DejaVu Sans Mono (regular, bold) can show, read from the character maps of typst 0.15. A test sets
every one of them as PDF/A."""
_STARTS: Final = [first for first, _ in _RANGES]
_BREAK: Final = "\u200b"
"""Zero-width space: no ink, but a line may end there."""
_ISOLATE: Final = ("\u2066", "\u2069")
"""Left-to-right isolate and its end: what is inside cannot turn its neighbours round."""


def has_shape(character: str) -> bool:
    """Tell whether the report's typefaces can show a character.

    >>> has_shape("µ"), has_shape("中"), has_shape(chr(0x202E))
    (True, False, False)
    """
    code = ord(character)
    place = bisect_right(_STARTS, code) - 1
    return place >= 0 and code <= _RANGES[place][1]


def printable(value: object, limit: int = 300, *, unbroken: int = 24) -> str:
    r"""Write a value as one line of text that can be set in any column.

    Args:
        value: a text; None gives an empty one, anything else its usual text form.
        limit: most characters shown; a longer text ends with ``…``.
        unbroken: most characters without a place where the line may end; a longer word is given
            such places.

    >>> printable("slipped\noff the stem")
    'slipped off the stem'
    >>> printable("a\x00b中")
    'a[U+0000]b[U+4E2D]'
    >>> printable("x" * 9, limit=4)
    'xxx…'
    """
    if value is None:
        return ""
    text = unicodedata.normalize("NFC", " ".join(str(value).split()))
    if len(text) > limit:
        text = text[: limit - 1] + "…"
    shown = "".join(part if has_shape(part) else f"[U+{ord(part):04X}]" for part in text)
    if any(unicodedata.bidirectional(part) in {"R", "AL", "AN"} for part in shown):
        shown = f"{_ISOLATE[0]}{shown}{_ISOLATE[1]}"
    return re.sub(rf"\S{{{unbroken + 1},}}", lambda word: _with_breaks(word[0]), shown)


def ascii_only(value: Any) -> Any:
    """Copy a document with every character that is not ASCII written as its code point.

    The last resort for a typesetter whose typefaces lack what `has_shape` promises.

    >>> ascii_only({"job": ["M\u00fcller", 7]})
    {'job': ['M[U+00FC]ller', 7]}
    """
    if isinstance(value, str):
        return "".join(part if part.isascii() else f"[U+{ord(part):04X}]" for part in value)
    if isinstance(value, Mapping):
        return {key: ascii_only(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [ascii_only(item) for item in value]
    return value


def _with_breaks(word: str) -> str:
    """Give a long word a place to end the line after every fourth letter."""
    parts: list[str] = []
    count = 0
    for part in word:
        if count >= 4 and not unicodedata.combining(part):
            parts.append(_BREAK)
            count = 0
        parts.append(part)
        count += 1
    return "".join(parts)


def blocks(value: object, width: int = 64, limit: int = 512) -> list[str]:
    """Cut a long word of digits (a key, a signature) into lines of equal width.

    >>> blocks("0123456789", width=4)
    ['0123', '4567', '89']
    """
    text = printable(value, limit, unbroken=limit)
    return [text[start : start + width] for start in range(0, len(text), width)] or ["not stated"]


def number(value: object) -> float | None:
    """Take a number that can be drawn; None for everything else.

    >>> number(7), number(float("nan")), number("7"), number(True)
    (7.0, None, None, None)
    """
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    try:
        taken = float(value)
    except OverflowError:
        return None
    return taken if math.isfinite(taken) and abs(taken) < 1e9 else None


def micrometres(value: float | None) -> str:
    """Write a small length for reading: two figures at least, no more than a tenth of a micrometre.

    >>> micrometres(3.84), micrometres(17.0), micrometres(195.23), micrometres(None)
    ('3.8', '17.0', '195.2', '')
    """
    if value is None:
        return ""
    return f"{value:.2f}" if 0 < abs(value) < 0.95 else f"{value:.1f}"


def moment(value: object) -> tuple[str, str]:
    """Part a time stamp into its date and its time of day, both as they stand.

    A text of another form comes back whole, with no date.

    >>> moment("2026-11-25T12:51:37.123456Z")
    ('2026-11-25', '12:51:37.123456')
    >>> moment("yesterday")
    ('', 'yesterday')
    """
    match = re.fullmatch(r"(\d{4}-\d\d-\d\d)T(\d\d:\d\d:\d\d(?:\.\d{1,9})?)Z", str(value or ""))
    return (match[1], match[2]) if match else ("", printable(value, 40, unbroken=12))


def moment_words(parts: tuple[str, str]) -> str:
    """Write a date and a time of day for reading, to the second.

    >>> moment_words(moment("2026-11-25T12:51:37.123456Z"))
    '2026-11-25 12:51:37 UTC'
    """
    date, time = parts
    return f"{date} {time[:8]} UTC" if date else time or "not stated"
