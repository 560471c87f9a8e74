"""The bench at work: decoders over ports, the session between them and the record.

Everything that happens goes the same way: decide, write to the record, and only then take it in and
tell people. One lock keeps that order; one thread does all writing, so that a slow disk never stops
the gauges from being read.
"""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Protocol

from gaugelink.capture.sweeping import SweepRecorder, analyse_trace
from gaugelink.errors import PortError, SessionError
from gaugelink.events import (
    Event,
    GaugeFound,
    GaugeLost,
    JobJudged,
    JobOpened,
    SweepTaken,
    from_document,
    to_document,
)
from gaugelink.ports.port import Chunk, Lost
from gaugelink.reading import Stamp
from gaugelink.session import MODE_WORDS, Command, Session, SweepArrived, ValueArrived

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from gaugelink.capture.channel import Channel
    from gaugelink.capture.clock import Clock
    from gaugelink.metrology.sweep_result import Sweep as Analysis
    from gaugelink.record import Entry, Store
    from gaugelink.wire.base import Value

HEAD_EVERY: Final = 50
"""A signed head is published at least after so many events."""


class Audience(Protocol):
    """Whoever is told: a page, a terminal, a test."""

    def live(self, gauge: str, value: Value) -> None:
        """A gauge shows a new figure."""
        ...

    def changed(self) -> None:
        """Something else is new: a reading is on disk, a gauge is lost, another place is next."""
        ...

    def say(self, level: str, words: str) -> None:
        """A sentence for the operator; level is ``note`` or ``warning``."""
        ...


