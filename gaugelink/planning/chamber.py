"""The room over a piston: what a sunk valve and a skimmed face do to it, and the compression ratio.

Volumes are whole cubic micrometres, areas square millimetres: a square millimetre that is a
picometre deep is a cubic micrometre, so nothing has to be converted.

Source: geometry. The compression ratio is the largest volume over the smallest, (Vs + Vc) / Vc.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import pi
from typing import Final

CUBIC_MM: Final = 10**9
"""Cubic micrometres in a cubic millimetre."""
CUBIC_CM: Final = 10**12
"""Cubic micrometres in a cubic centimetre."""


@dataclass(frozen=True, slots=True)
class Chamber:
    """What the book says of the chambers in the head.

    Attributes:
        area_mm2: of a chamber where it opens into the head's face; a skim takes this times its
            depth. Of a flat face with sunk valves that is the area of its recesses.
        least, most: limits of a chamber's volume, cubic micrometres; None: none.
        apart: how far the volumes of two cylinders may lie apart.
        ratio: smallest and largest compression ratio, above 1.
        swept: what a piston sweeps; None: not known, and then there are no limits of the ratio.
        beside: what is left over the piston at its top beside the chamber: gasket, bowl, deck.
        u: standard uncertainty of a measured volume.
    """

    area_mm2: Fraction = Fraction(0)
    least: int | None = None
    most: int | None = None
    apart: int | None = None
    ratio: tuple[Fraction | None, Fraction | None] = (None, None)
    swept: int | None = None
    beside: int = 0
    u: int = 0

    @property
    def limited(self) -> bool:
        """Whether the book limits anything of it."""
        held = (self.least, self.most, self.apart, *self.ratio)
        return any(one is not None for one in held)


def round_area(diameter_pm: int) -> Fraction:
    """Give the area of a valve's head, square millimetres, with a double's pi.

    >>> round(float(round_area(40 * 10**9)), 2)
    1256.64
    """
    return Fraction(pi) / 4 * Fraction(diameter_pm, 10**9) ** 2


def ratio(swept: int, clearance: int | Fraction) -> Fraction:
    """Give the compression ratio.

    Args:
        swept: what the piston sweeps, in any unit.
        clearance: what is left over it at its top, in the same unit, above 0.

    Raises:
        ValueError: no room is left.

    >>> round(float(ratio(5000, 303)), 2)  # a diesel of 500 cm3 with 30.3 cm3 left
    17.5
    """
    if clearance <= 0:
        raise ValueError(f"found a room of {float(clearance):g} over the piston, needed: some")
    return 1 + Fraction(swept) / Fraction(clearance)


def room_at(swept: int, wanted: Fraction) -> Fraction:
    """Give the clearance volume at which a compression ratio is reached; the inverse of `ratio`.

    Raises:
        ValueError: the ratio is not above 1.

    >>> round(float(room_at(500, Fraction("9.5"))), 1)
    58.8
    """
    if wanted <= 1:
        raise ValueError(f"found a compression ratio of {float(wanted):g}, needed: above 1")
    return Fraction(swept) / (wanted - 1)
