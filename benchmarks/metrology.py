"""Speed of the calculations, each beside a plain way to the same answer, in one run.

    python benchmarks/metrology.py

A ratio travels between machines, a time does not. Each line gives the best of several runs, after
everything has been imported. A new row is a function that gives a line, entered in `ROWS`.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import linprog

from gaugelink.metrology.flatness import minimum_zone

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray


def best(work: Callable[[], object], runs: int = 5) -> float:
    """Give the shortest of several runs, seconds."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def face(count: int) -> NDArray[np.int64]:
    """Make a face of 400 x 150 mm: bowed by 0.03 mm, twisted by 0.02, rough by 0.005, tilted."""
    draw = np.random.default_rng(1)
    x, y = draw.uniform(0, 400e9, count), draw.uniform(0, 150e9, count)
    z = 3e7 * (x / 200e9 - 1) ** 2 + 2e7 * x / 400e9 * y / 150e9 + draw.normal(0, 5e6, count)
    return np.round(np.stack([x, y, z + 0.001 * x], axis=1)).astype(np.int64)


def by_programme(points: NDArray[np.int64]) -> float:
    """Solve the linear programme over all points, heights straight up; picometres."""
    plan = (points[:, :2] - points[:, :2].mean(axis=0)) / 1e11
    height = points[:, 2] - points[:, 2].mean()
    # Heights about a first plane, in tenths of a millimetre, so that tolerances mean little.
    base = np.hstack([plan, np.ones((len(points), 1))])
    height = (height - base @ np.linalg.lstsq(base, height, rcond=None)[0]) / 1e8
    ones = np.ones((len(points), 1))
    rows = np.vstack([np.hstack([-base, -ones]), np.hstack([base, -ones])])
    found = linprog([0, 0, 0, 1], A_ub=rows, b_ub=np.concatenate([-height, height]),
                    bounds=[(None, None)] * 3 + [(0, None)], method="highs")  # fmt: skip
    return float(2e8 * found.x[3])


def flatness(count: int = 10_000) -> str:
    """Find the minimum zone by the hull, and by the programme over all points."""
    points = face(count)
    ours, plain = minimum_zone(points).width, by_programme(points)
    # Square to the planes against straight up, at a slope of one in a thousand, and the solver's
    # own tolerance: some millionths.
    assert abs(ours - plain) < 1e-5 * plain, (ours, plain)
    ours_s = best(lambda: minimum_zone(points))
    plain_s = best(lambda: by_programme(points), 3)
    return line(f"minimum zone, {count} points", ours_s, plain_s,
                "HiGHS over all points, same answer")  # fmt: skip


def line(name: str, ours_s: float, baseline_s: float, baseline: str) -> str:
    """Write one result."""
    return (f"{name:<28} {ours_s * 1e3:8.2f} ms   {baseline_s / ours_s:6.1f} times as fast as "
            f"{baseline} ({baseline_s * 1e3:.1f} ms)")  # fmt: skip


ROWS = (flatness,)


def main() -> None:
    """Measure and print."""
    for row in ROWS:
        print(row())


if __name__ == "__main__":
    main()
