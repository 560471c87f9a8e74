"""Measure a simulated head from start to report.

Every gauge speaks its own wire format over a real byte stream of the operating system, and
everything goes through decoding, capture, judging, record and report as on a real bench. All
figures are invented.

Exit status: 0 every verdict is within; 1 something is outside or undecided, as it is on the shipped
head; 2 it could not be done.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gaugelink import __version__, content
from gaugelink.errors import InputError

if TYPE_CHECKING:
    import argparse
    from collections.abc import AsyncIterator, Callable, Coroutine

    from gaugelink.capture.bench import Bench
    from gaugelink.commands.demo_screen import DemoScreen
    from gaugelink.events import JobOpened
    from gaugelink.head import Position
    from gaugelink.limits import Sheet
    from gaugelink.ports.port import Port
    from gaugelink.reading import Stamp
    from gaugelink.simulate.gauges import BenchGauge
    from gaugelink.simulate.pace import Pace
    from gaugelink.simulate.scenario import Scenario
    from gaugelink.view.state import JobView
    from gaugelink.web.feed import Feed
    from gaugelink.wire.base import Value

STORE = "record.sqlite"
REPORT = "report.pdf"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("--out", metavar="DIR", help="folder for record and report (default: the "
                        "first free one of gaugelink-demo, gaugelink-demo-2, ...)")  # fmt: skip
    parser.add_argument("--scenario", metavar="NAME", default="demo-head",
                        help="a scenario that ships, or a .toml file")  # fmt: skip
    parser.add_argument("--seed", type=int, metavar="N",
                        help="the same seed gives the same head and the same readings")  # fmt: skip
    parser.add_argument("--pace", action="store_true", help="run as slowly as a person works")
    parser.add_argument("--serve", action="store_true",
                        help="show the dashboard, and leave it up at the end")  # fmt: skip
    parser.add_argument("--port", type=int, default=0, metavar="N",
                        help="port of the dashboard (default: a free one)")  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Run the demonstration.

    Raises:
        InputError: scenario, sheet or folder are bad.
    """
    from gaugelink import sheetfile  # noqa: PLC0415  heavy, and only wanted here
    from gaugelink.simulate import scenario as scenarios  # noqa: PLC0415

    text, file = content.read("sim", args.scenario)
    scenario = scenarios.load(text, file)
    sheet = sheetfile.load(*content.read("sim/sheets", scenario.scenario.sheet))
    scenarios.check_against(scenario, sheet, file)
    folder = _make_folder(args.out)
    demo = _Demo(args, scenario, sheet, folder)
    document = asyncio.run(demo.run())
    return 1 if document["outside"] or document["undecided"] else 0


def _make_folder(out: str | None) -> Path:
    if out is None:
        number = 1
        while (folder := Path(f"gaugelink-demo{f'-{number}' if number > 1 else ''}")).exists():
            number += 1
    else:
        folder = Path(out)
    for name in (STORE, REPORT):
        if (folder / name).exists():
            raise InputError(
                f"the folder holds a {name} already, and a record is never overwritten; give "
                "another folder with --out",
                file=str(folder),
            )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / ".gaugelink-probe"
        probe.touch()
        probe.unlink()
    except OSError as fault:
        raise InputError(
            f"cannot be written to ({fault.strerror}); give another folder with --out",
            file=str(folder),
        ) from None
    return folder


@dataclass(slots=True)
class _Audience:
    """Passes on what the bench tells."""

    view: JobView | None = None
    feed: Feed | None = None

    def live(self, gauge: str, value: Value) -> None:
        if self.feed is not None:
            from gaugelink.view.state import live_document  # noqa: PLC0415

            self.feed.live(live_document(gauge, value))

    def changed(self) -> None:
        if self.feed is not None:
            self.feed.changed()

    def say(self, level: str, words: str) -> None:
        if self.view is not None:
            self.view.say(level, words)
        self.changed()


@dataclass(slots=True)
class _Screen:
    """The operator's eyes and hands on the bench."""

    bench: Bench
    pace: Pace

    def asked_for(self) -> tuple[Position, str] | None:
        step = self.bench.session.step
        return (step.position, step.gauge_kind) if step else None

    def version(self) -> int:
        return self.bench.version

    async def next_change(self, seen: int) -> int:
        return await self.bench.next_change(seen)

    async def press(self, **action: object) -> None:
        from gaugelink.capture.actions import act  # noqa: PLC0415

        with self.pace.held():
            status, answer = await act(self.bench, action)
        assert status == 200, answer


