"""A gauge that is not there when the bench starts does not keep the others from working."""

from __future__ import annotations

import asyncio
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
from bench_kit import STAND_DOWN, make_rig, open_job, put_away, run, stem
from cable_kit import PATIENCE_S, TcpCable, make_cable, nothing_left

from gaugelink.capture.watcher import Watcher
from gaugelink.errors import PortError, SessionError
from gaugelink.ports.identity import PortIdentity
from gaugelink.ports.port import Port
from gaugelink.ports.serial import Line, SerialPort

pytestmark = pytest.mark.usefixtures("nothing_left")
__all__ = ["nothing_left"]


async def never(_seconds):
    """Wait for nothing."""
    raise AssertionError


def test_it_is_lost_and_told_and_the_others_measure_on(tmp_path):
    async def test():
        cables = {"D1": TcpCable(), "M1": make_cable()}
        cables["D1"].pull()
        rig = make_rig(tmp_path, cables=cables)
        await rig.bench.start(open_job(rig), all_here=False)
        assert sorted(rig.kinds()) == ["gauge-found", "gauge-lost", "job-opened"]
        [words] = rig.audience.warnings()
        assert words.startswith("Depth gauge is not here: ")
        rig.clock.pass_s(1)
        await rig.press("M1", stem("7.964"))
        assert len(rig.session.readings()) == 1
        await rig.bench.stop()
        put_away(rig)

    run(test())


def test_it_is_taken_when_it_comes_and_waits_for_its_position_to_be_confirmed(tmp_path):
    async def test():
        cables = {"M1": TcpCable(), "D1": make_cable()}
        cables["M1"].pull()
        rig = make_rig(tmp_path, cables=cables)
        late = make_cable()
        cable = rig.bench.cable_of("M1")
        cable.identity = PortIdentity("given name", name=late.name)
        cable.plug = lambda name: SerialPort(name, Line(), rig.clock.mono_ns)
        await rig.bench.start(open_job(rig), all_here=False)
        rig.cables["M1"] = late

        assert await Watcher(rig.bench, list, never).look() == ["M1"]
        assert rig.kinds()[-1] == "gauge-found"
        assert rig.session.unconfirmed == {"M1"}
        await rig.press("M1", stem("7.964"))
        assert [entry.event.gauge for entry in rig.session.tray()] == ["M1"]
        await rig.bench.stop()
        put_away(rig)

    run(test())


def test_a_job_that_goes_on_says_only_once_on_record_that_it_is_lost(tmp_path):
    async def test():
        for reopen in (False, True):
            cables = {"D1": TcpCable()}
            cables["D1"].pull()
            rig = make_rig(tmp_path, cables=cables, reopen=reopen)
            await rig.bench.start(None if reopen else open_job(rig), all_here=False)
            assert rig.kinds() == ["job-opened", "gauge-lost"]
            assert len(rig.audience.warnings()) == 1
            assert rig.session.step.position != rig.session.plan[STAND_DOWN].position
            await rig.bench.stop()
            put_away(rig)

    run(test())


class SlowPort(Port):
    """An address at which nobody answers for a long time."""

    def __init__(self, name: str) -> None:
        super().__init__(name, lambda: 0)
        self.asked, self.answers = threading.Event(), threading.Event()

    def _open(self):
        self.asked.set()
        assert self.answers.wait(PATIENCE_S)
        raise PortError(f"{self.name} does not answer")

    def _read(self):
        raise AssertionError

    _write = _close = _read


def test_while_an_address_does_not_answer_the_other_gauges_are_read(tmp_path):
    async def test():
        cables = {"D1": TcpCable(), "M1": make_cable()}
        cables["D1"].pull()
        rig = make_rig(tmp_path, cables=cables)
        slow = SlowPort("tcp://box:1")
        cable = rig.bench.cable_of("D1")
        cable.identity = PortIdentity("given name", name=slow.name)
        cable.plug = lambda _name: slow
        await rig.bench.start(open_job(rig), all_here=False)
        rig.clock.pass_s(1)
        look = asyncio.create_task(Watcher(rig.bench, list, never).look())
        assert await asyncio.to_thread(slow.asked.wait, PATIENCE_S)
        await rig.press("M1", stem("7.964"))
        assert len(rig.session.readings()) == 1
        assert not look.done()
        slow.answers.set()
        assert await look == []
        assert "tcp://box:1 does not answer" in rig.audience.warnings()[-1]
        await rig.bench.stop()
        put_away(rig)

    run(test())


def test_an_address_that_does_not_answer_at_the_start_holds_no_other_gauge_up(tmp_path):
    async def test():
        # Even where the loop has fewer threads than there are such addresses.
        asyncio.get_running_loop().set_default_executor(ThreadPoolExecutor(1))
        rig = make_rig(tmp_path, cables={mark: make_cable() for mark in ("D1", "I1", "M1")})
        slow = [SlowPort(f"tcp://box:{number}") for number in (1, 2)]
        for mark, port in zip(("D1", "I1"), slow, strict=True):
            rig.bench.cable_of(mark).port = port
        start = asyncio.create_task(rig.bench.start(open_job(rig), all_here=False))
        await rig.until(lambda: "gauge-found" in rig.kinds())
        assert all(port.asked.wait(PATIENCE_S) for port in slow)
        rig.clock.pass_s(1)
        await rig.press("M1", stem("7.964"))
        assert rig.kinds() == ["job-opened", "gauge-found", "reading-taken"]
        assert not start.done()
        for port in slow:
            port.answers.set()
        await start
        assert rig.kinds()[3:] == ["gauge-lost"] * 2
        assert rig.session.lost == {"D1", "I1"}
        await rig.bench.stop()
        put_away(rig)

    run(test())


def test_ports_that_must_all_be_here_are_opened_together_and_go_on_record_in_their_order(tmp_path):
    async def test():
        rig = make_rig(tmp_path)
        together = threading.Barrier(len(rig.cables), timeout=PATIENCE_S)

        class WaitingPort(SerialPort):
            def _open(self):
                together.wait()
                super()._open()

        for mark, cable in rig.cables.items():
            port = WaitingPort(cable.name, Line(), rig.clock.mono_ns)
            rig.bench.cable_of(mark).port = port
        await rig.bench.start(open_job(rig))
        found = [entry.document["gauge"] for entry in rig.store.entries(1)]
        assert found == list(rig.cables)
        await rig.bench.stop()
        put_away(rig)

    run(test())


def test_a_port_that_opens_only_after_the_bench_was_stopped_is_closed_again(tmp_path):
    async def test():
        cables = {"D1": TcpCable(), "M1": make_cable()}
        cables["D1"].pull()
        rig = make_rig(tmp_path, cables=cables)
        late, opened = make_cable(), threading.Event()

        class LatePort(SerialPort):
            def _open(self):
                opened.set()
                assert stopped.wait(PATIENCE_S)
                super()._open()

        stopped = threading.Event()
        cable = rig.bench.cable_of("D1")
        cable.plug = lambda name: LatePort(name, Line(), rig.clock.mono_ns)
        await rig.bench.start(open_job(rig), all_here=False)
        found = asyncio.create_task(rig.bench.found(cable, late.name))
        assert await asyncio.to_thread(opened.wait, PATIENCE_S)
        await rig.bench.stop()
        stopped.set()
        with pytest.raises(SessionError, match="has been stopped"):
            await found
        assert sorted(rig.kinds()) == ["gauge-found", "gauge-lost", "job-opened"]
        late.pull()
        put_away(rig)

    run(test())
