"""A gauge that waits to be asked is asked while it is watched, never oftener than it can answer."""

from __future__ import annotations

import asyncio
import contextlib
from typing import TYPE_CHECKING

import pytest
from bench_kit import GAUGES, ROCK, SPRING, STAND_DOWN, Rig, run, running, sweep
from cable_kit import PATIENCE_S, make_cable, nothing_left
from several_kit import driver_of

from gaugelink.capture.poller import FASTEST_NS, Poller
from gaugelink.capture.sweeping import analyse_trace

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

pytestmark = pytest.mark.usefixtures("nothing_left")
__all__ = ["nothing_left"]

ANSWER_S = 2.5
"""Hand gauges may take 2 s after a request (a digital-interface leaflet, as the trade notes quote
it); the driver files leave half a second more."""


class Naps:
    """The bench's clock for the poller: it moves on when the test says so."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.asked: list[float] = []
        self._over = asyncio.Event()

    async def sleep(self, seconds: float) -> None:
        self.asked.append(seconds)
        wake_ns = self.rig.clock.now_ns + round(seconds * 1e9)
        while self.rig.clock.now_ns < wake_ns:
            self._over.clear()
            await self._over.wait()

    def pass_s(self, seconds: float) -> None:
        self.rig.clock.pass_s(seconds)
        self._over.set()


@contextlib.asynccontextmanager
async def polling(rig: Rig) -> AsyncIterator[Naps]:
    """A poller at work."""
    naps = Naps(rig)
    task = asyncio.create_task(Poller(rig.bench, naps.sleep).run())
    try:
        yield naps
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


async def is_asked(rig: Rig, gauge: str = "D1", request: bytes = b"R\r") -> None:
    """Wait for the next request at the gauge."""
    async with asyncio.timeout(PATIENCE_S):
        assert await asyncio.to_thread(rig.cables[gauge].hear, len(request)) == request


async def settled() -> None:
    """Let everything run that can."""
    for _ in range(20):
        await asyncio.sleep(0)


def asked(rig: Rig) -> int:
    """How often the depth gauge has been asked and has not been heard by the test."""
    return rig.bench.channels["D1"].asked_ns is not None


def test_nothing_is_asked_while_nobody_watches_or_another_gauge_is_asked_for(tmp_path):
    async def test():
        async with running(tmp_path) as rig, polling(rig) as naps:
            await rig.bench.go(STAND_DOWN)
            await settled()
            assert (asked(rig), naps.asked) == (False, [])
            await rig.bench.go(SPRING)
            rig.bench.watch_gauges(on=True)
            await settled()
            assert (asked(rig), naps.asked) == (False, [])

    run(test())


def test_it_is_asked_again_as_soon_as_the_answer_is_in_and_nothing_is_taken(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.bench.go(STAND_DOWN)
            async with polling(rig) as naps:
                rig.bench.watch_gauges(on=True)
                size = rig.bench.size
                for number in range(5):
                    await is_asked(rig)
                    naps.pass_s(0.2)
                    rig.send("D1", f" {number}.08\r".encode())
                    await rig.heard("D1")
                await is_asked(rig)
                assert rig.audience.figures("D1") == [f"{number}.08" for number in range(5)]
                assert rig.bench.size == size
                assert rig.bench.channels["D1"].last.shown.text == "4.08"
                assert rig.audience.warnings() == []

    run(test())


def test_a_quick_gauge_is_not_asked_oftener_than_fifty_times_a_second(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.bench.go(STAND_DOWN)
            async with polling(rig) as naps:
                rig.bench.watch_gauges(on=True)
                await is_asked(rig)
                rig.send("D1", b" 1.08\r")
                await rig.heard("D1")
                await settled()
                assert not asked(rig)
                assert naps.asked[-1] == pytest.approx(FASTEST_NS / 1e9)
                naps.pass_s(FASTEST_NS / 1e9)
                await is_asked(rig)

    run(test())


def test_a_gauge_that_takes_its_time_is_not_asked_again_before_it_is_over(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.bench.go(STAND_DOWN)
            async with polling(rig) as naps:
                rig.bench.watch_gauges(on=True)
                await is_asked(rig)
                first_ns = rig.bench.channels["D1"].asked_ns
                naps.pass_s(ANSWER_S - 0.1)
                await settled()
                assert rig.bench.channels["D1"].asked_ns == first_ns
                assert rig.audience.warnings() == []
                naps.pass_s(0.1)
                await is_asked(rig)
                naps.pass_s(ANSWER_S)
                await is_asked(rig)
                [sentence] = rig.audience.warnings()  # once, not once for each request
                assert sentence.startswith("Depth gauge is asked and does not answer")

    run(test())


def test_a_polled_value_that_has_come_to_rest_is_taken_once(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.bench.go(STAND_DOWN)
            async with polling(rig) as naps:
                rig.bench.watch_gauges(on=True)
                for text in ("0.20", "0.90", "1.08", "1.08", "1.08", "1.08", "1.08"):
                    await is_asked(rig)
                    naps.pass_s(0.4)
                    rig.send("D1", f" {text}\r".encode())
                    await rig.heard("D1")
                readings = rig.session.readings()
                assert [item.shown.text for item in readings] == ["1.08"]
                assert rig.session.tray() == []

    run(test())


def test_a_value_that_is_wanted_while_an_answer_is_due_is_that_answer(tmp_path):
    """Asked twice in two seconds, some gauges answer neither."""

    async def test():
        async with running(tmp_path) as rig:
            await rig.bench.go(STAND_DOWN)
            async with polling(rig) as naps:
                rig.bench.watch_gauges(on=True)
                await is_asked(rig)
                rig.bench.take("D1")
                naps.pass_s(1)
                rig.send("D1", b" 1.08\r")
                await rig.heard("D1")
                assert [item.shown.text for item in rig.session.readings()] == ["1.08"]

    run(test())


def test_the_answer_that_is_still_due_when_watching_ends_is_not_taken(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.bench.go(STAND_DOWN)
            async with polling(rig):
                rig.bench.watch_gauges(on=True)
                await is_asked(rig)
                rig.bench.watch_gauges(on=False)
                size = rig.bench.size
                await rig.press("D1", b" 1.08\r")
                assert rig.bench.size == size
                await rig.press("D1", b" 1.08\r")  # its own button: nobody asked for this one
                [entry] = rig.session.tray()
                assert "nobody had asked" in entry.event.why

    run(test())


def test_a_sweep_is_recorded_from_a_gauge_that_has_to_be_asked(tmp_path):
    """The same samples as those of a gauge that sends all the time, and the same travel."""

    async def test():
        drivers = {"I1": driver_of("plain-line")}
        cables = {mark: make_cable() for mark in GAUGES}
        async with running(tmp_path, drivers=drivers, cables=cables) as rig:
            await rig.bench.go(ROCK)
            async with polling(rig) as naps:
                rig.bench.sweep_start()
                for um in sweep():
                    await is_asked(rig, "I1")
                    naps.pass_s(0.1)
                    rig.send("I1", f"{um / 1000:+.3f}\r".encode())
                    await rig.heard("I1")
                analysis = await rig.bench.sweep_stop()
            [kept] = rig.session.sweeps()
            assert len(kept.trace.t_us) == len(sweep())
            assert analysis == analyse_trace(kept.trace, rig.session.gauges["I1"].u_pm)
            assert analysis.usable
            assert kept.trace.value_pm == tuple(um * 10**6 for um in sweep())

    run(test())


def test_a_gauge_that_is_lost_is_not_asked_and_its_loss_is_told_once(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.bench.go(STAND_DOWN)
            async with polling(rig) as naps:
                rig.bench.watch_gauges(on=True)
                await is_asked(rig)
                rig.cables["D1"].pull()
                await rig.until(lambda: "D1" in rig.session.lost)
                naps.pass_s(ANSWER_S)
                await settled()
                assert not asked(rig)
                [sentence] = rig.audience.warnings()
                assert sentence.startswith("Depth gauge is lost")

    run(test())
