"""Whose fault a clearance over its limit is: the valve's, the guide's, or both.

Three clearances tell, each with its uncertainty: that of the parts as they are, that of a new valve
in this guide, and that of this valve in a new guide. Over the limit as they are,

* *valve*: a new valve would bring it within, a new guide alone would not;
* *guide*: the other way round;
* *either*: both are worn, and replacing any one of them is enough;
* *both*: replacing one is not enough;

and *none* where the clearance is within after all. New parts are taken at the loosest that the book
allows, so that a replaced part never has to be a good one. The probability of each answer is that
of a normal state of knowledge (JCGM 106:2012, clause 7), integrated over the two sizes.

Replace-and-repeat as the way to tell is common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from gaugelink.planning.forecast import SURE as APART

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from fractions import Fraction

    import numpy as np
    from numpy.typing import NDArray

    from gaugelink.metrology.rock_bore import Compared

    Interval = tuple[NDArray[np.float64], NDArray[np.float64]]

Fault = Literal["none", "valve", "guide", "either", "both"]

SURE: Final = 0.95
"""The probability from which an answer is one: that of the guard band of a verdict."""

LOOSER: Final = (
    "the new valve reads looser than the own one, which wear cannot do; see whether the valves "
    "were exchanged or the base slipped, and measure both again"
)
"""What is said then (common practice, no source)."""

_REACH: Final = 9
"""Standard deviations that are integrated over: beyond lie 2 in 10^19."""
_NODES: Final = 16


@dataclass(frozen=True, slots=True)
class Size:
    """A measured size or clearance with its standard uncertainty, both picometres."""

    pm: int | Fraction
    u_pm: int


@dataclass(frozen=True, slots=True)
class NewParts:
    """The loosest new parts that the book allows: thinnest stem, widest bore, picometres."""

    stem_min_pm: int
    bore_max_pm: int

    @property
    def clearance_pm(self) -> int:
        """The clearance of the two."""
        return self.bore_max_pm - self.stem_min_pm


@dataclass(frozen=True, slots=True)
class Attributed:
    """Whose fault it is.

    Attributes:
        word: the most probable answer.
        probabilities: of every answer; together 1.
        doubts: what speaks against acting on it, whatever the probability.
    """

    word: Fault
    probabilities: dict[Fault, float]
    doubts: tuple[str, ...] = ()

    @property
    def over(self) -> float:
        """The probability that the clearance is over its limit at all."""
        return 1 - self.probabilities["none"]

    @property
    def right(self) -> float:
        """The probability that the answer is right."""
        return self.probabilities[self.word]

    @property
    def sure(self) -> bool:
        """Whether to act on the answer: right with 95 %, and nothing speaks against it."""
        return self.right >= SURE and not self.doubts


def attribute(
    stem: Size, bore: Size, limit_pm: int, new: NewParts, rock: Compared | None = None
) -> Attributed:
    """Attribute a clearance to valve and guide from the sizes of stem and bore.

    Args:
        stem: the smallest reading of the stem.
        bore: the largest reading of the bore.
        limit_pm: the largest clearance allowed, itself within.
        new: the loosest new parts.
        rock: how the travel of a rock compares with the one foretold from the bore
            (`gaugelink.metrology.rock_bore.compare`); where the two contradict each other, the
            sizes do not tell the whole.

    Raises:
        ValueError: an uncertainty is not above 0, or new parts are over the limit.

    >>> um = 10**6  # stem 5.945 mm, bore 6.030 mm, limit 80 um; new: from 5.970, up to 6.030 mm
    >>> found = attribute(Size(5_945 * um, um), Size(6_030 * um, 2 * um), 80 * um,
    ...                   NewParts(5_970 * um, 6_030 * um))
    >>> found.word, round(found.right, 3)
    ('valve', 0.987)
    """
    limit, loosest = float(limit_pm), float(new.clearance_pm)
    _needed(limit, loosest, stem.u_pm, bore.u_pm)
    guide = float(bore.pm - new.stem_min_pm)  # a new valve in this guide
    valve = float(new.bore_max_pm - stem.pm)  # this valve in a new guide

    def over_from(x: NDArray[np.float64]) -> NDArray[np.float64]:
        # As they are: both wears on top of the clearance of new parts.
        return limit + loosest - x

    def worn_from(x: NDArray[np.float64]) -> NDArray[np.float64]:
        return 0 * x + limit

    steps = [limit + loosest - valve, loosest, limit]
    found = _integrate((guide, bore.u_pm), (valve, stem.u_pm), limit, over_from, worn_from, steps)
    doubts = (rock.means,) if rock is not None and rock.word != "agrees" else ()
    return _attributed(found, doubts)


def attribute_by_new_valve(
    pairs: Sequence[tuple[Size, Size]], limit_pm: int, loosest_pm: int
) -> Attributed:
    """Attribute a clearance to valve and guide by a second one, taken with a new valve.

    Both by the same method, rock or direct, and, for rock, with the same lift. What the own valve
    reads more is its wear, told in one direction at a time: two directions differ by the shape of
    the guide too. The direction of the largest wear counts for the valve, as its thinnest place
    does for the sizes; that of the largest clearance with the new valve for the guide; that of the
    largest with the own valve for the clearance as it is.

    Args:
        pairs: by direction, or station, the clearance with the own valve and that with the new one.
        limit_pm: the largest clearance allowed, itself within.
        loosest_pm: the largest clearance of new parts by the same method, from the book.

    Raises:
        ValueError: there is no pair, an uncertainty is not above 0, or new parts are over the
            limit.

    >>> um = 10**6  # limit 80 um, new parts up to 60 um: own valve 99 um, new valve 50 um
    >>> along, across = (Size(99 * um, 3 * um), Size(50 * um, 3 * um)), (
    ...     Size(88 * um, 3 * um), Size(85 * um, 3 * um))
    >>> found = attribute_by_new_valve([along], 80 * um, 60 * um)
    >>> found.word, round(found.right, 3)
    ('valve', 1.0)
    >>> found = attribute_by_new_valve([along, across], 80 * um, 60 * um)
    >>> found.word, round(found.right, 3)  # across, the guide is over with a new valve: 85 um
    ('both', 0.952)
    """
    if not pairs:
        raise ValueError("found no clearance, needed: one with the own and with the new valve")
    limit, loosest = float(limit_pm), float(loosest_pm)
    _needed(limit, loosest, *(size.u_pm for pair in pairs for size in pair))
    worst = max(pairs, key=lambda pair: pair[0].pm)
    widest = max(pairs, key=lambda pair: pair[1].pm)
    worn = max(pairs, key=lambda pair: (pair[0].pm - pair[1].pm, pair[0].pm))
    own, other = worn

    def over_from(x: NDArray[np.float64]) -> NDArray[np.float64]:
        return 0 * x + limit

    def worn_from(x: NDArray[np.float64]) -> NDArray[np.float64]:
        # So much more the own valve would read in a new guide.
        return limit - loosest + x

    steps = [float(own.pm) - limit + loosest, loosest, limit]
    found = _integrate(
        (float(other.pm), other.u_pm), (float(own.pm), own.u_pm), limit, over_from, worn_from,
        steps, over=None if worst is worn else _above(worst[0], limit),
        guide=None if widest is worn else _above(widest[1], limit),
    )  # fmt: skip
    return _attributed(found, (LOOSER,) if any(_looser(*pair) for pair in pairs) else ())


def _above(size: Size, limit: float) -> float:
    from scipy.special import ndtr  # noqa: PLC0415  slow to start, and only wanted here

    return float(ndtr((float(size.pm) - limit) / size.u_pm))


def _looser(own: Size, other: Size) -> bool:
    """Tell whether a new valve reads looser than the own one by more than 2.58 u (99 %).

    As everywhere where two readings are held against each other: of heads with nothing wrong, one
    direction in 200 is doubted. With 2 u it would be one in 44, and most guides have two.
    """
    apart = (other.pm - own.pm) * APART.denominator
    return apart > 0 and apart**2 > APART.numerator**2 * (own.u_pm**2 + other.u_pm**2)


def _needed(limit: float, loosest: float, *uncertainties: int) -> None:
    if min(uncertainties) <= 0:
        raise ValueError(
            f"found a standard uncertainty of {min(uncertainties)} pm, needed: more than 0"
        )
    if loosest > limit:
        raise ValueError(
            f"found new parts with a clearance of {loosest / 1e6:g} um, over the limit of "
            f"{limit / 1e6:g} um; needed: new parts that the limit allows"
        )


def _attributed(found: dict[Fault, float], doubts: tuple[str, ...]) -> Attributed:
    return Attributed(max(found, key=lambda word: found[word]), found, doubts)


def _integrate(
    outer: tuple[float, float],
    inner: tuple[float, float],
    limit: float,
    over_from: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    worn_from: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    steps: list[float],
    *,
    over: float | None = None,
    guide: float | None = None,
) -> dict[Fault, float]:
    """Integrate two independent normal densities over the region of every answer.

    Args:
        outer: mean and standard deviation of the clearance with a new valve; above the limit the
            guide is worn.
        inner: those of the other quantity.
        limit: the limit.
        over_from: for values of the first, from where the second makes the clearance over.
        worn_from: and from where it makes the valve worn.
        steps: where the integrand may bend or step, as seen from the first.
        over: the probability that the clearance is over, where another reading decides that.
        guide: the same of the guide being worn.
    """
    import numpy as np  # noqa: PLC0415  slow to start, and only wanted here
    from scipy.special import ndtr  # noqa: PLC0415

    mean, u = outer
    low, high = mean - _REACH * u, mean + _REACH * u
    # Panels as narrow as the narrower of the two densities is where it matters.
    turns = np.arange(-_REACH, _REACH + 1)
    marks = np.concatenate([mean + turns * u, steps[0] + turns * inner[1], steps[1:]])
    edges = np.unique(np.clip(marks, low, high))
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    half = np.diff(edges)[:, None] / 2
    x = (edges[:-1, None] + half + half * nodes).ravel()
    weight = (half * weights).ravel() * np.exp(-0.5 * ((x - mean) / u) ** 2)
    weight = weight / weight.sum()  # what lies beyond the reach is shared out

    if over is None:
        start = over_from(x)
        none = ndtr((start - inner[0]) / inner[1])
        # Differences of the upper tails keep their digits where both are near 1.
        beyond = ndtr((inner[0] - np.maximum(worn_from(x), start)) / inner[1])
        between = np.maximum(ndtr((inner[0] - start) / inner[1]) - beyond, 0)
    else:
        none = 0 * x + (1 - over)
        beyond = over * ndtr((inner[0] - worn_from(x)) / inner[1])
        between = over - beyond
    worn = np.where(x > limit, 1.0, 0.0) if guide is None else 0 * x + guide
    return {
        "none": float(weight @ none),
        "valve": float(weight @ ((1 - worn) * beyond)),
        "guide": float(weight @ (worn * between)),
        "either": float(weight @ ((1 - worn) * between)),
        "both": float(weight @ (worn * beyond)),
    }
