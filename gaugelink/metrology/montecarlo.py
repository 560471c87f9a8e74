"""Uncertainty by drawing lots: the propagation of distributions.

For formulas that bend, and for inputs that are far from normal, where the budget of first order is
not enough. Source: JCGM 101:2008, clauses 6 and 7; intervals of clause 7.7.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, sqrt
from typing import TYPE_CHECKING, Any, Final

from gaugelink.metrology.budget import SPREAD, correlation_matrix

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from gaugelink.metrology.budget import Quantity

BLOCK: Final = 50_000


@dataclass(frozen=True, slots=True)
class Drawn:
    """What a Monte Carlo run came to.

    Attributes:
        value: mean of the drawn results.
        u: their standard deviation.
        symmetric: interval with as much above as below it.
        shortest: the shortest interval of the same coverage.
        trials: how many were drawn.
        histogram: edges and counts, for a plot.
    """

    value: float
    u: float
    symmetric: tuple[float, float]
    shortest: tuple[float, float]
    trials: int
    histogram: tuple[tuple[float, ...], tuple[int, ...]]


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
    import sympy  # noqa: PLC0415

    if trials < 10_000:
        raise ValueError(f"found {trials} trials, accepted: 10000 or more")
    correlated = {name for pair, r in (correlations or {}).items() if r for name in pair}
    mixing = _mixing(inputs, correlations or {}, correlated)
    symbols = [sympy.Symbol(one.name, real=True) for one in inputs]
    model = sympy.lambdify(symbols, formula, "numpy")
    random = np.random.default_rng(seed)
    results = np.empty(trials)
    with np.errstate(all="ignore"):
        for start in range(0, trials, BLOCK):
            size = min(BLOCK, trials - start)
            drawn = [_values(one, size, random) for one in inputs]
            if correlated:
                mixed = mixing @ random.standard_normal((len(inputs), size))
                for place, one in enumerate(inputs):
                    if one.name in correlated:
                        drawn[place] = one.value + one.u * mixed[place]
            results[start : start + size] = model(*drawn)
            if progress is not None:
                progress(start + size)
    if not np.isfinite(results).all():
        raise ValueError("the formula has no value for some of what was drawn: look at a root, a "
                         "logarithm or a division by something that may be 0")  # fmt: skip
    results.sort()
    inside = round(coverage * trials)
    low = (trials - inside) // 2
    widths = results[inside:] - results[: trials - inside]
    at = int(widths.argmin()) if len(widths) else 0
    counts, edges = np.histogram(results, bins=80)
    last = min(low + inside, trials - 1)
    return Drawn(
        float(results.mean()), float(results.std(ddof=1)),
        (float(results[low]), float(results[last])),
        (float(results[at]), float(results[min(at + inside, trials - 1)])),
        trials, (tuple(edges.tolist()), tuple(counts.tolist())),
    )  # fmt: skip


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
