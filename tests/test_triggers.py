"""Triggers without a button, on the bench clock."""

from __future__ import annotations

import itertools

from hypothesis import given, strategies as st

from gaugelink.capture.triggers import Motion, Steady

STEP = 1_000_000
MS = 1_000_000


def _rest(steady: Steady, value: int, start_ms: int, for_ms: int) -> list[int]:
    """Let a value rest, one sample every 100 ms; give the times at which it was taken."""
    return [
        t for t in range(start_ms, start_ms + for_ms, 100)
        if steady.feed(value * STEP, STEP, t * MS)
    ]  # fmt: skip


def test_a_value_that_rests_is_taken_once():
    assert _rest(Steady(), 7965, 0, 5000) == [700]


def test_a_wandering_value_is_not_taken():
    steady = Steady()
    assert not any(steady.feed(n * 3 * STEP, STEP, n * 100 * MS) for n in range(100))


def test_flicker_by_one_step_is_a_rest():
    steady = Steady()
    taken = [steady.feed((7965 + n % 2) * STEP, STEP, n * 100 * MS) for n in range(10)]
    assert taken.count(True) == 1


def test_a_rest_that_creeps_away_slowly_is_taken_at_its_beginning_or_not_at_all():
    steady = Steady()
    taken = [n for n in range(200) if steady.feed(n * STEP, STEP, n * 400 * MS)]
    # Two steps within 0.8 s: it rests long enough now and then, but must be 20 steps on in between.
    assert all(later - earlier > 20 for earlier, later in itertools.pairwise(taken))


def test_the_next_part_is_taken_after_the_gauge_left_the_first():
    steady = Steady()
    assert _rest(steady, 7965, 0, 2000) == [700]
    assert _rest(steady, 7966, 2000, 2000) == []  # still the same part
    assert _rest(steady, 12000, 4000, 300) == []  # opened
    assert _rest(steady, 7966, 4300, 2000) == [5000]


def test_a_value_taken_by_another_trigger_must_move_away_first():
    steady = Steady()
    steady.disarm(7965 * STEP)
    assert _rest(steady, 7965, 0, 3000) == []


def test_another_place_begins_anew():
    steady = Steady()
    assert _rest(steady, 7965, 0, 1000) == [700]
    steady.forget()
    assert _rest(steady, 7965, 1000, 1000) == [1700]


@given(st.lists(st.integers(-50, 50), max_size=60), st.integers(1, 5))
def test_whatever_is_taken_has_rested_as_long_as_it_must(values: list[int], every: int):
    steady = Steady(hold_ns=700)
    times = [n * every * 100 for n in range(len(values))]
    for place, (value, t) in enumerate(zip(values, times, strict=True)):
        if steady.feed(value, 1, t):
            rested = [v for v, when in zip(values[: place + 1], times, strict=False)
                      if when >= t - 700]  # fmt: skip
            assert max(rested) - min(rested) <= steady.still_steps


def test_motion_starts_with_what_came_before_it():
    motion: Motion[int] = Motion()
    for n in range(50):
        assert not motion.feed((n % 2) * STEP, STEP, n * 100 * MS, n)
    assert motion.feed(30 * STEP, STEP, 5000 * MS, 50)
    kept = motion.before()
    assert [sample for _, sample in kept] == list(range(40, 51))
    assert motion.before() == []


def test_slow_creep_is_no_motion():
    motion: Motion[int] = Motion()
    # Three steps a second, as a warming base may creep.
    assert not any(motion.feed(n // 3 * STEP, STEP, n * 100 * MS, n) for n in range(600))


def test_setting_up_is_no_start_of_a_sweep():
    motion: Motion[int] = Motion()
    assert not any(motion.feed(n * 40 * STEP, STEP, n * 100 * MS, n) for n in range(50))
    for n in range(50, 75):  # at last it rests
        assert not motion.feed(2000 * STEP, STEP, n * 100 * MS, n)
    assert motion.feed(2050 * STEP, STEP, 7500 * MS, 75)
