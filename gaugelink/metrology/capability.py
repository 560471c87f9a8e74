"""Capability: how the spread of a characteristic compares with its limits.

With the standard deviation of neighbouring values (from a control chart) the index is what the work
could do if it stayed steady (Cp, Cpk); with that of all values it is what it did (Pp, Ppk).

Source: NIST/SEMATECH e-Handbook, 6.1.6, which also gives the intervals: chi-squared for the width
alone, and a normal approximation for the nearer side.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt


@dataclass(frozen=True, slots=True)
class Capability:
    """Two indices with their 95 % intervals.

    Attributes:
        width: width of the limits over six standard deviations; None with one limit only.
        width_ends: its interval.
        nearer: distance of the mean from the nearer limit, over three standard deviations.
        nearer_ends: its interval.
    """

    width: float | None
    width_ends: tuple[float, float] | None
    nearer: float
    nearer_ends: tuple[float, float]


def capability(
    mean: float, sd: float, df: float, count: int, lower: float | None, upper: float | None
) -> Capability:
    """Reckon the indices.

    Args:
        mean: of the readings.
        sd: their standard deviation, above 0.
        df: degrees of freedom of that.
        count: number of readings.
        lower: lower limit; None where there is none.
        upper: upper limit, in the unit of the mean.

    Raises:
        ValueError: no limit, limits the wrong way round, or no spread.

    >>> found = capability(16.0, 2.0, 49, 50, 8.0, 20.0)  # e-Handbook 6.1.6: 1.0 and 0.6667
    >>> found.width, round(found.nearer, 4), [round(end, 3) for end in found.nearer_ends]
    (1.0, 0.6667, [0.506, 0.828])
    """
    from scipy.special import chdtri  # noqa: PLC0415

    if lower is None and upper is None:
        raise ValueError("found no limit, needed: a lower one, an upper one, or both")
    if lower is not None and upper is not None and lower >= upper:
        raise ValueError(f"found limits {lower:g} and {upper:g}, needed: the lower one first")
    if not sd > 0:
        raise ValueError("found no spread, needed: readings that differ")
    sides = [(mean - lower) / (3 * sd)] if lower is not None else []
    if upper is not None:
        sides.append((upper - mean) / (3 * sd))
    nearer = min(sides)
    half = 1.959963984540054 * sqrt(1 / (9 * count) + nearer**2 / (2 * df))
    width = ends = None
    if lower is not None and upper is not None:
        width = (upper - lower) / (6 * sd)
        ends = (width * sqrt(float(chdtri(df, 0.975)) / df),
                width * sqrt(float(chdtri(df, 0.025)) / df))  # fmt: skip
    return Capability(width, ends, nearer, (nearer - half, nearer + half))
