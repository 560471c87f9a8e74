"""Fits are those of the standard's tables; a press fit obeys the theory of tubes."""

from __future__ import annotations

import json
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import published_fits as published
import pytest
from hypothesis import assume, given, strategies as st
from published_fits import pairs

from gaugelink.metrology.fit_tables import FINE_STEPS_MM, GRADES_UM, LOWER_UM, STEPS_MM, UPPER_UM
from gaugelink.metrology.fits import Fit, Range, Tube, fit, permitted, press

if TYPE_CHECKING:
    from collections.abc import Callable

    from conftest import RunCli

MM, UM = 10**9, 10**6
sizes = st.fractions(Fraction(1, 100), 30, max_denominator=100)
tubes = st.builds(Tube, st.integers(10_000, 210_000).map(Fraction),
                  st.fractions(0, Fraction(1, 2), max_denominator=100))  # fmt: skip


def told(run_cli: RunCli, *words: str, status: int = 0) -> dict[str, Any]:
    got, out, err = run_cli("fit", *words, "--json")
    assert (got, err) == (status, "")
    document: dict[str, Any] = json.loads(out)
    return document


def test_every_grade_is_that_of_the_table(
    check_rows: Callable[[str], list[dict[str, str]]],
) -> None:
    """Source: ISO 286-1 standard tolerance grades, IT5 to IT11, as copied in a table."""
    rows = check_rows("iso286_it_grades.csv")
    assert tuple(int(row["size_mm"].split("-")[1]) for row in rows) == STEPS_MM
    for step, row in enumerate(rows):
        for grade in range(5, 12):
            wide = GRADES_UM[grade]
            assert Fraction(row[f"IT{grade}"]) * 1000 == wide[step]


def test_grade_four_is_that_of_a_toolmaker_s_table() -> None:
    """It is there for delta of grade 5 alone."""
    assert GRADES_UM[4] == published.TOOLMAKER_H4


def test_the_fit_of_a_running_shaft_is_held(
    check_rows: Callable[[str], list[dict[str, str]]],
) -> None:
    """Source: ISO 286-2, H7 and g6 for three steps, as copied in a table."""
    rows = check_rows("iso286_h7_g6_3_to_18mm.csv")
    assert len(rows) == 3
    for row in rows:
        for size in (int(row["over_mm"]) * MM + 1, int(row["upto_mm"]) * MM):
            found = fit(size, "H7/g6")
            held = {key: int(value) * UM for key, value in row.items()}
            assert found.hole == Range(held["H7_lower"], held["H7_upper"])
            assert found.shaft == Range(held["g6_lower"], held["g6_upper"])
            assert (found.least_pm, found.most_pm) == (held["min_clearance"], held["max_clearance"])
            assert found.kind == "clearance"


def both(size: int, name: str) -> tuple[int, int]:
    """Give upper and lower deviation, um."""
    found = permitted(size, name)
    return found.upper_pm // UM, found.lower_pm // UM


@pytest.mark.parametrize("name", published.HOUSING_BORES)
def test_holes_are_those_of_a_bearing_catalogue(name: str) -> None:
    """Both ends of every step; the rule of delta is what they were not made from here."""
    for step, (lower, upper) in enumerate(pairs(published.HOUSING_BORES[name])):
        for size in (STEPS_MM[step + 1] * MM + 1, STEPS_MM[step + 2] * MM):
            assert both(size, name) == (upper, lower)


@pytest.mark.parametrize("name", published.COARSE_BORES)
def test_holes_of_coarser_grades_and_finer_steps_are_those_of_a_catalogue(name: str) -> None:
    for over, upper, lower in pairs(published.COARSE_BORES[name], 3):
        assert both(over * MM + 1, name) == (upper, lower)


@pytest.mark.parametrize("name", published.SHAFTS)
def test_shafts_are_those_of_a_standard(name: str) -> None:
    for step, held in enumerate(pairs(published.SHAFTS[name])):
        for size in ((0, *FINE_STEPS_MM)[step] * MM + 1, FINE_STEPS_MM[step] * MM):
            assert both(size, name) == held


@pytest.mark.parametrize("name", published.LOOSE_SHAFTS)
def test_shafts_with_clearance_are_those_of_a_standard(name: str) -> None:
    """Both ends of the first eight steps; d, e, f and g were first written from memory."""
    figures = pairs(published.LOOSE_SHAFTS[name])
    assert len(figures) == 8
    for step, held in enumerate(figures):
        for size in ((0, *STEPS_MM)[step] * MM + 1, STEPS_MM[step] * MM):
            assert both(size, name) == held


