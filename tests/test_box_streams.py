"""Boxes with several gauges behind one port, on real streams, with everything that goes wrong.

Every value that had arrived whole is in the record once and under its own gauge, in order; what was
only half there, or garbled, is nowhere. Each gauge shows figures that none of the others shows.
"""

from __future__ import annotations

import asyncio
import random
from typing import TYPE_CHECKING

import pytest
from bench_kit import run, running
from cable_kit import needs_terminals, nothing_left
from several_kit import SharedRig, driver_of, make_shared

from gaugelink.capture.actions import act
from gaugelink.capture.watcher import Watcher
from gaugelink.event_documents import from_document
from gaugelink.events import (
    ReadingParked,
    ReadingTaken,
)
from gaugelink.ports.identity import PortIdentity, PresentPort
from gaugelink.simulate.bridge import SimulatedBridge
from gaugelink.simulate.encoders import Display, bcd52, mux_line, scale24

if TYPE_CHECKING:
    from collections.abc import Iterable

    from cable_kit import Cable

pytestmark = [pytest.mark.usefixtures("nothing_left"), needs_terminals]
__all__ = ["nothing_left"]

CYCLES = 25
"""How often the cable is pulled."""

SERIAL = "A5069RR4"


class Bench:
    """A box on the bench, its gauges, and what each of them has sent whole."""

    def __init__(self, rig: SharedRig, chance: random.Random) -> None:
        self.rig = rig
        self.chance = chance
        self.sent: dict[str, list[str]] = {mark: [] for mark in rig.bench.channels}
        self.names: set[str] = set()
        rig.wires.identity = PortIdentity("serial number", 0x0403, 0x6001, SERIAL)
        rig.wires.plug = rig.port
        self.watcher = Watcher(rig.bench, self.listing, asyncio.sleep)
        self.plugged: list[Cable] = [rig.cable]

    def listing(self) -> list[PresentPort]:
        return [PresentPort(cable.name, 0x0403, 0x6001, SERIAL, "1-1") for cable in self.plugged]

    def shown(self, mark: str, places: int) -> Display:
        """The next figure of a gauge: no other gauge ever shows it."""
        first = list(self.sent).index(mark) + 1
        counts = first * 10_000 + len(self.sent[mark])
        if self.chance.random() < 0.3:
            counts = -counts
        self.sent[mark].append(f"{counts / 10**places:.{places}f}")
        return Display(counts, places, "mm")

    async def send(self, pieces: Iterable[bytes]) -> None:
        """Send pieces as one stream, cut anywhere, and wait until it has been dealt with."""
        data = b"".join(pieces)
        while data:
            cut = self.chance.randint(1, len(data))
            self.rig.say(data[:cut])
            data = data[cut:]
            if self.chance.random() < 0.3:
                await self.rig.taken_in()
        await self.rig.taken_in()

    async def pull_and_plug_again(self) -> None:
        """Pull the cable, plug it in elsewhere, and confirm the position later."""
        self.plugged.clear()
        self.rig.cable.pull()
        await self.rig.until(lambda: self.rig.session.lost == set(self.sent))
        self.plugged.append(self.rig.plug_again())
        self.names.add(self.rig.cable.name)
        assert await self.watcher.look() == list(self.sent)
        self.rig.clock.pass_s(1)

    async def confirm(self) -> None:
        assert (await act(self.rig.bench, {"do": "confirm-position"}))[0] == 200

    def recorded(self) -> dict[str, list[str]]:
        """What is in the record under each gauge, taken or in the tray, in order."""
        kept: dict[str, list[str]] = {mark: [] for mark in self.sent}
        for entry in self.rig.store.entries():
            event = from_document(entry.document)
            if isinstance(event, ReadingTaken):
                kept[event.tag.gauge].append(event.shown.text)
            elif isinstance(event, ReadingParked):
                kept[event.gauge].append(event.shown.text)
        return kept


