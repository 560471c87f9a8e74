"""Why nothing works: limits that cannot be kept together, as few as can be found.

First a deletion filter: limits are left out, half of them at once, then half of those; what can be
left out without making the head possible has nothing to do with it, and stays out. What remains is
irreducible: leave out any one of it, and the offered work can do it.

Then smaller sets are looked for. Whatever set cannot be kept has a limit in common with every set
whose leaving-out makes the head possible (a correction). So the fewest limits that meet all
corrections known so far are tried: can they not be kept either, they are a smallest set; can they,
that gives another correction. Where no set smaller than the one at hand meets them all, that one is
proved to be smallest.

Source: the deletion filter of Chinneck and Dravnieks (1991) and the duality of conflicts and
corrections by hitting sets (Reiter 1987), both from memory; the tests hold what makes a set
irreducible, and the number of limits against a trial of every smaller set.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from gaugelink.planning.budget import Budget, OutOfTime
from gaugelink.planning.held import limits_at
from gaugelink.planning.means import HEAD_LIMITS, protruding, skims
from gaugelink.planning.options import Ways
from gaugelink.planning.programme import Programme
from gaugelink.planning.ties import tied, ties
from gaugelink.planning.way import needed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelink.planning.task import Task
    from gaugelink.planning.way import Way

Named = tuple[str, str]
_Key = tuple[int, frozenset[str], tuple[bool, int, int], bool]

QUESTIONS: Final = 200
"""So many heads are tried at most to make a set smallest: a few seconds for 24 valves."""
DEEPEST: Final = 4
"""Sets of more limits than this are not searched through."""


@dataclass(frozen=True, slots=True)
class Conflict:
    """Limits that no work on offer can keep together.

    Attributes:
        limits: ``(place, limit)``; the head's own stand under "". Empty where nothing helps but
            other offers, because even without any limit there is no way.
        smallest: whether it is proved that no other set has fewer of them.
        irreducible: whether it is proved that each of them is needed for that: without any one of
            them there is a plan. If not, time ran out, and some may have nothing to do with it.
    """

    limits: tuple[Named, ...]
    smallest: bool = False
    irreducible: bool = False


def conflict(task: Task, budget: Budget | None = None, questions: int = QUESTIONS) -> Conflict:
    """Give a set of limits that the offered work cannot keep together.

    Args:
        task: a head for which it is proved that there is no plan.
        budget: the time for it. Where it ends, the set at hand is given, with no more claimed of
            it than is proved by then.
        questions: how many may be asked to make an irreducible set a smallest one.
    """
    everything = [
        *((place.name, name) for place in task.places for name in limits_at(task, place)),
        *((one.name, held.name) for one in task.cylinders for held in protruding(task)),
        *(("", name) for name in HEAD_LIMITS),
        *((one.where, one.name) for one in ties(task)),
    ]
    possible = _Possible(task, Budget() if budget is None else budget)
    out: set[Named] = set()
    # In halves, so that most limits need no question of their own; the first ones are tried first.
    waiting = [everything]
    while waiting:
        some = waiting.pop()
        try:
            needless = not possible(out | set(some))
        except OutOfTime:
            return Conflict(tuple(one for one in everything if one not in out))
        if needless:
            out |= set(some)
        elif len(some) > 1:
            half = len(some) // 2
            waiting += [some[half:], some[:half]]
    best = tuple(one for one in everything if one not in out)
    possible.left = questions
    try:
        return _smallest(everything, best, possible)
    except (_Enough, OutOfTime):
        return Conflict(best, irreducible=True)


def _smallest(
    everything: Sequence[Named], best: tuple[Named, ...], possible: _Possible
) -> Conflict:
    """Look for a set smaller than an irreducible one, and prove that there is none."""
    if len(best) > DEEPEST + 1:
        return Conflict(best, irreducible=True)
    # To begin with, what has to be given up beside each limit of the set at hand.
    corrections = [_correction(everything, {one for one in best if one != out}, possible)
                   for out in best]  # fmt: skip
    while True:
        kept = _meeting(corrections, len(best) - 1, possible.budget)
        if kept is None:
            return Conflict(best, smallest=True, irreducible=True)
        if not possible(set(everything) - kept):
            fewer = tuple(one for one in everything if one in kept)
            return Conflict(fewer, smallest=True, irreducible=True)
        corrections.append(_correction(everything, kept, possible))


def _correction(
    everything: Sequence[Named], kept: set[Named], possible: _Possible
) -> frozenset[Named]:
    """Give limits whose leaving-out makes the head possible, none of `kept`, none needlessly."""
    out = set(everything) - kept
    waiting = [[one for one in everything if one in out]]
    while waiting:
        some = waiting.pop()
        if possible(out - set(some)):
            out -= set(some)
        elif len(some) > 1:
            half = len(some) // 2
            waiting += [some[half:], some[:half]]
    return frozenset(out)


def _meeting(
    corrections: Sequence[frozenset[Named]], most: int, budget: Budget
) -> set[Named] | None:
    """Give the fewest limits that meet every correction; None where more than `most` are needed."""

    def met(chosen: set[Named], room: int) -> set[Named] | None:
        budget.share()
        open_ = [one for one in corrections if not one & chosen]
        if not open_:
            return chosen
        if not room:
            return None
        shortest = min(open_, key=len)
        for limit in sorted(shortest):
            if (found := met(chosen | {limit}, room - 1)) is not None:
                return found
        return None

    for size in range(most + 1):
        if (found := met(set(), size)) is not None:
            return found
    return None


class _Enough(Exception):  # noqa: N818  nothing went wrong: no more questions are to be asked
    pass


class _Possible:
    """Answers whether a head can be done with some limits left out.

    Asking raises `OutOfTime` where the time ended first, `_Enough` where no question is left.
    """

    def __init__(self, task: Task, budget: Budget) -> None:
        self._task, self.budget = task, budget
        self.left: int | None = None
        self._known: dict[_Key, list[Way]] = {}

    def __call__(self, out: set[Named]) -> bool:
        if self.left is not None:
            if not self.left:
                raise _Enough
            self.left -= 1
        task = self._task
        skim = skims(task, frozenset(name for place, name in out if not place), frozenset(out))
        all_ties = ties(task, out)
        held = tied(all_ties)
        ways = []
        for number, place in enumerate(task.places):
            without = frozenset(name for where, name in out if where == place.name)
            key = (number, without, skim, number in held)
            if key not in self._known:
                self.budget.share()
                self._known[key] = needed(
                    Ways(task, skim).at(number, without), tied=key[-1], as_set=task.springs_as_set
                )
            ways.append(self._known[key])
        return Programme(task, skim, ways, all_ties).solve(self.budget) is not None
