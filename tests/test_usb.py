"""Gauges on USB: pyusb's own code against a simulated USB; one word when the plug is pulled."""

from __future__ import annotations

import errno
import threading

import pytest
from cable_kit import Sink, nothing_left
from hypothesis import given, strategies as st
from usb_kit import IN, NUMBERED, OUT, Interface, SimulatedUsb, UsbGauge

from gaugelink import content
from gaugelink.errors import PortError
from gaugelink.ports.identity import Found, NotFound, find, identity_of
from gaugelink.ports.listing import advise
from gaugelink.ports.naming import port_for
from gaugelink.ports.port import Lost
from gaugelink.ports.serial import Line
from gaugelink.ports.usb import UsbPort
from gaugelink.ports.usb_devices import UsbName, system_backend
from gaugelink.ports.usb_listing import present_usb
from gaugelink.simulate.encoders import Display, hid_report
from gaugelink.wire.base import Value
from gaugelink.wire.driver import load_driver

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")

REPORT = hid_report(Display(7965, 3, "mm"))
NAME = "usb://1209:0001"


class Ticks:
    """A monotonic clock that goes on by one with every look at it."""

    def __init__(self) -> None:
        self.now = 0

    def __call__(self) -> int:
        self.now += 1
        return self.now


@pytest.fixture
def wire():
    """Give a USB with one gauge in the socket 1-2.3."""
    usb = SimulatedUsb()
    usb.plug(UsbGauge(serial_number="A5069RR4"), 2, 3)
    yield usb
    assert usb.handles == 0, "a device is left open"


@pytest.fixture
def gauge(wire):
    return wire.sockets[0].gauge


def opened(wire: SimulatedUsb, name: str = NAME, **settings) -> tuple[UsbPort, Sink]:
    port, sink = UsbPort(name, Ticks(), backend=wire, **settings), Sink()
    port.open(sink)
    return port, sink


def refusal(wire: SimulatedUsb, name: str = NAME, **settings) -> str:
    with pytest.raises(PortError) as fault:
        opened(wire, name, **settings)
    assert "\n" not in str(fault.value)
    assert str(fault.value).count(name) >= 1
    return str(fault.value)


class TestReports:
    def test_each_is_a_chunk_with_its_time(self, wire, gauge):
        port, sink = opened(wire)
        for count in range(3):
            gauge.send(hid_report(Display(count, 3, "mm")))
        chunks = [sink.next() for _ in range(3)]
        port.close()
        assert [one.data for one in chunks] == [hid_report(Display(n, 3, "mm")) for n in range(3)]
        assert [one.mono_ns for one in chunks] == sorted({one.mono_ns for one in chunks})
        assert sink.rest() == []

    def test_are_read_by_the_driver_that_ships(self, wire, gauge):
        decoder = load_driver(*content.read("drivers", "hid-report")).decoder(joined_midstream=True)
        port, sink = opened(wire)
        gauge.send(REPORT)
        [value] = decoder.feed(sink.next().data)
        port.close()
        assert isinstance(value, Value)
        assert str(value.shown) == "7.965 mm"

    def test_come_after_any_number_of_waits_that_were_over(self, wire, gauge):
        """A silent gauge is not lost, nor one whose read was interrupted."""
        port, sink = opened(wire)
        gauge.waited(3)
        gauge.fail(errno.EINTR)
        gauge.fail(errno.EAGAIN)
        gauge.send(REPORT)
        assert sink.next().data == REPORT
        port.close()
        assert sink.rest() == []

    def test_longer_than_a_packet_come_packet_by_packet(self, wire, gauge):
        port, sink = opened(wire)
        gauge.send(bytes(64))
        gauge.send(bytes(3))
        assert len(sink.next().data + sink.next().data) == 67
        port.close()

    def test_come_from_the_interface_and_endpoint_that_the_driver_names(self, wire, gauge):
        gauge.interfaces = (
            Interface(0, kind=(3, 1, 1)), Interface(1, endpoints=(0x82,)),
            Interface(2, kind=(255, 0, 0), endpoints=(0x83, 0x84)),
        )  # fmt: skip
        wanted = [({}, 1), ({"interface": 2}, 2), ({"interface": 2, "endpoint": 0x84}, 2)]
        for settings, number in wanted:
            port, sink = opened(wire, **settings)
            assert gauge.claimed == {number}
            gauge.send(REPORT)
            assert sink.next().data == REPORT
            port.close()
        port, _ = opened(wire, NAME + "?interface=1", interface=2)
        assert gauge.claimed == {1}
        port.close()


