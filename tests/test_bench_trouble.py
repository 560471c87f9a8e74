"""The bench in trouble: pulled cables, lost power, ports and records that fail."""

from __future__ import annotations

import asyncio
import threading

import pytest
from bench_kit import (
    ROCK,
    SPRING,
    make_rig,
    open_job,
    put_away,
    rocked,
    run,
    running,
    spring,
    stem,
    sweep,
)
from cable_kit import TcpCable, make_cable, nothing_left

from gaugelink.deeds import Skip
from gaugelink.errors import PortError, RecordError, SessionError
from gaugelink.event_documents import from_document

pytestmark = pytest.mark.usefixtures("nothing_left")
__all__ = ["nothing_left"]


def shown(session) -> list[str]:
    """What counts, as shown."""
    return [item.shown.text for item in session.readings()]


class TestOpening:
    def test_every_gauge_is_announced_once_and_is_in_the_record(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                assert rig.kinds() == ["job-opened"] + ["gauge-found"] * 4
                assert all(cable.here for cable in rig.bench.cables)

        run(test())

    def test_the_first_press_after_a_silence_is_not_lost(self, tmp_path):
        """The pause of this driver is half a second."""

        async def test():
            async with running(tmp_path) as rig:  # a second has passed since opening
                rig.send("M1", stem("7.964"))
                await rig.heard("M1")
                assert shown(rig.session) == ["7.964"]

        run(test())

    def test_what_comes_right_after_opening_may_be_half_a_line_and_is_dropped(self, tmp_path):
        async def test():
            rig = make_rig(tmp_path)
            await rig.bench.start(open_job(rig))
            rig.send("M1", stem("7.964"))  # whole, but nobody can tell
            await rig.heard("M1")
            assert shown(rig.session) == []
            assert rig.bench.cable_of("M1").noise_bytes == 12
            await rig.press("M1", stem("7.963"))
            assert shown(rig.session) == ["7.963"]
            await rig.bench.stop()
            put_away(rig)

        run(test())

    def test_a_port_that_is_missing_leaves_none_of_the_others_open(self, tmp_path):
        async def test():
            cables = {"M1": make_cable(), "C1": TcpCable(), "I1": make_cable()}
            cables["C1"].pull()
            rig = make_rig(tmp_path, cables=cables)
            with pytest.raises(PortError, match="does not answer"):
                await rig.bench.start(open_job(rig))
            assert not [item for item in threading.enumerate() if item.name.startswith("port")]
            await rig.bench.stop()  # as a caller that always stops does
            assert rig.kinds() == ["job-opened"], "none is there unless all are"
            assert rig.store.heads()[-1].size == 1
            put_away(rig)

        run(test())

    @pytest.mark.parametrize("appends", [0, 1, 3])
    def test_a_record_that_fails_leaves_nothing_open_and_its_own_fault_is_told(
        self, tmp_path, appends
    ):
        async def test():
            rig = make_rig(tmp_path)
            append = rig.store.append

            def fails_later(documents):
                if rig.store.appends == appends:
                    rig.store.fault = RecordError("the disk is full")
                    rig.store.head_fault = RecordError("the disk is still full")
                return append(documents)

            rig.store.append = fails_later
            with pytest.raises(RecordError, match="the disk is full"):
                await rig.bench.start(open_job(rig))
            await rig.bench.stop()
            put_away(rig)

        run(test())

    def test_a_record_of_another_plan_is_refused(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await rig.press("M1", stem("7.964"))
            sheet = rig.sheet.text.replace('stations = ["top", "bottom"]', 'stations = ["middle"]')
            other = make_rig(tmp_path, sheet_text=sheet, reopen=True)
            with pytest.raises(SessionError, match="the plan has no step for Intake valve"):
                await other.bench.start(None)
            put_away(other)

        run(test())


class TestLoss:
    def test_a_pulled_cable_is_announced_once_and_is_in_the_record_and_the_rest_goes_on(
        self, tmp_path
    ):
        async def test():
            async with running(tmp_path) as rig:
                rig.cables["C1"].pull()
                await rig.until(lambda: bool(rig.session.lost))
                await rig.press("M1", stem("7.964"))
                assert rig.kinds()[5:] == ["gauge-lost", "reading-taken"]
                event = from_document(list(rig.store.entries())[5].document)
                assert (event.gauge, event.port) == ("C1", rig.cables["C1"].name)
                assert event.why
                [warning] = rig.audience.warnings()
                assert warning == f"Caliper is lost: {event.why}"
                assert not rig.bench.cable_of("C1").here
                with pytest.raises(SessionError, match="Caliper is lost; look at its cable"):
                    rig.bench.take("C1")
                assert shown(rig.session) == ["7.964"]

        run(test())

    def test_the_port_of_a_lost_gauge_is_given_back_at_once(self, tmp_path):
        """Held open, it would keep its name, and the gauge would come back under another."""

        async def test():
            async with running(tmp_path) as rig:
                rig.cables["C1"].pull()
                await rig.until(lambda: bool(rig.session.lost))
                port = rig.bench.cable_of("C1").port
                assert f"port {port.name}" not in [item.name for item in threading.enumerate()]
                with pytest.raises(PortError, match="is not open"):
                    port.write(b"R\r")

        run(test())

    def test_half_a_frame_before_the_loss_is_never_completed_after_it(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await rig.press("M1", b"+  7.9")
                rig.cables["M1"].pull()
                await rig.until(lambda: bool(rig.session.lost))
                assert rig.bench.channels["M1"].last is None
                cable = rig.bench.cable_of("M1")
                assert cable.feed(b"64 MM\r", rig.clock.mono_ns()) == []
                rig.clock.pass_s(1)
                assert [str(item.value.shown) for item in cable.feed(
                    stem("7.963"), rig.clock.mono_ns())] == ["7.963 mm"]  # fmt: skip

        run(test())

    def test_half_a_frame_before_a_pause_is_never_completed_after_it(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await rig.press("M1", b"+  7.9")
                await rig.press("M1", b"64 MM\r")
                assert shown(rig.session) == []
                await rig.press("M1", stem("7.963"))
                assert shown(rig.session) == ["7.963"]

        run(test())

    def test_it_ends_a_sweep_that_is_running_and_nothing_of_it_is_used(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await rig.bench.go(ROCK)
                rig.bench.sweep_start()
                await rig.rock(sweep()[:60])
                rig.cables["I1"].pull()
                await rig.until(lambda: bool(rig.session.lost))
                assert rig.bench.recorder is None
                assert rig.kinds()[5:] == ["gauge-lost", "sweep-parked"]
                [entry] = rig.session.tray()
                assert len(entry.event.trace.t_us) == 60
                assert rig.session.sweeps() == []
                [warning] = rig.audience.warnings()
                assert "the sweep is broken off, record it again" in warning
                with pytest.raises(SessionError, match="no sweep is running"):
                    await rig.bench.sweep_stop()
                with pytest.raises(SessionError, match="no indicator is connected"):
                    rig.bench.sweep_start()
                assert rig.session.cursor == ROCK

        run(test())

    def test_the_loss_of_another_gauge_does_not_end_a_sweep(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await rig.bench.go(ROCK)
                rig.bench.sweep_start()
                samples = sweep()
                await rig.rock(samples[:60])
                rig.cables["C1"].pull()
                await rig.until(lambda: bool(rig.session.lost))
                await rig.rock(samples[60:])
                assert (await rig.bench.sweep_stop()).usable

        run(test())

    def test_what_was_asked_of_a_gauge_is_forgotten_with_it(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await rig.bench.go(SPRING)
                rig.bench.take("C1")
                rig.cables["C1"].pull()
                await rig.until(lambda: bool(rig.session.lost))
                assert rig.bench.channels["C1"].armed == ""

        run(test())

    def test_it_is_said_even_if_it_cannot_be_written(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                rig.store.fault = RecordError("the disk is full")
                rig.cables["C1"].pull()
                await rig.until(lambda: len(rig.audience.warnings()) == 2)
                lost, unwritten = rig.audience.warnings()
                assert lost.startswith("Caliper is lost: ")
                assert "the disk is full" in unwritten
                rig.store.fault = None
                await rig.press("M1", stem("7.964"))
                assert shown(rig.session) == ["7.964"]

        run(test())


class TestFaults:
    def test_a_decoder_that_fails_is_said_and_the_bench_goes_on(self, tmp_path):
        faults: list[dict] = []

        async def test():
            async with running(tmp_path) as rig:

                class Broken:
                    def feed(self, data):
                        raise KeyError(data[:1])

                    def gap(self):
                        return []

                rig.bench.cable_of("C1").decoder = Broken()
                await rig.press("C1", spring(4790))
                [warning] = rig.audience.warnings()
                assert warning.startswith("what Caliper sent could not be taken in: ")
                await rig.press("M1", stem("7.964"))
                assert shown(rig.session) == ["7.964"]

        run(test(), faults=faults)
        [fault] = faults  # a fault of the program keeps its trace for whoever maintains it
        assert isinstance(fault["exception"], KeyError)

    @pytest.mark.parametrize("word", ["live", "say", "changed"])
    def test_an_audience_that_fails_does_not_stop_the_bench(self, tmp_path, word):
        faults: list[dict] = []

        async def test():
            async with running(tmp_path) as rig:

                def fails(*_):
                    raise ValueError("nobody listens")

                good = getattr(rig.audience, word)
                setattr(rig.audience, word, fails)
                for text in ("7.964", "7.963"):
                    await rig.press("M1", stem(text))
                if word == "say":
                    rig.cables["C1"].pull()
                    while not faults:
                        await rig.bench.next_change(rig.bench.version)
                setattr(rig.audience, word, good)
                await rig.press("M1", stem("7.962"))
                assert "7.962" in shown(rig.session)
                assert rig.session.filled.keys() == set(range(len(shown(rig.session))))
                last = from_document(list(rig.store.entries())[-1].document)
                assert last.shown.text == "7.962"

        run(test(), faults=faults)
        assert faults

    def test_a_fault_in_one_value_does_not_take_the_next_one_with_it(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                rig.store.fault = RecordError("the disk is full for a moment")
                rig.bench.audience.on_change = lambda: setattr(rig.store, "fault", None)
                await rig.press("M1", stem("7.964") + stem("7.963"))
                assert shown(rig.session) == ["7.963"]
                assert len(rig.audience.warnings()) == 1

        run(test())


class TestStopping:
    def test_what_is_under_way_is_written_before_the_end(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                rig.store.shut()
                rig.send("M1", stem("7.964"))
                await rig.store.begun()
                rig.send("C1", spring(4790))
                rig.send("I1", rocked(3))
                stopping = asyncio.create_task(rig.bench.stop())
                rig.store.release()
                await stopping
                assert shown(rig.session) == ["7.964"]
                assert rig.kinds()[-1] == "reading-taken"
                assert rig.store.heads()[-1].size == rig.store.size

        run(test())

    def test_a_command_that_waits_for_its_turn_is_done_whole_or_not_at_all(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                rig.store.shut()
                first = asyncio.create_task(rig.bench.do(Skip("one")))
                await rig.store.begun()
                second = asyncio.create_task(rig.bench.do(Skip("two")))
                stopping = asyncio.create_task(rig.bench.stop())
                rig.store.release()
                await asyncio.gather(first, second, stopping, return_exceptions=True)
                assert len(rig.session.skipped) == rig.kinds().count("position-skipped")
                assert rig.session.skipped[0] == "one"

        run(test())

    def test_stopping_twice_or_at_the_same_time_does_nothing_more(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await asyncio.gather(rig.bench.stop(), rig.bench.stop())
                heads = len(rig.store.heads())
                await rig.bench.stop()
                assert len(rig.store.heads()) == heads

        run(test())

    def test_nothing_is_taken_any_more_afterwards_and_everybody_is_told_so(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await rig.bench.go(ROCK)
                await rig.bench.stop()
                size = rig.store.size
                with pytest.raises(SessionError, match="has been stopped"):
                    await rig.bench.do(Skip("late"))
                with pytest.raises(SessionError, match="has been stopped"):
                    rig.bench.take("C1")
                with pytest.raises(SessionError, match="has been stopped"):
                    rig.bench.sweep_start()
                assert rig.store.size == size
                assert rig.session.skipped == {}

        run(test())
