"""A gauge on USB that was unplugged is taken back at whatever address it has then."""

from __future__ import annotations

import asyncio

import pytest
from bench_kit import Rig, make_rig, run, running
from cable_kit import nothing_left
from usb_kit import SimulatedUsb, UsbGauge

from gaugelink import content
from gaugelink.capture.actions import act
from gaugelink.capture.watcher import Watcher
from gaugelink.ports.identity import identity_of
from gaugelink.ports.usb import UsbPort
from gaugelink.ports.usb_listing import present_usb
from gaugelink.simulate.encoders import Display, hid_report
from gaugelink.wire.driver import load_driver

pytestmark = pytest.mark.usefixtures("nothing_left")
__all__ = ["nothing_left"]


class UsbCable:
    """The micrometer of a bench, on a simulated USB among others of its make."""

    def __init__(self, wire: SimulatedUsb, gauge: UsbGauge) -> None:
        self.wire = wire
        self.gauge = gauge
        [self.name] = [one.name for one in present_usb(wire) if one.path == "1-2"]

    def send(self, data: bytes) -> None:
        """Send a report."""
        self.gauge.send(data)

    def hear(self, count: int) -> bytes:
        """Nothing is asked of this gauge."""
        raise AssertionError(count)

    def pull(self) -> None:
        """Pull the plug, if it is in."""
        if any(socket.gauge is self.gauge for socket in self.wire.sockets):
            self.wire.pull(self.gauge)


def pressed(counts: int) -> bytes:
    return hid_report(Display(counts, 3, "mm"))


def rig_on_usb(tmp_path, serial_number: str) -> tuple[Rig, UsbCable, Watcher]:
    wire, gauge = SimulatedUsb(), UsbGauge(serial_number=serial_number)
    wire.plug(gauge, 2)
    wire.plug(UsbGauge(serial_number=serial_number and "FT9K21XY"), 3)
    cable = UsbCable(wire, gauge)
    driver = load_driver(*content.read("drivers", "hid-report"))
    rig = make_rig(tmp_path, drivers={"M1": driver})
    rig.cables["M1"].pull()
    rig.cables["M1"] = cable

    def plug(name: str) -> UsbPort:
        return UsbPort(name, rig.clock.mono_ns, backend=wire)

    ours = rig.bench.cable_of("M1")
    ours.port, ours.plug = plug(cable.name), plug
    present = present_usb(wire)
    ours.identity = identity_of(next(p for p in present if p.name == cable.name), present)
    return rig, cable, Watcher(rig.bench, lambda: present_usb(wire), asyncio.sleep)


def shown(rig: Rig) -> list[str]:
    return [item.shown.text for item in rig.session.readings()]


def test_another_address_and_socket_do_not_matter_to_a_serial_number(tmp_path):
    async def test():
        rig, cable, watcher = rig_on_usb(tmp_path, "A5069RR4")
        async with running(tmp_path, rig=rig):
            await rig.press("M1", pressed(7964))
            address = cable.wire.sockets[0].address
            cable.pull()
            await rig.until(lambda: rig.session.lost == {"M1"})
            assert await watcher.look() == []
            cable.wire.plug(cable.gauge, 1, 4)
            assert cable.wire.sockets[-1].address != address
            assert await watcher.look() == ["M1"]
            assert rig.bench.cable_of("M1").port.name == "usb://1209:0001?path=1-1.4"
            await act(rig.bench, {"do": "confirm-position"})
            await rig.press("M1", pressed(7962))
            assert shown(rig) == ["7.964", "7.962"]
            assert rig.kinds().count("gauge-lost") == 1
        assert cable.wire.handles == 0

    run(test())


def test_without_serial_numbers_only_the_old_socket_will_do(tmp_path):
    async def test():
        rig, cable, watcher = rig_on_usb(tmp_path, "")
        async with running(tmp_path, rig=rig):
            cable.pull()
            await rig.until(lambda: rig.session.lost == {"M1"})
            cable.wire.plug(cable.gauge, 4)
            for _ in range(2):
                assert await watcher.look() == []
            [sentence] = [one for one in rig.audience.warnings() if "not taken back" in one]
            assert "cannot be told apart: plug the gauge in where it was" in sentence
            cable.pull()
            cable.wire.plug(cable.gauge, 2)
            assert await watcher.look() == ["M1"]
            await act(rig.bench, {"do": "confirm-position"})
            await rig.press("M1", pressed(7963))
            assert shown(rig) == ["7.963"]

    run(test())


def test_a_gauge_that_this_user_may_no_longer_open_is_said_once_and_stays_lost(tmp_path):
    async def test():
        rig, cable, watcher = rig_on_usb(tmp_path, "")
        async with running(tmp_path, rig=rig):
            cable.pull()
            await rig.until(lambda: rig.session.lost == {"M1"})
            cable.gauge.refused = 13
            cable.wire.plug(cable.gauge, 2)
            for _ in range(2):
                assert await watcher.look() == []
            [sentence] = [one for one in rig.audience.warnings() if "not taken back" in one]
            assert "add a udev rule" in sentence
            cable.gauge.refused = None
            assert await watcher.look() == ["M1"]

    run(test())
