"""The bench at work: cables, the session between them and the record.

Everything that happens goes the same way: decide, write to the record, and only then take it in and
tell people. `gaugelink.capture.ledger` keeps that order, `gaugelink.capture.desk` tells people,
`gaugelink.capture.wiring` keeps the cables, and `gaugelink.capture.taking` takes the values.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gaugelink.capture.desk import Desk
from gaugelink.capture.taking import Taking
from gaugelink.capture.wiring import Wiring
from gaugelink.errors import GaugeLinkError, InputError

if TYPE_CHECKING:
    import asyncio
    from collections.abc import Callable, Sequence

    from gaugelink.capture.audience import Audience
    from gaugelink.capture.cable import Cable
    from gaugelink.capture.channel import Channel
    from gaugelink.capture.clock import Clock
    from gaugelink.capture.sweeping import SweepRecorder
    from gaugelink.capture.watch import Watch
    from gaugelink.deeds import Command
    from gaugelink.events import Event, JobJudged, JobOpened
    from gaugelink.metrology.sweep_result import Sweep as Analysis
    from gaugelink.reading import Stamp
    from gaugelink.record import Store
    from gaugelink.session import Session

CONFIRM = "confirm that it is at the position asked for; until then what it sends goes to the tray"
CONFIRM_ALL = (
    "confirm that they are where they are asked for; until then what they send goes to the tray"
)


@dataclass(slots=True)
class Bench:
    """A bench with one job on it.

    Args:
        session: the capture session; fed from the record before anything else happens.
        store: the record, open for writing.
        clock: the bench's clocks.
        cables: the ports with the gauges behind them.
        operator: who works here now.
        name: the bench's name.
        audience: who is told.

    Attributes:
        channels: the gauges by their mark.

    Raises:
        InputError: the same gauge is on two cables.
    """

    session: Session
    store: Store
    clock: Clock
    cables: Sequence[Cable]
    operator: str
    name: str
    audience: Audience
    channels: dict[str, Channel] = field(init=False)
    _cable: dict[str, Cable] = field(init=False)
    _desk: Desk = field(init=False)
    _taking: Taking = field(init=False)
    _wiring: Wiring = field(init=False)

    def __post_init__(self) -> None:
        """Make the way from the gauges into the record."""
        self.channels, self._cable = {}, {}
        for cable in self.cables:
            for channel in cable.channels.values():
                mark = channel.gauge.id
                if mark in self.channels:
                    names = f"{self._cable[mark].port.name} and {cable.port.name}"
                    raise InputError(f"the gauge {mark} is on {names}, accepted: one port")
                self.channels[mark], self._cable[mark] = channel, cable
        self._desk = Desk(
            self.session, self.store, self.clock, self.operator, self.name, self.audience
        )
        self._taking = Taking(self._desk, self.cables)
        self._desk.on_moved = self._taking.disarm
        self._wiring = Wiring(self._desk, self._taking, self.cables)

    # ---- what there is --------------------------------------------------------------------------

    @property
    def version(self) -> int:
        """How often something has changed."""
        return self._desk.version

    @property
    def recorder(self) -> SweepRecorder | None:
        """What collects the sweep that is running; None when none is."""
        return self._taking.recorder

    @property
    def watch(self) -> Watch:
        """The triggers without a button."""
        return self._taking.watch

    @property
    def analyses(self) -> dict[int, Analysis]:
        """The analysis of each sweep by its place in the record."""
        return self._desk.ledger.analyses

    @property
    def size(self) -> int:
        """Entries of the record that the session has taken in."""
        return self._desk.ledger.size

    @property
    def root(self) -> bytes:
        """Root of the record's tree over these entries."""
        return self._desk.ledger.root

    @property
    def answered(self) -> asyncio.Event:
        """Is set when a gauge that can be asked has sent a value."""
        return self._taking.answered

    def to_poll(self) -> list[Channel]:
        """List the gauges that somebody is to see, and that show nothing unless they are asked."""
        return self._taking.to_poll()

    def cable_of(self, gauge: str) -> Cable:
        """Give the cable that a gauge of this bench is behind."""
        return self._cable[gauge]

    # ---- life -----------------------------------------------------------------------------------

    async def start(
        self, opened: Callable[[Stamp], JobOpened] | None, *, all_here: bool = True
    ) -> None:
        """Take in what the record holds, open a job if one is given, and open the ports.

        Args:
            opened: makes the event that opens the job; None goes on with the one on record.
            all_here: a port that cannot be opened is an error; else the gauges behind it are lost,
                which is told, and the others work.

        Raises:
            PortError: a port cannot be opened; those already open are closed again.
            RecordError: the record cannot be read or written.
            SessionError: the record holds something that this plan has no step for.
        """
        desk = self._desk
        try:
            desk.ledger.read()
            if opened is not None:
                async with desk.ledger.turn:
                    await desk.commit([opened(self.stamp())])
            await self._wiring.open_all(all_here=all_here)
        except BaseException:
            with contextlib.suppress(GaugeLinkError):  # the first fault is the one that is told
                await self.stop()
            raise

    async def found(self, cable: Cable, name: str) -> None:
        """Take a lost cable back that has been found on a port, whatever that is called now.

        The values of its gauges go to the tray until somebody has confirmed the position.

        Raises:
            PortError: the port cannot be opened; the gauges stay lost.
            RecordError: it could not be written; the gauges stay lost.
        """
        assert cable.plug is not None
        assert not cable.here
        if self._desk.stopping:
            return
        cable.port = cable.plug(name)
        await self._desk.ledger.to_the_end(self._wiring.connect(cable), self._desk.undone)
        words = f"are back on {name}: {CONFIRM_ALL}" if cable.several else (
            f"is back on {name}: {CONFIRM}"
        )  # fmt: skip
        self.audience.say("warning", f"{cable.titles} {words}")

    async def stop(self) -> None:
        """Close the ports, write what is still under way, publish a head. Twice does nothing.

        Raises:
            RecordError: no head could be published; all else is done.
        """
        if self._desk.stopping:
            return
        self._desk.stopping = True
        await self._wiring.close_all()
        await self._desk.ledger.close()

    def stamp(self) -> Stamp:
        """Say who, where and when, now."""
        return self._desk.stamp()

    async def next_change(self, seen: int) -> int:
        """Wait until the bench's version is newer than the one seen, and give it."""
        return await self._desk.next_change(seen)

    async def heard(self, gauge: str, count: int) -> None:
        """Wait until so many bytes of a gauge's cable have been taken in and dealt with."""
        await self._wiring.heard(self._cable[gauge], count)

    # ---- what people do -------------------------------------------------------------------------

    async def do(self, command: Command) -> list[tuple[int, Event]]:
        """Carry out a command. On return its events are on disk.

        Returns:
            The events with their places in the record.

        Raises:
            SessionError: it cannot be done now; nothing was written.
        """
        return await self._desk.carry_out(command)

    def take(self, gauge: str) -> None:
        """Want the next value of a gauge that sends all the time, or ask one that waits for it.

        Raises:
            SessionError: the bench has no such gauge, it is lost, busy with a sweep, was asked or
                taken from only just now, or has a button of its own to be pressed.
            PortError: it cannot be asked.
        """
        self._taking.take(gauge)

    def poll(self, gauge: str) -> None:
        """Ask a gauge only to see what it shows.

        Raises:
            SessionError: the bench has no such gauge, or it is lost.
            PortError: it cannot be asked.
        """
        self._taking.poll(gauge)

    def sweep_start(self) -> None:
        """Start recording the sweep that is asked for.

        Raises:
            SessionError: none is asked for, one is running, no gauge can do it, or the bench has
                been stopped.
        """
        self._taking.sweep_start()

    async def sweep_stop(self) -> Analysis:
        """Stop recording, analyse, and put the sweep on record. On return it is on disk.

        Raises:
            SessionError: no sweep is running, or nothing came.
        """
        return await self._taking.sweep_stop()

    async def record_verdicts(self, judged: JobJudged) -> int:
        """Put the verdicts on record and publish a head.

        Returns:
            Their place in the record.
        """
        return await self._desk.ledger.to_the_end(self._record_verdicts(judged), self._desk.undone)

    async def _record_verdicts(self, judged: JobJudged) -> int:
        async with self._desk.ledger.turn:
            [(place, _)] = await self._desk.commit([judged])
            await self._desk.ledger.publish_head()
        return place

    async def go(self, step: int) -> None:
        """Ask for a step of the plan, whatever its state.

        Raises:
            SessionError: there is no such step.
        """
        async with self._desk.ledger.turn:
            self.session.go(step)
            self.moved()

    async def back(self) -> None:
        """Ask for the step before the one asked for now.

        Raises:
            SessionError: this is the first step.
        """
        async with self._desk.ledger.turn:
            self.session.back()
            self.moved()

    def moved(self) -> None:
        """Note that the cursor was moved by hand."""
        self._taking.disarm()
        self._desk.tell()

    def watch_gauges(self, *, on: bool) -> None:
        """Take values at rest and start sweeps by motion, or no longer."""
        self.watch.switch(on=on)
        self._desk.tell()
