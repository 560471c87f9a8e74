"""A bench file names a gauge on USB; its port is the gauge's, set as its driver file says."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from cable_kit import Sink, nothing_left
from usb_kit import Interface, SimulatedUsb, UsbGauge

from gaugelink import benchfile
from gaugelink.commands.bench_plug import Plugging
from gaugelink.errors import PortError
from gaugelink.ports.identity import PortIdentity
from gaugelink.ports.listing import present_ports
from gaugelink.simulate.encoders import Display, hid_report

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")

REPORT = hid_report(Display(7965, 3, "mm"))

FILE = """\
[bench]
name = "bench 1"
operator = "A. Demo"
record = "records"
[[gauge]]
id = "M1"
kind = "micrometer"
title = "Outside micrometer 0-25 mm"
serial = "DEMO-2107"
driver = "hid-report"
u = "0.0019 mm"
calibration_due = 2027-03-31
"""

BOUND = '[gauge.bind]\nusb = "1209:0001"\nserial_number = "A5069RR4"\n'


@dataclass
class Still:
    """Clocks that stand still."""

    name: str = "simulated"

    def utc(self) -> str:
        """Tell the wall clock."""
        return "2026-01-02T00:00:00.000000Z"

    def mono_ns(self) -> int:
        """Tell the bench clock."""
        return 1


@pytest.fixture
def wire(monkeypatch):
    """Give a machine whose USB is simulated, with two gauges of a make."""
    usb = SimulatedUsb()
    usb.plug(UsbGauge(serial_number="FT9K21XY"), 1)
    usb.plug(UsbGauge(serial_number="A5069RR4"), 2)
    for place in ("usb", "usb_listing"):
        monkeypatch.setattr(f"gaugelink.ports.{place}.system_backend", lambda: usb)
    return usb


def cable(text: str):
    file = benchfile.load(FILE + text, "bench.toml")
    [found] = Plugging(file, "D-0042", Still(), pytest.fail).cables(present_ports())
    return found


@pytest.mark.parametrize(
    "text",
    [
        BOUND,
        '[gauge.bind]\nusb = "1209:0001"\npath = "1-2"\nserial_number = "A5069RR4"\n',
        'port = "usb://1209:0001?serial=A5069RR4"\n',
        'port = "usb://1209:0001?path=1-2"\n',
    ],
)
def test_it_is_found_by_all_that_a_bench_file_can_say(wire, text):
    found, sink = cable(text), Sink()
    found.port.open(sink)
    wire.sockets[1].gauge.send(REPORT)
    assert sink.next().data == REPORT
    found.port.close()
    [arrived] = found.feed(REPORT, 1)
    assert str(arrived.value.shown) == "7.965 mm"
    assert wire.handles == 0


def test_the_name_that_the_list_gives_makes_it_known_by_its_serial_number(wire):
    found = cable('port = "usb://1209:0001?path=1-2"\n')
    assert found.identity == PortIdentity("serial number", 0x1209, 1, "A5069RR4", "1-2")


def test_one_of_several_interfaces_is_its_part(wire):
    wire.sockets[1].gauge.interfaces = (Interface(0), Interface(1, endpoints=(0x82,)))
    found = cable(BOUND + 'part = "1.1"\n')
    assert found.port.name == "usb://1209:0001?path=1-2&interface=1"


def test_one_that_is_not_plugged_in_says_so_when_it_is_opened(wire):
    wire.pull(wire.sockets[1].gauge)
    with pytest.raises(PortError, match="serial number A5069RR4 is not plugged in"):
        cable(BOUND).port.open(Sink())
    with pytest.raises(PortError, match="is not plugged in there; one of its make is in 1-1"):
        cable('port = "usb://1209:0001?path=1-2"\n').port.open(Sink())


def test_every_report_is_written_down_where_the_bench_keeps_bytes(wire, tmp_path):
    """That is how the layout of an unknown report is found out."""
    kept = f'record = "records"\nkeep_bytes = "{(tmp_path / "kept").as_posix()}"\n'
    file = benchfile.load(FILE.replace('record = "records"\n', kept) + BOUND, "bench.toml")
    [found] = Plugging(file, "D-0042", Still(), pytest.fail).cables(present_ports())
    sink = Sink()
    found.port.open(sink)
    wire.sockets[1].gauge.send(b"\x02\x03 unknown")
    assert sink.next().data == b"\x02\x03 unknown"
    found.port.close()
    [written] = (tmp_path / "kept").iterdir()
    assert "02 03 20 75 6e 6b 6e 6f 77 6e" in written.read_text(encoding="utf-8")
