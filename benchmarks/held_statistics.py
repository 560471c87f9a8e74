"""Published values of statistics: analyses of variance, studies, charts, lines."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
from held_kit import MOST, Row, Values, as_printed, digits, worst

from gaugelink.metrology.budget import coverage_factor
from gaugelink.metrology.capability import capability
from gaugelink.metrology.charts import chart, deviation_moments
from gaugelink.metrology.counts import Counts, counts_of, sum_of_squares
from gaugelink.metrology.drift import drift
from gaugelink.metrology.oneway import OneWay, oneway
from gaugelink.metrology.study import Crossed, by_variance
from gaugelink.metrology.study_range import by_range, range_moments, single_range_factor
from gaugelink.metrology.study_small import on_master, one_person

if TYPE_CHECKING:
    from collections.abc import Iterator

LINE = (
    ("start", -0.262323073774029),
    ("slope", 1.00211681802045),
    ("u_start", 0.232818234301152),
    ("u_slope", 0.429796848199937e-3),
    ("scatter", 0.884796396144373),
)
"""NIST StRD, linear regression, Norris: the certified values."""


def by_group(table: list[dict[str, str]], group: str, value: str) -> tuple[OneWay, float]:
    """Analyse a table; also give the square of one step."""
    counts = counts_of(row[value] for row in table)
    groups: dict[str, list[int]] = {}
    for row, count in zip(table, counts.values, strict=True):
        groups.setdefault(row[group], []).append(count)
    return oneway([*groups.values()]), float(counts.step**2)


def variance(values: Values) -> Iterator[Row]:
    """Go through the analyses of variance."""
    from scipy import stats  # noqa: PLC0415  slow to start

    certified = values.json("strd_anova_certified.json")["certified"]
    for name, held in certified.items():
        table = values.rows(f"strd_anova_{name}.csv")
        group, value = table[0]
        counts = counts_of(row[value] for row in table)
        found, _ = by_group(table, group, value)
        square = counts.step**2
        pairs = [
            (float(found.ss_between * square), held["ss_between"]),
            (float(found.ss_within * square), held["ss_within"]),
            (float(found.f), held["F"]),
        ]
        yield (
            f"one-way analysis, {name}: sums of squares, F",
            "NIST StRD, certified",
            worst(pairs),
        )
    found, square = by_group(values.rows("nist_handbook_oneway_743.csv"), "level", "resistance")
    yield (
        "one-way analysis, resistors: sums of squares, F (as printed)",
        "NIST/SEMATECH e-Handbook, 7.4.3",
        min(
            as_printed(float(found.ss_between) * square, "27.897"),
            as_printed(float(found.ss_within) * square, "17.452"),
            as_printed(float(found.f), "9.59"),
        ),
    )
    levels: dict[str, list[float]] = {}
    for row in values.rows("nist_handbook_oneway_743.csv"):
        levels.setdefault(row["level"], []).append(float(row["resistance"]))
    other = stats.f_oneway(*levels.values())
    yield (
        "the same, F and p",
        "scipy, f_oneway",
        worst([(float(found.f), other.statistic), (found.p, other.pvalue)]),
    )
    held = values.json("gum_h5_anova_voltage.json")
    groups = []
    for mean, sd in zip(held["day_mean_uV_above_10V"], held["day_sd_uV"], strict=True):
        away = round(10**12 * sd * math.sqrt(2))
        groups.append([mean * 10**12 + by for by in (-away, 0, 0, 0, away)])
    found, exact = oneway(groups), held["recomputed"]
    assert found.variance_between is not None
    yield (
        "one-way analysis, ten days of a voltage: F, within, between",
        "JCGM 100:2008, H.5",
        worst(
            [
                (float(found.f), exact["F"]),
                (math.sqrt(found.ms_within) / 1e12, exact["s_pooled_uV"]),
                (math.sqrt(found.variance_between) / 1e12, exact["s_B_uV"]),
            ]
        ),
    )


def univariate(values: Values) -> Iterator[Row]:
    """Go through the certified means and standard deviations."""
    for name, held in values.json("strd_univariate_certified.json")["certified"].items():
        counts = counts_of(
            next(iter(row.values())) for row in values.rows(f"strd_univariate_{name}.csv")
        )
        size = len(counts.values)
        mean = float(Fraction(sum(counts.values), size) * counts.step)
        sd = math.sqrt(sum_of_squares(counts.values) / (size - 1) * counts.step**2)
        yield (
            f"mean and standard deviation, {name}",
            "NIST StRD, certified",
            worst([(mean, held["mean"]), (sd, held["sd_n_minus_1"])]),
        )


def lines(values: Values) -> Iterator[Row]:
    """Go through straight lines and Student's t."""
    from scipy import stats  # noqa: PLC0415  slow to start

    rows = values.rows("strd_linear_Norris.csv")
    found = drift([Fraction(row["x"]) for row in rows], [Fraction(row["y"]) for row in rows])
    yield (
        "straight line, Norris: both coefficients, their u, scatter",
        "NIST StRD, certified",
        worst((getattr(found, name), held) for name, held in LINE),
    )
    lots, pairs = np.random.default_rng(1), []
    for _ in range(50):
        xs, ys = lots.integers(0, 400, 12).tolist(), lots.integers(-30, 30, 12).tolist()
        one, other = drift(xs, ys), stats.linregress(xs, ys)
        pairs += [
            (one.slope, other.slope),
            (one.start, other.intercept),
            (one.u_slope, other.stderr),
        ]
    yield "straight lines, 50 of 12 points", "scipy, linregress", worst(pairs)
    reached, printed = MOST, MOST
    for row in values.rows("student_t_table_g2.csv"):
        dof = math.inf if row["nu"] == "inf" else float(row["nu"])
        for name, coverage in (("90", 0.9), ("95", 0.95), ("99", 0.99)):
            k = coverage_factor(dof, coverage)
            # The file has eight places: more digits than that are not there to be held.
            reached = min(reached, -math.log10(max(abs(k - float(row[f"e{name}"])), 1e-15) / k))
            if (row["nu"], name) != ("35", "90"):  # misprinted, 1.70 for 1.69
                printed = min(printed, as_printed(k, row[f"p{name}"]))
    yield "coverage factors, 84 quantiles (eight places)", "JCGM 100:2008, table G.2", reached
    yield "coverage factors, 83 quantiles (as printed)", "the same; one is a misprint", printed


