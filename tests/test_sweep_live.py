"""A sweep that is still going on: the batch result at any time, in bounded memory and work."""

from __future__ import annotations

import itertools
import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st
from sweep_maker import HANDS, SPOILT, Made, Wish, make, spoil

from gaugelink.capture.sweeping import SweepRecorder, analyse_trace
from gaugelink.metrology.sweep import Sweep, measure_travel
from gaugelink.metrology.sweep_live import FRESH, GROWTH, LiveSweep
from gaugelink.quantity import parse_length
from gaugelink.wire.base import Value

UM = 10**6


def made_sweep(seed: int, kind: str) -> Made:
    rng = np.random.default_rng([seed, 7])
    if kind in HANDS:
        return make(rng, Wish(hand=kind))
    return spoil(rng, kind)  # type: ignore[arg-type]


def batch(made: Made, count: int) -> Sweep:
    return measure_travel(
        made.t_ns[:count],
        made.value_pm[:count],
        made.step_pm,
        units=made.units[:count] if made.units else None,
    )


def feed(live: LiveSweep, made: Made, begin: int, end: int) -> None:
    for place in range(begin, min(end, len(made.t_ns))):
        unit = made.units[place] if made.units else ""
        live.add(int(made.t_ns[place]), int(made.value_pm[place]), unit)


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 10_000),
    st.sampled_from([*HANDS, *SPOILT]),
    st.lists(st.integers(0, 600), max_size=4),
)
def test_any_cut_of_the_stream_gives_the_batch_result(
    seed: int, kind: str, cuts: list[int]
) -> None:
    """At each cut as at the end, however often somebody looked before."""
    made = made_sweep(seed, kind)
    live, begin = LiveSweep(made.step_pm), 0
    for cut in [*sorted(cuts), len(made.t_ns)]:
        feed(live, made, begin, cut)
        begin = max(begin, min(cut, len(made.t_ns)))
        assert live.so_far() == batch(made, begin)
    assert live.result() == batch(made, len(made.t_ns))


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 1000), st.integers(1, 300))
def test_no_more_samples_are_kept_than_stated(seed: int, most: int) -> None:
    """The result is the batch result of those kept; the rest is counted."""
    made = made_sweep(seed, "segments")
    live = LiveSweep(made.step_pm, most=most)
    feed(live, made, 0, len(made.t_ns))
    kept = min(most, len(made.t_ns))
    assert len(live) == len(live._t_ns) == len(live._value_pm) == kept
    assert live.full == (kept == most)
    assert live.left_out == len(made.t_ns) - kept
    assert live.result() == batch(made, kept)


def test_a_long_sweep_is_not_gone_through_at_each_look() -> None:
    """After each sample somebody looks; no look misses more than one part in GROWTH."""
    live, count = LiveSweep(UM), 20 * FRESH
    for number in range(count):
        # Before that each look takes in everything, which is at most FRESH samples.
        live.add(number * 5_000_000, round(100 * np.sin(number / 60)) * UM, "mm")
        if number >= FRESH:
            live.so_far()
            assert (len(live) - live.seen) * GROWTH <= live.seen
    assert live.gone_through <= (GROWTH + 1) * count
    assert live.result() == measure_travel(
        np.arange(count) * 5_000_000,
        np.array([round(100 * np.sin(number / 60)) * UM for number in range(count)]),
        UM,
    )


def test_what_comes_later_decides_what_an_early_sample_was() -> None:
    """Why all samples are kept: the same beginning is seven ends, or none, as the sweep goes on."""

    def ends_in_beginning(later: int) -> int:
        small, large = ([0] * 8 + [size] * 8 for size in (12, later))
        value = np.array(small * 4 + large * 12, dtype=np.int64) * UM
        sweep = measure_travel(np.arange(len(value)) * 100_000_000, value, UM)
        return sum(plateau.end < 7 * 8 for plateau in sweep.plateaus)

    assert ends_in_beginning(12) == 7
    assert ends_in_beginning(400) == 0


