"""Fit the ends of a rock sweep: half the travel up or down, on a base that drifts and may slip.

Model: ``level = base(t) + side * travel / 2 + slips before t``, the base a polynomial of first or
second degree. Because high and low ends alternate, a slow base cancels out of the travel, in
the same way as when every end is held against the mean of its two neighbours; the fit does the
same with every end at once. Ends that do not belong (short ones, a rest half-way) lose their
weight: least absolute deviations first, Tukey's biweight after (standard robust regression).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Places = NDArray[np.intp]

SLIP_COST: Final = 2.0
BEND_COST: Final = 1.0
"""What a slip or a bend must explain, in tolerances of an end, before it is believed."""
MOST_OF_SWING: Final = 2.5
MOST_SLIPS: Final = 4
SLIP_SHARE: Final = 0.04
"""A step of the base smaller than this share of the travel is drift."""


@dataclass(frozen=True, slots=True)
class EndFit:
    """What the ends agree on.

    Attributes:
        travel_pm: from wall to wall.
        expected_pm: ``(m,)`` where each end should lie.
        outward_pm: ``(m,)`` how far each end lies beyond that (+) or short of it (-).
        scatter_pm: standard deviation of the ends about the model, from their median deviation.
        slips: pairs of the end before a slip and its size in pm.
    """

    travel_pm: float
    expected_pm: Floats
    outward_pm: Floats
    scatter_pm: float
    slips: tuple[tuple[int, float], ...]


def fullness(level_pm: Floats, swing: float) -> Floats:
    """Say how much of the swing lies on the fuller side of each end, as a share.

    A rest half-way and a small move before the first rock have no full swing on either side. A way
    of far more than the swing is no swing at all: the gauge was zeroed, or the base fell.

    >>> import numpy as np
    >>> fullness(np.array([40.0, 100.0, 0.0, 80.0, 0.0]), 100.0).tolist()
    [0.6, 1.0, 1.0, 0.8, 0.8]
    >>> fullness(np.array([40.0, 40.0, 90.0]), 0.0).tolist()  # of no swing nothing is a share
    [0.0, 0.0, 0.0]
    """
    if not swing:
        return np.zeros(len(level_pm))
    ways = np.abs(np.diff(level_pm)) / swing
    ways[ways > MOST_OF_SWING] = 0.0
    share: Floats = np.maximum(np.concatenate([[0.0], ways]), np.concatenate([ways, [0.0]]))
    return share


def fit_ends(
    level_pm: Floats, at_s: Floats, side: Floats, trust: Floats, step_pm: int, swing: float
) -> EndFit:
    """Fit the ends.

    Args:
        level_pm: ``(m,)`` level of each end, m at least 2, high and low in turn.
        at_s: ``(m,)`` when.
        side: ``(m,)`` +1 high, -1 low.
        trust: ``(m,)`` weight of each end, at most 1; 0 for an end that is not asked.
        step_pm: step of the display.
        swing: first estimate of the travel, pm.

    >>> import numpy as np
    >>> level = np.array([0.0, 202.0, 4.0, 206.0, 8.0, 210.0, 12.0])  # drift of 2 from end to end
    >>> side = np.array([-1.0, 1.0] * 3 + [-1.0])
    >>> round(fit_ends(level, np.arange(7.0), side, np.ones(7), 1, 200.0).travel_pm, 6)
    200.0
    """
    asked = np.flatnonzero(trust > 0)
    if len(asked) < 4 or len(set(side[asked].tolist())) < 2:
        return _plain(level_pm, side, asked, float(step_pm))
    span = max(float(at_s[asked[-1]] - at_s[asked[0]]), 1e-9)
    problem = _Problem(
        level=level_pm,
        side=side,
        # A rest long before the first rock must not gain a long lever.
        when=np.clip(2 * (at_s - at_s[asked[0]]) / span - 1, -1.3, 1.3),
        trust=trust,
        asked=asked,
        floor=max(0.3 * step_pm, 0.002 * swing),
        tolerance=max(2.0 * step_pm, 0.025 * swing),
        least_slip=max(2.5 * step_pm, SLIP_SHARE * swing),
    )
    best, slips = problem.tried([]), list[int]()
    if best.cost > 1.0:
        best, slips = _explain(problem, best)
    elif len(asked) >= 7:
        bent = problem.tried([problem.when**2])
        if bent.scale < 0.8 * best.scale:
            best = bent
    sizes = best.answer[3 : 3 + len(slips)].tolist()
    return EndFit(
        travel_pm=float(best.answer[0]),
        expected_pm=level_pm - best.residual,
        outward_pm=side * best.residual,
        scatter_pm=best.scale,
        slips=tuple(sorted(zip(slips, sizes, strict=True))),
    )


class _Trial(NamedTuple):
    """One model tried: how badly it fits, its unknowns, what it leaves over."""

    cost: float
    answer: Floats
    residual: Floats
    scale: float


@dataclass(frozen=True, slots=True)
class _Problem:
    level: Floats
    side: Floats
    when: Floats
    trust: Floats
    asked: Places
    floor: float
    tolerance: float
    least_slip: float

    def tried(self, extra: list[Floats]) -> _Trial:
        """Fit travel, base and slope, and the extra columns after them."""
        columns = [self.side / 2, np.ones(len(self.level)), self.when, *extra]
        answer, residual, scale = _robust(
            np.stack(columns, axis=1), self.level, self.trust, self.floor
        )
        misfit = np.minimum(np.abs(residual[self.asked]) / self.tolerance, 3.0)
        return _Trial(float(misfit.sum()), answer, residual, scale)


def _plain(level: Floats, side: Floats, asked: Places, scatter: float) -> EndFit:
    """Too few ends for a model: the middle of each side."""
    high, low = asked[side[asked] > 0], asked[side[asked] < 0]
    high = high if len(high) else np.flatnonzero(side > 0)
    low = low if len(low) else np.flatnonzero(side < 0)
    top, bottom = float(np.median(level[high])), float(np.median(level[low]))
    expected = (top + bottom) / 2 + side * (top - bottom) / 2
    return EndFit(top - bottom, expected, side * (level - expected), scatter, ())


def _explain(problem: _Problem, plain: _Trial) -> tuple[_Trial, list[int]]:
    """Choose between drift that bends and a base that slipped; each unknown has its price."""
    spare = len(problem.asked) - 3
    options: list[tuple[float, _Trial, list[int]]] = [(plain.cost, plain, [])]
    bends = [problem.when**2, problem.when**3]
    for count in (1, 2):
        if spare >= 2 * count + 1:
            bent = problem.tried(bends[:count])
            options.append((bent.cost + BEND_COST * count, bent, []))
    slips = _slip_candidates(problem)[: max(min(MOST_SLIPS, spare - 1), 0)]
    for count in (0, 1, 2):
        left = list(slips)
        while left and spare >= len(left) + count + (4 if count else 1):
            steps = [(np.arange(len(problem.level)) > after).astype(np.float64) for after in left]
            now = problem.tried([*steps, *bends[:count]])
            price = SLIP_COST * len(left) + BEND_COST * count
            options.append((now.cost + price, now, left))
            smallest = int(np.argmin(np.abs(now.answer[3 : 3 + len(left)])))
            left = left[:smallest] + left[smallest + 1 :]
    _, best, chosen = min(options, key=lambda option: option[0])
    return best, chosen


def _slip_candidates(problem: _Problem) -> list[int]:
    """Ends after which the base jumped, the largest jump first.

    From one end to the next the gauge moves by the travel and by what the base moved meanwhile.
    Drift moves the base alike in neighbouring swings; a short end moves it there and back; a slip
    stands alone.
    """
    asked = problem.asked
    ways = np.diff(problem.level[asked])
    up = problem.side[asked][1:]
    if len(ways) < 3:
        return []
    size = np.abs(ways)
    travel = float(np.median((size[1:] + size[:-1]) / 2))
    base = ways - up * travel
    base = base - np.median(base)
    # With few ends a coincidence is likelier, so a slip must stand out more.
    alone = 0.6 if len(ways) >= 8 else 0.35
    jump = np.abs(base)
    beside = np.maximum(jump[:-2], jump[2:])
    jump, after = jump[1:-1], asked[1 : len(base) - 1]
    found = (jump > problem.least_slip) & (beside < alone * jump)
    largest_first = np.lexsort((after[found], -jump[found]))
    after_which: list[int] = after[found][largest_first].tolist()
    return after_which


def _robust(
    model: Floats, level: Floats, trust: Floats, floor: float
) -> tuple[Floats, Floats, float]:
    """Solve with least absolute deviations first, with Tukey's biweight after.

    Args:
        model: ``(m, k)`` one column for each unknown.
        level: ``(m,)`` pm.
        trust: ``(m,)`` weights.
        floor: scatter below which ends are not told apart, pm.

    Returns:
        The unknowns, what is left over at each end, and the scatter.
    """
    m, unknown = model.shape
    asked = trust > 0
    count = int(np.count_nonzero(asked))
    spare = min(math.sqrt(count / max(count - unknown, 1)), 1.6)
    weight = trust
    residual: Floats = np.zeros(m)
    answer: Floats = np.zeros(unknown)
    # Keeps the equations solvable where two columns say the same about the ends asked.
    ridge = np.eye(unknown) * 1e-9
    scale, biweight = floor, False
    for turn in range(16):
        weighted = model * weight[:, None]
        before = answer
        answer = np.asarray(np.linalg.solve(model.T @ weighted + ridge, weighted.T @ level))
        residual = level - model @ answer
        away = np.abs(residual)
        settled = float(np.abs(answer - before).max()) < 0.02 * floor
        if not biweight and turn < 7 and not settled:
            weight = trust * floor / np.maximum(away, floor / 3)
            continue
        if biweight and settled:
            break
        biweight = True
        scale = max(1.4826 * float(np.sort(away[asked])[count // 2]) * spare, floor)
        weight = trust * np.maximum(1 - (residual / (6.0 * scale)) ** 2, 0.0) ** 2 + 1e-9
    return answer, residual, scale
