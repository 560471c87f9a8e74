"""Cuts a byte stream at its ends of line, in a bounded buffer.

The cut is decided by the first `longest` bytes of what is held, and only once an end of line lies
wholly within them or all of them have come. So neither the chunks nor the bound can change the
result: a line that is too long is too long however it arrives.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Literal

from gaugelink.wire.base import Item, Noise, Partial

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence


class SegmentDecoder:
    r"""A decoder for formats in which every frame is closed by an end of line.

    Args:
        ends: the ends of line. None may stand inside another one, except as its last bytes
            (``"\n"`` beside ``"\r\n"``): see `clash`.
        longest: the most bytes a line may have, its end included.
        read: makes the item of a whole line, from its bytes with and without the end.
        silence_closes: a pause, or the end of the stream, ends a frame just as an end of line
            does (clocked gauges). Otherwise it breaks the frame off, and what then comes up to
            the next end of line is dropped too, for it may be the rest of the broken line.
        joined_midstream: the first bytes may be the tail of a frame ("2.1380" of "12.1380"):
            drop everything up to the first end of line.
        noun: what a frame is called in the reasons.
        pause_shows: what a pause inside a frame shows about it, where it shows more than that the
            frame broke off: then all of the frame is noise, and this is the reason.
    """

    def __init__(
        self,
        ends: Sequence[bytes],
        longest: int,
        read: Callable[[bytes, bytes], Item],
        *,
        silence_closes: bool = False,
        joined_midstream: bool = False,
        noun: str = "line",
        pause_shows: str = "",
    ) -> None:
        in_order = sorted(ends, key=len, reverse=True)
        self._only = in_order[0] if len(in_order) == 1 else b""
        self._end = re.compile(b"|".join(re.escape(end) for end in in_order))
        self._held_back = len(in_order[0]) - 1
        self._longest = longest
        self._read = read
        self._silence_closes = silence_closes
        self._noun = noun
        self._pause_shows = pause_shows
        self._buffer = b""
        self._rest_of: Literal["", "joined", "long", "broken"] = (
            "joined" if joined_midstream else ""
        )

    def feed(self, data: bytes) -> list[Item]:
        """Take the next bytes; give the items that they complete."""
        held = self._buffer + data if self._buffer else data
        items: list[Item] = []
        at = self._whole_lines(held, items) if self._only and not self._rest_of else 0
        while True:
            start, stop = self._next_end(held, at)
            if stop:
                raw = held[at:stop]
                if self._rest_of:
                    items.append(self._rest(raw))
                    self._rest_of = ""
                else:
                    items.append(self._read(raw, held[at:start]))
            elif len(held) - at >= self._longest:
                # The last bytes stay: they may be the beginning of an end of line.
                stop = at + self._longest - self._held_back
                self._rest_of = "long"
                items.append(self._rest(held[at:stop]))
            else:
                self._buffer = held[at:]
                return items
            at = stop

    def _whole_lines(self, held: bytes, items: list[Item]) -> int:
        """Read the lines at the front that are whole, as nearly all are; give where they stop."""
        find, end, width, longest = held.find, self._only, len(self._only), self._longest
        read, add = self._read, items.append
        at = 0
        while (start := find(end, at, at + longest)) >= 0:
            stop = start + width
            add(read(held[at:stop], held[at:start]))
            at = stop
        return at

    def _next_end(self, held: bytes, at: int) -> tuple[int, int]:
        """Find the first end of line; (0, 0) if none lies within the longest line."""
        if self._only:  # a plain search is twice as quick as an expression
            start = held.find(self._only, at, at + self._longest)
            return (0, 0) if start < 0 else (start, start + len(self._only))
        found = self._end.search(held, at, at + self._longest)
        return found.span() if found else (0, 0)

    def gap(self) -> list[Item]:
        """Take note of a pause."""
        if self._silence_closes:
            return self._close_by_silence("")
        if self._buffer:
            item = self._broken(f"a pause inside the {self._noun}")
            if self._pause_shows and self._rest_of != "long":
                item = Noise(item.raw, self._pause_shows)
            if self._rest_of != "long":
                self._rest_of = "broken"
            return [item]
        if self._rest_of == "joined":
            # Nothing at all has come since opening, so what comes next is a beginning.
            self._rest_of = ""
        return []

    def end(self) -> list[Item]:
        """Take note of the end of the stream."""
        why = f"the stream ended inside the {self._noun}"
        if self._silence_closes:
            return self._close_by_silence(why)
        items = [self._broken(why)] if self._buffer else []
        self._rest_of = ""
        return items

    def _close_by_silence(self, why: str) -> list[Item]:
        items: list[Item] = []
        if self._buffer:
            raw = self._take(len(self._buffer))
            body = raw.removesuffix(b"\r")
            items.append(self._rest(raw, why) if self._rest_of else self._read(raw, body))
        self._rest_of = ""
        return items

    def _broken(self, why: str) -> Item:
        raw = self._take(len(self._buffer))
        return self._rest(raw, why) if self._rest_of else Partial(raw, why)

    def _rest(self, raw: bytes, why: str = "") -> Item:
        """Make the item of bytes that belong to a frame already given up."""
        noun = self._noun
        if self._rest_of == "long":
            return Noise(raw, f"more than {self._longest} bytes without the end of a {noun}")
        if self._rest_of == "broken" and self._pause_shows:
            return Noise(raw, self._pause_shows)
        reason = {
            "joined": f"joined inside a {noun}; dropped up to its end",
            "broken": f"the rest of a {noun} that a pause had broken",
        }[self._rest_of]
        return Partial(raw, f"{reason} ({why})" if why else reason)

    def _take(self, count: int) -> bytes:
        raw, self._buffer = self._buffer[:count], self._buffer[count:]
        return raw


def clash(ends: Sequence[bytes]) -> tuple[bytes, bytes] | None:
    r"""Find two ends of line of which the shorter would cut the longer in two.

    >>> clash([b"\r", b"\r\n"])
    (b'\r', b'\r\n')
    >>> clash([b"\n", b"\r\n"]) is None
    True
    """
    for short in ends:
        for long in ends:
            at = long.find(short)
            if short != long and 0 <= at < len(long) - len(short):
                return short, long
    return None
