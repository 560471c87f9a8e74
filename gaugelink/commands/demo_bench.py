"""The demonstration put together: streams, ports, drivers, session, record, page and report."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from gaugelink import content
from gaugelink.benchfile import Job
from gaugelink.capture.actions import act
from gaugelink.capture.bench import Bench
from gaugelink.capture.cable import Cable, alone
from gaugelink.capture.channel import Channel, line_of
from gaugelink.commands.demo_through import Through
from gaugelink.commands.running import Running, beside, opened_event
from gaugelink.errors import InputError
from gaugelink.plan import plan_for
from gaugelink.ports.naming import port_for
from gaugelink.quantity import PM_PER_UM
from gaugelink.reading import Gauge
from gaugelink.record import SqliteStore, default_key_path, load_or_create_key
from gaugelink.session import Session
from gaugelink.simulate.gauges import BenchGauge
from gaugelink.simulate.operator import Operator
from gaugelink.simulate.pace import FullPace, PersonPace
from gaugelink.simulate.workpiece import Workpiece
from gaugelink.wire.driver import load_driver

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Iterator
    from pathlib import Path

    from gaugelink.events import JobOpened
    from gaugelink.head import Position
    from gaugelink.limits import Sheet
    from gaugelink.planning.task import Shop
    from gaugelink.reading import Stamp
    from gaugelink.simulate.pace import Pace
    from gaugelink.simulate.scenario import Scenario


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
    released: bool
    report_document: dict[str, Any]

    def document(self) -> dict[str, Any]:
        """Give what ``--json`` prints."""
        return {
            "readings": self.readings,
            "sweeps": self.sweeps,
            "within": self.within,
            "outside": self.outside,
            "undecided": self.undecided,
            "released": self.released,
            "report": self.report,
            "store": self.store,
            "head": {"size": self.size, "root": self.root},
        }


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
    """One run. `running.page` and `bench` are entered in this order, then `work`, then `finish`.

    Args:
        scenario: bench, head and operator.
        sheet: the limits.
        store: where the record goes; must not exist.
        report: where the report goes.
        seed: None takes the scenario's own.
        at_pace: run as slowly as a person works.
        shop: what can be done to the head, and at what price.
    """

    scenario: Scenario
    sheet: Sheet
    store: Path
    report: Path
    seed: int | None = None
    at_pace: bool = False
    shop: Shop | None = None
    running: Running = field(init=False)
    _gauges: dict[str, BenchGauge] = field(default_factory=dict)
    _pace: Pace = field(default_factory=PersonPace)
    _operator: Operator | None = None

    def __post_init__(self) -> None:
        """Prepare what the bench is shown with."""
        self.running = Running(self.sheet, shop=self.shop)

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
                          self.running.telling)  # fmt: skip
            job = Job(title.job, title.head, title.serial, title.stage, title.sheet, title.invented)

            def opened(stamp: Stamp) -> JobOpened:
                return opened_event(stamp, job, self.sheet, registered.values(), self._pace.name)

            await stack.enter_async_context(self.running.bench(bench, opened))
            if not self.at_pace:
                await stack.enter_async_context(beside(full.run(), "simulated time"))
            for gauge in self._gauges.values():
                gauge.switch_on()
            yield

    async def work(self) -> None:
        """Have the simulated operator work through the measuring plan."""
        seed = self.scenario.scenario.seed if self.seed is None else self.seed
        self._operator = Operator(
            _Screen(self.running.view.bench, self._pace),
            self._gauges,
            Workpiece(self.scenario, self.sheet.head, seed),
            list(self.scenario.slip),
            self._pace,
            self.scenario.inspection,
        )
        self._operator.loads = [*self._loads()]
        await self._operator.work()

    async def through(self) -> bool:
        """Have the head worked on, measured again and released, after `work`.

        Returns:
            Whether it is released.
        """
        assert self._operator is not None
        assert self.shop is not None
        return await Through(self.running, self._operator, self.shop, self._loads,
                             self.scenario.scenario.operator).work()  # fmt: skip

    def _loads(self) -> Iterator[tuple[str, str, str]]:
        """Give what the springs that the sheet has tested show on a tester of whole newtons."""
        assert self._operator is not None
        workpiece, springs = self._operator.workpiece, self.scenario.springs
        for valve in self.sheet.head.valves():
            spring = self.sheet.spring_of(valve.kind)
            if springs is not None and spring is not None and spring.tested_at_pm is not None:
                load = workpiece.load_n(valve.name, spring.tested_at_pm / PM_PER_UM)
                yield valve.name, f"{load:.0f} N", springs.u

    async def finish(self) -> Outcome:
        """Put the verdicts on record, publish a head, and write the report."""
        document, head = await self.running.finish(self.report)
        session = self.running.view.bench.session
        counts = document["counts"]
        return Outcome(
            len(session.readings()), len(session.sweeps()), counts["within"],
            counts["outside"], counts["undecided"], str(self.report), str(self.store), head.size,
            head.root.hex(), document["release"]["released"], document,
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
        port = port_for(name, line_of(driver), self._pace.mono_ns)
        entry = Gauge(about.id, about.kind, about.title, about.serial, about.driver,
                      round(about.u * 1e6), about.calibration_due,
                      None if about.repeatability is None else round(about.repeatability * 1e6),
                      )  # fmt: skip
        return alone(port, Channel(entry, driver))
