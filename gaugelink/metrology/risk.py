"""Consumer's and producer's risk, and what more readings can decide.

Specific risk is that of one measured value; global risk that of a whole stream of parts of which
one knows how they are spread. Source: JCGM 106:2012, clauses 8 and 9.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, isfinite
from typing import TYPE_CHECKING, Final

from gaugelink.metrology.conformity import GUARD_FACTOR

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

MOST_READINGS: Final = 200
"""More than anybody takes of one place; then another gauge or method is the answer."""


@dataclass(frozen=True, slots=True)
class Risks:
    """Global risks.

    Attributes:
        consumer: probability that a part is bad and is accepted.
        producer: probability that a part is good and is rejected.
    """

    consumer: float
    producer: float


def global_risks(
    mean: float,
    spread: float,
    u: float,
    lower: float | None,
    upper: float | None,
    guard: float = 0.0,
) -> Risks:
    """Reckon the risks over all parts.

    Args:
        mean: of the parts.
        spread: standard deviation of the parts, above 0.
        u: standard uncertainty of measuring, above 0.
        lower: lower limit; None where there is none.
        upper: upper limit; None where there is none.
        guard: how far inside the limits a value has to lie to be accepted; below 0: outside.

    Returns:
        By Gauss-Legendre quadrature over the true size, to about 1e-9.

    Raises:
        ValueError: a spread or uncertainty that is not above 0, or no limit.

    >>> found = global_risks(0.0, 0.5, 0.125, -1.0, 1.0)
    >>> round(found.consumer, 6), round(found.producer, 6)
    (0.008006, 0.014851)
    """
    import numpy as np  # noqa: PLC0415
    from scipy.special import ndtr  # noqa: PLC0415

    if not (spread > 0 and u > 0 and isfinite(spread) and isfinite(u)):
        raise ValueError(f"found a spread of {spread:g} and u = {u:g}, needed: both above 0")
    if lower is None and upper is None:
        raise ValueError("found no limit, needed: a lower one, an upper one, or both")

    def accepted(size: NDArray[np.float64]) -> NDArray[np.float64]:
        top = 1.0 if upper is None else ndtr((upper - guard - size) / u)
        bottom = 0.0 if lower is None else ndtr((lower + guard - size) / u)
        chance: NDArray[np.float64] = np.maximum(np.asarray(top - bottom), 0.0)
        return chance

    nodes, weights = np.polynomial.legendre.leggauss(60)

    # Where the chance of acceptance turns, within some u of these, the stretches are cut finely.
    turns = [end + step * u
             for end in (None if lower is None else lower + guard,
                         None if upper is None else upper - guard) if end is not None
             for step in (-9, -6, -3, 0, 3, 6, 9)]  # fmt: skip

    def over(start: float, stop: float, *, bad: bool) -> float:
        """Integrate over a stretch."""
        if not stop > start:
            return 0.0
        pieces = ceil((stop - start) / (2 * spread))
        inner = [turn for turn in turns if start < turn < stop]
        edges = np.unique([*np.linspace(start, stop, pieces + 1), *inner])
        half = np.diff(edges)[:, None] / 2
        size = (edges[:-1, None] + edges[1:, None]) / 2 + half * nodes
        density = np.exp(-0.5 * ((size - mean) / spread) ** 2) / (spread * np.sqrt(2 * np.pi))
        chance = accepted(size) if bad else 1.0 - accepted(size)
        return float((half * weights * density * chance).sum())

    low, high = mean - 9 * spread, mean + 9 * spread
    first = low if lower is None else min(max(lower, low), high)
    last = high if upper is None else max(min(upper, high), low)
    consumer = producer = 0.0
    if lower is not None:
        consumer += over(low, first, bad=True)
    if upper is not None:
        consumer += over(last, high, bad=True)
    producer += over(first, last, bad=False)
    return Risks(consumer, producer)


@dataclass(frozen=True, slots=True)
class MoreReadings:
    """What would decide an undecided value.

    Attributes:
        total: so many readings together, those taken included; None: no number of them can.
        u_needed: standard uncertainty that would decide it.
        words: what to do.
    """

    total: int | None
    u_needed: float
    words: str


def more_readings(
    away: float, u_steady: float, repeatability: float, taken: int = 1,
    factor: float = float(GUARD_FACTOR), unit: str = "",
) -> MoreReadings:  # fmt: skip
    """Say how many readings would decide, if their mean stays where it is.

    The mean of n readings has u^2 = u_steady^2 + repeatability^2 / n: what does not scatter from
    reading to reading (gauge, master, temperature) stays, however many there are.

    Args:
        away: distance of the value from the limit, 0 or more.
        u_steady: what more readings do not lessen, in the same unit.
        repeatability: standard deviation of single readings.
        taken: how many there are already.
        factor: guard band in standard uncertainties, above 0.
        unit: of the amounts, for the words.

    >>> more_readings(3.0, 1.0, 4.0).total  # 4^2 / ((3 / 1.645)^2 - 1^2) = 6.9
    7
    >>> print(more_readings(1.0, 1.2, 0.5).words)
    more readings cannot decide it: a gauge or method with a standard uncertainty of 0.61 or less \
would
    """
    needed = away / factor
    if needed <= 0:
        return MoreReadings(None, 0.0, "the value lies on the limit: nothing can decide it")
    left = needed * needed - u_steady * u_steady
    total = ceil(repeatability * repeatability / left - 1e-9) if left > 0 else None
    if total is not None and total <= MOST_READINGS:
        total = max(total, 1)
        if total <= taken:
            return MoreReadings(taken, needed, "the readings taken decide it")
        words = f"{total - taken} more readings would decide it, if their mean stays where it is"
        return MoreReadings(total, needed, words)
    words = (
        f"more readings cannot decide it: a gauge or method with a standard uncertainty of "
        f"{needed:.2g}{f' {unit}' if unit else ''} or less would"
    )
    return MoreReadings(None, needed, words)
