"""Codec `hid-report`: a USB HID input report of a fixed size, laid out as the driver file says.

Vendor-defined reports have no common layout: where the count stands, how many bytes it has, which
code means inch, all that is the maker's own, so the driver file says everything and nothing is
guessed. A report is read only if it comes with its identifier, its constant bytes and its check
sum; a unit, a place code or a flag bit that the file does not know makes it noise.

Reports come whole from the port, but the decoder does not lean on it. So a file must name so much
that random bytes would pass less than once in 65536 times: else the middle of two reports could be
taken for a third one.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Annotated, ClassVar, Final, Literal, TypeVar

from pydantic import Field

from gaugelink.errors import InputError
from gaugelink.quantity import LengthUnit, from_decimal
from gaugelink.wire.base import Item, Mode, Noise, Value
from gaugelink.wire.framed import FramedDecoder
from gaugelink.wire.settings import Fault, Frame, Model

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from gaugelink.quantity import Displayed
    from gaugelink.wire.base import Decoder

ODDS: Final = Fraction(1, 2**16)
"""The most of random bytes that may pass for a report."""

_T = TypeVar("_T")

Byte = Annotated[int, Field(ge=0, le=255)]
Bits = Annotated[tuple[int, int], Field(strict=False)]


class Flag(Model):
    """A ``[[frame.flag]]``: one bit, and what it says when it is set.

    Attributes:
        at: the byte that it is in, counted from 0.
        bit: its place in the byte; 0 is the lowest.
        note: what is put beside the value; empty: nothing is; or
        mode: what the number is; or
        error: why the number is not to be used.
    """

    at: int = Field(ge=0, le=63)
    bit: int = Field(ge=0, le=7)
    note: str | None = None
    mode: Literal["hold", "max", "min", "tir"] | None = None
    error: str | None = Field(default=None, min_length=1)

    def is_set(self, raw: bytes) -> bool:
        """Tell whether the bit is set in a report."""
        return bool(raw[self.at] >> self.bit & 1)


class HidReportFrame(Frame):
    """The ``[frame]`` table of codec `hid-report`; docs/drivers.md explains every key."""

    shows_beginning: ClassVar[bool] = True

    codec: Literal["hid-report"]
    size: int = Field(ge=2, le=64)
    report_id: int | None = Field(default=None, ge=1, le=255)
    constants: dict[str, Byte] = Field(default_factory=dict)
    value_at: int = Field(ge=0, le=63)
    bits: Literal[8, 16, 24, 32]
    signed: bool
    byte_order: Literal["low byte first", "high byte first"] | None = None
    places: int | None = Field(default=None, ge=0, le=8)
    places_at: int | None = Field(default=None, ge=0, le=63)
    places_bits: Bits | None = None
    place_codes: dict[str, Annotated[int, Field(ge=0, le=8)]] | None = None
    unit: LengthUnit | None = None
    unit_at: int | None = Field(default=None, ge=0, le=63)
    unit_bits: Bits | None = None
    units: dict[str, LengthUnit] | None = None
    flags: Annotated[tuple[Flag, ...], Field(strict=False, alias="flag")] = ()
    counter_at: int | None = Field(default=None, ge=0, le=63)
    checksum: Literal["sum", "xor"] | None = None
    checksum_at: int | None = Field(default=None, ge=1, le=63)
    checksum_from: int = Field(default=0, ge=0, le=62)
    other_reports: dict[str, Annotated[int, Field(ge=1, le=64)]] = Field(default_factory=dict)
    request: str | None = Field(default=None, pattern=r"^\s*([0-9A-Fa-f]{2}\s*)+$")

    @property
    def request_bytes(self) -> bytes | None:
        """The output report that asks for a value; None: the gauge speaks by itself."""
        return None if self.request is None else bytes.fromhex(self.request)

    @property
    def odds(self) -> Fraction:
        """How much of random bytes would pass for a report, by what the file says of it."""
        odds = Fraction(1, 256 ** (len(self.constants) + (self.report_id is not None)))
        if self.checksum is not None:
            odds /= 256
        for codes, bits in ((self.place_codes, self.places_bits), (self.units, self.unit_bits)):
            if codes is not None:
                first, last = bits or (0, 7)
                odds *= Fraction(len(codes), 2 ** (last - first + 1))
        for at in self._bytes_of_bits():
            known = self._known_bits(at).bit_count()
            odds /= 2 ** (8 - known)
        return odds

    def fault(self) -> Fault | None:
        """Find fields outside the report, fields that overlap, and what is stated by halves."""
        return self._fault_of_pairs() or self._fault_of_codes() or self._fault_of_places()

    def decoder(self, *, joined_midstream: bool = False) -> Decoder:
        """Make the decoder."""
        reader = _Reader(self)
        longest = max([self.size, *self.other_reports.values()])
        return FramedDecoder(reader.size, reader.read, longest, joined_midstream=joined_midstream)

    def length(self, raw: bytes) -> Displayed:
        """Make the length of a report that has passed its checks.

        Raises:
            InputError: a code that the driver file does not have, or a length that cannot be.

        >>> frame = HidReportFrame(codec="hid-report", size=6, report_id=1, constants={"5": 0x47},
        ...     value_at=1, bits=32, signed=True, byte_order="low byte first", places=3, unit="mm")
        >>> str(frame.length(bytes.fromhex("01 c7 cf ff ff 47")))
        '-12.345 mm'
        """
        order: Literal["little", "big"] = (
            "big" if self.byte_order == "high byte first" else "little"
        )
        field = raw[self.value_at : self.value_at + self.bits // 8]
        count = int.from_bytes(field, order, signed=self.signed)
        places, unit = self.places, self.unit
        if self.place_codes is not None:
            places = _told(raw, self.places_at, self.places_bits, self.place_codes, "place code")
        if self.units is not None:
            unit = _told(raw, self.unit_at, self.unit_bits, self.units, "unit")
        assert places is not None
        assert unit is not None
        return from_decimal(count, places, unit)

    def mode(self, raw: bytes) -> Mode:
        """Tell what the number is.

        Raises:
            InputError: two flags contradict each other.
        """
        modes = {flag.mode for flag in self.flags if flag.mode is not None and flag.is_set(raw)}
        if len(modes) > 1:
            raise InputError(f"the flags say {' and '.join(sorted(modes))} at once")
        return modes.pop() if modes else "actual"

    def unknown_bits(self, raw: bytes) -> str:
        """Name a bit that is set beside flags or fields, and has no meaning in the driver file."""
        for at in self._bytes_of_bits():
            if left := raw[at] & ~self._known_bits(at):
                bit = (left & -left).bit_length() - 1
                return f"bit {bit} of byte {at} is 1, and the driver file does not know it"
        return ""

    def check_fails(self, raw: bytes) -> str:
        """Say which of identifier, constants and check sum is wrong; empty if none is."""
        if self.report_id is not None and raw[0] != self.report_id:
            return f"the report is {raw[0]}, accepted: {self.report_id}"
        for at, wanted in self.constants.items():
            if raw[int(at)] != wanted:
                return f"byte {at} is {raw[int(at)]:02X}, accepted: {wanted:02X}"
        if self.checksum is not None:
            assert self.checksum_at is not None
            sent = raw[self.checksum_at]
            made = _check_sum(self.checksum, raw[self.checksum_from : self.checksum_at])
            if sent != made:
                return f"the check sum is {sent:02X}, the bytes give {made:02X}"
        return ""

    def _bytes_of_bits(self) -> list[int]:
        """Give the bytes that the file describes bit by bit: what it leaves out there must be 0."""
        fields = ((self.places_at, self.places_bits), (self.unit_at, self.unit_bits))
        found = {at for at, bits in fields if at is not None and bits is not None}
        return sorted(found | {flag.at for flag in self.flags})

    def _known_bits(self, at: int) -> int:
        """Give the bits of such a byte that have a meaning."""
        known = sum({1 << flag.bit for flag in self.flags if flag.at == at})
        for place, bits in ((self.places_at, self.places_bits), (self.unit_at, self.unit_bits)):
            if place == at and bits is not None:
                known |= (1 << bits[1] + 1) - (1 << bits[0])
        return known

    def _fault_of_pairs(self) -> Fault | None:
        """Find keys that need each other, or exclude each other."""
        if (self.bits > 8) != (self.byte_order is not None):
            return ("frame", "byte_order"), "accepted: with more than 8 bits, and only with them"
        tables = {"places": self.place_codes, "unit": self.units}
        for name, table in tables.items():
            at, key = f"{name}_at", "place_codes" if name == "places" else "units"
            if (getattr(self, name) is None) == (getattr(self, at) is None):
                return ("frame", name), f"accepted: {name} or {at}, one of them"
            if (getattr(self, at) is None) != (table is None):
                return ("frame", key), f"accepted: {at} and [frame.{key}], both or neither"
            bits = getattr(self, f"{name}_bits")
            if bits is not None and getattr(self, at) is None:
                return ("frame", f"{name}_bits"), f"accepted: only beside {at}"
            if bits is not None and not 0 <= bits[0] <= bits[1] <= 7:
                what = f"found {list(bits)}, accepted: first and last bit of the field, 0 to 7"
                return ("frame", f"{name}_bits"), what
        if (self.checksum is None) != (self.checksum_at is None):
            return ("frame", "checksum"), "accepted: checksum and checksum_at, both or neither"
        if self.checksum_at is not None and self.checksum_from >= self.checksum_at:
            return ("frame", "checksum_from"), "accepted: a byte before checksum_at"
        for number, flag in enumerate(self.flags):
            if sum(one is not None for one in (flag.note, flag.mode, flag.error)) != 1:
                what = "accepted: one of note, mode, error"
                return ("frame", "flag", str(number)), what
        return None

    def _fault_of_codes(self) -> Fault | None:
        """Find codes that a field of so many bits cannot have, and names that are no numbers."""
        known = ((self.place_codes, self.places_bits, "place_codes"),
                 (self.units, self.unit_bits, "units"))  # fmt: skip
        for table, bits, key in known:
            first, last = bits or (0, 7)
            for code in table or {}:
                if not _is_number(code, 2 ** (last - first + 1) - 1):
                    what = f"found {code!r}, accepted: whole numbers that {last - first + 1} "
                    return ("frame", key), what + "bits can be"
        for at in self.constants:
            if not _is_number(at, self.size - 1):
                what = f"found byte {at!r}, accepted: inside {self.size} bytes, counted from 0"
                return ("frame", "constants"), what
        for other in self.other_reports:
            if not _is_number(other, 255) or self.report_id in {None, int(other)}:
                what = f"found {other!r}, accepted: identifiers other than report_id, beside it"
                return ("frame", "other_reports"), what
        return None

    def _fault_of_places(self) -> Fault | None:
        """Find fields outside the report, bits that are two things, and too little to go by."""
        taken: dict[tuple[int, int], str] = {}
        for name, at, first, last in self._fields():
            if at >= self.size:
                return ("frame", name), f"found byte {at}, accepted: inside {self.size} bytes"
            for bit in range(first, last + 1):
                if (at, bit) in taken:
                    what = f"byte {at}, bit {bit} is that of {taken[at, bit]} already"
                    return ("frame", name), what
                taken[at, bit] = name
        if self.odds > ODDS:
            what = (
                f"random bytes would pass one time in {float(1 / self.odds):.0f}, accepted: less "
                f"than one in {ODDS.denominator}; name the report's identifier, constant bytes, "
                "check sum, flags"
            )
            return ("frame", "size"), what
        return None

    def _fields(self) -> list[tuple[str, int, int, int]]:
        """Give name, byte, first and last bit of everything that the file names."""
        fields = [("value_at", self.value_at + byte, 0, 7) for byte in range(self.bits // 8)]
        if self.report_id is not None:
            fields.append(("report_id", 0, 0, 7))
        fields += [("constants", int(at), 0, 7) for at in self.constants]
        for name, bits in (("places_at", self.places_bits), ("unit_at", self.unit_bits),
                           ("counter_at", None), ("checksum_at", None)):  # fmt: skip
            at = getattr(self, name)
            if at is not None:
                fields.append((name, at, *(bits or (0, 7))))
        return fields + [("flag", flag.at, flag.bit, flag.bit) for flag in self.flags]


class _Reader:
    """Reads reports one after the other; remembers the last counter, so that a repeat shows."""

    def __init__(self, frame: HidReportFrame) -> None:
        self._frame = frame
        self._others = {int(code): size for code, size in frame.other_reports.items()}
        self._head = bytes(self._beginning())
        self._counter: int | None = None

    def _beginning(self) -> Iterator[int]:
        """Give the bytes that every report begins with, as far as they are known."""
        constants, identifier = self._frame.constants, self._frame.report_id
        for at in range(self._frame.size):
            if at == 0 and identifier is not None:
                yield identifier
            elif str(at) in constants:
                yield constants[str(at)]
            else:
                return

    def size(self, held: bytes, at: int) -> int:
        """Tell how many bytes a report has that begins there; 0: none does."""
        frame = self._frame
        if held[at] in self._others:
            return self._others[held[at]]
        for there, wanted in zip(range(at, len(held)), self._head, strict=False):
            if held[there] != wanted:
                return 0
        return frame.size

    def read(self, raw: bytes) -> Item | str:
        """Make the item of a report, or say why it is none."""
        frame = self._frame
        if raw[0] in self._others:
            return Noise(raw, f"report {raw[0]}, which is not the one with the value")
        if why := frame.check_fails(raw):
            return why
        if frame.counter_at is not None:
            before, self._counter = self._counter, raw[frame.counter_at]
            if before == self._counter:
                return Noise(raw, f"the counter is {before} again: a report that came before")
        if why := frame.unknown_bits(raw):
            return Noise(raw, why)
        said = [flag for flag in frame.flags if flag.is_set(raw)]
        for flag in said:
            if flag.error is not None:
                return Noise(raw, f"the gauge reports: {flag.error}")
        notes = tuple(flag.note for flag in said if flag.note)
        try:
            return Value(frame.length(raw), raw, frame.mode(raw), notes)
        except InputError as fault:
            return Noise(raw, fault.what)


def _check_sum(kind: Literal["sum", "xor"], data: bytes) -> int:
    """Make a check byte.

    >>> _check_sum("sum", b"12345"), _check_sum("xor", b"12345")
    (255, 49)
    """
    if kind == "sum":
        return sum(data) % 256
    made = 0
    for byte in data:
        made ^= byte
    return made


def _is_number(text: str, most: int) -> bool:
    return text.isascii() and text.isdecimal() and str(int(text)) == text and int(text) <= most


def _told(
    raw: bytes, at: int | None, bits: tuple[int, int] | None, table: Mapping[str, _T], name: str
) -> _T:
    """Look a field of a report up in its table."""
    assert at is not None
    first, last = bits or (0, 7)
    code = str(raw[at] >> first & (1 << last - first + 1) - 1)
    if code not in table:
        raise InputError(f"found the {name} {code}, the driver file has: {', '.join(table)}")
    return table[code]
