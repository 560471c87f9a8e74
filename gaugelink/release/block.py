"""One thing that stands against releasing a head, and what it may be signed for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, get_args

from gaugelink.events import ReadingAssigned, ReadingParked, ReadingTaken, SweepTaken
from gaugelink.head import ZERO_CHECK, cylinder_at
from gaugelink.quantity import exact_text

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gaugelink.course import Course
    from gaugelink.events import DeviationSigned
    from gaugelink.head import Position
    from gaugelink.judging import Judged
    from gaugelink.quantity import Displayed

Kind = Literal[
    "condemned",
    "outside",
    "undecided",
    "surprise",
    "doubtful",
    "stale",
    "sweep not usable",
    "skipped",
    "not measured",
    "question open",
    "zero check",
    "calibration",
    "not inspected",
]
KINDS: Final[tuple[Kind, ...]] = get_args(Kind)
"""What can stand against a release, in the order of listing."""


EXPECTED: Final = "expected "
"""How the limit of a surprise begins, which no limit of a sheet does."""


@dataclass(frozen=True, slots=True)
class Signable:
    """What a deviation can be signed for: a verdict that is not within, or a surprise.

    Attributes:
        valve: the valve; empty: the head.
        characteristic: what was judged or foretold.
        method: by which method.
        limit: the limit in words; of a surprise, what was expected.
        value: the value, exact text with its unit.
        places: record places of the readings used.
    """

    valve: str
    characteristic: str
    method: str
    limit: str
    value: str
    places: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Block:
    """One thing that stands against releasing a head.

    Attributes:
        kind: what sort of thing.
        valve: the valve; empty: the head, or a gauge.
        what: the characteristic, the check, or the gauge.
        why: what is the matter, and what to do.
        step: the step of the plan where it is put right; None where measuring does not help.
        judged: the verdict, where it is one.
        sign: what a deviation may be signed for; None where none may.
        strike: the record place of a zero check that may have been wrong itself; None: there is
            none.
        gauge: the gauge of that check; empty: none.
    """

    kind: Kind
    valve: str
    what: str
    why: str
    step: int | None = None
    judged: Judged | None = None
    sign: Signable | None = None
    strike: int | None = None
    gauge: str = ""

    @property
    def words(self) -> str:
        """The block in plain words.

        >>> Block("stale", "3E", "stand-down", "stale after seat cut; measure again", 44).words
        '3E stand-down: stale after seat cut; measure again'
        """
        return f"{self.valve} {self.what}: {self.why}".strip()


def signable(judged: Judged) -> Signable:
    """Say what is signed for a verdict."""
    return Signable(judged.valve, judged.characteristic, judged.method, judged.limit,
                    value_text(judged), judged.places)  # fmt: skip


def value_text(judged: Judged) -> str:
    """Write the value of a verdict exactly, as a deviation is signed for it."""
    return f"{exact_text(judged.value_pm, judged.unit)} {judged.unit}"


def signed(paper: Signable, course: Course) -> tuple[int, DeviationSigned] | None:
    """Find the deviation that was signed for exactly this; None where there is none."""
    for place, event in reversed(course.signoff.deviations):
        if place not in course.signoff.withdrawn and paper == Signable(
            event.valve,
            event.characteristic,
            event.method,
            event.limit,
            event.value,
            event.places,
        ):
            return place, event
    return None


@dataclass(frozen=True, slots=True)
class Read:
    """A reading or sweep that counts: with what and when it was measured."""

    position: Position
    gauge: str
    place: int
    day: str
    shown: Displayed | None


def readings(course: Course) -> Iterator[tuple[int, Read]]:
    """Go through what counts, by step; a value of the tray was measured when it came."""
    for number, place in sorted(course.filled.items()):
        event = course.history[place].event
        if isinstance(event, SweepTaken):
            yield (
                number,
                Read(event.tag.position, event.tag.gauge, place, event.stamp.utc[:10], None),
            )
        elif isinstance(event, ReadingTaken):
            yield number, Read(event.tag.position, event.tag.gauge, place, event.stamp.utc[:10],
                               event.shown)  # fmt: skip
        elif isinstance(event, ReadingAssigned):
            parked = course.history[event.parked].event
            assert isinstance(parked, ReadingParked)
            yield number, Read(event.tag.position, event.tag.gauge, event.parked,
                               parked.stamp.utc[:10], parked.shown)  # fmt: skip


def what(position: Position) -> str:
    """Name what is measured at a place, or whose zero is checked there."""
    if position.characteristic == ZERO_CHECK:
        return f"zero check of the {position.station}"
    at = cylinder_at(position.characteristic, position.station)
    return named(position.characteristic, position.method, at)


def named(characteristic: str, method: str, cylinder: int | None = None) -> str:
    """Name what was measured; clearance by rock and from the sizes are two things.

    >>> named("guide clearance", "rock"), named("injector protrusion", "", 3)
    ('guide clearance by rock', 'injector protrusion of cylinder 3')
    """
    if cylinder is not None:
        return f"{characteristic} of cylinder {cylinder}"
    if method == "rock":
        return f"{characteristic} by rock"
    return f"{characteristic}, direct" if method else characteristic


def places(count: int) -> str:
    """Say how many places one line stands for; empty for one."""
    return f" ({count} places)" if count > 1 else ""
