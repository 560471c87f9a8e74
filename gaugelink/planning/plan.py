"""The cheapest work that brings a head inside its limits.

A mixed-integer programme chooses one way for every place (`gaugelink.planning.options`) and one
skim for the face, and HiGHS proves that none is cheaper. What it finds is then held against the
limits once more in whole picometres: the solver's tolerances decide nothing.

Among plans that cost the same, the one with the fewest steps is taken, and of its depths the least:
the metal that stays is there for the next time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gaugelink.planning.allowances import COMMON, FIGURES, drop_ends
from gaugelink.planning.budget import Budget, OutOfTime
from gaugelink.planning.conflict import Conflict, conflict
from gaugelink.planning.held import fitted
from gaugelink.planning.means import PROTRUSIONS, skims
from gaugelink.planning.options import Ways
from gaugelink.planning.programme import MOVING, Programme, common
from gaugelink.planning.settling import Settling, shares
from gaugelink.planning.task import Range
from gaugelink.planning.ties import tied, ties, unmeasured
from gaugelink.planning.way import FAR, needed

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from gaugelink.planning.allowances import Figure, Seated, Step
    from gaugelink.planning.bounds import Bound
    from gaugelink.planning.task import Task
    from gaugelink.planning.ties import Tie
    from gaugelink.planning.way import Way


@dataclass(frozen=True, slots=True)
class Depth:
    """A depth to be taken, and how far it may go while everything else stays; picometres."""

    pm: int
    least_pm: int
    most_pm: int


@dataclass(frozen=True, slots=True)
class Put:
    """What is done at one place.

    Attributes:
        way: the way that was chosen.
        depths: of the steps that have one; a fitted insert is cut to where the valve then sits,
            below 0 where that is higher than before.
        seated: the valve in its place afterwards, with what holds it.
    """

    way: Way
    depths: Mapping[Step, Depth]
    seated: Seated

    @property
    def figures(self) -> Mapping[Figure, int]:
        """What should be found afterwards, picometres: a forecast, never a reading."""
        return {name: pm for name, pm in self.seated.figures.items() if name not in COMMON}


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan for a head.

    Attributes:
        puts: by place.
        skim: None where the face stays as it is. Within its ends the same steps do, but the other
            depths follow it: plan again with the figure taken.
        cents: all together; at least so much where `unproved` is not empty.
        bound_cents: no plan is cheaper than this.
        unproved: readings that are missing, as ``(place, what)``; the head's own under "".
    """

    puts: tuple[Put, ...]
    skim: Depth | None
    cents: int
    bound_cents: int
    unproved: tuple[tuple[str, str], ...]

    @property
    def optimal(self) -> bool:
        """Whether it is proved that no plan is cheaper."""
        return self.cents <= self.bound_cents

    @property
    def gap(self) -> float:
        """How much of the cost might be saved at most, 0 to 1."""
        return max(0.0, 1 - self.bound_cents / self.cents) if self.cents else 0.0


@dataclass(frozen=True, slots=True)
class Alternatives:
    """Other plans that cost little more.

    Attributes:
        plans: the cheapest first; each differs from all others in a step at one place or more, and
            of those that cost the same with as few steps it differs from the cheapest plan at the
            fewest places. None only adds work to the cheapest plan or to another of them, and plans
            that differ in more than in which used valve goes where are preferred; of these they are
            the cheapest.
        complete: whether as many were found as were wanted, none of them a chance find where time
            ran out, or it is proved that there are no more.
    """

    plans: tuple[Plan, ...]
    complete: bool


def seals_cents(task: Task) -> int:
    """Give what the stem seals cost: they are new after every dismantling."""
    return sum(task.shop.part(place.kind, "seal") for place in task.places)


def plan(task: Task, budget: Budget | None = None) -> Plan | Conflict:
    """Find the cheapest plan, or why there is none.

    Args:
        task: the head.
        budget: the time for either. Give the same one to `alternatives`, and it bounds them all
            together.

    Returns:
        A plan, or the limits that are in conflict.

    Raises:
        OutOfTime: time ran out before any plan was found, or that there is none.
    """
    budget = Budget() if budget is None else budget
    skim, all_ties = skims(task), ties(task)
    found = Programme(task, skim, _ways(task, skim, all_ties, budget), all_ties).solve(budget)
    if found is None:
        return conflict(task, budget)
    chosen, bound = found
    return _settled(task, skim, chosen, bound, all_ties)


