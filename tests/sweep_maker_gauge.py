"""What a gauge and its cable make of a motion: sampling, noise, spikes, counts, late arrival."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def sample_times(rng: np.random.Generator, rate: float, length: float) -> Floats:
    """When the gauge is read: regular or not, with a few readings lost."""
    count = int(length * rate)
    jitter = rng.uniform(0, 0.15) if rng.random() < 0.5 else 0.0
    times = (np.arange(count) + rng.uniform(-jitter, jitter, count) + 0.5) / rate
    if rng.random() < 0.2:
        times = times[rng.random(count) > 0.02]
    return np.sort(times)


def noise(rng: np.random.Generator, count: int, size: float) -> Floats:
    """Noise of four kinds, of a size in um."""
    kind = int(rng.integers(4))
    if kind == 0:
        return rng.normal(0, 1, count) * size
    if kind == 1:
        return rng.uniform(-1.7, 1.7, count) * size
    if kind == 2:
        wave = np.sin(rng.uniform(0.3, 3.0) * np.arange(count) + rng.uniform(0, 6))
        return np.asarray(size * wave)
    fresh, slow, last = rng.normal(0, 1, count), np.empty(count), 0.0
    for place in range(count):
        last = 0.7 * last + 0.7 * float(fresh[place])
        slow[place] = last
    return slow * size


def spikes(
    rng: np.random.Generator, seen: Floats, chance: float, travel: float
) -> tuple[Floats, int]:
    """Spikes of one or two readings: a bump, a burst, a lost digit; and how many there are."""
    seen, count, place = seen.copy(), 0, 0
    while place < len(seen):
        if rng.random() < chance:
            wide = 1 + int(rng.random() < 0.3)
            kind = int(rng.integers(3))
            if kind == 0:
                seen[place : place + wide] += rng.choice([-1, 1]) * rng.uniform(0.4, 2.0) * travel
            elif kind == 1:
                seen[place : place + wide] += rng.choice([-1, 1]) * rng.uniform(30, 3000)
            else:
                seen[place : place + wide] /= 10
            count += wide
            place += wide + 3
        place += 1
    return seen, count


def display(rng: np.random.Generator, counts: Floats) -> Floats:
    """Whole counts as a display rounds, cuts or holds them."""
    if rng.random() < 0.6:
        return np.round(counts)
    if rng.random() < 0.5:
        return np.floor(counts)
    # A display that holds a count until the value has left it by more than 0.6 of a step.
    shown, last = np.empty(len(counts)), round(float(counts[0]))
    for place, value in enumerate(counts):
        if abs(value - last) > 0.6:
            last = round(float(value))
        shown[place] = last
    return shown


def arrival(rng: np.random.Generator, times: Floats, rate: float, *, bunched: bool) -> Floats:
    """When the readings reach the computer: late, and in bunches where the port is slow."""
    delay = rng.uniform(0.0, 0.016, len(times))
    arrival = np.maximum.accumulate(times + delay)
    if bunched and rate >= 8:
        tick = rng.uniform(0.1, 0.3)
        arrival = np.ceil(arrival / tick) * tick + np.arange(len(times)) * 1e-6
    return arrival
