"""The desk: what happens is written here, then taken in, and then told.

`gaugelink.capture.ledger` keeps the order; the desk knows who is told, and what the operator is to
hear of it.
"""

from __future__ import annotations

import asyncio
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Final

from gaugelink.capture.foretold import new_surprises, surprises
from gaugelink.capture.ledger import Ledger, head_is_due
from gaugelink.capture.measured import travels_of
from gaugelink.deeds import SweepArrived
from gaugelink.errors import GaugeLinkError, RecordError
from gaugelink.events import (
    BatteryTold,
    Event,
    ReadingParked,
    ReadingRefused,
    SweepParked,
    ZeroDoubted,
)
from gaugelink.reading import Stamp
from gaugelink.standing import BATTERY, zero_words

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from gaugelink.capture.audience import Audience
    from gaugelink.capture.clock import Clock
    from gaugelink.deeds import Command
    from gaugelink.record import Store
    from gaugelink.session import Session

BROKEN_OFF: Final = "the sweep was broken off"
MEANWHILE: Final = "another position was chosen while the sweep was running"


class Desk:
    """A session, its record, and whoever is told.

    Args:
        session: the capture session.
        store: the record, open for writing.
        clock: the bench's clocks.
        operator: who works here now.
        name: the bench's name.
        audience: who is told.

    Attributes:
        ledger: the one way into the record.
        version: how often something has changed.
        stopping: the bench has been stopped, or is about to be.
        on_moved: is called when another position is asked for.
    """

    def __init__(
        self,
        session: Session,
        store: Store,
        clock: Clock,
        operator: str,
        name: str,
        audience: Audience,
    ) -> None:
        self.session = session
        self.clock = clock
        self.audience = audience
        self.ledger = Ledger(session, store, clock)
        self.version = 0
        self.stopping = False
        self.on_moved: Callable[[], None] = lambda: None
        self._operator = operator
        self._name = name
        self._changed = asyncio.Event()
        self._surprised: dict[int, str] | None = None  # as of the last commit

    def stamp(self) -> Stamp:
        """Say who, where and when, now."""
        return Stamp(self.clock.utc(), self.clock.mono_ns(), self._operator, self._name)

    def tell(self) -> None:
        """Tell that something has changed."""
        self.version += 1
        self._changed.set()
        self.audience.changed()

    async def next_change(self, seen: int) -> int:
        """Wait until the version is newer than the one seen, and give it."""
        while self.version == seen:
            self._changed.clear()
            await self._changed.wait()
        return self.version

    async def carry_out(self, command: Command, step: int | None = None) -> list[tuple[int, Event]]:
        """Decide on a command, and write and take in what it leads to, whoever is gone meanwhile.

        Args:
            command: the command.
            step: what the sweep was recorded for; None: whatever is asked for.

        Returns:
            The events with their places in the record.

        Raises:
            SessionError: it cannot be done now; nothing was written.
        """
        return await self.ledger.to_the_end(self._carry_out(command, step), self.undone)

    async def _carry_out(self, command: Command, step: int | None) -> list[tuple[int, Event]]:
        async with self.ledger.turn:
            if step not in {None, self.session.cursor} and isinstance(command, SweepArrived):
                command = replace(command, why=MEANWHILE)
            return await self.commit(self.session.decide(command, self.stamp()))

    async def commit(self, events: Sequence[Event]) -> list[tuple[int, Event]]:
        """Write events, take them in, tell. Whoever calls this has the ledger's turn.

        Returns:
            The events with their places in the record.

        Raises:
            RecordError: they could not be written; nothing is taken in.
            SessionError: the bench has been stopped.
        """
        cursor = self.session.cursor
        known = self._surprises() if self._surprised is None else self._surprised
        done = await self.ledger.commit(events)
        if self.session.cursor != cursor:
            self.on_moved()
        self.tell()
        for _, event in done:
            if isinstance(event, ReadingParked):
                self.audience.say("warning", f"{event.shown} is in the tray: {event.why}")
            elif isinstance(event, SweepParked) and event.why != BROKEN_OFF:  # told by its reason
                self.audience.say("warning", f"the sweep counts nowhere, but is kept: {event.why}")
            elif isinstance(event, ReadingRefused):
                self.audience.say("warning", f"{event.shown} was refused: {event.why}")
            elif isinstance(event, ZeroDoubted):
                self.audience.say("warning", f"{event.gauge}: {zero_words(event.why)}")
            elif isinstance(event, BatteryTold) and event.low:
                self.audience.say("warning", f"{event.gauge} says {event.words}: {BATTERY}")
        self._surprised = self._surprises()
        for words in new_surprises(known, self._surprised):
            self.audience.say("warning", words)
        if head_is_due(done):
            try:
                await self.ledger.publish_head()
            except RecordError as fault:
                # The events are on disk and sealed all the same.
                self.audience.say("warning", f"no signed head could be published: {fault}")
        return done

    def _surprises(self) -> dict[int, str]:
        return surprises(self.session, travels_of(self.ledger.analyses))

    def undone(self, fault: Exception) -> None:
        """Tell that something failed after the one who had asked for it was gone."""
        self.complain("what was asked for before the page went away was not done", fault)

    def complain(self, words: str, fault: Exception) -> None:
        """Tell that something was not taken in; the bench goes on."""
        loop = asyncio.get_running_loop()
        if not isinstance(fault, GaugeLinkError):
            loop.call_exception_handler({"message": words, "exception": fault})
        sentence = f"{words}: {str(fault) or type(fault).__name__}"
        for tell in (partial(self.audience.say, "warning", sentence), self.tell):
            try:
                tell()
            except Exception as silenced:  # noqa: BLE001  even if nobody can be told
                loop.call_exception_handler({"message": sentence, "exception": silenced})
