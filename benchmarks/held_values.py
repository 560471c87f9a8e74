"""Print which published values are held, and to how many digits.

    python benchmarks/held_values.py [FOLDER]

FOLDER holds the published values (default: ../shared/checks, seen from the project's folder). The
table is the one in docs/calculations.md.
"""

from __future__ import annotations

import csv
import json
import math
import sys
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gaugelink.metrology.budget import Quantity, budget, coverage_factor, from_half_width
from gaugelink.metrology.capability import capability
from gaugelink.metrology.charts import chart, deviation_moments
from gaugelink.metrology.conformity import probability_within
from gaugelink.metrology.counts import counts_of, sum_of_squares
from gaugelink.metrology.fits import fit, permitted
from gaugelink.metrology.flatness import least_squares, minimum_zone
from gaugelink.metrology.formula import read_formula
from gaugelink.metrology.oneway import oneway
from gaugelink.metrology.risk import global_risks
from gaugelink.metrology.springs import rate_from_shape
from gaugelink.metrology.study import Crossed, by_variance
from gaugelink.metrology.study_range import by_range, range_moments

if TYPE_CHECKING:
    from collections.abc import Iterator

MOST = 15.0
FOLDER = Path(__file__).resolve().parents[2] / "shared" / "checks"

P7 = ((6, -24, -9), (10, -29, -11), (18, -35, -14), (30, -42, -17), (50, -51, -21), (80, -59, -24),
      (120, -68, -28), (180, -79, -33), (250, -88, -36))  # fmt: skip
"""Over which size, lower, upper: "Housing tolerances and resultant fits", germany-bearing.com."""


def digits(found: float, held: float) -> float:
    """Count the significant digits that agree; as many as a double holds at most."""
    if found == held:
        return MOST
    return min(MOST, -math.log10(abs(found - held) / (abs(held) or 1.0)))


class Values:
    """The folder of published values."""

    def __init__(self, folder: Path) -> None:
        """Take the folder."""
        self.folder = folder

    def rows(self, name: str) -> list[dict[str, str]]:
        """Read a CSV file."""
        lines = (self.folder / name).read_text(encoding="utf-8").splitlines()
        return [*csv.DictReader(line for line in lines if not line.startswith("#"))]

    def json(self, name: str) -> Any:
        """Read a JSON file."""
        return json.loads((self.folder / name).read_text(encoding="utf-8"))


Row = tuple[str, str, float]
"""What, where from, and digits."""


def variance(values: Values) -> Iterator[Row]:
    """Go through the certified analyses of variance."""
    certified = values.json("strd_anova_certified.json")["certified"]
    for name, held in certified.items():
        table = values.rows(f"strd_anova_{name}.csv")
        group, value = table[0]
        counts = counts_of(row[value] for row in table)
        groups: dict[str, list[int]] = {}
        for row, count in zip(table, counts.values, strict=True):
            groups.setdefault(row[group], []).append(count)
        found = oneway([*groups.values()])
        square = counts.step**2
        pairs = (
            (float(found.ss_between * square), held["ss_between"]),
            (float(found.ss_within * square), held["ss_within"]),
            (float(found.f), held["F"]),
        )
        yield (f"one-way analysis, {name}: sums of squares, F", "NIST StRD, certified",
               min(digits(one, float(other)) for one, other in pairs))  # fmt: skip


def univariate(values: Values) -> Iterator[Row]:
    """Go through the certified means and standard deviations."""
    for name, held in values.json("strd_univariate_certified.json")["certified"].items():
        counts = counts_of(
            next(iter(row.values())) for row in values.rows(f"strd_univariate_{name}.csv")
        )
        size = len(counts.values)
        mean = float(Fraction(sum(counts.values), size) * counts.step)
        sd = math.sqrt(sum_of_squares(counts.values) / (size - 1) * counts.step**2)
        reached = min(digits(mean, float(held["mean"])), digits(sd, float(held["sd_n_minus_1"])))
        yield f"mean and standard deviation, {name}", "NIST StRD, certified", reached


