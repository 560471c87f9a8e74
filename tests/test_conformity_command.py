"""`gaugelink conformity`, risks, and what more readings can decide."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, strategies as st

from gaugelink.metrology.conformity import (
    GUARD_FACTOR,
    probabilities_within,
    probability_lopsided,
    probability_within,
    verdict,
    verdict_lopsided,
    verdicts,
)
from gaugelink.metrology.risk import global_risks, more_readings

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from conftest import RunCli

WORDS = {"within": 1, "outside": -1, "undecided": 0}


@pytest.mark.parametrize(
    ("words", "place"),
    [
        (("--value", "509.7", "--u", "8.6", "--lower", "490"), 0),
        (("--value", "13.6", "--u", "1.8", "--lower", "12.5", "--upper", "16.3"), 1),
    ],
)
def test_probabilities_of_the_guide_are_held(
    words: tuple[str, ...], place: int, run_cli: RunCli, check_file: Callable[[str], Path]
) -> None:
    """Source: JCGM 106:2012, clause 7: 0.99 and 0.66 as printed, and recomputed."""
    held = json.loads(check_file("jcgm106_conformance_probability.json").read_text())
    example = held["examples"][place]
    status, out, _ = run_cli("conformity", *words, "--json")
    found = json.loads(out)
    assert round(found["probability"], 2) == example["published_pc"]
    assert found["probability"] == pytest.approx(example["recomputed"], rel=1e-12)
    assert (status, found["verdict"]) == ((0, "within") if place == 0 else (1, "undecided"))
    simple = json.loads(run_cli("conformity", *words, "--rule", "simple", "--json")[1])
    assert simple["verdict"] == "within"


def test_worst_risks_of_guard_bands_are_held(check_file: Callable[[str], Path]) -> None:
    """Source: ILAC-G8:09/2019, table 1: the risk at the edge of the acceptance zone, U = 2 u."""
    held = json.loads(check_file("guard_bands_iso14253_ilacg8.json").read_text())
    for rule in held["recomputed"]:
        guard = round(rule["w_over_U"] * 2 * 10**9)
        risk = 1 - probability_within(10**12 - guard, 10**9, None, 10**12)
        assert risk == pytest.approx(rule["worst_case_specific_risk"], rel=1e-6, abs=1e-15)
    assert float(GUARD_FACTOR) == pytest.approx(held["g_over_u_95"], abs=2e-4)


def test_global_risks_are_held(check_file: Callable[[str], Path]) -> None:
    """Source: a shared case computed with another quadrature (no publication)."""
    for case in json.loads(check_file("global_risk_normal_selfmade.json").read_text())["cases"]:
        found = global_risks(0.0, case["u0"], case["um"], -case["T"], case["T"])
        assert found.consumer == pytest.approx(case["RC"], rel=1e-8)
        assert found.producer == pytest.approx(case["RP"], rel=1e-8)


def test_global_risks_are_those_of_drawing_lots() -> None:
    """A million drawn parts, one limit, with a guard band; within four sigma of the count."""
    random = np.random.default_rng(20261125)
    size = random.normal(7.95, 0.01, 1_000_000)
    shown = size + random.normal(0.0, 0.002, 1_000_000)
    accepted = shown >= 7.94 + 0.003
    found = global_risks(7.95, 0.01, 0.002, 7.94, None, guard=0.003)
    for risk, count in ((found.consumer, (accepted & (size < 7.94)).mean()),
                        (found.producer, (~accepted & (size >= 7.94)).mean())):  # fmt: skip
        assert risk == pytest.approx(count, abs=4 * (risk / 1_000_000) ** 0.5 + 1e-9)


pms = st.integers(-(10**12), 10**12)
limits = st.none() | pms


@given(st.lists(pms, min_size=1, max_size=20), st.integers(0, 10**9), limits, limits)
def test_many_values_are_judged_as_one_is(
    values: list[int], u: int, lower: int | None, upper: int | None
) -> None:
    """The same words, exactly, at the limits too."""
    if lower is not None and upper is not None and lower > upper:
        lower, upper = upper, lower
    values += [end + by for end in (lower, upper) if end is not None
               for by in (0, -(-1645 * u // 1000), -(1645 * u // 1000), 1, -1)]  # fmt: skip
    found = verdicts(np.array(values), u, lower, upper)
    assert found.tolist() == [WORDS[verdict(value, u, lower, upper)] for value in values]


@given(st.lists(st.floats(-50, 50), min_size=1, max_size=20), st.floats(0.1, 20))
def test_many_probabilities_are_those_of_one(values: list[float], u: float) -> None:
    """In picometres and in numbers alike; both ways add up to one."""
    lower, upper = -10.0, 12.0
    found = probabilities_within(np.array(values), u, lower, upper)
    for value, p in zip(values, found, strict=True):
        one = probability_within(round(value * 1e9), round(u * 1e9), -(10**10), 12 * 10**9)
        assert p == pytest.approx(one, abs=1e-7)
        assert probability_lopsided(value, u, u, lower, upper) == pytest.approx(p, abs=1e-12)
    below = probabilities_within(np.array(values), u, None, lower)
    above = probabilities_within(np.array(values), u, lower, None)
    assert below + above == pytest.approx(np.ones(len(values)))


def test_lopsided_knowledge_counts_on_its_side() -> None:
    """Known badly towards more, a clearance under its limit is less sure of it."""
    sure = probability_lopsided(97.0, 3.0, 1.0, None, 100.0)
    unsure = probability_lopsided(97.0, 3.0, 6.0, None, 100.0)
    # By hand: of the upper half, erfc(3 / (6 sqrt 2)) = 0.617075 lies beyond, times 6 / 9.
    assert unsure == pytest.approx(1 - 6 / 9 * 0.6170750774519738, rel=1e-12)
    assert unsure < sure < 1


@given(st.floats(0.1, 20), st.floats(0.0, 5), st.floats(0.01, 10))
def test_so_many_readings_decide_and_one_fewer_does_not(
    away: float, steady: float, scatter: float
) -> None:
    """By the rule itself: 1.645 standard uncertainties of the mean of so many readings."""
    found = more_readings(away, steady, scatter)

    def decides(count: int, slack: float) -> bool:
        u = (steady**2 + scatter**2 / count) ** 0.5
        return bool(away >= float(GUARD_FACTOR) * u * (1 + slack))

    if found.total is None:
        assert not decides(200, 1e-9)
        assert "more readings cannot decide it" in found.words
    else:
        assert decides(found.total, -1e-9)
        assert found.total == 1 or not decides(found.total - 1, 1e-8)


def test_it_is_said_how_many_more_readings_would_decide(run_cli: RunCli) -> None:
    """Status 1 while it is undecided; the words say what to do."""
    words = ("--value", "0.097mm", "--u", "0.0034 mm", "--upper", "0.1 mm", "--repeatability",
             "0.003mm")  # fmt: skip
    status, out, _ = run_cli("conformity", *words)
    assert status == 1
    assert "undecided: the true value lies within the limits with a probability of 81.1 %" in out
    assert "more readings would decide it" in out
    inch = run_cli("conformity", "--value", "0.0970in", "--u", "0.0000001in", "--upper", "0.1in")
    assert inch[0] == 0


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--value", "1", "--u", "0.1"), "--lower: found no limit, accepted: --lower, --upper"),
        (("--value", "1", "--u", "0", "--upper", "2"), "--u: found 0, accepted: above 0"),
        (("--value", "1", "--u", "-1", "--upper", "2"), "--u"),
        (("--value", "1mm", "--u", "0.1", "--upper", "2mm"), "--u"),
        (("--value", "1", "--u", "0.1", "--upper", "2mm"), "without a unit as --value"),
        (("--value", "nan", "--u", "0.1", "--upper", "2"), "--value"),
        (("--value", "1", "--u", "1", "--lower", "3", "--upper", "2"), "--lower: found 3"),
        (("--value", "1.9", "--u", "0.1", "--upper", "2", "--repeatability", "5"),
         "--repeatability: found 5 with 1 readings"),
    ],
)  # fmt: skip
def test_a_bad_argument_is_said_in_a_sentence(
    words: tuple[str, ...], sentence: str, run_cli: RunCli
) -> None:
    """Status 2, nothing on standard output."""
    status, out, err = run_cli("conformity", *words, "--json")
    assert (status, out) == (2, "")
    assert sentence in err


def test_a_lopsided_verdict_has_95_percent_at_either_limit() -> None:
    """Own integration: the split normal distribution of the docstring, by trapezes."""
    x = np.linspace(-60.0, 60.0, 1_200_001)
    for below, above, lower, upper in ((3.0, 4.0, None, 6.0), (1.0, 6.0, -2.5, 9.0),
                                       (5.0, 1.0, -9.0, -3.0), (2.0, 2.0, 1.0, 3.4)):  # fmt: skip
        density = np.where(x < 0, np.exp(-0.5 * (x / below) ** 2), np.exp(-0.5 * (x / above) ** 2))
        density /= np.trapezoid(density, x)
        low = 0.0 if lower is None else float(np.trapezoid(density[x <= lower], x[x <= lower]))
        high = float(np.trapezoid(density[x >= upper], x[x >= upper]))
        inside = 1 - low - high
        assert probability_lopsided(0.0, below, above, lower, upper) == pytest.approx(
            inside, abs=1e-4
        )
        want = "within" if max(low, high) <= 0.05 else (
            "outside" if max(low, high) >= 0.95 else "undecided")  # fmt: skip
        assert verdict_lopsided(0.0, below, above, lower, upper) == want


@given(st.integers(-4000, 4000), st.integers(1, 900))
def test_alike_on_both_sides_a_lopsided_verdict_is_the_plain_one(value: int, u: int) -> None:
    """But for the 1.645 of the rule, which is rounded from 1.64485."""
    plain = verdict(value, u, -1000, 1000)
    away = min(abs(abs(value) - 1000) / u - 1.645, 1.645, key=abs)
    if abs(away) > 0.001:
        assert verdict_lopsided(float(value), float(u), float(u), -1000.0, 1000.0) == plain


@pytest.mark.parametrize(
    ("away", "chance"), [(10.0, 7.619853024160527e-24), (20.0, 2.7536241186062337e-89)]
)
def test_chances_far_out_keep_their_digits(away: float, chance: float) -> None:
    """Source: the tail of the normal distribution, by mpmath with 30 digits."""
    u = 10**6
    far = round(away * u)
    for value, lower, upper in (
        (-far, 0, None),
        (far, None, 0),
        (-far, 0, 10**9),
        (far, -(10**9), 0),
    ):
        assert probability_within(value, u, lower, upper) == pytest.approx(chance, rel=1e-9)
        ends = [None if end is None else float(end) for end in (lower, upper)]
        found = probability_lopsided(float(value), u, u, ends[0], ends[1])
        assert found == pytest.approx(chance, rel=1e-9)


def test_the_command_takes_another_factor_and_tells_the_risks(run_cli: RunCli) -> None:
    """Risks: JCGM 106:2012, clause 9, as `global_risks`; half of a band on one side decides."""
    words = ("conformity", "--value", "0.1mm", "--u", "0.125mm", "--lower=-1mm", "--upper", "1mm",
             "--parts-mean", "0mm", "--parts-sd", "0.5mm")  # fmt: skip
    found = json.loads(run_cli(*words, "--rule", "simple", "--json")[1])
    assert found["risks"] == pytest.approx({"consumer": 0.008006085, "producer": 0.014850884})
    guarded = json.loads(run_cli(*words, "--json")[1])
    assert guarded["risks"]["consumer"] < found["risks"]["consumer"] / 10
    assert guarded["risks"]["producer"] > found["risks"]["producer"]
    assert "0.8 % are bad and accepted, 1.5 % are good" in run_cli(*words, "--rule", "simple")[1]
    near = ("conformity", "--value", "0.9mm", "--u", "0.06mm", "--upper", "1mm")
    assert run_cli(*near)[0] == 0
    assert run_cli(*near, "--guard-factor", "2")[0] == 1
    lopsided = ("conformity", "--value", "0.9mm", "--u-below", "0.01mm", "--upper", "1mm")
    assert run_cli(*lopsided, "--u-above", "0.04mm")[0] == 0
    assert run_cli(*lopsided, "--u-above", "0.06mm")[0] == 1
    close = ("conformity", "--value", "0", "--u", "1", "--lower=-1.7", "--upper", "1.7")
    assert "the limits are close together" in run_cli(*close)[1]
    undecided = ("conformity", "--value", "0.97mm", "--u", "0.034mm", "--upper", "1mm")
    more = run_cli(*undecided, "--repeatability", "0.01mm")[1]
    assert "with a standard uncertainty of 0.018 mm or less would" in more
    inch = ("conformity", "--value", "0.97in", "--u", "0.034in", "--upper", "1in", "--json")
    found = json.loads(run_cli(*inch, "--repeatability", "0.01in")[1])
    assert found["unit"] == "in"
    assert found["more_readings"]["u_needed"] == pytest.approx(0.03 / 1.645)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--u-above", "0.1mm"), "--u-below: this argument is missing"),
        (("--u", "0.1mm", "--u-above", "0.1mm"), "--u-above: found it beside --u"),
        (("--u-below", "0mm", "--u-above", "0.1mm"), "--u-below: found 0mm, accepted: above 0"),
        (("--u", "0.1mm", "--guard-factor", "11"), "--guard-factor: found 11, accepted: 0 to 10"),
        (("--u", "0.1mm", "--guard-factor", "nan"), "--guard-factor: found 'nan'"),
        (("--u", "0.1mm", "--rule", "simple", "--guard-factor", "1"), "found it with"),
        (("--u", "0.1mm", "--parts-mean", "1mm"), "--parts-sd: this argument is missing"),
        (("--u", "0.1mm", "--parts-mean", "1mm", "--parts-sd", "0mm"), "--parts-sd: found 0mm"),
        (("--u", "1K"), "--u: found the unit 'k'"),
        ((), "--u-below: this argument is missing; --u, or"),
    ],
)  # fmt: skip
def test_what_does_not_go_together_is_said(
    words: tuple[str, ...], said: str, run_cli: RunCli
) -> None:
    """One sentence, status 2, nothing printed."""
    status, out, err = run_cli("conformity", "--value", "0.9mm", "--upper", "1mm", *words)
    assert (status, out) == (2, "")
    assert said in err
