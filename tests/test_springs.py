"""Springs hold published examples, and shims bring back the height that is wanted."""

from __future__ import annotations

import json
from fractions import Fraction
from itertools import combinations_with_replacement
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, strategies as st

from gaugelink.commands.amounts import Amounts
from gaugelink.errors import InputError
from gaugelink.metrology.springs import (
    Loads,
    bind_margin,
    choose_shims,
    from_rate,
    from_table,
    rate_from_shape,
    solid_height,
)

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from conftest import RunCli

N_PER_MM = 0.17512683524647638
"""One pound-force per inch. Source: NIST SP 811 (0.45359237 kg, 9.80665 m/s2, 25.4 mm)."""

SHIGLEY = """
wire_diameter = "0.037 in"
outer_diameter = "0.4375 in"
active_coils = 10.5
total_coils = 12.5
shear_modulus = "11.85 Mpsi"
free_length = "2.06 in"
ends = "squared"
heights = ["1.5 in", "1 in"]
lift = "0.5 in"
"""

sizes = st.fractions(min_value=1, max_value=100, max_denominator=1000)


def told(run_cli: RunCli, folder: Path, text: str, status: int = 0) -> dict[str, Any]:
    file = folder / "spring.toml"
    file.write_text(text)
    got, out, err = run_cli("spring", file, "--json")
    assert (got, err) == (status, "")
    document: dict[str, Any] = json.loads(out)
    return document


def test_a_textbook_spring_is_held(run_cli: RunCli, tmp_path: Path) -> None:
    """Source: Shigley, Mechanical Engineering Design, Example 10-1.

    Printed with D rounded to 0.400 in: k 4.13 lbf/in, solid 0.50 in; recomputed unrounded 4.116.
    """
    found = told(run_cli, tmp_path, SHIGLEY)
    assert found["rate_n_per_mm"] / N_PER_MM == pytest.approx(4.115649664282403, rel=1e-12)
    assert found["solid_mm"] / 25.4 == pytest.approx(0.4995, rel=1e-12)
    assert found["bind_margin_mm"] / 25.4 == pytest.approx(1.5 - 0.5 - 0.4995)
    load = 4.115649664282403 * (2.06 - 1.5)
    assert found["loads"][0] / 4.4482216152605 == pytest.approx(load, rel=1e-12)
    rounded = told(run_cli, tmp_path, SHIGLEY.replace(
        'outer_diameter = "0.4375 in"', 'mean_diameter = "0.400 in"'))  # fmt: skip
    assert round(rounded["rate_n_per_mm"] / N_PER_MM, 2) == 4.13
    assert round(rounded["solid_mm"] / 25.4, 2) == 0.5


def test_the_textbook_figures_are_those_of_the_check_file(
    check_json: Callable[[str], Any],
) -> None:
    held = check_json("spring_shigley_10_1.json")
    assert held["recomputed"]["k"] == 4.115649664282403
    assert (held["published"]["k_lbf_per_in"], held["published"]["Ls_in"]) == (4.13, 0.5)
    # Free length is what brings the spring to solid at its printed load: 2.06 in.
    loads = from_rate(Fraction("4.115649664282403"), Fraction(held["recomputed"]["L0"]))
    assert float(loads.load(Fraction("0.4995"))) == pytest.approx(held["recomputed"]["F"])


def test_a_spring_body_of_a_course_is_held(check_json: Callable[[str], Any]) -> None:
    """Source: a course's homework solution on Norton's tables: 15.45 lbf/in."""
    held = check_json("spring_norton_me360.json")
    given_in = {key: Fraction(str(value)) for key, value in held["inputs"].items()}
    rate = rate_from_shape(given_in["d_in"], given_in["D_in"], given_in["Na"], given_in["G_psi"])
    assert float(rate) == pytest.approx(held["recomputed"]["k"], rel=1e-12)
    assert round(float(rate), 2) == held["published"]["k_lbf_per_in"]


