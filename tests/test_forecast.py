"""After work, a position should read what the depths told say, and what does not is a surprise."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations
from math import sqrt

import pytest
from hypothesis import given, strategies as st

from gaugelink.errors import InputError
from gaugelink.events import WorkDone
from gaugelink.head import Position
from gaugelink.planning.allowances import EFFECT
from gaugelink.planning.depth import parse_depth
from gaugelink.planning.forecast import (
    NEW_SIZES,
    ON_THE_AXIS,
    STEP_OF,
    Sized,
    compare,
    foretell,
    pairs,
)
from gaugelink.planning.forecast_words import (
    compared_words,
    difference_words,
    expected_words,
    place_words,
    surprise_words,
)
from gaugelink.planning.stages import Placed
from gaugelink.quantity import Displayed, parse_length
from gaugelink.reading import Stamp
from gaugelink.work import WORK, Operation

STAMP = Stamp("2026-01-01T00:00:00.000000Z", 0, "A. N.", "bench 1")
MM = 10**9
DOWN = Position("3E", "stand-down")
LATER = 10**6


def done(operation: Operation, depth: str = "", valve: str = "3E", **more: str) -> WorkDone:
    valves = (valve,) if WORK[operation].concerns == "valves" else ()
    told = parse_length(depth) if depth else None
    return WorkDone(STAMP, operation, valves, WORK[operation].stale, "A. N.", told,
                    more.get("gauge"))  # fmt: skip


def size(text: str, place: int = 1, position: Position = DOWN, u_um: int = 8) -> Sized:
    return Sized(Placed(position, "D1", place), parse_length(text), u_um * 10**6)


def expected(work: list[WorkDone], before: str = "1.08 mm", name: str = "stand-down"):
    position = Position("" if name == "head thickness" else "3E", name)
    told = [(at, one) for at, one in enumerate(work, 10)]
    return foretell(position, size(before, 1, position), told, until=LATER)


def test_the_trades_worked_example():
    """Stand-down 0.95; seat cut 0.15; face ground 0.05; skim 0.10: 1.05.

    By hand: r_new = r_old + h_seat + h_valveface - s (geometry; trade notes on seat cutting).
    """
    work = [done("seat cut", "0.15 mm"), done("valve refaced", "0.05 mm"),
            done("face skimmed", "0.10 mm")]  # fmt: skip
    found = expected(work, "0.95 mm")
    assert (found.low_pm, found.high_pm, found.why_not) == (1_050_000_000, 1_050_000_000, "")
    assert expected_words(found) == (
        "expected 1.05 mm after seat cut 0.15 mm and valve refaced 0.05 mm and face skimmed 0.10 mm"
    )


@pytest.mark.parametrize(
    ("operation", "name", "moved"),
    [
        # Geometry: what a depth of 0.1 mm does to each figure.
        ("seat cut", "stand-down", 1), ("seat ground", "installed spring height", 1),
        ("seat lapped", "tip height", 1), ("valve refaced", "margin", -1),
        ("valve refaced", "stand-down", 1), ("tip ground", "valve length", -1),
        ("tip ground", "tip height", -1), ("face skimmed", "stand-down", -1),
        ("face skimmed", "head thickness", -1), ("shim changed", "installed spring height", -1),
    ],
)  # fmt: skip
def test_each_operation_moves_what_hangs_on_it(operation, name, moved):
    found = expected([done(operation, "0.1 mm")], "40.00 mm", name)
    assert found.low_pm == 40 * MM + moved * MM // 10


@pytest.mark.parametrize("operation", STEP_OF)
def test_what_a_depth_foretells_is_stale_after_that_work(operation: Operation):
    known = set(WORK[operation].stale) | set(WORK[operation].untouched)
    assert {name for name in EFFECT[STEP_OF[operation]] if name in known} <= set(
        WORK[operation].stale
    )
    assert all(set(names) <= set(WORK[name].stale) for name, names in NEW_SIZES.items())


def test_a_depth_is_asked_for_with_what_is_foretold_from_it_and_with_nothing_else():
    """The page asks nobody for a figure that nothing is reckoned from."""
    assert {name for name, work in WORK.items() if work.depth} == STEP_OF.keys()


def test_the_uncertainty_is_that_of_the_reading_and_of_the_depth_as_told():
    """By hand: u of the gauge 8 um, 0.01 mm / sqrt(12), 0.02 mm / sqrt(3), root sum of squares.

    Rectangular distributions: JCGM 100:2008, clause 4.3.7.
    """
    found = expected([done("seat cut", "0.15 mm")])
    assert found.u_pm == pytest.approx(1e6 * sqrt(8**2 + 10**2 / 12 + 20**2 / 3), rel=1e-6)
    shim = expected([done("shim changed", "0.38 mm")], "40.00 mm", "installed spring height")
    assert shim.u_pm == pytest.approx(1e6 * sqrt(8**2 + 10**2 / 12), rel=1e-6)


@pytest.mark.parametrize("operation", ON_THE_AXIS)
def test_a_new_axis_leaves_doubt_about_the_stand_down_and_foretells_it_all_the_same(operation):
    """By hand: 0.05 mm / sqrt(3) beside 8 um, 0.01 / sqrt(12), 0.02 / sqrt(3): 32.3 um.

    With the new reading's 8 um, 2.58 u is 0.086 mm, so 1.31 is foretold of 1.23 and 1.39 is not.
    """
    found = expected([done(operation), done("seat cut", "0.15 mm")])
    assert (found.low_pm, found.why_not) == (1_230_000_000, "")
    assert found.u_pm == pytest.approx(
        1e6 * sqrt(8**2 + 10**2 / 12 + 20**2 / 3 + 50**2 / 3), rel=1e-6
    )
    assert not compare(found, size("1.31 mm", 20)).surprise
    assert compare(found, size("1.39 mm", 20)).surprise
    assert expected([done(operation)], name="seat runout").why_not


def test_a_movement_of_twice_the_cut_is_a_surprise_and_says_so():
    found = compare(expected([done("seat cut", "0.15 mm")]), size("1.39 mm", 20))
    assert found.surprise
    assert compared_words(found) == "3E stand-down: seat cut 0.15 mm was told, it moved by 0.31 mm"
    assert difference_words(found) == "+0.16 mm"
    assert surprise_words(found).endswith(
        "It can be that another valve was measured, another depth was taken off than told, work "
        "was done and not told, or the depth gauge's base did not sit"
    )
    assert compare(expected([done("seat cut", "0.15 mm")]), size("1.25 mm", 20)).word == (
        "as foretold"
    )
    other = compare(expected([done("seat cut", "0.15 mm")]), size("0.95 mm", 20))
    assert compared_words(other).endswith("it moved by 0.13 mm, the other way")


def test_several_pieces_of_work_are_named_together():
    work = [done("seat cut", "0.15 mm"), done("face skimmed", "0.10 mm")]
    found = compare(expected(work), size("1.39 mm", 20))
    assert compared_words(found) == (
        "3E stand-down: seat cut 0.15 mm and face skimmed 0.10 mm were told, together 0.05 mm "
        "more; it moved by 0.31 mm more"
    )


def test_the_edge_of_a_surprise_is_2_58_standard_uncertainties():
    """99 % on both sides of a normal distribution: 2.576, rounded up."""
    forecast = replace(expected([done("seat cut", "0.15 mm")]), u_pm=0)
    at_edge = parse_length(f"{1.23 + 0.258:.6f} mm")
    reading = Sized(Placed(DOWN, "D1", 20), at_edge, 100 * 10**6)
    assert not compare(forecast, reading).surprise
    assert compare(forecast, replace(reading, u_pm=99_999_999)).surprise


@pytest.mark.parametrize(
    ("work", "name", "why"),
    [
        ([done("seat cut")], "stand-down", "nobody told the depth of seat cut"),
        ([done("seat cut", "0.1 mm")], "seat width", "no depth says what seat cut does to the"),
        ([done("guide honed", "0.1 mm")], "guide bore", "what guide honed does to the guide bore"),
        ([done("valve replaced")], "stand-down", "valve replaced does to the stand-down"),
        ([done("insert fitted"), done("seat cut", "0.1 mm")], "stand-down", "insert fitted"),
        ([done("face skimmed")], "stand-down", "nobody told the depth of face skimmed"),
    ],
)
def test_what_is_not_known_is_not_foretold_and_says_why(work, name, why):
    found = expected(work, name=name)
    assert why in found.why_not
    assert (found.low_pm, found.high_pm) == (None, None)
    compared = compare(found, size("9.99 mm", 20))
    assert (compared.word, compared.surprise) == ("not foretold", False)


def test_a_new_part_has_the_sizes_of_a_new_one_and_work_on_it_counts_on():
    stem = Position("3E", "margin")
    told = [(10, done("valve refaced", "0.3 mm")), (11, done("valve replaced")),
            (12, done("valve refaced", "0.1 mm"))]  # fmt: skip
    new = (13 * MM // 10, 15 * MM // 10)
    for before in (size("0.8 mm", 1, stem), None):
        found = foretell(stem, before, told, until=LATER, new_sizes=lambda _: new)
        assert found is not None
        assert (found.low_pm, found.high_pm) == (new[0] - MM // 10, new[1] - MM // 10)
        assert expected_words(found).startswith("expected 1.2 to 1.4 mm after valve replaced")
    assert not compare(found, size("1.30 mm", 20, stem)).surprise
    beyond = compare(found, size("0.80 mm", 20, stem))
    assert beyond.surprise
    assert beyond.difference_pm == -4 * MM // 10
    assert compared_words(beyond).endswith("expected 1.2 to 1.4 mm, found 0.80 mm")
    without = foretell(stem, None, told, until=LATER)
    assert without is not None
    assert without.why_not == "the sheet has no size of a new part for the margin"


def test_the_heads_thickness_gives_the_depth_of_a_skim_that_nobody_told():
    thick = Position("", "head thickness")
    told = [(10, done("face skimmed")), (30, done("face skimmed", "0.2 mm"))]
    measured = [size("120.40 mm", 2, thick, 3), size("120.28 mm", 12, thick, 4)]
    before = size("1.08 mm")
    found = foretell(DOWN, before, told, until=20, thickness=measured)
    assert found is not None
    assert found.low_pm == 960_000_000
    assert found.u_pm == pytest.approx(1e6 * sqrt(8**2 + 3**2 + 4**2), rel=1e-6)
    late = [measured[0], size("120.08 mm", 31, thick)]
    missed = foretell(DOWN, before, told, until=20, thickness=late)
    assert missed is not None
    assert missed.why_not, "it was measured after the next skim"


SHIFTS = st.lists(
    st.tuples(
        st.sampled_from([name for name in STEP_OF if name not in {"tip ground", "shim changed"}]),
        st.integers(1, 400),
    ),
    min_size=1, max_size=4,
)  # fmt: skip


@given(SHIFTS, st.integers(0, 3000))
def test_the_order_of_work_does_not_matter(shifts, before):
    work = [done(name, f"{depth / 1000:.3f} mm") for name, depth in shifts]
    found = {
        (item.low_pm, item.high_pm, item.u_pm)
        for order in permutations(work)
        if (item := expected(list(order), f"{before / 1000:.3f} mm"))
    }
    assert len(found) == 1


@given(st.integers(-3000, 3000), st.integers(0, 50))
def test_a_forecast_of_no_work_is_the_reading_itself(microns: int, u_um: int):
    before = size(f"{microns / 1000:.3f} mm", u_um=u_um)
    for told in ([], [(10, done("tip ground", "0.1 mm"))], [(10, done("seat cut", valve="1E"))]):
        found = foretell(DOWN, before, told, until=LATER)
        assert found is not None
        assert (found.low_pm, found.high_pm) == (before.shown.pm, before.shown.pm)
        assert (found.u_pm, found.because) == (before.u_pm, ())


@given(SHIFTS, st.integers(0, 800), st.integers(0, 800))
def test_millimetres_and_inches_give_the_same(shifts, before, after):
    def shown(tenths: int, unit: str) -> Displayed:
        # whole ten-thousandths of an inch, which end in mm too
        return Displayed("0", unit, tenths * 2_540_000, 2_540_000)  # type: ignore[arg-type]

    results = []
    for unit in ("mm", "in"):
        told = [(at, replace(done(name, "1 mm"), depth=shown(depth, unit)))
                for at, (name, depth) in enumerate(shifts, 10)]  # fmt: skip
        start = Sized(Placed(DOWN, "D1", 1), shown(before, unit), 10**6)
        forecast = foretell(DOWN, start, told, until=LATER)
        assert forecast is not None
        found = compare(forecast, Sized(Placed(DOWN, "D1", 50), shown(after, unit), 10**6))
        results.append((forecast.low_pm, forecast.u_pm, found.word, found.difference_pm))
    assert results[0] == results[1]


def test_every_round_of_work_is_compared_with_the_round_before_it():
    told = [(10, done("seat cut", "0.15 mm")), (30, done("seat lapped", "0.01 mm"))]
    readings = [size("1.08 mm", 1), size("1.23 mm", 20), size("1.40 mm", 40),
                size("1.00 mm", 2, Position("1E", "stand-down"))]  # fmt: skip
    found = pairs(readings, told)
    assert [(item.found.placed.place, item.word) for item in found] == [
        (20, "as foretold"), (40, "surprise")
    ]  # fmt: skip
    assert place_words(found[0].forecast.position) == "3E stand-down"


def test_what_a_gauge_measured_that_was_found_out_is_neither_base_nor_surprise():
    told = [(10, done("seat cut", "0.15 mm")), (30, done("gauge found out", gauge="D1"))]
    other = Sized(Placed(DOWN, "D2", 1), parse_length("1.08 mm"), 8 * 10**6)
    readings = [other, size("1.60 mm", 20), Sized(Placed(DOWN, "D2", 40), parse_length("1.22 mm"),
                                                  8 * 10**6)]  # fmt: skip
    [found] = pairs(readings, told)
    assert (found.found.placed.place, found.word) == (40, "as foretold")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        # h = n / cos a (geometry): 1.414 n at 45 degrees, 1.155 n at 30.
        ("0.10 mm at 45", "0.141 mm"), ("0.10 mm at 30 deg", "0.115 mm"),
        ("0.10 mm at 0", "0.100 mm"), ("0.004 in at 45\u00b0", "0.0057 in"), ("0.15 mm", "0.15 mm"),
    ],
)  # fmt: skip
def test_a_depth_square_to_the_seat_counts_along_the_axis(text: str, told: str):
    assert str(parse_depth(text)) == told


@pytest.mark.parametrize("text", ["", "0.1", "0.1 mm at 90", "0.1 mm at", "mm at 45", "at 45"])
def test_a_depth_that_is_none_is_refused(text: str):
    with pytest.raises(InputError):
        parse_depth(text)
