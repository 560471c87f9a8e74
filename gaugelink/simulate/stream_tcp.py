"""A loopback TCP connection as the gauge's end of a cable, where there are no pseudo-terminals."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable


class TcpEndpoint:
    """A listening socket on loopback that serves the gauge's bytes to whoever connects."""

    def __init__(self, heard: Callable[[bytes], None]) -> None:
        self._heard = heard
        self._server: asyncio.Server | None = None
        self._writers: set[asyncio.StreamWriter] = set()
        self.name = ""

    @classmethod
    async def create(cls, heard: Callable[[bytes], None]) -> TcpEndpoint:
        """Listen on a free port."""
        endpoint = cls(heard)
        endpoint._server = await asyncio.start_server(endpoint._serve, "127.0.0.1", 0)
        endpoint.name = f"tcp://127.0.0.1:{endpoint._server.sockets[0].getsockname()[1]}"
        return endpoint

    def write(self, data: bytes) -> None:
        """Send bytes to everybody connected."""
        for writer in self._writers:
            writer.write(data)

    def close(self) -> None:
        """Pull the cable."""
        if self._server is not None:
            self._server.close()
            self._server = None
        for writer in self._writers:
            writer.close()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._writers.add(writer)
        try:
            while data := await reader.read(4096):
                self._heard(data)
        except ConnectionError:
            pass
        finally:
            self._writers.discard(writer)
            writer.close()
