"""A whole bench for tests: real streams, ports, drivers and a real record, and a clock that waits.

Nothing here sleeps: whoever waits, waits for something to have happened. `run` sees to it that no
task is left behind.
"""

from __future__ import annotations

import asyncio
import threading
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from cable_kit import PATIENCE_S, Cable, make_cable
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from gaugelink import content, sheetfile
from gaugelink.capture.bench import Bench
from gaugelink.capture.cable import alone
from gaugelink.capture.channel import Channel, line_of
from gaugelink.capture.clock import utc_text
from gaugelink.event_documents import from_document
from gaugelink.events import JobOpened
from gaugelink.plan import plan_for
from gaugelink.ports.serial import SerialPort
from gaugelink.ports.tcp import TcpPort
from gaugelink.reading import Gauge
from gaugelink.record import SqliteStore
from gaugelink.session import Session
from gaugelink.view.state import JobView
from gaugelink.wire.driver import load_driver

if TYPE_CHECKING:
    from collections.abc import Callable, Coroutine, Mapping, Sequence
    from pathlib import Path

    from gaugelink.limits import Sheet
    from gaugelink.reading import Stamp
    from gaugelink.record import Entry, Json, SignedHead
    from gaugelink.wire.base import Value
    from gaugelink.wire.driver import Driver

KEY = Ed25519PrivateKey.from_private_bytes(b"a key for tests, known to anyone")

SHEET = """\
[sheet]
name = "Invented engine"
edition = "1"
source = "invented"
invented = true
[head]
cylinders = 1
valves = ["intake", "exhaust"]
[[limit]]
characteristic = "stem diameter"
stations = ["top", "bottom"]
judge = "smallest"
new_max = "7.975 mm"
service_min = "7.935 mm"
source = "p. 1"
[[limit]]
characteristic = "guide clearance"
method = "rock"
lift = "8 mm"
valve_used = "new"
guide_length = "50 mm"
reach = "25 mm"
directions = ["along"]
service_max = "0.100 mm"
source = "p. 2"
[[limit]]
characteristic = "stand-down"
service_max = "1.60 mm"
source = "p. 3"
[[limit]]
characteristic = "spring free length"
service_min = "47.10 mm"
source = "p. 4"
"""
STEM, ROCK, STAND_DOWN, SPRING = 0, 4, 6, 8
"""First steps of the plan for each characteristic; ten steps in all."""

GAUGES: dict[str, tuple[str, str, int]] = {
    "M1": ("micrometer", "signed-line", 1_900_000),
    "I1": ("indicator", "mode-line", 1_500_000),
    "D1": ("depth gauge", "plain-line", 8_500_000),
    "C1": ("caliper", "scale24", 15_000_000),
}
"""Mark, kind, driver and standard uncertainty (pm). M1 is pressed, D1 is asked, the others send."""


def stem(text: str) -> bytes:
    """What the micrometer sends: ``stem("7.965")``."""
    return f"+  {text} MM\r".encode()


def rocked(um: int, mode: str = "a") -> bytes:
    """What the indicator sends, from whole micrometres."""
    return f"{mode}{'-' if um < 0 else '+'}{abs(um) / 1000:.3f}M= \n".encode()


def spring(hundredths: int) -> bytes:
    """What the caliper sends, from whole hundredths of a millimetre."""
    return f"{hundredths:024b}"[::-1].encode() + b"\n"