@dataclass(slots=True)
class _Demo:
    """One run of the demonstration."""

    args: argparse.Namespace
    scenario: Scenario
    sheet: Sheet
    folder: Path

    async def run(self) -> dict[str, Any]:
        from gaugelink.simulate.gauges import BenchGauge  # noqa: PLC0415
        from gaugelink.simulate.pace import FullPace, PersonPace  # noqa: PLC0415
        from gaugelink.view.state import JobView  # noqa: PLC0415

        gauges: dict[str, BenchGauge] = {}
        bench: Bench | None = None

        async def settled() -> None:
            assert bench is not None
            for gauge in gauges.values():
                await bench.heard(gauge.about.id, gauge.sent)

        full = FullPace(settled)
        pace: Pace = PersonPace() if self.args.pace else full
        gauges |= {item.kind: BenchGauge(item, pace) for item in self.scenario.gauge}
        async with contextlib.AsyncExitStack() as stack:
            bench, job = await self._bench(gauges, pace, stack)
            if not self.args.pace:
                await stack.enter_async_context(_running(full.run(), "simulated time"))
            for gauge in gauges.values():
                gauge.switch_on()
            view = JobView(bench, self.sheet, job)
            audience = bench.audience
            assert isinstance(audience, _Audience)
            audience.view = view
            url = await self._serve(view, audience, stack)
            await self._work(view, gauges, pace, url)
            document = await self._finish(view)
            if self.args.serve:
                print(f"The dashboard stays at {url}  (Ctrl-C ends it)", file=sys.stderr)
                with contextlib.suppress(asyncio.CancelledError):
                    await asyncio.Event().wait()
        return document

    async def _bench(
        self, gauges: dict[str, BenchGauge], clock: Pace, stack: contextlib.AsyncExitStack
    ) -> tuple[Bench, JobOpened]:
        """Plug everything together: streams, ports, drivers, session, record."""
        from gaugelink.capture.bench import Bench  # noqa: PLC0415
        from gaugelink.capture.channel import Channel, line_of  # noqa: PLC0415
        from gaugelink.events import JobOpened  # noqa: PLC0415
        from gaugelink.plan import plan_for  # noqa: PLC0415
        from gaugelink.ports.serial import SerialPort  # noqa: PLC0415
        from gaugelink.ports.tcp import TcpPort  # noqa: PLC0415
        from gaugelink.reading import Gauge  # noqa: PLC0415
        from gaugelink.record import (  # noqa: PLC0415
            SqliteStore,
            default_key_path,
            load_or_create_key,
        )
        from gaugelink.session import Session  # noqa: PLC0415
        from gaugelink.wire.driver import load_driver  # noqa: PLC0415

        plan = plan_for(self.sheet)
        for step in plan:
            self.scenario.gauge_for(step.gauge_kind)
        channels: dict[str, Channel] = {}
        for gauge in gauges.values():
            about = gauge.about
            name = await gauge.connect()
            stack.push_async_callback(gauge.unplug)
            driver = load_driver(*content.read("drivers", about.driver))
            port: Port = (
                TcpPort(name, clock.mono_ns)
                if name.startswith("tcp://")
                else SerialPort(name, line_of(driver), clock.mono_ns)
            )
            entry = Gauge(about.id, about.kind, about.title, about.serial, about.driver,
                          round(about.u * 1e6), about.calibration_due)  # fmt: skip
            channels[about.id] = Channel(entry, driver, port)
        title = self.scenario.scenario
        registered = {item.gauge.id: item.gauge for item in channels.values()}
        store = SqliteStore.create(self.folder / STORE, key=load_or_create_key(default_key_path()))
        stack.callback(store.close)
        bench = Bench(
            Session(plan, registered, title.stage), store, clock, channels, title.operator,
            title.bench, _Audience(),
        )  # fmt: skip
        opened: list[JobOpened] = []

        def open_job(stamp: Stamp) -> JobOpened:
            sheet = self.sheet
            opened.append(
                JobOpened(stamp, title.job, title.head, title.serial, title.stage, sheet.name,
                          sheet.edition, sheet.text, sheet.sha256, tuple(registered.values()),
                          title.invented, clock.name, f"gaugelink {__version__}")
            )  # fmt: skip
            return opened[0]

        stack.push_async_callback(bench.stop)
        await bench.start(open_job)
        return bench, opened[0]

    async def _serve(
        self, view: JobView, audience: _Audience, stack: contextlib.AsyncExitStack
    ) -> str:
        if not self.args.serve:
            return ""
        from gaugelink.capture.actions import act  # noqa: PLC0415
        from gaugelink.web.feed import Feed  # noqa: PLC0415
        from gaugelink.web.hub import Hub  # noqa: PLC0415
        from gaugelink.web.server import Server, make_app  # noqa: PLC0415

        hub = Hub()
        feed = Feed(hub, view.state)

        async def on_act(document: dict[str, Any]) -> tuple[int, dict[str, Any]]:
            return await act(view.bench, document)

        app = make_app(hub, on_act, content.folders("dashboards"))
        server = await stack.enter_async_context(Server(app, port=self.args.port))
        audience.feed = feed
        feed.start()
        stack.push_async_callback(feed.stop)
        return server.url

    async def _work(
        self, view: JobView, gauges: dict[str, BenchGauge], pace: Pace, url: str
    ) -> None:
        from gaugelink.simulate.operator import Operator  # noqa: PLC0415
        from gaugelink.simulate.workpiece import Workpiece  # noqa: PLC0415

        title = self.scenario.scenario
        seed = title.seed if self.args.seed is None else self.args.seed
        workpiece = Workpiece(self.scenario, self.sheet.head, seed)
        slips = list(self.scenario.slip)
        operator = Operator(_Screen(view.bench, pace), gauges, workpiece, slips, pace)
        with contextlib.ExitStack() as stack:
            if not self.args.json:
                from rich.console import Console  # noqa: PLC0415

                from gaugelink.commands.demo_screen import DemoScreen  # noqa: PLC0415

                console = Console(stderr=True, highlight=False)
                console.print(f"{title.title}: all figures are invented.", style="bold")
                if url:
                    console.print(f"The dashboard is at {url}")
                screen = stack.enter_context(DemoScreen(console))
                async with _running(_redraw(screen, view.state), "terminal"):
                    await operator.work()
            else:
                if url:
                    print(f"The dashboard is at {url}", file=sys.stderr, flush=True)
                await operator.work()

    async def _finish(self, view: JobView) -> dict[str, Any]:
        from gaugelink.report.pdf import write_report  # noqa: PLC0415
        from gaugelink.view.report import judged_event, report_document  # noqa: PLC0415

        bench = view.bench
        await bench.record_verdicts(judged_event(view, bench.stamp()))
        view.finished_utc = bench.clock.utc()
        head = bench.store.heads()[-1]
        report = report_document(view, head)
        attachments = {
            "record.jsonl": b"".join(entry.leaf + b"\n" for entry in bench.store.entries()),
            "head.json": head.line(),
        }
        path = self.folder / REPORT
        await asyncio.to_thread(write_report, report, attachments, path)
        counts = report["counts"]
        document = {
            "readings": len(bench.session.readings()),
            "sweeps": len(bench.session.sweeps()),
            "within": counts["within"],
            "outside": counts["outside"],
            "undecided": counts["undecided"],
            "report": str(path),
            "store": str(self.folder / STORE),
            "head": {"size": head.size, "root": head.root.hex()},
        }
        if self.args.json:
            print(json.dumps(document, ensure_ascii=False), flush=True)
        else:
            _print_outcome(report, document)
        return document


