"""A hand that rocks a valve: positions of the indicator's point against time."""

from __future__ import annotations

from math import cos, pi
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import random
    from collections.abc import Iterator


def rock(travel_um: float, per_second: float, rocks: int, chance: random.Random) -> Iterator[float]:
    """Give the indicator's position, micrometres, sample by sample, for one sweep.

    At rest in the middle, then to one wall and back to the other as often as asked, then at rest
    again. A hand dwells at each wall for a different while, sometimes hesitates half-way, presses
    a little harder at first, and the base creeps a little all the time.
    """
    creep = chance.uniform(-4.0, 4.0)  # micrometres over the sweep
    levels = [0.0] + [travel_um / 2 * (-1) ** n for n in range(2 * rocks + 1)] + [0.0]
    dwells = [1.0] + [chance.uniform(0.5, 0.9) for _ in levels[1:-1]] + [0.8]
    path: list[float] = []
    for number, level in enumerate(levels):
        if number:
            path += _ramp(levels[number - 1], level, per_second, chance)
        samples = max(3, round(dwells[number] * per_second))
        press = chance.uniform(0.0, 1.2) * (1 if level > 0 else -1) if level else 0.0
        path += [level + press * 0.5**step for step in range(samples)]
    for step, position in enumerate(path):
        yield position + creep * step / len(path) + chance.gauss(0, 0.35)


def _ramp(start: float, end: float, per_second: float, chance: random.Random) -> list[float]:
    samples = max(3, round(chance.uniform(0.3, 0.6) * per_second))
    way = [start + (end - start) * (1 - cos(pi * (n + 1) / (samples + 1))) / 2
           for n in range(samples)]  # fmt: skip
    if chance.random() < 0.15:
        middle = samples // 2
        way[middle:middle] = [way[middle]] * max(1, round(0.2 * per_second))
    return way