def test_each_of_three_nested_springs_gives_its_loads_back(
    check_rows: Callable[[str], list[dict[str, str]]], run_cli: RunCli, tmp_path: Path
) -> None:
    """Source: US Army TM 9-2815-220-24, WP 0145 00-3: loads at two lengths, greatest solid height.

    The rates are not printed; inner (43.9 - 26.2) / (2.07 - 1.30) = 22.99 lbf/in (by hand).
    """
    solid = {"inner": "1.28", "intermediate": "1.34", "outer": "1.47"}
    rows: dict[str, list[dict[str, str]]] = {}
    for row in check_rows("tm_9-2815-220-24_valve_springs.csv"):
        rows.setdefault(row["spring"], []).append(row)
    assert set(rows) == set(solid)
    for name, pair in rows.items():
        table = ", ".join(f'["{row["length_in"]} in", "{row["load_lb"]} lbf"]' for row in pair)
        heights = ", ".join(f'"{row["length_mm"]} mm"' for row in pair)
        found = told(run_cli, tmp_path, f'measured = [{table}]\nheights = [{heights}]\n'
                     f'solid_height = "{solid[name]} in"\n')  # fmt: skip
        for row, load in zip(pair, found["loads"], strict=True):
            # The manual turned pounds into kilograms with 0.454; its own millimetres are exact.
            assert load / 9.80665 == pytest.approx(float(row["load_kg_printed"]), rel=1e-3)
        assert found["bind_margin_mm"] > 0
        assert found["progressive"] is False
        if name == "inner":
            assert found["rate_n_per_mm"] / N_PER_MM == pytest.approx(22.987, abs=5e-4)


def test_figures_of_a_workshop_manual_agree_with_one_rate() -> None:
    """Source: a truck diesel's manual: free 48.0 mm, 296.2 N at 38.9 mm; worked by hand.

    Rate 32.5 N/mm; 0.9 mm less free length cost 29 N, 0.2 mm more installed height 6.5 N.
    """
    spring = from_table([(Fraction(48), Fraction(0)), (Fraction("38.9"), Fraction("296.2"))])
    assert round(float(spring.rate), 1) == 32.5
    assert round(float(spring.rate * Fraction("0.9"))) == 29
    assert round(float(spring.change(Fraction("38.9"), Fraction("0.2"))), 1) == -6.5


@given(sizes, sizes, sizes, sizes)
def test_the_rate_follows_the_powers_of_the_formula(
    wire: Fraction, coil: Fraction, coils: Fraction, modulus: Fraction
) -> None:
    mean = wire + coil
    rate = rate_from_shape(wire, mean, coils, modulus)
    assert rate_from_shape(2 * wire, 2 * mean, coils, modulus) == 2 * rate
    assert rate_from_shape(wire, mean, 2 * coils, modulus) == rate / 2
    assert rate_from_shape(wire, mean, coils, 3 * modulus) == 3 * rate
    assert rate_from_shape(wire, 2 * mean, coils, modulus) == rate / 8


@given(sizes, st.lists(st.tuples(sizes, sizes), min_size=1, max_size=5))
def test_a_lower_spring_never_pushes_less(free: Fraction, steps: list[tuple[Fraction, Fraction]]
                                          ) -> None:  # fmt: skip
    """Progressive or not: the table is held at its own heights, and rises without a gap."""
    points, height, load = [(free + 1000, Fraction(0))], free + 1000, Fraction(0)
    for down, more in steps:
        height, load = height - down, load + more
        points.append((height, load))
    spring = from_table(points)
    assert [spring.load(at) for at, _ in points] == [load for _, load in points]
    spots = [points[0][0] + 5 - step for step in range(0, 600, 7)]
    loads = [spring.load(at) for at in spots]
    assert loads == sorted(loads)
    assert spring.load(spring.free_mm) == 0


@given(sizes, sizes, sizes)
def test_raising_the_lift_takes_the_same_from_the_room(
    installed: Fraction, lift: Fraction, solid: Fraction
) -> None:
    assert bind_margin(installed, lift + 1, solid) == bind_margin(installed, lift, solid) - 1
    assert solid_height(lift, solid, "squared") == solid_height(lift, solid) + lift