def studies(values: Values) -> Iterator[Row]:
    """Go through the gauge studies."""
    sources = {
        "grr_aiag_msa4_10x3x3": "AIAG MSA, 4th ed., printed example; recomputed",
        "grr_vardeman_2x5x3": "Vardeman & VanValkenburg (1999); statsmodels",
    }
    for name, title in sources.items():
        table = values.rows(f"{name}.csv")
        study, counts = crossed(table)
        results = values.json(f"{name.rsplit('_', 1)[0]}_results.json")
        held, step = results["recomputed_anova"], float(counts.step)
        reached = MOST
        for interaction, key in (("keep", "with_interaction"), ("pool", "pooled")):
            found = by_variance(study, interaction)  # type: ignore[arg-type]
            for part, wanted in (("repeatability", "sd_EV"), ("rr", "sd_GRR"), ("part", "sd_PV")):
                sd = math.sqrt(getattr(found.components, part)) * step
                reached = min(reached, digits(sd, held[key][wanted]))
        yield f"gauge study by variance, {len(table)} readings, kept and pooled", title, reached
        exact = results.get("recomputed_average_range_exact_constants")
        if exact:
            ranged = by_range(study)
            pairs = {"repeatability": "EV", "reproducibility": "AV", "part": "PV"}
            yield (
                f"gauge study by range, {len(table)} readings",
                title,
                worst(
                    (getattr(ranged, part) * step, exact[wanted]) for part, wanted in pairs.items()
                ),
            )
        yield (
            f"gauge study by variance, {len(table)} readings: sums of squares",
            "statsmodels, least squares",
            worst(sums(table, study, step)),
        )
    yield from small_studies(values)


