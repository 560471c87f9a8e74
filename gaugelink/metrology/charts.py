"""Control charts: is what is measured steady, or has something changed?

Limits stand three standard deviations from the centre; the standard deviation is taken from what
neighbouring values differ by, never from all values together, or a drift would widen the limits
that are to show it.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2 (charts for variables) and 6.3.2.2
(individuals). The factors are computed; `rounded` gives them with three places, as handbooks print
them.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import exp, lgamma, pi, sqrt
from typing import TYPE_CHECKING, Final, Literal

from gaugelink.metrology.counts import sum_of_squares
from gaugelink.metrology.study_range import range_moments

if TYPE_CHECKING:
    from collections.abc import Sequence

Kind = Literal["individuals", "xbar-r", "xbar-s"]

NEIGHBOURS: Final = (2 * sqrt(3) - 4) / pi + 1 / 3
"""Covariance of two moving ranges that share a reading, in squared standard deviations: two normal
differences with a correlation of -1/2, absolute (Nabeya, 1951, from memory; held by simulation)."""


@dataclass(frozen=True, slots=True)
class Band:
    """A centre line with its limits, in counts."""

    center: float
    lower: float
    upper: float


@dataclass(frozen=True, slots=True)
class Signal:
    """Something that chance alone seldom does.

    Attributes:
        at: place of the point that completes it, from 0.
        on: the chart of values, or the chart of their spread.
        words: what it is.
    """

    at: int
    on: Literal["values", "spread"]
    words: str


@dataclass(frozen=True, slots=True)
class Chart:
    """A pair of charts.

    Attributes:
        values: the points: readings, or means of subgroups, in counts.
        spreads: moving ranges (one fewer), ranges, or standard deviations.
        location: centre and limits of the values.
        spread: centre and limits of the spreads.
        sigma: standard deviation of single readings, from the spreads.
        df: its degrees of freedom: those of a chi-squared one that scatters as much.
        signals: in order of their place.
    """

    values: tuple[float, ...]
    spreads: tuple[float, ...]
    location: Band
    spread: Band
    sigma: float
    df: float
    signals: tuple[Signal, ...]


def chart(groups: Sequence[Sequence[int]], kind: Kind, *, rounded: bool = False) -> Chart:
    """Draw up a pair of charts.

    Args:
        groups: the readings as whole counts, by subgroup in order of time; for individuals one
            reading in each.
        kind: single readings with moving ranges, or means with ranges or standard deviations.
        rounded: with factors of three places.

    Raises:
        ValueError: too few subgroups, subgroups of unequal size, too small or too large for the
            factors, or readings that never differ.

    >>> found = chart([[10], [12], [11], [13]], "individuals")
    >>> found.location.center, round(found.sigma, 4)  # mean moving range 5/3 over d2 of two
    (11.5, 1.477)
    """
    if len(groups) < 2:
        raise ValueError(f"found {len(groups)} subgroups, needed: at least two, better twenty")
    size = len(groups[0])
    if any(len(group) != size for group in groups):
        raise ValueError("found subgroups of unequal size, needed: as many readings in each")
    if kind == "individuals":
        if size != 1:
            raise ValueError(
                f"found {size} readings in a subgroup, needed for individuals: one in each"
            )
        return _individuals([group[0] for group in groups], rounded=rounded)
    if not 2 <= size <= 25:
        raise ValueError(f"found {size} readings in a subgroup, needed: 2 to 25")
    means = [Fraction(sum(group), size) for group in groups]
    center = float(sum(means, start=Fraction(0)) / len(means))
    if kind == "xbar-r":
        spreads = [float(max(group) - min(group)) for group in groups]
    else:
        spreads = [sqrt(sum_of_squares(group) / (size - 1)) for group in groups]
    mean_spread = sum(spreads) / len(spreads)
    _needs_scatter(mean_spread)
    # The spread of a subgroup has a mean of `unit` standard deviations and scatters by `scatter`.
    unit, scatter = range_moments(size) if kind == "xbar-r" else deviation_moments(size)
    sigma = mean_spread / (round(unit, 3) if rounded else unit)
    reach, low, high = 3 / (unit * sqrt(size)), 1 - 3 * scatter / unit, 1 + 3 * scatter / unit
    if rounded:
        reach, low, high = round(reach, 3), round(low, 3), round(high, 3)
    location = Band(center, center - reach * mean_spread, center + reach * mean_spread)
    spread = Band(mean_spread, max(0.0, low) * mean_spread, high * mean_spread)
    df = len(groups) * (unit / scatter) ** 2 / 2
    return _with_signals([float(mean) for mean in means], spreads, location, spread, sigma, df)


def _individuals(values: Sequence[int], *, rounded: bool) -> Chart:
    ranges = [float(abs(b - a)) for a, b in pairwise(values)]
    mean_range = sum(ranges) / len(ranges)
    _needs_scatter(mean_range)
    d2, d3 = range_moments(2)
    high = 1 + 3 * d3 / d2
    if rounded:
        d2, high = round(d2, 3), round(high, 3)
    sigma = mean_range / d2
    center = float(Fraction(sum(values), len(values)))
    location = Band(center, center - 3 * sigma, center + 3 * sigma)
    spread = Band(mean_range, 0.0, high * mean_range)
    count = len(ranges)
    scatter = (count * d3**2 + 2 * (count - 1) * NEIGHBOURS) / count**2
    df = range_moments(2)[0] ** 2 / (2 * scatter)
    return _with_signals([float(value) for value in values], ranges, location, spread, sigma, df)


def _needs_scatter(mean_spread: float) -> None:
    if mean_spread == 0:
        raise ValueError(
            "found readings that never differ, needed: some scatter (a gauge with a finer step, or "
            "the figures before they were rounded)"
        )


def deviation_moments(size: int) -> tuple[float, float]:
    """Give mean c4 and scatter sqrt(1 - c4^2) of the standard deviation of normal values.

    >>> [round(value, 6) for value in deviation_moments(5)]
    [0.939986, 0.341214]
    """
    c4 = sqrt(2 / (size - 1)) * exp(lgamma(size / 2) - lgamma((size - 1) / 2))
    return c4, sqrt(1 - c4 * c4)


def _with_signals(
    values: Sequence[float], spreads: Sequence[float], location: Band, spread: Band, sigma: float,
    df: float,
) -> Chart:  # fmt: skip
    found = [Signal(at, "values", words) for at, words in signals(values, location)]
    first = len(values) - len(spreads)  # a moving range belongs to the later of its two readings
    for at, value in enumerate(spreads):
        if value > spread.upper:
            found.append(Signal(at + first, "spread", "above the upper limit"))
        elif value < spread.lower:
            found.append(Signal(at + first, "spread", "below the lower limit"))
    found.sort(key=lambda signal: (signal.at, signal.on))
    return Chart(tuple(values), tuple(spreads), location, spread, sigma, df, tuple(found))


RUNS = (
    (3, 2, 2.0, "two of three in the outer third of one side"),
    (5, 4, 1.0, "four of five beyond the inner third of one side"),
    (8, 8, 0.0, "eight in a row on one side of the centre"),
)
"""Of so many points in a row, so many beyond so many thirds of the way to one limit.