@dataclass(slots=True)
class Bench:
    """A bench with one job on it.

    Args:
        session: the capture session; fed from the record before anything else happens.
        store: the record, open for writing.
        clock: the bench's clocks.
        channels: the gauges by their mark.
        operator: who works here now.
        name: the bench's name.
        audience: who is told.
    """

    session: Session
    store: Store
    clock: Clock
    channels: dict[str, Channel]
    operator: str
    name: str
    audience: Audience
    recorder: SweepRecorder | None = None
    analyses: dict[int, Analysis] = field(default_factory=dict)
    version: int = 0
    _queue: asyncio.Queue[tuple[Channel, Chunk | Lost]] = field(default_factory=asyncio.Queue)
    _lock: asyncio.Lock = field(default_factory=asyncio.Lock)
    _moved: asyncio.Event = field(default_factory=asyncio.Event)
    _consumed: asyncio.Event = field(default_factory=asyncio.Event)
    _writer: ThreadPoolExecutor = field(
        default_factory=lambda: ThreadPoolExecutor(1, thread_name_prefix="record writer")
    )
    _task: asyncio.Task[None] | None = None

    # ---- life -----------------------------------------------------------------------------------

    async def start(self, opened: Callable[[Stamp], JobOpened] | None) -> None:
        """Take in what the record holds, open a job if one is given, and open the ports.

        Raises:
            PortError: a port cannot be opened; those already open are closed again.
            RecordError: the record cannot be written.
        """
        for entry in self.store.entries():
            self._take_in(entry.place, from_document(entry.document))
        if opened is not None:
            await self._commit([opened(self.stamp())])
            await self._publish_head()
        loop = asyncio.get_running_loop()
        self._task = asyncio.create_task(self._consume(), name="bench")
        try:
            for channel in self.channels.values():
                channel.restart(self.clock.mono_ns())
                channel.port.open(self._sink(loop, channel))
                channel.here = True
                await self._commit([GaugeFound(self.stamp(), channel.gauge.id, channel.port.name)])
        except PortError:
            await self.stop()
            raise

    async def stop(self) -> None:
        """Close the ports, write what is still under way, publish a head."""
        for channel in self.channels.values():
            await asyncio.to_thread(channel.port.close)
        if self._task is not None:
            await self._queue.join()
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)
            self._task = None
        if self.store.size:
            await self._publish_head()
        self._writer.shutdown()

    def stamp(self) -> Stamp:
        """Say who, where and when, now."""
        return Stamp(self.clock.utc(), self.clock.mono_ns(), self.operator, self.name)

    async def next_change(self, seen: int) -> int:
        """Wait until the bench's version is newer than the one seen, and give it."""
        while self.version == seen:
            self._moved.clear()
            await self._moved.wait()
        return self.version

    async def heard(self, gauge: str, count: int) -> None:
        """Wait until so many bytes of a gauge have been taken in, and what they led to is done."""
        channel = self.channels[gauge]
        while channel.here and channel.bytes_in < count:
            self._consumed.clear()
            await self._consumed.wait()
        await self._queue.join()

    # ---- what people do -------------------------------------------------------------------------

    async def do(self, command: Command) -> list[tuple[int, Event]]:
        """Carry out a command. On return its events are on disk.

        Returns:
            The events with their places in the record.

        Raises:
            SessionError: it cannot be done now; nothing was written.
        """
        async with self._lock:
            return await self._carry_out(command)

    def take(self, gauge: str) -> None:
        """Want the next value of a gauge that sends all the time, or ask one that waits for it.

        Raises:
            SessionError: the bench has no such gauge, or it is lost.
            PortError: it cannot be asked.
        """
        channel = self._channel(gauge)
        channel.armed = "asked"
        if request := channel.driver.request:
            channel.port.write(request)

    def sweep_start(self) -> None:
        """Start recording the sweep that is asked for.

        Raises:
            SessionError: none is asked for, one is running, or no gauge can do it.
        """
        step = self.session.step
        if self.recorder is not None:
            raise SessionError("a sweep is running already; stop it first")
        if step is None or not step.sweep:
            raise SessionError("no sweep is asked for here")
        for channel in self.channels.values():
            if channel.gauge.kind == step.gauge_kind and channel.here:
                self.recorder = SweepRecorder(channel.gauge.id, self.session.cursor)
                self._tell()
                return
        raise SessionError(f"no {step.gauge_kind} is connected; connect one to record the sweep")

    async def sweep_stop(self) -> Analysis:
        """Stop recording, analyse, and put the sweep on record. On return it is on disk.

        Raises:
            SessionError: no sweep is running, or nothing came.
        """
        recorder, self.recorder = self.recorder, None
        if recorder is None:
            raise SessionError("no sweep is running")
        self._tell()
        if not recorder.values:
            raise SessionError("the gauge sent nothing during the sweep; look at its cable")
        trace = recorder.trace()
        gauge = self.channels[recorder.gauge].gauge
        analysis = analyse_trace(trace, gauge.u_pm)
        flags = [flag.text for flag in analysis.flags]
        usable = analysis.usable
        if mode := recorder.wrong_mode():
            flags.insert(0, f"the gauge was {MODE_WORDS[mode]}; set it to show the actual value")
            usable = False
        async with self._lock:
            if self.session.cursor != recorder.step:
                raise SessionError("another position was chosen while the sweep was running")
            await self._carry_out(
                SweepArrived(recorder.gauge, trace, recorder.raw(), usable, tuple(flags))
            )
        return analysis

    async def record_verdicts(self, judged: JobJudged) -> int:
        """Put the verdicts on record and publish a head.

        Returns:
            Their place in the record.
        """
        async with self._lock:
            [(place, _)] = await self._commit([judged])
            await self._publish_head()
        return place

    def moved(self) -> None:
        """Note that the cursor was moved by hand."""
        self._tell()

    # ---- what gauges do -------------------------------------------------------------------------

    def _sink(
        self, loop: asyncio.AbstractEventLoop, channel: Channel
    ) -> Callable[[Chunk | Lost], None]:
        def sink(item: Chunk | Lost) -> None:
            loop.call_soon_threadsafe(self._queue.put_nowait, (channel, item))

        return sink

    async def _consume(self) -> None:
        while True:
            channel, item = await self._queue.get()
            try:
                if isinstance(item, Lost):
                    await self._lost(channel, item)
                else:
                    for value in channel.feed(item.data, item.mono_ns):
                        await self._came(channel, value, item.mono_ns)
            finally:
                self._queue.task_done()
                self._consumed.set()

    async def _came(self, channel: Channel, value: Value, mono_ns: int) -> None:
        gauge = channel.gauge.id
        self.audience.live(gauge, value)
        if self.recorder is not None and self.recorder.gauge == gauge:
            self.recorder.add(value, mono_ns)
            return
        if channel.driver.sends == "all the time" and not channel.armed:
            return
        trigger, channel.armed = channel.armed or "gauge", ""
        command = ValueArrived(gauge, value.shown, value.raw, value.mode, trigger)
        async with self._lock:
            await self._carry_out(command)

    async def _lost(self, channel: Channel, item: Lost) -> None:
        channel.here = False
        channel.restart(item.mono_ns)
        if self.recorder is not None and self.recorder.gauge == channel.gauge.id:
            self.recorder = None
        async with self._lock:
            await self._commit(
                [GaugeLost(self.stamp(), channel.gauge.id, channel.port.name, item.why)]
            )
        self.audience.say("warning", f"{channel.gauge.title} is lost: {item.why}")

    # ---- the one way into the record ------------------------------------------------------------

    async def _carry_out(self, command: Command) -> list[tuple[int, Event]]:
        return await self._commit(self.session.decide(command, self.stamp()))

    async def _commit(self, events: Sequence[Event]) -> list[tuple[int, Event]]:
        documents = [to_document(event) for event in events]
        loop = asyncio.get_running_loop()
        entries: list[Entry] = await loop.run_in_executor(
            self._writer, self.store.append, documents
        )
        done = [(entry.place, event) for entry, event in zip(entries, events, strict=True)]
        for place, event in done:
            self._take_in(place, event)
        if done and done[-1][0] % HEAD_EVERY < len(done):
            await self._publish_head()
        self._tell()
        return done

    async def _publish_head(self) -> None:
        loop = asyncio.get_running_loop()
        await loop.run_in_executor(self._writer, self.store.publish_head, self.clock.utc())

    def _take_in(self, place: int, event: Event) -> None:
        self.session.apply(place, event)
        if isinstance(event, SweepTaken):
            u_pm = self.session.gauges[event.tag.gauge].u_pm
            self.analyses[place] = analyse_trace(event.trace, u_pm)

    def _channel(self, gauge: str) -> Channel:
        channel = self.channels.get(gauge)
        if channel is None:
            known = ", ".join(self.channels)
            raise SessionError(f"found the gauge {gauge!r}, accepted: {known}")
        if not channel.here:
            raise SessionError(f"{channel.gauge.title} is lost; look at its cable")
        return channel

    def _tell(self) -> None:
        self.version += 1
        self._moved.set()
        self.audience.changed()
