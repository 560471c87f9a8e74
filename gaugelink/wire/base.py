"""What a decoder is, and what it gives.

Every byte that is fed ends in exactly one item, in order: the ``raw`` bytes of all items, joined,
are the stream. How the stream was cut into chunks never changes the items.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, Protocol

if TYPE_CHECKING:
    from gaugelink.quantity import Displayed

Mode = Literal["actual", "hold", "max", "min", "tir"]
"""What the gauge says that its number is; only ``actual`` is a reading of here and now."""

BATTERY_LOW: Final = "battery low"
"""How a driver file words a flag or a reply that means this; more may follow."""

BATTERY_GOOD: Final = "battery good"
"""How it words that the battery is good."""


@dataclass(frozen=True, slots=True)
class Value:
    """A whole frame that passed every check of its format.

    Attributes:
        shown: the length as the gauge gave it.
        raw: the bytes of the frame, its end included.
        mode: what the gauge says that its number is. Capture refuses anything but ``"actual"``
            for a single reading; the decoder only passes it on.
        notes: what else the gauge said in the same frame, such as "battery low".
        channel: which of several gauges behind one port, or displays of one gauge, it came from,
            in the letters of the frame; empty where there is only one.
    """

    shown: Displayed
    raw: bytes
    mode: Mode = "actual"
    notes: tuple[str, ...] = ()
    channel: str = ""


@dataclass(frozen=True, slots=True)
class Noise:
    """Bytes that make no frame, or a well-formed frame that holds an error word and no number.

    Attributes:
        raw: the bytes.
        why: what is wrong with them, or what the gauge reports.
    """

    raw: bytes
    why: str


@dataclass(frozen=True, slots=True)
class Partial:
    """A frame that had begun and never ended. It is never completed from the next one.

    Attributes:
        raw: the bytes that came.
        why: how it broke off.
    """

    raw: bytes
    why: str


Item = Value | Noise | Partial


class Decoder(Protocol):
    """Turns the bytes of one gauge into items. Holds no port and no clock."""

    def feed(self, data: bytes) -> list[Item]:
        """Take the next bytes, any number of them; give the items that they complete."""
        ...

    def gap(self) -> list[Item]:
        """Take note that nothing came for as long as the driver's ``pause``.

        Whoever holds the port calls this once per pause, because a decoder has no clock.
        """
        ...

    def end(self) -> list[Item]:
        """Take note that the stream is over; give what was still begun."""
        ...


def printable(raw: bytes) -> str:
    r"""Show bytes as ASCII text, everything else as escapes.

    >>> print(printable(b"+ 2.1380 MM\r\xff"))
    + 2.1380 MM\r\xff
    """
    return repr(raw)[2:-1].replace("\\'", "'")
