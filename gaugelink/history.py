"""What a session has taken in, line by line, with what every reading asks of it kept at hand.

A long job has a long history: values that nobody asked for come for hours. So nothing that is asked
with every reading goes through all of it. What is asked is kept up to date with each line instead,
and gives what going through all lines would give.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gaugelink.events import Event, ReadingParked, SweepParked, SweepTaken
from gaugelink.slips import read_note

if TYPE_CHECKING:
    from collections.abc import ItemsView, Iterator, ValuesView


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the history: an event of the record, and whether it still counts.

    ``struck`` is the reason why it was struck out, ``stale`` the work that made it stale.
    """

    place: int
    event: Event
    step: int | None = None
    struck: str = ""
    stale: str = ""


@dataclass(slots=True, eq=False)
class History(Mapping[int, Entry]):
    """Lines by their record place, in the order in which they came. Read it; `put` alone writes.

    Two histories are equal where their lines are.
    """

    _lines: dict[int, Entry] = field(default_factory=dict)
    _last: dict[int, int] = field(default_factory=dict)
    _gone: dict[int, int] = field(default_factory=dict)
    _sweep: int = -1
    # Places in ascending order: what waits in the tray, and of it what looks like a slip, by the
    # words of the place that it was asked for.
    _tray: list[int] = field(default_factory=list)
    _asked: dict[str, list[int]] = field(default_factory=dict)

    def __getitem__(self, place: int) -> Entry:
        return self._lines[place]

    def __iter__(self) -> Iterator[int]:
        return iter(self._lines)

    def __reversed__(self) -> Iterator[int]:
        return reversed(self._lines)

    def __len__(self) -> int:
        return len(self._lines)

    def items(self) -> ItemsView[int, Entry]:
        """Give all lines with their places."""
        return self._lines.items()

    def values(self) -> ValuesView[Entry]:
        """Give all lines."""
        return self._lines.values()

    def put(self, line: Entry) -> None:
        """Take in a line, or what has become of one."""
        place, old = line.place, self._lines.get(line.place)
        self._lines[place] = line
        if isinstance(line.event, SweepTaken):
            self._sweep = max(self._sweep, place)
        if old is not None and old.step is not None and old.step != line.step and (
            place in {self._last[old.step], self._gone.get(old.step)}
        ):  # fmt: skip
            self._look_again(old.step)
        if line.step is not None:
            self._last[line.step] = max(self._last.get(line.step, -1), place)
            if line.struck or line.stale:
                self._gone[line.step] = max(self._gone.get(line.step, -1), place)
        was, waits = old is not None and _waits(old), _waits(line)
        if was != waits:
            # Whatever waits, or no longer does, is a value or sweep of the tray.
            _enter(self._tray, place, waits)
            if words := _asked_for(line):
                _enter(self._asked.setdefault(words, []), place, waits)

    def last_of(self, step: int) -> int:
        """Give the record place of the last line of a step, whatever became of it; -1: none."""
        return self._last.get(step, -1)

    def last_gone(self, step: int) -> Entry | None:
        """Give the last line of a step that was struck out or is stale; None where none is."""
        place = self._gone.get(step)
        return None if place is None else self._lines[place]

    def last_sweep(self) -> int | None:
        """Give the record place of the last sweep that was recorded in its place."""
        return None if self._sweep < 0 else self._sweep

    def asked(self, place_words: str) -> int:
        """Give the record place of the last value in the tray that looks like a slip; -1: none.

        Only values that were asked for the place in these words are looked at, and none that a
        press sent twice: nobody is asked about those.
        """
        waiting = self._asked.get(place_words)
        return waiting[-1] if waiting else -1

    def tray(self) -> list[Entry]:
        """Give what belongs nowhere yet, or never will, oldest first."""
        return [self._lines[place] for place in self._tray]

    def _look_again(self, step: int) -> None:
        """Go through all lines for the last ones of a step, as the last has left it.

        Only a value out of the tray ever leaves its step, when its assignment is struck out; that
        is a later line of the same step, so a record of a bench never comes here.
        """
        self._last.pop(step, None)
        self._gone.pop(step, None)
        for line in self._lines.values():
            if line.step == step:
                self._last[step] = max(self._last.get(step, -1), line.place)
                if line.struck or line.stale:
                    self._gone[step] = max(self._gone.get(step, -1), line.place)


def _waits(line: Entry) -> bool:
    return line.step is None and not line.struck and isinstance(
        line.event, ReadingParked | SweepParked
    )  # fmt: skip


def _asked_for(line: Entry) -> str:
    """Name the place that a value was asked for, where a person is asked about it."""
    noted = read_note(line.event.why) if isinstance(line.event, ReadingParked) else None
    return "" if noted is None or noted.code == "double send" else noted.place_words


def _enter(places: list[int], place: int, waits: bool) -> None:
    """Put a place into a list in ascending order, or take it out."""
    if waits:
        insort(places, place)
    else:
        del places[bisect_left(places, place)]