class TestTaking:
    def test_puts_the_systems_driver_aside_and_gives_the_gauge_back(self, wire, gauge):
        port, _ = opened(wire)
        assert not gauge.driver_active
        port.close()
        assert gauge.driver_active
        assert gauge.claimed == set()
        assert gauge.detached == 1

    def test_leaves_an_interface_that_no_driver_has(self, wire, gauge):
        gauge.driver_active = False
        port, _ = opened(wire)
        port.close()
        assert not gauge.driver_active

    def test_goes_on_where_the_system_cannot_put_a_driver_aside(self):
        wire = SimulatedUsb(kernel_drivers=False)
        gauge = UsbGauge()
        wire.plug(gauge, 1)
        port, sink = opened(wire)
        gauge.send(REPORT)
        assert sink.next().data == REPORT
        port.close()
        assert wire.handles == 0

    def test_sets_a_configuration_that_nobody_had_set(self, wire, gauge):
        gauge.configuration = 0
        port, _ = opened(wire)
        assert gauge.configuration == 1
        port.close()

    def test_can_be_done_again_after_closing(self, wire, gauge):
        port, _ = opened(wire)
        for _ in range(2):
            port.close()
            sink = Sink()
            port.open(sink)
            gauge.send(REPORT)
            assert sink.next().data == REPORT
        port.close()


class TestLoss:
    @pytest.mark.parametrize("number", [errno.ENODEV, errno.EIO, errno.EPROTO, errno.EOVERFLOW])
    def test_in_mid_read_is_told_once_with_a_reason(self, wire, gauge, number):
        wire.gone[0] = number
        port, sink = opened(wire)
        gauge.send(REPORT)
        assert sink.next().data == REPORT
        wire.pull(gauge)
        lost = sink.next()
        assert isinstance(lost, Lost)
        assert lost.why
        with pytest.raises(PortError, match="could not be written to"):
            port.write(b"R")
        port.close()
        assert sink.rest() == []

    def test_by_a_pulled_plug_that_shows_as_a_stall_first_is_told_once(self, wire, gauge):
        """From memory: a pulled device may answer with a pipe error before the system knows."""
        wire.gone.appendleft(errno.EPIPE)
        port, sink = opened(wire)
        wire.pull(gauge)
        assert sink.next().why == "the gauge was unplugged"
        port.close()
        assert sink.rest() == []

    def test_closing_tells_none(self, wire):
        port, sink = opened(wire)
        port.close()
        assert sink.rest() == []

    def test_ends_the_thread(self, wire, gauge):
        port, sink = opened(wire)
        [thread] = [one for one in threading.enumerate() if one.name == f"port {NAME}"]
        wire.pull(gauge)
        sink.next()
        thread.join(20)
        assert not thread.is_alive()
        port.close()


class TestStall:
    def test_of_a_gauge_that_goes_on_costs_nothing(self, wire, gauge):
        port, sink = opened(wire)
        for _ in range(3):
            gauge.fail(errno.EPIPE)
            gauge.send(REPORT)
            assert sink.next().data == REPORT
        port.close()
        assert gauge.cleared == 3
        assert sink.rest() == []

    def test_twice_with_nothing_between_is_a_loss(self, wire, gauge):
        port, sink = opened(wire)
        gauge.fail(errno.EPIPE)
        gauge.fail(errno.EPIPE)
        lost = sink.next()
        assert isinstance(lost, Lost)
        assert "it stalls" in lost.why
        port.close()