@pytest.mark.parametrize("name", published.LOOSE_BORES)
def test_holes_with_clearance_are_those_of_a_standard(name: str) -> None:
    figures = pairs(published.LOOSE_BORES[name])
    assert len(figures) == 10
    for step, held in enumerate(figures):
        for size in (STEPS_MM[step] * MM + 1, STEPS_MM[step + 1] * MM):
            assert both(size, name) == held


def test_every_loose_deviation_is_printed_somewhere() -> None:
    """The textbook has the large steps; with the standard's small ones no step is left out."""
    for letter, figures in published.TEXTBOOK_UPPER.items():
        assert UPPER_UM[letter][-4:] == figures
    for letter, figures in published.TEXTBOOK_HOLES.items():
        assert tuple(-one for one in UPPER_UM[letter.lower()][-5:]) == figures
    assert len(STEPS_MM) == 8 + 5
    assert set(UPPER_UM) == {*published.TEXTBOOK_UPPER, "h"}


@pytest.mark.parametrize("name", published.TEXTBOOK_LOWER)
def test_tight_shafts_are_those_of_a_textbook(name: str) -> None:
    for size, lower in pairs(published.TEXTBOOK_LOWER[name]):
        assert permitted(size * MM, f"{name}6").lower_pm == lower * UM


@pytest.mark.parametrize("name", published.TEXTBOOK_TIGHT_HOLES)
def test_tight_holes_without_delta_are_those_of_a_textbook(name: str) -> None:
    for size, upper in pairs(published.TEXTBOOK_TIGHT_HOLES[name]):
        assert permitted(size * MM, name).upper_pm == upper * UM


def test_delta_is_that_of_a_textbook() -> None:
    for over, upper, delta in pairs(published.TEXTBOOK_N8, 3):
        assert permitted(over * MM + 1, "N8").upper_pm == (upper + delta) * UM


def test_what_the_standard_corrected_is_right_here() -> None:
    """Source: ISO 286-2:1988/Cor.1:2006; the printed ends are 126, -28 and -186."""
    for name, size, upper, lower in published.CORRECTED:
        assert both(size * MM, name) == (upper, lower)


def test_single_published_deviations_are_held() -> None:
    """Narayana, Machine Drawing, table 15.3: P7 of 18-30 mm; M6 of 250-315 mm is an exception.

    A textbook's example of H7/s6 at 50 mm: shaft 0.043 to 0.059.
    """
    assert permitted(24 * MM, "P7").upper_pm == -14 * UM
    assert permitted(300 * MM, "M6").upper_pm == -9 * UM
    assert permitted(50 * MM, "s6") == Range(43 * UM, 59 * UM)


@given(st.integers(3 * MM + 1, 500 * MM), st.sampled_from("kmnprs"), st.integers(6, 8))
def test_a_hole_gives_the_fit_that_its_shaft_gives(size: int, letter: str, grade: int) -> None:
    """The rule behind delta (ISO 286-1): P7/h6 clears as H7/p6 does, up to its grades.

    Apart from M6 of 250-315 mm, which the standard excepts, and k, whose shafts end at grade 7.
    """
    assume(grade < 8 or letter in "kmn")
    assume((letter, grade) != ("m", 6) or not 250 * MM < size <= 315 * MM)
    by_hole = fit(size, f"{letter.upper()}{grade}/h{grade - 1}")
    by_shaft = fit(size, f"H{grade}/{letter}{grade - 1}")
    assert (by_hole.least_pm, by_hole.most_pm) == (by_shaft.least_pm, by_shaft.most_pm)


@given(st.integers(3 * MM + 1, 500 * MM), st.sampled_from("mprs"), st.integers(9, 11))
def test_coarse_holes_mirror_their_shafts(size: int, letter: str, grade: int) -> None:
    shaft, hole = (permitted(size, f"{name}{grade}") for name in (letter, letter.upper()))
    assert (hole.lower_pm, hole.upper_pm) == (-shaft.upper_pm, -shaft.lower_pm)
    assert permitted(size, f"N{grade}").upper_pm == 0


def test_up_to_three_millimetres_there_is_no_delta() -> None:
    """Table 6a of BS 4500:1969 in Machinery's Handbook: 0, -2, -4 in every grade."""
    for grade in range(5, 12):
        assert [permitted(2 * MM, f"{letter}{grade}").upper_pm // UM for letter in "KMN"] == [
            0, -2, -4]  # fmt: skip


