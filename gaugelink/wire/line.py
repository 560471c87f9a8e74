"""Codec `line`: a number in a line of text, with what the gauge says around it.

The format is a regular expression whose named groups say which part is what. Tables translate the
gauge's letters: units, modes, tolerance flags, battery flags, error words. A text that stands in
no table is refused, never guessed.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated, Final, Literal, TypeVar

from pydantic import Field

from gaugelink.errors import InputError
from gaugelink.quantity import LengthUnit, from_decimal, is_length_unit, parse_number
from gaugelink.wire.base import Item, Mode, Noise, Value
from gaugelink.wire.segments import SegmentDecoder, clash
from gaugelink.wire.settings import Fault, Frame

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gaugelink.wire.base import Decoder

GROUPS: Final = ("sign", "digits", "unit", "mode", "tolerance", "battery", "error")
"""Names that a pattern may give to its parts; ``digits`` it must."""

TABLES: Final = {
    "unit": "units",
    "mode": "modes",
    "tolerance": "tolerances",
    "battery": "batteries",
    "error": "errors",
}
"""The table that translates each group."""

Meaning = TypeVar("Meaning")

_FLAGS = re.ASCII | re.IGNORECASE
_PLAIN = re.compile(r"[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+")
_MINUS = ("-", "\u2212")
_SIGNS = ("", "+", *_MINUS)


class LineFrame(Frame):
    """The ``[frame]`` table of codec `line`; docs/drivers.md explains every key."""

    codec: Literal["line"]
    ends_with: str | Annotated[tuple[str, ...], Field(strict=False)]
    pattern: str
    unit: LengthUnit | None = None
    units: dict[str, LengthUnit] | None = None
    modes: dict[str, Mode] | None = None
    tolerances: dict[str, str] | None = None
    batteries: dict[str, str] | None = None
    errors: dict[str, str] | None = None
    longest: int = Field(default=64, ge=4, le=256)
    request: str | None = Field(default=None, min_length=1)

    @property
    def ends(self) -> tuple[bytes, ...]:
        """The ends of line, as bytes."""
        texts = (self.ends_with,) if isinstance(self.ends_with, str) else self.ends_with
        return tuple(text.encode() for text in texts)

    @property
    def request_bytes(self) -> bytes | None:
        """The bytes that ask the gauge for a value; None: it speaks by itself."""
        return None if self.request is None else self.request.encode()

    def fault(self) -> Fault | None:
        """Find what is wrong between one key and another, or inside the pattern."""
        return self._fault_of_ends() or self._fault_of_pattern() or self._fault_of_units()

    def decoder(self, *, joined_midstream: bool = False) -> Decoder:
        """Make the decoder."""
        return SegmentDecoder(
            self.ends, self.longest, LineReader(self).read, joined_midstream=joined_midstream
        )

    def _fault_of_ends(self) -> Fault | None:
        field = ("frame", "ends_with")
        if not self.ends or not all(self.ends):
            return field, r"found an empty end of line, accepted: for example '\r', '\n', '\r\n'"
        pair = clash(self.ends)
        if pair:
            return field, (
                f"found {pair[0].decode()!r} and {pair[1].decode()!r}: the first would cut the "
                "second in two; accepted: only the one that the gauge sends"
            )
        most = max(len(end) for end in self.ends)
        if self.longest <= most:
            return ("frame", "longest"), f"found {self.longest}, accepted: more than {most}"
        return None

    def _fault_of_pattern(self) -> Fault | None:
        field = ("frame", "pattern")
        try:
            groups = re.compile(self.pattern, _FLAGS).groupindex
        except (re.error, OverflowError, RecursionError) as fault:
            return field, f"found {self.pattern!r}, not a regular expression: {fault}"
        if "digits" not in groups:
            return field, (
                f"the named group digits is missing, found: {', '.join(groups) or 'no groups'}; "
                r"write for example (?P<digits>\d+\.\d+)"
            )
        for name in groups:
            if name not in GROUPS:
                return field, f"found the named group {name}, accepted: {', '.join(GROUPS)}"
        for name, table in TABLES.items():
            given = getattr(self, table)
            if name in groups and given is None and name != "unit":
                return field, (
                    f"found the named group {name}, but no table [frame.{table}] that says "
                    "what its letters mean; accepted: both or neither"
                )
            if name not in groups and given is not None and name not in {"error", "battery"}:
                return ("frame", table), (
                    f"found this table, but the pattern has no named group {name}; "
                    "accepted: both or neither"
                )
        return None

    def _fault_of_units(self) -> Fault | None:
        in_pattern = "unit" in re.compile(self.pattern, _FLAGS).groupindex
        if in_pattern and self.unit is not None:
            return ("frame", "unit"), (
                "the unit is stated here and read by the pattern as well; accepted: one of them. "
                'For a gauge that leaves out one unit, write it as "" in [frame.units]'
            )
        if not in_pattern and self.unit is None:
            return ("frame", "unit"), (
                "the pattern has no named group unit, and no unit is stated; "
                'add unit = "mm" or unit = "in", whichever the gauge is set to'
            )
        return None


class LineReader:
    """Reads one whole line."""

    def __init__(self, frame: LineFrame) -> None:
        self._pattern = re.compile(frame.pattern, _FLAGS)
        self._groups = tuple(self._pattern.groupindex)
        self._unit = frame.unit
        self._units = frame.units
        self._modes = frame.modes or {}
        self._notes = {
            "tolerance": frame.tolerances or {},
            "battery": frame.batteries or {},
        }
        self._errors = frame.errors or {}

    def read(self, raw: bytes, body: bytes) -> Item:
        """Make the item of a line; `body` is the line without its end."""
        try:
            return self._value(raw, body.decode())
        except UnicodeDecodeError:
            return Noise(raw, "not text (UTF-8)")
        except InputError as fault:
            return Noise(raw, fault.what)

    def _value(self, raw: bytes, text: str) -> Item:
        if not text.strip(" "):
            return Noise(raw, "an empty line")
        for table in (self._errors, self._notes["battery"]):
            if text.strip(" ") in table:
                return Noise(raw, f"the gauge reports: {table[text.strip(' ')]}")
        match = self._pattern.fullmatch(text)
        if match is None:
            return Noise(raw, "the line does not have the shape that the driver file gives")
        found = {name: (match[name] or "").strip(" ") for name in self._groups}
        if found.get("error"):
            return Noise(raw, f"the gauge reports: {_look_up('error', found, self._errors)}")
        digits, places = self._number(found)
        shown = from_decimal(digits, places, self._unit_of(found))
        mode: Mode = "actual"
        if found.get("mode") or "" in self._modes:
            mode = _look_up("mode", found, self._modes)
        notes = tuple(
            note
            for name, table in self._notes.items()
            if (found.get(name) or "" in table) and name in found
            if (note := _look_up(name, found, table))
        )
        return Value(shown, raw, mode, notes)

    def _number(self, found: Mapping[str, str]) -> tuple[int, int]:
        """Give digits and places; blanks between them are for the eye only."""
        sign = found.get("sign", "")
        figures = found["digits"].replace(" ", "")
        if sign not in _SIGNS or _PLAIN.fullmatch(figures) is None:
            raise InputError(f"no number in the line, found {sign + figures!r}")
        digits, places = parse_number(figures)
        return (-digits if sign in _MINUS else digits), places

    def _unit_of(self, found: Mapping[str, str]) -> LengthUnit:
        if self._unit is not None:
            return self._unit
        if self._units is not None:
            return _look_up("unit", found, self._units)
        unit = found["unit"].lower()
        if not is_length_unit(unit):
            raise InputError(f"found the unit {found['unit']!r}, accepted: mm, in")
        return unit


def _look_up(name: str, found: Mapping[str, str], table: Mapping[str, Meaning]) -> Meaning:
    letters = found[name]
    if letters not in table:
        known = ", ".join(repr(key) for key in table)
        raise InputError(f"found the {name} {letters!r}, the driver file has: {known}")
    return table[letters]
