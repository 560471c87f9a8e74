"""Amounts that carry their unit, read exactly: what forces, volumes and areas have in common."""

from __future__ import annotations

from fractions import Fraction
from string import ascii_letters
from typing import TYPE_CHECKING, Final

from gaugelink.errors import InputError
from gaugelink.quantity import parse_number

if TYPE_CHECKING:
    from collections.abc import Mapping

_LONGEST: Final = 60


def parse_amount(text: str, units: Mapping[str, Fraction], example: str) -> Fraction:
    """Read a plain decimal number with its unit; capitals of the unit do not matter.

    Args:
        text: as typed, such as ``"81.4 lbf"`` or ``"30,3cm3"``.
        units: by unit, what one of it is in the wanted one.
        example: a good amount, for the message.

    Returns:
        The amount in the wanted unit, exact.

    Raises:
        InputError: no number, no unit, or another unit.

    >>> parse_amount("1.5 in3", {"mm3": Fraction(1), "in3": Fraction("25.4") ** 3}, "2 in3")
    Fraction(6145149, 250)
    """
    stripped = text.strip()
    power = stripped[-1:] in {"2", "3"} and stripped[-2:-1] in set(ascii_letters)
    number = (stripped[:-1] if power else stripped).rstrip(ascii_letters + "/")
    unit = stripped[len(number) :]
    shown = quoted(text)
    try:
        digits, places = parse_number(number)
    except InputError:
        raise InputError(
            f"found {shown}, accepted: a plain decimal number with its unit, such as {example}"
        ) from None
    *first, last = units
    accepted = f"{', '.join(first)} or {last}"
    if not unit:
        raise InputError(f"found {shown} without a unit, accepted: {accepted}")
    names = {name.lower(): factor for name, factor in units.items()}
    if unit.lower() not in names:
        raise InputError(f"found the unit {unit!r} in {shown}, accepted: {accepted}")
    return Fraction(digits, 10**places) * names[unit.lower()]


def quoted(text: str) -> str:
    """Quote what was typed, cut where it is long.

    >>> quoted("30.3 cm3")
    "'30.3 cm3'"
    """
    return repr(text) if len(text) <= _LONGEST else f"{text[:_LONGEST]!r}..."
