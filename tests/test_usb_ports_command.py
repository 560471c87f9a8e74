"""The command `ports` finds gauges on USB, and listens to those that a driver file names."""

from __future__ import annotations

import errno
import json

import pytest
from cable_kit import nothing_left
from usb_kit import IN, OUT, Interface, SimulatedUsb, UsbGauge

from gaugelink.commands.ports import Listener
from gaugelink.simulate.encoders import Display, hid_report

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")

GAUGE = "usb://1209:0001?path=1-2"
OTHER = "usb://1209:0777?path=1-3"


@pytest.fixture
def wire(monkeypatch):
    """Give a machine whose USB is simulated, with a known gauge and an unknown device."""
    usb = SimulatedUsb()
    usb.plug(UsbGauge(serial_number="A5069RR4"), 2)
    usb.plug(UsbGauge(pid=0x777, product="Unknown thing"), 3)
    for place in ("usb", "usb_listing"):
        monkeypatch.setattr(f"gaugelink.ports.{place}.system_backend", lambda: usb)
    return usb


def ports(run_cli, *args: str):
    status, out, err = run_cli("ports", "--json", *args)
    assert all("up to " in line for line in err.splitlines()), "only how long it will take"
    return status, {one["port"]: one for one in json.loads(out)["ports"]}


def test_gauges_on_usb_are_listed_with_what_binds_them(run_cli, wire):
    status, found = ports(run_cli)
    assert status == 0
    gauge = found[GAUGE]
    assert (gauge["usb"], gauge["serial_number"]) == ("1209:0001", "A5069RR4")
    assert gauge["path"] == "1-2"
    assert gauge["bind"]["by"] == "serial number"
    assert found[OTHER]["bind"]["by"] == "path"
    assert found[OTHER]["description"] == "Unknown thing"
    assert wire.handles == 0


def test_a_machine_without_libusb_lists_its_serial_ports(run_cli, monkeypatch, wire):
    monkeypatch.setattr("gaugelink.ports.usb_listing.system_backend", lambda: None)
    status, found = ports(run_cli)
    assert status == 0
    assert not any(name.startswith("usb:") for name in found)


def test_the_driver_that_names_a_gauge_and_understands_it_is_told(run_cli, wire):
    gauge = wire.sockets[0].gauge
    for count in (7964, 7965):
        gauge.send(hid_report(Display(count, 3, "mm")))
    status, found = ports(run_cli, "--listen", "0.2", "--port", GAUGE)
    heard = found[GAUGE]["heard"]
    assert heard["fits"] == ["hid-report"]
    assert heard["words"] == "hid-report fits: it read 7.964 mm, 7.965 mm"
    assert [one["driver"] for one in heard["drivers"]] == ["hid-report"]
    assert status == 0
    assert wire.handles == 0


def test_a_device_that_no_driver_file_names_is_never_taken(run_cli, wire):
    wire.sockets[1].gauge.refused = errno.EACCES
    status, found = ports(run_cli, "--listen", "0.1", "--port", OTHER)
    heard = found[OTHER]["heard"]
    assert status == 1
    assert heard["opened"] is False
    assert "left alone: no driver file names its maker and product" in heard["words"]
    assert wire.sockets[1].gauge.detached == 0


def test_a_gauge_without_the_right_to_it_is_told_with_what_to_do(run_cli, wire):
    wire.sockets[0].gauge.refused = errno.EACCES
    status, found = ports(run_cli, "--listen", "0.1", "--port", GAUGE)
    assert status == 1
    assert "add a udev rule" in found[GAUGE]["heard"]["words"]


def test_a_name_that_is_none_is_refused_in_a_sentence(run_cli, wire):
    status, found = ports(run_cli, "--listen", "0.1", "--port", "usb://nine")
    assert status == 1
    assert "accepted: usb://maker:product" in found["usb://nine"]["heard"]["words"]


def test_nothing_is_sent_to_a_gauge_that_speaks_by_itself(wire):
    wire.sockets[0].gauge.interfaces = (Interface(endpoints=(IN, OUT)),)
    waited: list[float] = []
    heard = Listener(1.0, ask=True, wait=waited.append).listen(GAUGE)
    assert heard["opened"]
    assert wire.sockets[0].gauge.heard == []
    assert waited == [1.0]
