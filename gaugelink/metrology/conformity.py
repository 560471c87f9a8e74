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
from typing import Final, Literal

VerdictWord = Literal["within", "outside", "undecided"]

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
) -> VerdictWord:
    """Hold a value against its limits.

    Args:
        value_pm: the value, picometres, exact.
        u_pm: standard uncertainty, picometres; None or 0 for simple comparison.
        lower_pm: lower limit, itself within; None where there is none.
        upper_pm: upper limit, itself within; None where there is none.

    >>> verdict(7_935_000_000, None, 7_935_000_000, None)
    'within'
    >>> verdict(7_934_000_000, 1_900_000, 7_935_000_000, None)  # 1 um short, u = 1.9 um
    'undecided'
    """
    guard = GUARD_FACTOR * (u_pm or 0)
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

    def below(limit_pm: int) -> float:
        return 0.5 * erfc(-float((limit_pm - Fraction(value_pm)) / u_pm) / sqrt(2))

    top = 1.0 if upper_pm is None else below(upper_pm)
    bottom = 0.0 if lower_pm is None else below(lower_pm)
    return top - bottom
