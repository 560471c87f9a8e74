"""Read amounts with their units, exactly: ``"2.0 mm"``, ``"11.85 Mpsi"``, ``"43.9 lbf"``."""

from __future__ import annotations

import re
from fractions import Fraction
from functools import cache
from typing import Any, Final

from gaugelink.errors import InputError

_AMOUNT = re.compile(
    r"\s*(?P<number>[+\-\u2212]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,2})?)\s*(?P<unit>.*?)\s*",
    re.ASCII,
)
# Names of units with small powers: what is only looked up, and never a power that takes for ever.
_UNIT = re.compile(
    r"(?:1\s*(?=/))?(?:[ ()/*\u00b7]"
    r"|[A-Za-z\u00b5\u03bc\u03a9\u00b0%_][A-Za-z0-9\u00b5\u03bc\u03a9\u00b0%_]*+"
    r"(?:\s*(?:\*\*|\^)\s*-?\d{1,2}(?!\s*[\d*^]))?+)*+", re.ASCII
)  # fmt: skip
_LONGEST: Final = 60


@cache
def _registry() -> Any:
    """Build the table of units; it takes a second, and nothing ever changes it."""
    import pint  # noqa: PLC0415  slow to start, and only wanted here

    return pint.UnitRegistry(cache_folder=None, non_int_type=Fraction)


class Amounts:
    """Reads amounts into a wanted unit; factors of units are fractions, so nothing is rounded."""

    def __init__(self) -> None:
        import pint  # noqa: PLC0415  slow to start, and only wanted here

        self._registry = _registry()
        self._faults: Any = (pint.PintError, ValueError, TypeError, AssertionError, AttributeError,
                             ZeroDivisionError, OverflowError)  # fmt: skip

    def read(self, text: str, unit: str, example: str, field: str | None = None) -> Fraction:
        """Read one amount.

        Args:
            text: a plain decimal number with its unit.
            unit: the unit wanted, such as ``mm`` or ``N/mm**2``.
            example: a good amount, for the message.
            field: the key or argument, for the message.

        Returns:
            The amount in that unit, exact.

        Raises:
            InputError: no such number, no unit, an unknown one, or one of another quantity.

        >>> float(Amounts().read("0.5 in", "mm", "2.0 mm"))
        12.7
        """
        match = _AMOUNT.fullmatch(text) if len(text) <= _LONGEST else None
        if match is None:
            shown = repr(text) if len(text) <= _LONGEST else repr(text[:_LONGEST]) + "..."
            raise InputError(f"found {shown}, accepted: a number with its unit, such as {example}",
                             field=field)  # fmt: skip
        if not match["unit"]:
            raise InputError(f"found {text!r} without a unit, accepted: such as {example}",
                             field=field)  # fmt: skip
        number = Fraction(match["number"].replace(",", ".").replace("\u2212", "-"))
        try:
            if not _UNIT.fullmatch(match["unit"]):
                raise ValueError(match["unit"])
            found = self._registry.Quantity(number, self._registry.Unit(match["unit"])).to(unit)
        except self._faults:
            raise InputError(
                f"found the unit {match['unit']!r} in {text!r}, accepted: such as {example}",
                field=field,
            ) from None
        return Fraction(found.magnitude)
