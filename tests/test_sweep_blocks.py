"""What the sweep analysis does in blocks comes out exactly as one reading after the other."""

from __future__ import annotations

from typing import TYPE_CHECKING
from unittest.mock import patch

import numpy as np
import sweep_plain_forms as plain
from hypothesis import given, settings, strategies as st
from sweep_maker import HANDS, SPOILT, Made, Wish, make, spoil
from sweep_maker_plain import make_plain

from gaugelink.metrology import sweep, sweep_clean, sweep_ends, sweep_faults, sweep_judge
from gaugelink.metrology.sweep import Sweep, measure_travel

if TYPE_CHECKING:
    from numpy.typing import NDArray

STEP = 1_000_000


def by_plain_forms(made: Made) -> Sweep:
    """Measure with the plain forms in place of the quick ones."""
    with (
        patch.object(sweep_clean, "spread_back", plain.spread_back),
        patch.object(sweep, "typical_swing", plain.typical_swing),
        patch.object(sweep, "believable", plain.believable),
        patch.object(sweep_ends, "_nearest", plain.nearest),
        patch.object(sweep_judge, "upper_figure", plain.upper_figure),
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
    st.sampled_from([*HANDS, "plain", *SPOILT]),
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
    elif kind in HANDS:
        made = make(rng, Wish(hand=kind))
    else:
        made = spoil(rng, kind)  # type: ignore[arg-type]
    made = troubled(made, rng, bunch_ms, spikes)
    quick = measure_travel(made.t_ns, made.value_pm, made.step_pm, units=made.units)
    assert quick == by_plain_forms(made)


PAUSES = st.lists(st.integers(0, 30), min_size=1, max_size=120)
LEVELS = st.lists(st.tuples(st.integers(-12, 12), st.integers(1, 40)), min_size=3, max_size=20)


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
    found = sweep_faults._farthest(values)(place, float(level * STEP))
    assert found == plain.farthest(values, place, float(level * STEP))


@given(st.integers(-(10**20), 10**20), st.integers(1, 1000))
def test_a_level_is_rounded_to_the_even_neighbour(total: int, count: int) -> None:
    assert sweep_ends._nearest(total, count) == plain.nearest(total, count)
    assert sweep_ends._nearest(total * count * 2 + count, 2 * count) == plain.nearest(
        total * count * 2 + count, 2 * count
    )
