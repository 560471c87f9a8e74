"""Simulated time: it stands still while anything is done, and wakes everybody in their order."""

from __future__ import annotations

import asyncio
import random
from datetime import UTC, datetime, timedelta

import pytest
from bench_kit import ROCK, make_rig, open_job, run
from cable_kit import nothing_left
from hypothesis import given, strategies as st

from gaugelink.simulate.gauges import BenchGauge
from gaugelink.simulate.hand import rock
from gaugelink.simulate.pace import FullPace, PersonPace
from gaugelink.simulate.scenario import SimulatedGauge

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")


class Settling:
    """Counts how often the pace looks whether everything has arrived, and can be made to wait."""

    def __init__(self):
        self.looks = 0
        self.arrived = asyncio.Event()
        self.arrived.set()

    async def __call__(self):
        """Wait until everything has arrived."""
        self.looks += 1
        await self.arrived.wait()


async def nothing():
    """Everything has arrived."""


async def turns(count=50):
    """Let everybody who can go on go on."""
    for _ in range(count):
        await asyncio.sleep(0)


class Running:
    """Time that passes inside ``async with``."""

    def __init__(self, settled=nothing):
        self.pace = FullPace(settled)

    async def __aenter__(self):
        self._task = asyncio.create_task(self.pace.run())
        return self.pace

    async def __aexit__(self, *_):
        self._task.cancel()
        await asyncio.gather(self._task, return_exceptions=True)


@given(st.lists(st.integers(0, 5_000_000_000), min_size=1, max_size=12))
def test_sleepers_wake_in_the_order_of_their_time_and_those_of_one_time_in_that_of_asking(delays):
    async def test():
        woken = []

        async def sleeper(number, delay_ns):
            await pace.sleep(delay_ns / 1e9)
            woken.append((pace.mono_ns(), number))

        async with Running() as pace:
            await asyncio.gather(*(sleeper(*item) for item in enumerate(delays)))
        assert woken == sorted((delay, number) for number, delay in enumerate(delays))

    run(test())


def test_time_begins_at_nothing_and_stands_still_while_nobody_sleeps():
    async def test():
        async with Running() as pace:
            await turns()
            assert pace.mono_ns() == 0
            await pace.sleep(1.5)
            assert pace.mono_ns() == 1_500_000_000
            await turns()
            assert pace.mono_ns() == 1_500_000_000

    run(test())


@given(st.lists(st.floats(-2, 2, allow_nan=False), min_size=1, max_size=8))
def test_time_never_goes_back_whatever_is_slept(delays):
    async def test():
        seen = [0]
        async with Running() as pace:
            for delay in delays:
                await pace.sleep(delay)
                seen.append(pace.mono_ns())
        assert seen == sorted(seen)
        assert seen[-1] == sum(max(0, round(delay * 1e9)) for delay in delays)

    run(test())


def test_time_stands_still_while_it_is_held_and_goes_on_afterwards():
    async def test():
        async with Running() as pace:
            sleeper = asyncio.create_task(pace.sleep(1))
            with pace.held():
                await turns()
                with pace.held():  # twice, as two actions at a time would
                    await turns()
                await turns()
                assert (pace.mono_ns(), sleeper.done()) == (0, False)
            await sleeper
            assert pace.mono_ns() == 1_000_000_000

    run(test())


def test_time_goes_on_after_a_fault_while_it_was_held():
    async def test():
        async with Running() as pace:
            with pytest.raises(ValueError, match="slip"), pace.held():
                raise ValueError("slip")
            await pace.sleep(1)
            assert pace.mono_ns() == 1_000_000_000

    run(test())


def test_time_waits_until_everything_that_was_sent_has_arrived():
    async def test():
        settling = Settling()
        settling.arrived.clear()
        async with Running(settling) as pace:
            sleeper = asyncio.create_task(pace.sleep(1))
            await turns()
            assert (settling.looks, pace.mono_ns(), sleeper.done()) == (1, 0, False)
            settling.arrived.set()
            await sleeper
            assert pace.mono_ns() == 1_000_000_000
            await pace.sleep(1)
            assert settling.looks == 2

    run(test())


