"""Depths of places that limits tie together: one skim for all, and how far each valve sinks.

The programme has chosen the ways; what is left is a linear programme in the skim and the sinks. Its
answer is rounded to whole picometres and held against the ties once more, exactly. It is first
looked for a nanometre inside the ties, so that rounding cannot break one; only where there is
nothing it may lie on them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from math import ceil, floor, inf
from typing import TYPE_CHECKING, Any, Final

from gaugelink.planning.bounds import Bound
from gaugelink.planning.ties import Apart, sums_of, tied

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from gaugelink.planning.budget import Budget
    from gaugelink.planning.task import Span
    from gaugelink.planning.ties import Tie
    from gaugelink.planning.way import Way

PM: Final = 1e-6
"""Picometres become micrometres for the solver, whose tolerance then is a picometre."""
INSIDE: Final = 1e-3
"""A nanometre, in micrometres."""

Cells = list[tuple[int, float]]


@dataclass(slots=True)
class Rows:
    """Rows of a linear programme: least <= sum of cells <= most."""

    cells: list[tuple[int, int, float]] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)

    def add(self, cells: Sequence[tuple[int, float]], low: float, high: float) -> None:
        """Append a row."""
        row = len(self.low)
        self.cells += [(row, column, value) for column, value in cells]
        self.low.append(low)
        self.high.append(high)

    def minimise(
        self, price: Sequence[float], lower: Sequence[float], upper: Sequence[float],
        whole: Sequence[int] | None = None, budget: Budget | None = None,
    ) -> Any:  # fmt: skip
        """Let HiGHS find the columns of the least price between their bounds.

        Args:
            price: of each column.
            lower: the least that each may be.
            upper: the most.
            whole: 1 for each column that is a whole number, else 0; None: there is none.
            budget: the time for it; None where it takes next to none.

        Raises:
            OutOfTime: the time was over before it began.
        """
        import numpy as np  # noqa: PLC0415  slow to start, and only wanted here
        from scipy.optimize import Bounds, LinearConstraint, milp  # noqa: PLC0415

        held = [LinearConstraint(self._matrix(len(price)), self.low, self.high)] if self.low else []
        # The time is asked for last: to load the solver takes some of it.
        options = {} if budget is None else {"mip_rel_gap": 0.0, "time_limit": budget.share()}
        return milp(np.array(price, dtype=float), bounds=Bounds(lower, upper), constraints=held,
                    integrality=whole, options=options)  # fmt: skip

    def _matrix(self, size: int) -> Any:
        from scipy.sparse import csr_array  # noqa: PLC0415  slow to start, and only wanted here

        rows, columns, values = zip(*self.cells, strict=True) if self.cells else ((), (), ())
        return csr_array((values, (rows, columns)), shape=(len(self.low), size))


def add_ties(
    rows: Rows, all_ties: Sequence[Tie], sinks: Mapping[int, int], skim: int, first: int,
    inside: float = 0.0,
) -> None:  # fmt: skip
    """Write ties as rows, in micrometres.

    Args:
        rows: where to.
        all_ties: of the head.
        sinks: the column of each place's sink.
        skim: the column of the skim.
        first: the column of the first `Apart`; each has one of its own, its smallest sum.
        inside: by how much the limits are drawn in.
    """
    for one in all_ties:
        scale = max(part.scale for part in sums_of(one))
        limit = float(one.limit / scale) * PM
        # What a skim does to all of them alike does not part them.
        alike = isinstance(one, Apart) and len({part.skim for part in one.sums}) == 1
        for part in sums_of(one):
            cells: Cells = [(sinks[at], float(rate / scale)) for at, rate in part.rates.items()]
            if not alike:
                cells.append((skim, -float(part.skim / scale)))
            start = float(part.start / scale) * PM
            if isinstance(one, Apart):
                rows.add([*cells, (first, -1.0)], -start, limit - inside - start)
            elif one.side == "lower":
                rows.add(cells, limit + inside - start, inf)
            else:
                rows.add(cells, -inf, limit - inside - start)
        first += isinstance(one, Apart)


@dataclass(frozen=True, slots=True)
class Settled:
    """How far each tied valve sinks for a skim, picometres, all ties kept."""

    skim: int
    sunk: Mapping[int, int]


class Settling:
    """The depths that a choice of ways leaves open.

    Args:
        all_ties: of the head, one at least.
        chosen: a way for every place.
    """

    def __init__(self, all_ties: Sequence[Tie], chosen: Sequence[Way]) -> None:
        self._ties = tuple(all_ties)
        self._ways = {way.place: way for way in chosen}
        self._places = sorted(tied(self._ties))
        self._columns = {place: at + 1 for at, place in enumerate(self._places)}
        self._first = len(self._places) + 1
        self._extra = sum(isinstance(one, Apart) for one in self._ties)

    def skims(self, low: int, high: int) -> Span | None:
        """Give the least and the most skim between two depths that the ties bear; None: none."""
        if low > high:
            return None
        for inside in (INSIDE, 0.0):
            rows = self._free(inside)
            ends = [self._solve(rows, {0: sign}, low, high) for sign in (1.0, -1.0)]
            if ends[0] is None or ends[1] is None:
                continue
            # The nearest picometre inside; at an end of the range the end itself.
            least = min(max(ceil(ends[0][0] / PM - 0.01), low), high)
            most = max(min(floor(ends[1][0] / PM + 0.01), high), least)
            if self.at(least) is not None:
                return least, most
        return None

    def at(self, skim: int) -> Settled | None:
        """Sink every valve for a skim, the least that does; None where nothing does.

        An insert is new metal: it goes to the middle of what its place bears, as near as the ties
        let it, and gives way before a cut gets deeper.
        """
        ends = {place: self._ways[place].sinks(skim) for place in self._places}
        if any(low > high for low, high in ends.values()):
            return None
        for inside in (INSIDE, 0.0):
            found = self._least(skim, ends, inside)
            if found is None:
                continue
            sunk = {place: min(max(round(found[self._columns[place]] / PM), low), high)
                    for place, (low, high) in ends.items()}  # fmt: skip
            if all(one.keeps(sunk, skim) for one in self._ties):
                return Settled(skim, sunk)
        return None

    def _least(self, skim: int, ends: Mapping[int, Span], inside: float) -> Sequence[float] | None:
        rows = Rows()
        add_ties(rows, self._ties, self._columns, 0, self._first, inside)
        inserts = [place for place in self._places
                   if "fit insert" in self._ways[place].deeds]  # fmt: skip
        size = self._first + self._extra + len(inserts)
        price = [0.0] * size
        lower, upper = [-inf] * size, [inf] * size
        lower[0] = upper[0] = skim * PM
        for place, column in self._columns.items():
            lower[column], upper[column] = (end * PM for end in ends[place])
            price[column] = 1.0
        for extra, place in enumerate(inserts, self._first + self._extra):
            middle = sum(ends[place]) / 2 * PM
            price[self._columns[place]], price[extra] = 0.0, 0.01
            rows.add([(extra, 1.0), (self._columns[place], -1.0)], -middle, inf)
            rows.add([(extra, 1.0), (self._columns[place], 1.0)], middle, inf)
        found = rows.minimise(price, lower, upper)
        return None if found.x is None else list(found.x)

    def _free(self, inside: float) -> Rows:
        """Write rows in which the skim is open too."""
        rows = Rows()
        for place, column in self._columns.items():
            way = self._ways[place]
            rows.add([(column, 1.0)], *((way.sunk + end) * PM for end in way.drop))
            rows.add([(column, 1.0), (0, -1.0)], *((way.sunk + end) * PM for end in way.stand))
        add_ties(rows, self._ties, self._columns, 0, self._first, inside)
        return rows

    def _solve(
        self, rows: Rows, wanted: Mapping[int, float], low: int, high: int
    ) -> Sequence[float] | None:
        size = self._first + self._extra
        price = [wanted.get(column, 0.0) for column in range(size)]
        lower, upper = [-inf] * size, [inf] * size
        lower[0], upper[0] = low * PM, high * PM
        found = rows.minimise(price, lower, upper)
        return None if found.x is None else list(found.x)


def shares(
    all_ties: Sequence[Tie], sunk: Mapping[int, int], skim: int
) -> dict[int, tuple[Bound, ...]] | None:
    """Share what room the ties leave among their places, so that all may use theirs at once.

    Args:
        all_ties: of the head.
        sunk: how far each tied valve sinks, picometres.
        skim: of the face.

    Returns:
        By place the bounds of its drop; None where a tie is broken.

    Two valves of which neither may stand 0.10 mm deeper than the other, and one does 0.04:

    >>> from gaugelink.planning.ties import Apart, Sum
    >>> sums = [Sum("", start, {at: Fraction(1)}, Fraction(1)) for at, start in enumerate((0, 40))]
    >>> found = shares([Apart("", "spread max", tuple(sums), Fraction(100))], {0: 0, 1: 0}, 0)
    >>> [[bound.at_pm for bound in bounds] for bounds in found.values()]
    [[-30, 70], [-70, 30]]
    """
    lowest: dict[int, tuple[Fraction, str]] = {}
    highest: dict[int, tuple[Fraction, str]] = {}
    for one in all_ties:
        if not one.keeps(sunk, skim):
            return None
        for part, down, up in _rooms(one, sunk, skim):
            every = sum(part.rates.values()) or Fraction(1)
            for place, rate in part.rates.items():
                if not rate:
                    continue
                for ends, room in ((lowest, down), (highest, up)):
                    if room is not None and (place not in ends or room / every < ends[place][0]):
                        ends[place] = room / every, one.name
    found: dict[int, tuple[Bound, ...]] = {}
    for place in sunk:
        held = []
        if place in lowest:
            room, name = lowest[place]
            held.append(Bound(name, "drop", "lower", sunk[place] - floor(room)))
        if place in highest:
            room, name = highest[place]
            held.append(Bound(name, "drop", "upper", sunk[place] + floor(room)))
        found[place] = tuple(held)
    return found


def _rooms(
    one: Tie, sunk: Mapping[int, int], skim: int
) -> Iterator[tuple[Any, Fraction | None, Fraction | None]]:
    """Give for each sum how far it may go down and up, all sums of the tie at once."""
    if not isinstance(one, Apart):
        room = abs(one.limit - one.sum.at(sunk, skim))
        yield (one.sum, room, None) if one.side == "lower" else (one.sum, None, room)
        return
    values = [part.at(sunk, skim) for part in one.sums]
    floor_at = ((max(values) - one.limit) + min(values)) / 2
    for part, value in zip(one.sums, values, strict=True):
        yield part, value - floor_at, floor_at + one.limit - value
