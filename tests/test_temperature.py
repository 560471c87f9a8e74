"""Lengths are brought to 20 degC, and a warm part is told to lie."""

from __future__ import annotations

import json
from fractions import Fraction
from math import exp
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import assume, given, strategies as st

from gaugelink.metrology.temperature import (
    MATERIALS,
    allowed_difference,
    at_twenty,
    stated,
    time_constant,
    wait,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from conftest import RunCli

MM, UM = 10**9, 10**6
degrees = st.fractions(-20, 120, max_denominator=10)
grows = st.fractions(0, Fraction(30, 10**6), max_denominator=10**8)


def told(run_cli: RunCli, *words: str, status: int = 0) -> dict[str, Any]:
    got, out, err = run_cli("temperature", *words, "--json")
    assert (got, err) == (status, "")
    document: dict[str, Any] = json.loads(out)
    return document


def test_a_hundred_millimetres_of_steel_grow_by_this_much(
    check_json: Callable[[str], Any],
) -> None:
    """Source: arithmetic on 11.5e-6 per K (ISO 3650:1998): 1.15 um for 1 K."""
    facts = {row["fact"]: row for row in check_json("length_basics.json")["facts"]}
    held = facts["100 mm steel at 11.5e-6, 1 K"]["value_um"]
    steel = stated(Fraction("11.5e-6"))
    found = at_twenty(100 * MM, part=steel, part_c=Fraction(21), gauge=steel, gauge_c=Fraction(20))
    assert float(found.correction_pm) / UM == pytest.approx(-held, rel=2e-5)


@pytest.mark.parametrize(
    ("length", "part", "um"),
    [
        # First order by hand, 10 K, against a steel gauge (11.5e-6) as warm as the part:
        # 8 mm of aluminium (22.5e-6): 0.88; 120 mm: 13.2; and against a gauge at 20 degC: 27.0.
        (8, "22.5e-6", -0.88),
        (120, "22.5e-6", -13.2),
    ],
)
def test_a_gauge_as_warm_as_the_part_leaves_the_difference(
    length: int, part: str, um: float
) -> None:
    warm = Fraction(30)
    found = at_twenty(length * MM, part=stated(Fraction(part)), part_c=warm,
                      gauge=stated(Fraction("11.5e-6")), gauge_c=warm)  # fmt: skip
    assert float(found.correction_pm) / UM == pytest.approx(um, rel=1e-3)
    cold = at_twenty(120 * MM, part=stated(Fraction("22.5e-6")), part_c=warm,
                     gauge=stated(Fraction("11.5e-6")), gauge_c=Fraction(20))  # fmt: skip
    assert float(cold.correction_pm) / UM == pytest.approx(-27.0, rel=1e-3)


def test_tables_lie_within_the_range_of_a_name(check_json: Callable[[str], Any]) -> None:
    """Source: a table of expansion coefficients (secondary), each with its name there."""
    table = {row["material"]: row["a"] for row in
             check_json("length_basics.json")["expansion_coefficients_1e-6_per_K"]}  # fmt: skip
    for name, theirs in (("steel", "general carbon steel"), ("steel", "mild steel"),
                         ("iron", "cast iron"), ("iron", "gray cast iron"),
                         ("aluminium", "aluminium alloy"), ("aluminium", "aluminium A1100"),
                         ("bronze", "phosphor bronze")):  # fmt: skip
        one = MATERIALS[name]
        assert one.low * 10**6 <= Fraction(str(table[theirs])) <= one.high * 10**6


@given(st.integers(1, 10**12), grows, degrees)
def test_a_part_of_the_gauges_material_and_temperature_needs_nothing(
    length: int, coefficient: Fraction, at: Fraction
) -> None:
    one = stated(coefficient)
    found = at_twenty(length, part=one, part_c=at, gauge=one, gauge_c=at)
    assert found.length_pm == length


@given(st.integers(1, 10**12), grows, degrees, degrees)
def test_a_warmer_part_is_smaller_at_twenty(
    length: int, coefficient: Fraction, one: Fraction, other: Fraction
) -> None:
    assume(one <= other)
    steel = MATERIALS["steel"]
    lengths = [at_twenty(length, part=stated(coefficient), part_c=at, gauge=steel,
                         gauge_c=Fraction(20)).length_pm for at in (one, other)]  # fmt: skip
    assert lengths[0] >= lengths[1]


@given(st.integers(1, 10**12), degrees, degrees)
def test_the_correction_is_proportional_to_the_length(
    length: int, part_c: Fraction, gauge_c: Fraction
) -> None:
    one, ten = (at_twenty(size, part=MATERIALS["iron"], part_c=part_c, gauge=MATERIALS["steel"],
                          gauge_c=gauge_c) for size in (length, 10 * length))  # fmt: skip
    assert ten.correction_pm == 10 * one.correction_pm
    assert ten.u_pm == pytest.approx(10 * one.u_pm)


@given(st.floats(1, 300), st.floats(-60, 60), st.floats(0.1, 3), st.floats(0.01, 1))
def test_the_wait_ends_when_the_difference_is_allowed(
    constant: float, off: float, apart: float, allowed: float
) -> None:
    """By Newton's law of cooling: what is left after the wait is what was allowed."""
    assume(abs(off) > allowed)
    room, part = Fraction(20), Fraction(20) + Fraction(off)
    time = wait(part, room, allowed, constant)
    assert abs(off) * exp(-time / constant) == pytest.approx(allowed)
    later = room + Fraction(off * exp(-apart))
    assert time_constant(part, later, room, apart * constant) == pytest.approx(constant)


def test_a_part_at_the_rooms_temperature_need_not_wait() -> None:
    assert wait(Fraction(20), Fraction(20), 0.1, 60) == 0
    assert wait(Fraction("20.1"), Fraction(20), 0.1, 60) == pytest.approx(0, abs=1e-9)
    with pytest.raises(ValueError, match="above 0"):
        wait(Fraction(30), Fraction(20), 0, 60)


@pytest.mark.parametrize("later", [20, 60, 61, 10])
def test_a_part_that_does_not_come_nearer_has_no_time_constant(later: int) -> None:
    with pytest.raises(ValueError, match="needed: the second nearer to the room"):
        time_constant(Fraction(60), Fraction(later), Fraction(20), 10)


def test_the_uncertainty_is_that_of_drawing_lots() -> None:
    """Source: JCGM 101:2008: the spread of results for inputs drawn from their distributions."""
    import numpy as np  # noqa: PLC0415

    draw = np.random.default_rng(5)
    part, gauge = MATERIALS["aluminium"], MATERIALS["steel"]
    found = at_twenty(120 * MM, part=part, part_c=Fraction(31), gauge=gauge, gauge_c=Fraction(24))
    count = 200_000
    a_p, a_g = (draw.uniform(float(m.low), float(m.high), count) for m in (part, gauge))
    t_p, t_g = draw.normal(31, 0.5, count), draw.normal(24, 0.5, count)
    lengths = 120 * MM * (1 + a_g * (t_g - 20)) / (1 + a_p * (t_p - 20))
    assert found.u_pm == pytest.approx(lengths.std(), rel=0.01)
    assert allowed_difference(UM, 120 * MM, part) == pytest.approx(1 / (0.12 * 23.8))


def test_the_command_corrects_and_warns(run_cli: RunCli) -> None:
    good = told(run_cli, "--length", "8.000mm", "--part", "11.5ppm/K", "--part-temp", "21degC",
                "--gauge-temp", "21degC")  # fmt: skip
    assert good["at_20_mm"] == 8
    assert good["warnings"] == []
    warm = told(run_cli, "--length", "120.520mm", "--part", "aluminium", "--part-temp", "31degC",
                "--gauge-temp", "22degC", "--room", "21degC", "--cooled", "41degC,15min",
                status=1)  # fmt: skip
    assert warm["correction_um"] == pytest.approx(120.52 * (2 * 11.5 - 11 * 22.65) / 1e3, rel=1e-3)
    # Half of the difference is left after 15 min; 10 K have to become 1 um / (120.52 mm 23.8e-6).
    assert warm["wait_min"] == pytest.approx(15 / 0.693147 * 3.3558, rel=1e-3)
    assert "let the part lie for another 73 min" in warm["warnings"][1]


def test_degrees_and_inches_of_any_kind_give_the_same(run_cli: RunCli) -> None:
    words = ("--part", "iron", "--error", "1mm")
    one = told(run_cli, "--length", "101.6mm", "--part-temp", "30degC", "--gauge-temp", "25degC",
               *words)  # fmt: skip
    other = told(run_cli, "--length", "4.000in", "--part-temp", "86degF", "--gauge-temp", "77degF",
                 *words)  # fmt: skip
    assert one == other


def test_people_see_which_coefficients_were_used(run_cli: RunCli) -> None:
    words = ("--length", "120mm", "--part", "iron", "--part-temp", "30degC", "--gauge-temp",
             "20degC", "--gauge", "11.5ppm/K")  # fmt: skip
    status, out, _ = run_cli("temperature", *words)
    assert status == 1
    assert "iron   tables: 9 to 11.4" in out
    assert "! the part is +10 K from 20 degC" in out


def test_a_room_off_20_degrees_is_told_for_the_part_comes_to_the_room_only(
    run_cli: RunCli,
) -> None:
    """Waiting in a room of 30 degC ends at 30 degC: then 120 mm of aluminium still lack 13 um."""
    words = ("temperature", "--length", "120mm", "--part", "aluminium", "--part-temp", "30degC",
             "--gauge-temp", "30degC", "--time-constant", "40min")  # fmt: skip
    status, out, _ = run_cli(*words, "--room", "30degC")
    assert status == 1
    assert "! the room is +10 K from 20 degC, and the part comes to the room only" in out
    assert "the room is" not in run_cli(*words, "--room", "20.1degC")[1]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ({"--part": "wood"}, "--part: found 'wood', accepted: steel, iron"),
        ({"--part": "11.5"}, "--part: found '11.5', accepted: steel, iron"),
        ({"--part": "9999ppm/K"}, "accepted: 0 to 1000 ppm/K"),
        ({"--part-temp": "20"}, "--part-temp: found '20' without a unit"),
        ({"--part-temp": "900degC"}, "found 900 degC, needed: -40 to 300"),
        ({"--part-temp": "20mm"}, "found the unit 'mm'"),
        ({"--length": "0mm"}, "--length: found '0mm', accepted: more than 0"),
        ({"--u-temp": "-1delta_degC"}, "accepted: 0 or more"),
        ({"--u-temp": "1e99delta_degC"}, "accepted: 0 or more, up to 100 K"),
        ({"--part": "17.8ppm/K**9**9**9"}, "--part: found '17.8ppm/K**9**9**9'"),  # it hung
        ({"--length": "8mm**9"}, "--length: found"),
        ({"--cooled": "41degC,15min"}, "--room: this argument is missing"),
        ({"--room": "20degC"}, "found neither, accepted: one of the two beside --room"),
        ({"--room": "20degC", "--cooled": "41degC"}, "--cooled: found ''"),
        ({"--room": "20degC", "--cooled": "19degC,9min"}, "--cooled: found 19 and then 30 degC"),
        ({"--room": "20degC", "--time-constant": "0min"}, "--time-constant: found 0, needed"),
    ],
)
def test_bad_arguments_are_said_in_a_sentence(
    words: dict[str, str], sentence: str, run_cli: RunCli
) -> None:
    args = {"--length": "8mm", "--part": "iron", "--part-temp": "30degC", "--gauge-temp": "20degC"}
    status, out, err = run_cli("temperature", "--json", *(
        f"{name}={value}" for name, value in {**args, **words}.items()))  # fmt: skip
    assert (status, out) == (2, "")
    assert sentence in err
    assert err.count("\n") == 1
