"""What the sweep analysis does in blocks comes out exactly as one after the other.

One reading after the other, and one half swing after the other.
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from unittest.mock import patch

import numpy as np
import sweep_plain_ends as plain_ends
import sweep_plain_faults as plain_faults
import sweep_plain_forms as plain
from hypothesis import given, settings, strategies as st
from sweep_maker import HANDS, SPOILT, Made, Wish, make, spoil
from sweep_maker_plain import make_plain

from gaugelink.metrology import (
    sweep,
    sweep_clean,
    sweep_clip,
    sweep_faults,
    sweep_judge,
    sweep_settle,
    sweep_walls,
)
from gaugelink.metrology.sweep import Sweep, measure_travel
from gaugelink.metrology.sweep_stretches import stretches

if TYPE_CHECKING:
    from numpy.typing import NDArray

STEP = 1_000_000


def by_plain_forms(made: Made) -> Sweep:
    """Measure with the plain forms in place of the quick ones."""
    with (
        patch.object(sweep_clean, "spread_back", plain.spread_back),
        patch.object(sweep, "typical_swing", plain.typical_swing),
        patch.object(sweep, "believable", plain.believable),
        patch.object(sweep, "half_swings", plain_ends.half_swings),
        patch.object(sweep_walls, "_rests_of", plain_ends.rests_of),
        patch.object(sweep_judge, "astray", plain_faults.astray),
        patch.object(sweep_judge, "plateaus", plain_faults.plateaus),
        patch.object(sweep_judge, "upper_figure", plain.upper_figure),
        patch.object(sweep_faults, "frozen", plain_faults.frozen),
        patch.object(sweep_clip, "_signs", plain_faults.signs),
    ):
        return measure_travel(made.t_ns, made.value_pm, made.step_pm, units=made.units)


def troubled(made: Made, rng: np.random.Generator, bunch_ms: int, spikes: float) -> Made:
    """Let readings arrive in bunches, and some of them jump."""
    if bunch_ms:
        late = bunch_ms * 1_000_000
        made.t_ns[:] = np.maximum((made.t_ns // late + 1) * late, made.t_ns)
    hit = rng.random(len(made.value_pm)) < spikes
    made.value_pm[hit] += rng.integers(-400, 400, int(hit.sum())) * made.step_pm
    return made


@settings(max_examples=150, deadline=None)
@given(
    st.integers(0, 10_000),
    st.sampled_from([*HANDS, "plain", "long", *SPOILT]),
    st.sampled_from([0, 0, 200, 700, 3000]),
    st.sampled_from([0.0, 0.01, 0.05, 0.2]),
)
def test_the_sweep_is_the_same_to_the_last_figure(
    seed: int, kind: str, bunch_ms: int, spikes: float
) -> None:
    """Travel, uncertainty, ends and flags, of good sweeps and spoilt ones, bunched, with spikes."""
    rng = np.random.default_rng([seed, 5])
    if kind == "plain":
        made = make_plain(rng)
    elif kind == "long":
        made = make(rng, Wish(rocks=int(rng.integers(20, 60)), rate=8.0))
    elif kind in HANDS:
        made = make(rng, Wish(hand=kind))
    else:
        made = spoil(rng, kind)  # type: ignore[arg-type]
    made = troubled(made, rng, bunch_ms, spikes)
    quick = measure_travel(made.t_ns, made.value_pm, made.step_pm, units=made.units)
    assert quick == by_plain_forms(made)


LEVELS = st.lists(st.tuples(st.integers(-12, 12), st.integers(1, 40)), min_size=3, max_size=20)
CALM = st.lists(st.sampled_from([0, 1, 5, 98, 100, 101]), min_size=4, max_size=30)


@settings(max_examples=200, deadline=None)
@given(LEVELS, st.sampled_from([0, 1, 8]), st.integers(0, 9), st.sampled_from([0.01, 0.05, 0.5]))
def test_any_levels_give_the_same_sweep(
    levels: list[tuple[int, int]], noise: int, seed: int, pause: float
) -> None:
    """No hand makes such sweeps; a file may hold them."""
    values = readings(levels, noise, seed).astype(np.int64)
    pauses = np.random.default_rng(seed).uniform(0.2, 1.8, len(values)) * pause
    made = Made(np.round(np.cumsum(pauses) * 1e9).astype(np.int64), values, STEP, 0, 0)
    assert measure_travel(made.t_ns, values, STEP) == by_plain_forms(made)


@settings(max_examples=100, deadline=None)
@given(CALM, st.integers(1, 60), st.sampled_from([0, 7 * 10**9]), st.sampled_from([1, 10]))
def test_a_calm_display_gives_the_same_sweep(
    levels: list[int], rest: int, base: int, coarse: int
) -> None:
    """Rests without any flicker, as a display in hold, or a gauge at the end of its range shows."""
    steps = np.concatenate([np.repeat([wall, 100 - wall], [rest, 9]) for wall in levels])
    made = Made(
        np.arange(len(steps)) * 50_000_000, base + steps * coarse * STEP, coarse * STEP, 0, 0
    )
    assert measure_travel(made.t_ns, made.value_pm, made.step_pm) == by_plain_forms(made)


@settings(max_examples=300, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 40), st.integers(-1, 2)), min_size=2, max_size=16),
    st.integers(0, 1000),
    st.sampled_from([0.0, 0.02, 0.3]),
    st.sampled_from([STEP, 10 * STEP]),
    st.booleans(),
)
def test_signs_of_a_range_and_of_a_hold_are_weighed_the_same(
    rests: list[tuple[int, int]], seed: int, noise: float, step: int, slipped: bool
) -> None:
    """High ends that stand on one figure, or nearly; low ends that wander."""
    draw = np.random.default_rng(seed)
    parts, first, last = [], [], []
    for number, (size, off) in enumerate(rests):
        high = number % 2 == 0
        ramp = np.round(np.linspace(60, 95, int(draw.integers(1, 9))))
        level = np.full(size, 100.0 - 9 * (off > 1) if high else 3.0 * off)
        level -= draw.random(size) < (noise if high else 0.4)
        first.append(sum(map(len, parts)) + len(ramp))
        last.append(first[-1] + size - 1)
        parts += [ramp if high else 100 - ramp, level]
    values = (np.concatenate(parts) + (0 if seed % 3 else -100)) * step
    seconds = np.cumsum(draw.uniform(0.02, 0.2, len(values)))
    found = sweep_faults.Rests(
        np.array(first),
        np.array(last),
        np.where(np.arange(len(rests)) % 2, -1.0, 1.0),
        draw.random(len(rests)) < 0.9,
    )
    swing = 100.0 * step
    for side in (1, -1):
        both = [
            signs(values, seconds, found, side, swing, step, None, slipped=slipped)
            for signs in (sweep_clip._signs, plain_faults.signs)
        ]
        assert both[0] == both[1]
    change = np.flatnonzero(np.diff(values))
    habits = sweep_faults._habits(seconds, found, change)
    assert habits == plain_faults._habits(values, seconds, plain_faults.listed(found))
    assert sweep_faults.frozen(values, seconds, found, swing, step) == plain_faults.frozen(
        values, seconds, found, swing, step
    )


PAUSES = st.lists(st.integers(0, 30), min_size=1, max_size=120)


def readings(levels: list[tuple[int, int]], noise: int, seed: int) -> NDArray[np.float64]:
    values = np.concatenate([np.full(size, 10.0 * level) for level, size in levels])
    noises = np.random.default_rng(seed).integers(-noise, noise + 1, len(values))
    return ((values + noises) * STEP).astype(np.float64)


@given(PAUSES, st.integers(0, 100), st.floats(0.001, 3.0))
def test_bunches_are_spread_out_as_from_the_last_reading_to_the_first(
    pauses: list[int], same: int, least: float
) -> None:
    """Short bunches, and one of up to a hundred readings at the very same time."""
    seconds = np.cumsum([*pauses, *[0] * same, *pauses]) / 10.0
    assert sweep_clean.spread_back(seconds, least).tolist() == (
        plain.spread_back(seconds, least).tolist()
    )


@given(LEVELS, st.sampled_from([0, 1, 8]), st.integers(0, 9), st.sampled_from([0.01, 0.05, 0.5]))
def test_windows_and_spikes_come_out_as_one_by_one(
    levels: list[tuple[int, int]], noise: int, seed: int, pause: float
) -> None:
    """At rates from 2 to 100 readings a second, evenly or not."""
    values = readings(levels, noise, seed)
    seconds = np.cumsum(np.random.default_rng(seed).uniform(0.2, 1.8, len(values)) * pause)
    seconds -= seconds[0]
    if len(values) < 4:
        return
    swing = plain.typical_swing(values, seconds, STEP)
    assert sweep_clean.typical_swing(values, seconds, STEP) == swing
    for estimate in (swing, 20.0 * STEP, 100.0 * STEP):
        quick = sweep_clean.believable(values, seconds, estimate, STEP)
        assert quick.tolist() == plain.believable(values, seconds, estimate, STEP).tolist()


@given(LEVELS, st.integers(0, 9), st.integers(0, 10_000), st.integers(-200, 200))
def test_the_farthest_reading_is_the_farthest_of_all(
    levels: list[tuple[int, int]], seed: int, place: int, level: int
) -> None:
    values = readings(levels, 3, seed)
    place %= len(values)
    found = sweep_faults._farthest(values)(np.array([place]), np.array([float(level * STEP)]))
    assert found.tolist() == [plain_faults.farthest(values, place, float(level * STEP))]


@given(st.integers(-(10**15), 10**15), st.integers(1, 1000))
def test_a_level_is_rounded_to_the_even_neighbour(total: int, count: int) -> None:
    half = total * count * 2 + count
    found = sweep_settle.nearest(np.array([total, half]), np.array([count, 2 * count]))
    assert found.tolist() == [
        plain_ends.nearest(total, count),
        plain_ends.nearest(half, 2 * count),
    ]


@given(
    st.lists(st.tuples(st.integers(0, 900), st.integers(1, 600)), min_size=1, max_size=8),
    st.integers(0, 1000),
)
def test_stretches_are_added_up_ordered_and_counted_as_each_alone(
    cuts: list[tuple[int, int]], seed: int
) -> None:
    """Overlapping or not; sums to the last bit."""
    draw = np.random.default_rng(seed)
    values, whole = draw.uniform(-1e3, 1e3, 1500), draw.integers(-9, 9, 1500)
    first, size = np.array(cuts).T
    laid = stretches(first, first + size)
    alone = [slice(begin, begin + length) for begin, length in cuts]
    assert laid.sums(values).tolist() == [values[each].sum() for each in alone]
    x = whole[laid.places]
    ordered = laid.ordered(x)
    for each, begin, end in zip(alone, laid.start.tolist(), laid.end.tolist(), strict=True):
        assert ordered[begin:end].tolist() == sorted(whole[each].tolist())
    assert laid.medians(x).tolist() == [np.median(whole[each]) for each in alone]
    assert laid.number(x > 0).tolist() == [np.count_nonzero(whole[each] > 0) for each in alone]
    for reached, of in (laid.first_true(x > 6), 0), (laid.last_true(x > 6), -1):
        places = [np.flatnonzero(whole[each] > 6) + each.start for each in alone]
        assert reached[1].tolist() == [len(found) > 0 for found in places]
        seen = laid.places[reached[0][reached[1]]]
        assert seen.tolist() == [found[of] for found in places if len(found)]
