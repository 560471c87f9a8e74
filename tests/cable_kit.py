"""Cables for tests: pseudo-terminals and loopback TCP, and a watch over what is left behind.

Nothing here sleeps: whoever waits, waits for something to have happened.
"""

from __future__ import annotations

import os
import queue
import select
import socket
import sys
import threading
from contextlib import suppress
from typing import TYPE_CHECKING, Protocol

import pytest

from gaugelink.ports.usb_devices import system_backend

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gaugelink.ports.port import Chunk, Lost

PATIENCE_S = 20.0
"""How long a test waits for what must come before it fails; nothing is measured by it."""

needs_terminals = pytest.mark.skipif(
    sys.platform == "win32", reason="this system has no pseudo-terminals"
)


class Cable(Protocol):
    """A gauge's end of a cable; `name` is the port at the other end."""

    name: str

    def send(self, data: bytes) -> None:
        """Send bytes to the program."""

    def hear(self, count: int) -> bytes:
        """Wait for so many bytes that the program sends to the gauge."""

    def pull(self) -> None:
        """Pull the cable."""


class TerminalCable:
    """A pseudo-terminal, as a serial adapter shows itself to a program."""

    def __init__(self) -> None:
        import tty  # noqa: PLC0415  does not exist everywhere

        self._master, slave = os.openpty()
        tty.setraw(slave)
        self.name = os.ttyname(slave)
        self._slave: int | None = slave
        self._pulled = False

    def send(self, data: bytes) -> None:
        """Send bytes to the program."""
        while data:
            data = data[os.write(self._master, data) :]

    def hear(self, count: int) -> bytes:
        """Wait for so many bytes from the program."""
        found = b""
        while len(found) < count:
            assert select.select([self._master], [], [], PATIENCE_S)[0], f"only {found!r} came"
            found += os.read(self._master, count - len(found))
        return found

    def pull(self) -> None:
        """Pull the cable."""
        if not self._pulled:
            self._pulled = True
            assert self._slave is not None
            os.close(self._slave)
            os.close(self._master)


class TcpCable:
    """A listening socket on loopback, as an interface box in the network."""

    def __init__(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.settimeout(PATIENCE_S)
        self.name = f"tcp://127.0.0.1:{self._listener.getsockname()[1]}"
        self._line: socket.socket | None = None

    @property
    def line(self) -> socket.socket:
        """The connection that the program has made."""
        if self._line is None:
            self._line, _ = self._listener.accept()
            self._line.settimeout(PATIENCE_S)
            self._line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return self._line

    def forget(self) -> None:
        """Let the connection go and wait for another one."""
        if self._line is not None:
            self._line.close()
            self._line = None

    def send(self, data: bytes) -> None:
        """Send bytes to the program."""
        self.line.sendall(data)

    def hear(self, count: int) -> bytes:
        """Wait for so many bytes from the program."""
        found = b""
        while len(found) < count:
            found += self.line.recv(count - len(found))
        return found

    def pull(self) -> None:
        """Pull the cable."""
        self.forget()
        self._listener.close()


def make_cable() -> Cable:
    """A pseudo-terminal where the system has them, else a TCP connection."""
    return TcpCable() if sys.platform == "win32" else TerminalCable()


def _open_files() -> int:
    with suppress(OSError):
        return len(os.listdir("/proc/self/fd"))  # noqa: PTH208  numbers, not files
    return 0


@pytest.fixture
def nothing_left() -> Iterator[None]:
    """Fail a test that leaves a thread running or, where the system tells, a file open."""
    system_backend()  # libusb keeps a few files open from its first use to the end of the program
    threads, files = set(threading.enumerate()), _open_files()
    yield
    left = [thread for thread in threading.enumerate() if thread not in threads]
    assert not left, f"threads are left behind: {left}"
    assert _open_files() <= files, "files or sockets are left open"


class Sink:
    """Takes what a port gives, and waits for it."""

    def __init__(self) -> None:
        self._items: queue.Queue[Chunk | Lost] = queue.Queue()

    def __call__(self, item: Chunk | Lost) -> None:
        """Take something; called by the port's thread."""
        self._items.put(item)

    def next(self) -> Chunk | Lost:
        """Wait for what comes next."""
        return self._items.get(timeout=PATIENCE_S)

    def rest(self) -> list[Chunk | Lost]:
        """What has come and was not asked for; the port must be closed already."""
        found = []
        while not self._items.empty():
            found.append(self._items.get())
        return found
