"""Decoding a whole recording at once: columns of values instead of an object a frame.

The items are those of the streaming decoder, to the letter. A block of lines is first tried as a
whole: one expression takes it apart, and the result counts only if its matches are proven to be the
lines, one for one. A block in which anything is out of the ordinary is halved, and the few lines
that are left go through the streaming decoder.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from itertools import repeat
from operator import add, sub
from typing import TYPE_CHECKING, Final

from gaugelink.errors import InputError
from gaugelink.quantity import LARGEST_PM, from_decimal
from gaugelink.wire.base import Noise, Partial, Value
from gaugelink.wire.line import FLAGS, SIGNS, STEPS_PM, Said

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from gaugelink.quantity import LengthUnit
    from gaugelink.wire.base import Decoder, Item
    from gaugelink.wire.line import LineReader

_BLOCK: Final = 2048
"""Lines tried at once."""

_FEW: Final = 4
"""Lines that are not worth another try as a block."""

_MOST_KINDS: Final = 64
_MOST_DIGITS: Final = 18
_LOOKS_AROUND = re.compile(r"\(\?[=!<](?!\w)|\(\?<[=!]|[$^]|\\[AZbB]|\(\?[a-zA-Z-]+[):]|\(\?\(")
"""Parts of a pattern that could see beyond the line, or that read the flags otherwise."""

_MINUS: Final = {sign: "-" if factor < 0 else "" for sign, factor in SIGNS.items()}


@dataclass(slots=True)
class Columns:
    """What is in a recording: the values in columns of one length, and everything else.

    Attributes:
        pm: the lengths in picometres.
        counts: the digits shown as whole numbers, with their sign: -12345 of -12.345.
        places: the decimal places shown: 3 of -12.345.
        said: unit, mode, notes and channel of each.
        raw: the bytes of each frame.
        others: noise and partial frames, each with the number of values that came before it.
    """

    pm: list[int] = field(default_factory=list)
    counts: list[int] = field(default_factory=list)
    places: list[int] = field(default_factory=list)
    said: list[Said] = field(default_factory=list)
    raw: list[bytes] = field(default_factory=list)
    others: list[tuple[int, Noise | Partial]] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.pm)

    @property
    def units(self) -> list[LengthUnit]:
        """The unit of each value."""
        return [said.unit for said in self.said]

    def take(self, items: Iterable[Item]) -> None:
        """Append items, in order."""
        for item in items:
            if isinstance(item, Value):
                shown = item.shown
                self.pm.append(shown.pm)
                self.counts.append(shown.pm // shown.step_pm)
                self.places.append(len(shown.text.partition(".")[2]))
                self.said.append(Said(shown.unit, item.mode, item.notes, item.channel))
                self.raw.append(item.raw)
            else:
                self.others.append((len(self.pm), item))

    def items(self) -> Iterator[Item]:
        """Give every item, in the order of the bytes, as the streaming decoder gives it."""
        others = iter(self.others)
        before, other = next(others, (-1, None))
        for place in range(len(self.pm) + 1):
            while other is not None and before == place:
                yield other
                before, other = next(others, (-1, None))
            if place < len(self.pm):
                said = self.said[place]
                shown = from_decimal(self.counts[place], self.places[place], said.unit)
                yield Value(shown, self.raw[place], said.mode, said.notes, said.channel)


def streamed(decoder: Decoder, data: bytes) -> Columns:
    """Decode a recording frame by frame, for the formats that have no quicker way."""
    found = Columns()
    found.take(decoder.feed(data))
    found.take(decoder.end())
    return found


class LineBlocks:
    """Decodes recordings of codec `line`, block by block.

    Args:
        reader: reads one line, and translates its letters.
        pattern: the expression of the driver file.
        end: the one end of line.
        longest: the most bytes of a line, its end included.
        decoder: a fresh streaming decoder, for what is out of the ordinary.
    """

    def __init__(
        self, reader: LineReader, pattern: str, end: bytes, longest: int, decoder: Decoder
    ) -> None:
        self._reader = reader
        self._end = end
        self._longest = longest
        self._decoder = decoder
        self._words = [word for word in reader.words if any(map(str.isdigit, word))]
        self._block = re.compile(f"({pattern}){re.escape(end.decode())}", FLAGS)
        names = {place: name for name, place in reader.pattern.groupindex.items()}
        self._wanted = {name: place for place, name in names.items()}
        self._found = Columns()

    @staticmethod
    def suits(pattern: str, ends: tuple[bytes, ...]) -> bool:
        """Tell whether a pattern means the same in a block as in a line of its own.

        It does unless it can look beyond its line. The end of line must be a single one, plain
        ASCII, and unable to overlap itself. Numbered references would count the outer group too.
        """
        end = ends[0]
        overlaps = any(end[:size] == end[-size:] for size in range(1, len(end)))
        plain = _LOOKS_AROUND.search(pattern.replace("[^", "[")) is None
        return (
            len(ends) == 1
            and end.isascii()
            and not overlaps
            and plain
            and re.search(r"\\[1-9]", pattern) is None
        )

    def decode(self, data: bytes) -> Columns:
        """Decode a whole recording."""
        self._found = Columns()
        lines = data.split(self._end)
        tail = lines.pop()
        for start in range(0, len(lines), _BLOCK):
            self._lines(lines[start : start + _BLOCK])
        self._found.take(self._decoder.feed(tail))
        self._found.take(self._decoder.end())
        return self._found

    def _lines(self, lines: list[bytes]) -> None:
        """Take whole lines, given without their ends."""
        if len(lines) > _FEW:
            if self._at_once(lines):
                return
            half = len(lines) // 2
            self._lines(lines[:half])
            self._lines(lines[half:])
        else:
            for line in lines:
                self._found.take(self._decoder.feed(line + self._end))

    def _at_once(self, lines: list[bytes]) -> bool:
        """Take lines as a block; take nothing and give False if any of them is unusual."""
        raw = list(map(add, lines, repeat(self._end)))
        try:
            text = b"".join(raw).decode()
        except UnicodeDecodeError:
            return False
        if max(map(len, raw)) > self._longest or any(word in text for word in self._words):
            return False
        rows = self._block.findall(text)
        if len(rows) != len(lines):
            return False
        columns = list(zip(*rows, strict=True))
        # As many matches as ends of line, and together as long as the text: since every match
        # holds at least one end, each holds exactly one, and so is its line.
        end = len(self._end)
        if sum(map(len, columns[0])) + end * len(rows) != len(text):
            return False
        try:
            self._numbers(columns, raw)
        except (InputError, ValueError, KeyError):
            return False
        return True

    def _numbers(self, columns: list[tuple[str, ...]], raw: list[bytes]) -> None:
        """Append the columns, or raise and append nothing."""
        said = self._said(columns, len(raw))
        figures = "\n".join(columns[self._wanted["digits"]]).replace(",", ".")
        if figures.encode().translate(None, b"0123456789.\n"):
            raise ValueError
        if self._reader.point_is_apart:
            # A point among them all the same is no digit, and int refuses it.
            digits, places = figures.split("\n"), [one.places or 0 for one in said]
        else:
            digits, places = self._pointed(figures, len(raw))
        if len(digits) != len(raw):
            raise ValueError
        if max(map(len, digits)) > _MOST_DIGITS:
            raise ValueError
        counts = list(map(int, self._signed(columns, digits)))
        steps = self._steps(said, places)
        pm = (
            [count * steps[0] for count in counts]
            if len(steps) == 1
            else [count * step for count, step in zip(counts, steps, strict=True)]
        )
        if max(pm) > LARGEST_PM or min(pm) < -LARGEST_PM:
            raise ValueError
        found = self._found
        found.pm += pm
        found.counts += counts
        found.places += places
        found.said += said
        found.raw += raw

    @staticmethod
    def _pointed(figures: str, size: int) -> tuple[list[str], list[int]]:
        """Take the point out of digits, and count the places behind it."""
        each = figures.split("\n")
        points = list(map(str.find, each, repeat(".")))
        if figures.count(".") != size - points.count(-1):
            raise ValueError
        behind = list(map(sub, map(len, each), points))
        if behind.count(behind[0]) == size and points[0] >= 0:
            places = [behind[0] - 1] * size
        else:
            places = [width - 1 if at >= 0 else 0 for width, at in zip(behind, points, strict=True)]
        return figures.replace(".", "").split("\n"), places

    def _signed(self, columns: list[tuple[str, ...]], digits: list[str]) -> list[str]:
        """Put a minus before the digits of values below zero."""
        if "sign" not in self._wanted:
            return digits
        letters = columns[self._wanted["sign"]]
        if self._reader.signs is None:
            return list(
                map(add, map(_MINUS.__getitem__, map(str.strip, letters, repeat(" "))), digits)
            )
        meant = map(self._reader.signs.__getitem__, letters)
        return list(map(add, map(_MINUS.__getitem__, meant), digits))

    def _said(self, columns: list[tuple[str, ...]], size: int) -> list[Said]:
        letters = [columns[self._wanted[name]] for name in self._reader.others]
        if not letters:
            return [self._reader.said(())] * size
        if all(column.count(column[0]) == size for column in letters):
            return [self._reader.said(tuple(column[0] for column in letters))] * size
        rows = list(zip(*letters, strict=True))
        kinds = set(rows)
        if len(kinds) > _MOST_KINDS:
            raise ValueError
        known = {kind: self._reader.said(kind) for kind in kinds}
        return list(map(known.__getitem__, rows))

    @staticmethod
    def _steps(said: list[Said], places: list[int]) -> list[int]:
        """Give the step of each value, or the one step that all of them have."""
        first = said[0]
        if said.count(first) == len(said) and places.count(places[0]) == len(said):
            return [STEPS_PM[said[0].unit][places[0]]]
        return [STEPS_PM[one.unit][place] for one, place in zip(said, places, strict=True)]