def test_whoever_is_woken_is_done_with_that_moment_before_the_next_one_comes():
    async def test():
        moments = []

        async def worker():
            await pace.sleep(1)
            for _ in range(3):  # goes on over a few turns of the loop
                await asyncio.sleep(0)
            moments.append(pace.mono_ns())

        async with Running() as pace:
            await asyncio.gather(worker(), pace.sleep(1.000001))
        assert moments == [1_000_000_000]

    run(test())


def test_whoever_gives_up_sleeping_makes_no_time_pass():
    async def test():
        async with Running() as pace:
            long = asyncio.create_task(pace.sleep(3600))
            await turns(2)
            long.cancel()
            await asyncio.gather(long, return_exceptions=True)
            await turns()
            assert pace.mono_ns() == 0
            await pace.sleep(1)
            assert pace.mono_ns() == 1_000_000_000

    run(test())


class Plug:
    """The cable of a simulated gauge, which pulls it by itself."""

    def __init__(self, name):
        self.name = name

    def pull(self):
        """Do nothing."""


def test_the_samples_of_a_sweep_carry_the_times_at_which_the_hand_made_them(tmp_path):
    """Over a real stream, decoder and record, whatever the load of the machine."""

    async def test():
        async def settled():
            await rig.bench.heard("I1", gauge.sent)

        pace = FullPace(settled)
        gauge = BenchGauge(
            SimulatedGauge.model_validate(
                {"id": "I1", "kind": "indicator", "title": "Indicator", "serial": "1",
                 "driver": "mode-line", "places": 3, "speaks": "all the time", "per_second": 16,
                 "noise": "0.001 mm", "u": "0.0015 mm", "calibration_due": "2030-01-01"}
            ), pace)  # fmt: skip
        rig = make_rig(tmp_path, clock=pace, cables={"I1": Plug(await gauge.connect())})
        await rig.bench.start(open_job(rig))
        clock = asyncio.create_task(pace.run())
        gauge.switch_on()
        await pace.sleep(1)
        await rig.bench.go(ROCK)
        gauge.pick_up()
        await pace.sleep(0.5)
        rig.bench.sweep_start()
        path = list(rock(120.0, 16, 5, random.Random(1)))
        await gauge.follow(path)
        await rig.bench.sweep_stop()
        gauge.lay_down()
        [(place, analysis)] = rig.bench.analyses.items()
        trace = rig.session.history[place].event.trace
        assert list(trace.t_us) == [62_500 * number for number in range(len(trace.t_us))]
        shown = [f"{round(um) / 1000 + 0.0:.3f}" for um in path]
        assert "".join(trace.texts[-len(shown) :]) == "".join(shown)
        assert analysis.travel_pm == pytest.approx(120e6, abs=2e6)
        await gauge.unplug()
        clock.cancel()
        await asyncio.gather(clock, return_exceptions=True)
        await rig.bench.stop()
        rig.store.close()

    run(test())


@pytest.mark.parametrize("pace", [FullPace(nothing), PersonPace()], ids=["full", "person"])
def test_the_wall_clock_is_real_and_written_as_the_record_wants_it(pace):
    text = pace.utc()
    assert text.endswith("Z")
    assert len(text) == len("2026-01-01T00:00:00.000000Z")
    assert abs(datetime.fromisoformat(text) - datetime.now(UTC)) < timedelta(hours=1)


def test_at_a_persons_pace_time_is_that_of_the_machine_and_cannot_be_held():
    async def test():
        pace = PersonPace()
        before = pace.mono_ns()
        with pace.held():
            await pace.sleep(0)
            assert pace.mono_ns() >= before

    run(test())


def test_the_record_can_tell_the_two_apart():
    assert (FullPace(nothing).name, PersonPace().name) == ("simulated", "real")
