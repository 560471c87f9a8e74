"""Lengths at 20 degC, and how long a part has to lie before it may be measured.

Sizes in books hold at 20 degC (ISO 1:2016). A gauge's scale, or the master on which it was set,
and the part each have a temperature and a coefficient of their own:

    L20 = L_read (1 + a_s (T_s - 20)) / (1 + a_p (T_p - 20))

(model of JCGM 100:2008, H.1.2). For a stem or a guide bore of some millimetres, waiting does more
than correcting: the coefficients of the same material differ between tables by a tenth and more.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import log, sqrt
from typing import Final

REFERENCE_C: Final = Fraction(20)
"""Standard reference temperature (ISO 1:2016)."""


@dataclass(frozen=True, slots=True)
class Material:
    """How much a material grows, per kelvin: bounds of what tables say.

    Attributes:
        name: the material, or the coefficient as it was stated.
        low: smallest coefficient found, 1/K.
        high: largest one.
    """

    name: str
    low: Fraction
    high: Fraction

    @property
    def coefficient(self) -> Fraction:
        """The middle, 1/K."""
        return (self.low + self.high) / 2

    @property
    def u(self) -> float:
        """Standard uncertainty, 1/K: rectangular (JCGM 100:2008, 4.3.7)."""
        return float(self.high - self.low) / sqrt(12)


def _of(name: str, low: str, high: str) -> Material:
    return Material(name, Fraction(low) / 10**6, Fraction(high) / 10**6)


MATERIALS: Final = {
    # ISO 3650:1998 asks 11.5 +- 1.0 of gauge blocks of steel (from memory).
    "steel": _of("steel", "10.5", "12.5"),
    # Engineering tables: gray iron 9.0, 10.5 and 11.4.
    "iron": _of("iron", "9.0", "11.4"),
    # Cast 356 alloy 21.5; wrought 22.9 to 23.8.
    "aluminium": _of("aluminium", "21.5", "23.8"),
    # Phosphor bronze 15.2 and 17.8, aluminium bronze 16.2, bearing bronze 18.0.
    "bronze": _of("bronze", "15.2", "18.0"),
    # Austenitic steels of exhaust valves.
    "austenitic": _of("austenitic", "16", "18"),
}
"""Engineering tables (secondary; they differ, so each is a range). A stated figure is better."""


def stated(coefficient: Fraction, name: str = "stated") -> Material:
    """Make a material of one stated coefficient, 1/K."""
    return Material(name, coefficient, coefficient)


@dataclass(frozen=True, slots=True)
class AtTwenty:
    """A length at 20 degC.

    Attributes:
        length_pm: the length, exact for the coefficients used.
        correction_pm: what was added to the reading.
        u_pm: standard uncertainty of the correction, from coefficients and temperatures.
    """

    length_pm: Fraction
    correction_pm: Fraction
    u_pm: float


def at_twenty(
    read_pm: int,
    *,
    part: Material,
    part_c: Fraction,
    gauge: Material,
    gauge_c: Fraction,
    u_temperature_k: float = 0.5,
) -> AtTwenty:
    """Turn a reading into the length at 20 degC.

    A gauge that was set on a master at hand takes the master's material and temperature: the zero
    has taken everything else with it.

    Args:
        read_pm: the reading, picometres.
        part: material of the part.
        part_c: its temperature, degC.
        gauge: material of the gauge's scale or frame, or of the master it was set on.
        gauge_c: its temperature, degC.
        u_temperature_k: standard uncertainty of either temperature, K (0.5: common practice, no
            source).

    Raises:
        ValueError: a temperature at which these coefficients mean nothing (below -40, above 300).

    >>> found = at_twenty(100 * 10**9, part=stated(Fraction("11.5e-6")), part_c=Fraction(21),
    ...                   gauge=stated(Fraction("11.5e-6")), gauge_c=Fraction(20))
    >>> round(float(found.correction_pm) / 1e6, 2)  # um: 100 mm of steel, 1 K too warm
    -1.15
    """
    for value in (part_c, gauge_c):
        if not -40 <= value <= 300:
            raise ValueError(f"found {float(value):g} degC, needed: -40 to 300")
    above_gauge, above_part = gauge_c - REFERENCE_C, part_c - REFERENCE_C
    length = read_pm * (1 + gauge.coefficient * above_gauge) / (1 + part.coefficient * above_part)
    square = (
        (float(above_gauge) * gauge.u) ** 2
        + (float(above_part) * part.u) ** 2
        + (u_temperature_k * float(gauge.coefficient)) ** 2
        + (u_temperature_k * float(part.coefficient)) ** 2
    )
    return AtTwenty(length, length - read_pm, abs(read_pm) * sqrt(square))


def time_constant(start_c: Fraction, later_c: Fraction, room_c: Fraction, apart: float) -> float:
    """Find the time constant of a part from two of its temperatures (Newton's law of cooling).

    Args:
        start_c: temperature of the part, degC.
        later_c: its temperature after the time `apart`.
        room_c: temperature of the room.
        apart: time between the two, in any unit.

    Returns:
        The time, in that unit, after which 37 % of the difference are left.

    Raises:
        ValueError: the part did not come nearer to the room's temperature, or went beyond it.

    >>> round(time_constant(Fraction(60), Fraction(40), Fraction(20), 10), 1)  # half left: 10/ln 2
    14.4
    """
    first, second = start_c - room_c, later_c - room_c
    if apart <= 0 or first == 0 or not 0 < second / first < 1:
        raise ValueError(
            f"found {float(start_c):g} and then {float(later_c):g} degC in a room of "
            f"{float(room_c):g} degC, needed: the second nearer to the room, not at it or beyond"
        )
    return apart / log(float(first / second))


def wait(part_c: Fraction, room_c: Fraction, allowed_k: float, constant: float) -> float:
    """Tell how long a part must still lie until it is within so many kelvins of the room.

    Args:
        part_c: its temperature now, degC.
        room_c: temperature of the room, degC.
        allowed_k: difference allowed, more than 0, K.
        constant: its time constant.

    Returns:
        The time, in the unit of the constant; 0 where it need not wait.

    Raises:
        ValueError: no difference is allowed at all, which would take for ever.

    >>> round(wait(Fraction(80), Fraction(20), 1, 20))  # 20 ln 60
    82
    """
    if allowed_k <= 0 or constant <= 0:
        raise ValueError("found 0, needed: a difference and a time constant above 0")
    return max(0.0, constant * log(max(abs(float(part_c - room_c)), allowed_k) / allowed_k))


def allowed_difference(error_pm: int, length_pm: int, material: Material) -> float:
    """Tell by how much a part may be off the gauge's temperature for a stated error, K.

    Args:
        error_pm: the error that may be made, picometres, more than 0.
        length_pm: the length measured, picometres.
        material: of the part; its largest coefficient counts.

    >>> round(allowed_difference(10**6, 120 * 10**9, MATERIALS["aluminium"]), 2)  # 1 um on 120 mm
    0.35
    """
    return float(Fraction(error_pm) / (abs(length_pm) * material.high))