def test_a_multiplexer_with_three_gauges_mixes_up_and_loses_nothing(tmp_path):
    behind = {"01": "M1", "02": "I1", "03": "C1"}
    chance = random.Random(20)
    noise = [b"\xff\x00\r", b"04E1\r", b"1A+00007965\r", b"01A+0000\r", b"\r\r", b"@1 who 505E\r"]

    def line(bench: Bench, channel: str) -> bytes:
        shown = bench.shown(behind[channel], 3)
        return mux_line(Display(shown.counts, 3, "mm", channel=channel))

    async def test():
        rig = make_shared(tmp_path, behind, "mux-line")
        async with running(tmp_path, rig=rig):
            bench = Bench(rig, chance)
            unknown = 0
            for _ in range(CYCLES):
                pieces = []
                for _ in range(chance.randint(1, 8)):
                    pieces.append(line(bench, chance.choice(list(behind))))
                    if chance.random() < 0.4:
                        pieces.append(chance.choice(noise))
                    if chance.random() < 0.2:
                        pieces.append(mux_line(Display(7965, 3, "mm", channel="09")))
                        unknown += 1
                await bench.send(pieces)
                rig.clock.pass_s(1)
                await rig.bench.go(chance.randrange(len(rig.session.plan)))
                whole = mux_line(Display(99_999, 3, "mm", channel=chance.choice(list(behind))))
                cut = chance.randint(1, len(whole) - 1)
                await bench.send([whole[:cut]])
                await bench.pull_and_plug_again()
                await bench.send([whole[cut:], line(bench, "02")])
                await bench.confirm()

            assert bench.recorded() == bench.sent
            assert sum(map(len, bench.sent.values())) > 4 * CYCLES
            told = [words for words in rig.audience.warnings() if "came from channel 09" in words]
            assert (len(told), unknown > 0) == (unknown, True)
            assert rig.kinds().count("gauge-lost") == 3 * CYCLES
            assert rig.kinds().count("gauge-found") == 3 * CYCLES + 3
            assert rig.wires.noise_bytes > 10 * CYCLES

    run(test())


def test_a_bridge_with_three_gauges_mixes_up_and_loses_nothing_and_tells_what_it_lost(tmp_path):
    """Two gauges of thirteen digits are pressed, a free-running scale is shown live."""
    behind = {"1": "M1", "2": "I1", "5": "C1"}
    drivers = {"1": driver_of("bcd52"), "2": driver_of("scale24"), "5": driver_of("bcd52")}
    chance = random.Random(21)

    async def test():
        rig = make_shared(tmp_path, behind, drivers)
        async with running(tmp_path, rig=rig):
            bench = Bench(rig, chance)
            bridge = SimulatedBridge([1, 2, 5], run=1)
            us = starts = damaged = 0

            def frame(channel: str) -> bytes:
                nonlocal us
                us += chance.randint(1000, 500_000)
                if channel == "2":
                    bits = scale24(bench.shown("I1", 2))
                else:
                    bits = bcd52(bench.shown(behind[channel], 3))
                return bridge.frame(int(channel), bits.decode().strip(), us)

            def spoilt(channel: str) -> bytes:
                """A frame with one byte garbled, and the status that shows what became of it."""
                nonlocal damaged
                whole = frame(channel)
                bench.sent[behind[channel]].pop()
                damaged += 1
                at = chance.randrange(len(whole))
                garbled = (
                    whole[:at] + bytes([whole[at] ^ 1 << chance.randrange(7)]) + whole[at + 1 :]
                )
                return garbled + bridge.status(int(channel), us)

            for cycle in range(CYCLES):
                pieces = [bridge.hello(us, started=False)]
                pieces += [bridge.status(int(channel), us) for channel in behind]
                for _ in range(chance.randint(1, 8)):
                    pieces.append(frame(chance.choice(list(behind))))
                    if chance.random() < 0.3:
                        pieces.append(spoilt(chance.choice(list(behind))))
                await bench.send(pieces)
                if chance.random() < 0.3:
                    starts += 1
                    us = 0
                    bridge = SimulatedBridge([1, 2, 5], run=2 + cycle)
                    hello = bridge.hello(us)
                    await bench.send([hello] if chance.random() < 0.5 else [bridge.status(1, us)])
                await bench.send([frame("1"), frame("2"), frame("5")])
                rig.clock.pass_s(1)
                await rig.bench.go(chance.randrange(len(rig.session.plan)))
                whole = frame("5")
                bench.sent["C1"].pop()  # only its ends arrive, on two sides of the loss
                cut = chance.randint(1, len(whole) - 1)
                await bench.send([whole[:cut]])
                await bench.pull_and_plug_again()
                await bench.send([whole[cut:], frame("1")])
                await bench.confirm()

            kept = bench.recorded()
            assert kept["I1"] == []
            assert rig.audience.figures("I1") == bench.sent["I1"]
            assert {mark: kept[mark] for mark in ("M1", "C1")} == {
                mark: bench.sent[mark] for mark in ("M1", "C1")
            }
            lost = [
                words for words in rig.audience.warnings() if "lost between the bridge" in words
            ]
            assert len(lost) == damaged > 0
            assert all(words.startswith("1 frame of ") for words in lost)
            told = [words for words in rig.audience.warnings() if "has started again" in words]
            assert len(told) == starts > 0
            assert rig.kinds().count("gauge-lost") == 3 * CYCLES

    run(test())
