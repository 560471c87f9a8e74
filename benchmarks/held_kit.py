"""What the lists of held values share: reading the folder, counting digits."""

from __future__ import annotations

import csv
import json
import math
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

MOST: Final = 15.0
"""As many digits as a double holds."""

Row = tuple[str, str, float]
"""What, where from, and to how many digits."""

Whole = tuple[str, str, int, int]
"""What, where from, how many come out, and of how many."""


def digits(found: float, held: float) -> float:
    """Count the significant digits that agree; as many as a double holds at most."""
    if found == held:
        return MOST
    return min(MOST, -math.log10(abs(found - held) / (abs(held) or 1.0)))


def worst(pairs: Iterable[tuple[float, float]]) -> float:
    """Count the digits of the pair, found and held, that agrees worst."""
    return min(digits(float(found), float(held)) for found, held in pairs)


def as_printed(found: float, printed: str) -> float:
    """Count the digits of a printed value that come out: all of them where rounding gives it.

    >>> as_printed(0.98901, "0.99"), round(as_printed(4.1156, "4.13"), 1)
    (2, 2.5)
    """
    text = Decimal(printed)
    if abs(Decimal(found) - text) <= Decimal(5).scaleb(int(text.as_tuple().exponent) - 1):
        return len(text.as_tuple().digits)
    return digits(found, float(text))


class Values:
    """The folder of published values."""

    def __init__(self, folder: Path) -> None:
        """Take the folder."""
        self.folder = folder

    def rows(self, name: str) -> list[dict[str, str]]:
        """Read a CSV file."""
        lines = (self.folder / name).read_text(encoding="utf-8").splitlines()
        return [*csv.DictReader(line for line in lines if not line.startswith("#"))]

    def json(self, name: str) -> Any:
        """Read a JSON file."""
        return json.loads((self.folder / name).read_text(encoding="utf-8"))
