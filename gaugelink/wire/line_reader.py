"""Reads one line: the number in it, with what the gauge says around it.

A text that stands in no table of the driver file is refused, never guessed.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final, TypeVar

from gaugelink.errors import InputError
from gaugelink.quantity import (
    LARGEST_PM,
    PM_PER,
    Displayed,
    LengthUnit,
    from_decimal,
    is_length_unit,
    parse_number,
)
from gaugelink.wire.base import Item, Mode, Noise, Value
from gaugelink.wire.columns import Said
from gaugelink.wire.line_shape import FLAGS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gaugelink.wire.line_shape import LineShape

Meaning = TypeVar("Meaning")

_PLAIN = re.compile(r"[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+")
SIGNS: Final = {"": 1, "+": 1, "-": -1, "\u2212": -1}
"""Signs that a gauge may write, blanks taken off, and what they make of the number."""

STEPS_PM: Final[Mapping[LengthUnit, Mapping[int, int]]] = {
    "mm": {places: PM_PER["mm"] // 10**places for places in range(10)},
    "in": {places: PM_PER["in"] // 10**places for places in range(9)},
}
"""One unit of the last place, for every number of places that a picometre resolves."""

_USUAL_SIGNS = frozenset({None, "", " ", "+", "-"})
_USUAL_DIGITS = 18
_NOT_ZERO = frozenset("123456789")
_MOST_KNOWN = 256


class LineReader:
    """Reads one whole line.

    Attributes:
        pattern: the shape of a line.
        others: the named groups beside sign and digits, in order of the pattern.
        words: whole lines that the gauge sends instead of a number, and what they mean.
        signs: what the gauge's letters for the sign mean; None: it writes signs.
        point_is_apart: the digits come without their decimal point.
    """

    def __init__(self, frame: LineShape) -> None:
        self.pattern = re.compile(frame.pattern, FLAGS)
        groups = self.pattern.groupindex
        self.others = tuple(name for name in groups if name not in {"sign", "digits"})
        # A group that the pattern lacks is read as the part that is always empty.
        self._wanted = tuple(
            groups[name] for name in ("sign", "digits", *self.others) if name in groups
        )
        self._signed = "sign" in groups
        self._unit = frame.unit
        self._units = frame.units
        self._modes = frame.modes or {}
        self._notes = {
            "tolerance": frame.tolerances or {},
            "battery": frame.batteries or {},
        }
        self._errors = frame.errors or {}
        self._channels = frame.channels
        self.signs = frame.signs
        self.point_is_apart = frame.places is not None or "point" in groups
        self._places = frame.places
        self.words = {**self._notes["battery"], **self._errors}
        self._known: dict[tuple[str | None, ...], Said] = {}

    def read(self, raw: bytes, body: bytes) -> Item:
        """Make the item of a line; `body` is the line without its end."""
        try:
            return self._value(raw, body.decode())
        except UnicodeDecodeError:
            return Noise(raw, "not text (UTF-8)")
        except InputError as fault:
            return Noise(raw, fault.what)

    def _value(self, raw: bytes, text: str) -> Item:
        bare = text.strip(" ")
        if not bare:
            return Noise(raw, "an empty line")
        if bare in self.words:
            return Noise(raw, f"the gauge reports: {self.words[bare]}")
        match = self.pattern.fullmatch(text)
        if match is None:
            return Noise(raw, "the line does not have the shape that the driver file gives")
        sign, figures, letters = self._parts(match)
        said = self.said(letters)
        if self.signs is not None:
            # Asked twice, for a table to show in an error costs more than the answer.
            sign = self.signs.get(sign or "") or _look_up("sign", {"sign": sign or ""}, self.signs)
        if said.places is None:
            shown = _length(sign, figures, said.unit)
        else:
            shown = _length_of_whole(sign, figures or "", said.places, said.unit)
        return Value(shown, raw, said.mode, said.notes, said.channel)

    def _parts(self, match: re.Match[str]) -> tuple[str | None, str | None, tuple[str | None, ...]]:
        found: tuple[str | None, ...] = match.group(0, *self._wanted)
        return (found[1], found[2], found[3:]) if self._signed else (None, found[1], found[2:])

    def said(self, letters: tuple[str | None, ...]) -> Said:
        """Translate what the other groups of the pattern took, in the order of `others`.

        Raises:
            InputError: the gauge reports an error, or letters that stand in no table.
        """
        # A gauge says the same few things over and over.
        known = self._known.get(letters)
        if known is None:
            known = self._translate(letters)
            if len(self._known) < _MOST_KNOWN:
                self._known[letters] = known
        return known

    def _translate(self, letters: tuple[str | None, ...]) -> Said:
        found = {
            name: (part or "").strip(" ") for name, part in zip(self.others, letters, strict=True)
        }
        channel = found.get("channel", "")
        if found.get("error"):
            who = f"the gauge on channel {channel}" if channel else "the gauge"
            raise InputError(f"{who} reports: {_look_up('error', found, self._errors)}")
        mode: Mode = "actual"
        unit = self._unit_of(found)
        if found.get("mode") or "" in self._modes:
            mode = _look_up("mode", found, self._modes)
        notes = tuple(
            note
            for name, table in self._notes.items()
            if (found.get(name) or "" in table) and name in found
            if (note := _look_up(name, found, table))
        )
        places = self._places
        if "point" in found:
            places = {str(place): place for place in range(10)}.get(found["point"])
            if places is None:
                raise InputError(f"found the point {found['point']!r}, accepted: a digit, 0 to 9")
        return Said(unit, mode, notes, channel, places)

    def _unit_of(self, found: Mapping[str, str]) -> LengthUnit:
        if self._unit is not None:
            return self._unit
        if self._channels is not None:
            return _look_up("channel", found, self._channels)
        if self._units is not None:
            return _look_up("unit", found, self._units)
        unit = found["unit"].lower()
        if not is_length_unit(unit):
            raise InputError(f"found the unit {found['unit']!r}, accepted: mm, in")
        return unit


def _length(sign: str | None, figures: str | None, unit: LengthUnit) -> Displayed:
    """Make a length; blanks between the digits are for the eye only."""
    whole, _, part = (figures or "").replace(",", ".").partition(".")
    # The usual number, written as it is kept: its text needs no second look.
    if part and (whole == "0" or whole[:1] in _NOT_ZERO) and sign in _USUAL_SIGNS:
        usual = _usual(sign, whole + part, f"{whole}.{part}", len(part), unit)
        if usual is not None:
            return usual
    return _any_length((sign or "").strip(" "), (figures or "").replace(" ", ""), unit)


def _length_of_whole(sign: str | None, figures: str, places: int, unit: LengthUnit) -> Displayed:
    """Make a length of digits that come without their point; zeros in front are left out.

    >>> str(_length_of_whole("-", "00007965", 3, "mm"))
    '-7.965 mm'
    """
    digits = figures.replace(" ", "")
    if not (digits.isascii() and digits.isdecimal()):
        raise InputError(f"no whole number in the line, found {figures!r}")
    digits = digits.lstrip("0")
    if len(digits) <= places:
        digits = digits.rjust(places + 1, "0")
    text = f"{digits[:-places]}.{digits[-places:]}" if places else digits
    usual = _usual(sign, digits, text, places, unit) if sign in _USUAL_SIGNS else None
    return usual or _any_length((sign or "").strip(" "), text, unit)


def _usual(
    sign: str | None, digits: str, text: str, places: int, unit: LengthUnit
) -> Displayed | None:
    """Make a length of plain digits and the text that shows them; None: look at them closely."""
    step_pm = STEPS_PM[unit].get(places)
    if not (step_pm and digits.isdecimal() and digits.isascii() and len(digits) <= _USUAL_DIGITS):
        return None
    pm = int(digits) * step_pm
    if pm > LARGEST_PM:
        return None
    if sign == "-" and pm:
        return Displayed(f"-{text}", unit, -pm, step_pm)
    return Displayed(text, unit, pm, step_pm)


def _any_length(sign: str, figures: str, unit: LengthUnit) -> Displayed:
    if sign not in SIGNS or _PLAIN.fullmatch(figures) is None:
        raise InputError(f"no number in the line, found {sign + figures!r}")
    digits, places = parse_number(figures)
    return from_decimal(-digits if SIGNS[sign] < 0 else digits, places, unit)


def _look_up(name: str, found: Mapping[str, str], table: Mapping[str, Meaning]) -> Meaning:
    letters = found[name]
    if letters not in table:
        known = ", ".join(repr(key) for key in table)
        raise InputError(f"found the {name} {letters!r}, the driver file has: {known}")
    return table[letters]
