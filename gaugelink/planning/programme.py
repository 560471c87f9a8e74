"""The mixed-integer programme of a head: one way for each place, one skim for all.

Unknowns: a yes or no for every way, one for the skim, one for a new set of springs, and the skim's
depth in micrometres, where HiGHS's tolerance of 1e-6 is a picometre. A way that is taken holds the
depth between its own two ends, so no constant larger than a skim comes in.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelink.planning.task import Task
    from gaugelink.planning.way import Way

_PM = 1e-6
_TINY = 1e-6

MOVING: Final = frozenset({"move valve", "lap"})
"""What a used valve in another place brings with it."""
SECONDS: Final = 60.0
"""After so long the solver gives the best that it has, and says how far from the best it may be."""


class Programme:
    """Chooses among the ways of all places.

    Args:
        task: the head.
        skim: must the face be skimmed; least and most, picometres.
        ways: by place; those of a place that are not in it cannot be chosen.
    """

    def __init__(
        self, task: Task, skim: tuple[bool, int, int], ways: Sequence[Sequence[Way]]
    ) -> None:
        self._must, self._least, self._most = skim
        self._can = self._least <= self._most
        self._places = [list(some) for some in ways]
        self._ways = [way for some in ways for way in some]
        offer = task.shop.offers.get("skim")
        self._skim_cents = offer.cents if offer else 0
        # Steps break ties: all of them together weigh less than a cent.
        self._weight = sum(max((len(way.deeds) for way in some), default=0) for some in ways) + 2
        count = len(self._ways)
        self._skimmed, self._springs, self._depth = count, count + 1, count + 2
        self._entries: list[tuple[int, int, float]] = []
        self._low: list[float] = []
        self._high: list[float] = []
        self._set_rows(task)

    def solve(self, seconds: float) -> tuple[list[Way], int] | None:
        """Choose the cheapest.

        Returns:
            A way for each place, and the cents that no choice is cheaper than (stem seals left
            out); None where there is no choice.

        Raises:
            ValueError: time ran out before one was found.
        """
        if not all(self._places) or (self._must and not self._can):
            return None
        while True:
            found = self._run(seconds)
            if found is None:
                return None
            chosen, bound = found
            if not self._clash(chosen):
                return chosen, bound

    def at_most(self, cents: int) -> None:
        """Allow no dearer choice."""
        row = [(at, float(way.cents)) for at, way in enumerate(self._ways)]
        self._row([*row, (self._skimmed, float(self._skim_cents))], -1.0, cents + 0.5)

    def not_again(self, chosen: Sequence[Way], *, whoever: bool = False) -> None:
        """Forbid a choice, and all that differ from it by depths and shims alone.

        Args:
            chosen: a way for every place.
            whoever: forbid too what differs only in which used valve goes where.
        """

        def key(way: Way) -> tuple[object, ...]:
            if whoever:
                return way.place, frozenset(way.deeds) - MOVING, way.oversize
            return way.place, way.valve, way.deeds, way.oversize

        done = {key(way) for way in chosen}
        self._row([(at, 1.0) for at, way in enumerate(self._ways) if key(way) in done],
                  0, len(self._places) - 1)  # fmt: skip

    def _row(self, cells: Sequence[tuple[int, float]], low: float, high: float) -> None:
        row = len(self._low)
        self._entries += [(row, column, value) for column, value in cells]
        self._low.append(low)
        self._high.append(high)

    def _set_rows(self, task: Task) -> None:
        from math import inf  # noqa: PLC0415

        top = max(self._most, 0)
        places: dict[int, list[int]] = {}
        users: dict[int, list[int]] = {}
        for at, way in enumerate(self._ways):
            places.setdefault(way.place, []).append(at)
            if way.valve >= 0:
                users.setdefault(way.valve, []).append(at)
        for here in places.values():
            self._row([(at, 1.0) for at in here], 1, 1)
            low = [(at, -self._ways[at].skim[0] * _PM) for at in here if self._ways[at].skim[0] > 0]
            if low:
                self._row([*low, (self._depth, 1.0)], 0, inf)
            if any(self._ways[at].skim[1] < top for at in here):
                self._row([*((at, -self._ways[at].skim[1] * _PM) for at in here),
                           (self._depth, 1.0)], -inf, 0)  # fmt: skip
            if task.springs_as_set:
                fresh = [(at, 1.0) for at in here if "replace spring" in self._ways[at].deeds]
                self._row([*fresh, (self._springs, -1.0)], 0, 0)
        for some in users.values():
            if len({self._ways[at].place for at in some}) > 1:
                self._row([(at, 1.0) for at in some], 0, 1)
        self._row([(self._depth, 1.0), (self._skimmed, -top * _PM)], -inf, 0)
        self._row([(self._depth, 1.0), (self._skimmed, -self._least * _PM)], 0, inf)

    def _run(self, seconds: float) -> tuple[list[Way], int] | None:
        import numpy as np  # noqa: PLC0415  slow to start, and only wanted here
        from scipy.optimize import Bounds, LinearConstraint, milp  # noqa: PLC0415
        from scipy.sparse import csr_array  # noqa: PLC0415

        size = self._depth + 1
        rows, columns, values = zip(*self._entries, strict=True)
        matrix = csr_array((values, (rows, columns)), shape=(len(self._low), size))
        price = [way.cents * self._weight + len(way.deeds) for way in self._ways]
        price += [self._skim_cents * self._weight + 1, 0, 0]
        upper = np.ones(size)
        upper[self._skimmed] = 1 if self._can else 0
        upper[self._depth] = max(self._most, 0) * _PM if self._can else 0
        lower = np.zeros(size)
        lower[self._skimmed] = 1 if self._must else 0
        whole = np.ones(size)
        whole[self._depth] = 0
        found: Any = milp(
            np.array(price, dtype=float), integrality=whole, bounds=Bounds(lower, upper),
            constraints=LinearConstraint(matrix, self._low, self._high),
            options={"mip_rel_gap": 0.0, "time_limit": seconds},
        )  # fmt: skip
        if found.status == 2:
            return None
        if found.x is None:
            raise ValueError(f"the solver found no plan in {seconds:g} s ({found.message})")
        chosen = [way for at, way in enumerate(self._ways) if found.x[at] > 0.5]
        total = sum(price[at] for at in range(self._springs) if found.x[at] > 0.5)
        # What is proved is proved in the weighted price; whole cents below it are the bound.
        proved = total if found.status == 0 else int(np.ceil(found.mip_dual_bound - _TINY))
        return chosen, max(0, proved) // self._weight

    def _clash(self, chosen: Sequence[Way]) -> bool:
        """Tell whether a choice bears no common skim in whole picometres, and forbid it then."""
        lowest = max(chosen, key=lambda way: way.skim[0])
        highest = min(chosen, key=lambda way: way.skim[1])
        least = self._least if self._must or lowest.skim[0] > 0 else 0
        low, high = max(lowest.skim[0], least), highest.skim[1]
        if low <= high and (low == 0 or low <= self._most):
            return False
        pair = {self._ways.index(lowest), self._ways.index(highest)}
        self._row([(at, 1.0) for at in pair], 0, len(pair) - 1)
        return True
