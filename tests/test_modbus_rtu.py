"""A counter on a serial line, served by pymodbus on the other end of a real pair of terminals."""

from __future__ import annotations

import os
import re
from dataclasses import replace

import pytest
from cable_kit import PATIENCE_S, nothing_left
from modbus_kit import Asker, Counter, serve_rtu
from peers_kit import socat
from pymodbus.constants import ExcCodes
from pymodbus.framer import FramerRTU
from pymodbus.pdu import DecodePDU
from pymodbus.pdu.register_message import ReadHoldingRegistersRequest

from gaugelink import content
from gaugelink.capture.channel import line_of
from gaugelink.head import Position
from gaugelink.ports.port import Lost
from gaugelink.ports.serial import SerialPort
from gaugelink.quantity import parse_length
from gaugelink.reading import Gauge
from gaugelink.slips import Taken, look
from gaugelink.wire.base import Noise, Value
from gaugelink.wire.driver import load_driver
from gaugelink.wire.registers import SECOND_PROGRAM

__all__ = ["nothing_left", "socat"]

pytestmark = pytest.mark.usefixtures("nothing_left")

HIGH = load_driver(*content.read("drivers", "modbus-registers"))
LOW = load_driver(*content.read("drivers", "modbus-registers-low"))


class Bus:
    """Counter and asker at the two ends of a line."""

    def __init__(self, ends, driver=HIGH, **counter):
        self.counter = Counter(low_word_first=driver is LOW, **counter)
        self.served = serve_rtu(self.counter, ends.theirs)
        line = replace(line_of(driver), parity="none")  # a pseudo-terminal has none
        port = SerialPort(ends.ours, line, lambda: 0)
        self.asker = Asker(port, driver)

    def close(self):
        self.asker.port.close()
        self.served.stop()


@pytest.fixture
def bus(socat):
    bus = Bus(socat)
    yield bus
    bus.close()


@pytest.mark.parametrize("driver", [HIGH, LOW], ids=["high word first", "low word first"])
def test_values_come_with_their_sign_and_places_in_either_word_order(socat, driver):
    bus = Bus(socat, driver)
    shown = [(7965, 3, "mm", "7.965 mm"), (-12345, 3, "mm", "-12.345 mm"), (0, 2, "mm", "0.00 mm"),
             (65536, 0, "mm", "65536 mm"), (-1, 4, "in", "-0.0001 in"),
             (2**31 - 1, 3, "mm", "2147483.647 mm")]  # fmt: skip
    for counts, places, unit, words in shown:
        bus.counter.show(counts, places, unit)
        assert bus.asker.value() == words
    bus.close()


def test_in_the_wrong_word_order_a_value_is_far_too_large_which_a_known_block_shows(socat):
    bus = Bus(socat, HIGH)
    bus.counter._low_word_first = True
    bus.counter.show(7965, 3, "mm")
    assert bus.asker.value() == "521994.240 mm"  # 7965 * 65536 counts
    bus.close()


def test_every_byte_of_a_value_is_kept_and_reads_the_same_again(bus):
    bus.counter.show(7965, 3, "mm")
    bus.asker.ask()
    (item,) = bus.asker.hear()
    assert item.raw == bus.asker.raw
    decoder = HIGH.decoder()
    assert decoder.feed(item.raw) == [item]


def test_unit_and_places_changed_at_the_display_come_with_the_next_value_and_are_asked_about(bus):
    """A stem: 7.965 mm is 0.3136 in. The slip is noticed by the unit, without a guess."""
    bus.counter.show(7965, 3, "mm")
    first = bus.asker.value()
    bus.counter.show(3136, 4, "in")
    second = bus.asker.value()
    assert (first, second) == ("7.965 mm", "0.3136 in")
    bus.counter.show(79655, 4, "mm")
    assert bus.asker.value() == "7.9655 mm"

    place = [Position("1I", "stem diameter", station, "along") for station in ("top", "middle")]
    gauge = Gauge("D1", "depth gauge", "Counter", "no. 1", HIGH.name, 1_000_000, "2030-01-01")
    before = [Taken(place[0], parse_length(first), "D1", 0)]
    found = look(place[1], parse_length(second), gauge, 10**10, before, None)
    assert [item.code for item in found] == ["wrong unit"]


def test_a_unit_that_the_driver_file_does_not_have_is_no_value(bus):
    bus.counter.show(7965, 3, "degrees")
    assert bus.asker.noise() == "found the unit 7, the driver file has: 0, 1"


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (ExcCodes.ILLEGAL_ADDRESS, "exception 2, it has no such register"),
        (ExcCodes.DEVICE_BUSY, "exception 6, it is busy"),
        (ExcCodes.DEVICE_FAILURE, "exception 4, it has failed"),
    ],
)
def test_an_exception_is_said_and_the_next_answer_counts(bus, code, words):
    bus.counter.show(7965, 3, "mm")
    bus.counter.refuses = code
    assert bus.asker.noise() == f"the gauge reports: {words}"
    bus.counter.refuses = None
    assert bus.asker.value() == "7.965 mm"


def test_registers_that_the_counter_does_not_have_are_said_to_be_so(socat):
    """The counter has eight registers; four from the sixth are more than it has."""
    frame = HIGH.frame.model_copy(update={"start": 5})
    bus = Bus(socat, HIGH.model_copy(update={"frame": frame}))
    assert bus.asker.noise() == "the gauge reports: exception 2, it has no such register"
    bus.close()


