"""Turns a logic capture (value change dump, IEEE 1364 clause 18) into the bit line.

Bytes are pushed in, bit-line bytes come out (see `gaugelink.wire.bits`); what is held is one word
of the file and the names of its wires, however long the capture is.

DATA is sampled as it stood *before* the instant of the clock edge, unless the driver file says
otherwise. A receiver latches what was there when the edge came; a capture that shows both wires
changing at one instant only says that it was too slow to tell which was first, and the old level
is the one that had been steady. For the same reason the level of the clock counts once an instant,
after all its changes: a spike shorter than a step of the capture is no clock.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from gaugelink.errors import InputError
from gaugelink.wire.settings import FS_PER

if TYPE_CHECKING:
    from collections.abc import Callable

    from gaugelink.wire.bits import ClockedFrame

CLOCK: Final = "CLK"
DATA: Final = "DATA"

_BOM: Final = b"\xef\xbb\xbf"
_LONGEST_WORD: Final = 65_536
_LONGEST_TIME: Final = 30
_SKIPPED: Final = frozenset({b"$comment", b"$date", b"$version", b"$scope", b"$upscope"})
_DUMPS: Final = frozenset({b"$dumpvars", b"$dumpall", b"$dumpon", b"$dumpoff"})
_MOST_WORDS: Final = {b"$timescale": 2, b"$var": 8, b"$enddefinitions": 0}
_TIMESCALE = re.compile(r"(1|10|100)(s|ms|us|ns|ps|fs)")
_LEVELS: Final = b"01xXzZ"


@dataclass(frozen=True, slots=True)
class Clocking:
    """How a gauge clocks its bits out.

    Attributes:
        edge: the clock edge at which DATA is good.
        pause_fs: femtoseconds between two such edges that end a frame; exactly so long ends it.
        after: DATA as it stands after all changes of the edge's instant, instead of before.
    """

    edge: Literal["rising", "falling"]
    pause_fs: int
    after: bool = False

    @classmethod
    def of(cls, frame: ClockedFrame) -> Clocking:
        """Take it from the ``[frame]`` table of a clocked codec."""
        return cls(frame.edge, frame.pause_fs, frame.data_taken == "after the edge")


class VcdReader:
    r"""Reads a capture with wires named CLK and DATA.

    Args:
        clocking: how to sample.
        file: the capture's name, for messages.

    >>> reader = VcdReader(Clocking("rising", pause_fs=10**12), "tiny.vcd")
    >>> reader.feed(b"$timescale 1us $end $var wire 1 c CLK $end $var wire 1 d DATA $end "
    ...     b"$enddefinitions $end #0 0c 1d #10 1c #20 0c 0d #30 1c #5000 ")
    b'10'
    >>> reader.end()
    b'\n'
    """

    def __init__(self, clocking: Clocking, file: str) -> None:
        self._file = file
        self._line = 1
        self._pending = bytearray()
        self._started = False
        self._handle: Callable[[bytes], None] = self._in_header
        self._keyword = b""
        self._keyword_line = 1
        self._words: list[bytes] = []
        self._dumping = False
        self._vector = b""
        self._ids: set[bytes] = set()
        self._wires: dict[str, bytes] = {}
        self._tick_fs = 0
        self._sampler: _Sampler | None = None
        self._clocking = clocking
        self._out = bytearray()

    def feed(self, data: bytes) -> bytes:
        """Take the next bytes of the capture; give the bits that they complete.

        Raises:
            InputError: the capture is damaged, or has not the two wires; file and line are named.
        """
        cut = max(data.rfind(space) for space in (b" ", b"\n", b"\t", b"\r", b"\f", b"\v")) + 1
        if cut:
            self._pending += data[:cut]
            self._block(bytes(self._pending))
            self._pending.clear()
        self._pending += data[cut:]
        self._bounded(self._pending)
        return self._give()

    def end(self) -> bytes:
        """Take note of the end of the capture; give the bits that it completes.

        Raises:
            InputError: the capture breaks off in its header or inside a change.
        """
        self._block(bytes(self._pending))
        self._pending.clear()
        if self._keyword:
            raise self._damaged(f"it ends inside {_word(self._keyword)}", self._keyword_line)
        if self._sampler is None:
            raise self._damaged("it ends before $enddefinitions")
        if self._vector:
            raise self._damaged(f"it ends inside the change {_word(self._vector)}")
        self._sampler.finish()
        return self._give()

    def _give(self) -> bytes:
        out = bytes(self._out)
        self._out.clear()
        return out

    def _block(self, block: bytes) -> None:
        if not self._started and block:
            self._started = True
            block = block.removeprefix(_BOM)
        for place, row in enumerate(block.split(b"\n")):
            self._line += place > 0
            for word in row.split():
                self._bounded(word)
                self._handle(word)

    def _bounded(self, word: bytes | bytearray) -> None:
        if len(word) > _LONGEST_WORD:
            raise self._damaged(f"a word of more than {_LONGEST_WORD} bytes")

    def _in_header(self, word: bytes) -> None:
        if not word.startswith(b"$"):
            raise self._damaged(f"found {_word(word)}, accepted: a declaration such as $timescale")
        if word not in _SKIPPED and word not in _MOST_WORDS:
            raise self._damaged(f"found {_word(word)}, accepted: a declaration of IEEE 1364")
        self._open(word)

    def _open(self, keyword: bytes) -> None:
        self._keyword, self._keyword_line = keyword, self._line
        self._words = []
        self._handle = self._in_keyword

    def _in_keyword(self, word: bytes) -> None:
        keyword = self._keyword
        if word == b"$end":
            self._keyword = b""
            self._handle = self._in_header if self._sampler is None else self._in_body
            if keyword == b"$timescale":
                self._timescale()
            elif keyword == b"$var":
                self._var()
            elif keyword == b"$enddefinitions":
                self._body_begins()
        elif keyword in _MOST_WORDS:
            if len(self._words) >= _MOST_WORDS[keyword]:
                raise self._damaged(f"{_word(keyword)} without its $end", self._keyword_line)
            self._words.append(word)

    def _timescale(self) -> None:
        text = b"".join(self._words).decode("ascii", "replace")
        match = _TIMESCALE.fullmatch(text)
        if match is None:
            raise self._damaged(f"found the timescale {text!r}, accepted: such as 1 us or 10 ns")
        self._tick_fs = int(match[1]) * FS_PER[match[2]]

    def _var(self) -> None:
        if len(self._words) < 4 or not self._words[1].isdigit():
            raise self._damaged("found a $var without type, width, code and name")
        _, width, code, name = self._words[:4]
        self._ids.add(code)
        plain = name.decode("ascii", "replace").lstrip("\\").partition("[")[0]
        if plain not in (CLOCK, DATA):
            return
        if width != b"1":
            raise self._damaged(f"the wire {plain} is {_word(width)} bits wide, accepted: 1")
        if self._wires.setdefault(plain, code) != code:
            raise self._damaged(f"found two different wires named {plain}, accepted: one")

    def _body_begins(self) -> None:
        for name in (CLOCK, DATA):
            if name not in self._wires:
                raise self._damaged(f"found no wire named {name}; name the two {CLOCK} and {DATA}")
        if not self._tick_fs:
            raise self._damaged("found no $timescale before $enddefinitions")
        self._sampler = _Sampler(self._clocking, self._out)
        self._handle = self._in_body

    def _in_body(self, word: bytes) -> None:
        assert self._sampler is not None
        first = word[0]
        if self._vector:
            value, self._vector = self._vector, b""
            self._change(value[1:], word)
        elif first in _LEVELS:
            self._change(word[:1], word[1:])
        elif first == ord("#"):
            self._time(word[1:])
        elif first in b"bBrR" and len(word) > 1:
            self._vector = word
        elif word in _DUMPS and not self._dumping:
            self._dumping = True
        elif word == b"$end" and self._dumping:
            self._dumping = False
        elif word == b"$comment":
            self._open(word)
        else:
            raise self._damaged(f"found {_word(word)}, accepted: a time or a change of a wire")

    def _change(self, level: bytes, code: bytes) -> None:
        assert self._sampler is not None
        if code not in self._ids:
            raise self._damaged(f"found a change of {_word(code)}, which no $var declares")
        # One code may stand for both wires, if they are one and the same net.
        for name, mine in self._wires.items():
            if code == mine:
                if len(level) != 1 or level not in _LEVELS:
                    raise self._damaged(
                        f"found the level {_word(level)} of {name}, accepted: 0 1 x z"
                    )
                self._sampler.change(name, level if level in b"01" else b"x")

    def _time(self, digits: bytes) -> None:
        assert self._sampler is not None
        if not digits.isdigit() or len(digits) > _LONGEST_TIME:
            raise self._damaged(f"found the time {_word(digits)}, accepted: a whole number")
        time_fs = int(digits) * self._tick_fs
        if time_fs < self._sampler.now_fs:
            raise self._damaged(f"the time goes back to {_word(digits)}")
        self._sampler.move_to(time_fs)

    def _damaged(self, what: str, line: int | None = None) -> InputError:
        return InputError(
            f"the logic capture cannot be read: {what}", file=self._file, line=line or self._line
        )


class _Sampler:
    """Follows the two wires from instant to instant, and writes the bit line."""

    def __init__(self, clocking: Clocking, out: bytearray) -> None:
        self.now_fs = 0
        self._pause_fs = clocking.pause_fs
        self._after = clocking.after
        self._edge = (b"0", b"1") if clocking.edge == "rising" else (b"1", b"0")
        self._out = out
        self._was = {CLOCK: b"x", DATA: b"x"}
        self._is = dict(self._was)
        self._last_fs = 0
        self._in_frame = False

    def change(self, wire: str, level: bytes) -> None:
        self._is[wire] = level

    def move_to(self, time_fs: int) -> None:
        """Settle the instant that is over, and go on to a later one, or to the same one."""
        if time_fs > self.now_fs:
            self._settle()
            self.now_fs = time_fs

    def finish(self) -> None:
        self._settle()

    def _settle(self) -> None:
        if self._in_frame and self.now_fs - self._last_fs >= self._pause_fs:
            self._out += b"\n"
            self._in_frame = False
        was, now = self._was[CLOCK], self._is[CLOCK]
        if (was, now) == self._edge:
            self._out += (self._is if self._after else self._was)[DATA]
            self._last_fs = self.now_fs
            self._in_frame = True
        elif now == b"x" and was != b"x" and self._in_frame:
            # Clocks may be missing from here on: spoil the frame, do not shorten it.
            self._out += b"x"
        self._was = dict(self._is)


def _word(word: bytes) -> str:
    shown = repr(word[:40])[1:]
    return shown if len(word) <= 40 else f"{shown}..."
