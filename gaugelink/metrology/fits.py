"""Fits of holes and shafts: ISO 286 by looking it up, press fits by Lame.

Tolerance grades and fundamental deviations are those of the tables, which are rounded: the formula
behind them comes within 9 % only. "Over" a size excludes it, "up to" includes it.

Source: ISO 286-1, whose tables and what holds them stand in `fit_tables`. Thick-walled tubes: Lame,
as in Shigley, Mechanical Engineering Design, chapter 3 (from memory; held by the textbook's form
for equal materials).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from gaugelink.metrology.fit_tables import (
    GRADES_UM,
    LOWER_UM,
    STEPS_MM,
    UPPER_UM,
    hole_upper_um,
    lower_um,
    step_of,
)
from gaugelink.quantity import PM_PER_MM, PM_PER_UM

if TYPE_CHECKING:
    from fractions import Fraction

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
        tolerance_class: such as ``H7`` (a hole) or ``g6`` (a shaft): d to h, k, m, n, p, r and s,
            the same for holes in capitals.

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
    if not 5 <= grade <= max(GRADES_UM) or (small not in UPPER_UM and small not in LOWER_UM):
        raise ValueError(
            f"found the class {tolerance_class!r}, needed: a letter d to h, k, m, n, p, r or s "
            "(a shaft; a hole in capitals) with a grade from 5 to 11, such as H7 or g6"
        )
    wide = GRADES_UM[grade][step_of(nominal_pm)] * PM_PER_UM
    if small in LOWER_UM:
        if hole:
            upper = hole_upper_um(letter, grade, nominal_pm) * PM_PER_UM
            return Range(upper - wide, upper)
        lower = lower_um(small, grade, nominal_pm) * PM_PER_UM
        return Range(lower, lower + wide)
    upper = UPPER_UM[small][step_of(nominal_pm)] * PM_PER_UM
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
