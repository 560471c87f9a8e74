"""A small head that is measured, looked at and released in fake time, with its record."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from bench_kit import KEY, sweep

from gaugelink.capture.measured import judge_session
from gaugelink.capture.sweeping import analyse_trace
from gaugelink.deeds import Command, Inspect, Release, SignDeviation, SweepArrived, ValueArrived
from gaugelink.event_documents import from_document, to_document
from gaugelink.events import (
    Event,
    JobOpened,
    SweepTaken,
)
from gaugelink.inspection import CHECKS
from gaugelink.plan import plan_for
from gaugelink.quantity import parse_length
from gaugelink.reading import Gauge, Stamp, Trace
from gaugelink.record import SqliteStore, canonical
from gaugelink.release import Block, blocks, value_text
from gaugelink.session import Session
from gaugelink.sheetfile import load

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from gaugelink.judging import Judged, Judgement
    from gaugelink.reading import Reading

TEXT = """\
[sheet]
name = "Pump engine"
edition = "1"
source = "invented"
[head]
cylinders = 2
valves = ["intake"]
[[limit]]
characteristic = "stem diameter"
stations = ["top", "bottom"]
judge = "smallest"
service_min = "7.900 mm"
[[limit]]
characteristic = "guide clearance"
valves = ["intake"]
directions = ["along"]
method = "rock"
lift = "8 mm"
valve_used = "own"
figure = "travel"
service_max = "0.200 mm"
[[limit]]
characteristic = "stand-down"
service_max = "1.60 mm"
[[zero]]
gauge = "depth gauge"
on = "on the head's face"
shows = "0.00 mm"
"""
SHEET = load(TEXT, "s.toml")
PLAN = plan_for(SHEET)
STEM, ROCK, BEFORE, DEPTH, AFTER = 0, 4, 6, 7, 9
"""Stems of 1I and 2I top and bottom; a rock each; the zero before; stand-down of each; after."""

GAUGES = {
    "M1": Gauge("M1", "micrometer", "Micrometer", "1", "none", 1_900_000, "2026-06-30"),
    "I1": Gauge("I1", "indicator", "Indicator", "2", "none", 1_500_000, "2026-06-30"),
    "D1": Gauge("D1", "depth gauge", "Depth gauge", "3", "none", 8_500_000, "2026-06-30"),
}
OF = {gauge.kind: mark for mark, gauge in GAUGES.items()}
GOOD = {"micrometer": "7.950", "depth gauge": "1.20"}
_ROCKED = sweep(travel_um=120)
TRACE = Trace("mm", 10**6, tuple(100_000 * n for n in range(len(_ROCKED))),
              tuple(um * 10**6 for um in _ROCKED), tuple(f"{um / 1000:.3f}" for um in _ROCKED),
              )  # fmt: skip
ANALYSIS = analyse_trace(TRACE, 1_500_000)
DAY = "2026-01-02"


@dataclass
class Head:
    """A head on the bench: its session, and the record beside it."""

    stage: str = "final"
    earlier: Sequence[Reading] = ()
    session: Session = field(init=False)
    record: list[tuple[int, Event]] = field(default_factory=list)
    day: str = DAY

    def __post_init__(self) -> None:
        """Open the job."""
        self.session = self._session()
        self.put(JobOpened(self.stamp(), "J1", "pump head", "1", self.stage, SHEET.name, "1", TEXT,
                           SHEET.sha256, tuple(GAUGES.values()), True, "simulated",
                           "t"))  # fmt: skip

    def stamp(self) -> Stamp:
        """Stamp the next event; a counter stands for both clocks."""
        number = len(self.record)
        return Stamp(f"{self.day}T00:00:00.{number:06}Z", number * 10**9, "A. N.", "bench 1")

    def do(self, command: Command) -> list[int]:
        """Carry out a command; give the record places of its events."""
        return [self.put(event) for event in self.session.decide(command, self.stamp())]

    def put(self, event: Event) -> int:
        """Put an event on record, and take in what the record holds of it."""
        place = len(self.record)
        kept = from_document(canonical.parse_document(canonical.encode(to_document(event))))
        assert kept == event
        self.record.append((place, kept))
        self.session.apply(place, kept)
        return place

    def value(self, gauge: str, text: str) -> int:
        """Let a gauge send a value."""
        shown = parse_length(f"{text} mm")
        return self.do(ValueArrived(gauge, shown, text.encode()))[-1]

    def at(self, step: int, text: str = "") -> int:
        """Measure a step, whatever its state, with a good value if none is given."""
        self.session.go(step)
        kind = PLAN[step].gauge_kind
        if PLAN[step].sweep:
            return self.do(SweepArrived(OF[kind], TRACE, b"sweep", True, ()))[-1]
        if PLAN[step].position.characteristic == "zero check":
            return self.value(OF[kind], text or "0.00")
        # what stands still or is sent twice is asked about, so no value is like the one before
        return self.value(OF[kind], text or f"{GOOD[kind][:-1]}{step % 10}")

    def measure(self) -> None:
        """Measure what is open, in order, all of it good."""
        for step in range(len(PLAN)):
            if self.session.is_open(step):
                self.at(step)

    def look(self) -> None:
        """Look at everything that is required, and find it sound."""
        for check, look in CHECKS.items():
            if look.required:
                self.do(Inspect(check, by="B. T."))

    def judgement(self) -> Judgement:
        """Judge what counts."""
        return judge_session(SHEET, self.session, {
            place: ANALYSIS for place, event in self.record if isinstance(event, SweepTaken)
        })  # fmt: skip

    def blocks(self) -> list[Block]:
        """List what stands against a release."""
        return blocks(self.session, self.judgement(), self.day)

    def words(self) -> list[str]:
        """The same in words."""
        return [block.words for block in self.blocks()]

    def sign(self, judged: Judged, by: str = "C. D.", reason: str = "agreed") -> int:
        """Sign a deviation for a verdict."""
        (place,) = self.do(
            SignDeviation(judged.valve, judged.characteristic, judged.method, judged.limit,
                          value_text(judged), judged.places, by, reason)
        )  # fmt: skip
        return place

    def release(self, by: str = "C. D.", words: str = "") -> int:
        """Release the head."""
        (place,) = self.do(Release(by, words, self.judgement(), self.session.seen))
        return place

    def write(self, path: Path) -> Path:
        """Write the record to a file."""
        with SqliteStore.create(path, key=KEY) as store:
            store.append([to_document(event) for _, event in self.record])
            store.publish_head(self.stamp().utc)
        return path

    def replayed(self) -> Session:
        """Feed the record to a new session."""
        again = self._session()
        for place, event in self.record:
            again.apply(place, event)
        return again

    def _session(self) -> Session:
        return Session(PLAN, dict(GAUGES), self.stage, sheet=SHEET, earlier=self.earlier)


def ready() -> Head:
    """A head that nothing stands against."""
    head = Head()
    head.measure()
    head.look()
    return head
