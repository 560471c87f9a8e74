"""Uncertainty by drawing lots: the propagation of distributions.

For formulas that bend, and for inputs that are far from normal, where the budget of first order is
not enough. Source: JCGM 101:2008, clauses 6 and 7; intervals of clause 7.7, how many to draw 7.9.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil, inf, isfinite, sqrt
from typing import TYPE_CHECKING, Any, Final

from gaugelink.metrology.budget import SPREAD, correlation_matrix

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from gaugelink.metrology.budget import Quantity

BLOCK: Final = 50_000
LEAST: Final = 10_000
MOST: Final = 10_000_000


@dataclass(frozen=True, slots=True)
class Drawn:
    """What a Monte Carlo run came to.

    Attributes:
        value: mean of the drawn results; their median where an input has one degree of freedom,
            for then there is no mean.
        u: their standard deviation; infinite where an input has two degrees of freedom or fewer,
            for then there is none, and only the intervals mean something (JCGM 101:2008, 6.4.9.4).
        symmetric: interval with as much above as below it.
        shortest: the shortest interval of the same coverage.
        trials: how many were drawn.
        histogram: edges and counts of the middle 99.9 %, for a plot.
        settled: whether as many were drawn as the digits asked for; None if a number was asked for.
    """

    value: float
    u: float
    symmetric: tuple[float, float]
    shortest: tuple[float, float]
    trials: int
    histogram: tuple[tuple[float, ...], tuple[int, ...]]
    settled: bool | None = None


def draw(
    formula: Any,
    inputs: Sequence[Quantity],
    correlations: Mapping[tuple[str, str], float] | None = None,
    *,
    trials: int = 1_000_000,
    coverage: float = 0.95,
    seed: int = 1,
    progress: Callable[[int], None] | None = None,
) -> Drawn:
    """Draw results.

    A normal input with finite degrees of freedom is drawn from the t distribution scaled by its u
    (JCGM 101:2008, 6.4.9), so its own spread is wider than u. Correlated inputs have to be normal.

    Args:
        formula: the model, from `gaugelink.metrology.formula.read_formula`.
        inputs: its quantities.
        correlations: as for a budget.
        trials: how many, 10,000 or more; a million gives u to about three digits.
        coverage: of the intervals, between 0 and 1.
        seed: the same seed draws the same results.
        progress: told now and then how many have been drawn.

    Raises:
        ValueError: too few trials, correlated inputs that are not normal, or results that are no
            numbers.

    >>> from gaugelink.metrology.budget import Quantity
    >>> from gaugelink.metrology.formula import read_formula
    >>> names = ["a", "b", "c", "d"]
    >>> found = draw(read_formula("a + b + c + d", names),
    ...              [Quantity(name, 0.0, 1.0, distribution="rectangular") for name in names])
    >>> round(found.u, 2), [round(end, 1) for end in found.symmetric]  # JCGM 101:2008, 9.2.3
    (2.0, [-3.9, 3.9])
    """
    import numpy as np  # noqa: PLC0415

    if trials < LEAST:
        raise ValueError(f"found {trials} trials, accepted: {LEAST} or more")
    block = _blocks(formula, inputs, correlations or {}, seed)
    results = np.empty(trials)
    for start in range(0, trials, BLOCK):
        size = min(BLOCK, trials - start)
        results[start : start + size] = block(size)
        if progress is not None:
            progress(start + size)
    return _summed_up(results, inputs, coverage)


def draw_until_settled(
    formula: Any,
    inputs: Sequence[Quantity],
    correlations: Mapping[tuple[str, str], float] | None = None,
    *,
    digits: int = 2,
    finer: int = 1,
    most: int = MOST,
    coverage: float = 0.95,
    seed: int = 1,
    progress: Callable[[int], None] | None = None,
) -> Drawn:
    """Draw results until value, u, and both ends of the interval hold as many digits of u.

    Runs are added until twice the standard deviation of the mean of the runs is below the numerical
    tolerance, for all four (JCGM 101:2008, 7.9.4); for the ends alone where there is no u.

    Args:
        formula: the model.
        inputs: its quantities.
        correlations: as for a budget.
        digits: of u that have to hold, 1 or 2 (7.9.2).
        finer: the tolerance is divided by this: 5 where a budget is held against the result (8.2).
        most: draw no more than so many.
        coverage: of the intervals, between 0 and 1.
        seed: the same seed draws the same results.
        progress: told now and then how many have been drawn.

    Raises:
        ValueError: as for `draw`.

    >>> from gaugelink.metrology.budget import Quantity
    >>> from gaugelink.metrology.formula import read_formula
    >>> found = draw_until_settled(read_formula("a", ["a"]), [Quantity("a", 0.0, 1.0)], digits=1)
    >>> found.settled, found.trials < 100_000, round(found.u, 1)
    (True, True, 1.0)
    """
    import numpy as np  # noqa: PLC0415

    size = max(LEAST, ceil(100 / (1 - coverage) - 1e-9))
    block = _blocks(formula, inputs, correlations or {}, seed)
    runs: list[Any] = []
    told: list[tuple[float, float, float, float]] = []
    settled = False
    while not settled and (len(runs) + 1) * size <= max(most, 2 * size):
        run = block(size)
        ends = np.quantile(run, [(1 - coverage) / 2, (1 + coverage) / 2])
        runs.append(run)
        told.append((float(run.mean()), float(run.std(ddof=1)), float(ends[0]), float(ends[1])))
        if progress is not None:
            progress(len(runs) * size)
        if len(runs) > 1:
            table = np.array(told)
            scatter = table.std(axis=0, ddof=1) / sqrt(len(runs))
            # The runs are as long as each other: their u is near that of all together.
            u = sqrt(float((table[:, 1] ** 2).mean() + table[:, 0].var()))
            if _fewest(inputs) <= 2:  # there is no u, so it cannot hold, nor can the mean
                scatter, u = scatter[2:], float(table[:, 3].mean() - table[:, 2].mean()) / 4
            settled = bool((2 * scatter < numerical_tolerance(u, digits) / finer).all()) or u == 0
    return replace(_summed_up(np.concatenate(runs), inputs, coverage), settled=settled)


def numerical_tolerance(u: float, digits: int = 2) -> float:
    """Give half a unit of the last of so many digits of u (JCGM 101:2008, 7.9.2).

    >>> numerical_tolerance(0.00035), numerical_tolerance(32.0, 1)  # 7.9.2: 35 x 10^-5; 3 x 10^1
    (5e-06, 5.0)
    """
    if not (u > 0 and isfinite(u)):
        return 0.0
    exponent = int(f"{u:.{digits - 1}e}".partition("e")[2]) - digits + 1
    return 0.5 * 10.0**exponent


def _blocks(
    formula: Any, inputs: Sequence[Quantity], correlations: Mapping[tuple[str, str], float],
    seed: int,
) -> Callable[[int], Any]:  # fmt: skip
    """Give what draws so many further results."""
    import numpy as np  # noqa: PLC0415
    import sympy  # noqa: PLC0415

    correlated = {name for pair, r in correlations.items() if r for name in pair}
    mixing = _mixing(inputs, correlations, correlated)
    symbols = [sympy.Symbol(one.name, real=True) for one in inputs]
    model = sympy.lambdify(symbols, formula, "numpy")
    random = np.random.default_rng(seed)

    def block(size: int) -> Any:
        drawn = [_values(one, size, random) for one in inputs]
        if correlated:
            mixed = mixing @ random.standard_normal((len(inputs), size))
            for place, one in enumerate(inputs):
                if one.name in correlated:
                    drawn[place] = one.value + one.u * mixed[place]
        with np.errstate(all="ignore"):
            found = np.broadcast_to(np.asarray(model(*drawn)), size)
        if np.iscomplexobj(found) or not np.isfinite(found).all():
            raise ValueError(
                "the formula has no value for some of what was drawn: look at a root, a logarithm "
                "or a division by something that may be 0"
            )
        return found

    return block


def _summed_up(results: Any, inputs: Sequence[Quantity], coverage: float) -> Drawn:
    import numpy as np  # noqa: PLC0415

    results.sort()
    trials = len(results)
    inside = round(coverage * trials)
    low = (trials - inside) // 2
    widths = results[inside:] - results[: trials - inside]
    at = int(widths.argmin()) if len(widths) else 0
    rim = trials // 2000
    counts, edges = np.histogram(results[rim : trials - rim], bins=80)
    last = min(low + inside, trials - 1)
    fewest = _fewest(inputs)
    return Drawn(
        float(results.mean() if fewest > 1 else np.median(results)),
        float(results.std(ddof=1)) if fewest > 2 else inf,
        (float(results[low]), float(results[last])),
        (float(results[at]), float(results[min(at + inside, trials - 1)])),
        trials, (tuple(edges.tolist()), tuple(counts.tolist())),
    )  # fmt: skip


def _fewest(inputs: Sequence[Quantity]) -> float:
    """Give the fewest degrees of freedom of what is drawn from a t distribution."""
    return min((one.dof for one in inputs if one.u and one.distribution == "normal"), default=inf)


def _mixing(
    inputs: Sequence[Quantity], correlations: Mapping[tuple[str, str], float], correlated: set[str]
) -> Any:
    """Give the matrix that makes correlated normal values of independent ones."""
    import numpy as np  # noqa: PLC0415

    for one in inputs:
        if one.name in correlated and (one.distribution != "normal" or one.dof != inf):
            raise ValueError(
                f"{one.name}: found a correlated input that is not normal with endless degrees of "
                "freedom; only such can be drawn together"
            )
    # By eigenvectors: it also holds for full correlation, where the matrix has no inverse.
    matrix = np.array(correlation_matrix([one.name for one in inputs], correlations))
    sizes, vectors = np.linalg.eigh(matrix)
    return vectors @ np.diag(np.sqrt(np.clip(sizes, 0.0, None))) @ vectors.T


def _values(one: Quantity, size: int, random: Any) -> Any:
    import numpy as np  # noqa: PLC0415

    if one.distribution == "normal":
        if one.dof == inf:
            return random.normal(one.value, one.u, size)
        return one.value + one.u * random.standard_t(one.dof, size)
    half = one.u * SPREAD[one.distribution]
    if one.inexact:
        # The half width itself lies anywhere within +- inexact (JCGM 101:2008, 6.4.3).
        whole = sqrt(3 * one.u**2 - one.inexact**2 / 3) if one.inexact else half
        half = whole + one.inexact * random.uniform(-1.0, 1.0, size)
    if one.distribution == "rectangular":
        return one.value + half * random.uniform(-1.0, 1.0, size)
    if one.distribution == "triangular":
        return one.value + half * (random.uniform(0, 1, size) - random.uniform(0, 1, size))
    return one.value + half * np.sin(random.uniform(-np.pi / 2, np.pi / 2, size))
