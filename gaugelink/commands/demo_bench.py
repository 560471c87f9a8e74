"""The demonstration put together: streams, ports, drivers, session, record, page and report."""

from __future__ import annotations

import asyncio
import contextlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from gaugelink import __version__, content
from gaugelink.capture.actions import act
from gaugelink.capture.bench import Bench
from gaugelink.capture.cable import Cable, alone
from gaugelink.capture.channel import Channel, line_of
from gaugelink.errors import InputError
from gaugelink.events import JobOpened
from gaugelink.plan import plan_for
from gaugelink.ports.serial import SerialPort
from gaugelink.ports.tcp import TcpPort
from gaugelink.reading import Gauge, Stamp
from gaugelink.record import SqliteStore, default_key_path, load_or_create_key
from gaugelink.report.pdf import write_report
from gaugelink.session import Session
from gaugelink.simulate.gauges import BenchGauge
from gaugelink.simulate.operator import Operator
from gaugelink.simulate.pace import FullPace, PersonPace
from gaugelink.simulate.workpiece import Workpiece
from gaugelink.view.report import judged_event, report_document
from gaugelink.view.state import JobView, live_document
from gaugelink.web.feed import Feed
from gaugelink.web.hub import Hub
from gaugelink.web.server import Server, make_app
from gaugelink.wire.driver import load_driver

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Coroutine
    from pathlib import Path

    from gaugelink.head import Position
    from gaugelink.limits import Sheet
    from gaugelink.ports.port import Port
    from gaugelink.simulate.pace import Pace
    from gaugelink.simulate.scenario import Scenario
    from gaugelink.wire.base import Value


@dataclass(frozen=True, slots=True)
class Outcome:
    """What the demonstration came to, and the document that its report was drawn from."""

    readings: int
    sweeps: int
    within: int
    outside: int
    undecided: int
    report: str
    store: str
    size: int
    root: str
    report_document: dict[str, Any]

    def document(self) -> dict[str, Any]:
        """Give what ``--json`` prints."""
        return {
            "readings": self.readings,
            "sweeps": self.sweeps,
            "within": self.within,
            "outside": self.outside,
            "undecided": self.undecided,
            "report": self.report,
            "store": self.store,
            "head": {"size": self.size, "root": self.root},
        }


@dataclass(slots=True)
class _Audience:
    """Passes on what the bench tells, to the page where there is one."""

    view: JobView | None = None
    feed: Feed | None = None

    def live(self, gauge: str, value: Value) -> None:
        if self.feed is not None:
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

    def question(self) -> tuple[int, int] | None:
        question = self.bench.session.question
        return (question.place, question.step) if question else None

    def version(self) -> int:
        return self.bench.version

    async def next_change(self, seen: int) -> int:
        return await self.bench.next_change(seen)

    async def press(self, **action: object) -> None:
        with self.pace.held():
            status, answer = await act(self.bench, action)
        assert status == 200, answer


