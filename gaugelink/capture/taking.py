"""Taking values and sweeps: what becomes of each value that a gauge sends."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Final

from gaugelink.capture.channel import BOUNCE_NS
from gaugelink.capture.desk import BROKEN_OFF
from gaugelink.capture.ledger import STOPPED
from gaugelink.capture.sweeping import SweepRecorder, analyse_trace
from gaugelink.capture.watch import Watch
from gaugelink.deeds import MODE_WORDS, SweepArrived, ValueArrived
from gaugelink.errors import SessionError
from gaugelink.events import BatteryTold, ReadingParked, SweepParked, ZeroDoubted
from gaugelink.head import zero_check_of
from gaugelink.standing import BATTERY

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from gaugelink.capture.cable import Cable
    from gaugelink.capture.channel import Channel
    from gaugelink.capture.desk import Desk
    from gaugelink.events import Event
    from gaugelink.metrology.sweep_result import Sweep as Analysis
    from gaugelink.wire.base import Value


RECORD_AGAIN: Final = "; the sweep is broken off, record it again"
ZERO_SET: Final = "its zero was set while it was in use"


@dataclass(slots=True)
class Taking:
    """The gauges of a bench, and what is wanted of them.

    Args:
        desk: where what comes of it goes on record.
        cables: the ports with the gauges behind them.

    Attributes:
        recorder: collects the sweep that is running; None when none is.
        watch: the triggers without a button.
        answered: is set when a gauge that can be asked has sent a value.
    """

    desk: Desk
    cables: Sequence[Cable]
    recorder: SweepRecorder | None = None
    watch: Watch = field(default_factory=Watch)
    answered: asyncio.Event = field(default_factory=asyncio.Event)

    # ---- what people do -------------------------------------------------------------------------

    def take(self, gauge: str) -> None:
        """Want the next value of a gauge that sends all the time, or ask one that waits for it.

        Raises:
            SessionError: the bench has no such gauge, it is lost, busy with a sweep, was asked or
                taken from only just now, or has a button of its own to be pressed.
            PortError: it cannot be asked.
        """
        cable, channel = self._find(gauge)
        title, request = channel.gauge.title, channel.request
        if self.recorder is not None and self.recorder.gauge == gauge:
            raise SessionError("a sweep is being recorded with this gauge; stop it first")
        if against := self.desk.session.against(gauge):
            raise SessionError(f"{title}: {against}")
        if channel.driver.sends == "when pressed":
            raise SessionError(f"{title} sends when its own button is pressed; press that")
        now_ns = self.desk.clock.mono_ns()
        awaited = channel.awaits(now_ns)
        if awaited and (channel.armed or not channel.polled):
            raise SessionError(f"{title} has been asked already; wait for its answer")
        if channel.taken is not None and now_ns - channel.taken[1] < BOUNCE_NS:
            raise SessionError(f"a value of {title} was taken only just now; once is enough")
        if request and not awaited:
            cable.port.write(request)
            channel.asked_ns, channel.polled = now_ns, False
        channel.armed = "asked"

    def to_poll(self) -> list[Channel]:
        """List the gauges that somebody is to see, and that show nothing unless they are asked."""
        step = self.desk.session.step
        if step is None or self.desk.stopping or not (self.watch.on or self.recorder):
            return []
        return [
            channel
            for cable, channel in self._all()
            if cable.here
            and channel.request
            and channel.driver.sends == "when asked"
            and channel.gauge.kind == step.gauge_kind
            and (self.recorder is None or self.recorder.gauge == channel.gauge.id)
        ]

    def poll(self, gauge: str) -> None:
        """Ask a gauge only to see what it shows.

        Raises:
            SessionError: the bench has no such gauge, or it is lost.
            PortError: it cannot be asked.
        """
        cable, channel = self._find(gauge)
        assert channel.request
        channel.asked_ns, channel.polled = self.desk.clock.mono_ns(), True
        cable.port.write(channel.request)

    def sweep_start(self) -> None:
        """Start recording the sweep that is asked for.

        Raises:
            SessionError: none is asked for, one is running, no gauge can do it, or the bench has
                been stopped.
        """
        session = self.desk.session
        step = session.step
        if self.desk.stopping:
            raise SessionError(STOPPED)
        if self.recorder is not None:
            raise SessionError("a sweep is running already; stop it first")
        if step is None or not step.sweep:
            raise SessionError("no sweep is asked for here")
        for cable, channel in self._all():
            if channel.gauge.kind == step.gauge_kind and cable.here:
                if against := session.standing.against_sweep(channel.gauge.id):
                    raise SessionError(f"{channel.gauge.title}: {against}")
                self.recorder = SweepRecorder(channel.gauge.id, session.cursor)
                self.desk.tell()
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
        self.desk.tell()
        if not recorder.values:
            raise SessionError("the gauge sent nothing during the sweep; look at its cable")
        trace = recorder.trace()
        analysis = analyse_trace(trace, self.desk.session.gauges[recorder.gauge].u_pm)
        flags = recorder.gaps + [flag.text for flag in analysis.flags]
        usable = analysis.usable
        if mode := recorder.wrong_mode():
            flags.insert(0, f"the gauge was {MODE_WORDS[mode]}; set it to show the actual value")
            usable = False
        if recorder.gauge in self.desk.session.standing.battery:
            flags.insert(0, BATTERY)
            usable = False
        command = SweepArrived(recorder.gauge, trace, recorder.raw(), usable, tuple(flags))
        await self.desk.carry_out(command, recorder.step)
        return analysis

    def disarm(self) -> None:
        """Want no more what was wanted for another place."""
        for _, channel in self._all():
            channel.armed = ""

    # ---- what gauges do -------------------------------------------------------------------------

    def came(
        self, channel: Channel, value: Value, mono_ns: int, cursor: int, *, late: bool = False
    ) -> Callable[[], list[Event]] | None:
        """Take in a value.

        Args:
            channel: the gauge that sent it.
            value: the value.
            mono_ns: when it came.
            cursor: the step that was asked for then.
            late: a newer one came with it; it may be older than what is wanted.

        Returns:
            What decides on the events that it leads to, to be called with the ledger's turn; None
            where it leads to none.
        """
        gauge, polled = channel.gauge.id, channel.answered()
        if channel.request:
            self.answered.set()
        self.desk.audience.live(gauge, value)
        if self._zero_is_set(channel, value, mono_ns):
            channel.armed = ""
            return partial(self._doubt_zero, gauge, self.break_off([gauge]))
        if self.recorder is not None and self.recorder.gauge == gauge:
            self.recorder.add(value, mono_ns)
            return None
        if late:
            return None
        if (
            (polled or channel.driver.sends == "all the time")
            and not channel.armed
            and not self._trigger(channel, value, mono_ns)
        ):
            return None
        why = channel.unwanted(value, mono_ns)
        trigger, channel.armed = channel.armed or "gauge", ""
        channel.taken = str(value.shown), mono_ns
        self.watch.taken(gauge, value)
        return partial(self._decide, gauge, value, trigger, why, cursor)

    def _decide(self, gauge: str, value: Value, trigger: str, why: str, cursor: int) -> list[Event]:
        session, stamp = self.desk.session, self.desk.stamp()
        if not why and cursor != session.cursor:
            why = "another position was asked for before it could be taken in"
        if why and value.mode == "actual":
            return [ReadingParked(stamp, gauge, value.shown, value.raw, why)]
        command = ValueArrived(gauge, value.shown, value.raw, value.mode, trigger)
        return session.decide(command, stamp)

    def battery(self, channel: Channel, low: bool, words: str) -> list[Event]:
        """Decide on what a gauge says of its battery; nothing where it is known."""
        gauge = channel.gauge.id
        if low == (gauge in self.desk.session.standing.battery):
            return []
        return [BatteryTold(self.desk.stamp(), gauge, low, words)]

    def _zero_is_set(self, channel: Channel, value: Value, mono_ns: int) -> bool:
        """Tell whether somebody set the zero; where that is asked for, it is right to do so."""
        if channel.driver.sends != "all the time":
            return False
        step = self.desk.session.step
        asked = step is not None and zero_check_of(step.position) is not None
        return channel.signs.zero_is_set(value, mono_ns) and not asked

    def _doubt_zero(self, gauge: str, broken: SweepRecorder | None) -> list[Event]:
        words = f"{ZERO_SET}{RECORD_AGAIN}" if broken else ZERO_SET
        return [ZeroDoubted(self.desk.stamp(), gauge, words), *self.parked(broken)]

    def _trigger(self, channel: Channel, value: Value, mono_ns: int) -> bool:
        """Watch the gauge that is asked for: take its value at rest, start a sweep as it moves."""
        gauge, step = channel.gauge.id, self.desk.session.step
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

    def gap(self, gauges: Sequence[str], flag: str) -> None:
        """Take note that something of these gauges is missing here; a sweep is flagged with it."""
        recorder = self.recorder
        if recorder is not None and recorder.gauge in gauges and flag not in recorder.gaps:
            recorder.gaps.append(flag)

    def break_off(self, gauges: Sequence[str]) -> SweepRecorder | None:
        """End the sweep that is running with one of these gauges, and give it."""
        recorder = self.recorder
        if recorder is None or recorder.gauge not in gauges:
            return None
        self.recorder = None
        return recorder

    def parked(self, broken: SweepRecorder | None) -> list[Event]:
        """Keep what had come of a sweep that was broken off; nothing if nothing had."""
        if broken is None or not broken.values:
            return []
        stamp, flags = self.desk.stamp(), tuple(broken.gaps)
        return [SweepParked(stamp, broken.gauge, broken.trace(), broken.raw(), flags, BROKEN_OFF)]

    def _all(self) -> Iterator[tuple[Cable, Channel]]:
        for cable in self.cables:
            for channel in cable.channels.values():
                yield cable, channel

    def _find(self, gauge: str) -> tuple[Cable, Channel]:
        if self.desk.stopping:
            raise SessionError(STOPPED)
        for cable, channel in self._all():
            if channel.gauge.id == gauge:
                if not cable.here:
                    raise SessionError(f"{channel.gauge.title} is lost; look at its cable")
                return cable, channel
        known = ", ".join(channel.gauge.id for _, channel in self._all())
        raise SessionError(f"found the gauge {gauge!r}, accepted: {known}")
