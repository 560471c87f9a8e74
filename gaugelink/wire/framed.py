"""Finds binary frames that show by themselves where they begin and how long they are.

There is no end of line to go by. Wherever a frame could begin it is tried; if its checks fail, one
byte is given up and the next one is tried, so a good frame behind junk is never lost to the junk.
Bytes that are given up are collected into pieces of noise, each up to the length of the longest
frame.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.wire.base import Item, Noise, Partial

if TYPE_CHECKING:
    from collections.abc import Callable


class FramedDecoder:
    """A decoder for frames of a known size.

    Args:
        size: tells from bytes and a place how many bytes the frame has that begins there: 0 if
            none does, None if more bytes are needed to tell.
        read: makes the item of so many bytes, or says why they are no frame after all.
        longest: the most bytes that a frame has.
        joined_midstream: the first bytes may be the tail of a frame, and are a partial one.
    """

    def __init__(
        self,
        size: Callable[[bytes, int], int | None],
        read: Callable[[bytes], Item | str],
        longest: int,
        *,
        joined_midstream: bool = False,
    ) -> None:
        self._size = size
        self._read = read
        self._longest = longest
        self._joined = joined_midstream
        self._buffer = b""
        self._junk = 0
        self._why = ""

    def feed(self, data: bytes) -> list[Item]:
        """Take the next bytes; give the items that they complete."""
        self._buffer += data
        items: list[Item] = []
        while (at := self._junk) < len(self._buffer):
            size = self._size(self._buffer, at)
            if size is None or at + size > len(self._buffer):
                break
            found = self._read(self._buffer[at : at + size]) if size else "no frame begins here"
            if isinstance(found, str):
                self._why = self._why or found
                self._junk += 1
                if self._junk == self._longest:
                    items += self._given_up()
            else:
                items += self._given_up()
                items.append(found)
                self._buffer = self._buffer[size:]
                self._joined = False
        return items

    def gap(self) -> list[Item]:
        """Take note of a pause: nothing that has begun goes on after it."""
        items = self._cut("a pause inside the frame")
        self._joined = False
        return items

    def end(self) -> list[Item]:
        """Take note of the end of the stream."""
        return self._cut("the stream ended inside the frame")

    def _cut(self, why: str) -> list[Item]:
        items = self._given_up()
        if self._buffer:
            items.append(Partial(self._buffer, why))
        self._buffer = b""
        return items

    def _given_up(self) -> list[Item]:
        raw, self._buffer = self._buffer[: self._junk], self._buffer[self._junk :]
        why, self._why, self._junk = self._why, "", 0
        if not raw:
            return []
        if self._joined:
            return [Partial(raw, "joined inside a frame; dropped up to its end")]
        return [Noise(raw, why)]
