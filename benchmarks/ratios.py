"""Speed of record, decoder and judging, each beside a named baseline in the same run.

    python benchmarks/ratios.py

A ratio travels between machines, a time does not. Each line gives the best of several runs.
"""

from __future__ import annotations

import os
import re
import sqlite3
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

from gaugelink import content
from gaugelink.record import SqliteStore, load_or_create_key
from gaugelink.wire.driver import load_driver

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from gaugelink.record import Json

EVENT: Mapping[str, Json] = {
    "kind": "reading-taken", "utc": "2026-01-01T00:00:00.000000Z", "mono_ns": 1, "operator": "",
    "bench": "", "raw": "2b2020372e393635204d4d0d", "trigger": "gauge",
    "shown": {"text": "7.965", "unit": "mm", "pm": 7_965_000_000, "step_pm": 1_000_000},
}  # fmt: skip


def best(work: Callable[[], None], runs: int = 5) -> float:
    """Give the shortest of several runs, seconds."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def record(folder: Path, count: int = 200) -> str:
    """Append single events, against single SQLite inserts that are flushed as hard."""
    bare = sqlite3.connect(folder / "bare.sqlite", isolation_level=None)
    bare.execute("PRAGMA journal_mode = WAL")
    bare.execute("PRAGMA synchronous = FULL")
    bare.execute("CREATE TABLE entries (place INTEGER PRIMARY KEY, leaf BLOB NOT NULL)")
    leaf = os.urandom(400)
    store = SqliteStore.create(folder / "record.sqlite", key=load_or_create_key(folder / "k.pem"))

    def baseline() -> None:
        for _ in range(count):
            bare.execute("INSERT INTO entries (leaf) VALUES (?)", (leaf,))

    def ours() -> None:
        for _ in range(count):
            store.append([EVENT])

    base, own = best(baseline), best(ours)
    bare.close()
    store.close()
    return line("append one event, signed", own / count, base / count, "flushed SQLite insert")


LINES: Mapping[str, tuple[str, bytes, bytes]] = {
    "a line": (
        "signed-line",
        rb"([+-]) *(\d+)\.(\d+) MM\r",
        b"".join(b"+  %d.%04d MM\r" % (n % 25, n % 10_000) for n in range(20_000)),
    ),
    "a line, places from the file": (
        "mux-line",
        rb"(\d\d)A[+-](\d{5})(\d{3})\r",
        b"".join(b"%02dA+%08d\r" % (n % 4 + 1, n) for n in range(20_000)),
    ),
    "a line, sign and point apart": (
        "fixed-word",
        rb"\x024[12](\d\d)[01]\d(\d{5})(\d{3})\r",
        b"".join(b"\x0241%02d0%d%08d\r" % (n % 2 + 1, n % 2 + 3, n) for n in range(20_000)),
    ),
}
"""Driver, a bare expression for the same lines, and twenty thousand of them."""


def decoding(what: str) -> str:
    """Decode lines, streaming and recorded, against a bare search with a regular expression."""
    name, expression, data = LINES[what]
    driver = load_driver(*content.read("drivers", name))
    pattern = re.compile(expression)
    count = data.count(b"\r")

    def baseline() -> None:
        found = [int(m[2]) * 10_000 + int(m[3]) for m in pattern.finditer(data)]
        assert len(found) == count

    def ours() -> None:
        decoder = driver.decoder()
        found = 0
        for start in range(0, len(data), 256):
            found += len(decoder.feed(data[start : start + 256]))
        assert found == count

    def recorded() -> None:
        assert len(driver.decode_all(data)) == count

    bare = best(baseline, 9) / count
    return "\n".join(
        line(f"decode {what}, {how}", best(work, 9) / count, bare, "bare re.finditer and int")
        for how, work in (("streaming", ours), ("recorded", recorded))
    )


def line(name: str, ours_s: float, baseline_s: float, baseline: str) -> str:
    """Write one result."""
    return (
        f"{name:<46} {ours_s * 1e6:8.1f} us   {ours_s / baseline_s:5.1f} times {baseline} "
        f"({baseline_s * 1e6:.1f} us)"
    )


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        print(record(Path(folder)))
    for what in LINES:
        print(decoding(what))


if __name__ == "__main__":
    main()
