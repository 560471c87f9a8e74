"""Speed of the calculations, each beside a plain way to the same answer, in one run.

    python benchmarks/metrology.py

A ratio travels between machines, a time does not. Each line gives the best of several runs, after
everything has been imported. A new row is a function that gives a line, entered in `ROWS`.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy.optimize import linprog

from gaugelink.metrology.conformity import (
    probabilities_within,
    probability_within,
    verdict,
    verdicts,
)
from gaugelink.metrology.flatness import minimum_zone
from gaugelink.metrology.study import Crossed, by_variance
from gaugelink.metrology.sweep import measure_travel

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


def study() -> str:
    """Take a study of 10 parts, 3 people, 3 trials apart; and by a formula fitted to a table."""
    import pandas as pd  # noqa: PLC0415  development only
    from statsmodels.formula.api import ols  # noqa: PLC0415
    from statsmodels.stats.anova import anova_lm  # noqa: PLC0415

    draw = np.random.default_rng(1)
    parts, people = tuple(map(str, range(10))), ("A", "B", "C")
    cells = {(part, one): [int(number * 100 + draw.normal(0, 20)) for _ in range(3)]
             for number, part in enumerate(parts) for one in people}  # fmt: skip
    crossed = Crossed(parts, people, 3, cells)
    frame = pd.DataFrame([
        {"part": part, "operator": one, "value": float(value)}
        for (part, one), cell in cells.items() for value in cell
    ])  # fmt: skip
    fit = "value ~ C(part) * C(operator)"
    plain = anova_lm(ols(fit, data=frame).fit()).loc["C(part)", "sum_sq"]
    ours = float(by_variance(crossed).rows["part"].ss)
    assert abs(ours - plain) < 1e-9 * plain
    ours_s = best(lambda: [by_variance(crossed) for _ in range(20)]) / 20
    plain_s = best(lambda: anova_lm(ols(fit, data=frame).fit()))
    return line("gauge study, 90 readings", ours_s, plain_s, "statsmodels by formula, same sums")


def conformity(count: int = 1_000_000) -> str:
    """Judge a million readings, words and probabilities; and one after the other."""
    values = np.random.default_rng(1).integers(7_900_000_000, 8_000_000_000, count)
    lower, upper, u = 7_935_000_000, 7_975_000_000, 1_900_000

    def together() -> None:
        verdicts(values, u, lower, upper)
        probabilities_within(values.astype(np.float64), float(u), float(lower), float(upper))

    some = values[:2000].tolist()

    def singly() -> None:
        for value in some:
            verdict(value, u, lower, upper)
            probability_within(value, u, lower, upper)

    singly_s = best(singly, 3) * count / len(some)
    return line(f"verdicts, {count} readings", best(together, 3), singly_s, "one by one")


def sweep(count: int = 100_000) -> str:
    """Measure the travel of a long sweep; and pass one median of five readings over it."""
    return "\n".join((
        one_sweep(f"sweep, {count} readings", count, 40),
        one_sweep("  arriving in bunches of 8", count, 40, bunch_ns=40_000_000),
        one_sweep("  arriving unevenly", count, 40, uneven_ns=4_000_000),
        one_sweep("  with 200 half swings", count, 200),
        one_sweep("  with 500 half swings", count, 500),
        one_sweep("    in bunches of 8", count, 500, bunch_ns=40_000_000),
        one_sweep("    a display of 0.01 mm", count, 500, step=10),
        one_sweep("    one of 100 jumps", count, 500, spikes=0.01),
        one_sweep("  with 2000 half swings", count, 2000),
        one_sweep("  with 4000 half swings", count, 4000),
        one_sweep("  with 8000 half swings", count, 8000),
    ))  # fmt: skip


def one_sweep(
    name: str, count: int, halves: int, *, bunch_ns: int = 0, uneven_ns: int = 0,
    step: int = 1, spikes: float = 0.0,
) -> str:  # fmt: skip
    """Make a sweep at 200 readings a second and measure it.

    The processor time is told besides: on a busy machine the longer of two runs is interrupted, and
    the shorter one is not, which says nothing about either.
    """
    draw, at = np.random.default_rng(1), np.arange(count)
    shape = np.clip(3 * np.sin(at / count * halves * np.pi), -1, 1) * 100
    steps = np.round((shape + draw.normal(0, 0.3, count)) / step).astype(np.int64) * step
    jumps = draw.random(count) < spikes
    steps[jumps] += draw.integers(-400, 400, int(jumps.sum())) * step
    values, times = 5_000_000_000 + steps * 1_000_000, at * 5_000_000
    if bunch_ns:
        times = (times // bunch_ns + 1) * bunch_ns
    times = np.sort(times + draw.integers(-uneven_ns, uneven_ns + 1, count))
    step_pm = step * 1_000_000

    def ours() -> object:
        return measure_travel(times, values, step_pm)

    def plain() -> object:
        return np.median(sliding_window_view(values, 5), axis=1)

    found = measure_travel(times, values, step_pm)
    assert abs(found.travel_pm - 200_000_000) < 1.5 * step_pm
    assert abs(len(found.plateaus) - halves) <= 2
    # In turn, so that a busy machine disturbs both alike.
    times_s = [spent(work) for _ in range(25) for work in (ours, plain)]
    shortest = [min(each[0] for each in times_s[which::2]) for which in (0, 1)]
    processor = [sum(each[1] for each in times_s[which::2]) for which in (0, 1)]
    told = line(name, shortest[0], shortest[1], "one numpy median of five, no more")
    return f"{told}; processor time {processor[0] / processor[1]:.1f} times"


def spent(work: Callable[[], object]) -> tuple[float, float]:
    """Give the seconds that a run takes, on the clock and of the processor."""
    begin, begin_processor = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - begin, time.process_time() - begin_processor


def line(name: str, ours_s: float, baseline_s: float, baseline: str) -> str:
    """Write one result."""
    if ours_s > baseline_s:
        return (f"{name:<28} {ours_s * 1e3:8.2f} ms   {ours_s / baseline_s:6.1f} times as long as "
                f"{baseline} ({baseline_s * 1e3:.1f} ms)")  # fmt: skip
    return (f"{name:<28} {ours_s * 1e3:8.2f} ms   {baseline_s / ours_s:6.1f} times as fast as "
            f"{baseline} ({baseline_s * 1e3:.1f} ms)")  # fmt: skip


ROWS = (flatness, study, conformity, sweep)


def main() -> None:
    """Measure and print."""
    for row in ROWS:
        print(row())


if __name__ == "__main__":
    main()
