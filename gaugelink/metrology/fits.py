"""Fits of holes and shafts: ISO 286 by looking it up, press fits by Lame.

Tolerance grades and fundamental deviations are those of the tables, which are rounded: the formula
behind them comes within 9 % only. "Over" a size excludes it, "up to" includes it.

Source: ISO 286-1, grades IT5 to IT11 (held by a copied table in the tests); fundamental deviations
from memory, g and H held by a copied table for three steps. Thick-walled tubes: Lame, as in
Shigley, Mechanical Engineering Design, chapter 3 (from memory; held by the textbook's form for
equal materials).
"""

from __future__ import annotations

import re
from bisect import bisect_left
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from gaugelink.quantity import PM_PER_MM, PM_PER_UM

if TYPE_CHECKING:
    from fractions import Fraction

STEPS_MM: Final = (3, 6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500)
"""Upper ends of the steps of nominal size."""

GRADES_UM: Final = {
    5: (4, 5, 6, 8, 9, 11, 13, 15, 18, 20, 23, 25, 27),
    6: (6, 8, 9, 11, 13, 16, 19, 22, 25, 29, 32, 36, 40),
    7: (10, 12, 15, 18, 21, 25, 30, 35, 40, 46, 52, 57, 63),
    8: (14, 18, 22, 27, 33, 39, 46, 54, 63, 72, 81, 89, 97),
    9: (25, 30, 36, 43, 52, 62, 74, 87, 100, 115, 130, 140, 155),
    10: (40, 48, 58, 70, 84, 100, 120, 140, 160, 185, 210, 230, 250),
    11: (60, 75, 90, 110, 130, 160, 190, 220, 250, 290, 320, 360, 400),
}

UPPER_UM: Final = {
    "d": (-20, -30, -40, -50, -65, -80, -100, -120, -145, -170, -190, -210, -230),
    "e": (-14, -20, -25, -32, -40, -50, -60, -72, -85, -100, -110, -125, -135),
    "f": (-6, -10, -13, -16, -20, -25, -30, -36, -43, -50, -56, -62, -68),
    "g": (-2, -4, -5, -6, -7, -9, -10, -12, -14, -15, -17, -18, -20),
    "h": (0,) * 13,
}
"""Upper deviation of shafts; holes of the same letter in capitals are the mirror image."""

LOWER_UM: Final = {
    "n": (4, 8, 10, 12, 15, 17, 20, 23, 27, 31, 34, 37, 40),
    "p": (6, 12, 15, 18, 22, 26, 32, 37, 43, 50, 56, 62, 68),
}
"""Lower deviation of shafts."""

_CLASS = re.compile(r"([A-Za-z])([0-9]{1,2})")

Kind = Literal["clearance", "transition", "interference"]


@dataclass(frozen=True, slots=True)
class Range:
    """A permitted range about the nominal size, picometres, ends included."""

    lower_pm: int
    upper_pm: int


def permitted(nominal_pm: int, tolerance_class: str) -> Range:
    """Look up the limit deviations of a tolerance class.

    Args:
        nominal_pm: nominal size, above 0, up to 500 mm.
        tolerance_class: such as ``H7`` (a hole) or ``g6`` (a shaft): d to h, n and p; D to H.

    Raises:
        ValueError: a size or class outside the tables.

    >>> permitted(14 * 10**9, "H7"), permitted(14 * 10**9, "g6")
    (Range(lower_pm=0, upper_pm=18000000), Range(lower_pm=-17000000, upper_pm=-6000000))
    """
    if not 0 < nominal_pm <= STEPS_MM[-1] * PM_PER_MM:
        raise ValueError("found a size outside the tables, needed: above 0 and up to 500 mm")
    match = _CLASS.fullmatch(tolerance_class.strip())
    letter, grade = (match[1], int(match[2])) if match else ("", 0)
    small = letter.lower()
    hole = letter.isupper()
    if grade not in GRADES_UM or small not in (UPPER_UM if hole else {**UPPER_UM, **LOWER_UM}):
        raise ValueError(
            f"found the class {tolerance_class!r}, needed: a shaft d to h, n or p, or a hole D to "
            "H, with a grade from 5 to 11, such as H7 or g6"
        )
    step = bisect_left([end * PM_PER_MM for end in STEPS_MM], nominal_pm)
    wide = GRADES_UM[grade][step] * PM_PER_UM
    if small in LOWER_UM:
        lower = LOWER_UM[small][step] * PM_PER_UM
        return Range(lower, lower + wide)
    upper = UPPER_UM[small][step] * PM_PER_UM
    return Range(-upper, -upper + wide) if hole else Range(upper - wide, upper)


