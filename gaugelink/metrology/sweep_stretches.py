"""Look at many stretches of a sweep together: as many half swings as there are, at one price.

A sweep has few rests or some thousand, and numpy costs the same for a call on four readings as on
four thousand. So the stretches are laid one after the other, and each step of the analysis is
taken for all of them at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Places = NDArray[np.intp]
    Truths = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Stretches:
    """Stretches of readings laid one after the other; they may overlap in the sweep.

    Attributes:
        first: ``(m,)`` index of the first reading of each.
        size: ``(m,)`` how many readings each has.
        start: ``(m,)`` where each begins among those laid out.
        places: ``(k,)`` the index in the sweep of every reading laid out.
    """

    first: Places
    size: Places
    start: Places
    places: Places

    @property
    def end(self) -> Places:
        """Where each ends among those laid out, excluded."""
        return self.start + self.size

    def each(self, one: NDArray[Any]) -> NDArray[Any]:
        """Repeat what belongs to a stretch for each of its readings."""
        return np.repeat(one, self.size)

    def number(self, true: Truths) -> Places:
        """Count in each stretch for how many of its readings something is true."""
        before = np.zeros(len(true) + 1, dtype=np.intp)
        np.cumsum(true, out=before[1:])
        counted: Places = before[self.end] - before[self.start]
        return counted

    def first_true(self, true: Truths) -> tuple[Places, Truths]:
        """Find in each stretch the first reading for which something is true.

        Returns:
            Its place among those laid out, and whether there is one.
        """
        found = np.concatenate([np.flatnonzero(true), [len(true)]])
        place = found[np.searchsorted(found[:-1], self.start)]
        return place, place < self.end

    def last_true(self, true: Truths) -> tuple[Places, Truths]:
        """Find in each stretch the last reading for which something is true, as `first_true`."""
        found = np.concatenate([[-1], np.flatnonzero(true)])
        place = found[np.searchsorted(found[1:], self.end)]
        return place, place >= self.start

    def ordered(self, offset: Integers) -> Integers:
        """Put the readings of each stretch in order.

        Args:
            offset: ``(k,)`` whole numbers, best counted from near the stretch: their range times
                the number of stretches must be less than 2^63.
        """
        if not len(offset):
            return offset
        lowest = int(offset.min())
        # Each stretch gets a range of numbers of its own, and one call puts all in order.
        own = np.arange(len(self.size), dtype=np.int64) * (int(offset.max()) - lowest + 1) - lowest
        shift = self.each(own)
        ordered: Integers = offset + shift
        ordered.sort()
        ordered -= shift
        return ordered

    def medians(self, offset: Integers) -> Floats:
        """Give the median of each stretch, none of them empty; `offset` as in `ordered`."""
        ordered = self.ordered(offset)
        low, high = self.start + (self.size - 1) // 2, self.start + self.size // 2
        middle: Floats = (ordered[low] + ordered[high]) / 2
        return middle

    def sums(self, values: Floats) -> Floats:
        """Add up what lies in each stretch, to the last bit as `numpy.sum` adds it up alone.

        Args:
            values: ``(n,)`` one for every place of the sweep, or whatever `first` counts.
        """
        # reduceat takes the first number by itself; with a nought there, the rest goes as alone.
        number = np.arange(len(self.size))
        padded = values.take(np.arange(len(self.places) + len(number)) + np.repeat(
            self.first - self.start - number - 1, self.size + 1))  # fmt: skip
        noughts = self.start + number
        padded[noughts] = 0.0
        added: Floats = np.add.reduceat(padded, noughts)
        return added


def stretches(first: Places, last: Places) -> Stretches:
    """Lay stretches out, each from `first` (included) to `last` (excluded).

    >>> import numpy as np
    >>> laid = stretches(np.array([0, 2]), np.array([3, 4]))
    >>> laid.places.tolist(), laid.start.tolist()
    ([0, 1, 2, 2, 3], [0, 3])
    >>> laid.ordered(np.array([7, 5, 6, 9, 8])).tolist()
    [5, 6, 7, 8, 9]
    """
    size = last - first
    start = np.concatenate([[0], np.cumsum(size)])
    places = np.arange(start[-1]) + np.repeat(first - start[:-1], size)
    return Stretches(first, size, start[:-1], places)


def unbroken(first: Places, last: Places) -> Stretches:
    """Lay stretches out of which each begins where the one before it ends, as `stretches` does.

    >>> import numpy as np
    >>> laid = unbroken(np.array([2, 4]), np.array([4, 7]))
    >>> laid.places.tolist(), laid.start.tolist()
    ([2, 3, 4, 5, 6], [0, 2])
    """
    return Stretches(first, last - first, first - first[0], np.arange(first[0], last[-1]))
