"""How time passes on the simulated bench: as for a person, or as quickly as the bench can follow.

At full speed time is simulated. It stands still while anything is being done, and jumps to the next
moment at which something happens once everything that was sent has arrived. So samples carry the
times at which a person's hand would have made them, whatever the load of the machine, and the same
seed gives the same readings.
"""

from __future__ import annotations

import asyncio
import contextlib
import heapq
import time
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Iterator

_SETTLE_TURNS = 4
"""Turns of the event loop after which whoever was woken has gone on to its next wait."""


class Pace(Protocol):
    """The bench's clocks, and a way to wait by them."""

    name: str

    def utc(self) -> str:
        """Tell the wall clock: RFC 3339, microseconds, ``Z``."""
        ...

    def mono_ns(self) -> int:
        """Tell the bench clock, monotonic, in nanoseconds."""
        ...

    async def sleep(self, seconds: float) -> None:
        """Wait for so many seconds of the bench clock."""
        ...

    def held(self) -> contextlib.AbstractContextManager[None]:
        """Let no simulated time pass while the body runs."""
        ...


class PersonPace:
    """Real time."""

    name = "real"

    def __init__(self) -> None:
        self._start_ns = time.monotonic_ns()

    def utc(self) -> str:
        """Tell the wall clock."""
        return _utc()

    def mono_ns(self) -> int:
        """Tell the time since the bench was set up."""
        return time.monotonic_ns() - self._start_ns

    async def sleep(self, seconds: float) -> None:
        """Wait."""
        await asyncio.sleep(seconds)

    def held(self) -> contextlib.AbstractContextManager[None]:
        """Real time cannot be held; this does nothing."""
        return contextlib.nullcontext()


class FullPace:
    """Simulated time. `run` has to be running while anybody sleeps.

    Args:
        settled: waits until everything that was sent has been taken in.
    """

    name = "simulated"

    def __init__(self, settled: Callable[[], Awaitable[None]]) -> None:
        self._settled = settled
        self._now_ns = 0
        self._turn = 0
        self._waiting: list[tuple[int, int, asyncio.Future[None]]] = []
        self._somebody = asyncio.Event()
        self._holders = 0
        self._free = asyncio.Event()
        self._free.set()

    def utc(self) -> str:
        """Tell the wall clock, which is real."""
        return _utc()

    def mono_ns(self) -> int:
        """Tell the simulated time."""
        return self._now_ns

    async def sleep(self, seconds: float) -> None:
        """Wait until the simulated time has come."""
        woken = asyncio.get_running_loop().create_future()
        self._turn += 1
        due = self._now_ns + max(0, round(seconds * 1e9))
        heapq.heappush(self._waiting, (due, self._turn, woken))
        self._somebody.set()
        await woken

    @contextlib.contextmanager
    def held(self) -> Iterator[None]:
        """Let no simulated time pass while the body runs."""
        self._holders += 1
        self._free.clear()
        try:
            yield
        finally:
            self._holders -= 1
            if not self._holders:
                self._free.set()

    async def run(self) -> None:
        """Let time pass, for ever."""
        while True:
            await self._somebody.wait()
            for _ in range(_SETTLE_TURNS):
                await asyncio.sleep(0)
            await self._settled()
            await self._free.wait()
            for _ in range(_SETTLE_TURNS):
                await asyncio.sleep(0)
            if self._holders or not self._waiting:
                continue
            due, _, woken = heapq.heappop(self._waiting)
            if not self._waiting:
                self._somebody.clear()
            if not woken.done():  # whoever no longer waits makes no time pass
                self._now_ns = max(self._now_ns, due)
                woken.set_result(None)


def _utc() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
