"""Decoding a whole recording at once: columns of values instead of an object a frame.

The items are those of the streaming decoder, to the letter. A block of lines is first tried as a
whole: one expression takes it apart, and the result counts only if its matches are proven to be the
lines, one for one. A block in which anything is out of the ordinary is halved, and the few lines
that are left go through the streaming decoder.
"""

from __future__ import annotations

import re
from itertools import repeat
from operator import add, sub
from typing import TYPE_CHECKING, Final

from gaugelink.errors import InputError
from gaugelink.quantity import LARGEST_PM
from gaugelink.wire.columns import Columns
from gaugelink.wire.line_reader import SIGNS, STEPS_PM
from gaugelink.wire.line_shape import FLAGS

if TYPE_CHECKING:
    from gaugelink.wire.base import Decoder
    from gaugelink.wire.columns import Said
    from gaugelink.wire.line_reader import LineReader

_BLOCK: Final = 2048
"""Lines tried at once."""

_FEW: Final = 4
"""Lines that are not worth another try as a block."""

_MOST_KINDS: Final = 64
_MOST_DIGITS: Final = 18
_LOOKS_AROUND = re.compile(r"\(\?[=!<](?!\w)|\(\?<[=!]|[$^]|\\[AZbB]|\(\?[a-zA-Z-]+[):]|\(\?\(")
"""Parts of a pattern that could see beyond the line, or that read the flags otherwise."""

_MINUS: Final = {sign: "-" if factor < 0 else "" for sign, factor in SIGNS.items()}


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