@dataclass(frozen=True, slots=True)
class Fit:
    """A hole with a shaft, picometres; a clearance below 0 is an interference."""

    hole: Range
    shaft: Range

    @property
    def least_pm(self) -> int:
        """The least clearance."""
        return self.hole.lower_pm - self.shaft.upper_pm

    @property
    def most_pm(self) -> int:
        """The greatest clearance."""
        return self.hole.upper_pm - self.shaft.lower_pm

    @property
    def kind(self) -> Kind:
        """Whether the shaft always goes in, never without force, or now and then."""
        if self.least_pm >= 0:
            return "clearance"
        return "interference" if self.most_pm <= 0 else "transition"


def fit(nominal_pm: int, classes: str) -> Fit:
    """Look up a fit.

    Args:
        nominal_pm: nominal size.
        classes: hole and shaft, such as ``H7/g6``.

    Raises:
        ValueError: a size or class outside the tables, or not hole before shaft.

    >>> found = fit(5 * 10**9, "H7/g6")
    >>> found.kind, found.least_pm // 10**6, found.most_pm // 10**6
    ('clearance', 4, 24)
    """
    hole, stroke, shaft = (part.strip() for part in classes.partition("/"))
    if not stroke or not hole[:1].isupper() or not shaft[:1].islower():
        raise ValueError(f"found {classes!r}, needed: a hole and a shaft, such as H7/g6")
    return Fit(permitted(nominal_pm, hole), permitted(nominal_pm, shaft))


@dataclass(frozen=True, slots=True)
class Tube:
    """A material: modulus of elasticity in N/mm^2, and Poisson's ratio."""

    modulus: Fraction
    poisson: Fraction


@dataclass(frozen=True, slots=True)
class Press:
    """A pressed joint.

    Attributes:
        pressure: between the two, N/mm^2.
        closure: by how much the bore of the inner part closes, on the diameter, in the unit of the
            sizes.
        growth: by how much the outer part grows outside, on the diameter.
    """

    pressure: Fraction
    closure: Fraction
    growth: Fraction


def press(interference: Fraction, bore: Fraction, joint: Fraction, outside: Fraction,
          inner: Tube, outer: Tube) -> Press:  # fmt: skip
    """Reckon a tube pressed into a round boss: long, elastic, without friction (Lame).

    Real bosses are not round tubes, so the figures say how large the effect is, not how large this
    bore will be: ream or hone, and measure again after pressing.

    Args:
        interference: outside of the inner part less the hole, on the diameter, 0 or more.
        bore: diameter of the inner part's bore, 0 for a solid pin.
        joint: diameter where they meet.
        outside: outer diameter of the boss.
        inner: material of the inner part.
        outer: material of the boss.

    Raises:
        ValueError: diameters that do not grow from bore to outside, no interference, or a modulus
            that is not above 0.

    >>> from fractions import Fraction
    >>> iron, aluminium = Tube(Fraction(110_000), Fraction("0.26")), Tube(Fraction(71_000),
    ...     Fraction("0.33"))
    >>> sizes = [Fraction(size) for size in ("0.040", "8", "14", "28")]
    >>> found = press(*sizes, iron, aluminium)
    >>> round(float(found.pressure), 1), round(float(found.closure) * 1000, 1)  # um
    (65.4, 14.1)
    """
    if not 0 <= bore < joint < outside:
        raise ValueError(
            f"found diameters of {float(bore):g}, {float(joint):g} and {float(outside):g} mm, "
            "needed: growing from the bore to the outside"
        )
    if interference < 0:
        raise ValueError("found an interference below 0, needed: 0 or more")
    if inner.modulus <= 0 or outer.modulus <= 0:
        raise ValueError("found a modulus that is not above 0, needed: more")
    within = (joint**2 + bore**2) / (joint**2 - bore**2) - inner.poisson
    around = (outside**2 + joint**2) / (outside**2 - joint**2) + outer.poisson
    pressure = interference / (joint * (within / inner.modulus + around / outer.modulus))
    closure = 2 * pressure * joint**2 * bore / (inner.modulus * (joint**2 - bore**2))
    growth = 2 * pressure * joint**2 * outside / (outer.modulus * (outside**2 - joint**2))
    return Press(pressure, closure, growth)
