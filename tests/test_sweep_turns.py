"""Turning points are found in blocks exactly as one reading after the other."""

from __future__ import annotations

import numpy as np
from hypothesis import given, strategies as st

from gaugelink.metrology.sweep_ends import BLOCK, turns


def one_by_one(values: list[float], way_back: float) -> list[int]:
    """Find turning points without any short cut: the rule as its docstring states it."""
    found: list[int] = []
    high = low = 0
    rising: bool | None = None
    for place, value in enumerate(values):
        high = place if value > values[high] else high
        low = place if value < values[low] else low
        if rising is not True and value - values[low] > way_back:
            found.append(low)
            rising, high = True, place
        elif rising is not False and values[high] - value > way_back:
            found.append(high)
            rising, low = False, place
    if rising is not None:
        found.append(high if rising else low)
    return found


@given(
    st.lists(st.tuples(st.integers(-12, 12), st.integers(1, BLOCK)), min_size=1, max_size=20),
    st.sampled_from([0, 1, 3]),
    st.floats(0.5, 9.0),
    st.integers(0, 5),
)
def test_blocks_change_nothing(
    stretches: list[tuple[int, int]], noise: int, way_back: float, seed: int
) -> None:
    """Long rests and quick moves, noisy or not, at every place in a block."""
    random = np.random.default_rng(seed)
    values = np.concatenate([np.full(size, float(level)) for level, size in stretches])
    values += random.integers(-noise, noise + 1, len(values)) / 2
    assert turns(values, way_back) == one_by_one(values.tolist(), way_back)
