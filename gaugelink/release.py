"""What stands against releasing a head, in plain words, and where a person goes to put it right.

A head is released only when every reading that the limits need is there, is not stale, and is
within, or a deviation is signed for it; when the gauges were in calibration on the day and passed
the check of their zero after the series; and when everything that is looked at was found sound.
Nothing here is a matter of opinion of this program: each block names what is missing on record.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, get_args

from gaugelink.events import (
    DeviationSigned,
    PositionSkipped,
    ReadingAssigned,
    ReadingParked,
    ReadingTaken,
    SweepTaken,
)
from gaugelink.head import CHARACTERISTICS, ZERO_CHECK, Position, zero_check_of
from gaugelink.inspection import CHECKS
from gaugelink.quantity import exact_text
from gaugelink.slips import read_note
from gaugelink.slips.zero import zero_off

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from gaugelink.course import Course
    from gaugelink.judging import Judged, Judgement
    from gaugelink.quantity import Displayed

Kind = Literal[
    "condemned",
    "outside",
    "undecided",
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


@dataclass(frozen=True, slots=True)
class Block:
    """One thing that stands against releasing a head.

    Attributes:
        kind: what sort of thing.
        valve: the valve; empty: the head, or a gauge.
        what: the characteristic, the check, or the gauge.
        why: what is the matter, and what to do.
        step: the step of the plan where it is put right; None where measuring does not help.
        judged: the verdict, where a deviation may be signed for it.
    """

    kind: Kind
    valve: str
    what: str
    why: str
    step: int | None = None
    judged: Judged | None = None

    @property
    def words(self) -> str:
        """The block in plain words.

        >>> Block("stale", "3E", "stand-down", "stale after seat cut; measure again", 44).words
        '3E stand-down: stale after seat cut; measure again'
        """
        return f"{self.valve} {self.what}: {self.why}".strip()


def valves_of(course: Course) -> tuple[str, ...]:
    """Name the valves of a head from the front; those of the plan where there is no sheet."""
    if course.sheet is not None:
        return tuple(valve.name for valve in course.sheet.head.valves())
    named = (step.position.valve for step in course.plan)
    return tuple(dict.fromkeys(valve for valve in named if valve))


def blocks(course: Course, judgement: Judgement, today: str) -> list[Block]:
    """List what stands against releasing a head; nothing does where the list is empty.

    Args:
        course: where the session stands, with its sheet and gauges.
        judgement: everything that counts in it, held against the sheet.
        today: today's date, ISO 8601; a gauge whose calibration is over today cannot measure what
            is still to be measured.
    """
    found = [
        *_inspections(course, valves_of(course)),
        *_verdicts(course, judgement),
        *_steps(course),
        *_left_over(course, judgement),
        *_questions(course),
        *_zero_checks(course),
        *_calibration(course, today),
    ]
    return sorted(found, key=lambda block: KINDS.index(block.kind))


def value_text(judged: Judged) -> str:
    """Write the value of a verdict exactly, as a deviation is signed for it."""
    return f"{exact_text(judged.value_pm, judged.unit)} {judged.unit}"


def signed_for(judged: Judged, course: Course) -> tuple[int, DeviationSigned] | None:
    """Find the deviation that was signed for exactly this verdict; None where there is none."""
    for place, event in reversed(course.signoff.deviations):
        if place not in course.signoff.withdrawn and (
            event.valve,
            event.characteristic,
            event.method,
            event.limit,
            event.value,
            event.places,
        ) == (
            judged.valve,
            judged.characteristic,
            judged.method,
            judged.limit,
            value_text(judged),
            judged.places,
        ):
            return place, event
    return None


# ---- what people look at ------------------------------------------------------------------------


def _inspections(course: Course, valves: Sequence[str]) -> Iterator[Block]:
    looked = course.signoff.looked(valves, course.work)
    for check, look in CHECKS.items():
        for valve in valves if look.of == "valve" else ("",):
            last = looked.get((check, valve))
            if last is None:
                if look.required:
                    yield Block("not inspected", valve, check, "not looked at yet")
            elif last.void:
                why = f"looked at before this work: {last.void}; look again"
                yield Block("not inspected", valve, check, why)
            elif not last.event.sound:
                yield Block(
                    "condemned", valve, check, f"condemned by {last.event.by}: {last.event.words}"
                )


# ---- what was measured --------------------------------------------------------------------------


def _verdicts(course: Course, judgement: Judgement) -> Iterator[Block]:
    waiting = {
        (step.position.valve, step.position.characteristic)
        for number, step in enumerate(course.plan)
        if number not in course.filled
    }
    for judged in judgement.verdicts:
        if judged.verdict == "within" or signed_for(judged, course):
            continue
        if judged.verdict == "undecided" and any(
            (judged.valve, name) in waiting for name in _names(judged.characteristic)
        ):
            continue  # that a place is missing is said already
        value = f"{judged.text} {judged.unit}"
        why = f"{judged.verdict}, {value} against {judged.limit}"
        if judged.verdict == "undecided":
            why += f" ({judged.reason})" if judged.reason else ""
        steps = [course.history[place].step for place in judged.places]
        step = min((step for step in steps if step is not None), default=None)
        what = _named(judged.characteristic, judged.method)
        yield Block(judged.verdict, judged.valve, what, why, step, judged)


def _steps(course: Course) -> Iterator[Block]:
    """Go through the places without a reading, those of one characteristic of one valve as one."""
    found: dict[tuple[Kind, str, str, str, str], list[int]] = {}
    last = _last_lines(course)
    for number, step in enumerate(course.plan):
        if number in course.filled:
            continue
        kind, why, advice = _why_open(course, number, last)
        if zero_check_of(step.position) is not None:
            kind = "zero check"
        key = kind, step.position.valve, _what(step.position), why, advice
        found.setdefault(key, []).append(number)
    for (kind, valve, what, why, advice), numbers in found.items():
        yield Block(kind, valve, what, f"{why}{_places(len(numbers))}{advice}", numbers[0])


def _last_lines(course: Course) -> dict[int, int]:
    """For each step, the record place of the last reading or sweep that did not become another."""
    return {
        line.step: place
        for place, line in sorted(course.history.items())
        if line.step is not None
        and not line.struck
        and isinstance(line.event, ReadingTaken | ReadingAssigned | SweepTaken | PositionSkipped)
    }


def _why_open(course: Course, number: int, last: dict[int, int]) -> tuple[Kind, str, str]:
    """Say why a place has no reading, and what to do."""
    if number in course.skipped:
        return "skipped", f"skipped ({course.skipped[number]})", "; measure it"
    line = course.history.get(last.get(number, -1))
    if line is not None and isinstance(line.event, SweepTaken) and not line.event.usable:
        flags = "; ".join(line.event.flags)
        return "sweep not usable", f"the sweep is not usable ({flags})", "; rock again"
    if line is not None and line.stale:
        return "stale", f"stale after {line.stale}", "; measure again"
    return "not measured", "not measured yet", ""


def _left_over(course: Course, judgement: Judgement) -> Iterator[Block]:
    """Go through the limits that could not be judged though every place has its reading."""
    waiting = {
        (step.position.valve, step.position.characteristic)
        for number, step in enumerate(course.plan)
        if number not in course.filled
    }
    for item in judgement.missing:
        if not any((item.valve, name) in waiting for name in _names(item.characteristic)):
            what = _named(item.characteristic, item.method)
            why = f"not judged{': ' if item.why else ''}{item.why}"
            yield Block("not measured", item.valve, what, why)


def _questions(course: Course) -> Iterator[Block]:
    """Go through values that look like a slip and came after the reading that counts.

    Somebody measured the place again, got something else, and left it: the reading that counts is
    in doubt. A value that came before it was answered by measuring again.
    """
    step_of = {step.position.words: number for number, step in enumerate(course.plan)}
    for line in course.tray():
        if not isinstance(line.event, ReadingParked):
            continue
        noted = read_note(line.event.why)
        number = step_of.get(noted.place_words) if noted else None
        if noted is None or number is None or noted.code == "double send":
            continue
        if line.place > course.filled.get(number, line.place):
            position = course.plan[number].position
            why = f"{line.event.shown} came after it and was left in the tray; measure again"
            yield Block("question open", position.valve, _what(position), why, number)


# ---- the gauges ---------------------------------------------------------------------------------


def _zero_checks(course: Course) -> Iterator[Block]:
    """Hold the checks that were made against what is due, and against what they stand for."""
    readings = dict(_readings(course))
    series: list[int] = []
    for number, step in enumerate(course.plan):
        check = zero_check_of(step.position)
        if check is None:
            series.append(number)
            continue
        kind, when = check
        taken = readings.get(number)
        if taken is not None and taken.shown is not None:
            gauge = course.gauges[taken.gauge]
            zero = course.sheet.zero_of(kind) if course.sheet else None
            off = zero_off(taken.shown, gauge, zero, when)
            if off is not None:
                yield Block("zero check", "", _what(step.position), f"off, {off.words}", number)
            if when == "after":
                yield from _not_covered(course, [(n, readings[n]) for n in series if n in readings],
                                        taken, number)  # fmt: skip
        series = []


def _not_covered(
    course: Course, series: Iterable[tuple[int, _Read]], check: _Read, number: int
) -> Iterator[Block]:
    """Go through readings that the check after their series says nothing about."""
    later: dict[tuple[str, str], int] = {}
    for at, reading in series:
        position = course.plan[at].position
        if reading.gauge != check.gauge:
            why = f"measured with {reading.gauge}, and the zero of {check.gauge} was checked after"
            yield Block("zero check", position.valve, _what(position),
                        f"{why}; measure again with {check.gauge}", at)  # fmt: skip
        elif reading.place > check.place:
            later.setdefault((position.valve, _what(position)), at)
    for valve, characteristic in later:
        why = f"measured after the zero check ({check.position.station}); check the zero again"
        yield Block("zero check", valve, characteristic, why, number)


def _calibration(course: Course, today: str) -> Iterator[Block]:
    over: dict[tuple[str, str, str], list[int]] = {}
    for number, reading in _readings(course):
        due = course.due_at(reading.gauge, reading.place)
        if not due:
            why = f"no calibration date of {reading.gauge} is known"
        elif reading.day > due:
            why = (
                f"measured on {reading.day}, and the calibration of {reading.gauge} ended on {due}"
            )
        else:
            continue
        key = reading.position.valve, _what(reading.position), why
        over.setdefault(key, []).append(number)
    for (valve, what, why), numbers in over.items():
        advice = "measure again with a gauge in calibration"
        words = f"{why}{_places(len(numbers))}; {advice}"
        yield Block("calibration", valve, what, words, numbers[0])
    for kind in dict.fromkeys(
        step.gauge_kind for number, step in enumerate(course.plan) if number not in course.filled
    ):
        dues = [gauge.calibration_due for gauge in course.gauges.values() if gauge.kind == kind]
        if dues and max(dues) < today:
            why = f"calibration ended on {max(dues)}" if max(dues) else "no calibration date known"
            yield Block("calibration", "", kind, f"{why}; what is left cannot be measured with it")


# ---- small --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Read:
    """A reading or sweep that counts: with what and when it was measured."""

    position: Position
    gauge: str
    place: int
    day: str
    shown: Displayed | None


def _readings(course: Course) -> Iterator[tuple[int, _Read]]:
    """Go through what counts, by step; a value of the tray was measured when it came."""
    for number, place in sorted(course.filled.items()):
        event = course.history[place].event
        if isinstance(event, SweepTaken):
            yield (
                number,
                _Read(event.tag.position, event.tag.gauge, place, event.stamp.utc[:10], None),
            )
        elif isinstance(event, ReadingTaken):
            yield number, _Read(event.tag.position, event.tag.gauge, place, event.stamp.utc[:10],
                                event.shown)  # fmt: skip
        elif isinstance(event, ReadingAssigned):
            parked = course.history[event.parked].event
            assert isinstance(parked, ReadingParked)
            yield number, _Read(event.tag.position, event.tag.gauge, event.parked,
                                parked.stamp.utc[:10], parked.shown)  # fmt: skip


def _names(characteristic: str) -> tuple[str, ...]:
    return characteristic, *CHARACTERISTICS[characteristic].reckoned_from


def _what(position: Position) -> str:
    if position.characteristic == ZERO_CHECK:
        return f"zero check of the {position.station}"
    return _named(position.characteristic, position.method)


def _named(characteristic: str, method: str) -> str:
    """Name what was measured; clearance by rock and from the sizes are two things.

    >>> _named("guide clearance", "rock"), _named("stand-down", "")
    ('guide clearance by rock', 'stand-down')
    """
    if method == "rock":
        return f"{characteristic} by rock"
    return f"{characteristic}, direct" if method else characteristic


def _places(count: int) -> str:
    return f" ({count} places)" if count > 1 else ""