@dataclass(slots=True)
class Demonstration:
    """One run. `page` and `bench` are entered in this order, then `work`, then `finish`.

    Args:
        scenario: bench, head and operator.
        sheet: the limits.
        store: where the record goes; must not exist.
        report: where the report goes.
        seed: None takes the scenario's own.
        at_pace: run as slowly as a person works.
    """

    scenario: Scenario
    sheet: Sheet
    store: Path
    report: Path
    seed: int | None = None
    at_pace: bool = False
    _gauges: dict[str, BenchGauge] = field(default_factory=dict)
    _audience: _Audience = field(default_factory=_Audience)
    _pace: Pace = field(default_factory=PersonPace)

    @property
    def view(self) -> JobView:
        """The job as it is drawn. There is none before `bench` is entered."""
        assert self._audience.view is not None
        return self._audience.view

    @contextlib.asynccontextmanager
    async def page(self, port: int) -> AsyncIterator[str]:
        """Serve the bench page on this machine, and give its address.

        Args:
            port: its number; 0 takes a free one.

        Raises:
            PortError: the port is taken.
        """
        hub = Hub()
        # The view comes with the bench, after the page.
        feed = Feed(hub, lambda: self.view.state())  # noqa: PLW0108

        async def on_act(document: dict[str, Any]) -> tuple[int, dict[str, Any]]:
            if self._audience.view is None:
                return 409, {"ok": False, "words": "the bench is not ready yet; try again"}
            return await act(self.view.bench, document)

        def on_sweep(place: int) -> dict[str, Any] | None:
            return None if self._audience.view is None else self.view.find_sweep(place)

        app = make_app(hub, on_act, content.folders("dashboards"), sweeps=on_sweep)
        async with Server(app, port=port) as server:
            self._audience.feed = feed
            yield server.url

    @contextlib.asynccontextmanager
    async def bench(self) -> AsyncIterator[None]:
        """Plug everything together and open the job.

        Raises:
            InputError: the bench lacks a gauge that the plan needs.
            PortError: a stream cannot be opened.
            RecordError: the record cannot be made.
        """
        bench: Bench | None = None

        async def settled() -> None:
            assert bench is not None
            for gauge in self._gauges.values():
                await bench.heard(gauge.about.id, gauge.sent)

        full = FullPace(settled)
        if not self.at_pace:
            self._pace = full
        plan = plan_for(self.sheet)
        for step in plan:
            self.scenario.gauge_for(step.gauge_kind)
        async with contextlib.AsyncExitStack() as stack:
            cables: list[Cable] = []
            for about in self.scenario.gauge:
                gauge = self._gauges[about.kind] = BenchGauge(about, self._pace)
                name = await gauge.connect()
                stack.push_async_callback(gauge.unplug)
                cables.append(self._cable(gauge, name))
            store = SqliteStore.create(self.store, key=load_or_create_key(default_key_path()))
            stack.callback(store.close)
            title = self.scenario.scenario
            registered = {
                channel.gauge.id: channel.gauge
                for cable in cables
                for channel in cable.channels.values()
            }
            session = Session(plan, registered, title.stage, sheet=self.sheet)
            bench = Bench(session, store, self._pace, cables, title.operator, title.bench,
                          self._audience)  # fmt: skip
            opened: list[JobOpened] = []

            def open_job(stamp: Stamp) -> JobOpened:
                opened.append(self._job(stamp, tuple(registered.values())))
                return opened[0]

            stack.push_async_callback(bench.stop)
            await bench.start(open_job)
            self._audience.view = JobView(bench, self.sheet, opened[0])
            if not self.at_pace:
                await stack.enter_async_context(_running(full.run(), "simulated time"))
            if self._audience.feed is not None:
                self._audience.feed.start()
                stack.push_async_callback(self._audience.feed.stop)
            for gauge in self._gauges.values():
                gauge.switch_on()
            yield

    async def work(self) -> None:
        """Have the simulated operator work through the measuring plan."""
        seed = self.scenario.scenario.seed if self.seed is None else self.seed
        operator = Operator(
            _Screen(self.view.bench, self._pace),
            self._gauges,
            Workpiece(self.scenario, self.sheet.head, seed),
            list(self.scenario.slip),
            self._pace,
        )
        await operator.work()

    async def finish(self) -> Outcome:
        """Put the verdicts on record, publish a head, and write the report."""
        view, bench = self.view, self.view.bench
        await bench.record_verdicts(judged_event(view, bench.stamp()))
        view.finished_utc = bench.clock.utc()
        head = bench.store.heads()[-1]
        document = report_document(view, head)
        attachments = {
            "record.jsonl": b"".join(entry.leaf + b"\n" for entry in bench.store.entries()),
            "head.json": head.line(),
        }
        await asyncio.to_thread(write_report, document, attachments, self.report)
        counts = document["counts"]
        return Outcome(
            len(bench.session.readings()), len(bench.session.sweeps()), counts["within"],
            counts["outside"], counts["undecided"], str(self.report), str(self.store), head.size,
            head.root.hex(), document,
        )  # fmt: skip

    def _cable(self, gauge: BenchGauge, name: str) -> Cable:
        about = gauge.about
        driver = load_driver(*content.read("drivers", about.driver))
        if about.speaks != driver.sends:
            raise InputError(
                f"the gauge {about.id} speaks {about.speaks!r}, accepted with the driver "
                f"{driver.name}: {driver.sends!r}",
                file=self.scenario.scenario.name,
                field="gauge.speaks",
            )
        port: Port = (
            TcpPort(name, self._pace.mono_ns)
            if name.startswith("tcp://")
            else SerialPort(name, line_of(driver), self._pace.mono_ns)
        )
        entry = Gauge(about.id, about.kind, about.title, about.serial, about.driver,
                      round(about.u * 1e6), about.calibration_due)  # fmt: skip
        return alone(port, Channel(entry, driver))

    def _job(self, stamp: Stamp, gauges: tuple[Gauge, ...]) -> JobOpened:
        title, sheet = self.scenario.scenario, self.sheet
        return JobOpened(
            stamp, title.job, title.head, title.serial, title.stage, sheet.name, sheet.edition,
            sheet.text, sheet.sha256, gauges, title.invented, self._pace.name,
            f"gaugelink {__version__}",
        )  # fmt: skip


@contextlib.asynccontextmanager
async def _running(work: Coroutine[Any, Any, None], name: str) -> AsyncIterator[None]:
    """Keep something running in the background while the body runs."""
    task = asyncio.create_task(work, name=name)
    try:
        yield
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
