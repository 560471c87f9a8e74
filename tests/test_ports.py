"""Ports: bytes whole and in order, one word when the cable is pulled, nothing left behind."""

from __future__ import annotations

import errno
import os
import socket
import sys
import threading

import pytest
from cable_kit import Cable, Sink, TcpCable, TerminalCable, needs_terminals, nothing_left
from hypothesis import given, settings, strategies as st

from gaugelink.errors import PortError
from gaugelink.ports.port import Chunk, Lost, Port
from gaugelink.ports.serial import Line, SerialPort
from gaugelink.ports.tcp import TcpPort

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")

KINDS = [pytest.param("terminal", marks=needs_terminals), "tcp"]


class Ticks:
    """A monotonic clock that goes on by one with every look at it."""

    def __init__(self) -> None:
        self.now = 0

    def __call__(self) -> int:
        self.now += 1
        return self.now


def plug_in(kind: str) -> tuple[Cable, Port]:
    if kind == "tcp":
        tcp = TcpCable()
        return tcp, TcpPort(tcp.name, Ticks())
    cable = TerminalCable()
    return cable, SerialPort(cable.name, Line(), Ticks())


def gather(sink: Sink, count: int) -> bytes:
    """Wait for so many bytes; anything but bytes is a failure."""
    found = b""
    while len(found) < count:
        chunk = sink.next()
        assert isinstance(chunk, Chunk)
        found += chunk.data
    return found


@pytest.fixture(params=KINDS)
def plugged(request):
    """Give a cable and the port at its other end, closed and pulled at the end of the test."""
    cable, port = plug_in(request.param)
    yield cable, port
    port.close()
    cable.pull()


class TestBytes:
    @pytest.mark.parametrize("kind", KINDS)
    @settings(max_examples=12)
    @given(portions=st.lists(st.binary(min_size=1, max_size=300), min_size=1, max_size=8))
    def test_they_arrive_in_order_and_whole_however_they_are_sent(self, kind, portions):
        cable, port = plug_in(kind)
        sink = Sink()
        port.open(sink)
        try:
            for portion in portions:
                cable.send(portion)
            wanted = b"".join(portions)
            assert gather(sink, len(wanted)) == wanted
        finally:
            port.close()
            cable.pull()
        assert sink.rest() == []

    def test_each_of_the_256_arrives_as_itself(self, plugged):
        cable, port = plugged
        sink = Sink()
        port.open(sink)
        every = bytes(range(256))
        cable.send(every)
        assert gather(sink, 256) == every

    def test_more_than_one_read_can_hold_arrives_whole(self, plugged):
        cable, port = plugged
        sink = Sink()
        port.open(sink)
        much = bytes(n % 251 for n in range(20_000))
        sender = threading.Thread(target=cable.send, args=(much,))
        sender.start()
        assert gather(sink, len(much)) == much
        sender.join()

    def test_the_time_of_arrival_never_goes_back(self, plugged):
        cable, port = plugged
        sink = Sink()
        port.open(sink)
        times = []
        for _ in range(5):
            cable.send(b"x")
            chunk = sink.next()
            times.append(chunk.mono_ns)
        assert times == sorted(set(times))

    def test_a_request_reaches_the_gauge(self, plugged):
        cable, port = plugged
        port.open(Sink())
        port.write(b"R\r")
        assert cable.hear(2) == b"R\r"

    def test_a_last_byte_is_not_lost_when_the_port_fails_right_behind_it(self):
        """A device that is gone between a first byte and the look for more. Made by hand.

        No cable can be pulled at that very moment at will.
        """

        class Going:
            def __init__(self):
                self.sent = [b"5"]

            def read(self, _size):
                if not self.sent:
                    raise OSError(errno.EIO, "gone")
                return self.sent.pop()

            @property
            def in_waiting(self):
                raise OSError(errno.EIO, "gone")

            def cancel_read(self): ...

            def close(self): ...

        class Scripted(SerialPort):
            def _open(self):
                self._device = Going()

        sink = Sink()
        port = Scripted("scripted", Line(), Ticks())
        port.open(sink)
        assert sink.next().data == b"5"
        assert isinstance(sink.next(), Lost)
        port.close()


