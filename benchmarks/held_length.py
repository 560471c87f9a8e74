"""Published values of uncertainty, conformity, springs, press fits and temperature."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np
from held_kit import MOST, Row, Values, as_printed, digits, worst

from gaugelink.metrology.budget import Quantity, budget, from_half_width
from gaugelink.metrology.conformity import GUARD_FACTOR, probability_within
from gaugelink.metrology.fits import Tube, press
from gaugelink.metrology.formula import read_formula
from gaugelink.metrology.montecarlo import draw
from gaugelink.metrology.risk import global_risks
from gaugelink.metrology.springs import from_rate, from_table, rate_from_shape, solid_height
from gaugelink.metrology.temperature import at_twenty, stated

if TYPE_CHECKING:
    from collections.abc import Iterator


def uncertainty(values: Values) -> Iterator[Row]:
    """Go through the Guide's examples, and budgets of other programs."""
    held = values.json("gum_h1_end_gauge.json")["recomputed"]
    names = ["ls", "d", "d1", "d2", "alpha_s", "dalpha", "dtheta", "thetabar", "Delta"]
    inputs = [
        Quantity("ls", 50000623.0, 25.0, 18),
        Quantity("d", 215.0, 5.8, 24),
        Quantity("d1", 0.0, 3.9, 5),
        Quantity("d2", 0.0, 6.7, 8),
        from_half_width("alpha_s", 11.5e-6, 2e-6, "rectangular"),
        from_half_width("dalpha", 0.0, 1e-6, "rectangular", 50),
        from_half_width("dtheta", 0.0, 0.05, "rectangular", 2),
        Quantity("thetabar", -0.1, 0.2),
        from_half_width("Delta", 0.0, 0.5, "u-shaped"),
    ]
    model = read_formula(
        "ls + d + d1 + d2 - ls*(dalpha*(thetabar + Delta) + alpha_s*dtheta)", names
    )
    found = budget(model, inputs)
    assert found.u_second is not None
    pairs = (
        (found.u, held["uc_nm"]),
        (found.dof, held["dof"]),
        (found.expanded(0.99), held["U99_nm"]),
        (found.u_second, held["uc_with_second_order_nm"]),
    )
    yield (
        "end gauge: u, degrees of freedom, U, second order",
        "JCGM 100:2008, H.1; GTC",
        worst(pairs),
    )
    resistors = [f"r{at}" for at in range(10)]
    every = {(a, b): 1.0 for at, a in enumerate(resistors) for b in resistors[at + 1 :]}
    found = budget(
        read_formula(" + ".join(resistors), resistors),
        [Quantity(name, 1000.0, 0.1) for name in resistors],
        every,
    )
    yield "ten resistors, fully correlated", "JCGM 100:2008, 5.2.2", digits(found.u, 1.0)
    yield from other_programs()
    yield from by_drawing(values)


def other_programs() -> Iterator[Row]:
    """Draw up the same budgets with two other programs."""
    import GTC as gtc  # noqa: N811, PLC0415  development only
    from uncertainties import ufloat, umath  # noqa: PLC0415

    lots = np.random.default_rng(1)
    one, other = [], []
    model = read_formula("a * b / sqrt(c) + exp(a / 10) * b**2", ["a", "b", "c"])
    for _ in range(100):
        rows = [
            (
                float(lots.uniform(0.5, 5)),
                float(lots.uniform(0.001, 0.1)),
                int(lots.integers(2, 60)),
            )
            for _ in range(3)
        ]
        found = budget(model, [Quantity(name, *row) for name, row in zip("abc", rows, strict=True)])
        a, b, c = (gtc.ureal(*row) for row in rows)
        held = a * b / gtc.sqrt(c) + gtc.exp(a / 10) * b**2
        one += [(found.value, held.x), (found.u, held.u), (found.dof, held.df)]
        x, y, z = (ufloat(value, u) for value, u, _ in rows)
        same = x * y / umath.sqrt(z) + umath.exp(x / 10) * y**2
        other += [(found.value, same.nominal_value), (found.u, same.std_dev)]
    yield "100 budgets of three inputs: result, u, degrees of freedom", "GTC", worst(one)
    yield "the same: result, u", "uncertainties", worst(other)


