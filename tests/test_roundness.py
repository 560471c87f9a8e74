"""Form and position of valve parts follow from their readings as geometry says."""

from __future__ import annotations

from fractions import Fraction
from math import radians, sin, tan
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, strategies as st

from gaugelink.metrology.roundness import (
    Between,
    Seated,
    Size,
    bell_mouth,
    clearances,
    drop_for_contact,
    drop_for_layer,
    eccentricity,
    out_of_round,
    runout_on_cone,
    taper,
)
from gaugelink.quantity import parse_length

if TYPE_CHECKING:
    from collections.abc import Callable

STATIONS = ("top", "middle", "bottom")
diameters = st.integers(7 * 10**9, 9 * 10**9)
parts = st.lists(
    st.builds(Size, st.sampled_from(STATIONS), st.sampled_from(["along", "across"]), diameters),
    min_size=1, max_size=8,
)  # fmt: skip


def test_clearances_that_books_print_beside_both_sizes_add_up(
    check_rows: Callable[[str], list[dict[str, str]]],
) -> None:
    """Source: a car maker's service data and US Army TM 9-6115-670-14&P."""
    rows = check_rows("guide_clearance_consistency.csv")
    assert len(rows) == 3
    for row in rows:
        pm = {key: parse_length(value, "mm").pm for key, value in row.items()
              if key not in {"engine", "valve"}}  # fmt: skip
        found = clearances((pm["guide_min"], pm["guide_max"]), (pm["stem_min"], pm["stem_max"]))
        assert found == Between(pm["clearance_min_printed"], pm["clearance_max_printed"])


@given(parts, st.integers(-(10**9), 10**9))
def test_a_size_that_is_larger_all_over_has_the_same_form(part: list[Size], more: int) -> None:
    grown = [Size(one.station, one.direction, one.pm + more) for one in part]
    assert out_of_round(grown) == out_of_round(part)
    assert taper(grown) == taper(part)
    assert bell_mouth(grown, STATIONS) == bell_mouth(part, STATIONS)


@given(parts, parts)
def test_more_readings_never_make_the_worst_better(bore: list[Size], stem: list[Size]) -> None:
    bores, stems = [one.pm for one in bore], [one.pm for one in stem]
    whole, part = clearances(bores, stems), clearances(bores[:1], stems)
    assert whole.tightest_pm <= part.tightest_pm <= part.worst_pm <= whole.worst_pm


@given(parts)
def test_no_form_is_below_zero(part: list[Size]) -> None:
    assert taper(part) >= 0
    assert all(size >= 0 for size in out_of_round(part).values())


def test_a_straight_bore_has_no_form_and_a_trumpet_has_a_mouth() -> None:
    straight = [Size(at, way, 8) for at in STATIONS for way in ("along", "across")]
    assert (set(out_of_round(straight).values()), taper(straight)) == ({0}, 0)
    trumpet = [*straight[:4], Size("bottom", "along", 58), Size("bottom", "across", 28)]
    assert bell_mouth(trumpet, STATIONS) == {"top": 0, "bottom": 50}
    assert out_of_round(trumpet) == {"top": 0, "middle": 0, "bottom": 30}
    assert taper(trumpet) == 35


def test_what_was_not_measured_is_not_told() -> None:
    one = [Size("top", "along", 8), Size("bottom", "across", 9)]
    assert out_of_round(one) == {}
    assert bell_mouth(one, STATIONS) == {}
    with pytest.raises(ValueError, match="found 2 stations"):
        bell_mouth(one, ("top", "bottom"))
    with pytest.raises(ValueError, match="found no reading"):
        taper([])
    with pytest.raises(ValueError, match="bore or the stem"):
        clearances([], [1])


@given(st.floats(0, 1e9), st.floats(1, 80))
def test_drops_follow_from_the_triangle_of_the_face(layer: float, angle: float) -> None:
    """A layer's drop and its widening are hypotenuse and leg: h = n / cos, dr = n / sin."""
    drop = drop_for_layer(layer, angle)
    assert drop >= layer
    assert drop_for_contact(layer / sin(radians(angle)), angle) == pytest.approx(drop)
    assert drop_for_contact(layer, angle) == pytest.approx(layer * tan(radians(angle)))


def test_a_seat_off_centre_reads_twice_on_a_cylinder_and_less_on_a_cone() -> None:
    assert eccentricity(51) == Fraction(51, 2)
    assert runout_on_cone(25, 90) == pytest.approx(50)
    assert runout_on_cone(25, 30) == pytest.approx(25)


heights = st.integers(-(10**10), 10**10)


@given(heights, heights, heights, heights, heights, heights)
def test_machining_moves_what_it_must_and_nothing_else(
    recession: int, tip: int, spring: int, drop: int, skim: int, ground: int
) -> None:
    """Skimming lifts the recession alone, grinding the tip lowers the tip alone; order is free."""
    was = Seated(recession, tip, spring)
    assert was.after(skim_pm=skim) == Seated(recession - skim, tip, spring)
    assert was.after(tip_ground_pm=ground) == Seated(recession, tip - ground, spring)
    assert was.after(drop_pm=drop) == Seated(recession + drop, tip + drop, spring + drop)
    at_once = was.after(drop_pm=drop, skim_pm=skim, tip_ground_pm=ground)
    assert was.after(tip_ground_pm=ground).after(skim_pm=skim).after(drop_pm=drop) == at_once
    assert at_once.after(drop_pm=-drop, skim_pm=-skim, tip_ground_pm=-ground) == was


@given(heights, heights, heights, heights, heights, heights, st.integers(0, 10**9))
def test_what_is_left_to_cut_reaches_one_limit_and_passes_none(
    recession: int, tip: int, spring: int, r: int, t: int, s: int, shims: int
) -> None:
    most = {"recession": r, "tip": t, "spring": s}
    first, left = Seated(recession, tip, spring).cut_left(most, shims)
    cut = Seated(recession, tip, spring).after(drop_pm=left)
    now = {"recession": cut.recession_pm, "tip": cut.tip_pm, "spring": cut.spring_pm - shims}
    assert now[first] == most[first]
    assert all(now[name] <= most[name] for name in most)


def test_limits_of_another_name_are_refused() -> None:
    with pytest.raises(ValueError, match="found limits for lift, needed"):
        Seated(1, 1, 1).cut_left({"lift": 5})
    with pytest.raises(ValueError, match="found limits for nothing"):
        Seated(1, 1, 1).cut_left({})
