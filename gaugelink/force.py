"""Exact forces and spring rates, as books and testers give them: in N, lbf or kgf.

A force is a fraction of newtons. One pound-force is 0.45359237 kg times 9.80665 m/s^2, one
kilogram-force 9.80665 N, both exactly (NIST SP 811, appendix B), so that a limit printed in either
unit is compared without rounding.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Final

from gaugelink.amount import parse_amount
from gaugelink.quantity import decimal_text

NEWTONS: Final = {
    "N": Fraction(1),
    "lbf": Fraction("4.4482216152605"),
    "kgf": Fraction("9.80665"),
}
"""By unit, newtons."""

RATES: Final = {
    "N/mm": Fraction(1),
    "lbf/in": NEWTONS["lbf"] / Fraction("25.4"),
    "kgf/mm": NEWTONS["kgf"],
}
"""By unit, newtons for a millimetre."""


def parse_force(text: str) -> Fraction:
    """Read a force that carries its unit.

    Args:
        text: for example ``"362 N"``, ``"81.4 lbf"`` or ``"36,9kgf"``.

    Returns:
        Newtons, exact.

    Raises:
        InputError: no number, no unit, or another unit.

    >>> parse_force("81.4 lbf") == Fraction("362.0852394822047")
    True
    """
    return parse_amount(text, NEWTONS, "362 N or 81.4 lbf")


def parse_rate(text: str) -> Fraction:
    """Read a spring's rate that carries its unit.

    Args:
        text: for example ``"32.5 N/mm"`` or ``"186 lbf/in"``.

    Returns:
        Newtons for a millimetre, exact.

    Raises:
        InputError: no number, no unit, or another unit.

    >>> parse_rate("254 lbf/in") == Fraction("44.482216152605")
    True
    """
    return parse_amount(text, RATES, "32.5 N/mm or 186 lbf/in")


def force_unit(text: str) -> str:
    """Give the unit of a force that `parse_force` has taken.

    >>> force_unit("81.4 LBF")
    'lbf'
    """
    return next(name for name in NEWTONS if text.strip().lower().endswith(name.lower()))


def force_text(newtons: Fraction, unit: str = "N", places: int = 1) -> str:
    """Write a force for display, rounded half to even.

    >>> force_text(Fraction("318.25")), force_text(parse_force("71.94 lbf"), "lbf")
    ('318.2 N', '71.9 lbf')
    """
    whole = round(newtons / NEWTONS[unit] * 10**places)
    return f"{decimal_text(whole, places)} {unit}"


def exact_newtons(newtons: Fraction) -> str:
    """Write a force in newtons with all its digits, for a file that is read again.

    Raises:
        ValueError: its decimal does not end.

    >>> exact_newtons(parse_force("1 lbf"))
    '4.4482216152605 N'
    """
    for places in range(40):
        scaled = newtons * 10**places
        if scaled.denominator == 1:
            return f"{decimal_text(scaled.numerator, places)} N"
    raise ValueError(f"found {float(newtons):g} N, whose decimal does not end")
