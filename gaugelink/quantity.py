"""Exact lengths.

A length is a whole number of picometres. One inch is 25.4 mm exactly (international yard and pound
agreement of 1959; NIST SP 811, appendix B), so every digit that a metric or an inch gauge can
show, and every limit that a book prints, is exact here, and a comparison is a comparison of
integers. Nothing in this module uses floating point.

Beside the number the gauge's own text is kept (`Displayed`): a screen shows the digits that the
gauge showed, never a conversion of them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal, TypeGuard

from gaugelink.errors import InputError

LengthUnit = Literal["mm", "in"]

PM_PER_UM: Final = 1_000_000
PM_PER_MM: Final = 1_000_000_000
PM_PER_INCH: Final = 25_400_000_000
PM_PER: Final[dict[LengthUnit, int]] = {"mm": PM_PER_MM, "in": PM_PER_INCH}

_MINUS_SIGNS = "-\u2212"
_DECIMAL = re.compile(r"(?P<sign>[+\-\u2212]?)\s*(?P<whole>[0-9]*)(?:[.,](?P<part>[0-9]*))?")
_MOST_DIGITS: Final = 40
LARGEST_PM: Final = 2**53 - 1
"""The longest length, about 9 km: the largest whole number that every reader of JSON has exactly
(RFC 7493, clause 2.2), so that whatever is a length here can also stand in the record."""

_MOST_PLACES = {"mm": 9, "in": 8}
"""Places that a picometre still resolves: 10^-9 mm is 1 pm; 10^-8 in is 254 pm."""


def is_length_unit(unit: str) -> TypeGuard[LengthUnit]:
    """Tell whether the text is the name of a unit of length as gauges and files give it."""
    return unit in PM_PER


@dataclass(frozen=True, slots=True)
class Displayed:
    """A length as somebody showed or printed it: the text, its unit, and what both mean exactly.

    Attributes:
        text: digits as shown, a point as decimal sign, for example ``"-12.345"``.
        unit: ``"mm"`` or ``"in"``.
        pm: the same length in picometres.
        step_pm: one unit of the last place shown, in picometres.
    """

    text: str
    unit: LengthUnit
    pm: int
    step_pm: int

    def __str__(self) -> str:
        return f"{self.text} {self.unit}"


def parse_number(text: str) -> tuple[int, int]:
    """Read a plain decimal number exactly.

    Decimal point or comma; sign ``+``, ``-`` or U+2212. No exponent, no thousands separator: a
    gauge prints neither, and "7,965" is 7.965, never 7965. At most 40 digits.

    Returns:
        ``(digits, places)``: the number is digits / 10**places.

    Raises:
        InputError: the text is not such a number.

    >>> parse_number("-12.3450")
    (-123450, 4)
    """
    match = _DECIMAL.fullmatch(text.strip())
    whole, part = (match["whole"], match["part"] or "") if match else ("", "")
    if match is None or not 0 < len(whole + part) <= _MOST_DIGITS:
        raise InputError(f"found {_short(text)}, accepted: a plain decimal number such as 7.965")
    digits = int(whole + part)
    return (-digits if match["sign"] in tuple(_MINUS_SIGNS) else digits), len(part)


def from_decimal(digits: int, places: int, unit: LengthUnit) -> Displayed:
    """Make a length from whole digits and a number of decimal places.

    Raises:
        InputError: more places than a picometre resolves, or longer than `LARGEST_PM`.

    >>> from_decimal(-12345, 3, "mm")
    Displayed(text='-12.345', unit='mm', pm=-12345000000, step_pm=1000000)
    >>> from_decimal(3124, 4, "in").pm
    7934960000
    """
    if not 0 <= places <= _MOST_PLACES[unit]:
        raise InputError(
            f"found {places} decimal places, accepted: at most {_MOST_PLACES[unit]} for {unit}"
        )
    step_pm = PM_PER[unit] // 10**places
    if abs(digits * step_pm) > LARGEST_PM:
        raise InputError(
            f"found a length of {decimal_text(digits, places)} {unit}, accepted: up to 9000 m"
        )
    return Displayed(decimal_text(digits, places), unit, digits * step_pm, step_pm)


def parse_length(text: str, unit: LengthUnit | None = None) -> Displayed:
    """Read a length that carries its unit, or whose unit is given beside it.

    Args:
        text: for example ``"7.960 mm"``, ``"0.3124 in"``, ``"50mm"``, or ``"7.960"`` with `unit`.
        unit: the unit of a text that has none. A text that has one must agree with it.

    Raises:
        InputError: no number, no unit, an unknown unit, or two different units.

    >>> parse_length("0.3124 in").pm
    7934960000
    >>> parse_length("+ 7,965", "mm").text
    '7.965'
    """
    stripped = text.strip()
    number = stripped.rstrip("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ\u00b5\u03bc\"'")
    named = stripped[len(number) :].lower()
    try:
        digits, places = parse_number(number)
    except InputError:
        example = "such as 7.965" if unit else "with its unit, such as 7.965 mm or 0.3136 in"
        raise InputError(
            f"found {_short(text)}, accepted: a plain decimal number {example}"
        ) from None
    if named and not is_length_unit(named):
        raise InputError(f"found the unit {named!r} in {text!r}, accepted: mm or in")
    if not named and unit is None:
        raise InputError(f"found {text!r} without a unit, accepted: a number with mm or in")
    if named and unit is not None and named != unit:
        raise InputError(f"found {text!r} where the unit is stated to be {unit}")
    chosen = named or unit
    assert chosen is not None
    assert is_length_unit(chosen)
    return from_decimal(digits, places, chosen)


def _short(text: str) -> str:
    """Show a text in a message, however long it is."""
    return repr(text) if len(text) <= 60 else f"{text[:57]!r}..."


def decimal_text(digits: int, places: int) -> str:
    """Write digits / 10**places as a plain decimal.

    >>> decimal_text(-5, 3)
    '-0.005'
    """
    sign = "-" if digits < 0 else ""
    padded = str(abs(digits)).rjust(places + 1, "0")
    return f"{sign}{padded[:-places]}.{padded[-places:]}" if places else f"{sign}{padded}"


def exact_text(pm: int | Fraction, unit: LengthUnit, *, most_places: int = 12) -> str:
    """Write a length in a unit with all the digits that it has, and no more.

    Where the decimal does not end (picometres in inches, a mean of three), it is cut to
    `most_places`, rounded half to even, and marked with a trailing ``...`` so that nobody takes
    it for exact.

    >>> exact_text(7_934_960_000, "mm"), exact_text(7_934_960_000, "in")
    ('7.93496', '0.3124')
    >>> exact_text(Fraction(PM_PER_MM, 3), "mm", most_places=4)
    '0.3333...'
    """
    value = Fraction(pm) / PM_PER[unit]
    for places in range(most_places + 1):
        scaled = value * 10**places
        if scaled.denominator == 1:
            return decimal_text(scaled.numerator, places)
    return decimal_text(round(value * 10**most_places), most_places) + "..."


def rounded_text(pm: int | Fraction, unit: LengthUnit, places: int) -> str:
    """Write a length with a fixed number of places, rounded half to even. For display only.

    >>> rounded_text(7_934_960_000, "mm", 3)
    '7.935'
    """
    return decimal_text(round(Fraction(pm) / PM_PER[unit] * 10**places), places)


def micrometres_text(pm: int | Fraction, places: int = 1) -> str:
    """Write a small length in micrometres, rounded half to even. For display only.

    >>> micrometres_text(94_340_000)
    '94.3'
    """
    return decimal_text(round(Fraction(pm) / PM_PER_UM * 10**places), places)


def agree_within_rounding(one: Displayed, other: Displayed) -> bool:
    """Tell whether two printed values can be roundings of one and the same true value.

    Each stands for everything that rounds to it: half a unit of its last place to either side,
    ends included. Whole picometres and doubled bounds keep the test exact.

    >>> agree_within_rounding(parse_length("7.935 mm"), parse_length("0.3124 in"))
    True
    >>> agree_within_rounding(parse_length("0.015 mm"), parse_length("0.006 in"))
    False
    """
    return 2 * abs(one.pm - other.pm) <= one.step_pm + other.step_pm
