"""What people have said and signed about a head: inspections, deviations, and the release.

Told by events of the record only, so that a bench that lost its power knows what it knew before.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gaugelink.events import (
    ChamberFilled,
    DeviationSigned,
    HeadReleased,
    Inspected,
    PositionSkipped,
    ReadingAssigned,
    ReadingStruckOut,
    ReadingTaken,
    SpringTested,
    SweepTaken,
    WorkDone,
)
from gaugelink.head import parse_valve
from gaugelink.inspection import CHECKS, VOIDS, Check
from gaugelink.work import CHAMBER_WORK

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable

    from gaugelink.events import Event


@dataclass(frozen=True, slots=True)
class Looked:
    """What is known of one check of one valve, or of the head.

    Attributes:
        place: the record place of the inspection.
        event: the inspection.
        void: the work since, which makes it void; empty where it still says something.
    """

    place: int
    event: Inspected
    void: str = ""


@dataclass(frozen=True, slots=True)
class Loaded:
    """What is known of the load of one spring.

    Attributes:
        place: the record place where it was told.
        event: what was told.
        void: the work since, after which another spring stands there; empty where it still counts.
    """

    place: int
    event: SpringTested
    void: str = ""


@dataclass(frozen=True, slots=True)
class Filled:
    """What is known of the volume of one chamber.

    Attributes:
        place: the record place where it was told.
        event: what was told.
        void: the work since, after which it is another volume; empty where it still counts.
    """

    place: int
    event: ChamberFilled
    void: str = ""


@dataclass(slots=True)
class SignOff:
    """What people have said and signed.

    Attributes:
        inspections: all of them, each with its place in the record.
        springs: loads that were told, all of them.
        chambers: volumes of chambers that were told, all of them.
        deviations: all of them.
        release: the last release; None where there never was one.
        taken_back: why that release no longer holds; empty while it does.
        withdrawn: inspections and deviations that were struck out, and why.
    """

    inspections: list[tuple[int, Inspected]] = field(default_factory=list)
    springs: list[tuple[int, SpringTested]] = field(default_factory=list)
    chambers: list[tuple[int, ChamberFilled]] = field(default_factory=list)
    deviations: list[tuple[int, DeviationSigned]] = field(default_factory=list)
    release: tuple[int, HeadReleased] | None = None
    taken_back: str = ""
    withdrawn: dict[int, str] = field(default_factory=dict)

    @property
    def released(self) -> bool:
        """Whether the head is released, and nothing has happened since that takes it back."""
        return self.release is not None and not self.taken_back

    def apply(self, place: int, event: Event, counting: Collection[int]) -> None:
        """Take in an event of the record.

        Args:
            place: its place.
            event: any event.
            counting: record places of the readings that counted before it.
        """
        match event:
            case Inspected():
                self.inspections.append((place, event))
                if not event.sound:
                    owner = ", ".join(event.valves) or "head"
                    self._take_back(f"condemned: {event.check} ({owner}), {event.words}")
            case SpringTested(valve=valve):
                self.springs.append((place, event))
                self._take_back(f"measured since: the spring's load at {valve}")
            case ChamberFilled(cylinder=cylinder):
                self.chambers.append((place, event))
                self._take_back(f"measured since: the chamber of cylinder {cylinder}")
            case DeviationSigned():
                self.deviations.append((place, event))
            case HeadReleased():
                self.release, self.taken_back = (place, event), ""
            case ReadingTaken(tag=tag) | SweepTaken(tag=tag) | ReadingAssigned(tag=tag):
                self._take_back(f"measured since: {tag.position.words}")
            case PositionSkipped(position=position):
                self._take_back(f"skipped since: {position.words}")
            case WorkDone():
                on = f" on {', '.join(event.valves)}" if event.valves else ""
                self._take_back(f"work since: {event.operation}{on}")
            case ReadingStruckOut(struck=struck, reason=reason):
                self._strike(struck, reason, counting)
            case _:
                pass

    def knows(self, place: int) -> bool:
        """Tell whether an inspection, a deviation or the release stands at a record place."""
        return self.release_at(place) or any(
            at == place
            for at, _ in (*self.inspections, *self.springs, *self.chambers, *self.deviations)
        )

    def release_at(self, place: int) -> bool:
        """Tell whether the last release stands at a record place."""
        return self.release is not None and self.release[0] == place

    def over(self, place: int) -> str:
        """Say why what stands at a record place counts no longer; empty while it does."""
        if self.release_at(place):
            return self.taken_back
        return self.withdrawn.get(place, "")

    def _strike(self, struck: int, reason: str, counting: Collection[int]) -> None:
        if self.release_at(struck):
            self._take_back(f"taken back: {reason}")
        elif self.knows(struck):
            self.withdrawn[struck] = reason
            what = "an inspection or a deviation"
            if any(at == struck for at, _ in self.springs):
                what = "the load of a spring"
            elif any(at == struck for at, _ in self.chambers):
                what = "the volume of a chamber"
            self._take_back(f"{what} was struck out since: {reason}")
        elif struck in counting:
            self._take_back(f"a reading was struck out since: {reason}")

    def _take_back(self, why: str) -> None:
        if self.released:
            self.taken_back = why

    def tested(self, done: Iterable[tuple[int, WorkDone]]) -> dict[str, Loaded]:
        """Give the last load told of every spring, by valve, where there is one.

        Args:
            done: the work, each with its place in the record; a spring that was changed makes
                void what was told of the one before.
        """
        found = {event.valve: Loaded(place, event) for place, event in self.springs
                 if place not in self.withdrawn}  # fmt: skip
        for place, work in done:
            if work.operation == "spring changed":
                for valve in work.valves:
                    last = found.get(valve)
                    if last is not None and last.place < place and not last.void:
                        found[valve] = Loaded(last.place, last.event, work.operation)
        return found

    def filled(self, done: Iterable[tuple[int, WorkDone]]) -> dict[int, Filled]:
        """Give the last volume told of every chamber, by cylinder, where there is one.

        Args:
            done: the work, each with its place in the record; what gives a chamber another volume
                makes void what was told of it before.
        """
        found = {event.cylinder: Filled(place, event) for place, event in self.chambers
                 if place not in self.withdrawn}  # fmt: skip
        for place, work in done:
            if work.operation not in CHAMBER_WORK:
                continue
            touched = {parse_valve(valve).cylinder for valve in work.valves} or set(found)
            for cylinder in touched & set(found):
                last = found[cylinder]
                if last.place < place and not last.void:
                    found[cylinder] = Filled(last.place, last.event, work.operation)
        return found

    def looked(
        self, valves: Iterable[str], done: Iterable[tuple[int, WorkDone]]
    ) -> dict[tuple[Check, str], Looked]:
        """Give the last inspection of every check of every valve, where there is one.

        Args:
            valves: the valves of the head; the head itself is the empty name.
            done: the work, each with its place in the record.
        """
        of: dict[str, tuple[str, ...]] = {"valve": tuple(valves), "head": ("",)}
        found: dict[tuple[Check, str], Looked] = {}
        for place, event in self.inspections:
            if place in self.withdrawn:
                continue
            every = of[CHECKS[event.check].of]
            for valve in every:
                if not event.valves or valve in event.valves:
                    found[event.check, valve] = Looked(place, event)
        for place, work in done:
            voided = VOIDS[work.operation] if work.voids is None else work.voids
            for (check, valve), looked in found.items():
                if (
                    check in voided
                    and looked.place < place
                    and not looked.void
                    and (not work.valves or not valve or valve in work.valves)
                ):
                    found[check, valve] = Looked(looked.place, looked.event, work.operation)
        return found
