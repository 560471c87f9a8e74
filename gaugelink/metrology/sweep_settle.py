"""Find the settled part of each half swing.

What counts of it is late in the rest: the hand has stopped pushing harder, a peak from hitting the
wall is over, and the oil film is pressed out. All half swings are looked at together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Self

import numpy as np

from gaugelink.metrology.sweep_stretches import Stretches, stretches

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Places = NDArray[np.intp]
    Truths = NDArray[np.bool_]

LONGEST_REST_S: Final = 1.2
LATE_SHARE: Final = 0.6
"""Share of the rest at a wall, counted from its end, that is taken as settled."""


@dataclass(slots=True)
class Settled:
    """The rest in each half swing, and its settled part; where there is none, noughts.

    Attributes:
        farther: ``(m,)`` how many readings lie too far out to be near the wall.
        first, last: ``(m,)`` index of the first and last reading of the whole rest, both included.
        readings: ``(m,)`` how many readings the rest has; 0 where no reading lies near enough.
        twice_pm: ``(m,)`` twice the mean of the settled readings, so a whole number.
        at_s: ``(m,)`` their mean time, in working seconds.
        count: ``(m,)`` how many readings are settled.
    """

    farther: Integers
    first: Places
    last: Places
    readings: Integers
    twice_pm: Integers
    at_s: Floats
    count: Integers

    @classmethod
    def none(cls, number: int) -> Self:
        """Begin with no rest in any half swing."""
        nought, time = np.zeros((6, number), dtype=np.int64), np.zeros(number)
        return cls(nought[0], nought[1], nought[2], nought[3], nought[4], time, nought[5])

    def put(self, where: Places | Truths, found: Settled) -> None:
        """Set what was found in some half swings."""
        for name in self.__slots__:
            getattr(self, name)[where] = getattr(found, name)

    def some(self, where: Places | Truths) -> Settled:
        """Take out some half swings."""
        return Settled(*(getattr(self, name)[where] for name in self.__slots__))


def nearest(total: Integers, count: Integers) -> Integers:
    """Divide and round to the nearest whole number, halves to the even one.

    >>> import numpy as np
    >>> nearest(np.array([5, 7, -5, 8]), np.array([2, 2, 2, 3])).tolist()
    [2, 4, -2, 3]
    """
    whole, rest = np.divmod(total, count)
    up = (2 * rest > count) | ((2 * rest == count) & (whole % 2 == 1))
    rounded: Integers = whole + up
    return rounded


def settle(
    value_pm: Integers,
    seconds: Floats,
    laid: Stretches,
    side: Integers,
    near_pm: Floats,
    width_pm: float,
    step_pm: int,
    *,
    leaving: bool,
) -> Settled:
    """Find the settled part of each half swing close to where the wall is expected.

    Args:
        value_pm: ``(n,)`` the readings of the sweep, whole picometres.
        seconds: ``(n,)`` working time of each.
        laid: the half swings, m of them.
        side: ``(m,)`` +1 at the high wall, -1 at the low one.
        near_pm: ``(m,)`` where the wall is expected.
        width_pm: how far from there a reading may lie.
        step_pm: step of the display.
        leaving: whether the sweep begins with the first of them, so that the end of the rest
            matters there.

    >>> import numpy as np
    >>> value = np.array([0, 0, 0, 0, 50, 98, 100, 101, 101, 100])
    >>> both = stretches(np.array([0, 4]), np.array([5, 10]))
    >>> side, near = np.array([-1, 1]), np.array([0.0, 100.0])
    >>> found = settle(value, np.arange(10) / 10, both, side, near, 3.0, 1, leaving=True)
    >>> (found.twice_pm / 2).tolist(), found.last.tolist(), found.count.tolist()
    ([0.0, 100.5], [3, 9], [3, 3])
    """
    settled = Settled.none(len(side))
    outside = value_pm.take(laid.places) - laid.each(near_pm)
    outside *= laid.each(side.astype(np.float64))
    settled.farther[:] = laid.number(outside > width_pm)
    close = np.flatnonzero(np.abs(outside) <= width_pm)
    if not len(close):
        return settled
    place = laid.places.take(close)
    count = np.searchsorted(close, laid.end) - np.searchsorted(close, laid.start)
    begin, end = _longest_runs(seconds, place, count)
    some = np.flatnonzero(end > begin)
    begin, end = begin[some], end[some]
    first, last, readings = place[begin], place[end - 1], end - begin
    # A long rest before the first rock or after the last is taken near the rock only.
    until = np.searchsorted(seconds, seconds[first] + LONGEST_REST_S, side="right")
    laid_until = laid.start[some] + until - laid.first[some]
    late_end = np.minimum(end, np.searchsorted(close, laid_until))
    if leaving and some[0] == 0:
        since = int(np.searchsorted(seconds, seconds[last[0]] - LONGEST_REST_S))
        begin[0] = max(begin[0], int(np.searchsorted(close, laid.start[0] + since - laid.first[0])))
        late_end[0] = end[0]
    late = stretches(late_end - np.ceil(LATE_SHARE * (late_end - begin)).astype(np.intp), late_end)
    where = place.take(late.places)
    # Counted from the wall: small numbers, so that sums and products stay whole.
    wall = np.rint(near_pm[some]).astype(np.int64)
    outward = (value_pm.take(where) - late.each(wall)) * late.each(side[some])
    ordered = late.ordered(outward)
    few = late.size <= 3
    middle = np.where(few, ordered[late.end - 1], ordered[late.start + late.size // 2])
    reach = np.where(
        few,
        max(step_pm, round(0.12 * width_pm)),
        int(max(1.5 * step_pm, 0.25 * width_pm)),
    )
    chosen = np.abs(outward - late.each(middle)) <= late.each(reach)
    count = late.number(chosen)
    total = np.add.reduceat(np.where(chosen, outward, 0), late.start) * side[some]
    at = stretches(np.cumsum(count) - count, np.cumsum(count))
    found = Settled(
        settled.farther[some],
        first,
        last,
        readings,
        2 * wall + nearest(2 * total, count),
        at.sums(seconds.take(where[chosen])) / count,
        count,
    )
    settled.put(some, found)
    return settled


def _longest_runs(seconds: Floats, place: Places, count: Places) -> tuple[Places, Places]:
    """Find the longest run of readings in each half swing, the last of equally long ones.

    Args:
        seconds: ``(n,)`` working time.
        place: ``(k,)`` index of each reading that lies near, half swing after half swing.
        count: ``(m,)`` how many of them belong to each.

    Returns:
        Where in `place` each run begins and ends; the same where there is none.
    """
    end = np.cumsum(count)
    begin = end - count
    gap = np.flatnonzero(place[1:] - place[:-1] > 3)
    owner = np.searchsorted(end, gap, side="right")
    inside = gap + 1 < end[owner]
    gap, owner = gap[inside], owner[inside]
    # A few readings that lie off do not break a rest.
    missing = place[end[owner] - 1] - place[begin[owner]] - count[owner] >= 3
    apart = missing & (seconds[place[gap + 1]] - seconds[place[gap]] > 0.15)
    if not apart.any():
        return begin, end
    has = np.flatnonzero(count)
    starts = np.sort(np.concatenate([begin[has], gap[apart] + 1]))
    sizes = np.diff(np.concatenate([starts, [len(place)]]))
    owner = np.searchsorted(end, starts, side="right")
    order = np.lexsort((sizes, owner))
    best = order[np.searchsorted(owner[order], has, side="right") - 1]
    begin[has], end[has] = starts[best], starts[best] + sizes[best]
    return begin, end