def crossed(table: list[dict[str, str]]) -> tuple[Crossed, Counts]:
    """Make a study of a table with three trials."""
    counts = counts_of(row["value"] for row in table)
    cells: dict[tuple[str, str], list[int]] = {}
    for row, count in zip(table, counts.values, strict=True):
        cells.setdefault((row["part"], row["operator"]), []).append(count)
    parts, people = (tuple(dict.fromkeys(row[of] for row in table)) for of in ("part", "operator"))
    return Crossed(parts, people, 3, cells), counts


def sums(table: list[dict[str, str]], study: Crossed, step: float) -> list[tuple[float, float]]:
    """Give the sums of squares of a study beside those of another program."""
    import pandas as pd  # noqa: PLC0415  development only
    from statsmodels.formula.api import ols  # noqa: PLC0415
    from statsmodels.stats.anova import anova_lm  # noqa: PLC0415

    frame = pd.DataFrame(table)
    frame["value"] = frame["value"].astype(float)
    held = anova_lm(ols("value ~ C(part) * C(operator)", data=frame).fit())["sum_sq"]
    rows = by_variance(study, "keep").rows
    return [
        (float(rows[source].ss) * step**2, held[other])
        for source, other in (
            ("part", "C(part)"),
            ("operator", "C(operator)"),
            ("interaction", "C(part):C(operator)"),
            ("repeatability", "Residual"),
        )
    ]


def small_studies(values: Values) -> Iterator[Row]:
    """Go through one person's study, and a gauge on a master."""
    from scipy import stats  # noqa: PLC0415

    groups: dict[str, list[int]] = {}
    for row in values.rows("nist_handbook_oneway_743.csv"):
        groups.setdefault(row["level"], []).append(round(float(row["resistance"]) * 10))
    found = one_person([*groups.values()])
    yield (
        "repeatability of one person, mean square (as printed)",
        "e-Handbook, 7.4.3",
        as_printed(found.repeatability**2 / 100, "1.454"),
    )
    ends = [12 / stats.chi2.ppf(one, 12) for one in (0.975, 0.025)]
    yield (
        "its interval",
        "scipy, chi-squared",
        worst(
            ((end / found.repeatability) ** 2, held)
            for end, held in zip(found.repeatability_ends, ends, strict=True)
        ),
    )
    shown = np.random.default_rng(2).integers(7998, 8005, 25).tolist()
    yield (
        "bias on a master, p",
        "scipy, t test of one sample",
        digits(
            on_master(shown, Fraction(8000)).bias_p, float(stats.ttest_1samp(shown, 8000).pvalue)
        ),
    )


def factors(values: Values) -> Iterator[Row]:
    """Go through the factors of charts and studies."""
    away = 0.0
    for row in values.rows("control_chart_constants_exact.csv"):
        size = int(row["n"])
        for one, other in zip(
            (*range_moments(size), deviation_moments(size)[0]),
            (row["d2"], row["d3"], row["c4"]),
            strict=True,
        ):
            away = max(away, abs(one - float(other)) / float(other))
    yield (
        "factors d2, d3, c4 for 2 to 25 (nine places)",
        "adaptive quadrature, gamma function",
        -math.log10(away),
    )
    reached, misses = MOST, 0
    for row in values.rows("control_chart_constants_published.csv"):
        size = int(row["n"])
        for one, other in zip(
            (*range_moments(size), deviation_moments(size)[0]),
            (row["d2"], row["d3"], row["c4"]),
            strict=True,
        ):
            if other:
                reached = min(reached, as_printed(one, other))
                misses += abs(one - float(other)) > 0.51 * 10 ** -len(other.partition(".")[2])
    yield (
        f"the same as printed, {misses} of 68 rounded otherwise there",
        "Walpole and others, table A.22",
        reached,
    )
    away = max(
        abs(1 / math.sqrt(d2 * d2 + d3 * d3 / int(row["g_ranges"])) - float(row["one_over_d2star"]))
        for row in values.rows("d2star_and_K_constants.csv")
        for d2, d3 in [range_moments(int(row["m_values_per_range"]))]
    )
    yield "factors 1/d2* for 2 to 15 readings (six places)", "formula of d2*", -math.log10(away)
    printed = {
        2: ".7071",
        3: ".5231",
        4: ".4467",
        5: ".4030",
        6: ".3742",
        7: ".3534",
        8: ".3375",
        9: ".3249",
        10: ".3146",
    }
    yield (
        "factors of people and parts (as printed)",
        "AIAG MSA, 4th ed.; from memory",
        min(as_printed(single_range_factor(size), text) for size, text in printed.items()),
    )


