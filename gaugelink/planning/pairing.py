"""Which used valve goes into which guide, so that most parts are saved.

Before seats are finished and lapped a worn valve may fit another guide that is worn less, where the
maker permits it. A lapped pair is married and stays. The choice is the best of all there are: most
pairs surely within, then fewest pairs outside, then fewest moves, then the largest margin of the
worst pair, then the largest margins together. Each is an assignment problem, solved exactly.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gaugelink.metrology.conformity import GUARD_FACTOR, VerdictWord, verdict

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


@dataclass(frozen=True, slots=True)
class Assigned:
    """The cheapest pairs of a table of costs.

    Attributes:
        pairs: rows with their columns, in order of the rows.
        unmatched: rows without a column.
        cost: of the pairs together.
    """

    pairs: tuple[tuple[int, int], ...]
    unmatched: tuple[int, ...]
    cost: int


def assign(costs: Sequence[Sequence[int | None]]) -> Assigned:
    """Pair as many rows as possible with columns, each once, at the least cost.

    Args:
        costs: by row and column, whole numbers; None where the pair is not allowed.

    Raises:
        ValueError: rows of unequal length, or costs too large for the solver to be exact.

    >>> assign([[4, 1, 3], [2, 0, 5], [3, 2, 2]])
    Assigned(pairs=((0, 1), (1, 0), (2, 2)), unmatched=(), cost=5)
    """
    if len({len(row) for row in costs}) > 1:
        raise ValueError("found rows of unequal length, needed: a cost or nothing for every column")
    known = [cost for row in costs for cost in row if cost is not None]
    least = min(known, default=0)
    # One pair more is worth more than any saving: dearer than all differences together.
    spare = (max(known, default=0) - least + 1) * (len(costs) + 1)
    pairs = _cheapest(
        [[None if cost is None else cost - least for cost in row] for row in costs], spare
    )
    taken = {row for row, _ in pairs}
    unmatched = tuple(row for row in range(len(costs)) if row not in taken)
    return Assigned(pairs, unmatched, sum(costs[row][column] or 0 for row, column in pairs))


def _cheapest(costs: Sequence[Sequence[int | None]], spare: int) -> tuple[tuple[int, int], ...]:
    """Find the cheapest choice, where a row without a column costs `spare`.

    Raises:
        ValueError: costs too large for the solver, which reckons in doubles, to be exact.
    """
    import numpy as np  # noqa: PLC0415  slow to start, and only wanted here
    from scipy.optimize import linear_sum_assignment  # noqa: PLC0415

    rows, wide = len(costs), len(costs[0]) if costs else 0
    most = max([spare, *(abs(cost) for row in costs for cost in row if cost is not None)])
    never = 4 * (most + 1) * (rows + 1)
    if never * (rows + 1) >= 2**53:
        raise ValueError("found costs too far apart to be compared exactly, needed: fewer digits")
    # Beside the columns there is one for each row to be left over in.
    table = np.full((rows, wide + rows), float(spare))
    for number, row in enumerate(costs):
        for column, cost in enumerate(row):
            table[number, column] = never if cost is None else cost
    found = linear_sum_assignment(table)
    return tuple(
        (int(row), int(column)) for row, column in zip(*found, strict=True) if column < wide
    )


@dataclass(frozen=True, slots=True)
class Stem:
    """A used valve.

    Attributes:
        name: its mark.
        smallest_pm: the smallest reading of its stem, picometres.
        largest_pm: the largest.
        guide: the guide that it sits in now; empty: it lies loose.
        married: it was lapped in and has to stay.
        kind: valves go into guides of their own kind only.
    """

    name: str
    smallest_pm: int
    largest_pm: int
    guide: str = ""
    married: bool = False
    kind: str = ""


@dataclass(frozen=True, slots=True)
class Bore:
    """A guide, with the smallest and the largest reading of its bore, picometres."""

    name: str
    smallest_pm: int
    largest_pm: int
    kind: str = ""


@dataclass(frozen=True, slots=True)
class Band:
    """The clearance that is allowed, picometres.

    Attributes:
        lower_pm: held against the tightest place; None where there is no such limit. A stem has to
            go into its guide all the same, so that it counts as 0 then.
        upper_pm: held against the widest place.
        u_pm: standard uncertainty of a clearance.
    """

    lower_pm: int | None
    upper_pm: int | None
    u_pm: int = 0


@dataclass(frozen=True, slots=True)
class Pair:
    """A valve in a guide.

    Attributes:
        stem: the valve.
        bore: the guide.
        tightest_pm: smallest bore less largest stem.
        widest_pm: largest bore less smallest stem.
        word: within, or undecided where the uncertainty reaches across a limit.
        margin_pm: distance to the nearer limit, the guard band taken off.
    """

    stem: Stem
    bore: Bore
    tightest_pm: int
    widest_pm: int
    word: VerdictWord
    margin_pm: int

    @property
    def moved(self) -> bool:
        """Whether the valve sits in another guide now."""
        return self.stem.guide != self.bore.name


@dataclass(frozen=True, slots=True)
class Pairing:
    """Which valve goes where.

    Attributes:
        pairs: in the order of the valves.
        spare: valves that fit no guide that is left.
        empty: guides that get none of these valves.
    """

    pairs: tuple[Pair, ...]
    spare: tuple[Stem, ...]
    empty: tuple[Bore, ...]

    @property
    def moves(self) -> int:
        """How many valves change their guide."""
        return sum(pair.moved for pair in self.pairs)


def pair(stems: Sequence[Stem], bores: Sequence[Bore], band: Band) -> Pairing:
    """Choose the best pairing.

    Args:
        stems: the used valves that could go on.
        bores: the guides that stay.
        band: the clearance that is allowed.

    >>> def mm(text): return round(float(text) * 1e9)
    >>> stems = [Stem(f"v{n}", mm(d), mm(d), f"g{n}") for n, d in
    ...          enumerate(("6.945", "6.955", "6.962", "6.968"), 1)]
    >>> bores = [Bore(f"g{n}", mm(d), mm(d)) for n, d in
    ...          enumerate(("7.044", "7.018", "7.030", "7.022"), 1)]
    >>> found = pair(stems, bores, Band(None, mm("0.080")))
    >>> [(one.stem.name, one.bore.name, one.widest_pm // 10**6) for one in found.pairs]
    [('v1', 'g4', 77), ('v2', 'g2', 63), ('v3', 'g3', 68), ('v4', 'g1', 76)]
    """
    options: dict[tuple[int, int], Pair] = {}
    for i, stem in enumerate(stems):
        for j, bore in enumerate(bores):
            if stem.kind != bore.kind or (stem.married and stem.guide != bore.name):
                continue
            if any(other.married and other.guide == bore.name for other in stems if other != stem):
                continue
            made = _made(stem, bore, band)
            if made.word != "outside":
                options[i, j] = made
    # In one number: every pair that is not surely within, every spare valve, every move.
    size = len(stems) + 1
    price = {at: (size**2 if one.word == "undecided" else 0) + one.moved
             for at, one in options.items()}  # fmt: skip
    spare = size**2 + size

    def solved(allowed: Mapping[tuple[int, int], int], spare: int) -> tuple[tuple[int, int], ...]:
        table = [[allowed.get((i, j)) for j in range(len(bores))] for i in range(len(stems))]
        return _cheapest(table, spare)

    def total(pairs: tuple[tuple[int, int], ...]) -> int:
        return sum(price[at] for at in pairs) + spare * (len(stems) - len(pairs))

    best = total(solved(price, spare))
    # The worst margin: the highest floor that still allows a pairing as good as the best.
    floors = sorted({one.margin_pm for one in options.values()})
    low, high = 0, len(floors)
    while high - low > 1:
        middle = (low + high) // 2
        found = solved({at: cost for at, cost in price.items()
                        if options[at].margin_pm >= floors[middle]}, spare)  # fmt: skip
        low, high = (middle, high) if total(found) == best else (low, middle)
    floor = floors[low] if floors else 0
    # Margins count in steps so coarse that the solver's numbers stay exact.
    most = max((abs(one.margin_pm) for one in options.values()), default=0)
    coarse = max(1, most // 10**5)
    weight = 2 * (most // coarse + 1) * size
    last = solved({
        at: cost * weight - options[at].margin_pm // coarse
        for at, cost in price.items() if options[at].margin_pm >= floor
    }, spare * weight)  # fmt: skip
    taken = {j for _, j in last}
    return Pairing(
        tuple(options[at] for at in last),
        tuple(stem for i, stem in enumerate(stems) if i not in {row for row, _ in last}),
        tuple(bore for j, bore in enumerate(bores) if j not in taken),
    )


def _made(stem: Stem, bore: Bore, band: Band) -> Pair:
    tightest = bore.smallest_pm - stem.largest_pm
    widest = bore.largest_pm - stem.smallest_pm
    lower = band.lower_pm or 0
    words = (verdict(tightest, band.u_pm, lower, None),
             verdict(widest, band.u_pm, None, band.upper_pm))  # fmt: skip
    word: VerdictWord = "within"
    if "outside" in words:
        word = "outside"
    elif "undecided" in words:
        word = "undecided"
    guard = -(-GUARD_FACTOR.numerator * band.u_pm // GUARD_FACTOR.denominator)
    away = tightest - lower
    if band.upper_pm is not None:
        away = min(away, band.upper_pm - widest)
    return Pair(stem, bore, tightest, widest, word, away - guard)
