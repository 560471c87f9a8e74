"""Codec `bcd52`: thirteen digits of four bits, clocked out by the gauge, least bit first.

Digits 1 to 4 are all ones; 5 is the sign (0 plus, 8 minus); 6 to 11 are the number, most
significant first; 12 is the count of decimal places, 0 to 5; 13 is the unit, 0 for mm. There is no
checksum: the checks below are all that the format offers. Source: the output data section of a
measuring-projector maker's manual (13-digit format).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Final, Literal

from gaugelink.errors import InputError
from gaugelink.quantity import LengthUnit, from_decimal
from gaugelink.wire.bits import ClockedFrame, number

if TYPE_CHECKING:
    from gaugelink.quantity import Displayed

_LEADER: Final = [0xF] * 4
_SIGNS: Final = {0: 1, 8: -1}
_MOST_PLACES: Final = 5


class Bcd52Frame(ClockedFrame):
    """The ``[frame]`` table of codec `bcd52`.

    Attributes:
        inch_code: the thirteenth digit of an inch frame. Makers' sheets disagree (1 and 8), so
            the file says which one this gauge sends, and the other one is refused.
    """

    bits: ClassVar[int] = 52

    codec: Literal["bcd52"]
    inch_code: Literal[1, 8]

    def length(self, bits: list[int]) -> Displayed:
        """Make the length of a frame of 52 bits.

        Raises:
            InputError: a digit that the format does not allow.

        >>> frame = Bcd52Frame(codec="bcd52", edge="rising", pause="10 ms", inch_code=1)
        >>> digits = [15, 15, 15, 15, 8, 0, 1, 2, 3, 4, 5, 3, 0]
        >>> str(frame.length([digit >> place & 1 for digit in digits for place in range(4)]))
        '-12.345 mm'
        """
        digits = [number(bits[at : at + 4]) for at in range(0, self.bits, 4)]
        leader, sign, figures, places, unit = (
            digits[:4],
            digits[4],
            digits[5:11],
            digits[11],
            digits[12],
        )
        if leader != _LEADER:
            raise InputError(f"digits 1 to 4 are {_hex(leader)}, accepted: FFFF")
        if sign not in _SIGNS:
            raise InputError(f"digit 5 (sign) is {sign}, accepted: 0 or 8")
        if max(figures) > 9:
            raise InputError(f"digits 6 to 11 are {_hex(figures)}, accepted: 0 to 9 each")
        if places > _MOST_PLACES:
            raise InputError(f"digit 12 (decimal places) is {places}, accepted: 0 to 5")
        units: dict[int, LengthUnit] = {0: "mm", self.inch_code: "in"}
        if unit not in units:
            raise InputError(
                f"digit 13 (unit) is {unit}, accepted: 0 (mm) or {self.inch_code} (in)"
            )
        magnitude = int("".join(map(str, figures)))
        return from_decimal(_SIGNS[sign] * magnitude, places, units[unit])


def _hex(digits: list[int]) -> str:
    return "".join(f"{digit:X}" for digit in digits)