def test_over_a_size_excludes_it_and_up_to_includes_it() -> None:
    assert permitted(10 * MM, "h6").lower_pm == -9 * UM
    assert permitted(10 * MM + 1, "h6").lower_pm == -11 * UM
    assert permitted(500 * MM, "H11").upper_pm == 400 * UM


@given(st.integers(1, 500 * MM), st.sampled_from([*UPPER_UM]), st.integers(5, 11))
def test_a_hole_mirrors_the_shaft_of_its_letter(size: int, letter: str, grade: int) -> None:
    shaft, hole = (permitted(size, f"{name}{grade}") for name in (letter, letter.upper()))
    assert (hole.lower_pm, hole.upper_pm) == (-shaft.upper_pm, -shaft.lower_pm)


@given(
    st.integers(1, 500 * MM),
    st.sampled_from([*UPPER_UM, *(letter for letter in LOWER_UM if letter != "k")]),
    st.integers(5, 10),
)
def test_a_coarser_grade_holds_the_finer_one(size: int, letter: str, grade: int) -> None:
    fine, coarse = (permitted(size, f"{letter}{one}") for one in (grade, grade + 1))
    assert coarse.lower_pm <= fine.lower_pm < fine.upper_pm <= coarse.upper_pm
    assert fine.lower_pm == coarse.lower_pm or fine.upper_pm == coarse.upper_pm


@given(st.integers(0, 12), st.sampled_from([*UPPER_UM]))
def test_deviations_grow_with_the_size(step: int, letter: str) -> None:
    assume(step > 0)
    assert UPPER_UM[letter][step] <= UPPER_UM[letter][step - 1]


def test_the_kind_of_a_fit_follows_from_its_ends() -> None:
    """H7/p6 of 14 mm: hole 0 to +18, shaft +18 to +29 um: at best size for size."""
    assert fit(14 * MM, "H7/p6").kind == "interference"
    assert fit(14 * MM, "H7/p6").most_pm == 0
    assert fit(14 * MM, "H7/n6").kind == "transition"
    assert Fit(Range(0, 5), Range(-5, 0)).kind == "clearance"


@given(sizes, sizes, sizes, tubes, st.fractions(0, Fraction(1, 10), max_denominator=1000))
def test_equal_materials_obey_the_textbooks_short_form(
    bore: Fraction, wall: Fraction, boss: Fraction, tube: Tube, interference: Fraction
) -> None:
    """Source: Shigley, eq. 3-57: p = E d / 2 R^3 (ro^2 - R^2)(R^2 - ri^2) / (ro^2 - ri^2).

    d is the interference on the radius; from memory. Poisson's ratio drops out.
    """
    joint, outside = bore + wall, bore + wall + boss
    ri, r, ro = bore / 2, joint / 2, outside / 2
    wanted = (tube.modulus * interference / 2 / (2 * r**3)
              * (ro**2 - r**2) * (r**2 - ri**2) / (ro**2 - ri**2))  # fmt: skip
    assert press(interference, bore, joint, outside, tube, tube).pressure == wanted


@given(sizes, sizes, sizes, tubes, tubes, st.fractions(0, Fraction(1, 10), max_denominator=1000))
def test_the_bore_closes_in_proportion_and_never_by_much_more_than_the_interference(
    bore: Fraction, wall: Fraction, boss: Fraction, inner: Tube, outer: Tube, interference: Fraction
) -> None:
    """By Lame the bore moves 2 x / (1 + x^2 - nu (1 - x^2)) times as far as the joint does.

    x is bore over joint. For nu up to 0.5 that is below 1.155, and the joint moves by no more than
    the interference.
    """
    diameters = (bore, bore + wall, bore + wall + boss)
    one = press(interference, *diameters, inner, outer)
    two = press(2 * interference, *diameters, inner, outer)
    assert (two.pressure, two.closure, two.growth) == (
        2 * one.pressure, 2 * one.closure, 2 * one.growth)  # fmt: skip
    assert 0 <= one.closure <= Fraction(1155, 1000) * interference
    thicker = press(interference, *diameters[:2], diameters[2] + 1, inner, outer)
    assert thicker.pressure >= one.pressure


def test_what_gives_way_at_the_joint_adds_up_to_the_interference() -> None:
    """Lame: radial displacement u = p R / E ((R^2 + r^2) / |R^2 - r^2| -+ nu) of both parts."""
    inner, outer = (
        Tube(Fraction(110_000), Fraction("0.26")),
        Tube(Fraction(71_000), Fraction("0.33")),
    )
    r, joint, ro = 4.0, 7.0, 14.0
    found = press(Fraction("0.040"), Fraction(8), Fraction(14), Fraction(28), inner, outer)
    p = float(found.pressure)
    inward = p * joint / 110_000 * ((joint**2 + r**2) / (joint**2 - r**2) - 0.26)
    outward = p * joint / 71_000 * ((ro**2 + joint**2) / (ro**2 - joint**2) + 0.33)
    assert 2 * (inward + outward) == pytest.approx(0.040)