def uncertainty(values: Values) -> Iterator[Row]:
    """Go through the Guide's examples."""
    held = values.json("gum_h1_end_gauge.json")["recomputed"]
    names = ["ls", "d", "d1", "d2", "alpha_s", "dalpha", "dtheta", "thetabar", "Delta"]
    inputs = [
        Quantity("ls", 50000623.0, 25.0, 18), Quantity("d", 215.0, 5.8, 24),
        Quantity("d1", 0.0, 3.9, 5), Quantity("d2", 0.0, 6.7, 8),
        from_half_width("alpha_s", 11.5e-6, 2e-6, "rectangular"),
        from_half_width("dalpha", 0.0, 1e-6, "rectangular", 50),
        from_half_width("dtheta", 0.0, 0.05, "rectangular", 2),
        Quantity("thetabar", -0.1, 0.2), from_half_width("Delta", 0.0, 0.5, "u-shaped"),
    ]  # fmt: skip
    model = read_formula(
        "ls + d + d1 + d2 - ls*(dalpha*(thetabar + Delta) + alpha_s*dtheta)", names
    )
    found = budget(model, inputs)
    assert found.u_second is not None
    pairs = (
        (found.u, held["uc_nm"]), (found.dof, held["dof"]),
        (found.expanded(0.99), held["U99_nm"]), (found.u_second, held["uc_with_second_order_nm"]),
    )  # fmt: skip
    yield ("end gauge: u, degrees of freedom, U, second order", "JCGM 100:2008, H.1; GTC",
           min(digits(one, other) for one, other in pairs))  # fmt: skip
    resistors = [f"r{at}" for at in range(10)]
    every = {(a, b): 1.0 for at, a in enumerate(resistors) for b in resistors[at + 1 :]}
    found = budget(read_formula(" + ".join(resistors), resistors),
                   [Quantity(name, 1000.0, 0.1) for name in resistors], every)  # fmt: skip
    yield "ten resistors, fully correlated", "JCGM 100:2008, 5.2.2", digits(found.u, 1.0)
    reached = MOST
    for row in values.rows("student_t_table_g2.csv"):
        dof = math.inf if row["nu"] == "inf" else float(row["nu"])
        for name, coverage in (("e90", 0.9), ("e95", 0.95), ("e99", 0.99)):
            # The file has eight places: more digits than that are not there to be held.
            away = abs(coverage_factor(dof, coverage) - float(row[name]))
            reached = min(reached, -math.log10(max(away, 1e-15) / float(row[name])))
    yield "coverage factors, 84 quantiles (eight places)", "JCGM 100:2008, table G.2", reached


def conformity(values: Values) -> Iterator[Row]:
    """Go through probabilities and risks."""
    first, second = values.json("jcgm106_conformance_probability.json")["examples"]
    unit = 10**9
    pairs = (
        (probability_within(5097 * unit, 86 * unit, 4900 * unit, None), first["recomputed"]),
        (probability_within(136 * unit, 18 * unit, 125 * unit, 163 * unit), second["recomputed"]),
    )
    yield ("probability of conformance, two examples", "JCGM 106:2012, clause 7",
           min(digits(one, other) for one, other in pairs))  # fmt: skip
    reached = MOST
    for case in values.json("global_risk_normal_selfmade.json")["cases"]:
        found = global_risks(0.0, case["u0"], case["um"], -case["T"], case["T"])
        reached = min(reached, digits(found.consumer, case["RC"]),
                      digits(found.producer, case["RP"]))  # fmt: skip
    yield (
        "consumer's and producer's risk, four cases",
        "another quadrature, unpublished",
        reached,
    )


def studies(values: Values) -> Iterator[Row]:
    """Go through the gauge studies."""
    sources = {
        "grr_aiag_msa4_10x3x3": "AIAG MSA, 4th ed., printed example; recomputed",
        "grr_vardeman_2x5x3": "Vardeman & VanValkenburg (1999); statsmodels",
    }
    for name, title in sources.items():
        table = values.rows(f"{name}.csv")
        counts = counts_of(row["value"] for row in table)
        cells: dict[tuple[str, str], list[int]] = {}
        for row, count in zip(table, counts.values, strict=True):
            cells.setdefault((row["part"], row["operator"]), []).append(count)
        parts, people = (tuple(dict.fromkeys(row[of] for row in table))
                         for of in ("part", "operator"))  # fmt: skip
        study = Crossed(parts, people, 3, cells)
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
            reached = min(digits(getattr(ranged, part) * step, exact[wanted])
                          for part, wanted in pairs.items())  # fmt: skip
            yield f"gauge study by range, {len(table)} readings", title, reached