@given(
    st.fractions(-1, 4, max_denominator=500),
    st.lists(st.fractions(Fraction(1, 10), 2, max_denominator=100), min_size=1, max_size=4),
    st.fractions(0, 4, max_denominator=100),
)
def test_no_other_stack_comes_nearer(needed: Fraction, stock: list[Fraction], most: Fraction
                                     ) -> None:  # fmt: skip
    """All stacks of up to three pieces are tried here, one by one."""
    stack = choose_shims(needed, stock, most)
    assert stack.left_mm == needed - stack.thickness
    assert stack.thickness <= most
    tried = [sum(some, start=Fraction(0)) for pieces in range(4)
             for some in combinations_with_replacement(stock, pieces)]  # fmt: skip
    assert abs(stack.left_mm) == min(abs(needed - size) for size in tried if size <= most)
    if needed <= 0:
        assert stack.shims == ()


def test_a_progressive_spring_is_told_and_never_boiled_down(
    run_cli: RunCli, tmp_path: Path
) -> None:
    found = told(run_cli, tmp_path, 'measured = [["40 mm", "100 N"], ["30 mm", "300 N"], '
                 '["28 mm", "400 N"]]\nheights = ["29 mm", "35 mm"]\n')  # fmt: skip
    assert found["progressive"] is True
    assert found["rates_n_per_mm"] == [20, 50]
    assert found["loads"] == [350, 200]
    assert (found["solid_mm"], found["bind_margin_mm"]) == (None, None)


def test_shims_from_stock_bring_back_the_height(run_cli: RunCli, tmp_path: Path) -> None:
    text = SHIGLEY.replace('heights = ["1.5 in", "1 in"]', 'heights = ["1.54 in"]')
    found = told(run_cli, tmp_path, text + 'nominal_height = "1.5 in"\nheight_change = "0.2 mm"\n'
                 'shims = ["0.015 in", "0.030 in", "0.060 in"]\nmost_shims = "0.060 in"\n'
                 'retainer_to_seal = "0.55 in"\nleast_seal_margin = "0.05 in"\n')  # fmt: skip
    assert found["shims"]["needed_mm"] == pytest.approx(1.016)
    assert found["shims"]["chosen_mm"] == pytest.approx([0.762, 0.381])
    assert found["shims"]["off_nominal_mm"] == pytest.approx(-0.005 * 25.4)
    assert found["load_change_n"] == pytest.approx(-0.2 * found["rate_n_per_mm"])
    assert found["seal_margin_mm"] == pytest.approx(0.05 * 25.4)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ('least_bind_margin = "0.6 in"', "before the coils touch, wanted: at least 15.24 mm"),
        ('retainer_to_seal = "0.51 in"\nleast_seal_margin = "0.05 in"', "retainer and seal"),
        ('installed_height = "0.9 in"', "-2.527 mm before the coils touch"),
    ],
)
def test_too_little_room_ends_with_status_one(
    more: str, words: str, run_cli: RunCli, tmp_path: Path
) -> None:
    found = told(run_cli, tmp_path, SHIGLEY + more, status=1)
    assert len(found["problems"]) == 1
    assert words in found["problems"][0]


def test_a_height_below_solid_or_above_free_is_told(run_cli: RunCli, tmp_path: Path) -> None:
    found = told(run_cli, tmp_path, SHIGLEY.replace('"1 in"', '"0.4 in", "3 in"').replace(
        'lift = "0.5 in"', 'lift = "0.1 in"\ninstalled_height = "1.5 in"'), status=1)  # fmt: skip
    assert found["problems"] == ["at 10.16 mm the spring is solid (12.6873 mm)",
                                 "at 76.2 mm the spring is loose"]  # fmt: skip
    assert found["loads"][2] == 0


def test_a_file_in_millimetres_and_newtons_gives_what_one_in_inches_gives(
    run_cli: RunCli, tmp_path: Path
) -> None:
    """1 in is 25.4 mm; 1 psi is 0.45359237 x 9.80665 N over 25.4^2 mm^2, exactly."""
    metric = SHIGLEY
    for inch in ("0.037", "0.4375", "2.06", "1.5", "1", "0.5"):
        size = Fraction(inch) * Fraction("25.4")
        metric = metric.replace(f'"{inch} in"', f'"{float(size):.5f} mm"')
    psi = Fraction("0.45359237") * Fraction("9.80665") / Fraction("25.4") ** 2
    metric = metric.replace('"11.85 Mpsi"', f'"{float(11850 * psi):.9f} GPa"')
    one, other = told(run_cli, tmp_path, SHIGLEY), told(run_cli, tmp_path, metric)
    for key in ("rate_n_per_mm", "solid_mm", "bind_margin_mm", "free_mm"):
        assert one[key] == pytest.approx(other[key], rel=1e-9), key
    assert one["loads"] == pytest.approx(other["loads"], rel=1e-9)