class TestLoss:
    def test_a_pulled_cable_is_told_once_with_a_reason(self, plugged):
        cable, port = plugged
        sink = Sink()
        port.open(sink)
        cable.send(b"7.9")
        assert gather(sink, 3) == b"7.9"
        cable.pull()
        lost = sink.next()
        assert isinstance(lost, Lost)
        assert lost.why
        assert "select" not in lost.why
        port.close()
        assert sink.rest() == []

    def test_closing_tells_none(self, plugged):
        _, port = plugged
        sink = Sink()
        port.open(sink)
        port.close()
        assert sink.rest() == []

    def test_closing_twice_and_from_two_threads_is_harmless(self, plugged):
        _, port = plugged
        port.open(Sink())
        others = [threading.Thread(target=port.close) for _ in range(2)]
        for other in others:
            other.start()
        port.close()
        for other in others:
            other.join()
        port.close()

    def test_a_port_that_was_never_opened_can_be_closed(self):
        TcpPort("tcp://127.0.0.1:9", Ticks()).close()

    def test_the_thread_ends_with_the_cable(self, plugged):
        cable, port = plugged
        sink = Sink()
        port.open(sink)
        [thread] = [item for item in threading.enumerate() if item.name == f"port {port.name}"]
        cable.send(b"x")
        gather(sink, 1)
        cable.pull()
        assert isinstance(sink.next(), Lost)
        thread.join(20)
        assert not thread.is_alive()

    def test_writing_to_a_lost_port_is_refused_in_a_sentence(self, plugged):
        cable, port = plugged
        sink = Sink()
        port.open(sink)
        cable.send(b"x")
        gather(sink, 1)
        cable.pull()
        sink.next()
        port.close()
        with pytest.raises(PortError, match="is not open"):
            port.write(b"R\r")

    @needs_terminals
    def test_writing_to_a_terminal_that_is_gone_is_refused_in_a_sentence(self):
        cable, port = plug_in("terminal")
        sink = Sink()
        port.open(sink)
        cable.pull()
        sink.next()
        with pytest.raises(PortError, match="could not be written to"):
            port.write(b"R\r")
        port.close()

    def test_whatever_ends_the_reading_is_told(self):
        """A fault that is no fault of the system's must not leave a silent gauge either."""

        class Broken(Port):
            def _open(self): ...

            def _read(self):
                raise ValueError("filedescriptor out of range in select()")

            def _write(self, data): ...

            def _close(self): ...

        sink = Sink()
        port = Broken("broken", Ticks())
        port.open(sink)
        assert sink.next().why == "filedescriptor out of range in select()"
        port.close()

    def test_a_device_that_cannot_be_given_back_does_not_stop_closing(self):
        class Unplugged(Port):
            def _open(self): ...

            def _read(self):
                raise OSError(errno.ENODEV, "No such device")

            def _write(self, data): ...

            def _close(self):
                raise OSError(errno.EIO, "Input/output error")

        sink = Sink()
        port = Unplugged("unplugged", Ticks())
        port.open(sink)
        assert sink.next().why == "No such device"
        port.close()

    def test_a_port_can_be_closed_by_whoever_is_told_of_the_loss(self, plugged):
        cable, port = plugged
        sink = Sink()

        def close_at_once(item):
            if isinstance(item, Lost):
                port.close()
            sink(item)

        port.open(close_at_once)
        cable.send(b"x")
        gather(sink, 1)
        cable.pull()
        assert isinstance(sink.next(), Lost)


class TestAgain:
    def test_a_port_opens_again_after_closing(self, plugged):
        cable, port = plugged
        for text in (b"one", b"two"):
            sink = Sink()
            port.open(sink)
            if isinstance(cable, TcpCable):
                cable.forget()  # the gauge's end sees a new connection
            cable.send(text)
            assert gather(sink, 3) == text
            port.close()

    def test_a_gauge_behind_tcp_is_there_again_after_its_loss(self):
        with socket.create_server(("127.0.0.1", 0)) as listener:
            name = f"tcp://127.0.0.1:{listener.getsockname()[1]}"
            port = TcpPort(name, Ticks())
            for text in (b"one", b"two"):
                sink = Sink()
                port.open(sink)
                line, _ = listener.accept()
                with line:
                    line.sendall(text)
                    assert gather(sink, 3) == text
                assert isinstance(sink.next(), Lost)
                port.close()

    @needs_terminals
    def test_a_serial_gauge_is_there_again_after_its_loss(self, tmp_path):
        """The link stands for the fixed name that an adapter gets each time it is plugged in."""
        link = tmp_path / "gauge"
        port = SerialPort(str(link), Line(), Ticks())
        for text in (b"one", b"two"):
            cable = TerminalCable()
            link.symlink_to(cable.name)
            sink = Sink()
            port.open(sink)
            cable.send(text)
            assert gather(sink, 3) == text
            cable.pull()
            link.unlink()
            assert isinstance(sink.next(), Lost)
            port.close()

    def test_an_open_port_is_not_opened_again(self, plugged):
        _, port = plugged
        port.open(Sink())
        with pytest.raises(PortError, match="is open already"):
            port.open(Sink())


