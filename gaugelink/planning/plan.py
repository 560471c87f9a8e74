"""The cheapest work that brings a head inside its limits.

A mixed-integer programme chooses one way for every place (`gaugelink.planning.options`) and one
skim for the face, and HiGHS proves that none is cheaper. What it finds is then held against the
limits once more in whole picometres: the solver's tolerances decide nothing.

Among plans that cost the same, the one with the fewest steps is taken, and of its depths the least:
the metal that stays is there for the next time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from gaugelink.planning.allowances import COMMON, FIGURES, drop_ends
from gaugelink.planning.conflict import conflict
from gaugelink.planning.held import fitted
from gaugelink.planning.means import PROTRUSIONS, skims
from gaugelink.planning.options import Ways
from gaugelink.planning.programme import MOVING, SECONDS, Programme, common
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


TRIES: Final = 3
"""Plans looked at for each alternative that is wanted."""


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
class Conflict:
    """Limits that no work on offer can keep together, each needed for that.

    Attributes:
        limits: ``(place, limit)``; the head's own stand under "".
        smallest: whether it is proved that no other set has fewer of them.
    """

    limits: tuple[tuple[str, str], ...]
    smallest: bool = False


def seals_cents(task: Task) -> int:
    """Give what the stem seals cost: they are new after every dismantling."""
    return sum(task.shop.part(place.kind, "seal") for place in task.places)


def plan(task: Task, seconds: float = SECONDS) -> Plan | Conflict:
    """Find the cheapest plan, or why there is none.

    Args:
        task: the head.
        seconds: the longest that the solver may take.

    Returns:
        A plan, or the limits that are in conflict.

    Raises:
        ValueError: the solver ran out of time before it found any plan.
    """
    skim, all_ties = skims(task), ties(task)
    found = Programme(task, skim, _ways(task, skim, all_ties), all_ties).solve(seconds)
    if found is None:
        return Conflict(*conflict(task))
    chosen, bound = found
    return _settled(task, skim, chosen, bound, all_ties)


def _ways(task: Task, skim: tuple[bool, int, int], all_ties: Sequence[Tie]) -> list[list[Way]]:
    finder, held = Ways(task, skim), tied(all_ties)
    return [needed(finder.at(place), tied=place in held, as_set=task.springs_as_set)
            for place in range(len(task.places))]  # fmt: skip


def _useful(task: Task, skim: tuple[bool, int, int], best: Plan) -> list[list[Way]]:
    """Give the ways that an alternative may use, none that only adds work to another one.

    Where places are tied, a way that only adds work may be what lets others be. Of those, only the
    ones that the cheapest plan itself takes are tried: all of them would take minutes.
    """
    finder = Ways(task, skim)
    found = [needed(finder.at(place), useful=True) for place in range(len(task.places))]
    for put, some in zip(best.puts, found, strict=True):
        if put.way not in some:
            some.append(put.way)
    return found


def alternatives(
    task: Task, best: Plan, *, most: int = 3, percent: int = 10, seconds: float = SECONDS
) -> list[Plan]:
    """Find other plans that cost little more.

    Args:
        task: the head.
        best: its cheapest plan.
        most: how many.
        percent: how much dearer they may be.
        seconds: the longest that the solver may take for each; none more after that.

    Returns:
        The cheapest first; each differs from all others in a step at one place or more. None only
        adds work to the cheapest plan, and plans that differ in more than in which used valve goes
        where are preferred.
    """
    skim, all_ties = skims(task), ties(task)
    ways = _useful(task, skim, best)
    ceiling = best.cents + best.cents * percent // 100 - seals_cents(task)
    others: list[Plan] = []
    # First other work; only then the same work with the used valves in other places.
    for whoever in (True, False):
        programme = Programme(task, skim, ways, all_ties)
        programme.at_most(ceiling)
        for known in (best, *others):
            programme.not_again([put.way for put in known.puts], whoever=whoever)
        for _ in range(TRIES * most):
            if len(others) == most:
                break
            try:
                found = programme.solve(seconds)
            except ValueError:  # no time left: fewer of them, the plan itself stands
                break
            if found is None:
                break
            chosen, bound = found
            programme.not_again(chosen, whoever=whoever)
            other = _settled(task, skim, chosen, bound, all_ties)
            if not _only_adds(best, other):
                others.append(other)
    return sorted(others, key=lambda other: other.cents)


def _only_adds(best: Plan, other: Plan) -> bool:
    """Tell whether a plan does all the work of the cheapest, and more: that is no choice.

    To move a valve is work; which of the used valves goes where is not.
    """
    if (best.skim is not None and other.skim is None) or _moves(other) < _moves(best):
        return False
    same = (best.skim is None) == (other.skim is None)
    for one, two in zip(best.puts, other.puts, strict=True):
        here, there = (frozenset(put.way.deeds) - MOVING for put in (one, two))
        if one.way.oversize != two.way.oversize or not here <= there:
            return False
        same = same and here == there
    # The same work with used valves in other places is a choice, if a lesser one; with the same
    # valves only lapping is left to differ, and that is work.
    return not same or all(one.way.valve == two.way.valve
                           for one, two in zip(best.puts, other.puts, strict=True))  # fmt: skip


def _moves(plan: Plan) -> int:
    return sum("move valve" in put.way.deeds for put in plan.puts)


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
