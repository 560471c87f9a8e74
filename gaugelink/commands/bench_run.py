"""One run of a bench: gauges plugged in, page served, and ended in order."""

from __future__ import annotations

import asyncio
import contextlib
import signal
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any

from gaugelink import content
from gaugelink.capture.bench import Bench
from gaugelink.capture.clock import SystemClock
from gaugelink.capture.pedal import PedalWatcher
from gaugelink.capture.poller import Poller
from gaugelink.capture.watcher import Watcher
from gaugelink.commands.bench_earlier import Before
from gaugelink.commands.bench_plug import Plugging
from gaugelink.commands.bench_ready import not_measurable, overdue, too_coarse
from gaugelink.commands.plan_file import load_prices
from gaugelink.commands.running import Running, Telling, beside, opened_event
from gaugelink.ports.listing import present_ports
from gaugelink.session import Session

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from gaugelink.benchfile import BenchFile
    from gaugelink.commands.bench_job import Taken
    from gaugelink.events import OtherSize
    from gaugelink.planning.task import Shop
    from gaugelink.ports.identity import PresentPort
    from gaugelink.record import SignedHead


@dataclass(frozen=True, slots=True)
class Outcome:
    """How the job stands."""

    job: str
    readings: int
    sweeps: int
    counts: dict[str, int]
    not_measured: list[str]
    record: Path
    head: SignedHead
    report: Path | None = None

    @property
    def status(self) -> int:
        """The exit status: 0 everything is measured and within, 1 it is not."""
        fine = not (self.counts["outside"] or self.counts["undecided"] or self.not_measured)
        return 0 if fine else 1

    def document(self) -> dict[str, Any]:
        """Give what ``--json`` prints."""
        return {
            "job": self.job,
            "readings": self.readings,
            "sweeps": self.sweeps,
            "within": self.counts["within"],
            "outside": self.counts["outside"],
            "undecided": self.counts["undecided"],
            "not_measured": self.not_measured,
            "record": str(self.record),
            "report": str(self.report) if self.report else None,
            "head": {"size": self.head.size, "root": self.head.root.hex()},
        }


