"""A bench whose one gauge types into the page."""

from __future__ import annotations

from contextlib import asynccontextmanager
from typing import TYPE_CHECKING

from bench_kit import KEY, SHEET, Audience, Clock, Rig, WatchedStore, open_job, put_away

from gaugelink import content, sheetfile
from gaugelink.capture.bench import Bench
from gaugelink.capture.cable import alone
from gaugelink.capture.channel import Channel, line_of
from gaugelink.plan import plan_for
from gaugelink.ports.keeping import KeepingPort, Recording
from gaugelink.ports.naming import port_for
from gaugelink.reading import Gauge
from gaugelink.session import Session
from gaugelink.wire.driver import load_driver

if TYPE_CHECKING:
    from collections.abc import AsyncIterator
    from pathlib import Path


@asynccontextmanager
async def typing_bench(folder: Path, *, kept: bool = False) -> AsyncIterator[Rig]:
    """Run a bench with a micrometer that types into the page; its bytes kept in a file or not."""
    clock, audience = Clock(), Audience()
    driver = load_driver(*content.read("drivers", "keys-line"))
    port = port_for("page:", line_of(driver), clock.mono_ns)
    if kept:
        port = KeepingPort(port, Recording(folder / "kept.txt", "kept", lambda _words: None))
    gauge = Gauge("M1", "micrometer", "Micrometer", "no. 1", "keys-line", 1_900_000, "2030-01-01")
    sheet = sheetfile.load(SHEET, "sheet.toml")
    store = WatchedStore.create(folder / "job.record", key=KEY)
    session = Session(plan_for(sheet), {"M1": gauge}, "as received")
    cable = alone(port, Channel(gauge, driver))
    bench = Bench(session, store, clock, [cable], "A. N. Other", "bench 1", audience)
    rig = Rig(folder, sheet, clock, audience, {}, store, bench, {})
    try:
        await bench.start(open_job(rig))
        clock.pass_s(1)
        yield rig
    finally:
        await bench.stop()
        put_away(rig)


def row(text: str, every_ms: int = 8, first_ms: int = 5000) -> list[list[str | int]]:
    """What the page sends for a text that was typed."""
    names = {"\n": "Enter", "\t": "Tab"}
    keys = [names.get(letter, letter) for letter in text]
    return [[key, every_ms if place else first_ms] for place, key in enumerate(keys)]
