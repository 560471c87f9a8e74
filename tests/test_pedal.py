"""A foot pedal: one press is one press, whatever the contact does; and what a press does."""

from __future__ import annotations

import asyncio
import threading
from dataclasses import dataclass, field
from itertools import pairwise

import pytest
import serial
from bench_kit import ROCK, SPRING, Clock, Rig, rocked, run, running, spring, stem, sweep
from cable_kit import PATIENCE_S, Sink, TerminalCable, needs_terminals, nothing_left
from hypothesis import given, strategies as st

from gaugelink.capture.pedal import Pedal, PedalWatcher
from gaugelink.errors import PortError
from gaugelink.ports.pedal import CLOSED, OPEN, PedalPort
from gaugelink.ports.port import Chunk, Lost

pytestmark = pytest.mark.usefixtures("nothing_left")
__all__ = ["nothing_left"]

MS = 1_000_000


def presses(changes: list[tuple[int, bool]], until_ms: int, every_ms: int = 5):
    """Look at a contact every few milliseconds; give each press with the time at which it came."""
    pedal, level, found = Pedal(), False, []
    waiting = list(changes)
    for now in range(0, until_ms, every_ms):
        while waiting and waiting[0][0] <= now:
            level = waiting.pop(0)[1]
        if press := pedal.feed(level, now * MS):
            found.append((now, press))
    return found


def test_a_step_on_the_pedal_is_one_short_press_told_when_the_foot_leaves_it():
    assert presses([(100, True), (300, False)], 1000) == [(330, "short")]


def test_a_foot_that_stays_is_one_long_press_told_while_it_is_down_and_nothing_at_its_end():
    assert presses([(100, True), (5000, False)], 6000) == [(1000, "long")]


def test_a_contact_that_bounces_at_both_ends_is_one_press():
    """Bounces of up to 25 ms, within the 20 to 50 ms that are common practice, no source."""
    bounce = [(100, True), (110, False), (125, True), (140, False), (165, True)]
    ends = [(400, False), (415, True), (440, False), (455, True), (465, False)]
    assert presses(bounce + ends, 2000) == [(495, "short")]


def test_a_foot_that_comes_down_twice_takes_one_reading():
    """Nothing counts for 500 ms, within the 300 to 800 ms that are common practice, no source."""
    twice = [(100, True), (200, False), (400, True), (500, False)]
    assert presses(twice, 3000) == [(230, "short")]
    later = [(100, True), (200, False), (731, True), (900, False)]
    assert [press for _, press in presses(later, 3000)] == ["short", "short"]


def test_a_foot_that_comes_down_within_the_lockout_and_stays_is_not_a_long_press():
    assert presses([(100, True), (200, False), (400, True), (3000, False)], 4000) == [
        (230, "short")
    ]


def test_a_contact_that_is_closed_at_the_beginning_says_nothing_until_it_has_been_open():
    assert presses([(0, True), (4000, False), (5000, True), (5100, False)], 6000) == [
        (5130, "short")
    ]


def test_a_touch_shorter_than_the_contact_takes_to_settle_is_none():
    assert presses([(100, True), (125, False)], 1000) == []


LEVELS = st.lists(st.tuples(st.integers(1, 1500), st.booleans()), max_size=12)


def spread(levels: list[tuple[int, bool]]) -> list[tuple[int, bool]]:
    now, found = 0, []
    for passed, level in levels:
        now += passed
        found.append((now, level))
    return found


@given(levels=LEVELS)
def test_whatever_the_contact_does_two_presses_are_never_nearer_than_the_lockout(levels):
    changes = spread(levels)
    found = presses(changes, (changes[-1][0] if changes else 0) + 2000)
    for (one, _), (other, _) in pairwise(found):
        assert other - one >= 500


@given(levels=LEVELS)
def test_whatever_the_contact_does_there_is_no_press_without_a_closure_of_its_own(levels):
    """Runs of closed looks of 30 ms or more are the most presses that there can be."""
    changes = spread(levels)
    until = (changes[-1][0] if changes else 0) + 2000
    runs, since, level = 0, None, False
    waiting = list(changes)
    for now in range(0, until, 5):
        while waiting and waiting[0][0] <= now:
            level = waiting.pop(0)[1]
        if not level:
            since = None
        elif since is None:
            since = now
        elif since >= 0 and now - since >= 30:
            runs, since = runs + 1, -1
    assert len(presses(changes, until)) <= runs


