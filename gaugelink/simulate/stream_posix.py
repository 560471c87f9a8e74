"""A pseudo-terminal as the gauge's end of a serial cable. Unix only; `stream_tcp` elsewhere."""

from __future__ import annotations

import asyncio
import os
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

assert sys.platform != "win32"

import tty  # noqa: E402  does not exist on Windows


class TerminalEndpoint:
    """The master side of a pseudo-terminal. Must be made inside a running event loop."""

    def __init__(self, heard: Callable[[bytes], None]) -> None:
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.name = os.ttyname(self._slave)
        self._heard = heard
        self._loop = asyncio.get_running_loop()
        self._loop.add_reader(self._master, self._read)
        self._open = True

    def write(self, data: bytes) -> None:
        """Send bytes; when the terminal's buffer is full they are lost."""
        if self._open:
            try:
                os.write(self._master, data)
            except BlockingIOError:
                return

    def close(self) -> None:
        """Pull the cable: the program's end fails from now on."""
        if self._open:
            self._open = False
            self._loop.remove_reader(self._master)
            os.close(self._slave)
            os.close(self._master)

    def _read(self) -> None:
        try:
            data = os.read(self._master, 4096)
        except OSError:
            self.close()
            return
        self._heard(data)
