"""One-way analysis of variance: do groups of readings differ by more than they scatter?

Sums of squares are those of the usual table (JCGM 100:2008, H.5.2.2, for groups of equal size;
NIST/SEMATECH e-Handbook, 7.4.3, for groups of any size). They are taken over whole counts, exactly.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import chain
from typing import TYPE_CHECKING

from gaugelink.metrology.counts import sum_of_squares

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, slots=True)
class OneWay:
    """The table of a one-way analysis.

    Attributes:
        ss_between: sum of squares between groups, in squared counts.
        ss_within: sum of squares within groups, in squared counts.
        df_between: number of groups less one.
        df_within: number of readings less number of groups.
        each: readings in a group; of unequal ones what counts as the size of all, (N - sum n^2 / N)
            / (groups - 1).
    """

    ss_between: Fraction
    ss_within: Fraction
    df_between: int
    df_within: int
    each: Fraction

    @property
    def ms_between(self) -> Fraction:
        """Mean square between groups."""
        return self.ss_between / self.df_between

    @property
    def ms_within(self) -> Fraction:
        """Mean square within groups."""
        return self.ss_within / self.df_within

    @property
    def f(self) -> Fraction:
        """Mean square between over mean square within."""
        return self.ms_between / self.ms_within

    @property
    def p(self) -> float:
        """How probable so large an F is where all groups have the same mean."""
        return tail_of_f(float(self.f), self.df_between, self.df_within)

    @property
    def variance_between(self) -> Fraction:
        """Variance of the groups' own means beside the scatter; one below 0 is given as 0.

        The mean square between groups has the expectation variance within + `each` times variance
        between, groups of any size (Searle, Linear Models, 1971, from memory; held by simulation).
        """
        return max(Fraction(0), (self.ms_between - self.ms_within) / self.each)


def oneway(groups: Sequence[Sequence[int]]) -> OneWay:
    """Analyse groups of readings.

    Args:
        groups: the readings of each group as whole counts of one step (`counts_of`).

    Raises:
        ValueError: fewer than two groups, an empty group, no group with two readings, or readings
            that do not differ at all within any group.

    >>> table = oneway([[1, 2, 3], [2, 3, 4]])
    >>> table.ss_between, table.ss_within, table.df_between, table.df_within, table.f
    (Fraction(3, 2), Fraction(4, 1), 1, 4, Fraction(3, 2))
    """
    if len(groups) < 2:
        raise ValueError(f"found {len(groups)} group, needed: at least two to compare")
    if not all(groups):
        raise ValueError("found a group without readings, needed: at least one in each")
    df_within = sum(len(group) - 1 for group in groups)
    if df_within == 0:
        raise ValueError(
            "found one reading in each group, needed: a second one in at least one of them, or "
            "nobody can tell how much readings scatter"
        )
    ss_within = sum((sum_of_squares(group) for group in groups), start=Fraction(0))
    if ss_within == 0:
        raise ValueError(
            "found readings that do not differ within any group, needed: readings with scatter (a "
            "gauge with a finer step, or the numbers before they were rounded)"
        )
    total = sum_of_squares([*chain.from_iterable(groups)])
    count = sum(map(len, groups))
    each = (count - Fraction(sum(len(group) ** 2 for group in groups), count)) / (len(groups) - 1)
    return OneWay(total - ss_within, ss_within, len(groups) - 1, df_within, each)


def tail_of_f(f: float, df_above: float, df_below: float) -> float:
    """Give the probability that F is larger than this.

    Args:
        f: the quotient of the mean squares, 0 or more.
        df_above: degrees of freedom of the mean square above the line.
        df_below: degrees of freedom of the one below.

    >>> round(tail_of_f(9.591107036, 2, 12), 9)  # NIST/SEMATECH e-Handbook, 7.4.3, recomputed
    0.003248223
    """
    from scipy.special import fdtrc  # noqa: PLC0415  slow to start, and only wanted here

    return float(fdtrc(df_above, df_below, f))
