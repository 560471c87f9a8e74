"""Programs of other people at the other end: any that writes to a port, and an access server."""

from __future__ import annotations

import subprocess
import sys

import pytest
from cable_kit import PATIENCE_S, Sink, nothing_left
from peers_kit import ended, ser2net, socat, started

from gaugelink import content
from gaugelink.capture.channel import line_of
from gaugelink.errors import PortError
from gaugelink.ports.port import Chunk, Lost
from gaugelink.ports.rfc2217 import Rfc2217Port
from gaugelink.ports.serial import Line, SerialPort
from gaugelink.ports.tcp import TcpPort
from gaugelink.wire.driver import load_driver

__all__ = ["nothing_left", "ser2net", "socat"]

pytestmark = pytest.mark.usefixtures("nothing_left")

SIGNED = load_driver(*content.read("drivers", "signed-line"))
EVERY_BYTE = bytes(range(256))


class Listened:
    """An open port, and what came."""

    def __init__(self, port):
        self.port, self.sink = port, Sink()
        port.open(self.sink)

    def gather(self, count):
        found = b""
        while len(found) < count:
            chunk = self.sink.next()
            assert isinstance(chunk, Chunk), chunk
            found += chunk.data
        return found

    def close(self):
        self.port.close()
        assert self.sink.rest() == []


def test_what_any_program_writes_into_the_other_end_is_read_and_decoded(socat):
    ours = Listened(SerialPort(socat.ours, line_of(SIGNED), lambda: 0))
    sent = b"+  7.965 MM\r-  0.3136 IN\r"
    socat.send(sent)
    came = SIGNED.decoder().feed(ours.gather(len(sent)))
    assert [str(item.shown) for item in came] == ["7.965 mm", "-0.3136 in"]
    ours.close()


def test_every_byte_passes_a_pair_of_terminals_as_itself_both_ways(socat):
    ours = Listened(SerialPort(socat.ours, Line(), lambda: 0))
    socat.send(EVERY_BYTE)
    assert ours.gather(256) == EVERY_BYTE
    ours.port.write(EVERY_BYTE)
    assert socat.hear(256) == EVERY_BYTE
    ours.close()


def test_a_port_that_another_program_has_locked_is_refused_with_its_sentence(socat):
    other = started(["-u", f"{socat.ours},raw,echo=0,flock-ex-nb", "-"])
    with pytest.raises(PortError) as fault:
        SerialPort(socat.ours, Line(), lambda: 0).open(Sink())
    assert str(fault.value) == (
        f"{socat.ours} is in use by another program; close that program, then try again"
    )
    ended(other)
    Listened(SerialPort(socat.ours, Line(), lambda: 0)).close()


def test_a_second_program_that_wants_our_port_does_not_get_it(socat):
    """It goes on for us: the other program's attempt takes no byte away."""
    ours = Listened(SerialPort(socat.ours, Line(), lambda: 0))
    code = "import serial, sys; serial.Serial(sys.argv[1], exclusive=True)"
    other = subprocess.run(
        [sys.executable, "-c", code, socat.ours],
        capture_output=True, text=True, timeout=PATIENCE_S, check=False,
    )  # fmt: skip
    assert other.returncode != 0
    assert "exclusively lock" in other.stderr
    socat.send(b"+  7.965 MM\r")
    assert ours.gather(12) == b"+  7.965 MM\r"
    ours.close()


def test_a_cable_that_is_pulled_is_said_once_and_what_came_before_is_kept(socat):
    ours = Listened(SerialPort(socat.ours, Line(), lambda: 0))
    socat.send(b"+  7.965 MM\r+  7.9")
    assert ours.gather(18) == b"+  7.965 MM\r+  7.9"
    socat.end()
    assert isinstance(ours.sink.next(), Lost)
    ours.close()


class TestAccessServer:
    """The access server ser2net, in front of a terminal that has no control lines."""

    def test_every_byte_arrives_as_itself_both_ways_by_rfc_2217(self, socat, ser2net):
        ours = Listened(Rfc2217Port(ser2net.rfc2217, Line(baud=4800), lambda: 0))
        socat.send(EVERY_BYTE)
        assert ours.gather(256) == EVERY_BYTE
        ours.port.write(EVERY_BYTE)
        assert socat.hear(256) == EVERY_BYTE
        ours.close()

    def test_every_byte_arrives_as_itself_both_ways_by_a_plain_connection(self, socat, ser2net):
        ours = Listened(TcpPort(ser2net.tcp, lambda: 0))
        socat.send(EVERY_BYTE)
        assert ours.gather(256) == EVERY_BYTE
        ours.port.write(EVERY_BYTE)
        assert socat.hear(256) == EVERY_BYTE
        ours.close()

    def test_one_that_is_switched_off_is_lost_once_and_then_does_not_answer(self, socat, ser2net):
        ours = Listened(Rfc2217Port(ser2net.rfc2217, Line(), lambda: 0))
        socat.send(b"+  7.965 MM\r")
        assert ours.gather(12) == b"+  7.965 MM\r"
        ser2net.end()
        lost = ours.sink.next()
        assert isinstance(lost, Lost)
        assert lost.why == "the connection to the access server ended"
        ours.close()
        with pytest.raises(PortError, match="does not answer"):
            ours.port.open(ours.sink)
