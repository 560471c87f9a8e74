"""The bench at work: on disk first, one thing at a time, and never silently at a standstill."""

from __future__ import annotations

import asyncio

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
)
from cable_kit import nothing_left

from gaugelink.capture import ledger
from gaugelink.deeds import Assign, Skip
from gaugelink.errors import RecordError
from gaugelink.record import SqliteStore, verify_head

pytestmark = pytest.mark.usefixtures("nothing_left")
__all__ = ["nothing_left"]

FULL = RecordError("job.record: the disk is full; make room")


def shown(session) -> list[str]:
    """What counts, as shown."""
    return [item.shown.text for item in session.readings()]


class TestWritingFirst:
    def test_nothing_is_taken_in_or_told_before_the_record_has_it(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                before, told = rig.bench.version, len(rig.audience.told)
                rig.store.shut()
                rig.send("M1", stem("7.964"))
                await rig.store.begun()
                assert shown(rig.session) == []
                assert rig.bench.version == before
                assert rig.audience.told[told:] == [("live", ("M1", "7.964"))]
                rig.store.release()
                await rig.heard("M1")
                assert shown(rig.session) == ["7.964"]
                assert rig.bench.version == before + 1
                assert rig.audience.told[-1] == ("changed", None)
                assert rig.kinds()[-1] == "reading-taken"

        run(test())

    def test_a_slow_disk_does_not_stop_the_other_gauges_from_being_read(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                rig.store.shut()
                skipping = asyncio.create_task(rig.bench.do(Skip("broken off")))
                await rig.store.begun()
                rig.send("C1", spring(4790))
                await rig.heard("C1")
                assert rig.audience.figures("C1") == ["47.90"]
                assert rig.session.skipped == {}
                rig.store.release()
                await skipping
                assert rig.session.skipped == {0: "broken off"}

        run(test())

    def test_the_page_is_drawn_from_what_has_been_taken_in_without_waiting_for_the_disk(
        self, tmp_path
    ):
        async def test():
            async with running(tmp_path) as rig:
                view = rig.view()
                before = view.state()["record"]
                assert before["size"] == rig.store.size
                assert before["root"] == rig.store.root().hex()
                rig.store.shut()
                with rig.store._turn:  # as a writer holds it while the disk is slow
                    assert (await asyncio.to_thread(view.state))["record"] == before
                rig.store.release()
                await rig.press("M1", stem("7.964"))
                after = view.state()["record"]
                assert (after["size"], after["root"]) == (
                    before["size"] + 1, rig.store.root().hex())  # fmt: skip

        run(test())

    def test_a_reading_that_cannot_be_written_leaves_everything_as_it_was_and_says_so(
        self, tmp_path
    ):
        async def test():
            async with running(tmp_path) as rig:
                size = rig.store.size
                rig.store.fault = FULL
                await rig.press("M1", stem("7.964"))
                assert (shown(rig.session), rig.session.cursor) == ([], 0)
                [warning] = rig.audience.warnings()
                assert warning.startswith("7.964 mm from Micrometer is not on record: ")
                assert "the disk is full; make room" in warning
                rig.store.fault = None
                assert rig.store.size == size
                await rig.press("M1", stem("7.962"))
                assert shown(rig.session) == ["7.962"]

        run(test())

    def test_a_command_that_cannot_be_written_leaves_everything_as_it_was_and_says_so(
        self, tmp_path
    ):
        async def test():
            async with running(tmp_path) as rig:
                rig.store.fault = FULL
                version = rig.bench.version
                with pytest.raises(RecordError, match="the disk is full"):
                    await rig.bench.do(Skip("broken off"))
                assert (rig.session.skipped, rig.session.cursor) == ({}, 0)
                assert rig.bench.version == version

        run(test())

    def test_a_record_that_was_closed_under_the_bench_is_said_with_every_value(self, tmp_path):
        async def test():
            rig = make_rig(tmp_path)
            await rig.bench.start(open_job(rig))
            rig.store.close()
            await rig.press("M1", stem("7.964"))
            await rig.press("M1", stem("7.963"))
            assert len(rig.audience.warnings()) == 2
            assert all("the record was closed" in words for words in rig.audience.warnings())
            with pytest.raises(RecordError, match="closed"):
                await rig.bench.stop()
            put_away(rig)

        run(test())

    def test_two_commands_at_once_are_carried_out_one_after_the_other(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                rig.store.shut()
                appends = rig.store.appends
                both = [asyncio.create_task(rig.bench.do(Skip(f"reason {n}"))) for n in (1, 2)]
                await rig.store.begun()
                for _ in range(20):
                    await asyncio.sleep(0)
                assert rig.store.appends == appends + 1
                rig.store.release()
                await asyncio.gather(*both)
                assert rig.session.skipped == {0: "reason 1", 1: "reason 2"}

        run(test())

    def test_whoever_goes_away_in_the_middle_leaves_session_and_record_the_same(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                rig.store.shut()
                asking = asyncio.create_task(rig.bench.do(Skip("broken off")))
                await rig.store.begun()
                asking.cancel()
                await asyncio.gather(asking, return_exceptions=True)
                rig.store.release()
                await rig.until(lambda: bool(rig.session.skipped))
                assert rig.kinds()[-1] == "position-skipped"
                await rig.press("M1", stem("7.964"))
                assert rig.session.filled == {1: rig.store.size - 1}

        run(test())

    def test_a_fault_that_the_one_who_went_away_does_not_hear_is_said(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                rig.store.shut()
                asking = asyncio.create_task(rig.bench.do(Skip("broken off")))
                await rig.store.begun()
                rig.store.fault = FULL
                asking.cancel()
                await asyncio.gather(asking, return_exceptions=True)
                rig.store.release()
                await rig.until(lambda: bool(rig.audience.warnings()))
                [warning] = rig.audience.warnings()
                assert "was not done" in warning
                assert "the disk is full" in warning

        run(test())

    def test_a_signed_head_is_published_now_and_then_and_at_the_end(self, tmp_path, monkeypatch):
        monkeypatch.setattr(ledger, "HEAD_EVERY", 3)

        async def test():
            async with running(tmp_path) as rig:
                for number in range(6):
                    await rig.press("C1", spring(4000 + number))  # shown, and not taken
                    await rig.press("M1", stem(f"7.96{number}"))
                sizes = [head.size for head in rig.store.heads()]
                assert sizes == [1, 4, 7, 10]
                path = rig.store.path
            with SqliteStore.read(path) as store:
                last = store.heads()[-1]
                assert (last.size, last.root) == (store.size, store.root())
                assert store.size == 11
                verify_head(last)

        run(test())

    def test_a_head_that_cannot_be_published_does_not_undo_what_is_on_disk(
        self, tmp_path, monkeypatch
    ):
        monkeypatch.setattr(ledger, "HEAD_EVERY", 1)

        async def test():
            rig = make_rig(tmp_path)
            await rig.bench.start(open_job(rig))
            rig.store.head_fault = RecordError("job.record.heads.jsonl: the disk is full")
            done = await rig.bench.do(Skip("broken off"))
            assert [place for place, _ in done] == [rig.store.size - 1]
            assert rig.session.skipped == {0: "broken off"}
            assert "no signed head could be published" in rig.audience.warnings()[0]
            with pytest.raises(RecordError, match="the disk is full"):
                await rig.bench.stop()
            put_away(rig)

        run(test())


class TestValues:
    def test_a_pressed_gauge_fills_one_place_after_the_other(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await rig.fill_stems()
                assert shown(rig.session) == ["7.964", "7.962", "7.930", "7.936"]
                assert rig.session.cursor == ROCK
                raws = [item.raw for item in rig.session.readings()]
                assert raws == [stem(text) for text in shown(rig.session)]
                assert {item.stamp.operator for item in rig.session.readings()} == {"A. N. Other"}

        run(test())

    def test_a_value_from_the_wrong_gauge_lands_in_the_tray_and_a_person_can_take_it_out(
        self, tmp_path
    ):
        async def test():
            async with running(tmp_path) as rig:
                rig.bench.take("C1")
                await rig.press("C1", spring(4790))
                assert (shown(rig.session), rig.session.cursor) == ([], 0)
                [entry] = rig.session.tray()
                assert "came from the caliper" in entry.event.why
                assert "is in the tray" in rig.audience.warnings()[0]
                await rig.bench.do(Assign(entry.place, SPRING, "measured it first"))
                assert shown(rig.session) == ["47.90"]

        run(test())

    @pytest.mark.parametrize(
        ("letter", "words"), [("m", "largest"), ("l", "smallest"), ("t", "difference")]
    )
    def test_a_gauge_that_does_not_show_the_actual_value_is_refused(self, tmp_path, letter, words):
        async def test():
            async with running(tmp_path) as rig:
                rig.bench.take("I1")
                await rig.press("I1", rocked(101, letter))
                assert rig.kinds()[-1] == "reading-refused"
                assert words in rig.audience.warnings()[0]
                assert rig.session.tray() == []

        run(test())

    def test_what_is_no_frame_is_counted_and_recorded_nowhere(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                size = rig.store.size
                await rig.press("M1", b"+  7.9\xff4 MM\r" + b"NO ACCESS\r" + b"7.964 MM\r")
                cable, channel = rig.bench.cable_of("M1"), rig.bench.channels["M1"]
                assert rig.store.size == size
                assert (cable.bytes_in, cable.noise_bytes, channel.values) == (31, 31, 0)
                await rig.press("M1", stem("7.964"))
                assert (cable.noise_bytes, channel.values) == (31, 1)

        run(test())

    def test_a_button_that_bounces_gives_one_reading_and_leaves_the_other_in_the_tray(
        self, tmp_path
    ):
        """The same value within 50 to 500 ms is one press (common practice, no source)."""

        async def test():
            async with running(tmp_path) as rig:
                await rig.press("M1", stem("7.964"))
                rig.clock.pass_s(0.05)
                rig.send("M1", stem("7.964"))
                await rig.heard("M1")
                assert shown(rig.session) == ["7.964"]
                [entry] = rig.session.tray()
                assert "50 ms before" in entry.event.why
                await rig.press("M1", stem("7.964"))  # meant, two seconds later
                assert shown(rig.session) == ["7.964", "7.964"]

        run(test())

    def test_two_values_at_once_do_not_fill_two_places(self, tmp_path):
        """Nobody has moved the gauge between the two, whatever the second one says."""

        async def test():
            async with running(tmp_path) as rig:
                await rig.press("M1", stem("7.964") + stem("7.963"))
                assert shown(rig.session) == ["7.964"]
                [entry] = rig.session.tray()
                assert entry.event.shown.text == "7.963"
                assert "another position was asked for" in entry.event.why

        run(test())

    def test_a_value_that_came_before_the_place_was_changed_is_not_put_into_the_new_one(
        self, tmp_path
    ):
        async def test():
            async with running(tmp_path) as rig:
                rig.store.shut()
                skipping = asyncio.create_task(rig.bench.do(Skip("broken off")))
                await rig.store.begun()
                rig.send("M1", stem("7.964"))  # for place 0, while the disk is still at it
                await rig.until_live("M1", "7.964")
                rig.store.release()
                await skipping
                await rig.heard("M1")
                assert (shown(rig.session), len(rig.session.tray())) == ([], 1)

        run(test())

    def test_live_figures_of_every_gauge_are_passed_on_recorded_or_not(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                for um in (1, 2, 3):
                    await rig.press("I1", rocked(um))
                assert rig.audience.figures("I1") == ["0.001", "0.002", "0.003"]
                assert rig.bench.channels["I1"].last.shown.text == "0.003"

        run(test())
