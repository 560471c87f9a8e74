"""After a power cut the bench goes on where it stood, from the record alone."""

from __future__ import annotations

import asyncio
import shutil

import pytest
from bench_kit import (
    ROCK,
    SPRING,
    STAND_DOWN,
    make_rig,
    open_job,
    rocked,
    run,
    running,
    spring,
    stem,
    sweep,
)
from cable_kit import make_cable, needs_terminals, nothing_left

from gaugelink.deeds import Assign, Retake, Skip, StrikeOut

pytestmark = pytest.mark.usefixtures("nothing_left")
__all__ = ["nothing_left"]


def shown(session) -> list[str]:
    """What counts, as shown."""
    return [item.shown.text for item in session.readings()]


def standing(session) -> dict:
    """Everything that a session knows."""
    return {name: getattr(session, name) for name in (
        "cursor", "filled", "skipped", "history", "lost", "again")}  # fmt: skip


class TestPowerCut:
    """What lies on the disk when the power goes is what a copy of the files holds."""

    def cut(self, rig, folder):
        """Copy what is on the disk now, as it would be found after a power cut."""
        folder.mkdir()
        for path in rig.folder.glob("job.record*"):
            if not path.name.endswith(("-shm", ".lock")):  # both are remade at opening
                shutil.copy(path, folder / path.name)

    def test_the_session_stands_where_it_stood(self, tmp_path):
        (tmp_path / "one").mkdir()

        async def test():
            async with running(tmp_path / "one") as rig:
                await rig.fill_stems()
                await rig.bench.do(StrikeOut(rig.store.size - 4, "a chip on the anvil"))
                await rig.press("M1", stem("7.963"))
                await rig.bench.do(Retake("it slipped"))
                await rig.press("M1", stem("7.961"))
                assert rig.session.cursor == ROCK
                for rocks in (1, 5):
                    rig.bench.sweep_start()
                    await rig.rock(sweep(rocks=rocks))
                    await rig.bench.sweep_stop()
                await rig.bench.do(Skip("valve is scrap"))
                assert rig.session.cursor == STAND_DOWN
                rig.bench.take("C1")
                await rig.press("C1", spring(4790))
                [parked] = rig.session.tray()
                await rig.bench.do(Assign(parked.place, SPRING, "measured first"))
                rig.bench.take("I1")
                await rig.press("I1", rocked(3, "m"))
                rig.cables["I1"].pull()
                await rig.until(lambda: "I1" in rig.session.lost)
                stood, analyses = standing(rig.session), dict(rig.bench.analyses)
                self.cut(rig, tmp_path / "two")
                async with running(tmp_path / "two", reopen=True, job=False) as again:
                    stood["lost"] = set()  # all gauges are found again at the start
                    assert again.session.unconfirmed == {"I1"}  # and that one was lost before
                    assert standing(again.session) == stood
                    assert again.bench.analyses == analyses
                    assert again.kinds()[-5:] == ["gauge-lost"] + ["gauge-found"] * 4
                    assert shown(again.session) == shown(rig.session)
                    await again.bench.go(STAND_DOWN)
                    again.bench.take("D1")
                    await again.press("D1", b" 1.08\r")
                    assert again.session.cursor == STAND_DOWN + 1

        run(test())

    def test_a_reading_that_was_not_acknowledged_is_not_there_and_one_that_was_is(self, tmp_path):
        (tmp_path / "one").mkdir()

        async def test():
            async with running(tmp_path / "one") as rig:
                await rig.press("M1", stem("7.964"))
                rig.store.shut()
                rig.send("M1", stem("7.963"))
                await rig.store.begun()
                assert shown(rig.session) == ["7.964"]
                self.cut(rig, tmp_path / "two")
                rig.store.release()
                await rig.heard("M1")
                async with running(tmp_path / "two", reopen=True, job=False) as again:
                    assert shown(again.session) == ["7.964"]
                    await again.press("M1", stem("7.962"))
                    assert shown(again.session) == ["7.964", "7.962"]

        run(test())

    def test_readings_of_a_gauge_that_has_left_the_bench_keep_their_uncertainty(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await rig.press("M1", stem("7.930"))
                await rig.bench.go(ROCK)
                rig.bench.sweep_start()
                await rig.rock(sweep())
                analysis = await rig.bench.sweep_stop()
                verdicts = rig.view().judgement().verdicts
            reopened = {"D1": make_cable()}
            async with running(tmp_path, cables=reopened, reopen=True, job=False) as again:
                assert list(again.bench.analyses.values()) == [analysis]
                assert again.view().judgement().verdicts == verdicts
                [reading] = [item for item in again.view().state()["readings"]
                             if item["kind"] == "reading"]  # fmt: skip
                assert (reading["gauge"], reading["scale"]["u_mm"]) == ("M1", 0.0019)

        run(test())

    @needs_terminals
    def test_a_bench_that_is_dropped_with_its_loop_ends_with_its_cables(self, tmp_path):
        """Nobody stopped it; its ports' threads must not fail over the loop that is gone."""
        rig = make_rig(tmp_path)

        async def test():
            await rig.bench.start(open_job(rig))

        asyncio.run(test())
        for mark in rig.cables:
            rig.send(mark, b"x")
            rig.cables[mark].pull()
        for cable in rig.bench.cables:
            cable.port._thread.join(20)
            cable.port.close()
        rig.bench._desk.ledger._writer.shutdown()
        rig.store.close()
