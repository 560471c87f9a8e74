"""Whether a gauge's zero wanders: a straight line through what it showed on its master over time.

Source: ordinary least squares, JCGM 100:2008, H.3 (straight line through a calibration curve); sums
are taken exactly, in fractions, so that readings far from zero lose no digit.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import sqrt
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, slots=True)
class Drift:
    """A straight line y = start + slope x.

    Attributes:
        start, slope: of the line.
        u_start, u_slope: their standard uncertainties, from the scatter about the line.
        scatter: standard deviation about the line.
        df: degrees of freedom, two fewer than points.
        slope_ends: between which the slope lies with 95 % probability.
    """

    start: float
    slope: float
    u_start: float
    u_slope: float
    scatter: float
    df: int
    slope_ends: tuple[float, float]

    @property
    def drifts(self) -> bool:
        """Whether the slope differs from zero by more than chance explains, 95 % two-sided."""
        return self.slope_ends[0] > 0 or self.slope_ends[1] < 0


def drift(at: Sequence[Fraction | int], values: Sequence[Fraction | int]) -> Drift:
    """Fit a straight line by least squares.

    Args:
        at: when each was read, in any unit.
        values: what was read.

    Raises:
        ValueError: fewer than three points, not as many times as values, or all at one time.

    >>> found = drift([0, 1, 2, 3], [0, 2, 1, 3])
    >>> found.slope, round(found.u_slope, 6), found.drifts
    (0.8, 0.424264, False)
    """
    from scipy.special import stdtrit  # noqa: PLC0415  slow to start, and only wanted here

    count = len(at)
    if count != len(values):
        raise ValueError(f"found {count} times and {len(values)} values, needed: as many of each")
    if count < 3:
        raise ValueError(f"found {count} points, needed: at least 3 for a drift and its scatter")
    mean_x, mean_y = Fraction(sum(at), count), Fraction(sum(values), count)
    s_xx = sum((Fraction(x) - mean_x) ** 2 for x in at)
    if not s_xx:
        raise ValueError("found all points at one time, needed: two times or more")
    s_xy = sum((Fraction(x) - mean_x) * (Fraction(y) - mean_y)
               for x, y in zip(at, values, strict=True))  # fmt: skip
    slope = s_xy / s_xx
    start = mean_y - slope * mean_x
    rest = sum((Fraction(y) - start - slope * Fraction(x)) ** 2
               for x, y in zip(at, values, strict=True))  # fmt: skip
    df = count - 2
    variance = Fraction(rest) / df
    u_slope = sqrt(variance / s_xx)
    u_start = sqrt(variance * (Fraction(1, count) + mean_x**2 / s_xx))
    reach = float(stdtrit(df, 0.975)) * u_slope
    return Drift(
        float(start), float(slope), u_start, u_slope, sqrt(variance), df,
        (float(slope) - reach, float(slope) + reach),
    )  # fmt: skip
