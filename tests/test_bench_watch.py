"""A bench that watches its gauges takes values at rest and starts sweeps by motion."""

from __future__ import annotations

from bench_kit import ROCK, SPRING, rocked, run, running, spring, sweep

from gaugelink.capture.actions import act
from gaugelink.event_documents import from_document
from gaugelink.events import (
    ReadingTaken,
    SweepTaken,
)


async def hold(rig, hundredths, samples):
    """Let the caliper send the same figure, ten times a second."""
    for _ in range(samples):
        rig.clock.pass_s(0.1)
        rig.send("C1", spring(hundredths))
        await rig.heard("C1")


def taken(rig):
    events = [from_document(entry.document) for entry in rig.store.entries()]
    return [(e.shown.text, e.trigger) for e in events if isinstance(e, ReadingTaken)]


def test_a_value_at_rest_is_taken_once_and_the_next_part_after_it(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.bench.go(SPRING)
            assert (await act(rig.bench, {"do": "watch", "on": True}))[0] == 200
            for hundredths in (0, 1500, 3000, 4600):  # the jaws close on the spring
                await hold(rig, hundredths, 1)
            await hold(rig, 4790, 30)
            assert taken(rig) == [("47.90", "at rest")]
            await hold(rig, 6000, 3)
            await hold(rig, 4781, 30)
            assert taken(rig) == [("47.90", "at rest"), ("47.81", "at rest")]

    run(test())


def test_nothing_is_taken_without_a_button_while_it_is_switched_off(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.bench.go(SPRING)
            await hold(rig, 4790, 30)
            assert taken(rig) == []
            await act(rig.bench, {"do": "watch", "on": True})
            await act(rig.bench, {"do": "watch", "on": False})
            await hold(rig, 4790, 30)
            assert taken(rig) == []

    run(test())


def test_a_value_taken_by_button_is_not_taken_again_while_it_rests(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.bench.go(SPRING)
            await act(rig.bench, {"do": "watch", "on": True})
            rig.bench.take("C1")
            await hold(rig, 4790, 30)
            assert taken(rig) == [("47.90", "asked")]

    run(test())


def test_a_gauge_that_is_not_asked_for_is_not_watched(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await act(rig.bench, {"do": "watch", "on": True})
            size = rig.store.size
            await hold(rig, 4790, 30)
            assert rig.store.size == size

    run(test())


def test_a_sweep_starts_with_the_motion_and_has_its_beginning(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.bench.go(ROCK)
            await act(rig.bench, {"do": "watch", "on": True})
            rest = [0] * 15
            await rig.rock(rest)
            assert rig.bench.recorder is None
            await rig.rock(sweep(rocks=5, travel_um=120))
            assert rig.bench.recorder is not None
            await rig.bench.sweep_stop()
            kept = from_document(list(rig.store.entries())[-1].document)
            assert isinstance(kept, SweepTaken)
            assert kept.usable
            assert kept.trace.value_pm[0] == 0  # what came just before the motion is in it
            assert kept.raw.startswith(rocked(0))
            assert list(kept.trace.t_us) == sorted(kept.trace.t_us)

    run(test())


def test_a_resting_indicator_starts_no_sweep(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.bench.go(ROCK)
            await act(rig.bench, {"do": "watch", "on": True})
            await rig.rock([n % 2 for n in range(60)])
            assert rig.bench.recorder is None

    run(test())