Each happens by chance about once in 130 to 330 points (normal values; from the binomial law).
"""

TREND = 6


def signals(values: Sequence[float], band: Band) -> list[tuple[int, str]]:
    """Find what chance alone seldom does.

    Args:
        values: the points in order of time.
        band: centre and limits.

    Returns:
        Place of the point that completes it, and what it is.

    >>> signals([0.0, 0.1, 4.0], Band(0.0, -3.0, 3.0))
    [(2, 'above the upper limit')]
    """
    third = (band.upper - band.center) / 3
    away = [(value - band.center) / third for value in values]
    found = []
    for at, here in enumerate(away):
        if values[at] > band.upper:
            found.append((at, "above the upper limit"))
        elif values[at] < band.lower:
            found.append((at, "below the lower limit"))
        for window, needed, beyond, words in RUNS:
            last = away[max(0, at - window + 1) : at + 1]
            if len(last) < needed:
                continue
            # The point itself has to be one of them, or an old run would be told again.
            side = 1 if here > 0 else -1
            if side * here > beyond and sum(side * one > beyond for one in last) >= needed:
                found.append((at, words))
        run = values[max(0, at - TREND + 1) : at + 1]
        steps = [b - a for a, b in pairwise(run)]
        if len(run) == TREND and (min(steps) > 0 or max(steps) < 0):
            found.append((at, f"{TREND} in a row {'rising' if steps[0] > 0 else 'falling'}"))
    return found
