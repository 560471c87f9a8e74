"""A budget of time: how long all that is reckoned for one answer may take together.

This room knows no clock, so that a test can hold time still: whoever asks brings one along.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Callable

SECONDS: Final = 60.0
"""After so long the best is given that was found, with how far from the best it may be."""


class OutOfTime(ValueError):  # noqa: N818  nothing went wrong: there is no more time
    """The time is over, and what was asked is not known.

    Args:
        seconds: how long it was.
    """

    def __init__(self, seconds: float) -> None:
        super().__init__(f"found no plan in {seconds:g} s; it takes more time")


def _still() -> float:
    return 0.0


class Budget:
    """The time for one answer; it runs from when it is made.

    Args:
        seconds: how long everything together may take.
        clock: gives seconds that only ever grow. Without one the time stands still: every run of
            the solver may then take all of it.

    With 20 s in all, 15 s after it was made:

    >>> times = iter([100.0, 115.0, 121.0])
    >>> budget = Budget(20, lambda: next(times))
    >>> budget.left()
    5.0
    >>> budget.left()
    0.0
    """

    def __init__(self, seconds: float = SECONDS, clock: Callable[[], float] = _still) -> None:
        self.seconds = seconds
        self._clock = clock
        self._ends = clock() + seconds

    def left(self) -> float:
        """Give the seconds that are left, 0 once it is over."""
        return max(0.0, self._ends - self._clock())

    def share(self) -> float:
        """Give what a run of the solver may take: all that is left, more than 0.

        Raises:
            OutOfTime: it is over.

        >>> Budget(20).share()
        20.0
        """
        if not (left := self.left()):
            raise OutOfTime(self.seconds)
        return left
