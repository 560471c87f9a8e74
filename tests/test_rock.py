"""Travel becomes clearance by the geometry of the rocked valve, and two directions are joined."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, strategies as st

from gaugelink.metrology.rock import clearance, factor, rock
from gaugelink.metrology.sweep_result import Flag, Sweep
from gaugelink.quantity import parse_length

if TYPE_CHECKING:
    from collections.abc import Callable

MM = 10**9
UM = 10**6

lengths = st.integers(10 * MM, 100 * MM)
reaches = st.integers(0, 80 * MM)
travels = st.integers(20 * UM, 500 * UM)


@pytest.mark.parametrize(
    ("lift_mm", "printed"),
    [(8, "2.12"), (10, "2.20"), (15, "2.40")],
)
def test_the_factor_grows_with_the_lift(lift_mm: int, printed: str) -> None:
    """Guide 50 mm, contact 20 mm below it with the valve seated; worked by hand from geometry."""
    assert factor(50 * MM, (20 + lift_mm) * MM) == Fraction(printed)


def test_a_guide_shortened_by_a_groove_raises_the_travel() -> None:
    """From 50 mm to 42 mm at a reach of 25 mm: 9.5 % more travel (worked by hand)."""
    ratio = factor(42 * MM, 25 * MM) / factor(50 * MM, 25 * MM)
    assert f"{float(ratio - 1):.3f}" == "0.095"


def test_the_books_pairs_of_wobble_and_clearance_have_the_factor_two(
    check_rows: Callable[[str], list[dict[str, str]]],
) -> None:
    """Source: service data of a 3.0 litre V6 of 1998 that prints both methods on one page."""
    compared = 0
    for row in check_rows("guide_rock_wobble_vs_clearance.csv"):
        for which in ("min", "max", "limit"):
            travel = parse_length(row[f"wobble_{which}"], "mm").pm
            printed = parse_length(row[f"clearance_{which}"], "mm").pm
            found = clearance(travel, guide_length_pm=50 * MM, reach_pm=25 * MM)
            assert found.clearance_pm == printed
            compared += 1
    assert compared == 6


def test_a_pair_from_that_page_stands_here_too() -> None:
    """The same source: intake, wobble limit 0.16 mm, clearance limit 0.08 mm."""
    found = clearance(160 * UM, guide_length_pm=40 * MM, reach_pm=20 * MM)
    assert found.clearance_pm == 80 * UM


def test_the_geometry_adds_what_was_worked_by_hand() -> None:
    """T = 200 um, L = 50 mm, a = 28 mm: C = 94.3 um, of which 1.85 um uncertainty by geometry."""
    found = clearance(200 * UM, guide_length_pm=50 * MM, reach_pm=28 * MM)
    assert f"{float(found.clearance_pm) / UM:.1f}" == "94.3"
    assert f"{found.clearance_u_pm / UM:.2f}" == "1.85"


def test_the_whole_budget_adds_in_squares() -> None:
    """Instrument 1.73, plateaus 2.0, retrace 1.73, resolution 0.41 um on T: 2.4 um on C."""
    travel_u = round((1.73**2 + 2.0**2 + 1.73**2 + 0.41**2) ** 0.5 * UM)
    found = clearance(200 * UM, guide_length_pm=50 * MM, reach_pm=28 * MM, travel_u_pm=travel_u)
    by_hand = ((3.18 / 2.12) ** 2 + 1.85**2) ** 0.5
    assert found.clearance_u_pm / UM == pytest.approx(by_hand, abs=0.01)


def test_a_leaning_indicator_and_a_bending_valve_make_it_less_sure() -> None:
    """Source: a handbook's worked figures: 10 degrees make 0.83 um on a clearance of 94 um."""
    sizes = {"guide_length_pm": 50 * 10**9, "reach_pm": 28 * 10**9, "guide_length_u_pm": 0,
             "reach_u_pm": 0}  # fmt: skip
    leaning = clearance(200 * 10**6, **sizes, lean_deg=10.0)
    assert round(leaning.clearance_u_pm / 1e6, 2) == 0.83
    bending = clearance(200 * 10**6, **sizes, flex_pm=6 * 10**6)
    assert round(bending.clearance_u_pm / 1e6, 2) == round(6 / 3**0.5 / 2.12, 2)
    for lean_deg, flex_pm in ((90.0, 0), (-1.0, 0), (0.0, -1)):
        with pytest.raises(ValueError, match="found a lean"):
            clearance(200 * 10**6, **sizes, lean_deg=lean_deg, flex_pm=flex_pm)


