"""The depth of work as a person tells it, along the valve's axis or square to a seat."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from gaugelink.errors import InputError
from gaugelink.planning.allowances import axial_pm
from gaugelink.quantity import from_decimal, parse_length, parse_number

if TYPE_CHECKING:
    from gaugelink.quantity import Displayed

_AT: Final = re.compile(r"(?P<depth>.+?)\s+at\s+(?P<angle>[0-9]+(?:[.,][0-9]+)?)\s*(?:\u00b0|deg)?")
_MOST_PLACES: Final = {"mm": 9, "in": 8}


def parse_depth(text: str) -> Displayed:
    """Read a depth; one that was told square to a seat is turned into one along the valve's axis.

    Args:
        text: ``0.15 mm``, or ``0.15 mm at 45`` for a layer square to a seat at 45 degrees from
            the head's face.

    Returns:
        The depth along the axis; a turned one has a place more than was told, because n / cos a
        does not end.

    Raises:
        InputError: no length, or an angle of 90 degrees or more.

    >>> str(parse_depth("0.15 mm")), str(parse_depth("0.10 mm at 45")), str(parse_depth("0.1 mm at 30deg"))
    ('0.15 mm', '0.141 mm', '0.12 mm')
    """  # noqa: E501  one line of a doctest
    match = _AT.fullmatch(text.strip())
    if match is None:
        return parse_length(text)
    layer = parse_length(match["depth"])
    digits, places = parse_number(match["angle"])
    angle = digits / 10**places
    if angle >= 90:
        raise InputError(f"found an angle of {match['angle']} degrees, accepted: 0 to below 90")
    finer = min(parse_number(layer.text)[1] + 1, _MOST_PLACES[layer.unit])
    step_pm = from_decimal(1, finer, layer.unit).pm
    return from_decimal(round(axial_pm(layer.pm, angle) / step_pm), finer, layer.unit)
