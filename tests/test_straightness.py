"""A straightedge, its window and feeler blades tell what geometry says they must."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations

import pytest
from hypothesis import given, strategies as st

from gaugelink.metrology.straightness import (
    Feeler,
    Stretch,
    feeler_verdict,
    in_any_length,
    largest_gap,
    profile,
    six_lines,
    straightedge,
    straightness,
)

profiles = st.lists(
    st.tuples(st.integers(0, 40), st.integers(-50, 50)), min_size=2, max_size=9,
    unique_by=lambda spot: spot[0],
).map(sorted)  # fmt: skip


def slow_gap(line: list[tuple[int, int]]) -> Fraction:
    """Largest depth below any chord over the place: what the edge rests on is the highest chord."""
    gap = Fraction(0)
    for (s1, z1), (s2, z2) in combinations(line, 2):
        for s, z in line:
            if s1 <= s <= s2:
                gap = max(gap, Fraction(z1 * (s2 - s) + z2 * (s - s1), s2 - s1) - z)
    return gap


def slow_straightness(line: list[tuple[int, int]]) -> Fraction:
    """Least distance of parallel lines, over all slopes that two points can give."""
    slopes = {Fraction(z2 - z1, s2 - s1) for (s1, z1), (s2, z2) in combinations(line, 2)}
    sizes = []
    for slope in slopes:
        heights = [z - slope * s for s, z in line]
        sizes.append(max(heights) - min(heights))
    return min(sizes)


@given(profiles)
def test_the_gap_is_that_under_the_highest_chord(line: list[tuple[int, int]]) -> None:
    assert straightedge(line) == slow_gap(line)


@given(profiles)
def test_no_two_parallel_lines_are_closer(line: list[tuple[int, int]]) -> None:
    assert straightness(line) == slow_straightness(line)


@given(profiles, st.integers(-9, 9), st.integers(-99, 99))
def test_tilting_and_lifting_change_neither(
    line: list[tuple[int, int]], slope: int, lift: int
) -> None:
    moved = [(s, z + slope * s + lift) for s, z in line]
    assert straightedge(moved) == straightedge(line)
    assert straightness(moved) == straightness(line)


@given(profiles)
def test_the_gap_is_never_more_than_the_straightness(line: list[tuple[int, int]]) -> None:
    assert straightedge(line) <= straightness(line)


def test_a_twist_shows_along_the_diagonals_alone() -> None:
    """Height xy, with a bow that cancels it along one diagonal (geometry; no printed source)."""
    twisted = [(x, y, x * y) for x in (-2, -1, 0, 1, 2) for y in (-2, -1, 0, 1, 2)]
    lines = six_lines(twisted)
    assert len(lines) == 6
    sizes = {name: straightness(profile(twisted, on)) for name, on in lines.items()}
    assert {name for name, size in sizes.items() if size} == {"rising diagonal", "falling diagonal"}
    assert sizes["rising diagonal"] == 4
    bowed = [(x, y, 2 * z - x * x - y * y) for x, y, z in twisted]
    again = {name: straightness(profile(bowed, on)) for name, on in lines.items()}
    assert again["rising diagonal"] == 0
    assert again["falling diagonal"] == 16


def test_a_point_beside_a_line_belongs_to_it_within_a_hundredth_of_the_shorter_side() -> None:
    face = [(0, 0, 0), (1000, 0, 0), (0, 500, 0), (1000, 500, 0)]
    assert six_lines([*face, (500, 5, 0)])["edge along, y lowest"] == (0, 4, 1)
    assert "edge along, y lowest" not in six_lines([*face, (500, 6, 0)])


@given(st.lists(st.integers(-50, 50), min_size=3, max_size=9), st.integers(2, 12))
def test_a_longer_window_never_tells_less(heights: list[int], length: int) -> None:
    points = [(at, 0, z) for at, z in enumerate(heights)]
    places = range(len(points))
    shorter, longer = (in_any_length(points, places, size) for size in (length, length + 1))
    assert shorter.size <= longer.size <= straightness(profile(points, places))
    whole = in_any_length(points, places, len(points))
    assert whole.size == straightness(profile(points, places))


def test_the_length_of_a_window_is_measured_along_a_diagonal() -> None:
    """Points 5 apart on a 3-4-5 line: a window of 10 holds three, one of 9 only two."""
    points = [(4 * at, 3 * at, at * at) for at in range(4)]
    assert in_any_length(points, range(4), 10) == Stretch(Fraction(1), 0, 2)
    with pytest.raises(ValueError, match="fewer than three points in every window"):
        in_any_length(points, range(4), 9)


def test_blades_are_an_interval_never_a_figure() -> None:
    """0.05 mm goes and 0.06 mm does not: against 0.05 mm that settles nothing."""
    gap = Feeler(50, 60)
    assert feeler_verdict(gap, 49) == "outside"
    assert feeler_verdict(gap, 50) == feeler_verdict(gap, 59) == "undecided"
    assert feeler_verdict(gap, 60) == "within"
    assert feeler_verdict(Feeler(50, None), 10**12) == "undecided"
    assert feeler_verdict(Feeler(0, 30), 30) == "within"


def test_the_largest_gap_is_known_from_above_only_where_every_line_is() -> None:
    assert largest_gap({"a": Feeler(0, 30), "b": Feeler(40, 50)}) == Feeler(40, 50)
    assert largest_gap({"a": Feeler(0, None), "b": Feeler(40, 50)}) == Feeler(40, None)
    with pytest.raises(ValueError, match="no line"):
        largest_gap({})


@pytest.mark.parametrize("blades", [(60, 50), (50, 50), (-1, 50)])
def test_blades_that_contradict_each_other_are_refused(blades: tuple[int, int]) -> None:
    with pytest.raises(ValueError, match="thicker than the first"):
        Feeler(*blades)
