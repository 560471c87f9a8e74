"""What can still come off is reckoned with all limits together."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, strategies as st

from gaugelink.metrology.conformity import GUARD_FACTOR
from gaugelink.metrology.springs import combined_n, from_rate, from_table, load_verdict
from gaugelink.planning.allowances import (
    FIGURES,
    STEPS,
    Seated,
    Step,
    allowance,
    allowances,
    axial_pm,
    what_if,
)
from gaugelink.planning.bounds import bind_bound, bounds, guard_pm, load_bounds


def mm(text: str) -> int:
    found = Fraction(text) * 10**9
    assert found.denominator == 1
    return found.numerator


def test_a_layer_square_to_the_seat_is_deeper_along_the_axis():
    """Source: h = n / cos a, tabulated in the trade as 1.155 n at 30 and 1.414 n at 45 degrees."""
    assert round(axial_pm(10**9, 30) / 1e9, 3) == 1.155
    assert round(axial_pm(10**9, 45) / 1e9, 3) == 1.414
    assert axial_pm(10**9, 0) == 10**9
    with pytest.raises(ValueError, match="needed: 0 to below 90"):
        axial_pm(1, 90)


def test_seat_face_and_skim_add_up():
    """Worked by hand: 0.95, seat 0.15, face 0.05, skim 0.10 gives 1.05; the tip knows no skim."""
    now = Seated(
        {
            "stand-down": mm("0.95"),
            "tip height": mm("36"),
            "installed spring height": mm("41"),
            "margin": mm("1.2"),
            "head thickness": mm("120"),
        },
        (),
    )
    steps: tuple[tuple[Step, str], ...] = (
        ("cut seat", "0.15"), ("reface valve", "0.05"), ("skim", "0.10"), ("grind tip", "0.12"),
        ("shim", "0.381"))  # fmt: skip
    for step, depth in steps:
        now = now.after(step, mm(depth))
    assert now.figures == {
        "stand-down": mm("1.05"),
        "tip height": mm("36.08"),
        "installed spring height": mm("40.819"),
        "margin": mm("1.15"),
        "head thickness": mm("119.9"),
    }


def test_a_seat_cut_takes_load_off_the_spring():
    """Source: a published spring: 0.2 mm more height at 32.5 N/mm loses 6.5 N."""
    found = what_if(Seated({"installed spring height": mm("38.9")}, ()), "cut seat", mm("0.2"),
                    from_rate(Fraction("32.5"), Fraction(48)))  # fmt: skip
    assert found.load_change_n == Fraction("-6.5")
    assert found.moved_pm == {"installed spring height": mm("0.2")}


def test_what_is_left_to_cut_is_the_least_of_all_limits():
    """Source: cut still allowed = min(stand-down, tip height, spring height with its shims)."""
    figures = {
        "stand-down": mm("1.10"),
        "tip height": mm("36.9"),
        "installed spring height": mm("42.5"),
    }
    held = (
        *bounds("stand-down", "stand-down", None, mm("1.42")),
        *bounds("tip height", "tip height", None, mm("37.17")),
        *bounds("installed spring height", "installed spring height", None, mm("42.7")),
    )
    seated = Seated(figures, held)
    found = allowance(seated, "cut seat")
    assert (found.most_pm, found.held_by) == (mm("0.2"), "installed spring height max")
    # A shim gives the height back; then the tip is next.
    found = allowance(seated.after("shim", mm("0.381")), "cut seat")
    assert (found.most_pm, found.held_by) == (mm("0.27"), "tip height max")
    # Grinding the tip helps it; then the stand-down.
    found = allowance(seated.after("shim", mm("0.381")).after("grind tip", mm("0.1")), "cut seat")
    assert (found.most_pm, found.held_by) == (mm("0.32"), "stand-down max")


def test_the_books_most_tip_removal_is_used_up():
    """0.010 in in all, a published limit: after 0.1 mm there is 0.154 mm left."""
    seated = Seated({"valve length": mm("95.05")},
                    bounds("valve length", "valve length", mm("94.55"), None),
                    {"grind tip": mm("0.254")})  # fmt: skip
    assert allowance(seated, "grind tip").most_pm == mm("0.254")
    then = allowance(seated.after("grind tip", mm("0.1")), "grind tip")
    assert (then.most_pm, then.held_by) == (mm("0.154"), "most of this step (grind tip)")


def test_a_limit_is_drawn_in_by_the_uncertainty():
    """Source: ISO 14253-1:2017, 1.645 standard uncertainties; rounded away from the limit."""
    low, high = bounds("stand-down", "stand-down", mm("0.9"), mm("1.4"), u_pm=mm("0.01"))
    assert (low.at_pm, high.at_pm) == (mm("0.91645"), mm("1.38355"))
    assert guard_pm(1) == 2


def test_load_and_coils_hold_the_installed_height():
    """By hand: 30 N/mm from 50 mm; 270 N wanted is 41 mm; 15 N lost, 40.5 mm; 5 N of u more."""
    spring = from_rate(Fraction(30), Fraction(50))
    (one,) = load_bounds(spring, Fraction(270), None, lost_n=Fraction(15), u_n=Fraction(5))
    assert (one.name, one.side) == ("spring load min", "upper")
    assert one.at_pm == (Fraction("40.5") - Fraction(1645, 1000) * 5 / 30) * 10**9 // 1
    (one,) = load_bounds(spring, None, Fraction(330))
    assert (one.name, one.side, one.at_pm) == ("spring load max", "lower", mm("39"))
    assert bind_bound(mm("10"), mm("28"), mm("1.5")).at_pm == mm("39.5")


def test_the_guard_band_of_a_load_is_that_of_load_and_height_together():
    """By hand: u of 3 N, and 0.1 mm at 40 N/mm is 4 N: 5 N in all; 1.645 * 5 N is 8.225 N."""
    spring = from_rate(Fraction(40), Fraction(50))
    low, high = load_bounds(spring, Fraction(300), Fraction(400), u_n=Fraction(3), u_pm=mm("0.1"))
    assert (low.side, low.at_pm) == ("upper", (50 - Fraction("308.225") / 40) * 10**9 // 1)
    assert (high.side, high.at_pm) == ("lower", -((Fraction("391.775") / 40 - 50) * 10**9 // 1))


@given(
    st.lists(st.tuples(st.integers(1, 60), st.integers(1, 400)), min_size=2, max_size=4),
    st.integers(0, 700), st.integers(0, 700), st.integers(0, 20), st.integers(0, 500),
)  # fmt: skip
def test_a_height_that_is_held_has_its_load_and_the_next_picometre_has_not(
    parts: list[tuple[int, int]], least: int, more: int, u_n: int, u_um: int
):
    """Also of progressive springs; the verdict is the one that a release asks."""
    points, height, load = [(Fraction(500), Fraction(0))], Fraction(500), Fraction(0)
    for lower, stronger in parts:
        height, load = height - lower, load + stronger
        points.append((height, load))
    spring, u_pm, most = from_table(points), u_um * 10**6, least + more

    def word(at: int, low: int | None, high: int | None) -> str:
        mm_at = Fraction(at, 10**9)
        u = combined_n(Fraction(u_n), spring.rate_at(mm_at) * u_pm / 10**9)
        ends = (None if end is None else Fraction(end) for end in (low, high))
        return load_verdict(spring.load(mm_at), u, *ends)

    low, high = load_bounds(spring, Fraction(least), Fraction(most), u_n=Fraction(u_n), u_pm=u_pm)
    below = [low.at_pm, *(point * 10**9 for point, _ in points if point * 10**9 <= low.at_pm)]
    if least:
        assert {word(int(at), least, None) for at in below} == {"within"}
        assert word(low.at_pm + 1, least, None) != "within"
    sure = [high.at_pm, *(point * 10**9 for point, _ in points if point * 10**9 >= high.at_pm)]
    if most > GUARD_FACTOR * combined_n(Fraction(u_n), max(spring.rates) * u_pm / 10**9):
        assert {word(int(at), None, most) for at in sure} == {"within"}
        assert word(high.at_pm - 1, None, most) != "within"


def test_what_if_names_what_breaks_and_what_mends():
    seated = Seated(
        {"stand-down": mm("0.80"), "tip height": mm("37.15")},
        (*bounds("stand-down", "stand-down", mm("0.89"), mm("1.42")),
         *bounds("tip height", "tip height", None, mm("37.17"))),
    )  # fmt: skip
    found = what_if(seated, "cut seat", mm("0.10"))
    assert (found.broken, found.mended) == (("tip height max",), ("stand-down min",))
    assert found.left["grind tip"].least_pm == mm("0.08")
    assert found.left["grind tip"].needed_by == "tip height max"
    cut = allowance(seated, "cut seat")
    assert (cut.least_pm, cut.needed_by, cut.most_pm, cut.possible) == (
        mm("0.09"), "stand-down min", mm("0.02"), False)  # fmt: skip


def test_a_figure_without_reading_is_named():
    seated = Seated({"stand-down": mm("1")}, bounds("margin", "margin", mm("0.5"), None))
    assert seated.beyond() == ()
    assert allowance(seated, "reface valve").unmeasured == ("margin",)
    assert allowance(seated, "cut seat").unmeasured == ()


values = st.integers(-50, 50)


@given(
    st.dictionaries(st.sampled_from(FIGURES), values),
    st.lists(st.tuples(st.sampled_from(FIGURES), values, st.integers(0, 40), st.integers(0, 9))),
)
def test_an_allowance_is_kept_to_its_ends_and_not_beyond(figures, limits):
    """At both ends every limit that the step moves is kept; one picometre further one is not."""
    seated = Seated(figures, [one for name, low, width, u in limits
                              for one in bounds(name, name, low, low + width, u)])  # fmt: skip
    for step, found in allowances(seated).items():
        moves = {one.name for one in seated.held
                 if set(what_if(Seated(dict.fromkeys(FIGURES, 0), ()), step, 1).moved_pm)
                 >= {one.figure}}  # fmt: skip
        if found.possible:
            for depth in {found.least_pm, found.most_pm} - {None}:
                assert not moves & set(seated.after(step, depth).beyond())
            if found.most_pm is not None:
                assert found.held_by in seated.after(step, found.most_pm + 1).beyond()
        if found.least_pm:
            assert found.needed_by in seated.after(step, found.least_pm - 1).beyond()


@given(st.sampled_from(STEPS), values, values)
def test_steps_add_up_in_any_parts(step: Step, one: int, other: int):
    seated = Seated(dict.fromkeys(FIGURES, 0), (), {step: 100})
    assert seated.after(step, one).after(step, other) == seated.after(step, one + other)
