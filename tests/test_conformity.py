"""Verdicts and probabilities agree with the standards' printed figures and with one another."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from gaugelink.metrology.conformity import GUARD_FACTOR, RULE, probability_within, verdict
from gaugelink.metrology.risk import global_risks

if TYPE_CHECKING:
    from collections.abc import Callable

UM = 10**6

lengths = st.integers(-(10**11), 10**11)
Band = tuple[int | None, int | None]
bands: st.SearchStrategy[Band] = st.one_of(
    st.just((None, None)),
    lengths.map(lambda lower: (lower, None)),
    lengths.map(lambda upper: (None, upper)),
    st.tuples(lengths, lengths).map(lambda ends: (min(ends), max(ends))),
)
uncertainties = st.integers(1, 10**8)


@pytest.mark.parametrize(
    ("value", "u", "lower", "upper", "printed", "computed"),
    [
        # JCGM 106:2012, clause 7: burst strength of containers, at least 490 kPa; printed 0.99.
        ("509.7", "8.6", "490", None, "0.99", 0.9890095473848222),
        # JCGM 106:2012, clause 7: viscosity, 12.5 to 16.3 mm2/s; printed 0.66.
        ("13.6", "1.8", "12.5", "16.3", "0.66", 0.6626297864953079),
    ],
)
def test_the_probability_of_conformance_is_that_of_the_guide(
    value: str, u: str, lower: str | None, upper: str | None, printed: str, computed: float
) -> None:
    """The quantities are not lengths; only the numbers matter."""
    scaled = [None if item is None else int(Fraction(item) * 10**9) for item in (lower, upper)]
    found = probability_within(int(Fraction(value) * 10**9), int(Fraction(u) * 10**9), *scaled)
    assert f"{found:.2f}" == printed
    assert found == pytest.approx(computed, rel=1e-12)


def test_the_carried_figures_are_those_of_the_check_file(check_json: Callable[[str], Any]) -> None:
    examples = check_json("jcgm106_conformance_probability.json")["examples"]
    assert [(item["published_pc"], item["recomputed"]) for item in examples] == [
        (0.99, 0.9890095473848222),
        (0.66, 0.6626297864953079),
    ]


@pytest.mark.parametrize(
    ("u_units", "bound", "risk"),
    [
        # ILAC-G8:09/2019, Table 1: guard bands in standard uncertainties (U = 2 u), the printed
        # upper bound of the risk, and the risk recomputed.
        (Fraction(6), 1e-6, 9.865876450376946e-10),  # 6 sigma rule
        (Fraction(3), 0.0016, 0.0013498980316300933),  # 3 sigma rule
        (Fraction(2), 0.025, 0.022750131948179195),  # guard band equal to U
        (Fraction("1.66"), 0.05, 0.04845722626672282),  # ISO 14253-1:2017, w = 0.83 U
        (Fraction(0), 0.5, 0.5),  # simple acceptance
        (Fraction(-2), 1.0, 0.9772498680518208),  # uncritical
    ],
)
def test_the_risk_behind_a_guard_band_is_the_tabulated_one(
    u_units: Fraction, bound: float, risk: float
) -> None:
    u_pm = 1_900_000
    value = 10**9 - u_units * u_pm
    found = 1 - probability_within(value, u_pm, None, 10**9)
    assert found == pytest.approx(risk, rel=1e-6)
    assert found <= bound


def test_the_guard_band_is_that_of_iso_14253_1_2017() -> None:
    """Default rule: 1.645 u to one side, 95 % (exactly 1.6448536...); older editions took 2 u."""
    assert Fraction("1.645") == GUARD_FACTOR
    assert norm.cdf(float(GUARD_FACTOR)) == pytest.approx(0.95, abs=2e-5)
    assert "ISO 14253-1:2017" in RULE
    assert "1.645" in RULE


@pytest.mark.parametrize(
    ("um", "wrong_percent"),
    # A limit of 100 um at u = 3.4 um (computed for the trade notes of this project).
    [("97", "19"), ("103", "19"), ("94", "4"), ("106", "4")],
)
def test_near_the_limit_this_share_of_readings_is_on_the_other_side(
    um: str, wrong_percent: str
) -> None:
    inside = probability_within(int(um) * UM, 3_400_000, None, 100 * UM)
    wrong = 1 - inside if int(um) < 100 else inside
    assert f"{100 * wrong:.0f}" == wrong_percent


@pytest.mark.parametrize(
    ("um", "word"),
    [
        # 1.645 x 3.4 um = 5.593 um to either side of the limit of 100 um.
        ("94.407", "within"),
        ("94.408", "undecided"),
        ("97", "undecided"),
        ("100", "undecided"),
        ("103", "undecided"),
        ("105.592", "undecided"),
        ("105.593", "outside"),
    ],
)
def test_between_the_guard_bands_nothing_is_decided(um: str, word: str) -> None:
    value = Fraction(um) * UM
    assert verdict(value, 3_400_000, None, 100 * UM) == word
    assert verdict(-value, 3_400_000, -100 * UM, None) == word


@given(lengths, bands)
def test_without_an_uncertainty_the_comparison_is_exact_and_the_limit_itself_within(
    value: int, band: Band
) -> None:
    lower, upper = band
    want = (lower is None or lower <= value) and (upper is None or value <= upper)
    for u_pm in (None, 0):
        assert verdict(value, u_pm, lower, upper) == ("within" if want else "outside")
    for limit in (lower, upper):
        if limit is not None:
            assert verdict(limit, None, lower, upper) == "within"
    if upper is not None:
        assert verdict(Fraction(3 * upper + 1, 3), None, None, upper) == "outside"


@given(lengths, uncertainties, bands)
def test_a_verdict_does_not_contradict_its_probability(value: int, u_pm: int, band: Band) -> None:
    lower, upper = band
    word = verdict(value, u_pm, lower, upper)
    inside = probability_within(value, u_pm, lower, upper)
    sides = (lower is not None) + (upper is not None)
    assert 0 <= inside <= 1
    if word == "within":
        assert inside >= 1 - 0.05 * sides
    elif word == "outside":
        assert inside <= 0.05
    else:
        assert sides


@given(lengths, uncertainties, bands, lengths)
def test_a_verdict_is_the_same_from_both_ends_of_the_scale_and_wherever_its_zero_is(
    value: int, u_pm: int, band: Band, shift: int
) -> None:
    lower, upper = band
    word = verdict(value, u_pm, lower, upper)
    moved = [None if item is None else item + shift for item in (lower, upper)]
    assert verdict(value + shift, u_pm, moved[0], moved[1]) == word
    turned = [None if item is None else -item for item in (upper, lower)]
    assert verdict(-value, u_pm, turned[0], turned[1]) == word


@given(st.integers(-(10**8), 10**8), uncertainties, st.integers(0, 10**8), st.integers(0, 10**8))
def test_the_probability_is_that_of_the_normal_distribution(
    value: int, u_pm: int, below: int, above: int
) -> None:
    """Another implementation (scipy) is the other side."""
    lower, upper = value - below, value + above
    want = norm.cdf(above / u_pm) - norm.cdf(-below / u_pm)
    assert probability_within(value, u_pm, lower, upper) == pytest.approx(want, abs=1e-12)
    assert probability_within(value, u_pm, None, None) == 1.0


@pytest.mark.parametrize("u_pm", [0, -1])
def test_a_probability_needs_an_uncertainty(u_pm: int) -> None:
    with pytest.raises(ValueError, match="needed: more than 0"):
        probability_within(0, u_pm, None, 1)


def test_a_band_narrower_than_its_guard_bands_accepts_nothing() -> None:
    """The middle of a band of 6 um at u = 3.4 um is as good as a value can be, and undecided."""
    assert verdict(0, 3_400_000, -3 * UM, 3 * UM) == "undecided"


@pytest.mark.parametrize(
    ("u", "lower", "upper", "guard"),
    [
        (1e-5, None, 1.0, 1.645e-5),
        (1e-4, -1.0, 1.0, 0.0),
        (0.3, -1.0, 1.0, 1.2),
        (5.0, -1.0, 1.0, 0.0),
    ],
)
def test_risks_hold_for_gauges_however_fine(
    u: float, lower: float | None, upper: float | None, guard: float
) -> None:
    """Another quadrature (QUADPACK), cut where the chance of acceptance turns."""

    def accepted(size: float) -> float:
        top = 1.0 if upper is None else norm.cdf((upper - guard - size) / u)
        bottom = 0.0 if lower is None else norm.cdf((lower + guard - size) / u)
        return max(0.0, float(top - bottom))

    def over(start: float, stop: float, *, good: bool) -> float:
        ends = [end for limit in (lower, upper) if limit is not None
                for side in (-guard, guard) for step in (-8, -4, 0, 4, 8)
                if start < (end := limit + side + step * u) < stop]  # fmt: skip
        edges = [start, *sorted(ends), stop]
        return float(sum(
            quad(lambda x: norm.pdf(x) * (1 - accepted(x) if good else accepted(x)), a, b,
                 epsabs=0, epsrel=1e-10, limit=200)[0]
            for a, b in pairwise(edges)
        ))  # fmt: skip

    found = global_risks(0.0, 1.0, u, lower, upper, guard)
    bad = (over(upper, 9.0, good=False) if upper is not None else 0.0) + (
        over(-9.0, lower, good=False) if lower is not None else 0.0)  # fmt: skip
    good = over(-9.0 if lower is None else lower, 9.0 if upper is None else upper, good=True)
    assert found.consumer == pytest.approx(bad, rel=1e-8, abs=1e-15)
    assert found.producer == pytest.approx(good, rel=1e-8, abs=1e-15)
