"""Clocks, passed in where time is needed so that tests and the simulated bench can set the pace."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from typing import Protocol


class Clock(Protocol):
    """The two clocks of a bench. ``name`` is ``real`` or ``simulated``."""

    name: str

    def utc(self) -> str:
        """Tell the wall clock: RFC 3339, microseconds, ``Z``."""
        ...

    def mono_ns(self) -> int:
        """Tell the bench clock, monotonic, in nanoseconds."""
        ...


def utc_text(moment: datetime) -> str:
    """Write a moment as the record keeps it.

    >>> utc_text(datetime(2026, 1, 2, 3, 4, 5, 6, tzinfo=UTC))
    '2026-01-02T03:04:05.000006Z'
    """
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


class SystemClock:
    """The clocks of this machine."""

    name = "real"

    def __init__(self) -> None:
        # Counted from the start of the program: since the machine's start it would pass, after a
        # hundred days, what a canonical document can hold as a whole number.
        self._start_ns = time.monotonic_ns()

    def utc(self) -> str:
        """Tell the wall clock."""
        return utc_text(datetime.now(UTC))

    def mono_ns(self) -> int:
        """Tell the time since the program's start."""
        return time.monotonic_ns() - self._start_ns
