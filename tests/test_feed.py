"""Between bench and pages: live figures at once, states not too often, and the last one always."""

from __future__ import annotations

import asyncio
import json

import pytest
from bench_kit import run
from cable_kit import PATIENCE_S, nothing_left

from gaugelink.web import feed as feeding
from gaugelink.web.feed import STATE_PERIOD_S, Feed
from gaugelink.web.hub import Hub

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")


class Periods:
    """Stands in for the time between two states: it is over when the test says so."""

    def __init__(self):
        self.begun: list[float] = []
        self._over: asyncio.Event | None = None
        self._sleeping = asyncio.Event()

    async def sleep(self, seconds):
        """Wait until the period is over."""
        self.begun.append(seconds)
        self._over = asyncio.Event()
        self._sleeping.set()
        await self._over.wait()

    async def asleep(self):
        """Wait until the feed waits for the next period."""
        async with asyncio.timeout(PATIENCE_S):
            await self._sleeping.wait()
        self._sleeping.clear()

    def end(self):
        """Let the period be over."""
        self._over.set()


async def waiting(viewer) -> list[tuple[str, dict]]:
    """Take what waits for a browser."""
    found = []
    while len(viewer):
        event = (await viewer.next_event(PATIENCE_S)).decode()
        kind, data, *_ = event.splitlines()
        found.append((kind.removeprefix("event: "), json.loads(data.removeprefix("data: "))))
    return found


class Bench:
    """Counts its states."""

    def __init__(self):
        self.number = 0
        self.drawn = 0

    def state(self):
        """Give the state as of now."""
        self.drawn += 1
        return {"number": self.number}


def test_at_most_one_state_a_period_is_drawn_and_published_and_it_is_the_newest():
    async def test():
        hub, bench, periods = Hub(), Bench(), Periods()
        feed = Feed(hub, bench.state, sleep=periods.sleep)
        viewer = hub.join()
        feed.start()
        await periods.asleep()
        assert await waiting(viewer) == [("state", {"number": 0})]
        for _ in range(50):
            bench.number += 1
            feed.changed()
            await asyncio.sleep(0)
        assert await waiting(viewer) == []
        periods.end()
        await periods.asleep()
        assert await waiting(viewer) == [("state", {"number": 50})]
        assert bench.drawn == 2
        assert periods.begun == [STATE_PERIOD_S] * 2
        await feed.stop()

    run(test())


def test_nothing_is_drawn_while_nothing_changes():
    async def test():
        hub, bench, periods = Hub(), Bench(), Periods()
        feed = Feed(hub, bench.state, sleep=periods.sleep)
        feed.start()
        await periods.asleep()
        periods.end()
        for _ in range(50):
            await asyncio.sleep(0)
        assert bench.drawn == 1
        bench.number = 7
        feed.changed()
        await periods.asleep()
        assert bench.drawn == 2
        await feed.stop()

    run(test())


def test_a_change_while_a_state_is_being_published_is_not_lost():
    async def test():
        hub, bench, periods = Hub(), Bench(), Periods()

        def state():
            document = bench.state()
            if bench.number == 0:
                bench.number = 1
                feed.changed()  # in the middle
            return document

        feed = Feed(hub, state, sleep=periods.sleep)
        viewer = hub.join()
        feed.start()
        await periods.asleep()
        periods.end()
        await periods.asleep()
        assert (await waiting(viewer))[-1] == ("state", {"number": 1})
        await feed.stop()

    run(test())


def test_the_last_state_is_published_at_the_end_whatever_the_period():
    async def test():
        hub, bench, periods = Hub(), Bench(), Periods()
        feed = Feed(hub, bench.state, sleep=periods.sleep)
        viewer = hub.join()
        feed.start()
        await periods.asleep()
        bench.number = 99
        feed.changed()
        await feed.stop()
        assert (await waiting(viewer))[-1] == ("state", {"number": 99})
        drawn = bench.drawn
        await feed.stop()  # twice does nothing
        assert bench.drawn == drawn

    run(test())


def test_a_feed_that_was_stopped_before_its_first_turn_has_published_once():
    async def test():
        hub, bench = Hub(), Bench()
        feed = Feed(hub, bench.state)
        viewer = hub.join()
        feed.start()
        await feed.stop()
        assert await waiting(viewer) == [("state", {"number": 0})]

    run(test())


def test_live_figures_pass_at_once_and_in_order():
    async def test():
        hub, bench, periods = Hub(), Bench(), Periods()
        feed = Feed(hub, bench.state, sleep=periods.sleep)
        viewer = hub.join()
        feed.start()
        await periods.asleep()
        await waiting(viewer)
        for number in range(5):
            feed.live({"text": str(number)})
        assert await waiting(viewer) == [("live", {"text": str(number)}) for number in range(5)]
        assert bench.drawn == 1
        await feed.stop()

    run(test())


def test_live_figures_pass_before_the_feed_is_started():
    async def test():
        hub = Hub()
        viewer = hub.join()
        Feed(hub, Bench().state).live({"text": "7.965"})
        assert await waiting(viewer) == [("live", {"text": "7.965"})]

    run(test())


def test_a_browser_that_joins_later_is_given_the_state_as_of_then():
    async def test():
        hub, bench, periods = Hub(), Bench(), Periods()
        feed = Feed(hub, bench.state, sleep=periods.sleep)
        feed.start()
        await periods.asleep()
        assert await waiting(hub.join()) == [("state", {"number": 0})]
        await feed.stop()

    run(test())


@pytest.mark.parametrize("bad", [ValueError("no such verdict"), {"number": float("nan")}])
def test_a_state_that_cannot_be_drawn_is_reported_and_the_next_one_is_published(bad):
    faults: list[dict] = []

    async def test():
        hub, bench, periods = Hub(), Bench(), Periods()

        def state():
            document = bench.state()
            if bench.number == 0 and isinstance(bad, Exception):
                raise bad
            return bad if bench.number == 0 else document

        feed = Feed(hub, state, sleep=periods.sleep)
        viewer = hub.join()
        feed.start()
        await periods.asleep()
        assert await waiting(viewer) == []
        bench.number = 1
        feed.changed()
        periods.end()
        await periods.asleep()
        assert await waiting(viewer) == [("state", {"number": 1})]
        await feed.stop()

    run(test(), faults=faults)
    [fault] = faults
    assert fault["message"] == "the state could not be published"
    assert isinstance(fault["exception"], ValueError)


def test_a_page_is_sent_ten_states_a_second_at_most():
    assert feeding.STATE_PERIOD_S >= 0.1
