"""The mixed-integer programme of a head: one way for each place, one skim for all.

Unknowns: a yes or no for every way, one for the skim, one for a new set of springs, and the skim's
depth in micrometres, where HiGHS's tolerance of 1e-6 is a picometre. A way that is taken holds the
depth between its own two ends, so no constant larger than a skim comes in.

Where limits tie places together (`gaugelink.planning.ties`) there is one unknown more for each of
them, how far its valve sinks; the way that is taken holds it between its ends in the same manner.
"""

from __future__ import annotations

from math import ceil, inf, isfinite
from typing import TYPE_CHECKING, Any, Final

from gaugelink.planning.budget import OutOfTime
from gaugelink.planning.settling import PM, Rows, Settling, add_ties
from gaugelink.planning.ties import Apart, tied

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelink.planning.budget import Budget
    from gaugelink.planning.task import Task
    from gaugelink.planning.ties import Tie
    from gaugelink.planning.way import Way

_TINY = 1e-6

MOVING: Final = frozenset({"move valve", "lap"})
"""What a used valve in another place brings with it."""


class Programme:
    """Chooses among the ways of all places.

    Args:
        task: the head.
        skim: must the face be skimmed; least and most, picometres.
        ways: by place; those of a place that are not in it cannot be chosen.
        all_ties: limits that places keep together.
        near: a choice that another one of the same cost and as few steps should differ from at as
            few places as can be.
    """

    def __init__(
        self, task: Task, skim: tuple[bool, int, int], ways: Sequence[Sequence[Way]],
        all_ties: Sequence[Tie] = (), near: Sequence[Way] = (),
    ) -> None:  # fmt: skip
        self._must, self._least, self._most = skim
        self._can = self._least <= self._most
        self._places = [list(some) for some in ways]
        self._ways = [way for some in ways for way in some]
        offer = task.shop.offers.get("skim")
        self._skim_cents = offer.cents if offer else 0
        # Steps break ties: all of them together weigh less than a cent.
        self._weight = sum(max((len(way.deeds) for way in some), default=0) for some in ways) + 2
        # Places that differ from a choice break the rest: all of them weigh less than a step.
        self._near = {way.place: (way.valve, way.deeds) for way in near}
        self._step = len(self._near) + 1
        self._weight *= self._step
        count = len(self._ways)
        self._skimmed, self._springs, self._depth = count, count + 1, count + 2
        self._ties = tuple(all_ties)
        self._sinks = {place: count + 3 + at for at, place in enumerate(sorted(tied(self._ties)))}
        self._floors = self._depth + 1 + len(self._sinks)
        self._size = self._floors + sum(isinstance(one, Apart) for one in self._ties)
        self._rows = Rows()
        self._set_rows(task)

    def solve(self, budget: Budget) -> tuple[list[Way], int] | None:
        """Choose the cheapest.

        Args:
            budget: the time; where it ends first, the best so far is given.

        Returns:
            A way for each place, and the cents that no choice is cheaper than (stem seals left
            out); None where it is proved that there is no choice.

        Raises:
            OutOfTime: time ran out before one was found.
        """
        if not all(self._places) or (self._must and not self._can):
            return None
        while True:
            found = self._run(budget)
            if found is None:
                return None
            chosen, bound = found
            if not self._clash(chosen):
                return chosen, bound

    def at_most(self, cents: int) -> None:
        """Allow no dearer choice."""
        row = [(at, float(way.cents)) for at, way in enumerate(self._ways)]
        self._rows.add([*row, (self._skimmed, float(self._skim_cents))], -1.0, cents + 0.5)

    def not_again(self, chosen: Sequence[Way], *, whoever: bool = False) -> None:
        """Forbid a choice, and all that differ from it by depths, shims and the skim alone.

        Args:
            chosen: a way for every place.
            whoever: forbid too what differs only in which used valve goes where.
        """

        def key(way: Way) -> tuple[object, ...]:
            if whoever:
                return way.place, frozenset(way.deeds) - MOVING, way.oversize
            return way.place, way.valve, way.deeds, way.oversize

        done = {key(way) for way in chosen}
        self._rows.add([(at, 1.0) for at, way in enumerate(self._ways) if key(way) in done],
                  0, len(self._places) - 1)  # fmt: skip

    def other_valves(self, chosen: Sequence[Way], *, skimmed: bool) -> None:
        """Forbid what puts the same valves, used or new, into all the same places.

        Args:
            chosen: a way for every place.
            skimmed: whether the face is to be skimmed.
        """
        self._rows.add([(self._skimmed, 1.0)], float(skimmed), float(skimmed))
        done = {(way.place, way.valve) for way in chosen}
        self._rows.add([(at, 1.0) for at, way in enumerate(self._ways)
                        if (way.place, way.valve) in done], 0, len(self._places) - 1)  # fmt: skip

    def leaves_out(self, chosen: Sequence[Way], *, skimmed: bool) -> None:
        """Allow only what leaves out something of a choice: what does all of it, and more, is none.

        To ream to another size is other work; to move a valve is work, which one is not.

        Args:
            chosen: a way for every place.
            skimmed: whether the face is skimmed with it.
        """
        of = {way.place: way for way in chosen}
        moves = sum("move valve" in way.deeds for way in chosen)
        # One step left out weighs more than all the moves that there can be; where none is, there
        # have to be fewer moves than in the choice: all in one row.
        worth = len(self._places) - moves + 1
        cells = [(self._skimmed, -float(worth))] if skimmed else []
        for at, way in enumerate(self._ways):
            other = of[way.place]
            lacks = way.oversize != other.oversize or not {*other.deeds} - MOVING <= {*way.deeds}
            if cell := worth * lacks - ("move valve" in way.deeds):
                cells.append((at, float(cell)))
        self._rows.add(cells, 1 - moves - worth * skimmed, inf)

    def _set_rows(self, task: Task) -> None:
        top = max(self._most, 0)
        places: dict[int, list[int]] = {}
        users: dict[int, list[int]] = {}
        for at, way in enumerate(self._ways):
            places.setdefault(way.place, []).append(at)
            if way.valve >= 0:
                users.setdefault(way.valve, []).append(at)
        for here in places.values():
            self._rows.add([(at, 1.0) for at in here], 1, 1)
            low = [(at, -self._ways[at].skim[0] * PM) for at in here if self._ways[at].skim[0] > 0]
            if low:
                self._rows.add([*low, (self._depth, 1.0)], 0, inf)
            if any(self._ways[at].skim[1] < top for at in here):
                self._rows.add([*((at, -self._ways[at].skim[1] * PM) for at in here),
                           (self._depth, 1.0)], -inf, 0)  # fmt: skip
            if task.springs_as_set:
                fresh = [(at, 1.0) for at in here if "replace spring" in self._ways[at].deeds]
                self._rows.add([*fresh, (self._springs, -1.0)], 0, 0)
        for some in users.values():
            if len({self._ways[at].place for at in some}) > 1:
                self._rows.add([(at, 1.0) for at in some], 0, 1)
        self._rows.add([(self._depth, 1.0), (self._skimmed, -top * PM)], -inf, 0)
        self._rows.add([(self._depth, 1.0), (self._skimmed, -self._least * PM)], 0, inf)
        for place, sink in self._sinks.items():
            self._hold(places.get(place, ()), sink)
        add_ties(self._rows, self._ties, self._sinks, self._depth, self._floors)

    def _hold(self, here: Sequence[int], sink: int) -> None:
        """Hold a sink between the ends of the way that is taken, without and with the skim."""
        top = max(self._most, 0)
        ways = [self._ways[at] for at in here]
        # An end that nothing limits is put where the other ends keep it anyway.
        for lows, highs, skim in (
            ([way.drop[0] for way in ways], [way.drop[1] for way in ways], ()),
            ([max(way.stand[0], way.drop[0] - top) for way in ways],
             [min(way.stand[1], way.drop[1]) for way in ways], ((self._depth, -1.0),)),
        ):  # fmt: skip
            for ends, least, most in ((lows, 0.0, inf), (highs, -inf, 0.0)):
                cells = [(at, -(way.sunk + end) * PM)
                         for at, way, end in zip(here, ways, ends, strict=True)]  # fmt: skip
                self._rows.add([*cells, (sink, 1.0), *skim], least, most)

    def _run(self, budget: Budget) -> tuple[list[Way], int] | None:
        price = [float(way.cents * self._weight + len(way.deeds) * self._step + self._far(way))
                 for way in self._ways]  # fmt: skip
        price += [float(self._skim_cents * self._weight + self._step)]
        price += [0.0] * (self._size - len(price))
        yes_or_no = [column < self._depth for column in range(self._size)]
        lower = [0.0 if yes else -inf for yes in yes_or_no]
        upper = [1.0 if yes else inf for yes in yes_or_no]
        lower[self._skimmed] = float(self._must)
        upper[self._skimmed] = float(self._can)
        lower[self._depth] = 0.0
        upper[self._depth] = max(self._most, 0) * PM if self._can else 0.0
        found: Any = self._rows.minimise(
            price, lower, upper, whole=[int(yes) for yes in yes_or_no], budget=budget
        )
        if found.status == 2:
            return None
        if found.x is None:
            if found.status == 1:
                raise OutOfTime(budget.seconds)
            raise ValueError(f"the solver found neither a plan nor none ({found.message})")
        chosen = [way for at, way in enumerate(self._ways) if found.x[at] > 0.5]
        total = round(sum(price[at] for at in range(self._springs) if found.x[at] > 0.5))
        # What is proved is proved in the weighted price; whole cents below it are the bound. Where
        # the time ends early there may be no bound yet.
        bound = found.mip_dual_bound
        proved = total
        if found.status != 0:
            proved = 0 if bound is None or not isfinite(bound) else ceil(bound - _TINY)
        return chosen, max(0, proved) // self._weight

    def _far(self, way: Way) -> bool:
        return (way.valve, way.deeds) != self._near.get(way.place, (way.valve, way.deeds))

    def _clash(self, chosen: Sequence[Way]) -> bool:
        """Tell whether a choice bears no common depths in whole picometres, and forbid it then."""
        lowest = max(chosen, key=lambda way: way.skim[0])
        highest = min(chosen, key=lambda way: way.skim[1])
        least = self._least if self._must or lowest.skim[0] > 0 else 0
        low, high = max(lowest.skim[0], least), highest.skim[1]
        if not (low <= high and (low == 0 or low <= self._most)):
            pair = {self._ways.index(lowest), self._ways.index(highest)}
            self._rows.add([(at, 1.0) for at in pair], 0, len(pair) - 1)
            return True
        if self._ties and common(
            self._ties, chosen, (self._must, self._least, self._most)) is None:  # fmt: skip
            every = {self._ways.index(way) for way in chosen}
            self._rows.add([(at, 1.0) for at in every], 0, len(every) - 1)
            return True
        return False


def common(
    all_ties: Sequence[Tie], chosen: Sequence[Way], skim: tuple[bool, int, int]
) -> tuple[int, int] | None:
    """Give the least and the most skim that ways bear together; no skim at all is the least.

    Args:
        all_ties: limits that places keep together.
        chosen: a way for every place.
        skim: must the face be skimmed; least and most, picometres.
    """
    must, least, most = skim
    low = max(way.skim[0] for way in chosen)
    high = min(way.skim[1] for way in chosen)
    settling = Settling(all_ties, chosen) if all_ties else None
    if low == 0 and not must and high >= 0 and (settling is None or settling.at(0) is not None):
        return 0, 0
    low, high = max(low, least), min(high, most)
    if settling is not None:
        return settling.skims(low, high)
    return (low, high) if low <= high else None
