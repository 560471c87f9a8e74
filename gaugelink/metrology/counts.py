"""Readings as whole counts of one step: sums and squares of them are exact, however large.

A gauge shows decimals, not binary fractions. Taken as whole counts of the last decimal place, the
sums of squares below have no rounding at all; only a square root or a quotient at the very end is a
double.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from gaugelink.quantity import parse_number

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence


@dataclass(frozen=True, slots=True)
class Counts:
    """Numbers as whole counts of a common decimal step.

    Attributes:
        values: the counts, in the order of the numbers.
        places: decimal places; one count is ``10**-places``.
    """

    values: tuple[int, ...]
    places: int

    @property
    def step(self) -> Fraction:
        """One count."""
        return Fraction(1, 10**self.places)


def counts_of(texts: Iterable[str]) -> Counts:
    """Read decimal numbers as counts of the finest place that any of them has.

    Raises:
        InputError: a text is no plain decimal number.

    >>> counts_of(["7.96", "7.9655"])
    Counts(values=(79600, 79655), places=4)
    """
    read = [parse_number(text) for text in texts]
    places = max((here for _, here in read), default=0)
    return Counts(tuple(digits * 10 ** (places - here) for digits, here in read), places)


def sum_of_squares(values: Sequence[int]) -> Fraction:
    """Sum the squares of the differences from the mean, exactly.

    Args:
        values: whole counts, at least one.

    Returns:
        The sum, in squared counts.

    >>> sum_of_squares([1, 2, 3, 4])
    Fraction(5, 1)
    """
    total = sum(values)
    return sum(value * value for value in values) - Fraction(total * total, len(values))
