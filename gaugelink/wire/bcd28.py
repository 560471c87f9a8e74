"""Codec `bcd28`: seven digits of four bits from a free-running low-cost scale, least bit first.

Six decimal digits of the display, the last digit first, then four flags: metric, half a thousandth
of an inch, minus, and one whose meaning nobody states. Source: one hobby description on the web;
that each digit comes least bit first is our reading of it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Literal

from pydantic import Field

from gaugelink.errors import InputError
from gaugelink.quantity import from_decimal
from gaugelink.wire.bits import ClockedFrame, number

if TYPE_CHECKING:
    from gaugelink.quantity import Displayed
    from gaugelink.wire.settings import Fault

_DIGITS = 6


class Bcd28Frame(ClockedFrame):
    """The ``[frame]`` table of codec `bcd28`.

    Attributes:
        metric_bit, half_bit, minus_bit: places of the flags among the last four bits, 0 to 3.
        unknown_bit: what the fourth flag must be: ``"0"``, ``"1"``, or ``"any"``.
        places_mm: decimal places of the digits in mm.
        places_in: decimal places of the digits in inches; the half thousandth comes as one more.
    """

    bits: ClassVar[int] = 28

    codec: Literal["bcd28"]
    metric_bit: int = Field(ge=0, le=3)
    half_bit: int = Field(ge=0, le=3)
    minus_bit: int = Field(ge=0, le=3)
    unknown_bit: Literal["0", "1", "any"]
    places_mm: int = Field(ge=0, le=5)
    places_in: int = Field(ge=0, le=5)

    def fault(self) -> Fault | None:
        """Find two flags in one place."""
        if len({self.metric_bit, self.half_bit, self.minus_bit}) < 3:
            return ("frame", "metric_bit"), (
                "metric_bit, half_bit and minus_bit share a place; accepted: three different ones"
            )
        return super().fault()

    def length(self, bits: list[int]) -> Displayed:
        """Make the length of a frame of 28 bits. Minus nothing is nothing.

        Raises:
            InputError: a digit above 9, or flags that do not go together.

        >>> frame = Bcd28Frame(codec="bcd28", edge="rising", pause="1 ms", metric_bit=1,
        ...     half_bit=2, minus_bit=3, unknown_bit="any", places_mm=2, places_in=3)
        >>> digits = [5, 4, 3, 2, 1, 0, 0b1010]
        >>> str(frame.length([digit >> place & 1 for digit in digits for place in range(4)]))
        '-123.45 mm'
        """
        digits = [number(bits[at : at + 4]) for at in range(0, 4 * _DIGITS, 4)]
        flags = bits[4 * _DIGITS :]
        if max(digits) > 9:
            raise InputError(f"the digits are {digits[::-1]}, accepted: 0 to 9 each")
        (unknown,) = {0, 1, 2, 3} - {self.metric_bit, self.half_bit, self.minus_bit}
        if self.unknown_bit not in ("any", str(flags[unknown])):
            raise InputError(f"flag {unknown} is {flags[unknown]}, accepted: {self.unknown_bit}")
        metric, half = flags[self.metric_bit], flags[self.half_bit]
        if metric and half:
            raise InputError("both metric and half a thousandth of an inch, accepted: one of them")
        count = int("".join(map(str, reversed(digits))))
        if not metric:
            count = 10 * count + 5 * half
        places = self.places_mm if metric else self.places_in + 1
        sign = -1 if flags[self.minus_bit] else 1
        return from_decimal(sign * count, places, "mm" if metric else "in")
