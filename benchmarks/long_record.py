"""What a step costs when the record is empty, and when it is long: on disk, and in the session.

    python benchmarks/long_record.py [--entries 300000]

Processor time of this process, the mean of many steps, on the disk of the temporary folder. In the
session every other entry is a value that nobody asked for, and the rest are stems of the demo head
that are measured over and over, after guides were honed.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

from gaugelink import content
from gaugelink.deeds import DoWork, Retake, ValueArrived
from gaugelink.event_documents import to_document
from gaugelink.events import ReadingParked, ReadingTaken
from gaugelink.plan import plan_for
from gaugelink.quantity import parse_length
from gaugelink.reading import Gauge, Stamp
from gaugelink.record import SqliteStore, load_or_create_key
from gaugelink.session import Session
from gaugelink.sheetfile import load as load_sheet

if TYPE_CHECKING:
    from collections.abc import Callable

    from gaugelink.deeds import Command

UTC = "2026-01-02T08:00:00.000000Z"
SHOWN = parse_length("7.964 mm")
VALUE = to_document(ReadingParked(Stamp(UTC, 1, "", ""), "M1", SHOWN, b"", "nothing was asked for"))


def mean_ms(step: Callable[[], object], times: int) -> float:
    """Measure the processor time of one step."""
    before = time.process_time()
    for _ in range(times):
        step()
    return (time.process_time() - before) / times * 1e3


class Job:
    """A session of the demo head, without a record on disk."""

    def __init__(self) -> None:
        sheet = load_sheet(*content.read("sim/sheets", "demo-pump-engine"))
        plan = plan_for(sheet)
        kinds = dict.fromkeys(step.gauge_kind for step in plan)
        gauges = {kind: Gauge(kind, kind, kind, "1", "none", 1_000_000, "") for kind in kinds}
        self.session = Session(plan, gauges, "as received", sheet=sheet)
        self.stems = [
            number
            for number, step in enumerate(plan)
            if step.position.characteristic == "stem diameter" and step.position.valve[-1] == "I"
        ]
        self.taken = 0
        self._stem = 0
        self._turn = count()

    def do(self, command: Command) -> None:
        """Decide, and take in what it leads to."""
        # A minute between two values: one press that sends twice is another matter.
        stamp = Stamp(UTC, self.session.seen * 60 * 10**9, "", "")
        for event in self.session.decide(command, stamp):
            self.session.apply(self.session.seen, event)
            self.taken += isinstance(event, ReadingTaken)

    def reading(self) -> None:
        """Measure the next stem; the reading before is replaced."""
        self._stem = (self._stem + 1) % len(self.stems)
        self.session.go(self.stems[self._stem])
        shown = parse_length(f"7.9{61 + next(self._turn) * 5 % 7} mm")
        self.do(ValueArrived("micrometer", shown, b""))

    def nobody_asked(self) -> None:
        """Send a value that nobody asked for."""
        self.do(ValueArrived("dial gauge", SHOWN, b""))

    def retaken(self) -> None:
        """Take the last reading back, and measure again."""
        self.do(Retake("dirt"))
        self.do(ValueArrived("micrometer", SHOWN, b""))

    def page(self) -> None:
        """Ask what every page shows of the step."""
        self.session.question  # noqa: B018  it is reckoned when it is asked for


def in_session(entries: int) -> None:
    """Measure and print what a step costs in the session."""
    print("| entries | a reading | a value that nobody asked for | a retake | the question |")
    print("|---|---|---|---|---|")
    job = Job()
    for _ in job.stems:
        job.reading()
    job.do(DoWork("guide honed", ("1I",)))
    for wanted in (0, entries // 2, entries):
        while job.session.seen < wanted:
            job.reading()
            job.nobody_asked()
            job.nobody_asked()
        size = job.session.seen
        assert job.taken * 5 > size, "hardly any value was taken"
        steps = (job.reading, job.nobody_asked, job.retaken, job.page)
        costs = " | ".join(f"{mean_ms(step, 60):.3f} ms" for step in steps)
        print(f"| {size} | {costs} |", flush=True)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--entries", type=int, default=300_000)
    args = parser.parse_args()
    print("| entries on record | a transaction with one value, and the root | a signed head |")
    print("|---|---|---|")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        key = load_or_create_key(folder / "key.pem")
        with SqliteStore.create(folder / "long.record", key=key) as store:
            for wanted in (0, args.entries // 2, args.entries):
                while store.size < wanted:
                    store.append([VALUE] * 1000)
                size = store.size
                value = mean_ms(lambda: (store.append([VALUE]), store.root()), 1000)
                head = mean_ms(lambda: store.publish_head(UTC), 150)
                print(f"| {size} | {value:.2f} ms | {head:.2f} ms |", flush=True)
    print()
    in_session(args.entries // 10)


if __name__ == "__main__":
    main()
