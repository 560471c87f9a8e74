"""Say whether a measured value conforms to its limits, given the uncertainty.

Three words: *within*, *outside*, and *undecided* where the uncertainty reaches across the limit.
A limit value itself is within. Without an uncertainty the comparison is simple, and exact.

Source: ISO 14253-1:2017, whose default takes a guard band of 1.645 standard uncertainties off (a
probability of 95 % on one side; the factor as tabulated with JCGM 106:2012, clause 8); the
probability of conformance is that of JCGM 106:2012, clause 7, for a normal state of knowledge.
"""

from __future__ import annotations

from fractions import Fraction
from math import erfc, sqrt
from typing import TYPE_CHECKING, Final, Literal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

VerdictWord = Literal["within", "outside", "undecided"]

Rule = Literal["simple", "guarded"]

GUARD_FACTOR: Final = Fraction(1645, 1000)
"""Guard band in standard uncertainties, one-sided 95 %."""

RULE: Final = (
    "Guarded acceptance and guarded rejection (ISO 14253-1:2017): a value is within only if it "
    "lies inside the limit by at least 1.645 standard uncertainties (95 %, one side), outside only "
    "if it lies beyond the limit by as much, and undecided between the two. Nothing is rounded "
    "before the comparison."
)


def verdict(
    value_pm: int | Fraction,
    u_pm: int | None,
    lower_pm: int | None,
    upper_pm: int | None,
    factor: Fraction = GUARD_FACTOR,
) -> VerdictWord:
    """Hold a value against its limits.

    Args:
        value_pm: the value, picometres, exact.
        u_pm: standard uncertainty, picometres; None or 0 for simple comparison.
        lower_pm: lower limit, itself within; None where there is none.
        upper_pm: upper limit, itself within; None where there is none.
        factor: guard band in standard uncertainties, 0 or more.

    >>> verdict(7_935_000_000, None, 7_935_000_000, None)
    'within'
    >>> verdict(7_934_000_000, 1_900_000, 7_935_000_000, None)  # 1 um short, u = 1.9 um
    'undecided'
    """
    guard = factor * (u_pm or 0)
    inside = (lower_pm is None or value_pm - lower_pm >= guard) and (
        upper_pm is None or upper_pm - value_pm >= guard
    )
    if inside:
        return "within"
    below = lower_pm is not None and value_pm < lower_pm and lower_pm - value_pm >= guard
    above = upper_pm is not None and value_pm > upper_pm and value_pm - upper_pm >= guard
    return "outside" if below or above else "undecided"


def probability_within(
    value_pm: int | Fraction,
    u_pm: int,
    lower_pm: int | None,
    upper_pm: int | None,
) -> float:
    """Reckon the probability that the true value lies within the limits.

    Source: JCGM 106:2012, clause 7.3 (one limit) and 7.4 (two limits), normal distribution.

    Raises:
        ValueError: the uncertainty is not positive.

    >>> round(probability_within(97_000_000, 3_400_000, None, 100_000_000), 2)  # limit 100 um
    0.81
    """
    if u_pm <= 0:
        raise ValueError(f"found a standard uncertainty of {u_pm} pm, needed: more than 0")

    def away(limit_pm: int) -> float:
        return float((limit_pm - Fraction(value_pm)) / u_pm) / sqrt(2)

    # Chances are taken from the side on which they are small: next to 1 they have no digits left.
    above = lower_pm is not None and (
        upper_pm is None or 2 * value_pm < lower_pm + upper_pm
    )  # fmt: skip
    if above:
        assert lower_pm is not None
        beyond = 0.0 if upper_pm is None else 0.5 * erfc(away(upper_pm))
        return 0.5 * erfc(away(lower_pm)) - beyond
    top = 1.0 if upper_pm is None else 0.5 * erfc(-away(upper_pm))
    return top - (0.0 if lower_pm is None else 0.5 * erfc(-away(lower_pm)))


