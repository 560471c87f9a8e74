"""Taking from gauges that wait or send all the time, and recording rock sweeps."""

from __future__ import annotations

import asyncio

import pytest
from bench_kit import (
    GAUGES,
    ROCK,
    SPRING,
    STAND_DOWN,
    rocked,
    run,
    running,
    spring,
    stem,
    sweep,
)
from cable_kit import TcpCable, make_cable, needs_terminals, nothing_left

from gaugelink import content
from gaugelink.deeds import Skip
from gaugelink.errors import PortError, SessionError
from gaugelink.event_documents import from_document
from gaugelink.events import (
    SweepParked,
    SweepTaken,
)
from gaugelink.wire.base import Value
from gaugelink.wire.driver import load_driver

pytestmark = pytest.mark.usefixtures("nothing_left")
__all__ = ["nothing_left"]


def shown(session) -> list[str]:
    """What counts, as shown."""
    return [item.shown.text for item in session.readings()]


class TestTaking:
    async def at(self, rig, step):
        await rig.bench.go(step)

    def test_a_free_running_gauge_gives_the_next_value_and_no_other(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await self.at(rig, SPRING)
                size = rig.store.size
                for hundredths in (4701, 4702):
                    await rig.press("C1", spring(hundredths))
                assert rig.store.size == size
                rig.bench.take("C1")
                for hundredths in (4703, 4704, 4705):
                    await rig.press("C1", spring(hundredths))
                assert shown(rig.session) == ["47.03"]
                assert rig.store.size == size + 1
                assert from_document(list(rig.store.entries())[-1].document).trigger == "asked"

        run(test())

    @pytest.mark.parametrize("tcp", [pytest.param(False, marks=needs_terminals), True])
    def test_an_asked_gauge_gets_its_request_and_gives_exactly_one_value(self, tmp_path, tcp):
        async def test():
            cables = {mark: make_cable() for mark in GAUGES}
            if tcp:
                cables["D1"].pull()
                cables["D1"] = TcpCable()
            async with running(tmp_path, cables=cables) as rig:
                await self.at(rig, STAND_DOWN)
                rig.clock.pass_s(2)
                rig.bench.take("D1")
                assert await asyncio.to_thread(rig.cables["D1"].hear, 2) == b"R\r"
                rig.send("D1", b" 1.08\r")
                await rig.heard("D1")
                await rig.press("D1", b" 1.09\r")  # nobody asked again
                assert shown(rig.session) == ["1.08"]
                [entry] = rig.session.tray()
                assert "nobody had asked" in entry.event.why

        run(test())

    def test_two_clicks_ask_once(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await self.at(rig, STAND_DOWN)
                rig.clock.pass_s(2)
                rig.bench.take("D1")
                with pytest.raises(SessionError, match="has been asked already"):
                    rig.bench.take("D1")
                await rig.press("D1", b" 1.08\r")
                assert shown(rig.session) == ["1.08"]

        run(test())

    def test_a_second_click_right_after_the_value_takes_no_other(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await self.at(rig, SPRING)
                rig.bench.take("C1")
                await rig.press("C1", spring(4790))
                rig.clock.pass_s(0.2)
                with pytest.raises(SessionError, match="only just now"):
                    rig.bench.take("C1")
                rig.clock.pass_s(1)
                rig.bench.take("C1")
                await rig.press("C1", spring(4791))
                assert shown(rig.session) == ["47.90", "47.91"]

        run(test())

    def test_a_gauge_that_does_not_answer_can_be_asked_again(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await self.at(rig, STAND_DOWN)
                rig.clock.pass_s(2)
                rig.bench.take("D1")
                rig.clock.pass_s(2.4)
                with pytest.raises(SessionError, match="has been asked already"):
                    rig.bench.take("D1")  # hand gauges may take two seconds
                rig.clock.pass_s(0.1)
                rig.bench.take("D1")
                assert await asyncio.to_thread(rig.cables["D1"].hear, 4) == b"R\rR\r"
                await rig.press("D1", b" 1.08\r")
                assert shown(rig.session) == ["1.08"]

        run(test())

    def test_what_was_wanted_for_one_place_is_not_taken_for_another(self, tmp_path):
        """The gauge was asleep; when it wakes up, the operator is somewhere else."""

        async def test():
            async with running(tmp_path) as rig:
                await self.at(rig, SPRING)
                rig.bench.take("C1")
                await rig.bench.do(Skip("broken off"))
                await rig.press("C1", spring(4790))
                assert shown(rig.session) == []
                await self.at(rig, STAND_DOWN)
                rig.bench.take("D1")
                await self.at(rig, STAND_DOWN + 1)
                await rig.press("D1", b" 1.08\r")
                assert shown(rig.session) == []
                assert len(rig.session.tray()) == 1

        run(test())

    def test_a_gauge_with_a_button_is_not_taken_from_but_pressed(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                with pytest.raises(SessionError, match="its own button"):
                    rig.bench.take("M1")
                await rig.press("M1", stem("7.964"))
                event = from_document(list(rig.store.entries())[-1].document)
                assert event.trigger == "gauge"

        run(test())

    def test_an_unknown_gauge_is_refused_with_the_names_there_are(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                with pytest.raises(SessionError, match="found the gauge 'X9', accepted: M1, I1"):
                    rig.bench.take("X9")

        run(test())

    def test_a_request_that_cannot_be_sent_leaves_nothing_wanted(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                channel = rig.bench.channels["D1"]
                await asyncio.to_thread(rig.bench.cable_of("D1").port.close)
                with pytest.raises(PortError, match="is not open"):
                    rig.bench.take("D1")
                assert channel.armed == ""

        run(test())


class TestSweeps:
    async def ready(self, rig):
        await rig.bench.go(ROCK)
        rig.bench.sweep_start()

    def last_sweep(self, rig):
        event = from_document(list(rig.store.entries())[-1].document)
        assert isinstance(event, SweepTaken)
        return event

    def test_every_sample_is_on_record_in_order_with_its_time_and_its_bytes(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await rig.rock([7, 8])  # before it runs: shown, not recorded
                await self.ready(rig)
                samples = sweep()
                await rig.rock(samples)
                analysis = await rig.bench.sweep_stop()
                await rig.rock([9])
                event = self.last_sweep(rig)
                assert [round(pm / 1e6) for pm in event.trace.value_pm] == samples
                assert list(event.trace.t_us) == [100_000 * n for n in range(len(samples))]
                assert event.raw == b"".join(map(rocked, samples))
                decoder = load_driver(*content.read("drivers", "mode-line")).decoder()
                again = decoder.feed(event.raw) + decoder.end()
                assert all(isinstance(item, Value) for item in again)
                assert tuple(item.shown.text for item in again) == event.trace.texts
                assert tuple(item.shown.pm for item in again) == event.trace.value_pm
                assert (event.usable, event.flags) == (True, ())
                assert analysis.travel_pm == pytest.approx(120e6, abs=1e6)
                assert analysis.full_rocks == 5
                assert rig.bench.analyses == {rig.store.size - 1: analysis}
                assert rig.session.cursor == ROCK + 1

        run(test())

    def test_one_that_cannot_be_used_is_kept_and_asked_for_again(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await self.ready(rig)
                await rig.rock(sweep(rocks=1))
                analysis = await rig.bench.sweep_stop()
                event = self.last_sweep(rig)
                assert not analysis.usable
                assert not event.usable
                assert event.flags
                assert rig.session.cursor == ROCK
                assert "could not be used" in rig.session.again
                assert rig.session.sweeps() == []
                rig.bench.sweep_start()
                await rig.rock(sweep())
                await rig.bench.sweep_stop()
                assert len(rig.session.sweeps()) == 1
                assert len(rig.bench.analyses) == 2

        run(test())

    @pytest.mark.parametrize("letter", ["m", "l", "t"])
    def test_one_in_another_mode_is_not_usable_however_good_it_looks(self, tmp_path, letter):
        async def test():
            async with running(tmp_path) as rig:
                await self.ready(rig)
                samples = sweep()
                await rig.rock(samples[:30])
                await rig.rock(samples[30:31], letter)  # one sample is enough
                await rig.rock(samples[31:])
                await rig.bench.sweep_stop()
                event = self.last_sweep(rig)
                assert not event.usable
                assert "set it to show the actual value" in event.flags[0]
                assert rig.session.cursor == ROCK

        run(test())

    def test_a_change_of_unit_in_the_middle_is_seen(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await self.ready(rig)
                samples = sweep()
                await rig.rock(samples[:40])
                for um in samples[40:]:
                    frame = f"a{'-' if um < 0 else '+'}{abs(um) / 25400:.4f}I= \n".encode()
                    rig.clock.pass_s(0.1)
                    rig.send("I1", frame)
                    await rig.heard("I1")
                await rig.bench.sweep_stop()
                event = self.last_sweep(rig)
                assert not event.usable
                assert event.trace.texts[-1].endswith(" in")

        run(test())

    def test_a_measured_sweep_is_replaced_by_a_new_one(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                for travel in (120, 100):
                    await self.ready(rig)
                    await rig.rock(sweep(travel_um=travel))
                    await rig.bench.sweep_stop()
                [counting] = rig.session.sweeps()
                assert counting.place == max(rig.bench.analyses)
                assert rig.kinds()[-2:] == ["reading-struck-out", "sweep-taken"]

        run(test())

    def test_one_can_only_be_started_where_one_is_asked_for_and_only_once(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                with pytest.raises(SessionError, match="no sweep is asked for here"):
                    rig.bench.sweep_start()
                await self.ready(rig)
                with pytest.raises(SessionError, match="running already"):
                    rig.bench.sweep_start()
                with pytest.raises(SessionError, match="a sweep is being recorded"):
                    rig.bench.take("I1")

        run(test())

    def test_one_that_never_ran_or_had_no_samples_cannot_be_stopped(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                size = rig.store.size
                with pytest.raises(SessionError, match="no sweep is running"):
                    await rig.bench.sweep_stop()
                await self.ready(rig)
                with pytest.raises(SessionError, match="sent nothing"):
                    await rig.bench.sweep_stop()
                assert rig.store.size == size
                await rig.rock([5])  # it is over
                assert rig.bench.recorder is None

        run(test())

    @pytest.mark.parametrize("samples", [[0], [0, 0], [0, 100], [0, 100, 0], [5] * 40])
    def test_however_little_was_recorded_it_is_kept_and_refused(self, tmp_path, samples):
        async def test():
            async with running(tmp_path) as rig:
                await self.ready(rig)
                await rig.rock(samples)
                analysis = await rig.bench.sweep_stop()
                assert not analysis.usable
                assert len(self.last_sweep(rig).trace.texts) == len(samples)

        run(test())

    def test_one_is_not_put_into_a_place_that_was_chosen_meanwhile(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await self.ready(rig)
                await rig.rock(sweep())
                await rig.bench.go(ROCK + 1)
                await rig.bench.sweep_stop()
                assert rig.session.sweeps() == []
                [entry] = rig.session.tray()
                assert isinstance(entry.event, SweepParked)
                assert entry.event.why == "another position was chosen while the sweep was running"
                assert len(entry.event.trace.t_us) == len(sweep())
                assert entry.event.raw == b"".join(rocked(um) for um in sweep())
                assert rig.session.cursor == ROCK + 1

        run(test())

    def test_the_values_of_other_gauges_are_dealt_with_while_it_runs(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await self.ready(rig)
                await rig.press("M1", stem("7.964"))
                assert "a rock sweep was asked for" in rig.session.tray()[0].event.why
                assert rig.bench.recorder.values == []

        run(test())
