"""How sure a study is of its variances: 95 % intervals."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.metrology.intervals import Term, interval_of_difference, interval_of_sum

if TYPE_CHECKING:
    from gaugelink.metrology.study import Study


def limits(study: Study, level: float = 0.95) -> dict[str, tuple[float, float]]:
    """Give intervals for the variances of a study.

    Few people make the interval of measuring wide: with three there are two degrees of freedom
    between them.

    Args:
        study: by analysis of variance.
        level: probability that each holds its true value.

    Returns:
        For repeatability, reproducibility, rr, part and total: lower and upper end, in squared
        counts, none below 0.
    """
    p, o, r = study.size
    error = study.error
    # While it is kept the interaction is what people's and parts' mean squares contain besides.
    between = error if study.pooled else study.rows["interaction"]
    within = Term(1.0, float(error.ms), error.df)
    operator = Term(1 / (p * r), float(study.rows["operator"].ms), study.rows["operator"].df)
    part = Term(1 / (o * r), float(study.rows["part"].ms), study.rows["part"].df)
    beside = float(between.ms)
    if study.pooled:
        reproducibility = interval_of_difference(
            [operator], Term(1 / (p * r), beside, between.df), level
        )
        rr = [operator, Term(1 - 1 / (p * r), float(error.ms), error.df)]
        total = [part, operator, Term(1 - 1 / (p * r) - 1 / (o * r), float(error.ms), error.df)]
    else:
        # People and their interaction: operator + (p - 1) interaction - p repeatability, over p r.
        above = [operator, Term((p - 1) / (p * r), beside, between.df)]
        reproducibility = interval_of_difference(
            above, Term(1 / r, float(error.ms), error.df), level
        )
        rr = [operator, Term((p - 1) / (p * r), beside, between.df),
              Term((r - 1) / r, float(error.ms), error.df)]  # fmt: skip
        total = [part, operator, Term((p * o - p - o) / (p * o * r), beside, between.df),
                 Term((r - 1) / r, float(error.ms), error.df)]  # fmt: skip
    return {
        "repeatability": interval_of_sum([within], level),
        "reproducibility": reproducibility,
        "rr": interval_of_sum(rr, level),
        "part": interval_of_difference([part], Term(1 / (o * r), beside, between.df), level),
        "total": interval_of_sum(total, level),
    }
