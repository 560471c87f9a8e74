"""What stands against releasing a head, in plain words, and where a person goes to put it right.

A head is released only when every reading that the limits need is there, is not stale, and is
within, or a deviation is signed for it; when the gauges were in calibration on the day and passed
the check of their zero after the series; and when everything that is looked at was found sound.
Nothing here is a matter of opinion of this program: each block names what is missing on record.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.events import (
    PositionSkipped,
    ReadingAssigned,
    ReadingParked,
    ReadingTaken,
    SweepTaken,
)
from gaugelink.head import CHARACTERISTICS, zero_check_of
from gaugelink.inspection import CHECKS
from gaugelink.release.block import KINDS, Block, Kind, named, places, signable, signed, what
from gaugelink.release.common import commons
from gaugelink.release.gauges import calibration, doubtful, zero_checks
from gaugelink.release.springs import springs
from gaugelink.release.surprises import surprises
from gaugelink.slips import read_note

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gaugelink.course import Course
    from gaugelink.judging import Judgement
    from gaugelink.planning.forecast import Compared


def valves_of(course: Course) -> tuple[str, ...]:
    """Name the valves of a head from the front; those of the plan where there is no sheet."""
    if course.sheet is not None:
        return tuple(valve.name for valve in course.sheet.head.valves())
    named = (step.position.valve for step in course.plan)
    return tuple(dict.fromkeys(valve for valve in named if valve))


def blocks(
    course: Course,
    judgement: Judgement,
    today: str,
    compared: Sequence[Compared] | None = None,
) -> list[Block]:
    """List what stands against releasing a head; nothing does where the list is empty.

    Args:
        course: where the session stands, with its sheet and gauges.
        judgement: everything that counts in it, held against the sheet.
        today: today's date, ISO 8601; a gauge whose calibration is over today cannot measure what
            is still to be measured.
        compared: what `gaugelink.planning.compared.compared_in` gives; None: it is reckoned here.
    """
    found = [
        *_inspections(course, valves_of(course)),
        *_verdicts(course, judgement),
        *springs(course),
        *commons(course, judgement),
        *surprises(course, judgement, compared),
        *doubtful(course),
        *_steps(course),
        *_left_over(course, judgement),
        *_questions(course),
        *zero_checks(course),
        *calibration(course, today),
    ]
    return sorted(found, key=lambda block: KINDS.index(block.kind))


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
        if judged.verdict == "within" or signed(signable(judged), course):
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
        at = None if step is None else course.plan[step].position
        # What a cylinder has one of is told from the places of that cylinder alone.
        owner = what(at) if at is not None and at.cylinder and not at.valve else named(
            judged.characteristic, judged.method)  # fmt: skip
        yield Block(judged.verdict, judged.valve, owner, why, step, judged, signable(judged))


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
        key = kind, step.position.valve, what(step.position), why, advice
        found.setdefault(key, []).append(number)
    for (kind, valve, owner, why, advice), numbers in found.items():
        yield Block(kind, valve, owner, f"{why}{places(len(numbers))}{advice}", numbers[0])


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
            owner = named(item.characteristic, item.method)
            why = f"not judged{': ' if item.why else ''}{item.why}"
            yield Block("not measured", item.valve, owner, why)


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
            yield Block("question open", position.valve, what(position), why, number)


def _names(characteristic: str) -> tuple[str, ...]:
    return characteristic, *CHARACTERISTICS[characteristic].reckoned_from
