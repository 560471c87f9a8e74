"""The bench at work: decoders over ports, the session between them and the record.

Everything that happens goes the same way: decide, write to the record, and only then take it in and
tell people. `gaugelink.capture.ledger` keeps that order.
"""

from __future__ import annotations

import asyncio
import contextlib
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING

from gaugelink.capture.channel import ANSWER_NS, BOUNCE_NS
from gaugelink.capture.ledger import STOPPED, Ledger, head_is_due
from gaugelink.capture.sweeping import SweepRecorder, analyse_trace
from gaugelink.capture.watch import Watch
from gaugelink.deeds import MODE_WORDS, Command, SweepArrived, ValueArrived
from gaugelink.errors import GaugeLinkError, RecordError, SessionError
from gaugelink.events import (
    Event,
    GaugeFound,
    GaugeLost,
    JobJudged,
    JobOpened,
    ReadingParked,
    ReadingRefused,
)
from gaugelink.ports.port import Chunk, Lost
from gaugelink.reading import Stamp
from gaugelink.session import UNCONFIRMED, Session

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from gaugelink.capture.audience import Audience
    from gaugelink.capture.channel import Channel
    from gaugelink.capture.clock import Clock
    from gaugelink.metrology.sweep_result import Sweep as Analysis
    from gaugelink.record import Store
    from gaugelink.wire.base import Value

