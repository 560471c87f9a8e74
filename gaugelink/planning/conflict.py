"""Why nothing works: limits that cannot be kept together, none of them needless.

A deletion filter: limits are left out one after the other; one that can be left out without making
the head possible has nothing to do with it, and stays out. What remains is irreducible: leave out
any one of it, and the offered work can do it. There may be other such sets.

Source: the deletion filter of Chinneck and Dravnieks (1991), from memory; the tests hold what makes
the set irreducible.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.planning.held import limits_at
from gaugelink.planning.means import HEAD_LIMITS, protruding, skims
from gaugelink.planning.options import Ways
from gaugelink.planning.programme import SECONDS, Programme
from gaugelink.planning.way import needed

if TYPE_CHECKING:
    from gaugelink.planning.task import Task
    from gaugelink.planning.way import Way

Named = tuple[str, str]


def conflict(task: Task, seconds: float = SECONDS) -> tuple[Named, ...]:
    """Give an irreducible set of limits that the offered work cannot keep together.

    Args:
        task: a head for which there is no plan.
        seconds: the longest that the solver may take for each question.

    Returns:
        ``(place, limit)``, the head's own under ""; empty where nothing helps but other offers,
        because even without any limit there is no way.
    """
    everything = [
        *((place.name, name) for place in task.places for name in limits_at(task, place)),
        *((one.name, held.name) for one in task.cylinders for held in protruding(task)),
        *(("", name) for name in HEAD_LIMITS),
    ]
    possible = _Possible(task, seconds)
    out: set[Named] = set()
    # First whole places, so that most limits need no question of their own.
    for place in task.places:
        some = out | {one for one in everything if one[0] == place.name}
        if not possible(some):
            out = some
    for one in everything:
        if one not in out and not possible(out | {one}):
            out.add(one)
    return tuple(one for one in everything if one not in out)


class _Possible:
    """Answers whether a head can be done with some limits left out."""

    def __init__(self, task: Task, seconds: float) -> None:
        self._task, self._seconds = task, seconds
        self._known: dict[tuple[int, frozenset[str], tuple[bool, int, int]], list[Way]] = {}

    def __call__(self, out: set[Named]) -> bool:
        task = self._task
        skim = skims(task, frozenset(name for place, name in out if not place), frozenset(out))
        ways = []
        for number, place in enumerate(task.places):
            without = frozenset(name for where, name in out if where == place.name)
            key = (number, without, skim)
            if key not in self._known:
                self._known[key] = needed(Ways(task, skim).at(number, without))
            ways.append(self._known[key])
        return Programme(task, skim, ways).solve(self._seconds) is not None
