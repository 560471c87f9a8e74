"""Gauges and interfaces behind a TCP connection, and simulated ones where there is no terminal."""

from __future__ import annotations

import re
import socket
from typing import TYPE_CHECKING, Final

from gaugelink.errors import PortError
from gaugelink.ports.port import READ_SIZE, Port

if TYPE_CHECKING:
    from collections.abc import Callable

POLL_S: Final = 0.1
CONNECT_S: Final = 5.0
LAST_NUMBER: Final = 65535

_ADDRESS = re.compile(
    r"(?:tcp://)?(?:\[(?P<literal>[^\[\]]+)\]|(?P<host>[^:/\[\]]+)):(?P<number>[0-9]{1,5})"
)


class TcpPort(Port):
    """A TCP connection to a gauge, named ``tcp://host:port``."""

    def __init__(self, name: str, mono_ns: Callable[[], int]) -> None:
        super().__init__(name, mono_ns)
        self._socket: socket.socket | None = None

    def _open(self) -> None:
        match = _ADDRESS.fullmatch(self.name)
        if match is None or not 0 < int(match["number"]) <= LAST_NUMBER:
            raise PortError(
                f"found the port {self.name!r}, accepted: tcp://host:number, with a number from 1 "
                f"to {LAST_NUMBER}"
            )
        host = match["literal"] or match["host"]
        try:
            self._socket = socket.create_connection((host, int(match["number"])), CONNECT_S)
        except (OSError, ValueError) as fault:  # ValueError: a name that no network can have
            raise PortError(
                f"{self.name} does not answer ({getattr(fault, 'strerror', None) or fault}); look "
                "whether the interface is switched on and the number is right"
            ) from None
        self._socket.settimeout(POLL_S)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def _read(self) -> bytes:
        assert self._socket is not None
        try:
            data = self._socket.recv(READ_SIZE)
        except TimeoutError:
            return b""
        if not data:
            raise OSError("the other end closed the connection")
        return data

    def _write(self, data: bytes) -> None:
        if self._socket is None:
            raise OSError("the port was closed")
        self._socket.sendall(data)

    def _wake(self) -> None:
        if self._socket is not None:
            self._socket.shutdown(socket.SHUT_RD)

    def _close(self) -> None:
        if self._socket is not None:
            self._socket.close()
            self._socket = None
