"""A lost gauge is found again under any name, never another one, and waits for a person."""

from __future__ import annotations

import asyncio
import random
from dataclasses import dataclass, field

import pytest
from bench_kit import GAUGES, ROCK, Clock, Rig, make_rig, rocked, run, running, stem
from cable_kit import Cable, make_cable, needs_terminals, nothing_left

from gaugelink import content
from gaugelink.capture.actions import act
from gaugelink.capture.channel import line_of
from gaugelink.capture.watcher import Watcher
from gaugelink.errors import RecordError, SessionError
from gaugelink.event_documents import from_document
from gaugelink.events import (
    ReadingParked,
    ReadingTaken,
)
from gaugelink.ports.identity import PortIdentity, PresentPort, identity_of
from gaugelink.ports.serial import SerialPort
from gaugelink.wire.driver import load_driver

pytestmark = [pytest.mark.usefixtures("nothing_left"), needs_terminals]
__all__ = ["nothing_left"]

BACK = "back, confirm the position"


@dataclass
class Hub:
    """The adapters of a bench as the system lists them; behind each a real pseudo-terminal."""

    rig: Rig
    serials: dict[str, str]
    plugged: dict[str, PresentPort] = field(default_factory=dict)
    looks: int = 0

    def __post_init__(self):
        """Give every gauge what it is known by, and a way to be plugged in again."""
        for mark, cable in self.rig.cables.items():
            self.plugged[mark] = self.adapter(mark, cable.name)
        for mark, port in self.plugged.items():
            cable = self.rig.bench.cable_of(mark)
            cable.identity = identity_of(port, list(self.plugged.values()))
            line = line_of(self.rig.bench.channels[mark].driver)
            cable.plug = lambda name, line=line: SerialPort(name, line, self.rig.clock.mono_ns)

    def adapter(self, mark: str, name: str) -> PresentPort:
        place = list(GAUGES).index(mark)
        return PresentPort(name, 0x0403, 0x6001, self.serials.get(mark, ""), f"1-{place}")

    def listing(self) -> list[PresentPort]:
        self.looks += 1
        return list(self.plugged.values())

    async def pull(self, *marks: str) -> None:
        for mark in marks:
            del self.plugged[mark]
            self.rig.cables[mark].pull()
        await self.rig.until(lambda: self.rig.session.lost >= set(marks))

    def plug(self, mark: str) -> Cable:
        """Plug a gauge in again: a new terminal, which may have any name."""
        cable = self.rig.cables[mark] = make_cable()
        self.plugged[mark] = self.adapter(mark, cable.name)
        return cable

    def watcher(self, **options) -> Watcher:
        return Watcher(self.rig.bench, self.listing, asyncio.sleep, **options)


def hub_on(rig: Rig, **serials: str) -> Hub:
    return Hub(rig, serials or {"M1": "A5069RR4", "C1": "FT9K21XY", "I1": "95735C0A"})


def shown(rig: Rig) -> list[str]:
    return [item.shown.text for item in rig.session.readings()]