@given(travel=travels, length=lengths, reach=reaches, u=st.integers(0, 10 * UM))
def test_the_uncertainty_is_that_of_small_changes(
    travel: int, length: int, reach: int, u: int
) -> None:
    """The formula agrees with changing each input by its uncertainty, one after the other."""

    def size(travel: int, length: int, reach: int) -> float:
        return travel / (1 + 2 * reach / length)

    u_length, u_reach = 500_000, 1_000_000
    there = size(travel, length, reach)
    changes = [
        size(travel + u, length, reach) - there,
        size(travel, length + u_length, reach) - there,
        size(travel, length, reach + u_reach) - there,
    ]
    found = clearance(
        travel,
        guide_length_pm=length,
        reach_pm=reach,
        travel_u_pm=u,
        guide_length_u_pm=u_length,
        reach_u_pm=u_reach,
    )
    assert found.clearance_u_pm == pytest.approx(
        sum(change**2 for change in changes) ** 0.5, rel=1e-3, abs=2
    )


@given(travel=travels, length=lengths, reach=reaches)
def test_clearance_is_exact_and_never_more_than_the_travel(
    travel: int, length: int, reach: int
) -> None:
    found = clearance(travel, guide_length_pm=length, reach_pm=reach)
    assert found.clearance_pm * factor(length, reach) == travel
    assert found.clearance_pm <= travel


@pytest.mark.parametrize(("length", "reach"), [(0, 1), (-1, 1), (1, -1)])
def test_impossible_geometry_is_refused(length: int, reach: int) -> None:
    with pytest.raises(ValueError, match=r"found a .* needed: "):
        factor(length, reach)


def sweep(travel_um: int, *flags: Flag) -> Sweep:
    return Sweep(travel_um * UM, UM, travel_um * UM, 5, UM, (), flags)


SPOILT = Flag("slip", "The base slipped.", spoils=True)
NOTE = Flag("slip", "The base slipped a little.", spoils=False)


@pytest.mark.parametrize(("along", "across", "larger"), [(80, 120, "across"), (120, 80, "along")])
def test_the_larger_direction_is_the_result(along: int, across: int, larger: str) -> None:
    found = rock(
        {"across": sweep(across), "along": sweep(along)},
        guide_length_pm=50 * MM,
        reach_pm=25 * MM,
    )
    assert found.direction == larger
    assert found.sweep.travel_pm == 120 * UM
    assert found.clearance.clearance_pm == 60 * UM
    assert found.clearances["along"].clearance_pm == Fraction(along * UM, 2)


@pytest.mark.parametrize("order", [("along", "across"), ("across", "along")])
def test_of_equal_directions_it_is_always_along(order: tuple[str, str]) -> None:
    found = rock({name: sweep(100) for name in order}, guide_length_pm=50 * MM, reach_pm=25 * MM)
    assert found.direction == "along"


def test_one_spoilt_direction_spoils_the_result() -> None:
    """While one is not known, nobody knows which is the larger."""
    geometry = {"guide_length_pm": 50 * MM, "reach_pm": 25 * MM}
    assert rock({"along": sweep(80, NOTE), "across": sweep(90)}, **geometry).usable
    assert not rock({"along": sweep(80, SPOILT), "across": sweep(90)}, **geometry).usable


def test_nothing_to_join_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one"):
        rock({}, guide_length_pm=50 * MM, reach_pm=25 * MM)
