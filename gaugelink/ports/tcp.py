"""Gauges and interfaces behind a TCP connection, and simulated ones where there is no terminal."""

from __future__ import annotations

import socket
from typing import TYPE_CHECKING, Final

from gaugelink.errors import PortError
from gaugelink.ports.port import READ_SIZE, Port

if TYPE_CHECKING:
    from collections.abc import Callable

POLL_S: Final = 0.1
CONNECT_S: Final = 5.0


class TcpPort(Port):
    """A TCP connection to a gauge, named ``tcp://host:port``."""

    def __init__(self, name: str, mono_ns: Callable[[], int]) -> None:
        super().__init__(name, mono_ns)
        self._socket: socket.socket | None = None

    def _open(self) -> None:
        host, _, number = self.name.removeprefix("tcp://").rpartition(":")
        if not host or not number.isdigit():
            raise PortError(f"found the port {self.name!r}, accepted: tcp://host:number")
        try:
            self._socket = socket.create_connection((host, int(number)), timeout=CONNECT_S)
        except OSError as fault:
            raise PortError(
                f"{self.name} does not answer ({fault.strerror or fault}); look whether the "
                "interface is switched on and the number is right"
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
        assert self._socket is not None
        self._socket.sendall(data)

    def _close(self) -> None:
        if self._socket is not None:
            self._socket.close()
            self._socket = None