def sweep(rocks: int = 5, travel_um: int = 120, rest: int = 9) -> list[int]:
    """A clean rock in whole micrometres, a sample every tenth of a second."""
    low, high = -travel_um // 2, travel_um - travel_um // 2 - (travel_um % 2 == 1)
    way = [low, low + travel_um // 3, low + 2 * travel_um // 3]
    one = [low] * rest + way[1:] + [high] * rest + way[:0:-1]
    return one * rocks + [low] * rest


class Clock:
    """Clocks that stand still until they are told to go on."""

    name = "simulated"

    def __init__(self) -> None:
        self.now_ns = 10_000_000_000
        self.utc_offset = timedelta()

    def utc(self) -> str:
        """Tell the wall clock."""
        moment = datetime(2026, 1, 2, tzinfo=UTC) + timedelta(microseconds=self.now_ns // 1000)
        return utc_text(moment + self.utc_offset)

    def mono_ns(self) -> int:
        """Tell the bench clock."""
        return self.now_ns

    def pass_s(self, seconds: float) -> None:
        """Let time pass."""
        self.now_ns += round(seconds * 1e9)


@dataclass
class Audience:
    """Writes down what it is told."""

    told: list[tuple[str, Any]] = field(default_factory=list)
    on_change: Callable[[], None] = lambda: None
    view: JobView | None = None

    def live(self, gauge: str, value: Value) -> None:
        """Note a figure."""
        self.told.append(("live", (gauge, value.shown.text)))

    def changed(self) -> None:
        """Note a change."""
        self.told.append(("changed", None))
        self.on_change()

    def say(self, level: str, words: str) -> None:
        """Note a sentence, and show it where there is a page."""
        self.told.append((level, words))
        if self.view is not None:
            self.view.say(level, words)

    def warnings(self) -> list[str]:
        """List the warnings so far."""
        return [words for kind, words in self.told if kind == "warning"]

    def figures(self, gauge: str) -> list[str]:
        """List the live figures of a gauge."""
        return [item[1] for kind, item in self.told if kind == "live" and item[0] == gauge]


class WatchedStore(SqliteStore):
    """A real store that can be made slow or full, and counts."""

    def __init__(self, *args: Any) -> None:
        super().__init__(*args)
        self.open_gate = threading.Event()
        self.open_gate.set()
        self._begun = threading.Event()
        self.appends = 0
        self.fault: Exception | None = None
        self.head_fault: Exception | None = None

    def publish_head(self, utc: str) -> SignedHead:
        """Sign size and root, or fail."""
        if self.head_fault is not None:
            raise self.head_fault
        return super().publish_head(utc)

    def shut(self) -> None:
        """Let no append through until `release`."""
        self.open_gate.clear()
        self._begun.clear()

    def release(self) -> None:
        """Let the appends through."""
        self.open_gate.set()

    async def begun(self) -> None:
        """Wait until an append stands before the shut gate."""
        assert await asyncio.to_thread(self._begun.wait, PATIENCE_S)

    def append(self, documents: Sequence[Mapping[str, Json]]) -> list[Entry]:
        """Wait for the gate, then write, or fail."""
        self.appends += 1
        self._begun.set()
        assert self.open_gate.wait(PATIENCE_S)
        if self.fault is not None:
            raise self.fault
        return super().append(documents)


@dataclass
class Rig:
    """A bench with its cables, its record and its clock."""

    folder: Path
    sheet: Sheet
    clock: Clock
    audience: Audience
    cables: dict[str, Cable]
    store: WatchedStore
    bench: Bench
    sent: dict[str, int]

    @property
    def session(self) -> Session:
        """The bench's session."""
        return self.bench.session

    def send(self, gauge: str, data: bytes) -> None:
        """Have a gauge send something."""
        self.sent[gauge] += len(data)
        self.cables[gauge].send(data)

    async def heard(self, gauge: str) -> None:
        """Wait until everything that a gauge sent has been dealt with."""
        async with asyncio.timeout(PATIENCE_S):
            await self.bench.heard(gauge, self.sent[gauge])

    async def press(self, gauge: str, data: bytes) -> None:
        """Press the button of a gauge, a while after whatever was before, and wait for the end."""
        self.clock.pass_s(2)
        self.send(gauge, data)
        await self.heard(gauge)

    async def rock(self, samples: Sequence[int], mode: str = "a") -> None:
        """Let the indicator send a sweep, a sample every tenth of a second."""
        for um in samples:
            self.clock.pass_s(0.1)
            self.send("I1", rocked(um, mode))
            await self.heard("I1")

    async def until(self, is_so: Callable[[], bool]) -> None:
        """Wait for a change of the bench after which something is so."""
        async with asyncio.timeout(PATIENCE_S):
            while not is_so():
                await self.bench.next_change(self.bench.version)

    async def until_so(self, is_so: Callable[[], bool]) -> None:
        """Wait until something is so of which nobody is told."""
        async with asyncio.timeout(PATIENCE_S):
            while not is_so():  # noqa: ASYNC110  nobody else is told
                await asyncio.sleep(0)

    async def until_live(self, gauge: str, text: str) -> None:
        """Wait until a gauge shows a figure, recorded or not."""
        async with asyncio.timeout(PATIENCE_S):
            while text not in self.audience.figures(gauge):  # noqa: ASYNC110  nobody else is told
                await asyncio.sleep(0)

    def kinds(self, start: int = 0) -> list[str]:
        """What the record holds, from a place on."""
        return [str(entry.document["kind"]) for entry in self.store.entries(start)]

    async def fill_stems(self) -> None:
        """Measure the four stems."""
        for text in ("7.964", "7.962", "7.930", "7.936"):
            await self.press("M1", stem(text))

    def view(self) -> JobView:
        """The job as its page sees it."""
        job = from_document(next(self.store.entries()).document)
        assert isinstance(job, JobOpened)
        self.audience.view = JobView(self.bench, self.sheet, job)
        return self.audience.view


def make_rig(
    folder: Path,
    *,
    clock: Clock | None = None,
    cables: dict[str, Cable] | None = None,
    sheet_text: str = SHEET,
    drivers: Mapping[str, Driver] | None = None,
    reopen: bool = False,
    watchful: bool = False,
) -> Rig:
    """Plug a bench together; nothing is opened yet."""
    clock = clock or Clock()
    sheet = sheetfile.load(sheet_text, "sheet.toml")
    cables = cables if cables is not None else {mark: make_cable() for mark in GAUGES}
    wired = []
    registered = {}
    for mark, cable in cables.items():
        kind, name, u_pm = GAUGES[mark]
        driver = (drivers or {}).get(mark) or load_driver(*content.read("drivers", name))
        tcp = cable.name.startswith("tcp://")
        port = (
            TcpPort(cable.name, clock.mono_ns)
            if tcp
            else SerialPort(cable.name, line_of(driver), clock.mono_ns)
        )
        gauge = Gauge(mark, kind, kind.capitalize(), f"no. {mark}", name, u_pm, "2030-01-01")
        wired.append(alone(port, Channel(gauge, driver)))
        registered[mark] = gauge
    path = folder / "job.record"
    store = (WatchedStore.open if reopen else WatchedStore.create)(path, key=KEY)
    audience = Audience()
    session = Session(plan_for(sheet), registered, "as received")
    session.sheet = sheet if watchful else None  # most tests send what no head ever was
    bench = Bench(session, store, clock, wired, "A. N. Other", "bench 1", audience)
    return Rig(folder, sheet, clock, audience, cables, store, bench, dict.fromkeys(cables, 0))


def open_job(rig: Rig) -> Callable[[Stamp], JobOpened]:
    """Make the event that opens the job of a rig."""

    def opened(stamp: Stamp) -> JobOpened:
        sheet = rig.sheet
        gauges = tuple(channel.gauge for channel in rig.bench.channels.values())
        return JobOpened(stamp, "D-1", "a head", "H-1", "as received", sheet.name, sheet.edition,
                         sheet.text, sheet.sha256, gauges, True, "simulated", "test")  # fmt: skip

    return opened


class _Running:
    """A rig that runs inside ``async with``, and is put away at its end."""

    def __init__(self, rig: Rig, *, job: bool) -> None:
        self.rig = rig
        self._job = job

    async def __aenter__(self) -> Rig:
        try:
            await self.rig.bench.start(open_job(self.rig) if self._job else None)
        except BaseException:
            put_away(self.rig)
            raise
        self.rig.clock.pass_s(1)  # the gauges were silent, so what comes first is a beginning
        return self.rig

    async def __aexit__(self, *_: object) -> None:
        self.rig.store.release()
        self.rig.store.fault = self.rig.store.head_fault = None
        try:
            await self.rig.bench.stop()
        finally:
            put_away(self.rig)


def put_away(rig: Rig) -> None:
    """Pull all cables and close the record."""
    for cable in rig.cables.values():
        cable.pull()
    rig.store.close()


def running(folder: Path, *, job: bool = True, rig: Rig | None = None, **options: Any) -> _Running:
    """Start a bench, and stop it at the end of ``async with``."""
    return _Running(rig or make_rig(folder, **options), job=job)


def run(work: Coroutine[Any, Any, None], *, faults: list[dict[str, Any]] | None = None) -> None:
    """Run a test's coroutine; fail if it leaves a task behind or a fault of the program unheard.

    Args:
        work: the test.
        faults: takes what the loop's exception handler is told; without it, nothing may be told.
    """
    heard: list[dict[str, Any]] = faults if faults is not None else []

    async def whole() -> None:
        loop = asyncio.get_running_loop()
        loop.set_exception_handler(lambda _loop, context: heard.append(context))
        async with asyncio.timeout(PATIENCE_S * 3):
            await work
        me = asyncio.current_task()
        for _ in range(10):  # a closed connection's own callbacks come a turn or two later
            await asyncio.sleep(0)
        left = [task for task in asyncio.all_tasks() if task is not me]
        assert not left, f"tasks are left behind: {left}"

    asyncio.run(whole())
    assert faults is not None or not heard, heard
