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