def by_drawing(values: Values) -> Iterator[Row]:
    """Go through the examples of drawing lots."""
    names = ["a", "b", "c", "d"]
    model, reached = read_formula("a + b + c + d", names), MOST
    for case, held in enumerate(values.json("jcgm101_9_2_additive.json")["cases"]):
        shape = "rectangular" if case else "normal"
        inputs = [
            Quantity(name, 0.0, size, distribution=shape)  # type: ignore[arg-type]
            for name, size in zip(names, (1.0, 1.0, 1.0, (1.0, 1.0, 10.0)[case]), strict=True)
        ]
        found = draw(model, inputs, trials=400_000)
        low, high = found.symmetric
        reached = min(
            reached,
            worst([((high - low) / 2, held["exact"]["half"]), (found.u, held["exact"]["u"])]),
        )
    yield (
        "sums of four, three cases: u, half of the interval (drawn)",
        "JCGM 101:2008, 9.2",
        reached,
    )
    held = values.json("jcgm101_9_5_gauge_block.json")["recomputed"]
    found = draw(*gauge_block(), trials=400_000, coverage=0.99)
    yield (
        "gauge block: length, u, interval (drawn)",
        "JCGM 101:2008, 9.5",
        worst(
            [
                (found.value, held["mean"]),
                (found.u, held["u"]),
                *zip(found.symmetric, held["sym99"], strict=True),
            ]
        ),
    )


def gauge_block() -> tuple[Any, list[Quantity]]:
    """Give the model of JCGM 101:2008, 9.5, and its inputs."""

    def trapezoid(name: str, half: float, inexact: float) -> Quantity:
        u = math.sqrt(half**2 / 3 + inexact**2 / 9)
        return Quantity(name, 0.0, u, distribution="rectangular", inexact=inexact)

    inputs = [
        Quantity("Ls", 50000623.0, 25.0, 18),
        Quantity("D", 215.0, 6.0, 24),
        Quantity("d1", 0.0, 4.0, 5),
        Quantity("d2", 0.0, 7.0, 8),
        from_half_width("alpha_s", 11.5e-6, 2e-6, "rectangular"),
        Quantity("theta0", -0.1, 0.2),
        from_half_width("Delta", 0.0, 0.5, "u-shaped"),
        trapezoid("dalpha", 1e-6, 0.1e-6),
        trapezoid("dtheta", 0.05, 0.025),
    ]
    model = read_formula(
        "(Ls*(1 + alpha_s*(theta0 + Delta - dtheta)) + D + d1 + d2)"
        " / (1 + (alpha_s + dalpha)*(theta0 + Delta)) - 50000000",
        [one.name for one in inputs],
    )
    return model, inputs


def conformity(values: Values) -> Iterator[Row]:
    """Go through probabilities and risks."""
    from scipy.stats import norm  # noqa: PLC0415

    first, second = values.json("jcgm106_conformance_probability.json")["examples"]
    unit = 10**9
    yield (
        "probability of conformance, two examples",
        "JCGM 106:2012, clause 7",
        worst(
            (
                (
                    probability_within(5097 * unit, 86 * unit, 4900 * unit, None),
                    first["recomputed"],
                ),
                (
                    probability_within(136 * unit, 18 * unit, 125 * unit, 163 * unit),
                    second["recomputed"],
                ),
            )
        ),
    )
    held = values.json("guard_bands_iso14253_ilacg8.json")
    pairs = []
    for rule in held["recomputed"]:
        guard = round(rule["w_over_U"] * 2 * unit)
        # What is lost by taking it off 1 is the smallest risk's own, 1e-9.
        pairs.append(
            (
                1 - probability_within(1000 * unit - guard, unit, None, 1000 * unit),
                rule["worst_case_specific_risk"],
            )
        )
    yield (
        "risk behind a guard band, six rules",
        "ILAC-G8:09/2019, table 1; ISO 14253-1:2017",
        worst(pairs),
    )
    yield (
        "the guarded rule's factor 1.645 (as printed)",
        "the normal distribution",
        as_printed(float(norm.ppf(0.95)), str(float(GUARD_FACTOR))),
    )
    reached = MOST
    for case in values.json("global_risk_normal_selfmade.json")["cases"]:
        found = global_risks(0.0, case["u0"], case["um"], -case["T"], case["T"])
        reached = min(reached, worst([(found.consumer, case["RC"]), (found.producer, case["RP"])]))
    yield (
        "consumer's and producer's risk, four cases",
        "another quadrature, unpublished",
        reached,
    )


