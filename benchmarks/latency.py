"""From a byte on the wire to the durable record and to the screen; and how quickly help answers.

    python benchmarks/latency.py [--presses N]

Everything is real: a pseudo-terminal (loopback TCP on Windows), the decoder, the SQLite store with
a full flush on the disk of the temporary folder, the web server, and Chromium where one is
installed. The screen's time is taken until the page itself has drawn the figure and answered, so it
holds the way back as well: it is an upper bound.
"""

from __future__ import annotations

import argparse
import asyncio
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gaugelink import content
from gaugelink.capture.actions import act
from gaugelink.capture.bench import Bench
from gaugelink.capture.cable import alone
from gaugelink.capture.channel import Channel, line_of
from gaugelink.capture.clock import SystemClock
from gaugelink.events import JobOpened
from gaugelink.plan import plan_for
from gaugelink.ports.serial import SerialPort
from gaugelink.ports.tcp import TcpPort
from gaugelink.reading import Gauge, Stamp
from gaugelink.record import SqliteStore, load_or_create_key
from gaugelink.session import Session
from gaugelink.sheetfile import load as load_sheet
from gaugelink.simulate.gauges import BenchGauge
from gaugelink.simulate.pace import PersonPace
from gaugelink.simulate.scenario import load as load_scenario
from gaugelink.view.state import JobView, live_document
from gaugelink.web.feed import Feed
from gaugelink.web.hub import Hub
from gaugelink.web.server import Server, make_app
from gaugelink.wire.driver import load_driver

if TYPE_CHECKING:
    from gaugelink.wire.base import Value

CHROMIUM_WORDS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


class Listener:
    """Passes on to the page what the bench tells."""

    def __init__(self) -> None:
        self.feed: Feed | None = None

    def live(self, gauge: str, value: Value) -> None:
        """Publish a figure."""
        if self.feed is not None:
            self.feed.live(live_document(gauge, value))

    def changed(self) -> None:
        """Publish the state."""
        if self.feed is not None:
            self.feed.changed()

    def say(self, level: str, words: str) -> None:
        """Nobody listens."""


def line(name: str, times_s: list[float], bound: str) -> str:
    """Write the middle and the 95th percentile of some times."""
    ordered = sorted(times_s)
    at95 = ordered[min(len(ordered) - 1, int(0.95 * len(ordered)))]
    return (
        f"{name:<28} median {statistics.median(ordered) * 1e3:6.2f} ms   "
        f"95 % {at95 * 1e3:6.2f} ms   ({len(ordered)} times; aim: {bound})"
    )


async def measure(presses: int, folder: Path) -> list[str]:
    """Press the micrometer's button again and again, and take the times."""
    scenario = load_scenario(*content.read("sim", "demo-head"))
    sheet = load_sheet(*content.read("sim/sheets", scenario.scenario.sheet))
    about = scenario.gauge_for("micrometer")
    gauge = BenchGauge(about, PersonPace())
    clock = SystemClock()
    name = await gauge.connect()
    driver = load_driver(*content.read("drivers", about.driver))
    port = (
        TcpPort(name, clock.mono_ns)
        if name.startswith("tcp://")
        else SerialPort(name, line_of(driver), clock.mono_ns)
    )
    entry = Gauge(about.id, about.kind, about.title, about.serial, about.driver, 0, "2030-01-01")
    listener = Listener()
    store = SqliteStore.create(folder / "record.sqlite", key=load_or_create_key(folder / "key.pem"))
    session = Session(plan_for(sheet), {about.id: entry}, "as received")
    bench = Bench(session, store, clock, [alone(port, Channel(entry, driver))], "", "",
                  listener)  # fmt: skip
    job: list[JobOpened] = []

    def opened(stamp: Stamp) -> JobOpened:
        job.append(JobOpened(stamp, "", "", "", "", "", "", "", "", (entry,), True, "real", ""))
        return job[0]

    await bench.start(opened)
    view = JobView(bench, sheet, job[0])
    hub = Hub()
    listener.feed = Feed(hub, view.state)

    async def on_act(document: dict[str, Any]) -> tuple[int, dict[str, Any]]:
        return await act(bench, document)

    lines = []
    async with Server(make_app(hub, on_act, content.folders("dashboards"))) as server:
        listener.feed.start()
        await asyncio.sleep(0.6)  # the silence after which a line is taken to be whole
        lines.append(line("byte to durable commit", await commits(bench, gauge, presses),
                          "median under 10 ms"))  # fmt: skip
        chromium = shutil.which("chromium") or shutil.which("google-chrome")
        if chromium is None:
            lines.append("byte to screen: not measured, no Chromium is installed")
        else:
            times = await screens(gauge, server.url, chromium, presses)
            lines.append(line("byte to screen", times, "95 % under 100 ms"))
        await listener.feed.stop()
    await bench.stop()
    store.close()
    await gauge.unplug()
    return lines