def refusal(port: Port) -> str:
    with pytest.raises(PortError) as fault:
        port.open(Sink())
    text = str(fault.value)
    assert "\n" not in text
    assert port.name in text
    return text


class TestRefusals:
    @needs_terminals
    def test_a_port_that_does_not_exist(self):
        text = refusal(SerialPort("/dev/no-such-gauge", Line(), Ticks()))
        assert "does not exist; plug the gauge in" in text

    @needs_terminals
    def test_a_port_in_use(self):
        cable, port = plug_in("terminal")
        port.open(Sink())
        text = refusal(SerialPort(cable.name, Line(), Ticks()))
        assert "in use by another program; close that program" in text
        port.close()
        port.open(Sink())
        port.close()
        cable.pull()

    @needs_terminals
    def test_a_file_that_is_no_port(self, tmp_path):
        file = tmp_path / "notes.txt"
        file.write_text("7.965")
        assert "is not a serial port" in refusal(SerialPort(str(file), Line(), Ticks()))

    @needs_terminals
    @pytest.mark.skipif(
        sys.platform != "win32" and os.geteuid() == 0, reason="root may open everything"
    )
    def test_a_port_without_the_right_to_it(self):
        cable, _ = plug_in("terminal")
        os.chmod(cable.name, 0)  # noqa: PTH101  a device, not a file of ours
        text = refusal(SerialPort(cable.name, Line(), Ticks()))
        cable.pull()
        assert "lacks the right to it" in text

    def test_a_connection_that_is_refused(self):
        with socket.create_server(("127.0.0.1", 0)) as listener:
            number = listener.getsockname()[1]
        text = refusal(TcpPort(f"tcp://127.0.0.1:{number}", Ticks()))
        assert "does not answer" in text
        assert "switched on" in text

    @pytest.mark.parametrize(
        "name",
        [
            "tcp://127.0.0.1", "tcp://:5000", "tcp://127.0.0.1:0", "tcp://127.0.0.1:65536",
            "tcp://127.0.0.1:99999", "tcp://127.0.0.1:\u00b2", "tcp://127.0.0.1:five",
            "tcp://127.0.0.1:5000:x", "tcp://", "",
        ],
    )  # fmt: skip
    def test_an_address_that_is_none(self, name):
        assert "accepted: tcp://host:number" in refusal(TcpPort(name, Ticks()))

    @pytest.mark.parametrize("host", ["x" * 64, "a..b", "a\0b"])
    def test_a_host_that_no_network_can_have(self, host):
        assert "does not answer" in refusal(TcpPort(f"tcp://{host}:5000", Ticks()))

    def test_a_port_that_is_not_open_takes_no_request(self):
        with pytest.raises(PortError, match="is not open"):
            TcpPort("tcp://127.0.0.1:9", Ticks()).write(b"R\r")


class TestSettings:
    @needs_terminals
    @pytest.mark.parametrize(
        "line",
        [
            Line(baud=4800, bytesize=7, parity="even", stopbits=2),
            Line(baud=115200, parity="odd", dtr=False, rts=False),
            Line(flow="xon/xoff"),
            Line(flow="rts/cts"),
        ],
        ids=str,
    )
    def test_the_settings_of_a_driver_file_are_those_of_the_line(self, line):
        """Asked of the terminal itself, not of the library that set it."""
        import termios  # noqa: PLC0415  does not exist everywhere

        cable, _ = plug_in("terminal")
        port = SerialPort(cable.name, line, Ticks())
        port.open(Sink())
        device = os.open(cable.name, os.O_RDWR | os.O_NOCTTY)
        iflag, _, cflag, _, speed, _, _ = termios.tcgetattr(device)
        os.close(device)
        port.close()
        cable.pull()
        assert speed == getattr(termios, f"B{line.baud}")
        # The kernel keeps a pseudo-terminal at eight bits without parity, whatever it is told.
        assert bool(cflag & termios.CSTOPB) == (line.stopbits == 2)
        assert bool(iflag & termios.IXON) == (line.flow == "xon/xoff")
        assert bool(cflag & termios.CRTSCTS) == (line.flow == "rts/cts")

    def test_an_address_in_the_longer_form_of_the_internet_protocol_is_understood(self):
        if not socket.has_ipv6:
            pytest.skip("this system has no such network")
        try:
            listener = socket.create_server(("::1", 0), family=socket.AF_INET6)
        except OSError:
            pytest.skip("this system has no such network")
        with listener:
            port = TcpPort(f"tcp://[::1]:{listener.getsockname()[1]}", Ticks())
            sink = Sink()
            port.open(sink)
            line, _ = listener.accept()
            with line:
                line.sendall(b"7.965")
                assert gather(sink, 5) == b"7.965"
            sink.next()
            port.close()
