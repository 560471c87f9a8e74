"""A bench under load: 32 gauges, 50 readings a second each, and every one of them on record.

    python benchmarks/load.py [--minutes 10] [--gauges 32] [--rate 50] [--bare-seconds 30]

The gauges are a process of their own, so that their work is not counted. Each has a real
pseudo-terminal, speaks one of three wire formats as if its button were pressed 50 times a second,
and shows a number that says which gauge it is and how many readings went before. The bench is the
real one: a thread a port, the decoders, the session, and SQLite on the disk of the temporary
folder with a full flush. Nobody can have wanted so many readings, so they go to the tray, each an
event of its own in the record. No page is open.

Afterwards the record is read from the disk, and each gauge's numbers must be there, once and in
order. Time is taken from just before the byte is written, by the gauge, until the transaction with
the reading is committed, and compared with the least that any program must do: one thread that
waits for all the terminals, reads their bytes and counts the line ends.

POSIX only, for its terminals.
"""

from __future__ import annotations

import argparse
import asyncio
import gc
import json
import os
import resource
import selectors
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from gaugelink import content
from gaugelink.capture.bench import Bench
from gaugelink.capture.cable import alone
from gaugelink.capture.channel import Channel, line_of
from gaugelink.capture.clock import SystemClock
from gaugelink.events import JobOpened
from gaugelink.plan import plan_for
from gaugelink.ports.serial import SerialPort
from gaugelink.reading import Gauge, Stamp
from gaugelink.record import SqliteStore, load_or_create_key
from gaugelink.session import Session
from gaugelink.sheetfile import load as load_sheet
from gaugelink.simulate.encoders import ENCODERS, Display
from gaugelink.simulate.stream import open_endpoint
from gaugelink.wire.driver import load_driver

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gaugelink.record import Entry, Json
    from gaugelink.wire.base import Value

FORMATS: Final = ("signed-line", "bcd52", "signed-line", "bcd52-inch8")
"""What the gauges speak, in turn; all of them send when their button is pressed."""
SPAN: Final = 31_000
"""Readings before a gauge's numbers begin again; 32 of them fit into six digits."""
SILENCE_S: Final = 0.7
"""Longer than the pause after which a line is taken to be whole."""


@dataclass(slots=True)
class Board:
    """When each reading was written, by gauge and number; shared by both processes."""

    path: Path
    gauges: int
    numbers: int

    def times(self) -> np.memmap[Any, np.dtype[np.int64]]:
        """Map the file: nanoseconds of the system's monotonic clock, 0 where nothing was sent."""
        shape = (self.gauges, self.numbers)
        mode: Any = "r+" if self.path.exists() else "w+"
        return np.memmap(self.path, dtype=np.int64, mode=mode, shape=shape)


# ---- the gauges, a process of their own ---------------------------------------------------------


async def speak(board: Board, rate: float) -> None:
    """Open a terminal a gauge, tell their names, wait for a line, then speak by schedule."""
    endpoints = [await open_endpoint(lambda _data: None) for _ in range(board.gauges)]
    print(json.dumps([endpoint.name for endpoint in endpoints]), flush=True)
    loop = asyncio.get_running_loop()
    await loop.run_in_executor(None, sys.stdin.readline)
    times = board.times()
    period_ns = 1e9 / (rate * board.gauges)
    begun_ns = time.monotonic_ns()
    for count in range(board.gauges * board.numbers):
        wait_ns = begun_ns + count * period_ns - time.monotonic_ns()
        if wait_ns > 0:
            await asyncio.sleep(wait_ns / 1e9)
        number, gauge = divmod(count, board.gauges)
        name = FORMATS[gauge % len(FORMATS)]
        unit = "in" if name.endswith("inch8") else "mm"
        data = ENCODERS[name](Display(gauge * SPAN + number % SPAN, 3, unit))
        times[gauge, number] = time.monotonic_ns()
        endpoints[gauge].write(data)
    print("done", flush=True)
    await loop.run_in_executor(None, sys.stdin.readline)
    for endpoint in endpoints:
        endpoint.close()


