"""The sweep analysis finds the travel through what disturbs it, and says what spoils it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st
from hypothesis.extra import numpy as arrays
from sweep_maker import Wish, make

from gaugelink.metrology.sweep import Sweep, display_step, measure_travel, plateaus_so_far
from gaugelink.metrology.sweep_clean import working_seconds
from gaugelink.metrology.sweep_ends import turns

UM = 10**6
SEED = 4_711


def rock(
    levels: list[float], *, rate: float = 16.0, stay: float = 0.7, way: float = 0.4
) -> tuple[Any, Any]:
    """Straight ways between rests at the levels (um); sampled, not rounded."""
    knots, at = [(0.0, levels[0])], 0.0
    for number, level in enumerate(levels):
        at += way if number else 0.0
        knots.append((at, level))
        at += stay
        knots.append((at, level))
    t = np.arange(0, at, 1 / rate)
    return t, np.interp(t, [when for when, _ in knots], [where for _, where in knots])


def counted(t: Any, um: Any, step_pm: int = UM, **more: Any) -> Sweep:
    value_pm = np.round(np.asarray(um) * UM / step_pm).astype(np.int64) * step_pm
    return measure_travel(np.round(t * 1e9).astype(np.int64), value_pm, step_pm, **more)


def codes(sweep: Sweep) -> list[str]:
    return [flag.code for flag in sweep.flags]


FIVE = [100.0, 300.0] * 5 + [100.0]


def test_a_clean_rock_gives_its_travel_to_the_picometre() -> None:
    sweep = counted(*rock(FIVE))
    assert sweep.travel_pm == 200 * UM
    assert sweep.full_rocks == 5
    assert sweep.usable
    assert sweep.flags == ()
    assert [end.side for end in sweep.plateaus] == ["low", "high"] * 5 + ["low"]
    assert {end.level_pm for end in sweep.plateaus} == {100 * UM, 300 * UM}
    assert all(end.used for end in sweep.plateaus)


def test_plateaus_lie_where_the_stem_rested() -> None:
    t, um = rock(FIVE)
    for end in counted(t, um).plateaus:
        inside = um[end.start : end.end + 1]
        assert np.abs(inside - float(end.level_pm) / UM).max() <= 0.05 * 200
        assert t[end.end] - t[end.start] == pytest.approx(0.7, abs=0.15)


@pytest.mark.parametrize("rate", [3, 5, 10, 16, 50])
@pytest.mark.parametrize("travel", [20, 60, 200, 500])
@pytest.mark.parametrize(
    "step_pm", [100_000, 1_000_000, 1_270_000, 2_540_000], ids=["0.1um", "1um", "5e-5in", "1e-4in"]
)
def test_travel_is_within_a_step_from_3_to_50_readings_a_second(
    rate: int, travel: int, step_pm: int
) -> None:
    t, um = rock([7.3, 7.3 + travel] * 4, rate=rate)
    sweep = counted(t, um, step_pm)
    assert abs(sweep.travel_pm - travel * UM) <= step_pm
    assert sweep.usable


@pytest.mark.parametrize("step_pm", [10_000_000, 12_700_000], ids=["0.01mm", "0.0005in"])
def test_coarse_displays_give_the_travel_within_a_step(step_pm: int) -> None:
    sweep = counted(*rock([3.0, 203.0] * 4), step_pm)
    assert abs(sweep.travel_pm - 200 * UM) <= step_pm
    assert sweep.usable
    assert "coarse" not in codes(sweep)


def test_a_travel_of_few_steps_is_called_coarse() -> None:
    sweep = counted(*rock([3.0, 43.0] * 4), 10_000_000)
    assert codes(sweep) == ["coarse"]
    assert sweep.usable


def drift(t: Any, um: Any) -> Any:
    return um + 30 * t / t[-1]


def bent_drift(t: Any, um: Any) -> Any:
    return um + 25 * (1 - np.exp(-3 * t / t[-1]))


def spike(t: Any, um: Any) -> Any:
    um = um.copy()
    um[[40, 90]] += 700
    um[120] -= 150
    return um


def double_spike(t: Any, um: Any) -> Any:
    um = um.copy()
    um[40:42] = 10
    um[100:102] += [500, 650]
    return um


def lost_digit(t: Any, um: Any) -> Any:
    um = um + 4000
    um[77] /= 10
    return um


def peaks_at_the_wall(t: Any, um: Any) -> Any:
    um, wall = um.copy(), np.isin(um, [100.0, 300.0])
    for place in np.flatnonzero(wall[1:] & ~wall[:-1]) + 1:
        side = 1 if um[place] > 200 else -1
        um[place] += side * 25
        um[place + 1] += side * 8
    return um


def creep(t: Any, um: Any) -> Any:
    um, wall = um.copy(), np.isin(um, [100.0, 300.0])
    since = 0.0
    for place in range(1, len(um)):
        since = since + t[1] if wall[place] and wall[place - 1] else 0.0
        if wall[place]:
            um[place] -= (1 if um[place] > 200 else -1) * 4 * np.exp(-since / 0.12)
    return um


def stiction(t: Any, um: Any) -> Any:
    shown = um.copy()
    for place in range(1, len(um)):
        stuck = abs(um[place] - shown[place - 1]) < 2.0
        shown[place] = shown[place - 1] if stuck else um[place]
    return shown


def slip(t: Any, um: Any) -> Any:
    return um + 60.0 * (t > 5.3)


def slip_in_a_rest(t: Any, um: Any) -> Any:
    return um - 60.0 * (t > t[np.flatnonzero(um == 300.0)[len(np.flatnonzero(um == 300.0)) // 2]])


@pytest.mark.parametrize(
    "trouble",
    [
        drift,
        bent_drift,
        spike,
        double_spike,
        lost_digit,
        peaks_at_the_wall,
        creep,
        stiction,
        slip,
        slip_in_a_rest,
    ],
    ids=lambda each: each.__name__,
)
def test_what_does_not_spoil_a_sweep_does_not_move_its_travel(trouble: Any) -> None:
    t, um = rock(FIVE, rate=20)
    noise = np.random.default_rng(SEED).normal(0, 0.3, len(t))
    sweep = counted(t, trouble(t, um) + noise)
    assert abs(sweep.travel_pm - 200 * UM) <= 1.5 * UM
    assert sweep.full_rocks >= 4
    assert sweep.usable, sweep.flags


@pytest.mark.parametrize("where", [0.3, 0.5, 0.7])
def test_a_pause_half_way_is_not_a_wall(where: float) -> None:
    t, um = rock([0.0, 200.0, 200 * where, 0.0, 200.0, 0.0, 200.0, 0.0], stay=0.5)
    sweep = counted(t, um)
    assert abs(sweep.travel_pm - 200 * UM) <= UM
    assert [end.level_pm for end in sweep.plateaus] == [0, 200 * UM] * 3 + [0]


def test_a_rest_half_way_before_and_after_is_no_short_end() -> None:
    sweep = counted(*rock([90.0, *[0.0, 200.0] * 4, 80.0], stay=1.0))
    assert sweep.travel_pm == 200 * UM
    assert sweep.flags == ()
    assert sweep.full_rocks == 4
    assert [end.used for end in sweep.plateaus] == [False] + [True] * 8 + [False]


def test_bunched_arrival_changes_nothing_of_weight() -> None:
    t, um = rock(FIVE, rate=20)
    bunched = np.ceil(t / 0.25) * 0.25
    assert counted(bunched, um).travel_pm == pytest.approx(200 * UM, abs=UM)
    assert counted(bunched, um).usable


def test_working_seconds_undo_a_bunch_and_never_run_backwards() -> None:
    t = np.round(np.ceil(np.arange(100) / 5) * 5 * 5e7).astype(np.int64)
    seconds = working_seconds(t)
    assert (np.diff(seconds) >= 0).all()
    assert np.diff(seconds)[10:].max() < 0.25


@pytest.mark.parametrize("missing", [0.15, 0.25, 0.4])
@pytest.mark.parametrize("place", range(2, 9))
def test_one_short_end_among_five_rocks_is_left_out_and_told(place: int, missing: float) -> None:
    levels = list(FIVE)
    levels[place] += (1 if levels[place] < 200 else -1) * 200 * missing
    sweep = counted(*rock(levels))
    assert sweep.travel_pm == 200 * UM
    assert sweep.usable
    assert codes(sweep) == ["short end"]
    assert [end.used for end in sweep.plateaus].count(False) == 1
    assert not sweep.plateaus[place].used
    assert "short" in sweep.plateaus[place].why


def test_several_short_ends_refuse_the_sweep() -> None:
    levels = list(FIVE)
    for place in (3, 5, 8):
        levels[place] += (1 if levels[place] < 200 else -1) * 40
    sweep = counted(*rock(levels))
    assert "short end" in codes(sweep)
    assert not sweep.usable


def test_an_end_far_beyond_the_others_proves_them_short() -> None:
    levels = [100.0, 280.0] * 5 + [100.0]
    levels[5] = 300.0
    sweep = counted(*rock(levels))
    assert "short end" in codes(sweep)
    assert not sweep.usable


def test_rocking_between_the_walls_without_reaching_them_is_told() -> None:
    levels = [100.0, 300.0, 100.0, 300.0, 220.0, 170.0, 225.0, 180.0, *[100.0, 300.0] * 3]
    sweep = counted(*rock(levels))
    assert "short end" in codes(sweep)


@pytest.mark.parametrize("rocks", [1, 2])
def test_fewer_than_three_full_rocks_are_too_few(rocks: int) -> None:
    sweep = counted(*rock([0.0, 200.0] * rocks + [0.0]))
    assert "too few rocks" in codes(sweep)
    assert sweep.full_rocks == rocks
    assert not sweep.usable


def test_a_slip_is_told_with_its_size() -> None:
    t, um = rock(FIVE)
    (flag,) = counted(t, slip(t, um)).flags
    assert flag.code == "slip"
    assert "60 um" in flag.text
    assert not flag.spoils


def test_a_base_that_slips_again_and_again_refuses_the_sweep() -> None:
    t, um = rock([0.0, 200.0] * 7)
    moved = um + 60.0 * (t > 3.2) - 90.0 * (t > 7.5) + 70.0 * (t > 11.2)
    assert not counted(t, moved).usable


def test_a_display_that_holds_amid_the_rocking_is_frozen() -> None:
    t, um = rock([0.0, 200.0] * 6)
    um = um + np.random.default_rng(SEED).normal(0, 0.4, len(t))
    held = (t > 4.0) & (t < 7.5)
    um[held] = um[held][0]
    sweep = counted(t, um)
    assert "frozen" in codes(sweep)
    assert not sweep.usable


def test_a_display_that_never_changes_is_frozen() -> None:
    sweep = counted(np.arange(0, 8, 0.1), np.full(80, 123.0))
    assert codes(sweep) == ["no movement", "frozen"]
    assert not sweep.usable


def test_flicker_is_no_movement() -> None:
    noise = np.random.default_rng(SEED).normal(0, 0.4, 200)
    sweep = counted(np.arange(0, 20, 0.1), noise)
    assert codes(sweep) == ["no movement"]
    assert sweep.travel_pm == 0
    assert sweep.plateaus == ()


def test_a_changed_unit_is_told_even_where_the_value_is_right() -> None:
    t, um = rock(FIVE)
    units = ["mm"] * 90 + ["in"] * (len(t) - 90)
    sweep = counted(t, um, units=units)
    assert codes(sweep) == ["unit change"]
    assert "reading 91" in sweep.flags[0].text
    assert not sweep.usable


def test_a_jump_by_the_ratio_of_inch_to_millimetre_is_told_without_units() -> None:
    t, um = rock([0.0, 200.0] * 7)
    um = um + 8000
    um[120:] /= 25.4
    assert "unit change" in codes(counted(t, um))


@pytest.mark.parametrize("side", [1, -1], ids=["high", "low"])
def test_an_end_of_the_range_is_told_by_its_calm(side: int) -> None:
    t, um = rock([0.0, 200.0] * 6, rate=25)
    um = um + np.random.default_rng(SEED).normal(0, 0.6, len(t)) + 2.0 * np.sin(t)
    clipped = np.minimum(um, 150.0) if side > 0 else np.maximum(um, 50.0)
    sweep = counted(t, clipped)
    assert "clipped" in codes(sweep)
    assert not sweep.usable


def test_a_known_end_of_the_range_is_told_in_a_quiet_sweep() -> None:
    t, um = rock([0.0, 200.0] * 6)
    sweep = counted(t, np.minimum(um, 150.0), range_pm=(-(10**9), 150 * UM))
    assert "clipped" in codes(sweep)
    assert not sweep.usable


def test_a_gauge_zeroed_at_a_wall_is_not_called_clipped() -> None:
    assert counted(*rock([0.0, 200.0] * 5)).flags == ()


def test_time_running_backwards_refuses_the_sweep() -> None:
    t, um = rock(FIVE)
    t[60] = t[58]
    t[59] += 0.01
    sweep = counted(t, um)
    assert "time" in codes(sweep)
    assert not sweep.usable


@pytest.mark.parametrize(("seconds", "spoils"), [(1.5, False), (3.5, True)])
def test_readings_missing_amid_the_rocking_are_told(seconds: float, spoils: bool) -> None:
    t, um = rock([0.0, 200.0] * 7)
    there = (t < 5.05) | (t > 5.05 + seconds)
    sweep = counted(t[there], um[there])
    assert ("gap" in codes(sweep), sweep.usable) == (True, not spoils)


def test_ends_that_do_not_agree_are_told() -> None:
    apart = np.random.default_rng(SEED).normal(0, 9, len(FIVE))
    levels = (np.array(FIVE) + apart).tolist()
    sweep = counted(*rock(levels))
    assert not sweep.usable


def test_a_hand_too_quick_for_the_gauge_is_never_believed() -> None:
    t, um = rock([0.0, 200.0] * 8, rate=5, stay=0.05, way=0.5)
    sweep = counted(t, um)
    assert not sweep.usable or abs(sweep.travel_pm - 200 * UM) < 4 * UM


def test_button_presses_at_the_walls_make_a_sweep() -> None:
    t = 3.0 * np.arange(14)
    sweep = counted(t, np.array([0.0, 100.0] * 7))
    assert (sweep.travel_pm, sweep.full_rocks, sweep.usable) == (100 * UM, 7, True)


def test_levels_are_whole_or_half_picometres() -> None:
    made = make(np.random.default_rng(SEED))
    for end in measure_travel(made.t_ns, made.value_pm, made.step_pm).plateaus:
        assert isinstance(end.level_pm, Fraction)
        assert end.level_pm.denominator in (1, 2)


def test_the_uncertainty_holds_step_and_instrument() -> None:
    t, um = rock(FIVE)
    assert counted(t, um).travel_u_pm == round(UM / 6**0.5)
    with_instrument = counted(t, um, u_instrument_pm=3 * UM).travel_u_pm
    assert with_instrument == round((UM**2 / 6 + 9 * UM**2) ** 0.5)


def test_the_upper_figure_is_never_below_the_travel() -> None:
    for number in range(40):
        made = make(np.random.default_rng([SEED, number]))
        sweep = measure_travel(made.t_ns, made.value_pm, made.step_pm)
        assert sweep.upper_pm >= sweep.travel_pm


def test_plateaus_grow_with_the_sweep() -> None:
    t, um = rock(FIVE)
    t_ns, value_pm = (t * 1e9).astype(np.int64), np.round(um).astype(np.int64) * UM
    counts = [len(plateaus_so_far(t_ns[:n], value_pm[:n], UM)) for n in range(0, len(t) + 1, 8)]
    assert counts[0] == 0
    assert counts[-1] == 11
    assert counts == sorted(counts)


def test_turning_points_need_a_way_back() -> None:
    assert turns(np.array([0.0, 5.0, 4.0, 6.0, 0.0]), 3.0) == [0, 3, 4]
    assert turns(np.array([0.0, 1.0, 0.0]), 3.0) == []


def test_the_step_of_a_display_is_read_from_its_figures() -> None:
    halves = np.arange(0, 100, 3) * 5 * 127_000
    assert display_step(halves, 127_000) == 15 * 127_000
    assert display_step(np.array([0, 200, 0, 200]) * UM, UM) == UM


def test_bad_calls_are_refused() -> None:
    t = np.arange(5, dtype=np.int64)
    with pytest.raises(ValueError, match="one length"):
        measure_travel(t, t[:4], UM)
    with pytest.raises(ValueError, match="one length"):
        measure_travel(t, t, UM, units=["mm"])
    with pytest.raises(ValueError, match="positive"):
        measure_travel(t, t, 0)


@settings(max_examples=60)
@given(
    values=arrays.arrays(np.int64, st.integers(0, 80), elements=st.integers(-300, 300)),
    times=arrays.arrays(np.int64, 80, elements=st.integers(-(10**8), 10**9)),
)
def test_no_readings_whatever_break_the_analysis(values: Any, times: Any) -> None:
    """Any readings at any times give a sweep, and one with a travel has ends to show for it."""
    sweep = measure_travel(np.cumsum(times)[: len(values)], values * UM, UM)
    assert sweep.travel_pm >= 0
    assert sweep.usable or sweep.flags
    if sweep.travel_pm:
        assert len(sweep.plateaus) >= 2


@settings(max_examples=25)
@given(seed=st.integers(0, 10**6), shift=st.integers(-5 * 10**6, 5 * 10**6))
def test_where_the_gauge_stands_does_not_matter(seed: int, shift: int) -> None:
    """The same motion elsewhere in the gauge's range, or turned round, has the same travel."""
    made = make(np.random.default_rng(seed), Wish(rocks=5))
    plain = measure_travel(made.t_ns, made.value_pm, made.step_pm)
    moved = measure_travel(made.t_ns, made.value_pm + shift * UM, made.step_pm)
    turned = measure_travel(made.t_ns, -made.value_pm, made.step_pm)
    later = measure_travel(made.t_ns + 10**15, made.value_pm, made.step_pm)
    assert moved.travel_pm == pytest.approx(plain.travel_pm, abs=1000)
    assert turned.travel_pm == pytest.approx(plain.travel_pm, abs=1000)
    assert replace(later) == plain
    other = {"high": "low", "low": "high"}
    assert [other[end.side] for end in turned.plateaus] == [end.side for end in plain.plateaus]