def _ways(
    task: Task, skim: tuple[bool, int, int], all_ties: Sequence[Tie], budget: Budget
) -> list[list[Way]]:
    finder, held = Ways(task, skim), tied(all_ties)
    found = []
    for place in range(len(task.places)):
        budget.share()
        found.append(needed(finder.at(place), tied=place in held, as_set=task.springs_as_set))
    return found


def alternatives(
    task: Task, best: Plan, *, most: int = 3, percent: int = 10, budget: Budget | None = None
) -> Alternatives:
    """Find other plans that cost little more.

    Args:
        task: the head.
        best: its cheapest plan.
        most: how many.
        percent: how much dearer they may be.
        budget: the time for it; where it ends there are fewer, and the plan itself stands.

    Returns:
        What was found; nothing beside a plan that is not proved to be the cheapest: its time ran
        out, and another one might cost less.
    """
    if not best.optimal:
        return Alternatives((), complete=False)
    search = _Search(task, best, most, percent, Budget() if budget is None else budget)
    complete = True
    try:
        search.run()
    except OutOfTime:
        complete = False
    found = tuple(sorted(search.found, key=lambda other: other.cents))
    return Alternatives(found, complete and all(other.optimal for other in found))


class _Search:
    """Looks for alternatives, the ones that are preferred first."""

    def __init__(self, task: Task, best: Plan, most: int, percent: int, budget: Budget) -> None:
        self._task, self._best, self._most, self._budget = task, best, most, budget
        self._skim, self._ties = skims(task), ties(task)
        self._ceiling = best.cents + best.cents * percent // 100 - seals_cents(task)
        self._ways: list[list[Way]] = []
        self.found: list[Plan] = []

    def run(self) -> None:
        """Search until there are as many as wanted, or none is left.

        Raises:
            OutOfTime: neither; what was found until then stands.
        """
        finder, held = Ways(self._task, self._skim), tied(self._ties)
        for put in self._best.puts:
            self._budget.share()
            place = put.way.place
            self._ways.append(needed(finder.at(place), useful=True, tied=place in held))
        # First other work; only then the same work with the used valves in other places.
        self._other_work()
        for known in (self._best, *self.found):
            self._other_valves(known)

    def _other_work(self) -> None:
        programme = self._programme(self._ways)
        self._forbid(programme, self._best)
        while len(self.found) < self._most:
            if (one := programme.solve(self._budget)) is None:
                return
            self._add(one)
            self._forbid(programme, self.found[-1])

    def _forbid(self, programme: Programme, known: Plan) -> None:
        """Forbid the work of a plan, and what only adds to it."""
        done = [put.way for put in known.puts]
        programme.not_again(done, whoever=True)
        programme.leaves_out(done, skimmed=known.skim is not None)

    def _other_valves(self, known: Plan) -> None:
        done = {put.way.place: put.way for put in known.puts}
        same = [[way for way in some if _work(way) == _work(done[way.place])]
                for some in self._ways]  # fmt: skip
        programme = self._programme(same)
        programme.other_valves(list(done.values()), skimmed=known.skim is not None)
        if known is not self._best:  # it may have been a choice for its fewer moves alone
            programme.leaves_out([put.way for put in self._best.puts],
                                 skimmed=self._best.skim is not None)  # fmt: skip
        while len(self.found) < self._most:
            if (one := programme.solve(self._budget)) is None:
                return
            self._add(one)
            programme.other_valves(one[0], skimmed=known.skim is not None)

    def _programme(self, ways: Sequence[Sequence[Way]]) -> Programme:
        near = [put.way for put in self._best.puts]
        programme = Programme(self._task, self._skim, ways, self._ties, near)
        programme.at_most(self._ceiling)
        return programme

    def _add(self, one: tuple[list[Way], int]) -> None:
        self.found.append(_settled(self._task, self._skim, *one, self._ties))


def _work(way: Way) -> tuple[object, ...]:
    return frozenset(way.deeds) - MOVING, way.oversize


