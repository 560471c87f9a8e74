"""The life of the cables: opened, lost, found again; and what they carry, taken in one by one."""

from __future__ import annotations

import asyncio
import contextlib
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any, Final, TypeVar

from gaugelink.capture.arrivals import Arrived, BatterySaid, Remark, Send
from gaugelink.capture.group import Group
from gaugelink.capture.ledger import STOPPED
from gaugelink.capture.taking import RECORD_AGAIN
from gaugelink.errors import GaugeLinkError, PortError, SessionError
from gaugelink.events import GaugeFound, GaugeLost, ZeroDoubted
from gaugelink.ports.port import Chunk, Lost

if TYPE_CHECKING:
    from collections.abc import Callable, Coroutine, Iterable, Sequence

    from gaugelink.capture.cable import Cable
    from gaugelink.capture.desk import Desk
    from gaugelink.capture.taking import Taking


Outcome = TypeVar("Outcome")

SWITCHED_ON: Final = (
    "the gauge was lost, and one of its kind sets its zero itself when it is switched on"
)

MOST_AT_ONCE: Final = 200
"""Portions of bytes that are taken in before what they led to is written."""


@dataclass(slots=True)
class Wiring:
    """The cables of a bench.

    Args:
        desk: where losses and returns go on record.
        taking: takes the values.
        cables: the ports with the gauges behind them.
    """

    desk: Desk
    taking: Taking
    cables: Sequence[Cable]
    _queue: asyncio.Queue[tuple[Cable, Chunk | Lost, int]] = field(default_factory=asyncio.Queue)
    _consumed: asyncio.Event = field(default_factory=asyncio.Event)
    _task: asyncio.Task[None] | None = None

    async def open_all(self, *, all_here: bool) -> None:
        """Open all ports at once, and take in what they send from now on.

        Gauges that need not wait for others are on record, and work, as soon as their port is open.

        Args:
            all_here: a port that cannot be opened is an error, and all gauges go on record in the
                order of the cables; else the gauges behind such a port are lost.

        Raises:
            PortError: one cannot be opened, and all must be here; none is on record as found.
            RecordError: it could not be written that a gauge is there, or is not.
        """
        self._task = asyncio.create_task(self._consume(), name="bench")
        if not self.cables:
            return
        # A thread for each: an address may take seconds to say that nobody is there, and a few of
        # them would keep all threads that the loop has.
        threads = ThreadPoolExecutor(len(self.cables), thread_name_prefix="opening")
        try:
            if all_here:
                open_now = await _together(self._open(cable, threads) for cable in self.cables)
                for cable, let_go in zip(self.cables, open_now, strict=True):
                    await self._announce(cable, let_go)
            else:
                await _together(self._connect_or_miss(cable, threads) for cable in self.cables)
        finally:
            threads.shutdown(wait=False)  # they have nothing to do any more, unless broken off

    async def connect(self, cable: Cable) -> None:
        """Open a port, and put on record that the gauges behind it are there.

        Raises:
            PortError: it cannot be opened, or what is there cannot be told how to sample.
            RecordError: it could not be written; the port is closed again.
        """
        await self._announce(cable, await self._open(cable))

    async def _connect_or_miss(self, cable: Cable, threads: ThreadPoolExecutor) -> None:
        try:
            await self._announce(cable, await self._open(cable, threads))
        except PortError as fault:
            await self._absent(cable, str(fault))

    async def _open(
        self, cable: Cable, threads: ThreadPoolExecutor | None = None
    ) -> Callable[[], None]:
        """Open a port, and give what lets through what it sends; until then it is held back.

        Raises:
            PortError: it cannot be opened.
        """
        loop = asyncio.get_running_loop()
        cable.restart(self.desk.clock.mono_ns())
        sink, let_go = self._sink(loop, cable)
        await loop.run_in_executor(threads, cable.port.open, sink)
        cable.here = True
        return let_go

    async def _announce(self, cable: Cable, let_go: Callable[[], None]) -> None:
        """Put on record that the gauges behind an open port are there, and let them send.

        Raises:
            PortError: what is there cannot be told how to sample; the port is closed again.
            RecordError: it could not be written; the port is closed again.
        """
        try:
            if self.desk.stopping:  # whoever closed all ports found this one not open yet
                raise SessionError(STOPPED)
            if cable.greeting:
                cable.port.write(cable.greeting)
            async with self.desk.ledger.turn:
                stamp, name = self.desk.stamp(), cable.port.name
                back = self.desk.session.lost
                found = [GaugeFound(stamp, item.gauge.id, name) for item in cable.channels.values()]
                doubted = [
                    ZeroDoubted(stamp, item.gauge.id, SWITCHED_ON)
                    for item in cable.channels.values()
                    if item.gauge.id in back and item.driver.about.zero != "kept"
                ]
                await self.desk.commit([*found, *doubted])
        except GaugeLinkError:
            # Nothing that they send may count before the record knows that they are there.
            cable.here = False
            await asyncio.to_thread(cable.port.close)
            raise
        let_go()

    async def _absent(self, cable: Cable, why: str) -> None:
        """Put on record that the gauges behind a port are not there, and let the others work."""
        async with self.desk.ledger.turn:
            stamp, lost = self.desk.stamp(), self.desk.session.lost
            marks = [item.gauge.id for item in cable.channels.values() if item.gauge.id not in lost]
            await self.desk.commit([GaugeLost(stamp, mark, cable.port.name, why) for mark in marks])
        are = "are" if cable.several else "is"
        self.desk.audience.say("warning", f"{cable.titles} {are} not here: {why}")

    async def close_all(self) -> None:
        """Close all ports, and take in what had come before."""
        await asyncio.gather(*(asyncio.to_thread(cable.port.close) for cable in self.cables))
        task, self._task = self._task, None
        if task is not None:
            await self._queue.join()
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)

    async def heard(self, cable: Cable, count: int) -> None:
        """Wait until so many bytes have been taken in, and what they led to is done."""
        while cable.here and cable.bytes_in < count:
            self._consumed.clear()
            await self._consumed.wait()
        await self._queue.join()

    def _sink(
        self, loop: asyncio.AbstractEventLoop, cable: Cable
    ) -> tuple[Callable[[Chunk | Lost], None], Callable[[], None]]:
        """Make what a port's thread hands everything to, and what lets it through.

        Before that it is held back: the record has to know first that the gauges are there.
        """
        held: list[tuple[Cable, Chunk | Lost, int]] | None = []

        def came(item: Chunk | Lost) -> None:
            # A value belongs to what was asked for when it came, not when its turn comes.
            entry = cable, item, self.desk.session.cursor
            if held is None:
                self._queue.put_nowait(entry)
            else:
                held.append(entry)

        def sink(item: Chunk | Lost) -> None:
            with contextlib.suppress(RuntimeError):  # the loop is closed: nobody is left to tell
                loop.call_soon_threadsafe(came, item)

        def let_go() -> None:
            nonlocal held
            waiting, held = held or [], None
            for entry in waiting:
                self._queue.put_nowait(entry)

        return sink, let_go

    async def _consume(self) -> None:
        """Take in what the ports send, for ever. One bad value must not end it."""
        while True:
            waiting = [await self._queue.get()]
            # What came while the disk was busy goes into one transaction.
            while not self._queue.empty() and len(waiting) < MOST_AT_ONCE:
                waiting.append(self._queue.get_nowait())
            group = Group(self.desk)
            for cable, item, cursor in waiting:
                try:
                    if isinstance(item, Lost):
                        await group.write()
                        await self._lost(cable, item)
                    else:
                        await self._chunk(cable, item, cursor, group)
                except Exception as fault:  # noqa: BLE001  see above
                    self.desk.complain(f"what {cable.titles} sent could not be taken in", fault)
            await group.write()
            for _ in waiting:
                self._queue.task_done()
            self._consumed.set()

    async def _chunk(self, cable: Cable, chunk: Chunk, cursor: int, group: Group) -> None:
        link = cable.link
        for found in cable.feed(chunk.data, chunk.mono_ns):
            words = f"what {cable.port.name} has to say could not be told"
            try:
                match found:
                    case BatterySaid(channel, low, said):
                        words = f"what {channel.gauge.title} says of its battery is not on record"
                        await group.add(partial(self.taking.battery, channel, low, said), words)
                    case Arrived(channel, value, late):
                        words = f"{value.shown} from {channel.gauge.title} is not on record"
                        came = self.taking.came(channel, value, chunk.mono_ns, cursor, late=late)
                        if came is not None:
                            await group.add(came, words)
                    case Remark():
                        self.taking.gap(found.gauges, found.flag)
                        if found.words:
                            self.desk.audience.say("warning", found.words)
                    case Send(data):
                        words = f"what is on {cable.port.name} could not be told how to sample"
                        cable.port.write(data)
            except Exception as fault:  # noqa: BLE001  the next one must not go with it
                self.desk.complain(words, fault)
        if cable.link != link:
            self.desk.tell()

    async def _lost(self, cable: Cable, item: Lost) -> None:
        cable.here = False
        cable.restart(item.mono_ns)
        are = "are" if cable.several else "is"
        broken = self.taking.break_off([item.gauge.id for item in cable.channels.values()])
        words = f"{cable.titles} {are} lost: {item.why}{RECORD_AGAIN if broken else ''}"
        # A port that stays open would keep its name, and the gauge would come back under another.
        await asyncio.to_thread(cable.port.close)
        try:
            async with self.desk.ledger.turn:
                stamp, name = self.desk.stamp(), cable.port.name
                lost = [
                    GaugeLost(stamp, channel.gauge.id, name, item.why)
                    for channel in cable.channels.values()
                ]
                await self.desk.commit([*lost, *self.taking.parked(broken)])
        finally:
            self.desk.audience.say("warning", words)


async def _together(work: Iterable[Coroutine[Any, Any, Outcome]]) -> list[Outcome]:
    """See all of it through at the same time; then raise the first fault, in order, if any."""
    outcomes = await asyncio.gather(*work, return_exceptions=True)
    for outcome in outcomes:
        if isinstance(outcome, BaseException):
            raise outcome
    return [outcome for outcome in outcomes if not isinstance(outcome, BaseException)]