@pytest.mark.parametrize("wiggles", [3, 6])
def test_beginnings_that_look_alike_are_told_apart_by_what_follows(wiggles: int) -> None:
    """Why the memory grows with the samples: each wiggle of a rest doubles what must be told apart.

    While large rocks are all there is, a wiggle by 8 um and one by 10 um change nothing. After many
    small rocks each of them is an end with its level.
    """

    def measured(sizes: tuple[int, ...], later: int) -> Sweep:
        rests = [*[0, 200] * 4, 200, 200, 200]
        rests += [level for size in sizes for level in (200 - size, 200)]
        rests += [191, 200] * later
        value = np.repeat(np.array(rests, dtype=np.int64), 8) * UM
        return measure_travel(np.arange(len(value)) * 100_000_000, value, UM)

    beginnings = list(itertools.product((8, 10), repeat=wiggles))
    assert len({measured(sizes, 0) for sizes in beginnings}) == 1
    assert len({measured(sizes, 40) for sizes in beginnings}) == 2**wiggles


def test_a_sample_takes_the_memory_that_is_stated() -> None:
    """16 bytes, and the eighth part more that a growing array has in store; the unit takes none."""
    live, count = LiveSweep(UM), 20_000
    tracemalloc.start()
    for number in range(count):
        live.add(number * 5_000_000, 10**10 + number % 7 * UM, "mm")
    held, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert 16 * count <= held <= 18 * count + 2000


@pytest.mark.parametrize("halves", [10, 400])
def test_an_analysis_takes_memory_in_proportion_to_the_samples(halves: int) -> None:
    """About a hundred bytes a sample, in many half swings as in few."""

    def peak(count: int) -> int:
        at = np.arange(count)
        value = np.round(np.clip(3 * np.sin(at / count * halves * np.pi), -1, 1) * 100)
        value = value.astype(np.int64) * UM
        measure_travel(at * 5_000_000, value, UM)
        tracemalloc.start()
        assert len(measure_travel(at * 5_000_000, value, UM).plateaus) > halves - 2
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        return most

    assert peak(80_000) <= 4.2 * peak(20_000)
    assert peak(80_000) <= 130 * 80_000


def test_another_uncertainty_of_the_instrument_is_a_new_look() -> None:
    made = made_sweep(1, "segments")
    live = LiveSweep(made.step_pm)
    feed(live, made, 0, len(made.t_ns))
    assert live.so_far(20 * UM).travel_u_pm > live.so_far().travel_u_pm


def test_a_step_or_a_bound_of_nothing_is_refused() -> None:
    for step, most in ((0, 10), (UM, 0)):
        with pytest.raises(ValueError, match="must be positive"):
            LiveSweep(step, most=most)


def test_the_recorder_gives_what_the_record_will_give() -> None:
    """Times in whole microseconds, units as shown; a unit button pressed amid the sweep is seen."""
    recorder = SweepRecorder("I1", 0)
    rock = ([0] * 8 + [30, 70] + [100] * 8 + [70, 30]) * 4 + [0] * 8
    for number, value in enumerate(rock):
        shown = parse_length(f"{value / 1000:.3f}", "in" if number == 60 else "mm")
        recorder.add(Value(shown, b"\r"), 7 + number * 100_000_777)
        trace, analysis = recorder.so_far(2 * UM)
        assert trace == recorder.trace()
        assert analysis == analyse_trace(trace, 2 * UM)
    assert "unit change" in [flag.code for flag in recorder.so_far(2 * UM)[1].flags]


def test_a_recorder_that_is_full_says_so_once_and_keeps_no_more() -> None:
    recorder = SweepRecorder("I1", 0, live=LiveSweep(UM, most=5))
    for number in range(9):
        recorder.add(Value(parse_length("0.001", "mm"), b"\r"), number)
    assert len(recorder.values) == len(recorder.t_ns) == 5
    assert recorder.gaps == ["the sweep was longer than 5 readings; what came after is not in it"]
