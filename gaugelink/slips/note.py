"""Suspicions as the record keeps them: the reason why a value lies in the tray.

The record is all there is of a bench that lost its power. So what was asked, and for which place,
can be read back from the reason itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from gaugelink.head import Position
    from gaugelink.slips.suspicion import Code, Suspicion

_LOOKS: Final = "looks like "
_ASKED: Final = " Asked for: "
PHRASES: Final[dict[Code, str]] = {
    "wrong unit": "a wrong unit",
    "decimal shift": "a shifted decimal sign",
    "sign": "a wrong sign",
    "zero": "a zero that is off",
    "wrong valve": "the wrong valve",
    "wrong characteristic": "something else",
    "double send": "one press sent twice",
    "frozen display": "a display that stands still",
    "last round": "something else than in the last round",
    "implausible": "a slip of some kind",
}


@dataclass(frozen=True, slots=True)
class Noted:
    """What a reason in the tray says: the slip, the words for the person, the place asked for."""

    code: Code
    words: str
    place_words: str


def write_note(suspicion: Suspicion, position: Position) -> str:
    """Write why a value goes to the tray.

    >>> from gaugelink.head import Position
    >>> from gaugelink.slips.suspicion import Suspicion
    >>> write_note(Suspicion("sign", "-1.08 mm; see the zero"), Position("1I", "stand-down"))
    'looks like a wrong sign: -1.08 mm; see the zero. Asked for: Intake valve of cylinder 1: stand-down'
    """  # noqa: E501  one line of the record
    phrase = PHRASES[suspicion.code]
    return f"{_LOOKS}{phrase}: {suspicion.words}.{_ASKED}{position.words}"


def read_note(why: str) -> Noted | None:
    """Read the reason back; None for any other reason.

    >>> read_note("looks like a wrong sign: -1.08 mm; see the zero. Asked for: Head: face height")
    Noted(code='sign', words='looks like a wrong sign: -1.08 mm; see the zero', place_words='Head: face height')
    """  # noqa: E501  one line of the record
    words, asked, place_words = why.rpartition(_ASKED)
    if not asked:
        return None
    for code, phrase in PHRASES.items():
        if words.startswith(f"{_LOOKS}{phrase}: "):
            return Noted(code, words.removesuffix("."), place_words)
    return None
