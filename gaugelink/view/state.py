"""The state of a bench, as its page draws it."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from itertools import islice
from typing import TYPE_CHECKING, Any, Final

from gaugelink.capture.measured import judge_session
from gaugelink.events import SweepTaken
from gaugelink.head import CHARACTERISTICS, ZERO_CHECK, Valve, part_of
from gaugelink.planning.compared import compared_in
from gaugelink.planning.doubt import Doubt, doubts
from gaugelink.view.faults import decider_documents, fault_documents
from gaugelink.view.forecast import forecast_documents, next_expected
from gaugelink.view.order import order_document, sizes_document
from gaugelink.view.parts import (
    Document,
    entry_document,
    gauge_document,
    limit_for_reading,
    mm,
    um,
    verdict_document,
)
from gaugelink.view.release import release_document
from gaugelink.view.sweeps import SweepView, sweep_document, sweep_headline
from gaugelink.work import WORK

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gaugelink.capture.bench import Bench
    from gaugelink.capture.channel import Channel
    from gaugelink.events import JobOpened
    from gaugelink.judging import Judged, Judgement
    from gaugelink.limits import Sheet
    from gaugelink.planning.forecast import Compared

MOST_READINGS: Final = 400
MOST_TRAY: Final = 100
MOST_MESSAGES: Final = 20
_WORST_FIRST: Final = ("outside", "undecided", "within")


@dataclass(slots=True)
class JobView:
    """A bench and its job, seen from outside. Judging is repeated only when something changed."""

    bench: Bench
    sheet: Sheet
    job: JobOpened
    messages: list[Document] = field(default_factory=list)
    finished_utc: str = ""
    _judged_at: int = -1
    _judgement: Judgement | None = None
    _headlines: dict[int, Document] = field(default_factory=dict)
    _compared_at: int = -1
    _compared: list[Compared] | None = None
    _doubts_at: int = -1
    _doubts: dict[int, Doubt] | None = None

    @property
    def sized(self) -> Sheet:
        """The limits, with those of an oversize where a guide or a valve is of one."""
        return self.sheet.sized(self.bench.session.sizes)

    def judgement(self) -> Judgement:
        """Give the verdicts as of now."""
        if self._judgement is None or self._judged_at != self.bench.version:
            self._judged_at = self.bench.version
            self._judgement = judge_session(self.sheet, self.bench.session, self.bench.analyses)
        return self._judgement

    def settled(self) -> list[Judged]:
        """Give the verdicts without those that are undecided only because measuring goes on."""
        session = self.bench.session
        still_open = {
            (step.position.valve, step.position.characteristic)
            for number, step in enumerate(session.plan)
            if session.is_open(number)
        }

        def waits(item: Judged) -> bool:
            names = (item.characteristic, *CHARACTERISTICS[item.characteristic].reckoned_from)
            return any((item.valve, name) in still_open for name in names)

        return [
            item
            for item in self.judgement().verdicts
            if item.verdict != "undecided" or not waits(item)
        ]

    def say(self, level: str, words: str) -> None:
        """Keep a sentence for the operator, newest first."""
        self.messages.insert(0, {"level": level, "words": words, "utc": self.bench.clock.utc()})
        del self.messages[MOST_MESSAGES:]

    def job_document(self) -> Document:
        """Write what the job is."""
        job = self.job
        return {
            "name": job.job,
            "head": job.head,
            "serial": job.serial,
            "sheet": f"{job.sheet_name}, edition {job.sheet_edition}",
            "source": self.sheet.source,
            "stage": job.stage,
            "operator": job.stamp.operator,
            "bench": job.stamp.bench,
            "invented": job.invented,
            "started": job.stamp.utc,
            "finished": self.finished_utc or None,
        }

    def gauges(self) -> list[Document]:
        """Write the gauges of the bench."""
        found = []
        for channel in self.bench.channels.values():
            last = channel.last
            cable = self.bench.cable_of(channel.gauge.id)
            found.append(
                gauge_document(
                    channel.gauge,
                    cable.port.name,
                    self._gauge_state(channel),
                    last.shown.text if last else "",
                    last.shown.unit if last else "",
                    cable.link,
                )
            )
        return found

    def _gauge_state(self, channel: Channel) -> str:
        gauge, standing = channel.gauge.id, self.bench.session.standing
        if not self.bench.cable_of(gauge).here:
            return "lost"
        if gauge in standing.unconfirmed:
            return "back, confirm the position"
        if gauge in standing.zero:
            return "check the zero"
        return "battery low" if gauge in standing.battery else "here"

    def head_document(self) -> Document:
        """Write the head in plan, with the state of every valve and point."""
        session, head = self.bench.session, self.sheet.head
        steps: dict[str, list[int]] = {}
        for number, step in enumerate(session.plan):
            steps.setdefault(step.position.valve, []).append(number)
        now = session.step.position.valve if session.step else None
        by_valve: dict[str, list[Judged]] = {}
        for item in self.settled():
            by_valve.setdefault(item.valve, []).append(item)
        return {
            "cylinders": head.cylinders,
            "kinds": list(head.kinds),
            "face": self._face(),
            "valves": [
                self._valve(valve, steps.get(valve.name, []), by_valve.get(valve.name, []), now)
                for valve in head.valves()
            ],
        }

    def _valve(
        self, valve: Valve, steps: list[int], judged: list[Judged], now: str | None
    ) -> Document:
        session = self.bench.session
        done = sum(number in session.filled for number in steps)
        closed = sum(not session.is_open(number) for number in steps)
        worst = worst_of(judged)
        state = "open"
        if worst is not None and worst.verdict == "outside":
            state = "outside"
        elif valve.name == now:
            state = "measuring"
        elif steps and closed == len(steps):
            state = worst.verdict if worst else "skipped"
        return {
            "name": valve.name,
            "cylinder": valve.cylinder,
            "kind": valve.kind,
            "state": state,
            "done": done,
            "of": len(steps),
            "worst": verdict_document(worst) if worst else None,
        }

    def _face(self) -> Document | None:
        face = self.sheet.head.face
        if face is None:
            return None
        heights = {
            item.tag.position.station: item.shown.pm
            for item in self.bench.session.readings()
            if item.tag.position.characteristic == "face height"
        }
        return {
            "length_mm": mm(face.length_pm),
            "width_mm": mm(face.width_pm),
            "points": [
                {"station": station, "x_mm": mm(x), "y_mm": mm(y),
                 "value_um": um(heights.get(station))}
                for station, (x, y) in face.points().items()
            ],
        }  # fmt: skip

    def next_document(self) -> Document | None:
        """Write what is asked for next; None when nothing is."""
        session = self.bench.session
        step = session.step
        if step is None:
            return None
        position = step.position
        limit = limit_for_reading(self.sized, position)
        words = limit.words if limit else ""
        zero = self.sheet.zero_of(step.gauge_kind)
        if zero is not None and position.characteristic == ZERO_CHECK:
            words = f"{zero.on}, it has to show {zero.shows}"
        gauge = next(
            (item.id for item in session.gauges.values() if item.kind == step.gauge_kind), ""
        )
        return {
            "step": session.cursor,
            "valve": position.valve or None,
            "characteristic": position.characteristic,
            "station": position.station,
            "direction": position.direction,
            "gauge": gauge,
            "gauge_kind": step.gauge_kind,
            "own_button": self._has_own_button(gauge),
            "sweep": step.sweep,
            "part": part_of(position.characteristic),
            "words": position.words,
            "limit_words": words,
            "lower_mm": mm(limit.lower.pm) if limit and limit.lower else None,
            "upper_mm": mm(limit.upper.pm) if limit and limit.upper else None,
            "again": session.again,
            "expected": next_expected(session),
        }

    def _has_own_button(self, gauge: str) -> bool:
        """Tell whether a gauge sends at its own button only, so that the page cannot take."""
        channel = self.bench.channels.get(gauge)
        return channel is not None and channel.driver.sends == "when pressed"

    def state(self) -> Document:
        """Write the whole state."""
        bench, session = self.bench, self.bench.session
        tray = session.tray()
        entries = [self.entry(place) for place in islice(reversed(session.history), MOST_READINGS)]
        taken = [item for item in entries if item["kind"] in {"reading", "sweep"}]
        return {
            "version": bench.version,
            "job": self.job_document(),
            "head": self.head_document(),
            "progress": {
                "done": len(session.filled),
                "of": len(session.plan),
                "skipped": len(session.skipped),
            },
            "next": self.next_document(),
            "question": self._question(),
            "live": self._live(),
            "gauges": self.gauges(),
            "last": taken[0] if taken else None,
            "readings": entries,
            # The newest of them: a gauge that nobody asked for can fill the tray for hours.
            "tray": [self.entry(entry.place) for entry in tray[-MOST_TRAY:]],
            "tray_count": len(tray),
            "order": order_document(session, self.compared()),
            "verdicts": [verdict_document(item) for item in self.settled()],
            "faults": fault_documents(self, self.settled()),
            "deciders": decider_documents(self, self.settled()),
            "forecast": forecast_documents(session, self.judgement().travels, self.compared()),
            "sweep": self._sweep(),
            "messages": list(self.messages),
            "record": {
                "size": bench.size,
                "root": bench.root.hex(),
                "log": bench.store.log,
            },
            "operations": [
                {
                    "name": name,
                    "concerns": work.concerns,
                    "depth": work.depth,
                    **sizes_document(self.sheet, name),
                }
                for name, work in WORK.items()
            ],
            "watching": bench.watch.on,
            "finished": session.finished,
            "release": release_document(
                session, self.judgement(), bench.clock.utc()[:10], compared=self.compared()
            ),
        }

    def _question(self) -> Document | None:
        """What is asked about the value that came last for the step."""
        question = self.bench.session.question
        return asdict(question) if question else None

    def _live(self) -> Document | None:
        """What the gauge that is asked for shows."""
        step = self.bench.session.step
        for channel in self.bench.channels.values():
            if step is not None and channel.gauge.kind == step.gauge_kind and channel.last:
                return live_document(channel.gauge.id, channel.last)
        return None

    def _sweep(self) -> Document | None:
        """The sweep that is running, else the last one on record."""
        bench = self.bench
        recorder = bench.recorder
        if recorder is not None and recorder.values:
            gauge = bench.session.gauges[recorder.gauge]
            trace, analysis = recorder.so_far(gauge.u_pm)
            position = bench.session.plan[recorder.step].position
            return sweep_document(self.sheet, SweepView(position, recorder.gauge, trace, analysis))
        last = bench.session.history.last_sweep()
        return None if last is None else self.sweep_at(last)

    def entry(self, place: int) -> Document:
        """Write one line of the history; a sweep shows the figure that came out of it."""
        session = self.bench.session
        document = entry_document(session, self.sized, session.history[place])
        if (doubt := self._doubted().get(place)) is not None:
            document["doubt"] = doubt.words
        if document["kind"] == "sweep" and document["state"] != "not usable":
            if place not in self._headlines:
                self._headlines[place] = sweep_headline(self.sheet, self._sweep_view(place))
            document |= self._headlines[place]
        return document

    def compared(self) -> list[Compared]:
        """Give readings and sweeps beside what was foretold, as of now."""
        if self._compared is None or self._compared_at != self.bench.version:
            travels = self.judgement().travels
            self._compared_at = self.bench.version
            self._compared = compared_in(self.bench.session, travels)
        return self._compared

    def _doubted(self) -> dict[int, Doubt]:
        if self._doubts is None or self._doubts_at != self.bench.version:
            self._doubts_at, self._doubts = self.bench.version, doubts(self.bench.session)
        return self._doubts

    def sweep_at(self, place: int) -> Document:
        """Write the sweep at a place of the record, which must be one."""
        return sweep_document(self.sheet, self._sweep_view(place))

    def find_sweep(self, place: int) -> Document | None:
        """Write the sweep at a place of the record; None if there is none at that place."""
        entry = self.bench.session.history.get(place)
        if entry is None or not isinstance(entry.event, SweepTaken):
            return None
        return self.sweep_at(place)

    def _sweep_view(self, place: int) -> SweepView:
        event = self.bench.session.history[place].event
        assert isinstance(event, SweepTaken)
        return SweepView(event.tag.position, event.tag.gauge, event.trace,
                         self.bench.analyses[place], place, event.usable, event.flags)  # fmt: skip


def live_document(gauge: str, value: Any) -> Document:
    """Write what a gauge shows."""
    shown = value.shown
    return {"gauge": gauge, "text": shown.text, "unit": shown.unit, "mode": value.mode}


def worst_of(judged: Iterable[Judged]) -> Judged | None:
    """Pick the verdict that matters most: outside first, then the least likely to conform."""

    def rank(item: Judged) -> tuple[int, float]:
        probability = item.probability
        return _WORST_FIRST.index(item.verdict), 1.0 if probability is None else probability

    return min(judged, key=rank, default=None)
