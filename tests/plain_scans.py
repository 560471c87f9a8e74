"""What a session keeps at hand, found again by going through all of its history."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.course import Question
from gaugelink.events import ReadingParked, SweepParked, SweepTaken
from gaugelink.planning.working import sizes_before
from gaugelink.slips import read_note

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gaugelink.course import Course
    from gaugelink.history import Entry


def last_of(lines: Mapping[int, Entry], step: int) -> int:
    """Find the last line of a step."""
    return max((place for place, line in lines.items() if line.step == step), default=-1)


def last_gone(lines: Mapping[int, Entry], step: int) -> Entry | None:
    """Find the last line of a step that was struck out or is stale."""
    gone = [line for _, line in sorted(lines.items())
            if line.step == step and (line.struck or line.stale)]  # fmt: skip
    return gone[-1] if gone else None


def last_sweep(lines: Mapping[int, Entry]) -> int | None:
    """Find the last sweep that was recorded in its place."""
    sweeps = [place for place, line in lines.items() if isinstance(line.event, SweepTaken)]
    return max(sweeps, default=None)


def tray(lines: Mapping[int, Entry]) -> list[Entry]:
    """List what belongs nowhere."""
    return [line for _, line in sorted(lines.items())
            if isinstance(line.event, ReadingParked | SweepParked)
            and line.step is None and not line.struck]  # fmt: skip


def asked(lines: Mapping[int, Entry], words: str) -> int:
    """Find the last value in the tray that looks like a slip for a place."""
    found = -1
    for line in tray(lines):
        noted = read_note(line.event.why) if isinstance(line.event, ReadingParked) else None
        if noted and noted.place_words == words and noted.code != "double send":
            found = line.place
    return found


def question(course: Course) -> Question | None:
    """Go back from the newest line to what answers it, or to the value that is asked about."""
    if course.step is None:
        return None
    for place in sorted(course.history, reverse=True):
        line = course.history[place]
        if line.step == course.cursor or place < course.reopened.get(course.cursor, 0):
            return None
        noted = read_note(line.event.why) if isinstance(line.event, ReadingParked) else None
        if noted and noted.place_words == course.step.position.words and (
            noted.code != "double send" and not line.struck and line.step is None
        ):  # fmt: skip
            return Question(place, course.cursor, noted.code, noted.words)
    return None


def why_again(course: Course, step: int) -> str:
    """Say why a step is asked for again."""
    if step in course.filled:
        return "there is a reading already; a new one replaces it"
    gone = last_gone(course.history, step)
    return (gone.struck or f"stale: {gone.stale}") if gone else ""


def last_taken(course: Course) -> int | None:
    """Find the reading that counts and was taken last."""
    return max(
        (place for place, line in course.history.items()
         if line.step is not None and course.filled.get(line.step) == place), default=None
    )  # fmt: skip


def hold(course: Course) -> None:
    """Hold everything that a course keeps at hand against its history."""
    lines = course.history
    assert course.question == question(course)
    assert course.tray() == tray(lines)
    assert lines.last_sweep() == last_sweep(lines)
    assert max(course.filled.values(), default=None) == last_taken(course)
    for number, step in enumerate(course.plan):
        assert lines.last_of(number) == last_of(lines, number)
        assert lines.last_gone(number) == last_gone(lines, number)
        assert lines.asked(step.position.words) == asked(lines, step.position.words)
        assert course._why_again(number) == why_again(course, number)
    assert course.before_work() == sizes_before(lines, course.earlier, course.work)
