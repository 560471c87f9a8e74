"""Read lengths that arguments give; a bad one is named by its argument."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.errors import InputError
from gaugelink.quantity import parse_length

if TYPE_CHECKING:
    from gaugelink.quantity import Displayed


def length_at(text: str, field: str) -> Displayed:
    """Read a length of either sign.

    Args:
        text: the number with its unit, such as ``0.15mm``.
        field: the argument, for the message.

    Raises:
        InputError: it is no length.

    >>> length_at("-0.15 mm", "--seat-cut").pm
    -150000000
    """
    try:
        return parse_length(text)
    except InputError as fault:
        raise InputError(fault.what, field=field) from None


def length_above_0(text: str, field: str) -> int:
    """Read a length above 0, in picometres.

    Raises:
        InputError: it is no length, or 0 or below.

    >>> length_above_0("0.002mm", "--u")
    2000000
    """
    pm = length_at(text, field).pm
    if pm <= 0:
        raise InputError(f"found {text!r}, accepted: more than 0", field=field)
    return pm


def length_from_0(text: str, field: str) -> int:
    """Read a length that is not below 0, in picometres.

    Raises:
        InputError: it is no length, or below 0.

    >>> length_from_0("0 mm", "--reach")
    0
    """
    pm = length_at(text, field).pm
    if pm < 0:
        raise InputError(f"found {text!r}, accepted: 0 or more", field=field)
    return pm
