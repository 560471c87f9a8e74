"""Studies that one person does: repeatability over parts, and a gauge held against a master.

Neither sees what differs between people. Source of the arithmetic: one-way components of variance
(JCGM 100:2008, H.5); for the master a t test of the mean, and the two indices that compare the
tolerance with scatter and bias. These have no clause at hand: 20 % of the tolerance over six
standard deviations, and 10 % less the bias over three, each at least 1.33 (common practice, from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import sqrt
from typing import TYPE_CHECKING, Final

from gaugelink.metrology.counts import sum_of_squares
from gaugelink.metrology.intervals import Term, interval_of_sum
from gaugelink.metrology.oneway import oneway

if TYPE_CHECKING:
    from collections.abc import Sequence

ENOUGH: Final = 1.33
FEW: Final = 25
"""So many readings are wanted of a master (common practice, no source: 25, better 50)."""


@dataclass(frozen=True, slots=True)
class OnePerson:
    """Standard deviations, in counts.

    Attributes:
        repeatability: of single readings of one part.
        repeatability_ends: its 95 % interval.
        part: between parts, what scatters taken off.
        df: degrees of freedom of the repeatability.
    """

    repeatability: float
    repeatability_ends: tuple[float, float]
    part: float
    df: int


def one_person(parts: Sequence[Sequence[int]]) -> OnePerson:
    """Analyse parts measured several times by one person.

    Args:
        parts: the readings of each part as whole counts; as many of each.

    Raises:
        ValueError: one part only, parts measured unequally often or once, or no scatter.

    >>> found = one_person([[1, 3], [7, 9]])
    >>> round(found.repeatability, 4), round(found.part, 4)
    (1.4142, 4.1231)
    """
    if len({len(part) for part in parts}) > 1:
        raise ValueError("found parts measured unequally often, needed: as many readings of each")
    table = oneway(parts)
    between = table.variance_between
    ms = float(table.ms_within)
    low, high = interval_of_sum([Term(1.0, ms, table.df_within)])
    return OnePerson(sqrt(ms), (sqrt(low), sqrt(high)), sqrt(between), table.df_within)


@dataclass(frozen=True, slots=True)
class OnMaster:
    """A gauge held against a master, in counts.

    Attributes:
        bias: mean of the readings less the master's actual size.
        bias_p: how probable a bias so large is if there is none, the master's own uncertainty
            counted in.
        sd: standard deviation of the readings.
        width: share of the tolerance that scatter may take, over what it takes; None without a
            tolerance.
        nearer: the same with the bias taken off.
    """

    bias: float
    bias_p: float
    sd: float
    width: float | None
    nearer: float | None

    @property
    def can(self) -> bool | None:
        """Whether both indices are enough; None without a tolerance."""
        if self.width is None or self.nearer is None:
            return None
        return min(self.width, self.nearer) >= ENOUGH


def on_master(
    readings: Sequence[int], master: Fraction, u_master: float = 0.0, tolerance: float | None = None
) -> OnMaster:
    """Hold a gauge against a master of known size.

    Args:
        readings: of the master, as whole counts, two or more, better 25.
        master: its actual size (its certificate's, not its nominal one), in counts.
        u_master: standard uncertainty of that, in counts.
        tolerance: width of the tolerance that the gauge is to judge, in counts.

    Raises:
        ValueError: fewer than two readings, or readings that do not differ while the master has no
            uncertainty either.

    >>> found = on_master([5, 6, 5, 4, 5], Fraction(5), tolerance=60)
    >>> found.bias, round(found.sd, 4), round(found.width, 2), round(found.nearer, 2)
    (0.0, 0.7071, 2.83, 2.83)
    """
    count = len(readings)
    if count < 2:
        raise ValueError(f"found {count} readings, needed: at least two, better {FEW}")
    sd = sqrt(sum_of_squares(readings) / (count - 1))
    if sd == 0 and u_master == 0:
        raise ValueError(
            "found readings that never differ, needed: some scatter (a gauge with a finer step), "
            "or the master's uncertainty"
        )
    bias = float(Fraction(sum(readings), count) - master)
    u = sqrt(sd * sd / count + u_master * u_master)
    # The scatter has count - 1 degrees of freedom, the master's certificate is not doubted.
    dof = (count - 1) * u**4 / (sd * sd / count) ** 2 if sd else float("inf")
    from scipy.special import ndtr, stdtr  # noqa: PLC0415  slow to start

    away = -abs(bias) / u
    p = 2 * float(ndtr(away) if dof == float("inf") else stdtr(dof, away))
    width = nearer = None
    if tolerance is not None:
        # A display that never flickers still has its step: a rectangle of one count.
        scatter = max(sd, 1 / sqrt(12))
        width = 0.2 * tolerance / (6 * scatter)
        nearer = (0.1 * tolerance - abs(bias)) / (3 * scatter)
    return OnMaster(bias, p, sd, width, nearer)
