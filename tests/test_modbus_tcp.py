"""A counter in the network, served by pymodbus: Modbus TCP, and RTU frames through a connection."""

from __future__ import annotations

import pytest
from cable_kit import PATIENCE_S, nothing_left
from modbus_kit import Asker, Counter, serve_tcp
from pymodbus.constants import ExcCodes

from gaugelink import content
from gaugelink.capture.channel import line_of
from gaugelink.errors import PortError
from gaugelink.ports.naming import port_for
from gaugelink.ports.port import Lost
from gaugelink.ports.tcp import TcpPort
from gaugelink.wire.driver import load_driver

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")

TCP = load_driver(*content.read("drivers", "modbus-tcp"))
RTU = load_driver(*content.read("drivers", "modbus-registers"))


class Network:
    """Counter and asker at the two ends of a connection."""

    def __init__(self, driver, **counter):
        self.counter = Counter(**counter)
        self.served = serve_tcp(self.counter, rtu=driver is RTU)
        self.name = f"tcp://127.0.0.1:{self.served.number}"
        self.asker = Asker(port_for(self.name, line_of(driver), lambda: 0), driver)

    def close(self):
        self.asker.port.close()
        self.served.stop()


@pytest.fixture(params=[TCP, RTU], ids=["Modbus TCP", "RTU over TCP"])
def network(request):
    network = Network(request.param)
    yield network
    network.close()


def test_values_come_with_sign_places_and_unit_as_the_display_is_set(network):
    assert isinstance(network.asker.port, TcpPort)
    for counts, places, unit, words in [
        (7965, 3, "mm", "7.965 mm"),
        (-12345, 3, "mm", "-12.345 mm"),
        (3136, 4, "in", "0.3136 in"),
        (79655, 4, "mm", "7.9655 mm"),
    ]:
        network.counter.show(counts, places, unit)
        assert network.asker.value() == words


def test_every_byte_of_a_value_is_kept_and_reads_the_same_again(network):
    network.counter.show(7965, 3, "mm")
    network.asker.ask()
    (item,) = network.asker.hear()
    assert item.raw == network.asker.raw
    assert network.asker.driver.decoder().feed(item.raw) == [item]


def test_the_captured_bytes_of_the_hardware_note_are_those_of_the_server():
    network = Network(TCP)
    for counts, places, unit, example in [
        (7965, 3, "mm", 0), (-12345, 3, "mm", 1), (3136, 4, "in", 2),
    ]:  # fmt: skip
        network.counter.show(counts, places, unit)
        network.asker.raw = b""
        network.asker.value()
        assert network.asker.raw == TCP.examples[example].data
    network.close()


def test_an_exception_is_said_and_the_next_answer_counts(network):
    network.counter.show(7965, 3, "mm")
    network.counter.refuses = ExcCodes.GATEWAY_NO_RESPONSE
    assert network.asker.noise() == "the gauge reports: exception 11, it did not answer the gateway"
    network.counter.refuses = None
    assert network.asker.value() == "7.965 mm"


def test_a_slow_counter_gives_its_value_late_and_once(network):
    network.counter.show(7965, 3, "mm")
    network.counter.turn.clear()
    network.asker.ask()
    assert network.counter.asked.get(timeout=PATIENCE_S) == (0, 4)
    network.counter.turn.set()
    (item,) = network.asker.hear()
    assert str(item.shown) == "7.965 mm"
    network.asker.port.close()
    assert network.asker.sink.rest() == []


def test_a_second_program_has_a_connection_of_its_own_and_its_answers_are_not_heard(network):
    network.counter.show(7965, 3, "mm")
    driver = network.asker.driver
    second = Asker(TcpPort(network.name, lambda: 0), driver)
    assert second.value() == network.asker.value() == "7.965 mm"
    for asker in (second, network.asker):
        asker.port.close()
        assert asker.sink.rest() == []


def test_a_counter_that_is_switched_off_is_lost_once_and_then_does_not_answer(network):
    network.counter.show(7965, 3, "mm")
    assert network.asker.value() == "7.965 mm"
    network.served.stop()
    lost = network.asker.sink.next()
    assert isinstance(lost, Lost)
    assert lost.why == "the other end closed the connection"
    network.asker.port.close()
    assert network.asker.sink.rest() == []
    with pytest.raises(PortError, match="does not answer"):
        network.asker.port.open(network.asker.sink)
