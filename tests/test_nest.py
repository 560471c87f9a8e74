"""Nested springs carry the sum of their loads, and the first to go solid counts."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, strategies as st

from gaugelink.metrology.nest import Member, Nest, Room
from gaugelink.metrology.springs import (
    bind_margin,
    from_rate,
    from_table,
    load_verdict,
    rate_from_shape,
)

if TYPE_CHECKING:
    from collections.abc import Callable

sizes = st.fractions(min_value=1, max_value=100, max_denominator=1000)


def test_two_published_springs_carry_the_sum(check_json: Callable[[str], Any]) -> None:
    """Source: Shigley, Example 10-1, and a course on Norton's tables: 4.1156 + 15.4544 lbf/in."""
    first, second = (check_json(f"spring_{name}.json") for name in ("shigley_10_1", "norton_me360"))
    one = {key: Fraction(str(value)) for key, value in first["inputs"].items()}
    two = {key: Fraction(str(value)) for key, value in second["inputs"].items()}
    rates = (
        rate_from_shape(one["d_in"], one["OD_in"] - one["d_in"], one["active_turns"], one["G_psi"]),
        rate_from_shape(two["d_in"], two["D_in"], two["Na"], two["G_psi"]),
    )
    nest = Nest((Member("inner", from_rate(rates[0], Fraction(2))),
                 Member("outer", from_rate(rates[1], Fraction(3)), Fraction(1, 2))))  # fmt: skip
    joint = first["recomputed"]["k"] + second["recomputed"]["k"]
    assert float(nest.rate(Fraction(1))) == pytest.approx(joint, rel=1e-12)
    load = first["recomputed"]["k"] * 1 + second["recomputed"]["k"] * 2.5  # by hand, at 1 in
    assert float(nest.load(Fraction(1))) == pytest.approx(load, rel=1e-12)
    assert nest.room(Fraction(1), Fraction(0)) is None


@given(sizes, sizes, sizes, sizes, sizes)
def test_a_nest_of_one_is_the_spring_itself(
    rate: Fraction, free: Fraction, height: Fraction, lift: Fraction, solid: Fraction
) -> None:
    spring = from_rate(rate, free)
    nest = Nest((Member("only", spring, solid_mm=solid),))
    assert nest.load(height) == spring.load(height)
    assert nest.change(height, lift) == spring.change(height, lift)
    assert (nest.free_mm, nest.solid_mm) == (spring.free_mm, solid)
    assert nest.room(height, lift) == Room(bind_margin(height, lift, solid), ("only",))


@given(st.lists(st.tuples(sizes, sizes, sizes, sizes), min_size=2, max_size=4), sizes, sizes)
def test_the_order_of_the_springs_means_nothing(
    springs: list[tuple[Fraction, Fraction, Fraction, Fraction]], height: Fraction, lift: Fraction
) -> None:
    members = tuple(Member(f"spring {at}", from_rate(rate, free), step, solid)
                    for at, (rate, free, step, solid) in enumerate(springs))  # fmt: skip
    one, other = Nest(members), Nest(members[::-1])
    assert one.load(height) == other.load(height)
    assert one.rate(height) == other.rate(height)
    assert one.room(height, lift) == other.room(height, lift)


def lots(least: int = 1) -> st.SearchStrategy[Nest]:
    """Nests of springs with tables of three heights: plain and progressive ones."""
    parts = st.tuples(sizes, sizes, sizes, sizes, sizes, st.fractions(-9, 9, max_denominator=50))

    def nest(springs: list[tuple[Fraction, ...]]) -> Nest:
        return Nest(tuple(
            Member(f"spring {at}",
                   from_table([(low + down + more, Fraction(0)), (low + down, one),
                               (low, one + two)]), step, low / 2)
            for at, (low, down, more, one, two, step) in enumerate(springs)
        ))  # fmt: skip

    return st.lists(parts, min_size=least, max_size=4).map(nest)


@given(lots(), sizes)
def test_the_sum_is_one_table_of_the_sums_at_every_bend(nest: Nest, height: Fraction) -> None:
    """A slow reference: between neighbouring bends of all springs the sum is straight."""
    bends = sorted({one.step_mm + at for one in nest.members for at, _ in one.loads.points})
    table = from_table([(at, nest.load(at)) for at in bends])
    assert nest.load(height) == table.load(height)
    assert nest.free_mm == table.free_mm
    below = max((at for at in bends if at < height), default=height - 1)
    slope = (nest.load(below) - nest.load(height)) / (height - below)
    assert nest.rate(height) == slope


@given(lots(), sizes, st.fractions(-9, 9, max_denominator=50))
def test_another_place_to_measure_from_changes_no_load(
    nest: Nest, height: Fraction, by: Fraction
) -> None:
    moved = Nest(tuple(replace(one, step_mm=one.step_mm + by) for one in nest.members))
    assert moved.load(height + by) == nest.load(height)
    assert moved.room(height + by, Fraction(3)) == nest.room(height, Fraction(3))


@given(lots(2), sizes, sizes)
def test_the_first_to_touch_says_how_much_room_there_is(
    nest: Nest, height: Fraction, lift: Fraction
) -> None:
    """Lowered by all of the room, the springs named have their coils together, the others not."""
    room = nest.room(height, lift)
    assert room is not None
    assert nest.solid_mm is not None
    assert room.margin_mm == bind_margin(height, lift, nest.solid_mm)
    for one in nest.members:
        assert one.solid_mm is not None
        left = one.height(height - lift - room.margin_mm) - one.solid_mm
        assert (left == 0) is (one.name in room.names)
        assert left >= 0


@given(sizes, st.none() | sizes, st.none() | sizes, st.none() | sizes, sizes)
def test_a_load_s_verdict_knows_no_unit(
    load: Fraction,
    u: Fraction | None,
    least: Fraction | None,
    most: Fraction | None,
    unit: Fraction,
) -> None:
    def turned(one: Fraction | None) -> Fraction | None:
        return None if one is None else one * unit

    word = load_verdict(load, u, least, most)
    assert word == load_verdict(load * unit, turned(u), turned(least), turned(most))
    inside = (least is None or load >= least) and (most is None or load <= most)
    if not u:
        assert word == ("within" if inside else "outside")
    assert word != ("outside" if inside else "within")


def test_what_is_no_nest_is_refused() -> None:
    spring = Member("inner", from_rate(Fraction(1), Fraction(40)))
    with pytest.raises(ValueError, match="found no spring"):
        Nest(())
    with pytest.raises(ValueError, match="two springs of one name"):
        Nest((spring, spring))