def test_the_command_looks_up_and_judges(run_cli: RunCli) -> None:
    found = told(run_cli, "14mm", "H7/p6", "--hole", "14.010mm", "--shaft", "14.040mm", "--bore",
                 "8mm", "--outside", "28mm", "--part-modulus", "110GPa", "--boss-modulus", "71GPa",
                 "--part-poisson", "0.26", "--boss-poisson", "0.33", status=1)  # fmt: skip
    assert found["kind"] == "interference"
    assert found["measured"]["hole"] == {"mm": 14.01, "within": True}
    assert found["measured"]["shaft"]["within"] is False
    assert found["measured"]["clearance"]["mm"] == -0.03
    assert found["press"][0]["pressure_mpa"] == pytest.approx(0.75 * 65.4336, rel=1e-5)
    both = told(run_cli, "14mm", "H7/p6", "--bore", "0mm", "--outside", "28mm", "--part-modulus",
                "110GPa", "--boss-modulus", "71GPa")  # fmt: skip
    assert [row["interference_mm"] for row in both["press"]] == [0.029]
    assert both["press"][0]["bore_closes_um"] == 0


def test_sizes_in_inches_give_the_same(run_cli: RunCli) -> None:
    words = ("--bore", "8mm", "--outside", "28mm", "--part-modulus", "110GPa", "--boss-modulus",
             "71GPa")  # fmt: skip
    one = told(run_cli, "12.7mm", "--hole", "12.7mm", "--shaft", "12.7254mm", *words)
    other = told(run_cli, "0.5in", "--hole", "0.5in", "--shaft", "0.501in", *words)
    assert one == other
    assert len(one["press"]) == 1


def test_people_get_lines(run_cli: RunCli) -> None:
    status, out, _ = run_cli("fit", "14mm", "H7/p6", "--bore", "8mm", "--outside", "28mm",
                             "--part-modulus", "110GPa", "--boss-modulus", "71GPa")  # fmt: skip
    assert status == 0
    assert "shaft   p6        +18.0 to +29.0 um" in out
    assert "interference: -0.029 to 0.000 mm" in out
    assert "bore closes by" in out


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("14mm",), "CLASSES: this argument is missing"),
        (("14", "H7/g6"), "SIZE: found '14' without a unit"),
        (("600mm", "H7/g6"), "above 0 and up to 500 mm"),
        (("14mm", "H7"), "found 'H7', needed: a hole and a shaft"),
        (("14mm", "g6/H7"), "needed: a hole and a shaft"),
        (("14mm", "H4/g6"), "found the class 'H4'"),
        (("14mm", "U7/h6"), "found the class 'U7'"),
        (("14mm", "K9/h6"), "found K9, needed: grade 8 at most over 3 mm"),
        (("1mm", "N9/h6"), "found N9 up to 1 mm, needed: grade 8 at most"),
        (("14mm", "H7/p6", "--bore", "8mm"), "--outside: this argument is missing"),
        (("14mm", "H7/p6", "--bore", "15mm", "--outside", "28mm", "--part-modulus", "1GPa",
          "--boss-modulus", "1GPa"), "needed: growing from the bore to the outside"),
        (("14mm", "H7/p6", "--bore", "8mm", "--outside", "28mm", "--part-modulus", "1kg",
          "--boss-modulus", "1GPa"), "--part-modulus: found the unit 'kg'"),
        (("14mm", "H7/p6", "--bore", "8mm", "--outside", "28mm", "--part-modulus", "1GPa",
          "--boss-modulus", "0GPa"), "found a modulus that is not above 0"),
        (("14mm", "H7/p6", "--bore", "8mm", "--outside", "28mm", "--part-modulus", "1GPa",
          "--boss-modulus", "1GPa", "--boss-poisson", "0.6"), "accepted: 0 to 0.5"),
    ],
)  # fmt: skip
def test_bad_arguments_are_said_in_a_sentence(
    words: tuple[str, ...], sentence: str, run_cli: RunCli
) -> None:
    status, out, err = run_cli("fit", *words, "--json")
    assert (status, out) == (2, "")
    assert sentence in err
    assert err.count("\n") == 1
