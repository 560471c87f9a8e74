"""Codec `modbus-registers`: a block of registers in a Modbus RTU response, CRC-16 checked.

The frame is address, function, count of bytes, the registers with their high byte first, CRC with
its low byte first. Source: MODBUS over Serial Line Specification and Implementation Guide V1.02,
section 6.2.2 (CRC); the frame from memory of the application protocol. Word order, decimals and
unit differ between makers, so the driver file says all three.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Final, Literal

from pydantic import Field

from gaugelink.errors import InputError
from gaugelink.quantity import LengthUnit, from_decimal
from gaugelink.wire.base import Item, Noise, Value
from gaugelink.wire.framed import FramedDecoder
from gaugelink.wire.settings import Fault, Frame

if TYPE_CHECKING:
    from gaugelink.quantity import Displayed
    from gaugelink.wire.base import Decoder

_AROUND: Final = 5
"""Bytes of a response that are no registers; also the length of one that reports an exception."""

_POLYNOMIAL: Final = 0xA001


class RegistersFrame(Frame):
    """The ``[frame]`` table of codec `modbus-registers`; docs/drivers.md explains every key."""

    shows_beginning: ClassVar[bool] = True

    codec: Literal["modbus-registers"]
    address: int = Field(ge=1, le=247)
    function: Literal[3, 4]
    start: int = Field(ge=0, le=65535)
    registers: int = Field(ge=1, le=32)
    value_at: int = Field(ge=0, le=31)
    bits: Literal[16, 32]
    signed: bool
    word_order: Literal["high word first", "low word first"] | None = None
    places: int | None = Field(default=None, ge=0, le=8)
    places_at: int | None = Field(default=None, ge=0, le=31)
    unit: LengthUnit | None = None
    unit_at: int | None = Field(default=None, ge=0, le=31)
    units: dict[str, LengthUnit] | None = None

    @property
    def request_bytes(self) -> bytes | None:
        """The bytes that ask for the block."""
        asked = bytes([self.address, self.function])
        asked += self.start.to_bytes(2, "big") + self.registers.to_bytes(2, "big")
        return asked + crc16(asked).to_bytes(2, "little")

    def fault(self) -> Fault | None:
        """Find registers beyond the block, and what is stated twice or not at all."""
        for name in ("value_at", "places_at", "unit_at"):
            at = getattr(self, name)
            last = (at or 0) + (self.bits // 16 - 1 if name == "value_at" else 0)
            if at is not None and last >= self.registers:
                return ("frame", name), f"found {at}, accepted: inside {self.registers} registers"
        if (self.bits == 32) != (self.word_order is not None):
            return ("frame", "word_order"), "accepted: with 32 bits, and only with them"
        for name in ("places", "unit"):
            if (getattr(self, name) is None) == (getattr(self, f"{name}_at") is None):
                return ("frame", name), f"accepted: {name} or {name}_at, one of them"
        if (self.unit_at is None) != (self.units is None):
            return ("frame", "units"), "accepted: unit_at and [frame.units], both or neither"
        return None

    def decoder(self, *, joined_midstream: bool = False) -> Decoder:
        """Make the decoder."""
        longest = _AROUND + 2 * self.registers
        return FramedDecoder(self._size, self._read, longest, joined_midstream=joined_midstream)

    def length(self, block: list[int]) -> Displayed:
        """Make the length of a block of registers.

        Raises:
            InputError: decimals or a unit that the driver file does not have.

        >>> frame = RegistersFrame(codec="modbus-registers", address=1, function=3, start=0,
        ...     registers=2, value_at=0, bits=32, signed=True, word_order="high word first",
        ...     places=3, unit="mm")
        >>> str(frame.length([0xFFFF, 0xCFC7]))
        '-12.345 mm'
        """
        count = block[self.value_at]
        if self.bits == 32:
            high, low = block[self.value_at : self.value_at + 2]
            if self.word_order == "low word first":
                high, low = low, high
            count = high << 16 | low
        if self.signed and count >> self.bits - 1:
            count -= 1 << self.bits
        places = self.places if self.places_at is None else block[self.places_at]
        unit = self.unit
        if self.unit_at is not None:
            code, units = str(block[self.unit_at]), self.units or {}
            if code not in units:
                raise InputError(f"found the unit {code}, the driver file has: {', '.join(units)}")
            unit = units[code]
        assert places is not None
        assert unit is not None
        return from_decimal(count, places, unit)

    def _size(self, held: bytes, at: int) -> int | None:
        if held[at] != self.address:
            return 0
        if len(held) < at + 2:
            return None
        if held[at + 1] == self.function | 0x80:
            return _AROUND
        if held[at + 1] != self.function:
            return 0
        if len(held) < at + 3:
            return None
        return _AROUND + 2 * self.registers if held[at + 2] == 2 * self.registers else 0

    def _read(self, raw: bytes) -> Item | str:
        sent, made = int.from_bytes(raw[-2:], "little"), crc16(raw[:-2])
        if sent != made:
            return f"the CRC is {sent:04X}, the bytes give {made:04X}"
        if raw[1] & 0x80:
            return Noise(raw, f"the gauge reports: exception {raw[2]}")
        block = [int.from_bytes(raw[at : at + 2], "big") for at in range(3, len(raw) - 2, 2)]
        try:
            return Value(self.length(block), raw)
        except InputError as fault:
            return Noise(raw, fault.what)


def crc16(data: bytes) -> int:
    """Compute the CRC-16 of Modbus RTU: x^16 + x^15 + x^2 + 1 reflected, from FFFF.

    >>> f"{crc16(b'123456789'):04X}"
    '4B37'
    """
    register = 0xFFFF
    for byte in data:
        register ^= byte
        for _ in range(8):
            register = register >> 1 ^ (_POLYNOMIAL if register & 1 else 0)
    return register