def verdicts(
    value_pm: NDArray[np.int64], u_pm: int, lower_pm: int | None, upper_pm: int | None
) -> NDArray[np.int8]:
    """Hold many values against the same limits, exactly as `verdict` does.

    Args:
        value_pm: values, picometres, any shape.
        u_pm: standard uncertainty of each, picometres; 0 for simple comparison.
        lower_pm: lower limit, itself within; None where there is none.
        upper_pm: upper limit, itself within; None where there is none.

    Returns:
        1 within, -1 outside, 0 undecided; of the same shape.

    >>> import numpy as np
    >>> verdicts(np.array([7_934, 7_935, 7_939]) * 10**6, 1_900_000, 7_935_000_000, None).tolist()
    [0, 0, 1]
    """
    import numpy as np  # noqa: PLC0415  slow to start, and single values do without

    # A whole number reaches a guard band if it reaches the next whole number above it.
    guard = -(-GUARD_FACTOR.numerator * u_pm // GUARD_FACTOR.denominator)
    inside = np.ones(value_pm.shape, dtype=bool)
    beyond = np.zeros(value_pm.shape, dtype=bool)
    if lower_pm is not None:
        inside &= value_pm >= lower_pm + guard
        beyond |= (value_pm < lower_pm) & (value_pm <= lower_pm - guard)
    if upper_pm is not None:
        inside &= value_pm <= upper_pm - guard
        beyond |= (value_pm > upper_pm) & (value_pm >= upper_pm + guard)
    return np.where(inside, 1, np.where(beyond, -1, 0)).astype(np.int8)


def probabilities_within(
    value: NDArray[np.float64], u: NDArray[np.float64] | float,
    lower: float | None, upper: float | None,
) -> NDArray[np.float64]:  # fmt: skip
    """Reckon for many values the probability that the true one lies within the limits.

    Source: JCGM 106:2012, clause 7.3 and 7.4, normal distribution.

    Args:
        value: values, in any one unit, any shape.
        u: standard uncertainties in the same unit, above 0.
        lower: lower limit in the same unit; None where there is none.
        upper: upper limit; None where there is none.

    >>> import numpy as np
    >>> probabilities_within(np.array([509.7]), 8.6, 490.0, None).round(2).tolist()  # clause 7.3.3
    [0.99]
    """
    import numpy as np  # noqa: PLC0415
    from scipy.special import ndtr  # noqa: PLC0415

    top = np.ones(np.shape(value)) if upper is None else ndtr((upper - value) / u)
    bottom = np.zeros(np.shape(value)) if lower is None else ndtr((lower - value) / u)
    # Far above the middle both are near 1 and their difference loses digits: the tails have them.
    if lower is not None and upper is not None:
        middle = value > (lower + upper) / 2
        other = ndtr((value - lower) / u) - ndtr((value - upper) / u)
        return np.where(middle, top - bottom, other)
    return np.asarray(top - bottom)


def probability_lopsided(
    value: float, u_below: float, u_above: float, lower: float | None, upper: float | None
) -> float:
    """Reckon the probability within the limits where knowledge is not alike on both sides.

    Two halves of normal distributions that meet at the value: so a clearance may be known well
    towards less and badly towards more (a short-ended sweep).

    Args:
        value: the most probable value.
        u_below: standard deviation of the half below it, above 0.
        u_above: of the half above it, above 0.
        lower: lower limit in the same unit; None where there is none.
        upper: upper limit; None where there is none.

    >>> round(probability_lopsided(97.0, 3.4, 3.4, None, 100.0), 2)  # as for a normal one
    0.81
    """
    below_upper = 1.0 if upper is None else _beyond(value, u_below, u_above, upper, None)
    above_lower = 1.0 if lower is None else _beyond(value, u_below, u_above, None, lower)
    # Chances are taken from the side on which they are small, as above.
    if upper is not None and upper <= value:
        return below_upper - (
            0.0 if lower is None else _beyond(value, u_below, u_above, lower, None)
        )
    return above_lower - (0.0 if upper is None else _beyond(value, u_below, u_above, None, upper))


def verdict_lopsided(
    value: float, u_below: float, u_above: float, lower: float | None, upper: float | None,
    coverage: float = 0.95,
) -> VerdictWord:  # fmt: skip
    """Hold a value against its limits where knowledge is not alike on both sides.

    Within: the chance that the true value lies beyond a limit is no more than what the coverage
    leaves, at either limit by itself (ISO 14253-1:2017, default of 95 %); outside: it is the
    coverage or more at one of them. For two equal halves these are the guard bands of `verdict`.

    Args:
        value: the most probable value.
        u_below: standard deviation of the half below it, above 0.
        u_above: of the half above it, above 0.
        lower: lower limit in the same unit; None where there is none.
        upper: upper limit; None where there is none.
        coverage: probability wanted, above 0.5 and below 1.

    >>> [verdict_lopsided(94.0, 3.0, u_above, None, 100.0) for u_above in (3.0, 4.0)]
    ['within', 'undecided']
    """
    left = 1 - coverage
    beyond = [
        _beyond(value, u_below, u_above, *ends)
        for ends in ((lower, None), (None, upper)) if ends != (None, None)
    ]  # fmt: skip
    if all(chance <= left for chance in beyond):
        return "within"
    return "outside" if any(chance >= coverage for chance in beyond) else "undecided"


def _beyond(
    value: float, u_below: float, u_above: float, lower: float | None, upper: float | None,
) -> float:  # fmt: skip
    """Give the chance that the true value lies below the one or above the other."""
    total = u_below + u_above

    def below(limit: float) -> float:
        if limit <= value:
            return u_below / total * erfc((value - limit) / u_below / sqrt(2))
        return 1 - above(limit)

    def above(limit: float) -> float:
        if limit >= value:
            return u_above / total * erfc((limit - value) / u_above / sqrt(2))
        return 1 - below(limit)

    return (0.0 if lower is None else below(lower)) + (0.0 if upper is None else above(upper))
