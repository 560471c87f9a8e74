"""What is undecided is told what would decide it: more readings, another gauge, or nothing."""

from __future__ import annotations

import json
from math import sqrt
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import assume, given, strategies as st
from test_attribution import BORE, DIRECT, ROCK, STEM, TITLE, UM, bore, rock, stem

from gaugelink.judging import Measured, judge
from gaugelink.metrology.conformity import verdict
from gaugelink.metrology.rock import clearance
from gaugelink.planning.deciding import Decider, Register, deciders
from gaugelink.reading import Gauge
from gaugelink.sheetfile import load

if TYPE_CHECKING:
    from conftest import RunCli

LIMIT = 5_900  # of the stem, um


def gauge(mark: str, kind: str, u: float, s: float | None = None) -> Gauge:
    repeatability = None if s is None else round(s * UM)
    return Gauge(mark, kind, mark, "1", "plain-line", round(u * UM), "2099-01-01", repeatability)


def found(limits: str, gauges: list[Gauge], *rows: Measured, **more: Any) -> list[Decider]:
    """Every row was taken with the first gauge of its kind."""
    sheet = load(TITLE + limits, "s.toml")
    kinds = {"stem diameter": "micrometer", "guide bore": "bore gauge",
             "guide clearance": "indicator"}  # fmt: skip
    taken = {
        row.place: next(one for one in gauges if one.kind == kinds[row.characteristic])
        for row in rows
    }
    return deciders(sheet, judge(sheet, rows).verdicts, Register(gauges, taken, **more))


def of_stem(away_um: float, u: float, s: float | None, *others: Gauge) -> Decider:
    size = stem(LIMIT + away_um, f"{u / 1000:.6f} mm")
    (one,) = found(STEM, [gauge("M1", "micrometer", u, s), *others], size)
    return one


def test_so_many_more_readings_as_the_mean_needs_to_clear_the_guard_band():
    """2 um inside, u 1.9 of which 1.8 scatters: needed u 1.2158; 1.8^2 / (1.2158^2 - 0.37) = 2.92.

    By hand; three readings, one of them taken.
    """
    one = of_stem(2, 1.9, 1.8)
    assert (one.more, one.scatter_known) == (2, True)
    wanted = "2 more readings of the same place would decide it, if the mean stays where it is"
    assert one.words == wanted