def test_a_gauge_that_is_back_is_found_once_and_its_values_wait_for_a_person(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            hub = hub_on(rig)
            view = rig.view()
            await rig.press("M1", stem("7.964"))
            await hub.pull("M1")
            assert [one["state"] for one in view.gauges()] == ["lost", "here", "here", "here"]
            watcher = hub.watcher()
            assert await watcher.look() == []
            cable = hub.plug("M1")
            assert await watcher.look() == ["M1"]
            assert await watcher.look() == []
            assert rig.kinds()[6:] == ["gauge-lost", "gauge-found"]
            assert rig.bench.cable_of("M1").port.name == cable.name
            assert [one["state"] for one in view.gauges()] == [BACK, "here", "here", "here"]
            assert f"Micrometer is back on {cable.name}: confirm" in rig.audience.warnings()[-1]
            assert view.state()["messages"][0]["words"] == rig.audience.warnings()[-1]

            await rig.press("M1", stem("7.963"))
            assert shown(rig) == ["7.964"]
            [parked] = rig.session.tray()
            assert isinstance(parked.event, ReadingParked)
            assert "lost and is back" in parked.event.why

            status, answer = await act(rig.bench, {"do": "confirm-position"})
            assert (status, answer["ok"]) == (200, True)
            assert answer["words"].startswith("M1 confirmed; asked for: Intake valve")
            assert rig.kinds()[-1] == "position-confirmed"
            assert [one["state"] for one in view.gauges()] == ["here"] * 4
            await rig.press("M1", stem("7.962"))
            assert shown(rig) == ["7.964", "7.962"]
            status, answer = await act(rig.bench, {"do": "confirm-position"})
            assert status == 409
            assert "no gauge waits" in answer["words"]

    run(test())


def test_half_a_line_before_the_loss_and_half_after_it_never_make_one(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            hub = hub_on(rig)
            await rig.press("M1", b"+  7.9")
            await hub.pull("M1")
            hub.plug("M1")
            await hub.watcher().look()
            await act(rig.bench, {"do": "confirm-position"})
            rig.send("M1", b"64 MM\r")
            await rig.heard("M1")
            assert shown(rig) == []
            await rig.press("M1", stem("7.963"))
            assert shown(rig) == ["7.963"]

    run(test())


def test_a_sweep_and_a_wanted_value_wait_for_the_confirmation_too(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            hub = hub_on(rig)
            await rig.bench.go(ROCK)
            await hub.pull("I1", "C1")
            hub.plug("I1")
            hub.plug("C1")
            assert sorted(await hub.watcher().look()) == ["C1", "I1"]
            with pytest.raises(SessionError, match="Indicator: the gauge was lost and is back"):
                rig.bench.sweep_start()
            with pytest.raises(SessionError, match="Caliper: the gauge was lost and is back"):
                rig.bench.take("C1")
            await act(rig.bench, {"do": "confirm-position"})
            rig.bench.sweep_start()
            with pytest.raises(SessionError, match=r"Caliper: .* check the zero on its master"):
                rig.bench.take("C1")
            await act(rig.bench, {"do": "confirm-zero", "gauge": "C1"})
            rig.bench.take("C1")

    run(test())


def test_another_adapter_under_the_old_name_is_not_taken(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            hub = hub_on(rig)
            await hub.pull("M1")
            other = make_cable()
            hub.plugged["other"] = PresentPort(other.name, 0x0403, 0x6001, "B0000OTH", "1-0")
            assert await hub.watcher().look() == []
            assert rig.session.lost == {"M1"}
            other.pull()

    run(test())


def test_two_that_cannot_be_told_apart_are_refused_and_that_is_said_once(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            hub = hub_on(rig)
            await hub.pull("M1")
            hub.plug("M1")
            twin = make_cable()
            hub.plugged["twin"] = PresentPort(twin.name, 0x0403, 0x6001, "A5069RR4", "1-9")
            watcher = hub.watcher()
            for _ in range(3):
                assert await watcher.look() == []
            [sentence] = [one for one in rig.audience.warnings() if "not taken back" in one]
            assert "both have the serial number A5069RR4" in sentence
            del hub.plugged["twin"]
            twin.pull()
            assert await watcher.look() == ["M1"]

    run(test())


def test_a_port_that_is_in_use_is_said_once_and_the_gauge_stays_lost(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            hub = hub_on(rig)
            await hub.pull("M1")
            cable = hub.plug("M1")
            other = SerialPort(cable.name, line_of(rig.bench.channels["M1"].driver), lambda: 0)
            other.open(lambda _item: None)
            watcher = hub.watcher()
            for _ in range(3):
                assert await watcher.look() == []
            [sentence] = [one for one in rig.audience.warnings() if "not taken back" in one]
            assert f"{cable.name} is in use by another program" in sentence
            assert rig.session.lost == {"M1"}
            other.close()
            assert await watcher.look() == ["M1"]

    run(test())


def test_a_gauge_whose_return_cannot_be_written_stays_lost_and_its_port_is_given_back(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            hub = hub_on(rig)
            await hub.pull("M1")
            hub.plug("M1")
            rig.store.fault = RecordError("the disk is full")
            watcher = hub.watcher()
            assert await watcher.look() == []
            assert "the disk is full" in rig.audience.warnings()[-1]
            assert not rig.bench.cable_of("M1").here
            rig.store.fault = None
            assert await watcher.look() == ["M1"]

    run(test())


def test_the_watcher_looks_only_while_a_gauge_is_lost_and_by_the_clock_that_it_was_given(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            hub = hub_on(rig)
            slept: list[float] = []
            turn = asyncio.Event()

            async def sleep(seconds: float) -> None:
                slept.append(seconds)
                turn.clear()
                await turn.wait()

            task = asyncio.create_task(Watcher(rig.bench, hub.listing, sleep, 2.5).run())
            await rig.press("M1", stem("7.964"))
            assert (hub.looks, slept) == (0, [])
            await hub.pull("M1")
            await rig.until_so(lambda: slept == [2.5])
            assert hub.looks == 1
            hub.plug("M1")
            turn.set()
            await rig.until(lambda: rig.bench.cable_of("M1").here)
            await rig.until_so(lambda: slept == [2.5, 2.5])
            turn.set()
            await rig.press("M1", stem("7.963"))
            assert (hub.looks, len(slept)) == (2, 2)
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)

    run(test())


def test_a_gauge_without_anything_to_know_it_by_is_not_looked_for(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            hub = hub_on(rig)
            rig.bench.cable_of("M1").identity = None
            await hub.pull("M1")
            hub.plug("M1")
            assert await hub.watcher().look() == []
            rig.bench.cable_of("M1").identity = PortIdentity("name", name="nowhere")
            assert await hub.watcher().look() == []

    run(test())


def test_two_hundred_losses_and_returns_under_load_lose_and_mix_up_nothing(tmp_path):
    """Two gauges that speak alike swap their port names again and again while two others stream.

    The indicator only shows; of the depth gauge, which speaks like those two, everything goes on
    record, and nobody waits for it. Every value that had arrived whole is in the record once and
    under its own gauge; what was only half there is nowhere.
    """
    chance = random.Random(7)
    same = load_driver(*content.read("drivers", "signed-line"))
    sent: dict[str, list[str]] = {"M1": [], "C1": [], "D1": []}

    def stream(rig: Rig, cycle: int) -> None:
        rig.send("I1", b"".join(rocked(um) for um in range(cycle, cycle + 3)))
        texts = [f"1.{len(sent['D1']) + number:04d}" for number in range(3)]
        sent["D1"] += texts
        rig.send("D1", b"".join(map(stem, texts)))

    async def press(rig: Rig, mark: str) -> None:
        whole = 7 if mark == "M1" else 47
        text = f"{whole}.{len(sent[mark]):04d}"
        sent[mark].append(text)
        await rig.press(mark, stem(text))

    async def test():
        rig = make_rig(tmp_path, drivers={"C1": same, "D1": same}, clock=Clock())
        async with running(tmp_path, rig=rig):
            hub = hub_on(rig)
            watcher = hub.watcher()
            names: set[str] = set()
            swaps = 0
            for cycle in range(200):
                both = chance.random() < 0.5
                marks = ["M1", "C1"] if both else [chance.choice(["M1", "C1"])]
                before = {mark: rig.cables[mark].name for mark in marks}
                stream(rig, cycle)
                for mark in marks:
                    await press(rig, mark)
                    if chance.random() < 0.5:
                        await rig.press(mark, b"+  9.9")  # half of a line that is never ended
                stream(rig, cycle)
                await hub.pull(*marks)
                rig.clock.pass_s(0.1)
                stream(rig, cycle)
                chance.shuffle(marks)
                for mark in marks:
                    hub.plug(mark)
                stream(rig, -cycle)
                assert sorted(await watcher.look()) == sorted(marks)
                rig.clock.pass_s(1)
                swaps += both and rig.cables["M1"].name == before["C1"]
                names |= {rig.cables[mark].name for mark in marks}
                for mark in marks:
                    await press(rig, mark)  # waits in the tray
                await act(rig.bench, {"do": "confirm-position"})
                await rig.bench.go(cycle % 4)
                for mark in marks:
                    await press(rig, mark)
            await rig.heard("I1")
            await rig.heard("D1")
            assert rig.bench.channels["I1"].values == 2400
            assert len(names) >= 2
            assert swaps >= 10

            kept: dict[str, list[str]] = {"M1": [], "C1": [], "D1": []}
            for entry in rig.store.entries():
                event = from_document(entry.document)
                if isinstance(event, ReadingTaken):
                    kept[event.tag.gauge].append(event.shown.text)
                elif isinstance(event, ReadingParked):
                    kept[event.gauge].append(event.shown.text)
            assert kept == sent
            assert len(sent["M1"]) > 300
            assert len(sent["D1"]) == 2400
            lost, found = rig.kinds().count("gauge-lost"), rig.kinds().count("gauge-found")
            assert found == lost + len(GAUGES)
            assert lost >= 200

    run(test())