class Speakers:
    """The process with the gauges."""

    def __init__(self, board: Board, rate: float) -> None:
        words = [sys.executable, __file__, "--speak", str(board.path), "--rate", str(rate),
                 "--gauges", str(board.gauges), "--numbers", str(board.numbers)]  # fmt: skip
        board.times()
        self._process = subprocess.Popen(
            words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        self.names: list[str] = json.loads(self._line())

    def _line(self) -> str:
        assert self._process.stdout is not None
        return self._process.stdout.readline()

    def go(self) -> None:
        """Let them speak."""
        assert self._process.stdin is not None
        self._process.stdin.write("go\n")
        self._process.stdin.flush()

    def finished(self) -> None:
        """Wait until all has been written."""
        line = self._line()
        assert line == "done\n", f"the gauges stopped: {line!r}"

    def close(self) -> None:
        """Pull all the cables."""
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait()


# ---- what is measured ---------------------------------------------------------------------------


def _cpu_s() -> float:
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


@dataclass(slots=True)
class Used:
    """Processor time of this process, all its threads, against the wall clock."""

    wall_s: float = field(default_factory=time.perf_counter)
    cpu_s: float = field(default_factory=_cpu_s)

    def cores(self) -> float:
        """Tell how much of one core was used since."""
        return (_cpu_s() - self.cpu_s) / (time.perf_counter() - self.wall_s)


@dataclass(slots=True)
class Row:
    """One line of the table; delays in nanoseconds."""

    name: str
    sent: int
    arrived: int
    lost: int
    doubled: int
    wrong: int
    cores: float
    delays: np.ndarray[Any, np.dtype[np.int64]]

    def words(self) -> str:
        """Write the line."""
        p50, p99, p999 = (np.percentile(self.delays, part) / 1e6 for part in (50, 99, 99.9))
        return (
            f"| {self.name} | {self.sent} | {self.lost} | {self.doubled} | {self.wrong} "
            f"| {self.cores:.2f} | {p50:.1f} ms | {p99:.1f} ms | {p999:.1f} ms "
            f"| {self.delays.max() / 1e6:.0f} ms |"
        )


HEADINGS: Final = (
    "| | readings sent | lost | doubled | under a wrong gauge | cores used | half within "
    "| 99 % within | 99.9 % within | longest |\n|---|---|---|---|---|---|---|---|---|---|"
)


def bare(board: Board, rate: float) -> Row:
    """Read the terminals and count line ends: the least that any program must do."""
    speakers = Speakers(board, rate)
    times = board.times()
    arrived = np.zeros((board.gauges, board.numbers), dtype=np.int64)
    counts = [0] * board.gauges
    total = board.gauges * board.numbers
    with selectors.DefaultSelector() as selector:
        files = [os.open(name, os.O_RDONLY | os.O_NOCTTY) for name in speakers.names]
        for gauge, file in enumerate(files):
            selector.register(file, selectors.EVENT_READ, gauge)
        used = Used()
        speakers.go()
        patience = time.monotonic() + board.numbers / rate + 10
        while sum(counts) < total and time.monotonic() < patience:
            for key, _ in selector.select(0.1):
                data = os.read(key.fd, 4096)
                now_ns = time.monotonic_ns()
                for _ in range(data.count(b"\r") + data.count(b"\n")):
                    arrived[key.data, counts[key.data]] = now_ns
                    counts[key.data] += 1
        cores = used.cores()
        speakers.finished()
        for file in files:
            os.close(file)
    speakers.close()
    there = arrived > 0
    return Row("bare reading", total, sum(counts), total - sum(counts), 0, 0, cores,
               (arrived - times)[there])  # fmt: skip


@dataclass(slots=True)
class Passes:
    """The longest passes of Python's collector, which stop everything else: each one's seconds."""

    found: list[float] = field(default_factory=list)
    begun_s: float = 0

    def __call__(self, phase: str, about: Mapping[str, int]) -> None:
        """Take note of a pass that begins or ends."""
        if phase == "start":
            self.begun_s = time.perf_counter()
        elif about["generation"] == 2:
            self.found.append(time.perf_counter() - self.begun_s)

    def words(self) -> str:
        """Write how many there were, how long all took and the longest."""
        longest_ms = max(self.found, default=0) * 1e3
        return f"{len(self.found)} in {sum(self.found):.2f} s, the longest {longest_ms:.0f} ms"


class TimedStore(SqliteStore):
    """The real store; notes when each reading was committed."""

    committed: np.ndarray[Any, np.dtype[np.int64]]
    groups: list[int]

    def append(self, documents: Sequence[Mapping[str, Json]]) -> list[Entry]:
        """Write, and note the time when it is on the disk."""
        done = super().append(documents)
        now_ns = time.monotonic_ns()
        readings = 0
        for document in documents:
            found = reading_of(document)
            if found is not None:
                gauge, number = found
                readings += 1
                where = self.committed[gauge % len(self.committed)]
                number %= SPAN
                while number < len(where) and where[number]:
                    number += SPAN
                if number < len(where):
                    where[number] = now_ns
        if readings:
            self.groups.append(readings)
        return done


def reading_of(document: Mapping[str, Any]) -> tuple[int, int] | None:
    """Give the gauge under which a reading stands, and its number; None if it is no reading."""
    if document["kind"] not in {"reading-parked", "reading-taken"}:
        return None
    tag = document.get("tag")
    mark = tag["gauge"] if tag else document["gauge"]
    return int(mark[1:]), int(document["shown"]["text"].replace(".", ""))


class Nobody:
    """An audience that counts."""

    def __init__(self) -> None:
        self.figures: Counter[str] = Counter()

    def live(self, gauge: str, _value: Value) -> None:
        """Count a figure."""
        self.figures[gauge] += 1

    def changed(self) -> None:
        """No page is open."""

    def say(self, level: str, words: str) -> None:
        """Nobody listens."""


async def captured(board: Board, rate: float, folder: Path) -> tuple[Row, list[str]]:
    """Have the bench put everything on record, then read the record."""
    speakers = Speakers(board, rate)
    clock = SystemClock()
    cables, entries = [], {}
    for number, port_name in enumerate(speakers.names):
        name = FORMATS[number % len(FORMATS)]
        driver = load_driver(*content.read("drivers", name))
        gauge = Gauge(f"G{number}", "micrometer", f"Gauge {number}", "", name, 0, "2030-01-01")
        port = SerialPort(port_name, line_of(driver), clock.mono_ns)
        cables.append(alone(port, Channel(gauge, driver)))
        entries[gauge.id] = gauge
    path = folder / "load.record"
    store = TimedStore.create(path, key=load_or_create_key(folder / "key.pem"))
    store.committed = np.zeros((board.gauges, board.numbers), dtype=np.int64)
    store.groups = []
    sheet = load_sheet(*content.read("sim/sheets", "demo-pump-engine"))
    session = Session(plan_for(sheet), entries, "as received")
    audience = Nobody()
    bench = Bench(session, store, clock, cables, "", "", audience)

    def opened(stamp: Stamp) -> JobOpened:
        return JobOpened(stamp, "", "", "", "", "", "", "", "", tuple(entries.values()), True,
                         "real", "")  # fmt: skip

    await bench.start(opened)
    await asyncio.sleep(SILENCE_S)
    passes = Passes()
    gc.callbacks.append(passes)
    used = Used()
    speakers.go()
    await asyncio.to_thread(speakers.finished)
    await asyncio.sleep(1)  # what is under way may still arrive; what comes later counts as lost
    cores = used.cores()
    gc.callbacks.remove(passes)
    await bench.stop()
    speakers.close()
    times = board.times()
    there = store.committed > 0
    groups = np.array(store.groups)
    log = store.groups
    store.close()
    total = board.gauges * board.numbers
    arrived, doubled, wrong = read_record(path, board)
    row = Row("bench, all on record", total, arrived, total - arrived, doubled, wrong, cores,
              (store.committed - times)[there])  # fmt: skip
    memory_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    size_mb = path.stat().st_size / 2**20
    notes = [
        f"{len(log)} transactions, {groups.mean():.1f} readings in each, at most {groups.max()}.",
        f"{size_mb:.0f} MB on disk, {memory_mb:.0f} MB of memory.",
        f"Decoded and shown: {audience.figures.total()} of {total}.",
        f"Long passes of Python's collector: {passes.words()}.",
        f"99 % within, by tenths of the run: {tenths(store.committed - times, there)}.",
    ]
    return row, notes


def tenths(
    delays: np.ndarray[Any, np.dtype[np.int64]], there: np.ndarray[Any, np.dtype[np.bool_]]
) -> str:
    """Write the delay that 99 % keep to in each tenth of the run: whether it grows is seen here."""
    parts = zip(np.array_split(delays, 10, axis=1), np.array_split(there, 10, axis=1), strict=True)
    found = [np.percentile(delay[kept], 99) / 1e6 for delay, kept in parts if kept.any()]
    return ", ".join(f"{ms:.0f} ms" for ms in found)


def read_record(path: Path, board: Board) -> tuple[int, int, int]:
    """Count what stands in the record: in order and once, again, and under a wrong gauge."""
    expected = [0] * board.gauges
    arrived = doubled = wrong = 0
    with SqliteStore.read(path) as store:
        for entry in store.entries():
            found = reading_of(entry.document)
            if found is None:
                continue
            gauge, shown = found
            if shown // SPAN != gauge:
                wrong += 1
                continue
            ahead = (shown - expected[gauge]) % SPAN
            if ahead > SPAN // 2:
                doubled += 1
                continue
            arrived += 1
            expected[gauge] = (shown + 1) % SPAN
    return arrived, doubled, wrong


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--gauges", type=int, default=32)
    parser.add_argument("--rate", type=float, default=50, help="readings a second, each gauge")
    parser.add_argument("--bare-seconds", type=float, default=30)
    parser.add_argument("--speak", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--numbers", type=int, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.speak is not None:
        asyncio.run(speak(Board(args.speak, args.gauges, args.numbers), args.rate))
        return
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        first = bare(
            Board(folder / "bare.times", args.gauges, round(args.bare_seconds * args.rate)),
            args.rate,
        )
        second, notes = asyncio.run(
            captured(
                Board(folder / "load.times", args.gauges, round(args.minutes * 60 * args.rate)),
                args.rate,
                folder,
            )
        )
    print(HEADINGS)
    print(first.words())
    print(second.words())
    print(f"\nThe bench uses {second.cores / first.cores:.1f} times the processor time of bare "
          "reading.")  # fmt: skip
    print("\n".join(notes))


if __name__ == "__main__":
    main()
