"""A port and the thread that reads it.

Opening is a verb of its own and the only one that raises: afterwards trouble arrives as `Lost`,
once, and never again for the same opening. One thread a port reads whatever has come, stamps it
with the monotonic clock and hands it on; it never looks inside.
"""

from __future__ import annotations

import contextlib
import threading
from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gaugelink.errors import PortError

if TYPE_CHECKING:
    from collections.abc import Callable

READ_SIZE = 4096


@dataclass(frozen=True, slots=True)
class Chunk:
    """Bytes that came, in whatever portions the system had them, and when (ns, monotonic)."""

    data: bytes
    mono_ns: int


@dataclass(frozen=True, slots=True)
class Lost:
    """The port is gone; nothing more comes from this opening of it."""

    why: str
    mono_ns: int


class Port(ABC):
    """A port that is read by a thread of its own.

    Args:
        name: what people call the port: ``/dev/ttyUSB0``, ``COM5``, ``tcp://127.0.0.1:5000``.
        mono_ns: the monotonic clock of the bench.
    """

    def __init__(self, name: str, mono_ns: Callable[[], int]) -> None:
        self.name = name
        self._mono_ns = mono_ns
        self._closing = threading.Event()
        self._thread: threading.Thread | None = None
        self._turn = threading.Lock()

    @abstractmethod
    def _open(self) -> None:
        """Open the device or raise `PortError`."""

    @abstractmethod
    def _read(self) -> bytes:
        """Wait a short while for bytes; empty if none came. OSError means the port is gone."""

    @abstractmethod
    def _write(self, data: bytes) -> None:
        """Send bytes. OSError means that the port is gone."""

    @abstractmethod
    def _close(self) -> None:
        """Give the device back."""

    def _wake(self) -> None:  # noqa: B027  a port need not be able to
        """End a `_read` that waits, where the system can; else it ends by itself."""

    def open(self, sink: Callable[[Chunk | Lost], None]) -> None:
        """Open the port and start reading; `sink` is called from the port's thread.

        Raises:
            PortError: it cannot be opened; the sentence says why and what to try.
        """
        if self._thread is not None:
            raise PortError(f"{self.name} is open already")
        self._open()
        self._closing.clear()
        self._thread = threading.Thread(
            target=self._run, args=(sink,), name=f"port {self.name}", daemon=True
        )
        self._thread.start()

    def write(self, data: bytes) -> None:
        """Send a request to the gauge.

        Raises:
            PortError: the port is not open, or is gone.
        """
        if self._thread is None:
            raise PortError(f"{self.name} is not open")
        try:
            self._write(data)
        except OSError as fault:
            raise PortError(f"{self.name} could not be written to ({_reason(fault)})") from None

    def close(self) -> None:
        """Stop reading and give the device back. Closing twice does nothing."""
        with self._turn:
            thread, self._thread = self._thread, None
        if thread is None:
            return
        self._closing.set()
        if thread is not threading.current_thread():
            with contextlib.suppress(OSError):
                self._wake()
            thread.join()
        with contextlib.suppress(OSError):  # a device that is gone cannot be given back
            self._close()

    def _run(self, sink: Callable[[Chunk | Lost], None]) -> None:
        while not self._closing.is_set():
            try:
                data = self._read()
            except Exception as fault:  # noqa: BLE001  whatever ends the reading, it must be said
                if not self._closing.is_set():
                    sink(Lost(_reason(fault), self._mono_ns()))
                return
            if data:
                sink(Chunk(data, self._mono_ns()))


def _reason(fault: Exception) -> str:
    return getattr(fault, "strerror", None) or str(fault) or type(fault).__name__
