"""A gauge behind an access server (RFC 2217) is as good as one on a port of this machine."""

from __future__ import annotations

import contextlib
import socket
import struct
import threading

import pytest
import serial
from cable_kit import PATIENCE_S, Sink, TerminalCable, needs_terminals, nothing_left
from serial.rfc2217 import PortManager

from gaugelink.errors import PortError
from gaugelink.ports.port import Chunk, Lost
from gaugelink.ports.rfc2217 import Rfc2217Port
from gaugelink.ports.serial import Line

__all__ = ["nothing_left"]

pytestmark = [pytest.mark.usefixtures("nothing_left"), needs_terminals]

# RFC 2217 (October 1997): IAC SB COM-PORT-OPTION (44), then SET-BAUDRATE 1, SET-DATASIZE 2,
# SET-PARITY 3 (even 3), SET-STOPSIZE 4 (two 2); the baud rate in four bytes, network order.
OPTION = b"\xff\xfa\x2c"
SET_BAUDRATE, SET_DATASIZE, SET_PARITY, SET_STOPSIZE = 1, 2, 3, 4
EVEN, TWO = 3, 2


class NoLines(serial.Serial):
    """A pseudo-terminal has no control lines, and keeps its eight bits whatever it is told."""

    def _reconfigure_port(self, force_update=False):
        with contextlib.suppress(OSError, self.refusal):
            super()._reconfigure_port(force_update)

    @property
    def refusal(self):
        import termios  # noqa: PLC0415  does not exist everywhere

        return termios.error

    def _update_dtr_state(self): ...

    def _update_rts_state(self): ...

    cts = dsr = ri = cd = property(lambda _self: False)


class AccessServer:
    """pyserial's own access server in front of a pseudo-terminal, for one connection."""

    def __init__(self) -> None:
        self.cable = TerminalCable()
        self.line = NoLines(self.cable.name, timeout=0.05)
        self.heard = b""
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.settimeout(PATIENCE_S)
        self.name = f"rfc2217://127.0.0.1:{self._listener.getsockname()[1]}"
        self._over = threading.Event()
        self._socket: socket.socket | None = None
        self._turn = threading.Lock()
        self._threads = [threading.Thread(target=self._serve)]
        self._threads[0].start()

    def write(self, data: bytes) -> None:
        with self._turn, contextlib.suppress(OSError):
            self._socket.sendall(data)

    def _serve(self) -> None:
        try:
            self._socket, _ = self._listener.accept()
        except OSError:
            return
        self._socket.settimeout(None)
        manager = PortManager(self.line, self)
        forward = threading.Thread(target=self._forward, args=(manager,))
        self._threads.append(forward)
        forward.start()
        with contextlib.suppress(OSError):
            while data := self._socket.recv(1024):
                self.heard += data
                self.line.write(b"".join(manager.filter(data)))

    def _forward(self, manager: PortManager) -> None:
        while not self._over.is_set():
            data = self.line.read(self.line.in_waiting or 1)
            if data:
                self.write(b"".join(manager.escape(data)))

    def hang_up(self) -> None:
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        self._over.set()
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        if self._socket is not None:
            self.hang_up()
        for thread in self._threads:
            thread.join()
        if self._socket is not None:
            self._socket.close()
        self._listener.close()
        self.line.close()
        self.cable.pull()


@pytest.fixture
def server():
    server = AccessServer()
    yield server
    server.close()


def gather(sink: Sink, count: int) -> bytes:
    found = b""
    while len(found) < count:
        chunk = sink.next()
        assert isinstance(chunk, Chunk), chunk
        found += chunk.data
    return found


def test_every_byte_arrives_as_itself_both_ways_and_the_far_line_is_set(server):
    """Bytes 255 too, which the network doubles on the way."""
    sink = Sink()
    port = Rfc2217Port(server.name, Line(4800, 7, "even", 2), lambda: 0)
    port.open(sink)
    far = server.line
    assert (far.baudrate, far.bytesize, far.parity, far.stopbits) == (4800, 7, "E", 2)
    wanted = [
        OPTION + bytes([SET_BAUDRATE]) + struct.pack("!I", 4800),
        OPTION + bytes([SET_DATASIZE, 7]),
        OPTION + bytes([SET_PARITY, EVEN]),
        OPTION + bytes([SET_STOPSIZE, TWO]),
    ]
    places = [server.heard.find(one) for one in wanted]
    assert -1 not in places
    assert places == sorted(places)  # the order that RFC 2217 recommends
    every = bytes(range(256))
    server.cable.send(every)
    assert gather(sink, 256) == every
    port.write(b"R\r\xff")
    assert server.cable.hear(3) == b"R\r\xff"
    port.close()
    assert sink.rest() == []


def test_what_came_before_the_connection_ended_is_given_out_and_then_it_is_lost_once(server):
    sink = Sink()
    port = Rfc2217Port(server.name, Line(), lambda: 0)
    port.open(sink)
    server.cable.send(b"+  7.965 MM\r")
    assert gather(sink, 12) == b"+  7.965 MM\r"
    server.write(b"+  7.966 MM\r")
    server.hang_up()
    assert gather(sink, 12) == b"+  7.966 MM\r"
    lost = sink.next()
    assert isinstance(lost, Lost)
    assert lost.why == "the connection to the access server ended"
    port.close()
    assert sink.rest() == []


def test_nobody_there_is_one_sentence():
    listener = socket.create_server(("127.0.0.1", 0))
    name = f"rfc2217://127.0.0.1:{listener.getsockname()[1]}"
    listener.close()
    with pytest.raises(PortError, match=r"does not answer \(.*refused.*\); look whether"):
        Rfc2217Port(name, Line(), lambda: 0).open(Sink())


def test_somebody_who_speaks_otherwise_is_told_apart():
    """The library waits three seconds of its own for an answer."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        name = f"rfc2217://127.0.0.1:{listener.getsockname()[1]}"
        with pytest.raises(PortError, match="answers, but not as an access server") as fault:
            Rfc2217Port(name, Line(), lambda: 0).open(Sink())
        assert "name it tcp://127.0.0.1:" in str(fault.value)


@pytest.mark.parametrize(
    "name", ["rfc2217://box", "rfc2217://box:0", "rfc2217://box:70000", "box:1", "rfc2217://:1",
             "rfc2217://box:1?logging=debug"],
)  # fmt: skip
def test_a_bad_address_is_refused_before_anything_is_opened(name):
    with pytest.raises(PortError, match="accepted: rfc2217://host:number"):
        Rfc2217Port(name, Line(), lambda: 0).open(Sink())
