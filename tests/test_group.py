"""Values that come while the disk is busy share a transaction, and nothing else changes by it."""

from __future__ import annotations

import pytest
from bench_kit import make_rig, run, running, stem
from cable_kit import nothing_left

from gaugelink import content
from gaugelink.errors import RecordError
from gaugelink.event_documents import from_document
from gaugelink.events import ReadingParked
from gaugelink.wire.driver import load_driver

pytestmark = pytest.mark.usefixtures("nothing_left")
__all__ = ["nothing_left"]

FIRST = 5
"""Entries of the record before the first value: the job, and four gauges found."""


def rig_of_two(tmp_path):
    """A micrometer, which is asked for, and a caliper with a button too, which is not."""
    same = load_driver(*content.read("drivers", "signed-line"))
    return make_rig(tmp_path, drivers={"C1": same})


def on_record(rig):
    events = [from_document(entry.document) for entry in rig.store.entries(FIRST)]
    return [(type(event).__name__, event.shown.text) for event in events]


def test_values_for_the_tray_that_came_while_the_disk_was_busy_share_a_transaction(tmp_path):
    async def test():
        rig = rig_of_two(tmp_path)
        async with running(tmp_path, rig=rig):
            before = rig.store.appends
            rig.store.shut()
            rig.send("M1", stem("7.964"))
            await rig.store.begun()
            texts = [f"47.{number:03d}" for number in range(30)]
            rig.send("C1", b"".join(map(stem, texts)))
            rig.store.release()
            await rig.heard("C1")
            await rig.heard("M1")
            assert on_record(rig) == [
                ("ReadingTaken", "7.964"), *(("ReadingParked", text) for text in texts)
            ]  # fmt: skip
            assert rig.store.appends - before == 2
            assert len(rig.audience.warnings()) == 30

    run(test())


def test_whatever_changes_what_is_asked_for_is_written_before_the_next_is_decided_on(tmp_path):
    async def test():
        rig = rig_of_two(tmp_path)
        async with running(tmp_path, rig=rig):
            before = rig.store.appends
            rig.send("M1", stem("7.964") + stem("7.963") + stem("7.962"))
            await rig.heard("M1")
            # The second and third belong to the place that was asked for when they came.
            assert on_record(rig) == [
                ("ReadingTaken", "7.964"), ("ReadingParked", "7.963"), ("ReadingParked", "7.962")
            ]  # fmt: skip
            assert rig.store.appends - before == 2

    run(test())


def test_none_of_them_is_told_or_taken_in_before_all_are_on_disk(tmp_path):
    async def test():
        rig = rig_of_two(tmp_path)
        async with running(tmp_path, rig=rig):
            rig.store.shut()
            rig.send("C1", stem("47.001") + stem("47.002"))
            await rig.store.begun()
            assert rig.session.tray() == []
            assert rig.audience.warnings() == []
            rig.store.release()
            await rig.heard("C1")
            assert [entry.event.shown.text for entry in rig.session.tray()] == ["47.001", "47.002"]
            assert len(rig.audience.warnings()) == 2

    run(test())


def test_where_they_cannot_be_written_each_is_told_and_the_bench_goes_on(tmp_path):
    async def test():
        rig = rig_of_two(tmp_path)
        async with running(tmp_path, rig=rig):
            rig.store.fault = RecordError("the disk is full")
            rig.send("C1", stem("47.001") + stem("47.002"))
            await rig.heard("C1")
            assert rig.session.tray() == []
            told = rig.audience.warnings()
            assert [words.split(" from")[0] for words in told] == ["47.001 mm", "47.002 mm"]
            assert all("is not on record" in words for words in told)
            rig.store.fault = None
            await rig.press("M1", stem("7.964"))
            assert on_record(rig) == [("ReadingTaken", "7.964")]

    run(test())


def test_a_group_fed_again_from_the_record_leads_to_the_same_tray(tmp_path):
    async def test():
        rig = rig_of_two(tmp_path)
        async with running(tmp_path, rig=rig):
            rig.send("C1", stem("47.001") + stem("47.002"))
            await rig.heard("C1")
            tray = rig.session.tray()
        async with running(tmp_path, job=False, reopen=True) as again:
            assert again.session.tray() == tray
            assert all(isinstance(entry.event, ReadingParked) for entry in tray)
            assert len(tray) == 2

    run(test())
