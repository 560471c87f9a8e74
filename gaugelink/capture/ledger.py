"""The one way into the record: written first, taken in after, one step at a time.

One lock keeps that order; one thread does all writing, so that a slow disk never stops the gauges
from being read, nor the pages from being answered.
"""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Any, Final, TypeVar

from gaugelink.capture.remembering import Remembering
from gaugelink.capture.sweeping import analyse_trace
from gaugelink.errors import SessionError
from gaugelink.event_documents import from_document, to_document
from gaugelink.events import (
    Event,
    HeadReleased,
    JobOpened,
    SweepTaken,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Coroutine, Mapping, Sequence

    from gaugelink.capture.clock import Clock
    from gaugelink.metrology.sweep_result import Sweep as Analysis
    from gaugelink.record import Entry, Json, Store
    from gaugelink.session import Session

Outcome = TypeVar("Outcome")

HEAD_EVERY: Final = 50
"""A signed head is published at least after so many events."""

STOPPED: Final = "this bench has been stopped; nothing more goes on record"


class Ledger:
    """A session and the record that feeds it.

    Args:
        session: takes in what has been written.
        store: the record, open for writing.
        clock: dates the signed heads.

    Attributes:
        turn: whoever decides, writes and takes in holds it meanwhile.
        analyses: the analysis of each sweep by its place in the record.
        size: entries of the record that the session has taken in.
        root: root of the record's tree over them.
    """

    def __init__(self, session: Session, store: Store, clock: Clock) -> None:
        self.turn = asyncio.Lock()
        self.analyses: dict[int, Analysis] = {}
        self.size = 0
        self.root = b""
        self._session = session
        self._store = store
        self._clock = clock
        self._writer = ThreadPoolExecutor(1, thread_name_prefix="record writer")
        self._closed = False
        self._remembering = Remembering()

    def read(self) -> None:
        """Take in what the record holds already.

        Raises:
            RecordError: it cannot be read.
            SessionError: it holds something that the plan has no step for.
        """
        for entry in self._store.entries():
            self._take_in(entry.place, from_document(entry.document))
        self.size, self.root = self._store.size, self._store.root()
        self._remembering.begin()

    async def commit(self, events: Sequence[Event]) -> list[tuple[int, Event]]:
        """Write events, and take them in. They are on disk on return. The caller has the turn.

        Returns:
            The events with their places in the record.

        Raises:
            RecordError: they could not be written; nothing is taken in.
            SessionError: the ledger has been closed.
        """
        if self._closed:
            raise SessionError(STOPPED)
        documents = [to_document(event) for event in events]
        entries, root = await self._on_writer(lambda: self._write(documents))
        done = [(entry.place, event) for entry, event in zip(entries, events, strict=True)]
        for place, event in done:
            self._take_in(place, event)
        if done:
            self.size, self.root = done[-1][0] + 1, root
            self._remembering.more(len(done))
        return done

    async def publish_head(self) -> None:
        """Sign size and root, in the record and outside it. The caller has the turn.

        Raises:
            RecordError: it could not be done; what was written before stays written.
        """
        utc = self._clock.utc()
        await self._on_writer(lambda: self._store.publish_head(utc))

    async def close(self) -> None:
        """Write what is under way, publish a head, and write nothing any more.

        Raises:
            RecordError: no head could be published; all else is done.
        """
        async with self.turn:
            self._closed = True
            try:
                if self._store.size:
                    await self.publish_head()
            finally:
                self._writer.shutdown()
                self._remembering.end()

    async def to_the_end(
        self, work: Coroutine[Any, Any, Outcome], failed: Callable[[Exception], None]
    ) -> Outcome:
        """See a step through even if whoever asked for it is gone.

        Broken off between writing and taking in, the record would hold what the session does not.

        Args:
            work: the step.
            failed: is told a fault that the one who asked no longer hears.
        """
        task = asyncio.create_task(work)

        def asker_is_gone(task: asyncio.Task[Outcome]) -> None:
            fault = None if task.cancelled() else task.exception()
            if isinstance(fault, Exception):
                failed(fault)

        try:
            return await asyncio.shield(task)
        except asyncio.CancelledError:
            task.add_done_callback(asker_is_gone)
            raise

    async def _on_writer(self, work: Callable[[], Outcome]) -> Outcome:
        return await asyncio.get_running_loop().run_in_executor(self._writer, work)

    def _write(self, documents: Sequence[Mapping[str, Json]]) -> tuple[list[Entry], bytes]:
        return self._store.append(documents), self._store.root()

    def _take_in(self, place: int, event: Event) -> None:
        self._session.apply(place, event)
        if isinstance(event, SweepTaken):
            u_pm = self._session.gauges[event.tag.gauge].u_pm
            self.analyses[place] = analyse_trace(event.trace, u_pm)
        elif isinstance(event, JobOpened):
            # What a gauge measured before it left the bench keeps its uncertainty.
            for gauge in event.gauges:
                self._session.gauges.setdefault(gauge.id, gauge)


def head_is_due(done: Sequence[tuple[int, object]]) -> bool:
    """Tell whether a head must be published after these entries, given with their places.

    A release is signed at once, and kept outside the record too: it is what leaves the house.

    >>> [place for place in range(120) if head_is_due([(place, "event")])]
    [0, 50, 100]
    """
    released = any(isinstance(event, HeadReleased) for _, event in done)
    return released or (bool(done) and done[-1][0] % HEAD_EVERY < len(done))
