"""Codec `modbus-registers`: a block of registers in the answer of a Modbus device.

The answer is function, count of bytes, the registers with their high byte first; what is around it
is in `gaugelink.wire.modbus`. Word order, decimals and unit differ between makers, so the driver
file says all three.

An answer does not say which registers it holds. Where a second program asks on the same two wires
its request is heard too, and the answer that follows it is refused: it may be another number of the
same counter.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Final, Literal

from pydantic import Field

from gaugelink.errors import InputError
from gaugelink.quantity import LengthUnit, from_decimal
from gaugelink.wire.base import Item, Noise, Value
from gaugelink.wire.framed import FramedDecoder
from gaugelink.wire.modbus import (
    REQUEST_SIZE,
    Framing,
    around,
    enclose,
    exception_words,
    fault_of_check,
    opening,
)
from gaugelink.wire.settings import Fault, Frame

if TYPE_CHECKING:
    from gaugelink.quantity import Displayed
    from gaugelink.wire.base import Decoder

SECOND_PROGRAM: Final = "a second program asks on this line; only one may"

_RTU_ADDRESSES: Final = range(1, 248)


class RegistersFrame(Frame):
    """The ``[frame]`` table of codec `modbus-registers`; docs/drivers.md explains every key."""

    shows_beginning: ClassVar[bool] = True

    codec: Literal["modbus-registers"]
    framing: Framing = "rtu"
    address: int = Field(ge=0, le=255)
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
        asked = self.start.to_bytes(2, "big") + self.registers.to_bytes(2, "big")
        return enclose(self.framing, self.address, bytes([self.function]) + asked)

    def fault(self) -> Fault | None:
        """Find registers beyond the block, and what is stated twice or not at all."""
        if self.framing == "rtu" and self.address not in _RTU_ADDRESSES:
            return ("frame", "address"), f"found {self.address}, accepted on a line: 1 to 247"
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
        answers = _Answers(self)
        return FramedDecoder(
            answers.size, answers.read, answers.longest, joined_midstream=joined_midstream
        )

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


class _Answers:
    """Reads the frames that come, one after the other.

    Attributes:
        longest: the most bytes of a frame.
    """

    def __init__(self, frame: RegistersFrame) -> None:
        self._frame = frame
        framing, address, function = frame.framing, frame.address, frame.function
        of_registers = 2 * frame.registers
        answer = opening(framing, address, 2 + of_registers) + bytes([function, of_registers])
        exception = opening(framing, address, 2) + bytes([function | 0x80])
        self._beginnings = [
            (answer, around(framing) + of_registers),
            (exception, around(framing)),
        ]
        if framing == "rtu":
            # On two wires whoever else asks is heard too. A connection is nobody else's.
            self._beginnings.append((bytes([address, function]), REQUEST_SIZE))
        self.longest = max(size for _, size in self._beginnings)
        self._begins = len(opening(framing, address, 0))
        self._behind = -2 if framing == "rtu" else None
        self._others = False
        self._notes: tuple[str, ...] = ()

    def size(self, held: bytes, at: int) -> int | None:
        """Tell how long the frame is that begins here; 0: none does; None: more is needed."""
        for beginning, size in self._beginnings:
            here = held[at : at + len(beginning)]
            if here == beginning:
                return size
            if beginning.startswith(here):
                return None
        return 0

    def read(self, raw: bytes) -> Item | str:
        """Make the item of a frame, or say why it is none."""
        damage = fault_of_check(self._frame.framing, raw)
        if damage:
            return damage
        message = raw[self._begins : self._behind]
        if message[0] & 0x80:
            self._others = False
            return Noise(raw, f"the gauge reports: {exception_words(message[1])}")
        if message[1] != 2 * self._frame.registers:
            return self._request(raw, message)
        if self._others:
            self._others = False
            return Noise(raw, f"the answer to another request: {SECOND_PROGRAM}")
        block = [int.from_bytes(message[at : at + 2], "big") for at in range(2, len(message), 2)]
        notes, self._notes = self._notes, ()
        try:
            return Value(self._frame.length(block), raw, notes=notes)
        except InputError as fault:
            return Noise(raw, fault.what)

    def _request(self, raw: bytes, message: bytes) -> Noise:
        # Our own is heard where the adapter echoes; a second one that asks the same does no harm.
        self._others = raw != self._frame.request_bytes
        if not self._others:
            return Noise(raw, "the request for these registers")
        self._notes = (SECOND_PROGRAM,)
        start, count = (int.from_bytes(message[at : at + 2], "big") for at in (1, 3))
        return Noise(raw, f"a request for {count} registers from {start}: {SECOND_PROGRAM}")