def test_people_get_lines(run_cli: RunCli, tmp_path: Path) -> None:
    file = tmp_path / "spring.toml"
    file.write_text(SHIGLEY + 'nominal_height = "1.5 in"\nshims = ["0.4 mm"]\n')
    status, out, _ = run_cli("spring", file)
    assert status == 0
    assert "rate                             0.721 N/mm" in out
    assert "shims for 0.000 mm: none" in out


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ('"0.037 in"', '"0.037"', "line 2, wire_diameter: found '0.037' without a unit"),
        ('"0.037 in"', '"0.037 N"', "found the unit 'N' in '0.037 N', accepted: such as 40.5 mm"),
        ('"0.037 in"', '"thin"', "found 'thin', accepted: a number with its unit"),
        ('"0.037 in"', '"-1 mm"', "found '-1 mm', accepted: more than 0"),
        ('"0.037 in"', '"0.4 in"', "needed: the wire thinner"),
        ('free_length = "2.06 in"', "", "free_length: this key is missing"),
        ("active_coils = 10.5", "", "active_coils: this key is missing"),
        ("active_coils = 10.5", "active_coils = 0", "active_coils: found 0"),
        ('ends = "squared"', 'ends = "open"', "ends: found 'open'"),
        ('ends = "squared"', 'colour = "blue"', "colour: unknown key"),
        ('ends = "squared"', 'mean_diameter = "1 in"', "outer_diameter: found it beside"),
        ('ends = "squared"', 'shims = ["1 mm"]', "nominal_height: this key is missing; shims"),
        (
            '2.06 in"',
            '0.9 in"\nmeasured = [["1 in", "5 lbf"]]',
            "measured: found 22.2411 N at 25.4 mm and 0 N at 22.86 mm, needed: a larger load",
        ),
        ('lift = "0.5 in"', 'retainer_to_seal = "1 mm"', "lift: this key is missing; retainer"),
    ],
)
def test_what_cannot_be_reckoned_is_said_in_a_sentence(
    old: str, new: str, sentence: str, run_cli: RunCli, tmp_path: Path
) -> None:
    file = tmp_path / "spring.toml"
    text = SHIGLEY.replace(old, new)
    assert text != SHIGLEY
    file.write_text(text)
    status, out, err = run_cli("spring", file, "--json")
    assert (status, out) == (2, "")
    assert sentence in err
    assert err.count("\n") == 1


def test_one_height_is_no_table() -> None:
    with pytest.raises(ValueError, match="found loads at 1 height, needed: at least two"):
        from_table([(Fraction(40), Fraction(100))])
    with pytest.raises(ValueError, match="below 0"):
        Loads(((Fraction(40), Fraction(-1)), (Fraction(30), Fraction(1))))
    with pytest.raises(ValueError, match="both more than 0"):
        from_rate(Fraction(0), Fraction(40))
    with pytest.raises(ValueError, match="no thickness"):
        choose_shims(Fraction(1), [Fraction(0)])


def test_amounts_are_read_exactly_in_any_unit_of_their_kind() -> None:
    """Source: NIST SP 811: 1 lbf is 4.4482216152605 N, 1 kgf 9.80665 N, both exactly."""
    amounts = Amounts()
    assert amounts.read("1 lbf", "N", "") == Fraction("4.4482216152605")
    assert amounts.read("1kgf", "N", "") == Fraction("9.80665")
    assert amounts.read("0,25 in", "mm", "") == Fraction("6.35")
    assert amounts.read("1.5e-3 m", "mm", "") == Fraction("1.5")
    with pytest.raises(InputError, match="accepted: a number with its unit"):
        amounts.read("9" * 90 + " mm", "mm", "2 mm")
