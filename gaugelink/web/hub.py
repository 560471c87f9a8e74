"""Hand one stream of documents to many browsers, so that a slow one never delays another.

The names that other rooms rely on:

    hub = Hub()
    hub.publish_state(doc)      # the whole state of the bench; a later one replaces an earlier one
    hub.publish_live(doc)       # one new figure of a gauge

Every browser has one bounded queue of its own (`Viewer`). A state that has not left yet is
replaced by the newer one. Live figures wait in order while a browser keeps up; as soon as
`LIVE_MOST` of them are waiting, the browser is slow, and all but the newest are dropped: a figure
on a bench screen is worth something only while it is the present one. A browser that joins is
given the current state at once.

Nothing here blocks and nothing here knows about sockets. All calls come from the thread of the
asyncio loop; from another thread use ``loop.call_soon_threadsafe(hub.publish_live, doc)``.
"""

from __future__ import annotations

import asyncio
import json
from collections import deque
from typing import Any, Final

LIVE_MOST: Final = 8
"""Live figures that may wait for one browser before all but the newest are dropped."""


def as_event(name: str, doc: dict[str, Any]) -> bytes:
    r"""Write a document as one server-sent event (HTML Standard, section 9.2, event streams).

    JSON on one line holds no line break of its own, so that a text inside the document can never
    end the event early or begin another.

    Args:
        name: the event's name.
        doc: numbers, texts, lists and maps of those.

    Raises:
        ValueError: the document holds a number that JSON cannot write (infinite, or none).

    >>> as_event("live", {"text": "7.965\nevent: state"})
    b'event: live\ndata: {"text":"7.965\\nevent: state"}\n\n'
    """
    body = json.dumps(doc, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    # JSON leaves nothing but space below U+0020; a lone surrogate cannot be sent and shows as "?".
    return f"event: {name}\ndata: {body}\n\n".encode("utf-8", "replace")


class Viewer:
    """One browser's queue: at most one state and `LIVE_MOST` live figures."""

    def __init__(self) -> None:
        self._waiting: deque[tuple[str, bytes]] = deque()
        self._wake = asyncio.Event()
        self._closed = False

    def __len__(self) -> int:
        """Count what is waiting."""
        return len(self._waiting)

    @property
    def closed(self) -> bool:
        """Whether no more will come."""
        return self._closed

    def offer(self, kind: str, event: bytes) -> None:
        """Queue an event; what it makes out of date is dropped.

        A newer state takes the last place, not that of the state which it replaces: it may not
        overtake the figures that came before it.
        """
        if self._closed:
            return
        same = sum(1 for waiting, _ in self._waiting if waiting == kind)
        if same >= (1 if kind == "state" else LIVE_MOST):
            self._waiting = deque(pair for pair in self._waiting if pair[0] != kind)
        self._waiting.append((kind, event))
        self._wake.set()

    async def next_event(self, patience_s: float) -> bytes | None:
        """Wait for the next event.

        Args:
            patience_s: how long to wait, seconds.

        Returns:
            The event, or None when none came in that time or the stream is over (`closed`).
        """
        if not self._waiting and not self._closed:
            self._wake.clear()
            try:
                async with asyncio.timeout(patience_s):
                    await self._wake.wait()
            except TimeoutError:
                return None
        return self._waiting.popleft()[1] if self._waiting and not self._closed else None

    def close(self) -> None:
        """End the stream; what still waits is dropped."""
        self._closed = True
        self._waiting.clear()
        self._wake.set()


class Hub:
    """Publish to every browser that is watching."""

    def __init__(self) -> None:
        self._viewers: set[Viewer] = set()
        self._state: bytes | None = None

    def __len__(self) -> int:
        """Count the browsers that are watching."""
        return len(self._viewers)

    def publish_state(self, doc: dict[str, Any]) -> None:
        """Send the whole state; it is written as JSON once, however many browsers watch.

        Raises:
            ValueError: see `as_event`; nothing was sent.
        """
        self._state = as_event("state", doc)
        for viewer in self._viewers:
            viewer.offer("state", self._state)

    def publish_live(self, doc: dict[str, Any]) -> None:
        """Send one new figure of a gauge.

        Raises:
            ValueError: see `as_event`; nothing was sent.
        """
        if self._viewers:
            event = as_event("live", doc)
            for viewer in self._viewers:
                viewer.offer("live", event)

    def join(self) -> Viewer:
        """Give a new browser its queue, with the current state already in it."""
        viewer = Viewer()
        if self._state is not None:
            viewer.offer("state", self._state)
        self._viewers.add(viewer)
        return viewer

    def leave(self, viewer: Viewer) -> None:
        """Take a browser off; a second time does nothing."""
        viewer.close()
        self._viewers.discard(viewer)

    def disconnect(self) -> None:
        """End every stream that is open now; later browsers may still join."""
        for viewer in list(self._viewers):
            self.leave(viewer)
