"""Gauge studies: how much of what readings differ by is the gauge, the people, and the parts.

Every part is measured by every person several times, in mixed order (a crossed study). Two ways to
take it apart: by analysis of variance (`by_variance`), and by averages and ranges (`by_range`). The
first sees whether people differ more on some parts than on others, and is the better one; the
second can be done on paper and is what older customers ask for.

Source: AIAG Measurement Systems Analysis, 4th ed. (2010), chapter III section B, as held by its
published example; the model is that of two random factors crossed.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Final, Literal

from gaugelink.metrology.oneway import tail_of_f

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

Interaction = Literal["auto", "keep", "pool"]
Against = Literal["interaction", "repeatability"]

POOL_ABOVE: Final = 0.25
"""With ``auto``, an interaction whose p is above this is pooled into the repeatability. High on
purpose: taking one that is there for none is the worse mistake (from memory, no source at hand)."""


@dataclass(frozen=True, slots=True)
class Crossed:
    """A crossed study: every part, every person, as many trials of each.

    Attributes:
        parts: names of the parts, at least two.
        operators: names of the people, at least two.
        trials: readings of each part by each person, at least two.
        cells: the readings, as whole counts of one step, by part and operator.
    """

    parts: tuple[str, ...]
    operators: tuple[str, ...]
    trials: int
    cells: Mapping[tuple[str, str], Sequence[int]]


@dataclass(frozen=True, slots=True)
class Row:
    """A row of the table of variance, in squared counts.

    Attributes:
        source: ``part``, ``operator``, ``interaction`` or ``repeatability``.
        df: degrees of freedom.
        ss: sum of squares.
    """

    source: str
    df: int
    ss: Fraction

    @property
    def ms(self) -> Fraction:
        """Mean square."""
        return self.ss / self.df


@dataclass(frozen=True, slots=True)
class Tested:
    """A mean square held against another: F, and how probable so large a one is by chance."""

    f: float
    p: float


@dataclass(frozen=True, slots=True)
class Components:
    """The variances of a study, in squared counts; none below 0.

    Attributes:
        repeatability: one person, one part, again and again.
        operator: between people, over all parts.
        interaction: people who differ more on some parts than on others; 0 where it was pooled.
        part: between parts.
    """

    repeatability: Fraction
    operator: Fraction
    interaction: Fraction
    part: Fraction

    @property
    def reproducibility(self) -> Fraction:
        """Between people, the interaction included."""
        return self.operator + self.interaction

    @property
    def rr(self) -> Fraction:
        """Of measuring as a whole: repeatability and reproducibility."""
        return self.repeatability + self.reproducibility

    @property
    def total(self) -> Fraction:
        """Of measuring and parts together."""
        return self.rr + self.part


@dataclass(frozen=True, slots=True)
class Study:
    """What a study by analysis of variance came to.

    Attributes:
        rows: part, operator, interaction, repeatability.
        tested: F and p of the first three.
        pooled: whether the interaction counts as repeatability.
        against: what the parts and people were held against.
        components: the variances.
        size: parts, operators, trials.
    """

    rows: Mapping[str, Row]
    tested: Mapping[str, Tested]
    pooled: bool
    against: Against
    components: Components
    size: tuple[int, int, int]

    @property
    def error(self) -> Row:
        """The row that stands for repeatability: with the interaction in it where pooled."""
        within, both = self.rows["repeatability"], self.rows["interaction"]
        if not self.pooled:
            return within
        return Row("repeatability", within.df + both.df, within.ss + both.ss)


def distinct_categories(part_variance: float, rr_variance: float) -> int:
    """Tell how many classes of parts the gauge can tell apart: cut, not rounded.

    sqrt(2) times the standard deviation of parts over that of measuring (the book prints 1.41).
    """
    return int((2 * part_variance / rr_variance) ** 0.5)


def by_variance(
    study: Crossed, interaction: Interaction = "auto", against: Against | None = None
) -> Study:
    """Take a crossed study apart by analysis of variance.

    Args:
        study: the readings.
        interaction: keep the interaction, pool it into repeatability, or pool it where its p is
            above `POOL_ABOVE`.
        against: what parts and people are tested against while the interaction is kept:
            ``interaction`` is right for parts and people that stand for many others, and the
            default; some books take ``repeatability``. A pooled one leaves repeatability only.

    Raises:
        ValueError: readings that do not differ at all between trials.

    >>> cells = {("1", "A"): [1, 3], ("1", "B"): [2, 4], ("2", "A"): [9, 7], ("2", "B"): [10, 8]}
    >>> found = by_variance(Crossed(("1", "2"), ("A", "B"), 2, cells), "keep")
    >>> [(row.source, row.df, row.ss) for row in found.rows.values()][0]
    ('part', 1, Fraction(72, 1))
    """
    p, o, r = len(study.parts), len(study.operators), study.trials
    cells = study.cells
    in_cell = {key: sum(values) for key, values in cells.items()}
    of_part = [sum([in_cell[part, one] for one in study.operators]) for part in study.parts]
    of_operator = [sum([in_cell[part, one] for part in study.parts]) for one in study.operators]
    everything = sum(of_part)
    # All sums of squares as differences of these, over the common divisor: no rounding.
    whole = p * o * r
    mean = everything**2
    parts = p * sum([total * total for total in of_part])
    operators = o * sum([total * total for total in of_operator])
    both = p * o * sum([total * total for total in in_cell.values()])
    each = whole * sum([value * value for values in cells.values() for value in values])
    rows = {
        row.source: row
        for row in (
            Row("part", p - 1, Fraction(parts - mean, whole)),
            Row("operator", o - 1, Fraction(operators - mean, whole)),
            Row("interaction", (p - 1) * (o - 1),
                Fraction(both - parts - operators + mean, whole)),
            Row("repeatability", p * o * (r - 1), Fraction(each - both, whole)),
        )
    }  # fmt: skip
    within = rows["repeatability"]
    if within.ss == 0:
        raise ValueError(
            "found trials that never differ, needed: readings with some scatter (a gauge with a "
            "finer step, or figures that nobody copied down the column)"
        )
    tested = {"interaction": _test(rows["interaction"], within)}
    pooled = interaction == "pool" or (
        interaction == "auto" and tested["interaction"].p > POOL_ABOVE
    )
    beside = "repeatability" if pooled else (against or "interaction")
    found = Study(rows, tested, pooled, beside, _components(rows, p, o, r, pooled=pooled),
                  (p, o, r))  # fmt: skip
    below = found.error if beside == "repeatability" else rows["interaction"]
    if below.ss == 0:
        below = within  # an interaction of exactly nothing cannot stand below the line
    for source in ("part", "operator"):
        tested[source] = _test(rows[source], below)
    return found


def _test(above: Row, below: Row) -> Tested:
    # As one division of whole numbers, which is rounded once: quicker than fractions of fractions.
    a, b = above.ss, below.ss
    f = (a.numerator * b.denominator * below.df) / (a.denominator * b.numerator * above.df)
    return Tested(f, tail_of_f(f, above.df, below.df))


def _components(rows: Mapping[str, Row], p: int, o: int, r: int, *, pooled: bool) -> Components:
    """Solve the expected mean squares; a variance that comes out below 0 is none."""
    part, operator = rows["part"].ms, rows["operator"].ms
    within, both = rows["repeatability"], rows["interaction"]
    none = Fraction(0)
    if pooled:
        error = (within.ss + both.ss) / (within.df + both.df)
        return Components(
            error, max(none, (operator - error) / (p * r)), none,
            max(none, (part - error) / (o * r)),
        )  # fmt: skip
    return Components(
        within.ms, max(none, (operator - both.ms) / (p * r)), max(none, (both.ms - within.ms) / r),
        max(none, (part - both.ms) / (o * r)),
    )  # fmt: skip
