"""A long job makes no pass of the collector longer, and what has come loose is still found."""

from __future__ import annotations

import asyncio
import gc
import weakref

import pytest
from bench_kit import KEY, SHEET, Clock

from gaugelink import sheetfile
from gaugelink.capture.ledger import Ledger
from gaugelink.capture.remembering import PORTION
from gaugelink.events import ReadingParked
from gaugelink.history import Entry
from gaugelink.plan import plan_for
from gaugelink.quantity import parse_length
from gaugelink.reading import Stamp
from gaugelink.record import SqliteStore
from gaugelink.session import Session

STAMP = Stamp("2026-01-02T08:00:00.000000Z", 1, "", "")


class Loop:
    """Something that only the collector can free."""

    def __init__(self):
        self.itself = self


@pytest.fixture
def ledger(tmp_path):
    """A ledger over an empty record."""
    session = Session(plan_for(sheetfile.load(SHEET, "sheet.toml")), {}, "as received")
    with SqliteStore.create(tmp_path / "job.record", key=KEY) as store:
        yield Ledger(session, store, Clock())
    gc.unfreeze()


def parked(count):
    shown = parse_length("7.964 mm")
    return [ReadingParked(STAMP, "M1", shown, b"", "nothing was asked for") for _ in range(count)]


def lines_to_look_through():
    """Lines of a history among all that the collector looks through in its longest pass."""
    return sum(type(item) is Entry for item in gc.get_objects())


def test_the_collector_never_has_more_than_a_portion_of_a_long_history_to_look_through(ledger):
    async def test():
        ledger.read()
        before = lines_to_look_through()
        for _ in range(3 * PORTION // 200 + 2):
            await ledger.commit(parked(200))
            assert lines_to_look_through() - before < PORTION
        await ledger.close()
        assert ledger.size == 3 * PORTION + 400

    asyncio.run(test())


def test_a_cycle_that_came_loose_between_two_portions_is_freed(ledger):
    async def test():
        ledger.read()
        loose = Loop()
        watched = weakref.ref(loose)
        del loose
        await ledger.commit(parked(PORTION))
        assert watched() is None
        await ledger.close()

    asyncio.run(test())


def test_a_ledger_that_is_closed_gives_everything_back_to_the_collector(ledger):
    async def test():
        ledger.read()
        kept = Loop()
        watched = weakref.ref(kept)
        await ledger.commit(parked(PORTION))
        assert gc.get_freeze_count() > 0
        del kept
        gc.collect()
        assert watched() is not None  # it was set aside while it was still in use
        await ledger.close()
        assert gc.get_freeze_count() == 0
        gc.collect()
        assert watched() is None

    asyncio.run(test())


def test_a_short_job_leaves_the_collector_as_it_is_once_it_has_begun(ledger):
    async def test():
        ledger.read()
        before = lines_to_look_through()
        await ledger.commit(parked(PORTION - 1))
        assert lines_to_look_through() - before == PORTION - 1
        await ledger.close()

    asyncio.run(test())