@dataclass(slots=True)
class BenchRun:
    """One run of a bench, from its file.

    Args:
        file: the bench file.
        taken: the job, its record open.
        operator: who works here.
        tell: is given every sentence for the operator.
        listing: lists the ports that are here now.
        before: the round before, which values are held against.
    """

    file: BenchFile
    taken: Taken
    operator: str
    tell: Callable[[str], None]
    listing: Callable[[], Sequence[PresentPort]] = present_ports
    before: Before = field(default_factory=Before)

    async def work(self, page: int) -> Outcome:
        """Run until somebody asks to stop, then end in order.

        Raises:
            InputError: two gauges are on one port, or have changed since they are on record.
            PortError: the page's port is taken.
            RecordError: the record cannot be read or written.
        """
        taken, clock = self.taken, SystemClock()
        gauges = [item.gauge for item in self.file.gauges]
        is_new = taken.needs_opening(gauges)
        sizes, carries = self._carried()
        running = Running(taken.sheet, Telling(echo=self.tell), self._shop())
        loop = asyncio.get_running_loop()

        def warn(words: str) -> None:
            with contextlib.suppress(RuntimeError):  # the loop is closed: nobody is left to tell
                loop.call_soon_threadsafe(running.telling.say, "warning", words)

        cables = Plugging(self.file, taken.job.name, clock, warn).cables(self.listing())
        session = Session(
            taken.plan, {item.id: item for item in gauges}, taken.job.stage, sheet=taken.sheet,
            earlier=self.before.readings,
        )  # fmt: skip
        bench = Bench(session, taken.store, clock, cables, self.operator, self.file.name,
                      running.telling)  # fmt: skip
        opened = partial(opened_event, job=taken.job, sheet=taken.sheet, gauges=gauges,
                         clock=clock.name, sizes=sizes)  # fmt: skip
        with asked_to_stop() as stop:
            async with contextlib.AsyncExitStack() as stack:
                url = await stack.enter_async_context(running.page(page))
                await stack.enter_async_context(
                    running.bench(
                        bench,
                        opened if is_new or carries else None,
                        taken.opened[0] if taken.opened else None,
                        all_here=False,
                    )
                )
                if self.before.words:
                    running.telling.say("note", self.before.words)
                for words in (
                    *overdue(gauges, clock.utc()[:10]),
                    *not_measurable(taken.plan, self.file.gauges),
                    *too_coarse(taken.sheet, gauges),
                ):
                    running.telling.say("warning", words)
                watcher = Watcher(bench, self.listing, asyncio.sleep)
                await stack.enter_async_context(
                    beside(watcher.run(), "looking for lost gauges", warn)
                )
                poller = Poller(bench, asyncio.sleep)
                await stack.enter_async_context(beside(poller.run(), "poller"))
                if (at := self.file.pedal) is not None:
                    pedal = PedalWatcher(bench, at.port, at.line, asyncio.sleep, at.action)
                    await stack.enter_async_context(beside(pedal.run(), "the foot pedal", warn))
                self.tell(f"The bench page is at {url}  (Ctrl-C ends it; the job can go on later)")
                await stop.wait()
        return outcome_of(running, taken)

    async def report(self, path: Path) -> Outcome:
        """Put the verdicts on record and write the report; no port is opened.

        Raises:
            InputError: the report cannot be written.
            RecordError: the record cannot be read or written.
        """
        taken = self.taken
        running = Running(taken.sheet, Telling(echo=self.tell), self._shop())
        sizes, carries = self._carried()
        opened = partial(opened_event, job=taken.job, sheet=taken.sheet,
                         gauges=taken.gauges.values(), clock=SystemClock().name,
                         sizes=sizes)  # fmt: skip
        session = Session(taken.plan, taken.gauges, taken.job.stage, sheet=taken.sheet)
        bench = Bench(session, taken.store, SystemClock(), [], self.operator, self.file.name,
                      running.telling)  # fmt: skip
        async with running.bench(bench, opened if carries else None, taken.opened[0]):
            await running.finish(path)
        return outcome_of(running, taken, path)

    def _carried(self) -> tuple[tuple[OtherSize, ...] | None, bool]:
        """Give the sizes that the round before says, and whether they are yet to be put on record.

        Once they are, the record is judged without that of the round before.
        """
        sizes, known = self.before.sizes, self.taken.sizes
        if sizes is None or not (sizes or known):
            return None, False
        return sizes, sizes != known

    def _shop(self) -> Shop | None:
        """Read the price file, where the bench names one.

        Raises:
            InputError: it is bad.
        """
        if not self.file.prices:
            return None
        prices = content.read("sim/prices", self.file.prices)
        return load_prices(*prices, kinds=self.taken.sheet.head.kinds)


def outcome_of(running: Running, taken: Taken, report: Path | None = None) -> Outcome:
    """Say how the job stands."""
    session, judgement = running.view.bench.session, running.view.judgement()
    return Outcome(
        taken.job.name,
        len(session.readings()),
        len(session.sweeps()),
        judgement.counts(),
        [
            " ".join(filter(None, (item.valve or "head", item.characteristic,
                                   f"by {item.method}" if item.method else "")))
            for item in judgement.missing
        ],
        taken.path,
        taken.store.heads()[-1],
        report,
    )  # fmt: skip


@contextlib.contextmanager
def asked_to_stop() -> Iterator[asyncio.Event]:
    """Give an event that is set when somebody wants the program to end.

    That is Ctrl-C, the system's request, or the end of the terminal unless that is to be outlived.
    """
    loop, stop = asyncio.get_running_loop(), asyncio.Event()

    def asked(_number: int, _frame: object) -> None:
        loop.call_soon_threadsafe(stop.set)

    numbers = [
        number
        for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
        if (number := getattr(signal, name, None)) is not None
        and (name != "SIGHUP" or signal.getsignal(number) is not signal.SIG_IGN)
    ]
    before = {number: signal.signal(number, asked) for number in numbers}
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
