"""Several values in one transaction, where none of them changes what becomes of the next.

A flush of the disk costs the same for one event as for many. Still the order stays: decide, write,
and only then take in. A value that waits in the tray, or was refused, changes nothing that the next
decision looks at, so the next one may be decided on before the first is written. Anything else is
written before anything more is decided on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.events import Event, ReadingParked, ReadingRefused

if TYPE_CHECKING:
    from collections.abc import Callable

    from gaugelink.capture.desk import Desk


class Group:
    """Values on their way into the record together. Each is told only after its transaction.

    Args:
        desk: where they go on record.
    """

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._events: list[Event] = []
        self._words: list[str] = []
        self._has_turn = False

    async def add(self, decide: Callable[[], list[Event]], words: str) -> None:
        """Decide on a value, and write it now or with those that follow.

        Args:
            decide: gives the events that the value leads to.
            words: what is told if they cannot be written.
        """
        if not self._has_turn:
            await self._desk.ledger.turn.acquire()
            self._has_turn = True
        events = decide()
        self._events += events
        self._words.append(words)
        if not all(isinstance(event, ReadingParked | ReadingRefused) for event in events):
            await self.write()

    async def write(self) -> None:
        """Write what has been decided on, and take it in; a fault is told for each value."""
        events, words = self._events, self._words
        self._events, self._words = [], []
        try:
            if events:
                await self._desk.commit(events)
        except Exception as fault:  # noqa: BLE001  the bench goes on with the next value
            for sentence in words:
                self._desk.complain(sentence, fault)
        finally:
            if self._has_turn:
                self._has_turn = False
                self._desk.ledger.turn.release()
