"""Springs that have lost too much load, whatever height they are given.

A shim brings back a height, never a tired spring (common practice, no source): where the book's
least load is one that a new spring has at the test height, a used one has to show it there too.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.metrology.springs import load_verdict

if TYPE_CHECKING:
    from fractions import Fraction

    from gaugelink.metrology.conformity import VerdictWord
    from gaugelink.metrology.springs import Loads


def at_test_height(
    new: Loads, height_mm: Fraction, told_n: Fraction, u_n: Fraction, least_n: Fraction | None
) -> VerdictWord:
    """Hold what a used spring shows on a tester against the least load of the book.

    Args:
        new: of a new spring.
        height_mm: the test height.
        told_n: what the used one shows there, N.
        u_n: its standard uncertainty, N; 0 where none is stated.
        least_n: the book's least load, N; None: there is none.

    Returns:
        ``within`` too where a new spring has less than the least load at that height, so that the
        test says nothing of it.

    >>> from fractions import Fraction
    >>> from gaugelink.metrology.springs import from_rate
    >>> new = from_rate(Fraction(32), Fraction(50))  # 320 N at 40 mm
    >>> at_test_height(new, Fraction(40), Fraction(290), Fraction(2), Fraction(300))
    'outside'
    """
    if least_n is None or new.load(height_mm) < least_n:
        return "within"
    return load_verdict(told_n, u_n, least_n, None)
