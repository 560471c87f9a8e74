"""Uncertainty budgets: what each input contributes, and how sure the result is.

Source: JCGM 100:2008 (the Guide to the expression of uncertainty in measurement): combination with
sensitivities and correlations, 5.1.2 and 5.2.2; terms of second order, note to 5.1.2; effective
degrees of freedom and coverage factor, G.4 and G.3.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import inf, isfinite, sqrt
from typing import TYPE_CHECKING, Any, Final, Literal

from gaugelink.metrology.counts import sum_of_squares

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

Distribution = Literal["normal", "rectangular", "triangular", "u-shaped"]

SPREAD: Final[Mapping[str, float]] = {
    "rectangular": 3**0.5, "triangular": 6**0.5, "u-shaped": 2**0.5,
}  # fmt: skip
"""Half width over standard uncertainty (JCGM 100:2008, 4.3.7, 4.3.9; JCGM 101:2008, 6.4.6)."""

TOO_CURVED: Final = 1.05
"""So much larger with the terms of second order, and the first order alone is not enough."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """An input of a budget.

    Attributes:
        name: as the formula has it.
        value: its best estimate.
        u: its standard uncertainty, in the same unit, 0 or more.
        dof: degrees of freedom of that; infinite where nothing doubts it.
        distribution: how its possible values are spread; a normal one with finite degrees of
            freedom is taken as a t distribution by the Monte Carlo method.
        inexact: for ``rectangular``: how inexactly its half width is known, 0 or more.
    """

    name: str
    value: float
    u: float
    dof: float = inf
    distribution: Distribution = "normal"
    inexact: float = 0.0


@dataclass(frozen=True, slots=True)
class Contribution:
    """A row of a budget.

    Attributes:
        quantity: the input.
        sensitivity: how much the result moves with it.
        u: its part of the result's standard uncertainty, with the sign of the sensitivity.
        share: its part of the variance of all inputs taken as independent, 0 to 1.
    """

    quantity: Quantity
    sensitivity: float
    u: float
    share: float


@dataclass(frozen=True, slots=True)
class Budget:
    """A budget drawn up.

    Attributes:
        value: the result.
        u: its standard uncertainty, first order.
        dof: its effective degrees of freedom.
        u_second: its standard uncertainty with the terms of second order; None with correlations.
        rows: one an input.
    """

    value: float
    u: float
    dof: float
    u_second: float | None
    rows: tuple[Contribution, ...]

    @property
    def curved(self) -> bool:
        """Whether the first order is not enough: the formula bends within the uncertainties."""
        return self.u_second is not None and self.u_second > TOO_CURVED * self.u

    def coverage_factor(self, coverage: float = 0.95) -> float:
        """Give k for a coverage; degrees of freedom are cut to whole ones (G.4.1)."""
        return coverage_factor(self.dof, coverage)

    def expanded(self, coverage: float = 0.95) -> float:
        """Give U = k u."""
        return self.coverage_factor(coverage) * self.u


def from_readings(name: str, counts: Sequence[int], step: Fraction) -> Quantity:
    """Make an input of repeated readings (type A; JCGM 100:2008, 4.2).

    Its value is their mean, its standard uncertainty that of the mean. Readings are whole counts of
    a step, so equal readings give exactly 0, and nothing depends on how large they are.

    Args:
        name: its name.
        counts: the readings, at least two.
        step: one count, in the unit of the result.

    Raises:
        ValueError: fewer than two readings.

    >>> found = from_readings("stem", [7965, 7966, 7964, 7965], Fraction(1, 1000))
    >>> found.value, round(found.u, 6), found.dof
    (7.965, 0.000408, 3)
    """
    count = len(counts)
    if count < 2:
        raise ValueError(f"found {count} readings, needed: at least two")
    square = sum_of_squares(counts) / (count - 1) / count * step**2
    return Quantity(name, float(Fraction(sum(counts), count) * step), sqrt(square), count - 1)


def from_half_width(
    name: str, value: float, half_width: float, distribution: Distribution, dof: float = inf
) -> Quantity:
    """Make an input that lies within a half width (type B).

    >>> round(from_half_width("resolution", 0.0, 0.0005, "rectangular").u, 6)
    0.000289
    """
    return Quantity(name, value, half_width / SPREAD[distribution], dof, distribution)


def budget(
    formula: Any, inputs: Sequence[Quantity],
    correlations: Mapping[tuple[str, str], float] | None = None,
) -> Budget:  # fmt: skip
    """Draw up a budget.

    Args:
        formula: the model, from `gaugelink.metrology.formula.read_formula`.
        inputs: its quantities; those that the formula does not use contribute nothing.
        correlations: coefficient for pairs of names, each -1 to 1; others are independent.

    Raises:
        ValueError: a value that is not finite, a negative uncertainty, a correlation matrix that
            cannot be, or a formula that has no value or slope there.

    >>> from gaugelink.metrology.formula import read_formula
    >>> found = budget(read_formula("bore - stem", ["bore", "stem"]),
    ...                [Quantity("bore", 8.012, 0.0024), Quantity("stem", 7.965, 0.0019)])
    >>> round(found.value, 4), round(found.u, 6), found.dof
    (0.047, 0.003061, inf)
    """
    for one in inputs:
        _check(one)
    matrix = correlation_matrix([one.name for one in inputs], correlations or {})
    first, second = _slopes(formula, inputs, second=not correlations)
    value = first[0]
    slopes = first[1:]
    parts = [slope * one.u for slope, one in zip(slopes, inputs, strict=True)]
    # Pairs of parts with their coefficient; without correlations only each with itself.
    variance = sum(a * b * matrix[i][j] for i, a in enumerate(parts) for j, b in enumerate(parts))
    u = sqrt(max(0.0, variance))
    alone = sum(part * part for part in parts)
    rows = tuple(
        Contribution(one, slope, part, part * part / alone if alone else 0.0)
        for one, slope, part in zip(inputs, slopes, parts, strict=True)
    )
    u_second = None if second is None else sqrt(max(0.0, u * u + second))
    return Budget(value, u, _dof(parts, inputs, matrix, u), u_second, rows)


def coverage_factor(dof: float, coverage: float = 0.95) -> float:
    """Give the factor k so that the result lies within k u with this probability.

    The quantile of the t distribution (JCGM 100:2008, G.3.4); degrees of freedom that are not whole
    are cut (G.4.1).

    Args:
        dof: 1 or more.
        coverage: between 0 and 1.

    Raises:
        ValueError: fewer than one degree of freedom, or a coverage outside 0 to 1.

    >>> round(coverage_factor(16.75, 0.99), 2)  # JCGM 100:2008, H.1.6
    2.92
    """
    from scipy.special import ndtri, stdtrit  # noqa: PLC0415

    if not 0 < coverage < 1:
        raise ValueError(f"found a coverage of {coverage:g}, accepted: between 0 and 1")
    if dof < 1:
        raise ValueError(f"found {dof:g} degrees of freedom, needed: at least 1")
    p = (1 + coverage) / 2
    return float(ndtri(p) if dof == inf else stdtrit(int(dof), p))


def _check(one: Quantity) -> None:
    if not (isfinite(one.value) and isfinite(one.u)):
        raise ValueError(f"{one.name}: found a value or u that is not finite")
    if one.u < 0:
        raise ValueError(f"{one.name}: found u = {one.u:g}, accepted: 0 or more")
    if one.inexact < 0 or one.inexact > 3 * one.u:
        raise ValueError(f"{one.name}: found a half width inexact by {one.inexact:g}, accepted: 0 "
                         "up to the half width itself")  # fmt: skip
    if not one.dof >= 1:
        raise ValueError(f"{one.name}: found {one.dof:g} degrees of freedom, accepted: 1 or more")


def correlation_matrix(
    names: Sequence[str], correlations: Mapping[tuple[str, str], float]
) -> list[list[float]]:
    """Give the matrix of all coefficients, in the order of the names.

    Raises:
        ValueError: an unknown name, a coefficient beyond 1, or ones that cannot all be at once.
    """
    import numpy as np  # noqa: PLC0415

    matrix = np.eye(len(names))
    for (a, b), r in correlations.items():
        for name in (a, b):
            if name not in names:
                known = ", ".join(names)
                raise ValueError(f"found a correlation with {name!r}, accepted: {known}")
        if a == b or not -1 <= r <= 1:
            raise ValueError(f"found a correlation of {r:g} between {a} and {b}, accepted: -1 to "
                             "1, between two different inputs")  # fmt: skip
        i, j = names.index(a), names.index(b)
        matrix[i, j] = matrix[j, i] = r
    if correlations and float(np.linalg.eigvalsh(matrix)[0]) < -1e-12 * len(names):
        raise ValueError(
            "found correlations that cannot all be at once (their matrix is not positive "
            "semidefinite); look at the signs, or give those that are missing"
        )
    table: list[list[float]] = matrix.tolist()
    return table


def _slopes(
    formula: Any, inputs: Sequence[Quantity], *, second: bool
) -> tuple[list[float], float | None]:
    """Give value and slopes, and the variance that the terms of second order add."""
    import sympy  # noqa: PLC0415

    symbols = [sympy.Symbol(one.name, real=True) for one in inputs]
    at = {symbol: sympy.Float(one.value, 30) for symbol, one in zip(symbols, inputs, strict=True)}

    def here(expression: Any, what: str) -> float:
        found = sympy.sympify(expression).evalf(30, subs=at)
        if not (found.is_number and found.is_real and found.is_finite):
            raise ValueError(f"the formula has no {what} there: look at a root, a logarithm or a "
                             "division by 0")  # fmt: skip
        return float(found)

    slopes = [sympy.diff(formula, symbol) for symbol in symbols]
    first = [here(formula, "value"), *(here(slope, "slope") for slope in slopes)]
    if not second:
        return first, None
    added = 0.0
    for i in range(len(symbols)):
        for j, b in enumerate(symbols):
            scale = (inputs[i].u * inputs[j].u) ** 2
            bend = sympy.diff(slopes[i], b)
            if not scale or bend == 0:
                continue
            # Half the square of the bend, and slope times third derivative (5.1.2, note).
            added += scale * (
                here(bend, "bend") ** 2 / 2
                + first[1 + i] * here(sympy.diff(bend, b), "third derivative")
            )
    return first, added


def _dof(
    parts: Sequence[float], inputs: Sequence[Quantity], matrix: list[list[float]], u: float
) -> float:
    """Give the effective degrees of freedom (Welch-Satterthwaite, JCGM 100:2008, G.4.1).

    The formula holds for independent inputs. Correlated ones are taken together as one, with the
    fewest degrees of freedom that any of them has: on the safe side.
    """
    if u == 0:
        return inf
    left = set(range(len(parts)))
    below = 0.0
    while left:
        group, rim = set(), {left.pop()}
        while rim:
            one = rim.pop()
            group.add(one)
            rim |= {other for other in left if matrix[one][other]}
            left -= rim
        variance = sum(parts[i] * parts[j] * matrix[i][j] for i in group for j in group)
        below += variance**2 / min(inputs[one].dof for one in group)
    return u**4 / below if below else inf