class TestRefusals:
    def test_a_gauge_that_is_not_there(self, wire):
        assert "is not plugged in; plug the gauge in" in refusal(wire, "usb://1209:0002")
        words = refusal(wire, NAME + "?path=1-9")
        assert "is not plugged in there; one of its make is in 1-2.3" in words

    def test_a_gauge_without_the_right_to_it(self, wire, gauge):
        gauge.refused = errno.EACCES
        for name in (NAME, NAME + "?serial=A5069RR4", NAME + "?path=1-2.3"):
            words = refusal(wire, name)
            assert "lacks the right to the gauge; on Linux add a udev rule" in words
            assert "WinUSB" in words

    def test_a_gauge_that_another_program_has(self, wire, gauge):
        first, _ = opened(wire)
        assert "in use by another program; close that program" in refusal(wire)
        first.close()
        second, _ = opened(wire)
        second.close()

    def test_a_gauge_that_another_program_has_gets_the_systems_driver_back(self, wire, gauge):
        gauge.claimed.add(0)
        refusal(wire)
        assert gauge.driver_active

    def test_a_system_that_keeps_the_gauge_to_itself(self, wire, gauge):
        gauge.refused = errno.ENOSYS
        assert "this system keeps the gauge to its own driver" in refusal(wire)

    def test_a_fault_that_nobody_knows_is_named(self, wire, gauge):
        gauge.refused = errno.ENOMEM
        assert "could not be opened (simulated refusal)" in refusal(wire)

    def test_a_gauge_without_such_an_endpoint(self, wire, gauge):
        assert "no input endpoint 85 for reports" in refusal(wire, endpoint=0x85)
        assert "for reports on its interface 7" in refusal(wire, interface=7)
        gauge.interfaces = (Interface(kind=(3, 1, 1)),)
        assert "no input endpoint for reports" in refusal(wire)
        gauge.interfaces = (Interface(endpoints=(OUT,)),)
        assert "no input endpoint for reports" in refusal(wire)

    def test_two_of_a_make_without_serial_numbers(self, wire):
        wire.plug(UsbGauge(), 4)
        words = refusal(wire)
        assert "is there 2 times, in the sockets 1-2.3 and 1-4" in words
        assert "?path=" in words

    def test_a_machine_without_libusb_is_told_only_at_opening(self, monkeypatch):
        monkeypatch.setattr("gaugelink.ports.usb.system_backend", lambda: None)
        port = UsbPort(NAME, Ticks())
        with pytest.raises(PortError, match="libusb is not on this machine; install it"):
            port.open(Sink())

    @pytest.mark.parametrize(
        "name",
        [
            "usb://", "usb://1209", "usb://1209:", "usb://12090:0001", "usb://1209:000g",
            "usb://1209:0001?", "usb://1209:0001?serial=", "usb://1209:0001?socket=1",
            "usb://1209:0001?path=1&path=2", "usb://1209:0001?interface=x",
            "usb://1209:0001?interface=\u00b2", "usb://1209:0001?serial", "usb://1209:0001/1",
        ],
    )  # fmt: skip
    def test_a_name_that_is_none(self, wire, name):
        assert "accepted: usb://maker:product" in refusal(wire, name)


class TestRequests:
    def test_go_out_by_the_output_endpoint_if_there_is_one(self, wire, gauge):
        gauge.interfaces = (Interface(endpoints=(IN, OUT)),)
        port, _ = opened(wire)
        port.write(b"\x51\x01")
        port.close()
        assert gauge.heard == [("out", OUT, b"\x51\x01")]

    @pytest.mark.parametrize(
        ("descriptor", "identifier"), [(NUMBERED, 0x51), (Interface().descriptor, 0)]
    )
    def test_go_as_a_class_request_with_the_identifier_if_reports_have_one(
        self, wire, gauge, descriptor, identifier
    ):
        gauge.interfaces = (Interface(descriptor=descriptor),)
        port, _ = opened(wire)
        for _ in range(2):
            port.write(b"\x51\x01")
        port.close()
        assert gauge.heard == [("set report", identifier, b"\x51\x01")] * 2

    def test_after_closing_are_refused_and_open_nothing(self, wire):
        port, _ = opened(wire)
        port.close()
        with pytest.raises(PortError, match="is not open"):
            port.write(b"R")
        with pytest.raises(OSError, match="the port was closed"):
            port._write(b"R")
        assert wire.handles == 0


