"""A gauge that types into the bench page, where no program can have its keyboard to itself.

The page notes each key with the time since the one before, and sends the row of them when Enter or
Tab comes. What arrives at once is given on key by key with those distances, so that whoever decodes
it can tell a person's keys from a gauge's.
"""

from __future__ import annotations

import asyncio
import queue
import threading
from typing import TYPE_CHECKING, Final

from gaugelink.errors import PortError
from gaugelink.ports.port import Port

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

PAGE: Final = "page:"
"""The name of the port; there is one capture field, so there is one such port a bench."""

POLL_S: Final = 0.1


class PagePort(Port):
    """The capture field of the bench page, as a port.

    Args:
        name: ``page:``.
        mono_ns: the monotonic clock of the bench.

    Attributes:
        turn: held by whoever types and waits for what comes of it.
    """

    def __init__(self, name: str, mono_ns: Callable[[], int]) -> None:
        super().__init__(name, self._stamp_ns)
        self.turn = asyncio.Lock()
        self._clock_ns = mono_ns
        self._typed: queue.Queue[tuple[str, int] | None] = queue.Queue()
        self._order = threading.Lock()
        self._dated_ns = 0
        self._given_ns: int | None = None

    def _stamp_ns(self) -> int:
        return self._clock_ns() if self._given_ns is None else self._given_ns

    def type(self, keys: Sequence[tuple[str, int]]) -> int:
        """Take in a row of keys; the last one was pressed now.

        Args:
            keys: what each typed, and the milliseconds since the one before it.

        Returns:
            How many bytes will come out of the port for them.

        Raises:
            PortError: the port is not open.
        """
        if self._thread is None:
            raise PortError("the gauge that types into this page is not connected")
        with self._order:
            # Distances count. If rows come more quickly than they were typed, they are dated later.
            lasted = sum(passed for _, passed in keys[1:]) * 1_000_000
            earliest = self._dated_ns + (keys[0][1] * 1_000_000 if keys else 0)
            at = max(self._clock_ns() - lasted, earliest if self._dated_ns else 0)
            for place, (text, passed) in enumerate(keys):
                at += passed * 1_000_000 if place else 0
                self._typed.put((text, at))
            self._dated_ns = at
        return sum(len(text.encode()) for text, _ in keys)

    def _open(self) -> None:
        self._typed = queue.Queue()
        self._given_ns = None

    def _read(self) -> bytes:
        try:
            item = self._typed.get(timeout=POLL_S)
        except queue.Empty:
            return b""
        if item is None:
            return b""
        text, self._given_ns = item
        return text.encode()

    def _write(self, data: bytes) -> None:  # noqa: ARG002
        raise OSError("nothing can be sent to a gauge that types")

    def _wake(self) -> None:
        self._typed.put(None)

    def _close(self) -> None:
        """There is nothing to give back."""
