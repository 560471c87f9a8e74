"""A gauge that is not there when the bench starts does not keep the others from working."""

from __future__ import annotations

import pytest
from bench_kit import STAND_DOWN, make_rig, open_job, put_away, run, stem
from cable_kit import TcpCable, make_cable, nothing_left

from gaugelink.capture.watcher import Watcher
from gaugelink.ports.identity import PortIdentity
from gaugelink.ports.serial import Line, SerialPort

pytestmark = pytest.mark.usefixtures("nothing_left")
__all__ = ["nothing_left"]


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

        async def never(_seconds):
            raise AssertionError

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
