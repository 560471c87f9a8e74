"""A small bench for the tests of the session: a plan, gauges, and a record in memory."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from gaugelink.deeds import Command, Mode, SweepArrived, ValueArrived
from gaugelink.event_documents import from_document, to_document
from gaugelink.plan import Step, plan_for
from gaugelink.quantity import parse_length
from gaugelink.reading import Gauge, Stamp, Trace
from gaugelink.record import canonical
from gaugelink.session import Session
from gaugelink.sheetfile import load

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gaugelink.events import Event

SHEET = """\
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
service_min = "7.9 mm"
[[limit]]
characteristic = "guide bore"
service_max = "8.1 mm"
[[limit]]
characteristic = "guide clearance"
valves = ["2I"]
method = "rock"
lift = "8 mm"
valve_used = "new"
figure = "travel"
service_max = "0.2 mm"
[[limit]]
characteristic = "stand-down"
valves = ["1I"]
service_max = "1.5 mm"
"""
PLAN: list[Step] = plan_for(load(SHEET, "s.toml"))
"""Steps 0 to 3 stems, 4 and 5 bores, 6 and 7 sweeps, 8 a stand-down."""

KINDS = {"M1": "micrometer", "B1": "bore gauge", "I1": "indicator", "D1": "depth gauge"}
GAUGES = {
    mark: Gauge(mark, kind, kind.capitalize(), "1", "none", 1_000_000, "2030-01-01")
    for mark, kind in KINDS.items()
}
SHOWN = parse_length("7.95 mm")
TRACE = Trace("mm", 10**6, (0, 10_000), (0, 10**6), ("0.000", "0.001"))


@dataclass
class Bench:
    """A session with a record beside it: what is decided is recorded, and only then taken in."""

    session: Session = field(default_factory=lambda: Session(PLAN, GAUGES, "as received"))
    record: list[tuple[int, Event]] = field(default_factory=list)
    sent: list[bytes] = field(default_factory=list)

    def stamp(self) -> Stamp:
        """Stamp the next event; a counter stands for both clocks."""
        number = len(self.record)
        return Stamp(f"2026-01-01T00:00:00.{number:06}Z", number, "A. N.", "bench 1")

    def do(self, command: Command) -> list[int]:
        """Carry out a command; give the record places of its events."""
        before = deepcopy(self.session)
        try:
            events = self.session.decide(command, self.stamp())
        finally:
            assert self.session == before, "deciding has changed something"
        return [self.put(event) for event in events]

    def put(self, event: Event) -> int:
        """Put an event on record, and take in what the record holds of it."""
        place = len(self.record)
        kept = from_document(canonical.parse_document(canonical.encode(to_document(event))))
        assert kept == event
        self.record.append((place, kept))
        self.session.apply(place, kept)
        return place

    def value(self, gauge: str, mode: Mode = "actual") -> int:
        """Let a gauge send a value; give the place of the event that holds it."""
        raw = f"value {len(self.sent)}".encode()
        self.sent.append(raw)
        return self.do(ValueArrived(gauge, SHOWN, raw, mode))[-1]

    def sweep(self, gauge: str = "I1", *, usable: bool = True) -> int:
        """Let a recorded sweep end; give its place."""
        raw = f"sweep {len(self.sent)}".encode()
        flags = () if usable else ("too few rocks", "too fast")
        place = self.do(SweepArrived(gauge, TRACE, raw, usable, flags))[-1]
        self.sent.append(raw)
        return place

    def values(self, gauges: Iterable[str]) -> list[int]:
        """Let several gauges send a value each."""
        return [self.value(gauge) for gauge in gauges]

    def replayed(self) -> Session:
        """Feed the record to a new session."""
        again = Session(PLAN, GAUGES, "as received")
        for place, event in self.record:
            again.apply(place, event)
        return again


def state(session: Session) -> dict[str, Any]:
    """What a session knows, but for what is asked for now."""
    return {
        "filled": session.filled,
        "skipped": session.skipped,
        "history": session.history,
        "standing": session.standing,
    }
