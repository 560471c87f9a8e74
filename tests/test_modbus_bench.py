"""A counter served by pymodbus, on a whole bench: asked, recorded, and its slips noticed."""

from __future__ import annotations

import os

import pytest
from bench_kit import STAND_DOWN, run, running
from cable_kit import nothing_left
from modbus_kit import Counter, serve_rtu, serve_tcp
from peers_kit import socat

from gaugelink import content
from gaugelink.wire.driver import load_driver

__all__ = ["nothing_left", "socat"]

pytestmark = pytest.mark.usefixtures("nothing_left")

TCP = load_driver(*content.read("drivers", "modbus-tcp"))
RTU = load_driver(*content.read("drivers", "modbus-registers"))
# A pseudo-terminal has no parity.
ON_TERMINAL = RTU.model_copy(update={"port": RTU.port.model_copy(update={"parity": "none"})})


class Plug:
    """The bench's end of a cable to a counter that others serve."""

    def __init__(self, name):
        self.name = name

    def pull(self):
        """Pull nothing: the counter is switched off by its own fixture."""


def on_bench(folder, name, driver):
    """A bench whose depth gauge is a counter."""
    return running(folder, cables={"D1": Plug(name)}, drivers={"D1": driver}, watchful=True)


async def hear(rig):
    """Wait for one more answer, and give what it led to in the record."""
    rig.sent["D1"] += len(rig.bench.channels["D1"].driver.examples[0].data)
    await rig.heard("D1")
    *_, entry = rig.store.entries()
    return entry.document


async def take(rig):
    """Ask the counter for a value."""
    rig.clock.pass_s(2)
    rig.bench.take("D1")
    return await hear(rig)


@pytest.fixture
def counter():
    counter = Counter()
    counter.show(1083, 3, "mm")
    return counter


@pytest.fixture
def in_network(counter):
    served = serve_tcp(counter)
    yield f"tcp://127.0.0.1:{served.number}"
    served.stop()


@pytest.fixture
def on_line(counter, socat):
    served = serve_rtu(counter, socat.theirs)
    yield socat.ours
    served.stop()


def test_a_value_goes_on_record_with_its_bytes_and_a_change_of_unit_is_asked_about(
    tmp_path, counter, in_network
):
    """Changed at the counter's display between two valves: 1.083 mm, then 0.0426 in."""

    async def work():
        async with on_bench(tmp_path, in_network, TCP) as rig:
            await rig.bench.go(STAND_DOWN)
            first = await take(rig)
            assert first["kind"] == "reading-taken"
            assert (first["shown"]["text"], first["shown"]["unit"]) == ("1.083", "mm")
            (again,) = TCP.decoder().feed(bytes.fromhex(first["raw"]))
            assert str(again.shown) == "1.083 mm"

            counter.show(426, 4, "in")
            second = await take(rig)
            assert second["kind"] == "reading-parked"
            assert (second["shown"]["text"], second["shown"]["unit"]) == ("0.0426", "in")
            assert "wrong unit" in second["why"]

    run(work())


def test_the_answer_to_a_second_program_on_our_port_is_no_second_reading(tmp_path, on_line):
    """It asks the same as we do, past the lock; its answer comes to us, and goes to the tray."""

    async def work():
        async with on_bench(tmp_path, on_line, ON_TERMINAL) as rig:
            await rig.bench.go(STAND_DOWN)
            first = await take(rig)
            assert first["kind"] == "reading-taken"
            rig.clock.pass_s(2)
            handle = os.open(on_line, os.O_WRONLY | os.O_NOCTTY)
            os.write(handle, RTU.request)
            os.close(handle)
            second = await hear(rig)
            assert second["kind"] == "reading-parked"
            assert second["why"] == "nobody had asked the gauge: its answer came late or twice"

    run(work())