CONFIRM = "confirm that it is at the position asked for; until then what it sends goes to the tray"


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

    Attributes:
        recorder: collects the sweep that is running; None when none is.
        version: how often something has changed.
    """

    session: Session
    store: Store
    clock: Clock
    channels: dict[str, Channel]
    operator: str
    name: str
    audience: Audience
    recorder: SweepRecorder | None = None
    watch: Watch = field(default_factory=Watch)
    version: int = 0
    _queue: asyncio.Queue[tuple[Channel, Chunk | Lost, int]] = field(default_factory=asyncio.Queue)
    _moved: asyncio.Event = field(default_factory=asyncio.Event)
    _consumed: asyncio.Event = field(default_factory=asyncio.Event)
    _task: asyncio.Task[None] | None = None
    _stopping: bool = False
    _ledger: Ledger = field(init=False)

    def __post_init__(self) -> None:
        """Make the way into the record."""
        self._ledger = Ledger(self.session, self.store, self.clock)

    @property
    def analyses(self) -> dict[int, Analysis]:
        """The analysis of each sweep by its place in the record."""
        return self._ledger.analyses

    @property
    def size(self) -> int:
        """Entries of the record that the session has taken in."""
        return self._ledger.size

    @property
    def root(self) -> bytes:
        """Root of the record's tree over these entries."""
        return self._ledger.root

    # ---- life -----------------------------------------------------------------------------------

    async def start(self, opened: Callable[[Stamp], JobOpened] | None) -> None:
        """Take in what the record holds, open a job if one is given, and open the ports.

        Raises:
            PortError: a port cannot be opened; those already open are closed again.
            RecordError: the record cannot be read or written.
            SessionError: the record holds something that this plan has no step for.
        """
        try:
            self._ledger.read()
            if opened is not None:
                async with self._ledger.turn:
                    await self._commit([opened(self.stamp())])
            self._task = asyncio.create_task(self._consume(), name="bench")
            for channel in self.channels.values():
                await self._connect(channel)
        except BaseException:
            with contextlib.suppress(GaugeLinkError):  # the first fault is the one that is told
                await self.stop()
            raise

    async def found(self, gauge: str, name: str) -> None:
        """Take a lost gauge back that has been found on a port, whatever that is called now.

        Its values go to the tray until somebody has confirmed the position.

        Raises:
            PortError: the port cannot be opened; the gauge stays lost.
            RecordError: it could not be written; the gauge stays lost.
        """
        channel = self.channels[gauge]
        assert channel.plug is not None
        assert not channel.here
        if self._stopping:
            return
        channel.port = channel.plug(name)
        await self._ledger.to_the_end(self._connect(channel), self._undone)
        self.audience.say("warning", f"{channel.gauge.title} is back on {name}: {CONFIRM}")

    async def _connect(self, channel: Channel) -> None:
        channel.restart(self.clock.mono_ns())
        channel.port.open(self._sink(asyncio.get_running_loop(), channel))
        channel.here = True
        try:
            async with self._ledger.turn:
                await self._commit([GaugeFound(self.stamp(), channel.gauge.id, channel.port.name)])
        except GaugeLinkError:
            # Nothing that it sends may count before the record knows that it is there.
            channel.here = False
            await asyncio.to_thread(channel.port.close)
            raise

    async def stop(self) -> None:
        """Close the ports, write what is still under way, publish a head. Twice does nothing.

        Raises:
            RecordError: no head could be published; all else is done.
        """
        if self._stopping:
            return
        self._stopping = True
        ports = [channel.port for channel in self.channels.values()]
        await asyncio.gather(*(asyncio.to_thread(port.close) for port in ports))
        task, self._task = self._task, None
        if task is not None:
            await self._queue.join()
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
        await self._ledger.close()

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
        return await self._ledger.to_the_end(self._carry_out(command), self._undone)

    def take(self, gauge: str) -> None:
        """Want the next value of a gauge that sends all the time, or ask one that waits for it.

        Raises:
            SessionError: the bench has no such gauge, it is lost, busy with a sweep, was asked or
                taken from only just now, or has a button of its own to be pressed.
            PortError: it cannot be asked.
        """
        channel = self._channel(gauge)
        title, request = channel.gauge.title, channel.driver.request
        if self.recorder is not None and self.recorder.gauge == gauge:
            raise SessionError("a sweep is being recorded with this gauge; stop it first")
        if gauge in self.session.unconfirmed:
            raise SessionError(f"{title}: {UNCONFIRMED}")
        if channel.driver.sends == "when pressed":
            raise SessionError(f"{title} sends when its own button is pressed; press that")
        now_ns = self.clock.mono_ns()
        if request and channel.armed and now_ns - channel.asked_ns < ANSWER_NS:
            raise SessionError(f"{title} has been asked already; wait for its answer")
        if channel.taken is not None and now_ns - channel.taken[1] < BOUNCE_NS:
            raise SessionError(f"a value of {title} was taken only just now; once is enough")
        if request:
            channel.port.write(request)
        channel.armed, channel.asked_ns = "asked", now_ns

    def sweep_start(self) -> None:
        """Start recording the sweep that is asked for.

        Raises:
            SessionError: none is asked for, one is running, no gauge can do it, or the bench has
                been stopped.
        """
        step = self.session.step
        if self._stopping:
            raise SessionError(STOPPED)
        if self.recorder is not None:
            raise SessionError("a sweep is running already; stop it first")
        if step is None or not step.sweep:
            raise SessionError("no sweep is asked for here")
        for channel in self.channels.values():
            if channel.gauge.kind == step.gauge_kind and channel.here:
                if channel.gauge.id in self.session.unconfirmed:
                    raise SessionError(f"{channel.gauge.title}: {UNCONFIRMED}")
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
        command = SweepArrived(recorder.gauge, trace, recorder.raw(), usable, tuple(flags))
        await self._ledger.to_the_end(self._carry_out(command, recorder.step), self._undone)
        return analysis

    async def record_verdicts(self, judged: JobJudged) -> int:
        """Put the verdicts on record and publish a head.

        Returns:
            Their place in the record.
        """
        return await self._ledger.to_the_end(self._record_verdicts(judged), self._undone)

    async def _record_verdicts(self, judged: JobJudged) -> int:
        async with self._ledger.turn:
            [(place, _)] = await self._commit([judged])
            await self._ledger.publish_head()
        return place

    async def go(self, step: int) -> None:
        """Ask for a step of the plan, whatever its state.

        Raises:
            SessionError: there is no such step.
        """
        async with self._ledger.turn:
            self.session.go(step)
            self.moved()

    async def back(self) -> None:
        """Ask for the step before the one asked for now.

        Raises:
            SessionError: this is the first step.
        """
        async with self._ledger.turn:
            self.session.back()
            self.moved()

    def moved(self) -> None:
        """Note that the cursor was moved by hand."""
        self._disarm()
        self._tell()

    def watch_gauges(self, *, on: bool) -> None:
        """Take values at rest and start sweeps by motion, or no longer."""
        self.watch.switch(on=on)
        self._tell()

    # ---- what gauges do -------------------------------------------------------------------------

    def _sink(
        self, loop: asyncio.AbstractEventLoop, channel: Channel
    ) -> Callable[[Chunk | Lost], None]:
        def came(item: Chunk | Lost) -> None:
            # A value belongs to what was asked for when it came, not when its turn comes.
            self._queue.put_nowait((channel, item, self.session.cursor))

        def sink(item: Chunk | Lost) -> None:
            with contextlib.suppress(RuntimeError):  # the loop is closed: nobody is left to tell
                loop.call_soon_threadsafe(came, item)

        return sink

    async def _consume(self) -> None:
        """Take in what the ports send, for ever. One bad value must not end it."""
        while True:
            channel, item, cursor = await self._queue.get()
            title = channel.gauge.title
            try:
                if isinstance(item, Lost):
                    await self._lost(channel, item)
                else:
                    for value in channel.feed(item.data, item.mono_ns):
                        try:
                            await self._came(channel, value, item.mono_ns, cursor)
                        except Exception as fault:  # noqa: BLE001  see above
                            self._complain(f"{value.shown} from {title} is not on record", fault)
            except Exception as fault:  # noqa: BLE001  see above
                self._complain(f"what {title} sent could not be taken in", fault)
            finally:
                self._queue.task_done()
                self._consumed.set()

    async def _came(self, channel: Channel, value: Value, mono_ns: int, cursor: int) -> None:
        gauge = channel.gauge.id
        self.audience.live(gauge, value)
        if self.recorder is not None and self.recorder.gauge == gauge:
            self.recorder.add(value, mono_ns)
            return
        if (
            channel.driver.sends == "all the time"
            and not channel.armed
            and not self._trigger(channel, value, mono_ns)
        ):
            return
        why = channel.unwanted(value, mono_ns)
        trigger, channel.armed = channel.armed or "gauge", ""
        channel.taken = str(value.shown), mono_ns
        self.watch.taken(gauge, value)
        async with self._ledger.turn:
            stamp = self.stamp()
            if not why and cursor != self.session.cursor:
                why = "another position was asked for before it could be taken in"
            if why and value.mode == "actual":
                await self._commit([ReadingParked(stamp, gauge, value.shown, value.raw, why)])
            else:
                command = ValueArrived(gauge, value.shown, value.raw, value.mode, trigger)
                await self._commit(self.session.decide(command, stamp))

    def _trigger(self, channel: Channel, value: Value, mono_ns: int) -> bool:
        """Watch the gauge that is asked for: take its value at rest, start a sweep as it moves."""
        gauge, step = channel.gauge.id, self.session.step
        if step is None or channel.gauge.kind != step.gauge_kind:
            return False
        if not step.sweep:
            if self.watch.rests(gauge, value, mono_ns):
                channel.armed = "at rest"
            return bool(channel.armed)
        if before := self.watch.moves(gauge, value, mono_ns):
            self.sweep_start()
            assert self.recorder is not None
            for came_ns, sample in before:
                self.recorder.add(sample, came_ns)
        return False

    async def _lost(self, channel: Channel, item: Lost) -> None:
        channel.here = False
        channel.restart(item.mono_ns)
        words = f"{channel.gauge.title} is lost: {item.why}"
        if self.recorder is not None and self.recorder.gauge == channel.gauge.id:
            self.recorder = None
            words += "; the sweep is broken off, record it again"
        # A port that stays open would keep its name, and the gauge would come back under another.
        await asyncio.to_thread(channel.port.close)
        try:
            async with self._ledger.turn:
                await self._commit(
                    [GaugeLost(self.stamp(), channel.gauge.id, channel.port.name, item.why)]
                )
        finally:
            self.audience.say("warning", words)

    def _complain(self, words: str, fault: Exception) -> None:
        """Tell that something was not taken in; the bench goes on."""
        loop = asyncio.get_running_loop()
        if not isinstance(fault, GaugeLinkError):
            loop.call_exception_handler({"message": words, "exception": fault})
        sentence = f"{words}: {str(fault) or type(fault).__name__}"
        for tell in (partial(self.audience.say, "warning", sentence), self._tell):
            try:
                tell()
            except Exception as silenced:  # noqa: BLE001  even if nobody can be told
                loop.call_exception_handler({"message": sentence, "exception": silenced})

    # ---- the one way into the record ------------------------------------------------------------

    async def _carry_out(
        self, command: Command, step: int | None = None
    ) -> list[tuple[int, Event]]:
        async with self._ledger.turn:
            if step not in {None, self.session.cursor}:
                raise SessionError("another position was chosen while the sweep was running")
            return await self._commit(self.session.decide(command, self.stamp()))

    async def _commit(self, events: Sequence[Event]) -> list[tuple[int, Event]]:
        """Write events, take them in, tell. Whoever calls this has the turn."""
        cursor = self.session.cursor
        done = await self._ledger.commit(events)
        if self.session.cursor != cursor:
            self._disarm()
        self._tell()
        for _, event in done:
            if isinstance(event, ReadingParked):
                self.audience.say("warning", f"{event.shown} is in the tray: {event.why}")
            elif isinstance(event, ReadingRefused):
                self.audience.say("warning", f"{event.shown} was refused: {event.why}")
        if head_is_due(done):
            try:
                await self._ledger.publish_head()
            except RecordError as fault:
                # The events are on disk and sealed all the same.
                self.audience.say("warning", f"no signed head could be published: {fault}")
        return done

    def _undone(self, fault: Exception) -> None:
        self._complain("what was asked for before the page went away was not done", fault)

    def _channel(self, gauge: str) -> Channel:
        channel = self.channels.get(gauge)
        if self._stopping:
            raise SessionError(STOPPED)
        if channel is None:
            known = ", ".join(self.channels)
            raise SessionError(f"found the gauge {gauge!r}, accepted: {known}")
        if not channel.here:
            raise SessionError(f"{channel.gauge.title} is lost; look at its cable")
        return channel

    def _disarm(self) -> None:
        """Want no more what was wanted for another place."""
        for channel in self.channels.values():
            channel.armed = ""

    def _tell(self) -> None:
        self.version += 1
        self._moved.set()
        self.audience.changed()
