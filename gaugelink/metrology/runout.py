"""Runout of one turn, and how far off centre the part turns.

A true circle that turns about a point beside its centre moves the indicator by a cosine of the
angle: its height is the eccentricity, its top the direction. What the cosine leaves is form, the
same for a part that turns about its own centre.

Source: geometry; for e far smaller than the radius R (what is left out is e^2/2R). Least squares
and its uncertainty: JCGM 100:2008, H.3, with more terms.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, cos, degrees, hypot, radians, sqrt
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

LEAST: Final = 4
"""Three readings are met by any circle; a fourth shows what is left."""


@dataclass(frozen=True, slots=True)
class Runout:
    """What one turn showed, in the unit of the readings.

    Attributes:
        total: highest reading less lowest.
        eccentricity: how far the centre is off the axis of turning.
        direction_deg: the angle at which the cosine is highest, 0 up to below 360.
        form: highest less lowest of what the cosine leaves.
        scatter: standard deviation of what it leaves, with n - 3 degrees of freedom.
        weight: standard uncertainty of the eccentricity over that of one reading.
        middle: what the cosine turns about.
        left: what the cosine leaves of each reading, in their order.
    """

    total: float
    eccentricity: float
    direction_deg: float
    form: float
    scatter: float
    weight: float
    middle: float
    left: tuple[float, ...]

    def cosine(self, angle_deg: float) -> float:
        """Give the reading that a true circle would show at an angle.

        >>> round(runout([30.0, 10.0, -10.0, 10.0], even_angles(4)).cosine(60.0), 6)
        20.0
        """
        turned = radians(angle_deg - self.direction_deg)
        return self.middle + self.eccentricity * cos(turned)


def even_angles(count: int) -> list[float]:
    """Give evenly spaced angles of one turn, degrees; the last is one space short of the first.

    >>> even_angles(4)
    [0.0, 90.0, 180.0, 270.0]
    """
    return [360.0 * place / count for place in range(count)]


def runout(readings: Sequence[float], angles_deg: Sequence[float]) -> Runout:
    """Fit a cosine of one turn to dial readings by least squares.

    Args:
        readings: of an indicator square to the axis, in any one unit; at least four.
        angles_deg: where they were taken, as many.

    Raises:
        ValueError: fewer than four, not as many angles, or angles that do not tell a cosine.

    >>> found = runout([0.030, 0.010, -0.010, 0.010], even_angles(4))
    >>> round(found.total, 3), round(found.eccentricity, 3), round(found.weight, 3)  # sqrt(2 / 4)
    (0.04, 0.02, 0.707)
    """
    import numpy as np  # noqa: PLC0415  slow to start

    if len(readings) < LEAST or len(readings) != len(angles_deg):
        raise ValueError(f"found {len(readings)} readings, needed: at least {LEAST} round one turn")
    angle = np.radians(np.asarray(angles_deg, dtype=np.float64))
    value = np.asarray(readings, dtype=np.float64)
    design = np.column_stack([np.ones(len(angle)), np.cos(angle), np.sin(angle)])
    if np.linalg.cond(design) > 1e3:
        raise ValueError("found readings at too few different angles, needed: round the turn")
    middle = value[0]  # a dial far from 0 shall lose no digits
    fit = np.linalg.lstsq(design, value - middle, rcond=None)[0]
    left = value - middle - design @ fit
    along, across = float(fit[1]), float(fit[2])
    off = hypot(along, across)
    spread = np.linalg.inv(design.T @ design)[1:, 1:]
    # A part that is true has no direction: then the direction that is known worst counts.
    toward = np.array([along, across]) / off if off else None
    square = toward @ spread @ toward if toward is not None else np.linalg.eigvalsh(spread)[-1]
    return Runout(
        float(np.ptp(value)),
        off,
        degrees(atan2(across, along)) % 360.0,
        float(np.ptp(left)),
        sqrt(float(left @ left) / (len(value) - 3)),
        sqrt(float(square)),
        float(middle + fit[0]),
        tuple(float(one) for one in left),
    )
