"""A gauge that is not there when the bench starts does not keep the others from working."""

from __future__ import annotations

import asyncio
import threading

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
        assert rig.kinds() == ["job-opened", "gauge-lost", "gauge-found"]
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
        assert rig.kinds() == ["job-opened", "gauge-lost", "gauge-found"]
        late.pull()
        put_away(rig)

    run(test())
