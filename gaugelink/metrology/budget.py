"""Uncertainty budgets: what each input contributes, and how sure the result is.

Source: JCGM 100:2008 (the Guide to the expression of uncertainty in measurement): combination with
sensitivities and correlations, 5.1.2 and 5.2.2; terms of second order, note to 5.1.2; effective
degrees of freedom and coverage factor, G.4 and G.3.
"""

from __future__ import annotations

from contextlib import suppress
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
"""So much larger or smaller with the terms of second order, and the first order alone is not
enough."""

NEAR_WHOLE: Final = 1e-9
"""A quotient that misses a whole number by so little of itself has missed it by rounding alone."""


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
        u_second: its standard uncertainty with the terms of second order.
        rows: one an input.
    """

    value: float
    u: float
    dof: float
    u_second: float
    rows: tuple[Contribution, ...]

    @property
    def curved(self) -> bool:
        """Whether the first order is not enough: the formula bends within the uncertainties."""
        return self.u_second > TOO_CURVED * self.u or TOO_CURVED * self.u_second < self.u

    def coverage_factor(self, coverage: float = 0.95, *, cut: bool = True) -> float:
        """Give k for a coverage; see the function of this name."""
        return coverage_factor(self.dof, coverage, cut=cut)

    def expanded(self, coverage: float = 0.95, *, cut: bool = True) -> float:
        """Give U = k u."""
        return self.coverage_factor(coverage, cut=cut) * self.u


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
    value, slopes, bends, turns = _slopes(formula, inputs, matrix)
    parts = [slope * one.u for slope, one in zip(slopes, inputs, strict=True)]
    # As shares of the largest, so that the square of none is too large or too small for a double.
    unit = max((abs(part) for part in parts), default=0.0) or 1.0
    shares = [part / unit for part in parts]
    u = sqrt(max(0.0, _product(shares, matrix, shares)))
    alone = sum(share * share for share in shares)
    rows = tuple(
        Contribution(one, slope, part, share * share / alone if alone else 0.0)
        for one, slope, part, share in zip(inputs, slopes, parts, shares, strict=True)
    )
    # Half the square of the bend, and slope times third derivative (5.1.2, note).
    mixed = [[sum(row[k] / unit * matrix[k][j] for k in range(len(row))) for j in range(len(row))]
             for row in bends]  # fmt: skip
    square = sum(one * mixed[j][i] for i, row in enumerate(mixed) for j, one in enumerate(row))
    added = square / 2 + _product(shares, matrix, [turn / unit for turn in turns])
    u_second = unit * sqrt(max(0.0, u * u + added))
    if not (isfinite(unit) and isfinite(u_second)):
        raise ValueError("the uncertainty comes to a number that is too large")
    return Budget(value, unit * u, _dof(shares, inputs, matrix, u), u_second, rows)


def _product(one: Sequence[float], matrix: list[list[float]], other: Sequence[float]) -> float:
    """Multiply every pair with its coefficient, and add them up."""
    return sum(a * b * matrix[i][j] for i, a in enumerate(one) for j, b in enumerate(other))


def coverage_factor(dof: float, coverage: float = 0.95, *, cut: bool = True) -> float:
    """Give the factor k so that the result lies within k u with this probability.

    The quantile of the t distribution (JCGM 100:2008, G.3.4). For degrees of freedom that are not
    whole, G.4.1 leaves the choice: cut to the next lower whole number, or between the quantiles.

    Args:
        dof: 1 or more.
        coverage: between 0 and 1.
        cut: cut them to a whole number, the larger factor; or take them as they are.

    Raises:
        ValueError: fewer than one degree of freedom, or a coverage outside 0 to 1.

    >>> round(coverage_factor(16.75, 0.99), 2)  # JCGM 100:2008, H.1.6
    2.92
    >>> round(coverage_factor(16.75, 0.99, cut=False), 3)
    2.904
    """
    from scipy.special import ndtri, stdtrit  # noqa: PLC0415

    if not 0 < coverage < 1:
        raise ValueError(f"found a coverage of {coverage:g}, accepted: between 0 and 1")
    if dof < 1:
        raise ValueError(f"found {dof:g} degrees of freedom, needed: at least 1")
    p = (1 + coverage) / 2
    return float(ndtri(p) if dof == inf else stdtrit(int(dof) if cut else dof, p))


def _check(one: Quantity) -> None:
    if not (isfinite(one.value) and isfinite(one.u)):
        raise ValueError(f"{one.name}: found a value or u that is not finite")
    if one.u < 0:
        raise ValueError(f"{one.name}: found u = {one.u:g}, accepted: 0 or more")
    # The half width is sqrt(3 u^2 - inexact^2 / 3) (JCGM 101:2008, 6.4.3.3): at most as inexact.
    if one.inexact < 0 or one.inexact > 1.5 * one.u * (1 + NEAR_WHOLE):
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
    formula: Any, inputs: Sequence[Quantity], matrix: list[list[float]]
) -> tuple[float, list[float], list[list[float]], list[float]]:
    """Give value and slopes; and second and third derivatives, times the u of what they are by.

    For independent inputs the terms of the note to 5.1.2; for correlated normal ones the same with
    covariances in the place of variances, moments of fourth order being sums of products of those
    of second order (a law of the normal distribution; held by exact variances in the tests).
    """
    import sympy  # noqa: PLC0415

    symbols = [sympy.Symbol(one.name, real=True) for one in inputs]
    at = {symbol: sympy.Float(one.value, 30) for symbol, one in zip(symbols, inputs, strict=True)}

    def here(expression: Any, what: str) -> float:
        number = inf
        with suppress(ZeroDivisionError):
            found = sympy.sympify(expression).evalf(30, subs=at)
            if found.is_number and found.is_real and found.is_finite:
                number = float(found)
        if not isfinite(number):
            raise ValueError(f"the formula has no {what} there: look at a root, a logarithm or a "
                             "division by 0")  # fmt: skip
        return number

    try:  # first in doubles: beyond their range the exact way would take for ever
        sympy.lambdify(symbols, formula, "math")(*(one.value for one in inputs))
    except OverflowError:
        raise ValueError("the formula comes to a number that is too large") from None
    except (ArithmeticError, ValueError, TypeError):
        pass  # a root or a division: said below, by what has no value
    every = range(len(inputs))
    rises = [sympy.diff(formula, symbol) for symbol in symbols]
    value, slopes = here(formula, "value"), [here(rise, "slope") for rise in rises]
    bends = [[0.0 for _ in every] for _ in every]
    turns = [0.0 for _ in every]
    for i in every:
        for j in range(i, len(inputs)):
            bend = sympy.diff(rises[i], symbols[j])
            both = inputs[i].u * inputs[j].u
            if bend == 0 or not both:
                continue
            bends[i][j] = bends[j][i] = here(bend, "bend") * both
            if not matrix[i][j]:
                continue
            twice = matrix[i][j] * (1 if i == j else 2)
            for k in every:
                third = sympy.diff(bend, symbols[k])
                if third != 0 and inputs[k].u:
                    turns[k] += twice * here(third, "third derivative") * both * inputs[k].u
    return value, slopes, bends, turns


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
    if not below:
        return inf
    dof = u**4 / below
    whole = round(dof)
    # Or one input of 9 would count as 8.999..., and be cut to 8.
    return float(whole) if abs(dof - whole) <= NEAR_WHOLE * dof else dof