def charts(values: Values) -> Iterator[Row]:
    """Go through charts and their factors."""
    away = 0.0
    for row in values.rows("control_chart_constants_exact.csv"):
        size = int(row["n"])
        for one, other in zip((*range_moments(size), deviation_moments(size)[0]),
                              (row["d2"], row["d3"], row["c4"]), strict=True):  # fmt: skip
            away = max(away, abs(one - float(other)) / float(other))
    yield ("factors d2, d3, c4 for 2 to 25 (nine places)", "adaptive quadrature, gamma function",
           -math.log10(away))  # fmt: skip
    table = values.rows("xbar_piston_rings.csv")
    counts = counts_of(row[f"x{at}"] for row in table for at in range(1, 6))
    groups = [counts.values[at : at + 5] for at in range(0, len(counts.values), 5)]
    results = values.json("xbar_piston_rings_results.json")["later_editions"]
    held, step = results["recomputed"], float(counts.step)
    reached = MOST
    for kind, mark in (("xbar-r", "R"), ("xbar-s", "s")):
        found = chart(groups, kind)  # type: ignore[arg-type]
        for one, wanted in ((found.location.upper, f"{mark}_UCL_x"), (found.sigma, f"sigma_{mark}"),
                            (found.spread.upper, f"{mark}_UCL")):  # fmt: skip
            reached = min(reached, digits(one * step, held[wanted]))
    yield (
        "piston rings, means with ranges and standard deviations",
        "Montgomery, table 6.3",
        reached,
    )
    example = capability(16.0, 2.0, 49, 50, 8.0, 20.0)
    yield "capability", "NIST/SEMATECH e-Handbook, 6.1.6", digits(example.nearer, 2 / 3)


def form(values: Values) -> Iterator[Row]:
    """Go through faces, springs and fits."""
    solids = {"tetrahedron": 0.5**0.5, "cube": 1.0, "octahedron": (2 / 3) ** 0.5}
    reached = MOST
    for name, width in solids.items():
        points, step = _points(values.rows(f"flatness_solid_{name}.csv"))
        reached = min(reached, digits(minimum_zone(points).width * step, width))
    yield "minimum zone: tetrahedron, cube, octahedron in any pose", "textbook geometry", reached
    reached = MOST
    for kind, zone, squares in (("3-1", 0.040999975, 0.043268734),
                                ("2-2", 0.027500016, 0.031324521)):  # fmt: skip
        points, step = _points(values.rows(f"flatness_deck_35pt_{kind}.csv"))
        reached = min(reached, digits(minimum_zone(points).width * step, zone),
                      digits(least_squares(points) * step, squares))  # fmt: skip
    yield ("minimum zone and least squares, two built faces (nine places)",
           "ISO 1101, ISO/TS 12781-1: by the contact criteria", reached)  # fmt: skip
    held = values.json("spring_norton_me360.json")
    size = {key: Fraction(str(value)) for key, value in held["inputs"].items()}
    rate = rate_from_shape(size["d_in"], size["D_in"], size["Na"], size["G_psi"])
    yield "spring rate", "a course's solution on Norton's tables", digits(
        float(rate), held["recomputed"]["k"])  # fmt: skip
    reached = MOST
    for row in values.rows("iso286_h7_g6_3_to_18mm.csv"):
        found = fit(int(row["upto_mm"]) * 10**9, "H7/g6")
        reached = min(reached, digits(found.least_pm, int(row["min_clearance"]) * 1e6),
                      digits(found.most_pm, int(row["max_clearance"]) * 1e6))  # fmt: skip
    yield "clearances of H7/g6, three steps", "ISO 286-2", reached
    reached = MOST
    for over, lower, upper in P7:
        hole = permitted(over * 10**9 + 1, "P7")
        reached = min(reached, digits(hole.lower_pm, lower * 1e6),
                      digits(hole.upper_pm, upper * 1e6))  # fmt: skip
    yield "limit deviations of P7, nine steps", "a bearing catalogue's table of ISO 286-2", reached


def _points(rows: list[dict[str, str]]) -> tuple[list[tuple[int, int, int]], float]:
    """Give points as whole counts of the finest decimal place, and the size of one."""
    counts = counts_of(row[axis] for row in rows for axis in ("x", "y", "z"))
    flat = counts.values
    points = [(flat[at], flat[at + 1], flat[at + 2]) for at in range(0, len(flat), 3)]
    return points, float(counts.step)


def main() -> None:
    """Print the table."""
    values = Values(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
    print("| what | source | digits |\n|---|---|---|")
    for part in (variance, univariate, uncertainty, conformity, studies, charts, form):
        for what, source, reached in part(values):
            print(f"| {what} | {source} | {math.floor(reached + 1e-9)} |")


if __name__ == "__main__":
    main()