def charts(values: Values) -> Iterator[Row]:
    """Go through charts and capability."""
    held = values.json("imr_nist_flowrate.json")
    counts = counts_of(str(value) for value in held["data"])
    flow, step = [[value] for value in counts.values], float(counts.step)  # noqa: PD011  counts
    for rounded, mark, what in ((False, "_exact_d2", "d2 unrounded"), (True, "", "d2 as 1.128")):
        found = chart(flow, "individuals", rounded=rounded)
        yield (
            f"ten batches of a flow, {what}: limits",
            "NIST/SEMATECH e-Handbook, 6.3.2.2",
            worst(
                [
                    (found.location.upper * step, held["recomputed"][f"UCL{mark}"]),
                    (found.location.lower * step, held["recomputed"][f"LCL{mark}"]),
                ]
            ),
        )
    table = values.rows("xbar_piston_rings.csv")
    counts = counts_of(row[f"x{at}"] for row in table for at in range(1, 6))
    rings = counts.values  # noqa: PD011  counts, no table of another library
    groups = [rings[at : at + 5] for at in range(0, len(rings), 5)]
    results = values.json("xbar_piston_rings_results.json")["later_editions"]
    exact, step = results["recomputed"], float(counts.step)
    reached = MOST
    for kind, mark in (("xbar-r", "R"), ("xbar-s", "s")):
        found = chart(groups, kind)  # type: ignore[arg-type]
        reached = min(
            reached,
            worst(
                [
                    (found.location.upper * step, exact[f"{mark}_UCL_x"]),
                    (found.sigma * step, exact[f"sigma_{mark}"]),
                    (found.spread.upper * step, exact[f"{mark}_UCL"]),
                ]
            ),
        )
        if kind == "xbar-r":
            sigma, mean = found.sigma * step, found.location.center * step
    yield (
        "piston rings, means with ranges and standard deviations",
        "Montgomery, table 6.3",
        reached,
    )
    sd = math.sqrt(sum_of_squares(rings) / (len(rings) - 1)) * step
    short, long = (capability(mean, one, 100, 125, 73.95, 74.05) for one in (sigma, sd))
    indices = results["recomputed_capability_spec_73.95_74.05"]
    yield (
        "piston rings, four indices of capability",
        "the same; recomputed",
        worst(
            [
                (short.width or 0, indices["Cp"]),
                (short.nearer, indices["Cpk"]),
                (long.width or 0, indices["Pp"]),
                (long.nearer, indices["Ppk"]),
            ]
        ),
    )
    example = capability(16.0, 2.0, 49, 50, 8.0, 20.0)
    held = values.json("capability_nist_pmc16.json")["recomputed"]
    yield (
        "capability",
        "NIST/SEMATECH e-Handbook, 6.1.6",
        worst([(example.width or 0, held["Cp"]), (example.nearer, held["Cpk"])]),
    )


PARTS = (variance, univariate, lines, studies, factors, charts)