HELD = st.integers(50, 800) | st.integers(1000, 5000)


@given(start=st.lists(st.integers(1, 5), max_size=6), held=HELD)
def test_one_step_with_any_bounce_is_exactly_one_press(start, held):
    """Bounces are looks apart and shorter than the contact takes to settle."""
    now, level, changes = 100, True, [(100, True)]
    for looks in start:
        now, level = now + 5 * looks, not level
        changes.append((now, level))
    if not level:
        now += 5
        changes.append((now, True))
    changes.append((now + held, False))
    found = [press for _, press in presses(changes, now + held + 1000)]
    assert found == ["long" if held >= 1000 else "short"]


# ---- the port, on pyserial's own loop back ------------------------------------------------------


class LoopPedal(PedalPort):
    """pyserial's loop back: CTS is what RTS is set to, DSR is what DTR is set to."""

    def _make(self):
        return serial.serial_for_url("loop://", do_not_open=True)


def until(sink: Sink, data: bytes) -> Chunk:
    while (item := sink.next()).data != data:
        assert isinstance(item, Chunk)
    return item


def test_the_port_tells_the_level_of_its_line_and_is_silent_while_the_contact_is_open():
    clock, sink = Clock(), Sink()
    port = LoopPedal("loop://", "cts", clock.mono_ns)
    port.open(sink)
    try:
        assert sink.next() == Chunk(CLOSED, clock.now_ns)  # RTS supplies the contact
        port._device.rts = False
        assert until(sink, OPEN).mono_ns == clock.now_ns
        for _ in range(39):
            assert sink.next().data == OPEN
        clock.pass_s(1)
        port._device.rts = True
        assert until(sink, CLOSED).mono_ns == clock.now_ns
    finally:
        port.close()
    assert all(item.data == CLOSED for item in sink.rest())


def test_each_line_is_looked_at_where_pyserial_has_it():
    """In the loop back DSR follows DTR, ring is always off and carrier always on."""
    for line, level in {"dsr": CLOSED, "ri": OPEN, "dcd": CLOSED}.items():
        sink = Sink()
        port = LoopPedal("loop://", line, Clock().mono_ns)
        port.open(sink)
        assert sink.next().data == level
        port.close()


def test_a_port_that_goes_away_is_lost_once():
    sink = Sink()
    port = LoopPedal("loop://", "cts", Clock().mono_ns)
    port.open(sink)
    port._device.close()
    while isinstance(item := sink.next(), Chunk):
        pass
    assert isinstance(item, Lost)
    port.close()
    assert sink.rest() == []


@needs_terminals
def test_a_port_without_handshake_lines_is_refused_in_one_sentence():
    cable = TerminalCable()
    try:
        port = PedalPort(cable.name, "cts", Clock().mono_ns)
        with pytest.raises(PortError, match="has no line CTS; a foot pedal needs"):
            port.open(Sink())
    finally:
        cable.pull()


# ---- what a press does --------------------------------------------------------------------------


@dataclass
class Foot:
    """A pedal's port that says what it is told to, and a bench under it."""

    rig: Rig
    faults: list[str] = field(default_factory=list)
    opened: int = 0
    closed: int = 0
    slept: int = 0

    def port(self, name: str, line: str, _mono_ns) -> Foot:
        assert (name, line) == ("COM9", "cts")
        return self

    def open(self, sink) -> None:
        if self.faults:
            raise PortError(self.faults.pop(0))
        self.sink = sink
        self.opened += 1

    def close(self) -> None:
        self.closed += 1

    async def sleep(self, _seconds: float) -> None:
        self.slept += 1
        await asyncio.sleep(0)

    def look(self, closed: bool, seconds: float) -> None:
        self.rig.clock.pass_s(seconds)
        item = Chunk(CLOSED if closed else OPEN, self.rig.clock.now_ns)
        thread = threading.Thread(target=self.sink, args=(item,))
        thread.start()
        thread.join()

    def step(self, held_s: float = 0.2) -> None:
        """Step on the pedal and leave it."""
        for closed, seconds in [(False, 1), (False, 0.05), (True, 0.01), (True, 0.05),
                                (True, held_s), (False, 0.01), (False, 0.05)]:  # fmt: skip
            self.look(closed, seconds)

    async def said(self, words: str) -> None:
        async with asyncio.timeout(PATIENCE_S):
            while not any(words in str(told) for _, told in self.rig.audience.told):  # noqa: ASYNC110
                await asyncio.sleep(0)