def parts(values: Values) -> Iterator[Row]:
    """Go through springs, press fits and temperature."""
    held = values.json("spring_norton_me360.json")
    size = {key: Fraction(str(value)) for key, value in held["inputs"].items()}
    rate = rate_from_shape(size["d_in"], size["D_in"], size["Na"], size["G_psi"])
    yield (
        "spring rate",
        "a course's solution on Norton's tables",
        digits(float(rate), held["recomputed"]["k"]),
    )
    held = values.json("spring_shigley_10_1.json")
    size = {key: Fraction(str(value)) for key, value in held["inputs"].items()}
    wire, exact = size["d_in"], held["recomputed"]
    rate = rate_from_shape(wire, size["OD_in"] - wire, size["active_turns"], size["G_psi"])
    solid = solid_height(wire, size["total_turns"], "squared")
    load = from_rate(rate, Fraction(exact["L0"])).load(solid)
    yield (
        "spring rate, solid height, load at it",
        "Shigley, example 10-1; recomputed",
        worst([(float(rate), exact["k"]), (float(solid), exact["Ls"]), (float(load), exact["F"])]),
    )
    rounded = rate_from_shape(wire, Fraction("0.4"), size["active_turns"], size["G_psi"])
    yield (
        "the same rate, D rounded as there (as printed)",
        "Shigley, example 10-1",
        as_printed(float(rounded), "4.13"),
    )
    springs: dict[str, list[dict[str, str]]] = {}
    for row in values.rows("tm_9-2815-220-24_valve_springs.csv"):
        springs.setdefault(row["spring"], []).append(row)
    pairs = []
    for rows in springs.values():
        one = from_table([(Fraction(row["length_mm"]), Fraction(row["load_lb"])) for row in rows])
        pairs += [
            (float(one.load(Fraction(row["length_mm"]))) * 0.454, float(row["load_kg_printed"]))
            for row in rows
        ]
    yield (
        "three springs of a nest at two lengths, kilograms with 0.454 (three places)",
        "US Army TM 9-2815-220-24",
        worst(pairs),
    )
    iron, alloy = (
        Tube(Fraction(110_000), Fraction("0.26")),
        Tube(Fraction(71_000), Fraction("0.33")),
    )
    found = press(Fraction("0.040"), Fraction(8), Fraction(14), Fraction(28), iron, alloy)
    p, r, joint, ro = float(found.pressure), 4.0, 7.0, 14.0
    inward = p * joint / 110_000 * ((joint**2 + r**2) / (joint**2 - r**2) - 0.26)
    outward = p * joint / 71_000 * ((ro**2 + joint**2) / (ro**2 - joint**2) + 0.33)
    alike = press(Fraction("0.040"), Fraction(8), Fraction(14), Fraction(28), iron, iron)
    short = (
        110_000 * 0.02 / (2 * joint**3) * (ro**2 - joint**2) * (joint**2 - r**2) / (ro**2 - r**2)
    )
    yield (
        "press fit: what gives way at the joint",
        "Lame's displacements",
        digits(2 * (inward + outward), 0.040),
    )
    yield (
        "press fit: pressure, one material",
        "Shigley, eq. 3-57; from memory",
        digits(float(alike.pressure), short),
    )
    steel = stated(Fraction("11.5e-6"))
    warm = at_twenty(
        100 * 10**9, part=steel, part_c=Fraction(21), gauge=steel, gauge_c=Fraction(20)
    )
    (grows,) = (
        row["value_um"]
        for row in values.json("length_basics.json")["facts"]
        if row["fact"].startswith("100 mm steel")
    )
    yield (
        "100 mm of steel, 1 K (as printed)",
        "ISO 1, ISO 3650:1998; first order",
        as_printed(-float(warm.correction_pm) / 1e6, str(grows)),
    )


PARTS = (uncertainty, conformity, parts)