def test_a_counter_of_another_address_gives_no_value(socat):
    """The server answers for the missing device that it failed; a counter would be silent."""
    bus = Bus(socat, address=9)
    assert bus.asker.noise().startswith("the gauge reports: exception")
    bus.close()


def test_a_slow_counter_gives_its_value_late_and_once(bus):
    bus.counter.show(7965, 3, "mm")
    bus.counter.turn.clear()
    bus.asker.ask()
    assert bus.counter.asked.get(timeout=PATIENCE_S) == (0, 4)
    bus.counter.show(7966, 3, "mm")
    bus.counter.turn.set()
    (item,) = bus.asker.hear()
    assert str(item.shown) == "7.966 mm"  # what it shows when it answers
    bus.asker.port.close()
    assert bus.asker.sink.rest() == []


def test_a_counter_whose_cable_is_pulled_is_lost_once(socat):
    bus = Bus(socat)
    bus.counter.show(7965, 3, "mm")
    assert bus.asker.value() == "7.965 mm"
    bus.served.stop()
    socat.end()
    lost = bus.asker.sink.next()
    assert isinstance(lost, Lost)
    bus.asker.port.close()
    assert bus.asker.sink.rest() == []


class TestTwoPrograms:
    """Fault "two programs on one port": a second one asks on the line that is ours."""

    @staticmethod
    def write_past_the_lock(name: str, data: bytes) -> None:
        """Write into a port that we hold, as a program does that asks for no lock."""
        handle = os.open(name, os.O_WRONLY | os.O_NOCTTY)
        os.write(handle, data)
        os.close(handle)

    def test_the_same_request_by_another_gives_the_same_value_twice_which_counts_once(
        self, bus, socat
    ):
        """Two answers come to one request of ours; `Channel.unwanted` keeps the second one out."""
        bus.counter.show(7965, 3, "mm")
        bus.asker.ask()
        (first,) = bus.asker.hear()
        self.write_past_the_lock(socat.ours, HIGH.request)
        (second,) = bus.asker.hear()
        assert (bus.asker.sent, str(first.shown), str(second.shown)) == (1, "7.965 mm", "7.965 mm")

    def test_fewer_registers_asked_for_by_another_are_no_value(self, bus, socat):
        bus.counter.show(7965, 3, "mm")
        request = HIGH.frame.model_copy(update={"registers": 2}).request_bytes
        self.write_past_the_lock(socat.ours, request)
        bus.counter.asked.get(timeout=PATIENCE_S)
        bus.asker.ask()
        *noise, item = bus.asker.hear(2)
        assert {type(one) for one in noise} == {Noise}
        assert str(item.shown) == "7.965 mm"


def on_the_wires(start: int, count: int, address: int = 1) -> bytes:
    """The request of a second program, as pymodbus makes it."""
    request = ReadHoldingRegistersRequest(address=start, count=count, dev_id=address)
    return FramerRTU(DecodePDU(False)).buildFrame(request)


def answer(*registers: int) -> bytes:
    body = bytes([1, 3, 2 * len(registers)])
    body += b"".join(one.to_bytes(2, "big") for one in registers)
    return body + FramerRTU.compute_CRC(body).to_bytes(2, "big")


class TestOnTheSameWires:
    """On two wires both requests and both answers are heard by everybody."""

    def test_other_registers_of_the_same_counter_are_not_taken_for_the_value(self):
        """111.222 is no position: the register that a second program wanted holds a limit."""
        decoder = HIGH.decoder()
        theirs, other, own = on_the_wires(4, 4), answer(0, 11122, 3, 0), answer(0, 7965, 3, 0)
        request, refused, value = decoder.feed(theirs + other + own)
        assert request == Noise(theirs, f"a request for 4 registers from 4: {SECOND_PROGRAM}")
        assert refused == Noise(other, f"the answer to another request: {SECOND_PROGRAM}")
        assert isinstance(value, Value)
        assert (str(value.shown), value.notes) == ("7.965 mm", (SECOND_PROGRAM,))
        (again,) = decoder.feed(own)
        assert again.notes == ()

    def test_the_same_registers_are_the_value_whoever_asked(self):
        request, value = HIGH.decoder().feed(HIGH.request + answer(0, 7965, 3, 0))
        assert request == Noise(HIGH.request, "the request for these registers")
        assert str(value.shown) == "7.965 mm"

    def test_an_exception_that_another_gets_ends_its_request(self):
        broken = bytes.fromhex("01 83 02 c0 f1")
        *_, value = HIGH.decoder().feed(on_the_wires(40, 4) + broken + answer(0, 7965, 3, 0))
        assert str(value.shown) == "7.965 mm"

    def test_what_another_asks_of_another_counter_does_not_touch_ours(self):
        *noise, value = HIGH.decoder().feed(on_the_wires(4, 4, address=2) + answer(0, 7965, 3, 0))
        assert {type(one) for one in noise} == {Noise}
        assert str(value.shown) == "7.965 mm"
        assert value.notes == ()

    def test_a_pause_does_not_make_another_ones_answer_ours(self):
        """A slow counter: its answer comes after the pause of the driver file."""
        decoder = HIGH.decoder()
        decoder.feed(on_the_wires(4, 4))
        assert decoder.gap() == []
        (refused,) = decoder.feed(answer(0, 11122, 3, 0))
        assert re.match("the answer to another request", refused.why)