async def commits(bench: Bench, gauge: BenchGauge, presses: int) -> list[float]:
    """Time from writing the first byte until the reading is on disk and taken in."""
    times = []
    for number in range(presses):
        bench.session.go(0)  # the same place again and again: each reading replaces the last
        gauge.touch(7960 + number % 10)
        seen = bench.version
        start = time.perf_counter()
        gauge.press()
        await bench.next_change(seen)
        times.append(time.perf_counter() - start)
    return times


async def screens(gauge: BenchGauge, url: str, chromium: str, presses: int) -> list[float]:
    """Time from writing the first byte until the page shows the figure."""
    from playwright.async_api import async_playwright  # noqa: PLC0415

    times = []
    async with async_playwright() as playwright:
        browser = await playwright.chromium.launch(executable_path=chromium, args=CHROMIUM_WORDS)
        page = await browser.new_page()
        await page.goto(url)
        await page.wait_for_selector("body")
        await page.evaluate(
            """() => {
                window.figureShown = (text) => new Promise((resolve) => {
                    const look = () => {
                        if (document.body.innerText.includes(text)) resolve(true);
                        else requestAnimationFrame(look);
                    };
                    look();
                });
            }"""
        )
        for number in range(presses):
            gauge.touch(1000 + 7 * number)  # a figure that was not on the page before
            text = gauge.display().digits
            shown = asyncio.ensure_future(page.evaluate("(text) => window.figureShown(text)", text))
            await asyncio.sleep(0.02)
            start = time.perf_counter()
            gauge.press()
            await shown
            times.append(time.perf_counter() - start)
        await browser.close()
    return times


def help_ratio(runs: int = 15) -> str:
    """Compare the start of ``gaugelink --help`` with bare Python that has argparse."""

    def best(*words: str) -> float:
        times = []
        for _ in range(runs):
            start = time.perf_counter()
            subprocess.run([sys.executable, *words], check=True, stdout=subprocess.DEVNULL)
            times.append(time.perf_counter() - start)
        return min(times)

    bare = best("-c", "import argparse; argparse.ArgumentParser().format_help()")
    ours = best("-m", "gaugelink", "--help")
    return (
        f"gaugelink --help             {ours * 1e3:.0f} ms, {ours / bare:.2f} times bare Python "
        f"with argparse ({bare * 1e3:.0f} ms; aim: within 4 times)"
    )


def demo_time(folder: Path) -> str:
    """Time the demonstration at full speed."""
    start = time.perf_counter()
    words = [sys.executable, "-m", "gaugelink", "demo", "--json", "--out", str(folder / "demo")]
    subprocess.run(words, check=False, stdout=subprocess.DEVNULL)
    return f"gaugelink demo               {time.perf_counter() - start:.1f} s (aim: under 40 s)"


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--presses", type=int, default=200)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        print(help_ratio())
        print(demo_time(Path(folder)))
        for text in asyncio.run(measure(args.presses, Path(folder))):
            print(text)


if __name__ == "__main__":
    main()
