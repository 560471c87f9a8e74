"""What the rules are given, and what they say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from gaugelink.head import Position
    from gaugelink.quantity import Displayed

Code = Literal[
    "wrong unit", "decimal shift", "sign", "zero", "wrong valve", "wrong characteristic",
    "double send", "frozen display", "last round", "implausible",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Taken:
    """A reading that counts, as the rules need it.

    Attributes:
        gauge: the mark of the gauge that sent it.
        mono_ns: when, on the bench clock.
        kept: a person was asked about it, and kept it.
    """

    position: Position
    shown: Displayed
    gauge: str
    mono_ns: int
    kept: bool = False


@dataclass(frozen=True, slots=True)
class Suspicion:
    """What a value looks like.

    Attributes:
        code: the kind of slip.
        words: what it looks like and what to do, for a machinist.
        strong: there is hardly another explanation; else wear or another part may be one.
    """

    code: Code
    words: str
    strong: bool = False