async def with_pedal(tmp_path, work, *, faults=(), **options):
    async with running(tmp_path) as rig:
        foot = Foot(rig, list(faults))
        watcher = PedalWatcher(rig.bench, "COM9", "cts", foot.sleep, port_for=foot.port, **options)
        task = asyncio.create_task(watcher.run())
        async with asyncio.timeout(PATIENCE_S):
            while not foot.opened:  # noqa: ASYNC110
                await asyncio.sleep(0)
        try:
            await work(rig, foot)
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
        assert foot.closed == foot.opened


def test_a_short_press_takes_the_value_of_the_gauge_that_is_asked_for(tmp_path):
    async def work(rig, foot):
        await rig.bench.go(SPRING)
        foot.step()
        await foot.said("foot pedal: the next value is taken")
        await rig.press("C1", spring(4825))
        (taken,) = rig.session.readings()
        assert (taken.shown.text, rig.kinds()[-1]) == ("48.25", "reading-taken")

    run(with_pedal(tmp_path, work))


def test_a_short_press_starts_a_sweep_and_the_next_one_stops_it(tmp_path):
    async def work(rig, foot):
        await rig.bench.go(ROCK)
        foot.step()
        await foot.said("the sweep is running")
        await rig.rock(sweep())
        foot.step()
        await foot.said("um, on record")
        assert rig.kinds()[-1] == "sweep-taken"

    run(with_pedal(tmp_path, work))


def test_a_long_press_asks_for_the_last_reading_again_and_keeps_the_old_one(tmp_path):
    async def work(rig, foot):
        await rig.press("M1", stem("7.964"))
        asked = rig.session.cursor
        foot.step(held_s=1.2)
        await foot.said("struck out")
        assert rig.session.cursor == asked - 1
        assert rig.session.readings() == []

    run(with_pedal(tmp_path, work))


def test_a_second_pedal_may_mean_redo_and_nothing_else(tmp_path):
    async def work(rig, foot):
        await rig.press("M1", stem("7.964"))
        foot.step()
        await foot.said("struck out")

    run(with_pedal(tmp_path, work, action="redo"))


def test_what_cannot_be_done_is_said_and_nothing_is_written(tmp_path):
    """The micrometer sends when its own button is pressed."""

    async def work(rig, foot):
        before = rig.bench.size
        foot.step()
        await foot.said("sends when its own button is pressed")
        assert rig.bench.size == before
        await rig.bench.go(ROCK)
        rig.bench.sweep_start()
        rig.send("I1", rocked(0))
        await rig.heard("I1")
        foot.step(held_s=1.2)
        await foot.said("a sweep is running; stop it with a short press")
        assert rig.bench.recorder is not None

    run(with_pedal(tmp_path, work))


def test_a_pedal_that_is_lost_is_told_once_and_once_more_when_it_is_back(tmp_path):
    async def work(rig, foot):
        assert foot.slept == 2
        assert rig.audience.warnings() == ["the foot pedal does nothing: COM9 is not there"]
        foot.faults = ["COM9 is not there"] * 3
        foot.sink(Lost("the device is gone", 0))
        async with asyncio.timeout(PATIENCE_S):
            while foot.opened < 2:  # noqa: ASYNC110
                await asyncio.sleep(0)
        assert rig.audience.warnings()[1:] == [
            "the foot pedal is lost: the device is gone",
            "the foot pedal does nothing: COM9 is not there",
        ]
        await foot.said("the foot pedal works again")

    run(with_pedal(tmp_path, work, faults=["COM9 is not there"] * 2))