@given(st.integers(1, 60), st.integers(5, 40), st.integers(1, 40))
def test_that_many_decide_by_the_rule_of_the_verdict_and_one_fewer_do_not(away, u, s):
    assume(s <= u)
    assume(verdict((LIMIT * 10 + away) * UM // 10, u * UM // 10, LIMIT * UM, None) == "undecided")
    one = of_stem(away / 10, u / 10, s / 10)

    def word(readings: int) -> str:
        u_pm = sqrt(u**2 - s**2 + s**2 / readings) * UM / 10
        return verdict((LIMIT * 10 + away) * UM // 10, round(u_pm), LIMIT * UM, None)

    if one.more is None:
        assert word(201) == "undecided"  # more than 200 are none
    else:
        assert word(one.more + 1) == "within"
        assert word(one.more) == "undecided"


def test_a_mean_scatters_as_the_model_says():
    """Simulated: an error that stays for a gauge, and one that is new at every reading."""
    chance = np.random.default_rng(20261125)
    u, s, n, runs = 1.9, 1.3, 4, 40_000
    stays = chance.normal(0, sqrt(u**2 - s**2), (runs, 1))
    means = (stays + chance.normal(0, s, (runs, n))).mean(axis=1)
    assert float(means.std()) == pytest.approx(sqrt(u**2 - s**2 + s**2 / n), rel=0.015)


def test_the_command_for_one_value_says_the_same(run_cli: RunCli):
    one = of_stem(2, 1.9, 1.8)
    _, out, _ = run_cli("conformity", "--value", "5.902mm", "--u", "0.0019mm", "--lower",
                        "5.900mm", "--repeatability", "0.0018mm", "--json")  # fmt: skip
    assert one.more is not None
    assert json.loads(out)["more_readings"]["total"] == one.more + 1


def test_what_stays_cannot_be_lessened_but_a_better_gauge_can_decide():
    better = gauge("M2", "micrometer", 1.2), gauge("M3", "micrometer", 1.3)
    one = of_stem(2, 1.9, 0.9, *better, gauge("B1", "bore gauge", 0.5))
    assert (one.more, one.gauges) == (None, ("M2",))
    assert one.words == (
        "more readings cannot decide it; a gauge with u of 1.2 um or less can: M2")  # fmt: skip
    alone = of_stem(2, 1.9, 0.9)
    assert alone.words.endswith("1.2 um or less can: the bench has none")


@given(st.integers(1, 60), st.integers(5, 40), st.lists(st.integers(1, 50), max_size=5))
def test_the_gauges_named_are_those_with_which_it_would_be_decided(away, u, others):
    value = (LIMIT * 10 + away) * UM // 10
    assume(verdict(value, u * UM // 10, LIMIT * UM, None) == "undecided")
    gauges = [gauge(f"M{n}", "micrometer", one / 10) for n, one in enumerate(others, 2)]
    one = of_stem(away / 10, u / 10, None, *gauges)
    able = [other.id for other in gauges
            if verdict(value, other.u_pm, LIMIT * UM, None) == "within"]  # fmt: skip
    assert list(one.gauges) == able
    assert one.u_gauge_pm is not None
    assert verdict(value, one.u_gauge_pm, LIMIT * UM, None) == "within"


def test_without_a_repeatability_no_number_is_made_up():
    one = of_stem(2, 1.9, None)
    assert (one.more, one.scatter_known) == (None, False)
    assert one.words.startswith("how many more readings would decide it is not known: no repeat")


def test_on_the_limit_itself_nothing_decides():
    assert of_stem(0, 1.9, 1.8).words == "it lies on its limit: nothing can decide it"


def test_what_is_decided_or_misses_readings_is_not_asked_about():
    gauges = [gauge("M1", "micrometer", 1.9, 0.9)]
    assert found(STEM, gauges, stem(5_950), stem(5_890, "0.001 mm")) == []
    part = STEM.replace("judge", 'stations = ["top", "bottom"]\njudge')
    assert found(part, gauges, stem(5_901, station="top")) == []


def test_of_bore_less_stem_both_are_repeated_and_gauges_are_named_in_pairs():
    """76.4 um, limit 80: needed u 3.6 / 1.645 = 2.188; u^2 1.9^2 + 2.4^2, s^2 1.7^2 + 2.2^2."""
    gauges = [gauge("M1", "micrometer", 1.9, 1.7), gauge("B1", "bore gauge", 2.4, 2.2),
              gauge("B2", "bore gauge", 1.0)]  # fmt: skip
    rows = stem(5_950, "0.0019 mm"), bore(6_026.4, "0.0024 mm")
    (one,) = found(STEM + BORE + DIRECT, gauges, *rows)
    s_sq = 1.7**2 + 2.2**2
    steady_sq = 1.9**2 + 2.4**2 - s_sq
    n = s_sq / ((3.6 / 1.645) ** 2 - steady_sq)
    assert one.more == int(n + 1) - 1 == 2
    assert one.gauges == ("M1 with B2",)
    assert one.words == (
        "2 more readings of stem and bore each would decide it, if the mean stays where it is; "
        "so would M1 with B2")  # fmt: skip


def test_of_a_rock_only_the_scatter_of_its_ends_and_the_indicator_can_be_lessened():
    """Reach 25 of 50 mm: a gauge's error counts half. At 78 um u is 2 um, mostly the reach."""
    u_pm = clearance(156 * UM, guide_length_pm=50 * 10**9, reach_pm=25 * 10**9,
                     travel_u_pm=2 * UM).clearance_u_pm  # fmt: skip
    row = rock(78, f"{u_pm / 1e9:.9f} mm")
    limits = ROCK.replace("judge", 'directions = ["along"]\njudge')
    indicators = [gauge("I1", "indicator", 1.5), gauge("I2", "indicator", 0.1)]
    (one,) = found(limits, indicators, row, scatter_pm={row.place: UM})
    assert one.u_gauge_pm == 0
    wanted = "more sweeps cannot decide it; no gauge can, what else is uncertain is too much"
    assert one.words == wanted
    near = rock(77, f"{u_pm / 1e9:.9f} mm")
    (other,) = found(limits, indicators, near, scatter_pm={near.place: UM})
    steady = u_pm**2 - (UM / 2) ** 2
    needed = (3 * UM / 1.645) ** 2
    assert (other.more is not None) == (steady < needed)
    by_other = u_pm**2 + ((0.1 * UM) ** 2 - (1.5 * UM) ** 2) / 4
    assert other.gauges == (("I2",) if by_other <= needed else ())