@contextlib.asynccontextmanager
async def _running(work: Coroutine[Any, Any, None], name: str) -> AsyncIterator[None]:
    """Keep something running in the background while the body runs."""
    task = asyncio.create_task(work, name=name)
    try:
        yield
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def _redraw(screen: DemoScreen, state: Callable[[], dict[str, Any]]) -> None:
    """Redraw the terminal a few times a second, for ever."""
    while True:
        screen.show(state())
        await asyncio.sleep(0.15)


def _print_outcome(report: dict[str, Any], document: dict[str, Any]) -> None:
    from rich.console import Console  # noqa: PLC0415

    from gaugelink.commands.demo_screen import closing_table  # noqa: PLC0415

    console = Console(highlight=False, markup=False)
    console.print(closing_table(report))
    counts = report["counts"]
    console.print()
    console.print(
        f"{document['readings']} readings and {document['sweeps']} rock sweeps: "
        f"{counts['within']} within, {counts['outside']} outside, "
        f"{counts['undecided']} undecided."
    )
    for item in report["not_measured"]:
        console.print(f"Not measured: {item['valve'] or 'head'} {item['characteristic']}")
    head = document["head"]
    console.print(f"Report  {document['report']}")
    console.print(
        f"Record  {document['store']}  ({head['size']} entries, root {head['root'][:16]})"
    )
    console.print(f"Check   gaugelink verify {document['store']}")