def _settled(
    task: Task, skim: tuple[bool, int, int], chosen: Sequence[Way], bound: int,
    all_ties: Sequence[Tie] = (),
) -> Plan:  # fmt: skip
    """Choose the depths in whole picometres, and hold everything against its limits again."""
    ends = common(all_ties, chosen, skim)
    if ends is None:
        raise ArithmeticError("found no skim that the ways of a plan bear together")
    taken = ends[0]
    sunk: Mapping[int, int] = {}
    held: Mapping[int, tuple[Bound, ...]] | None = {}
    if all_ties:
        settled = Settling(all_ties, chosen).at(taken)
        sunk = settled.sunk if settled is not None else {}
        held = shares(all_ties, sunk, taken) if settled is not None else None
    if held is None:
        raise ArithmeticError("found a limit that ties places not kept by a plan")
    puts = tuple(_put(task, way, taken, sunk.get(way.place), held.get(way.place, ()))
                 for way in chosen)  # fmt: skip
    cents = sum(way.cents for way in chosen) + seals_cents(task)
    cents += task.shop.offers["skim"].cents if taken else 0
    return Plan(puts, Depth(taken, *ends) if taken else None, cents,
                min(cents, bound + seals_cents(task)),
                tuple(_missing(task, chosen, cut=taken > 0)))  # fmt: skip


def _missing(task: Task, chosen: Sequence[Way], *, cut: bool) -> Iterator[tuple[str, str]]:
    """Name the readings that a plan leans on and that nobody has taken."""
    for way in chosen:
        for what in way.unproved:
            yield task.places[way.place].name, what
    for cylinder in task.cylinders:
        for what in PROTRUSIONS:
            if task.head.get(what, Range()) != Range() and what not in cylinder.readings:
                yield cylinder.name, what
    lacking = {(task.places[way.place].name, what) for way in chosen for what in way.unproved}
    yield from (one for one in unmeasured(task) if one not in lacking)
    asked = {"head-face flatness": task.flatness_pm}
    if cut:  # the thickness is asked for only where it gets less
        asked["head thickness"] = task.thickness_pm
    for what, value in asked.items():
        if value is None and task.head.get(what, Range()) != Range():
            yield "", what


def _put(
    task: Task, way: Way, skim: int, sunk: int | None = None, held: Sequence[Bound] = ()
) -> Put:
    """Choose the least depths of one place for a skim; of an insert the middle of what it may be.

    Args:
        task: the head.
        way: of the place.
        skim: of the face.
        sunk: how far the valve has to sink, where other places have a say in it.
        held: what they leave of its drop.

    Raises:
        ArithmeticError: a limit is not kept after all, which would be a fault of this program.
    """
    seated = fitted(task, way, held)
    moved = seated.after("skim", skim).after("shim", way.stack.thickness)

    low, high = (value if value is not None else far for value, far in zip(
        drop_ends(moved, [name for name in FIGURES if name != "tip height"]), (-FAR, FAR),
        strict=True))  # fmt: skip
    tip_low, tip_high = (value if value is not None else far for value, far in zip(
        drop_ends(moved, ["tip height"]), (-FAR, FAR), strict=True))  # fmt: skip
    drop = max(low, way.seat[0] + way.face[0] + way.lap_pm, tip_low + way.tip[0])
    if "fit insert" in way.deeds:
        # New metal: nothing is saved by cutting it least, and both limits are as far as can be.
        lowest = min(high, way.seat[1] + way.face[0] + way.lap_pm, tip_high + way.tip[0])
        drop = max(drop, (drop + lowest) // 2)
    if sunk is not None:
        drop = sunk - way.sunk
    face = max(way.face[0], drop - way.lap_pm - way.seat[1])
    seat = drop - way.lap_pm - face
    tip = max(way.tip[0], drop - tip_high)
    # How far each may go while the others stay.
    top = min(high, tip_high + tip)
    depths: dict[Step, Depth] = {}
    if way.seat != (0, 0):
        depths["cut seat"] = Depth(seat, max(way.seat[0], seat - (drop - max(low, tip_low + tip))),
                                   min(way.seat[1], seat + top - drop))  # fmt: skip
    if way.face != (0, 0):
        depths["reface valve"] = Depth(
            face, max(way.face[0], face - (drop - max(low, tip_low + tip))),
            min(way.face[1], face + top - drop))  # fmt: skip
    if way.tip != (0, 0):
        depths["grind tip"] = Depth(tip, max(way.tip[0], drop - tip_high),
                                    min(way.tip[1], drop - tip_low))  # fmt: skip
    done = moved.after("lap", way.lap_pm)
    for step, depth in depths.items():
        done = done.after(step, depth.pm)
        if not depth.least_pm <= depth.pm <= depth.most_pm:
            raise ArithmeticError(f"found a {step} of {depth}, beyond what the place bears")
    if broken := done.beyond():
        raise ArithmeticError(f"found {', '.join(broken)} not kept by a plan")
    return Put(way, depths, done)
