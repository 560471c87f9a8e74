"""What stands against a release because of the gauges: zero checks, doubt, calibration."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.head import zero_check_of
from gaugelink.planning.doubt import doubts
from gaugelink.release.block import Block, Read, places, readings, what
from gaugelink.slips.zero import zero_off

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from gaugelink.course import Course
    from gaugelink.planning.doubt import Doubt


def zero_checks(course: Course) -> Iterator[Block]:
    """Hold the zero checks against what is due, and against what they stand for."""
    taken_at = dict(readings(course))
    series: list[int] = []
    for number, step in enumerate(course.plan):
        check = zero_check_of(step.position)
        if check is None:
            series.append(number)
            continue
        kind, when = check
        taken = taken_at.get(number)
        if taken is not None and taken.shown is not None:
            gauge = course.gauges[taken.gauge]
            zero = course.sheet.zero_of(kind) if course.sheet else None
            off = zero_off(taken.shown, gauge, zero, when)
            if off is not None:
                yield Block("zero check", "", what(step.position), f"off, {off.words}", number)
            if when == "after":
                yield from _not_covered(course, [(n, taken_at[n]) for n in series if n in taken_at],
                                        taken, number)  # fmt: skip
        series = []


def _not_covered(
    course: Course, series: Iterable[tuple[int, Read]], check: Read, number: int
) -> Iterator[Block]:
    """Go through readings that the check after their series says nothing about."""
    later: dict[tuple[str, str], int] = {}
    for at, reading in series:
        position = course.plan[at].position
        if reading.gauge != check.gauge:
            why = f"measured with {reading.gauge}, and the zero of {check.gauge} was checked after"
            yield Block("zero check", position.valve, what(position),
                        f"{why}; measure again with {check.gauge}", at)  # fmt: skip
        elif reading.place > check.place:
            later.setdefault((position.valve, what(position)), at)
    for valve, characteristic in later:
        why = f"measured after the zero check ({check.position.station}); check the zero again"
        yield Block("zero check", valve, characteristic, why, number)


def doubtful(course: Course) -> Iterator[Block]:
    """Go through the readings beside a zero check that was off."""
    found: dict[tuple[str, str, Doubt], list[int]] = {}
    of = doubts(course)
    for number, place in sorted(course.filled.items()):
        if place in of:
            position = course.plan[number].position
            found.setdefault((position.valve, what(position), of[place]), []).append(number)
    for (valve, owner, doubt), numbers in found.items():
        why = (
            f"{doubt.words}{places(len(numbers))}; measure again, or strike that check out if it "
            "was wrong itself"
        )
        yield Block("doubtful", valve, owner, why, numbers[0], strike=doubt.strike,
                    gauge=doubt.gauge)  # fmt: skip


def calibration(course: Course, today: str) -> Iterator[Block]:
    """Go through what was, or would be, measured with a gauge out of calibration.

    Args:
        course: where the session stands.
        today: today's date, ISO 8601.
    """
    over: dict[tuple[str, str, str], list[int]] = {}
    for number, reading in readings(course):
        due = course.due_at(reading.gauge, reading.place)
        if not due:
            why = f"no calibration date of {reading.gauge} is known"
        elif reading.day > due:
            why = (
                f"measured on {reading.day}, and the calibration of {reading.gauge} ended on {due}"
            )
        else:
            continue
        key = reading.position.valve, what(reading.position), why
        over.setdefault(key, []).append(number)
    for (valve, owner, why), numbers in over.items():
        advice = "measure again with a gauge in calibration"
        words = f"{why}{places(len(numbers))}; {advice}"
        yield Block("calibration", valve, owner, words, numbers[0])
    for kind in dict.fromkeys(
        step.gauge_kind for number, step in enumerate(course.plan) if number not in course.filled
    ):
        dues = [gauge.calibration_due for gauge in course.gauges.values() if gauge.kind == kind]
        if dues and max(dues) < today:
            why = f"calibration ended on {max(dues)}" if max(dues) else "no calibration date known"
            yield Block("calibration", "", kind, f"{why}; what is left cannot be measured with it")
