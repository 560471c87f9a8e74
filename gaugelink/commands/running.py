"""A bench at work: with its page, what the page is told, and what is written at the end.

The demonstration and the real bench differ in where their gauges and clocks come from, and in
nothing that is here.
"""

from __future__ import annotations

import asyncio
import contextlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from gaugelink import __version__, content
from gaugelink.capture.actions import act
from gaugelink.commands.advising import Advisor
from gaugelink.events import JobOpened
from gaugelink.report.pdf import write_report
from gaugelink.view.report import judged_event, report_document
from gaugelink.view.state import JobView, live_document
from gaugelink.web.feed import Feed
from gaugelink.web.hub import Hub
from gaugelink.web.server import Server, make_app

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable, Coroutine, Iterable
    from pathlib import Path

    from gaugelink.benchfile import Job
    from gaugelink.capture.bench import Bench
    from gaugelink.events import OtherSize
    from gaugelink.limits import Sheet
    from gaugelink.planning.task import Shop
    from gaugelink.reading import Gauge, Stamp
    from gaugelink.record import SignedHead
    from gaugelink.wire.base import Value


@dataclass(slots=True)
class Telling:
    """Passes on what the bench tells, to the page where there is one.

    Args:
        echo: is given every sentence too, for a terminal.
    """

    echo: Callable[[str], None] = lambda _words: None
    view: JobView | None = None
    feed: Feed | None = None
    _early: list[tuple[str, str]] = field(default_factory=list)

    def live(self, gauge: str, value: Value) -> None:
        """Show a figure."""
        if self.feed is not None:
            self.feed.live(live_document(gauge, value))

    def changed(self) -> None:
        """Have the state drawn again."""
        if self.feed is not None:
            self.feed.changed()

    def say(self, level: str, words: str) -> None:
        """Say a sentence; what is said before there is anything to see is kept until then."""
        self.echo(words)
        if self.view is None:
            self._early.append((level, words))
        else:
            self.view.say(level, words)
        self.changed()

    def show(self, view: JobView) -> None:
        """Show this job from now on."""
        self.view = view
        for level, words in self._early:
            view.say(level, words)
        self._early.clear()


@dataclass(slots=True)
class Running:
    """One job on a bench. `page`, if wanted, is entered before `bench`.

    Args:
        sheet: the limits.
        telling: who is told; the audience of the bench.
        shop: what can be done to the head, and at what price; None: nobody has said.
    """

    sheet: Sheet
    telling: Telling = field(default_factory=Telling)
    shop: Shop | None = None
    advisor: Advisor = field(init=False)

    def __post_init__(self) -> None:
        """Have the head planned when somebody asks."""
        self.advisor = Advisor(lambda: self.telling.view, self.shop)

    @property
    def view(self) -> JobView:
        """The job as it is drawn. There is none before `bench` is entered."""
        assert self.telling.view is not None
        return self.telling.view

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
            if self.telling.view is None:
                return 409, {"ok": False, "words": "the bench is not ready yet; try again"}
            if document.get("do") == "take-plan":  # the plan is not the bench's, but the adviser's
                return await self.advisor.take(document)
            return await act(self.view.bench, document)

        def on_sweep(place: int) -> dict[str, Any] | None:
            return None if self.telling.view is None else self.view.find_sweep(place)

        app = make_app(hub, on_act, content.folders("dashboards"), sweeps=on_sweep,
                       ask=self.advisor.ask, papers=self.advisor.paper)  # fmt: skip
        async with Server(app, port=port) as server:
            self.telling.feed = feed
            yield server.url

    @contextlib.asynccontextmanager
    async def bench(
        self,
        bench: Bench,
        opened: Callable[[Stamp], JobOpened] | None,
        job: JobOpened | None = None,
        *,
        all_here: bool = True,
    ) -> AsyncIterator[None]:
        """Start a bench, show it, and stop it in order: ports closed, head published.

        Args:
            bench: the bench; its audience is `telling`.
            opened: makes the event that opens the job, or takes it up with other gauges; None goes
                on with a job as it stands in the record.
            job: the job as the record opened it; None for a new one.
            all_here: a port that cannot be opened is an error, else its gauges are lost.

        Raises:
            PortError: a port cannot be opened, and all must be here.
            RecordError: the record cannot be read or written.
            SessionError: the record holds something that this plan has no step for.
        """
        made: list[JobOpened] = []

        def open_job(stamp: Stamp) -> JobOpened:
            assert opened is not None
            made.append(opened(stamp))
            return made[0]

        async with contextlib.AsyncExitStack() as stack:
            stack.push_async_callback(bench.stop)
            await bench.start(open_job if opened else None, all_here=all_here)
            first = job or made[0]
            self.telling.show(JobView(bench, self.sheet, first))
            if self.telling.feed is not None:
                self.telling.feed.start()
                stack.push_async_callback(self.telling.feed.stop)
            yield

    async def finish(self, report: Path) -> tuple[dict[str, Any], SignedHead]:
        """Put the verdicts on record, publish a head, and write the report.

        Returns:
            The document that the report was drawn from, and the head that it carries.

        Raises:
            InputError: the report cannot be written.
            RecordError: the record cannot be written.
        """
        view, bench = self.view, self.view.bench
        await bench.record_verdicts(judged_event(view, bench.stamp()))
        view.finished_utc = bench.clock.utc()
        head = bench.store.heads()[-1]
        document = report_document(view, head, await self.advisor.plan())
        attachments = {
            "record.jsonl": b"".join(entry.leaf + b"\n" for entry in bench.store.entries()),
            "head.json": head.line(),
        }
        await asyncio.to_thread(write_report, document, attachments, report)
        return document, head


def opened_event(
    stamp: Stamp,
    job: Job,
    sheet: Sheet,
    gauges: Iterable[Gauge],
    clock: str,
    sizes: tuple[OtherSize, ...] | None = None,
) -> JobOpened:
    """Make the event that opens a job.

    Args:
        stamp: who, where and when.
        job: the job.
        sheet: its limits; they stand in the record whole.
        gauges: the gauges of the bench.
        clock: what the monotonic times are, ``real`` or ``simulated``.
        sizes: of parts that the round before says to be of another size; None: it says of none.
    """
    return JobOpened(
        stamp, job.name, job.head, job.serial, job.stage, sheet.name, sheet.edition, sheet.text,
        sheet.sha256, tuple(gauges), job.invented, clock, f"gaugelink {__version__}", sizes,
    )  # fmt: skip


def _nobody(_words: str) -> None:
    """Tell nobody."""


@contextlib.asynccontextmanager
async def beside(
    work: Coroutine[Any, Any, None], name: str, failed: Callable[[str], None] = _nobody
) -> AsyncIterator[None]:
    """Keep something running while the body runs.

    Args:
        work: what runs; it is broken off at the end.
        name: what people call it.
        failed: is told if it ends by a fault of the program, which is not passed over in silence.
    """
    loop = asyncio.get_running_loop()

    def ended(task: asyncio.Task[None]) -> None:
        fault = None if task.cancelled() else task.exception()
        if fault is not None:
            words = f"{name} has stopped by a fault of the program"
            loop.call_exception_handler({"message": words, "exception": fault})
            failed(f"{words} ({str(fault) or type(fault).__name__}); start the bench again")

    task = asyncio.create_task(work, name=name)
    task.add_done_callback(ended)
    try:
        yield
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
