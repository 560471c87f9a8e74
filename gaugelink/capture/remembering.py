"""Keep Python's collector of cycles from looking through all that a bench remembers.

Reference counts free nearly everything here at once. For cycles Python has a collector besides, and
its longest pass looks at every object in memory while nothing else runs. A job that goes on record
stays in memory as events, which hold no cycles, so that pass finds nothing in them and takes longer
with every value: a third of a second after a minute at 1600 values a second. So what has been
looked through once is set aside, in portions; the collector goes on with the rest.
"""

from __future__ import annotations

import gc
from typing import Final

PORTION: Final = 1000
"""Events after which what is in memory is looked through and set aside; a few milliseconds."""


class Remembering:
    """What a bench remembers, as far as the collector is concerned. It is the whole process's.

    What was set aside is still freed as soon as nothing refers to it. Only a cycle that comes loose
    after it was set aside has to wait until the bench has been stopped. Nothing is set aside by
    time: a bench where nothing happens leaves the collector as it is.
    """

    def __init__(self) -> None:
        self._since = 0
        self._aside = False

    def begin(self) -> None:
        """Set aside the program itself and what it remembers of before, without looking."""
        gc.freeze()
        self._aside = True

    def more(self, count: int) -> None:
        """Take note of so many more events; a full portion is looked through and set aside.

        >>> remembering = Remembering()
        >>> before = gc.get_freeze_count()
        >>> remembering.more(PORTION - 1)
        >>> gc.get_freeze_count() == before
        True
        >>> remembering.more(1)
        >>> gc.get_freeze_count() > before
        True
        >>> remembering.end()
        >>> gc.get_freeze_count()
        0
        """
        self._since += count
        if self._since < PORTION:
            return
        self._since = 0
        gc.collect()  # loose cycles must not be set aside with the rest
        gc.freeze()
        self._aside = True

    def end(self) -> None:
        """Give everything back to the collector."""
        if self._aside:
            self._aside = False
            gc.unfreeze()
