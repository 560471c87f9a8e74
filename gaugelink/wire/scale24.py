"""Codec `scale24`: 24 bits from a free-running low-cost scale, least bit first.

The bits below the sign bit are the count, sign and magnitude; one more bit says inch; all others
must be 0. A count is a step of the scale, and the step differs with the unit, so one and the same
count is 10 mm or 0.5 in: the inch bit alone tells them apart. Seen in public captures of one
caliper (sigrok-dumps, folder caliper, public domain).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Literal

from pydantic import Field, ValidationInfo, field_validator

from gaugelink.errors import InputError
from gaugelink.quantity import LengthUnit, from_decimal, parse_length, parse_number
from gaugelink.wire.bits import ClockedFrame, number

if TYPE_CHECKING:
    from gaugelink.quantity import Displayed
    from gaugelink.wire.settings import Fault


class Scale24Frame(ClockedFrame):
    """The ``[frame]`` table of codec `scale24`.

    Attributes:
        sign_bit: place of the sign, counted from 0; the bits below it are the count.
        inch_bit: place of the inch flag.
        step_mm: one count in mm, such as ``"0.01 mm"``.
        step_in: one count in inches, such as ``"0.0005 in"``.
    """

    bits: ClassVar[int] = 24

    codec: Literal["scale24"]
    sign_bit: int = Field(ge=1, le=22)
    inch_bit: int = Field(ge=2, le=23)
    step_mm: str
    step_in: str

    @field_validator("step_mm", "step_in")
    @classmethod
    def _step_is_a_length(cls, step: str, info: ValidationInfo) -> str:
        unit: LengthUnit = "mm" if info.field_name == "step_mm" else "in"
        try:
            shown = parse_length(step, unit)
        except InputError as fault:
            raise ValueError(fault.what) from None
        if shown.pm <= 0:
            raise ValueError(f"found {step!r}, accepted: a step above zero")
        return step

    def fault(self) -> Fault | None:
        """Find a sign bit that is not below the inch bit."""
        if self.sign_bit >= self.inch_bit:
            return ("frame", "sign_bit"), (
                f"found {self.sign_bit}, accepted: a place below the inch bit, {self.inch_bit}"
            )
        return super().fault()

    def length(self, bits: list[int]) -> Displayed:
        """Make the length of a frame of 24 bits. Minus nothing is nothing.

        Raises:
            InputError: a bit that must be 0 is 1.

        >>> frame = Scale24Frame(codec="scale24", edge="rising", pause="1 ms", sign_bit=20,
        ...     inch_bit=23, step_mm="0.01 mm", step_in="0.0005 in")
        >>> bits = "0010 0110 0000 0000 0000 1000".replace(" ", "")
        >>> str(frame.length([int(bit) for bit in bits]))
        '-1.00 mm'
        """
        for place in range(self.sign_bit + 1, self.bits):
            if bits[place] and place != self.inch_bit:
                raise InputError(f"bit {place} is 1, accepted: 0")
        unit: LengthUnit = "in" if bits[self.inch_bit] else "mm"
        step, places = self._step(unit)
        count = number(bits[: self.sign_bit])
        return from_decimal((-count if bits[self.sign_bit] else count) * step, places, unit)

    def _step(self, unit: LengthUnit) -> tuple[int, int]:
        return parse_number(parse_length(self.step_in if unit == "in" else self.step_mm, unit).text)