class TestListing:
    def test_names_gauges_by_socket_and_leaves_keyboards_and_other_devices_out(self, wire):
        wire.plug(UsbGauge(pid=2, interfaces=(Interface(kind=(3, 1, 1)),)), 4)
        wire.plug(UsbGauge(pid=3, interfaces=(Interface(kind=(8, 6, 80)),)), 5)
        wire.plug(UsbGauge(pid=4, product="Depth gauge"), 1, bus=2)
        first, second = present_usb(wire)
        assert (first.name, first.path) == (NAME + "?path=1-2.3", "1-2.3")
        assert (first.vid, first.pid, first.serial_number) == (0x1209, 1, "A5069RR4")
        assert (second.name, second.description) == ("usb://1209:0004?path=2-1", "Depth gauge")

    def test_gives_each_interface_of_a_gauge_with_several_a_name_of_its_own(self, wire, gauge):
        gauge.interfaces = (Interface(0), Interface(1, endpoints=(0x82,)))
        first, second = present_usb(wire)
        assert second.name == NAME + "?path=1-2.3&interface=1"
        assert (first.path, second.path) == ("1-2.3:1.0", "1-2.3:1.1")
        for here in (first, second):
            known = identity_of(here, [first, second])
            assert known.binds == "serial number"
            assert find(known, [first, second]) == Found(here.name)

    def test_lists_a_gauge_that_may_not_be_read_and_says_so(self, wire, gauge):
        gauge.refused = errno.EACCES
        [here] = present_usb(wire)
        assert here.serial_number == ""
        assert "whose serial number this user may not read" in here.description

    def test_leaves_a_gauge_that_is_in_use_alone(self, wire, gauge):
        port, sink = opened(wire)
        assert len(present_usb(wire)) == 1
        gauge.send(REPORT)
        assert sink.next().data == REPORT
        port.close()

    def test_has_names_that_open_the_gauge_and_no_other(self, wire, gauge):
        other = UsbGauge(serial_number="FT9K21XY")
        wire.plug(other, 4)
        for here, wanted in zip(present_usb(wire), (gauge, other), strict=True):
            port, _ = opened(wire, here.name)
            assert wanted.claimed == {0}
            port.close()
            port, _ = opened(wire, f"{NAME}?serial={here.serial_number}")
            assert wanted.claimed == {0}
            port.close()

    def test_goes_by_the_serial_number_where_the_system_tells_no_socket(self):
        wire = SimulatedUsb()
        wire.plug(UsbGauge(serial_number="A5069RR4"))
        wire.plug(UsbGauge())
        names = [port.name for port in present_usb(wire)]
        assert names == [NAME, NAME + "?serial=A5069RR4"]
        port, _ = opened(wire, names[1])
        port.close()

    def test_advises_the_serial_number_and_else_the_socket(self, wire):
        wire.plug(UsbGauge(), 4)
        wire.plug(UsbGauge(), 5)
        by = {item.port.name: item for item in advise(present_usb(wire))}
        assert by[NAME + "?path=1-2.3"].identity.binds == "serial number"
        for number, other in ((4, 5), (5, 4)):
            advice = by[f"{NAME}?path=1-{number}"]
            assert advice.identity.binds == "path"
            assert advice.swap_risk
            assert f"{NAME}?path=1-{other} is of the same make" in advice.words

    def test_has_nothing_where_libusb_is_not_on_the_machine(self, monkeypatch):
        monkeypatch.setattr("gaugelink.ports.usb_listing.system_backend", lambda: None)
        assert present_usb() == []

    def test_of_this_machine_can_be_had(self):
        assert present_usb() == present_usb(system_backend())


class TestIdentity:
    def test_finds_a_gauge_under_another_address_and_in_another_socket(self, wire, gauge):
        [before] = present_usb(wire)
        known = identity_of(before, [before])
        wire.pull(gauge)
        assert isinstance(find(known, present_usb(wire)), NotFound)
        wire.plug(gauge, 7)
        assert find(known, present_usb(wire)) == Found(NAME + "?path=1-7")

    def test_of_two_alike_without_serial_numbers_is_the_socket(self):
        wire = SimulatedUsb()
        one, two = UsbGauge(), UsbGauge()
        wire.plug(one, 4)
        wire.plug(two, 5)
        first, second = present_usb(wire)
        known = identity_of(first, [first, second])
        wire.pull(one)
        found = find(known, present_usb(wire))
        assert isinstance(found, NotFound)
        assert "cannot be told apart" in found.reason
        wire.plug(one, 4)
        assert find(known, present_usb(wire)) == Found(first.name)


@given(
    vid=st.integers(0, 0xFFFF), pid=st.integers(0, 0xFFFF), serial=st.text(max_size=20),
    path=st.sampled_from(["", "1-2", "3-1.4.2"]), interface=st.none() | st.integers(0, 31),
)  # fmt: skip
def test_any_name_that_is_written_is_read_as_the_same(vid, pid, serial, path, interface):
    try:
        serial.encode()
    except UnicodeEncodeError:
        return
    name = UsbName(vid, pid, serial, path, interface)
    assert UsbName.parse(str(name)) == name


def test_a_name_makes_the_port_with_the_settings_of_the_driver_file():
    port = port_for(NAME, Line(interface=2, endpoint=0x83), Ticks())
    assert isinstance(port, UsbPort)
    assert (port.name, port._interface, port._endpoint) == (NAME, 2, 0x83)
