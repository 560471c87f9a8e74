r"""Codec `keystrokes`: a gauge that types, as a keyboard does.

A keyboard says nothing about itself, and people type on keyboards too. So a value has to show in
two ways that a gauge typed it. Its keys follow each other more closely than fingers can: after a
longer pause than `key_gap` all keys up to the next end are noise. And it has a shape that nobody
types by the way: a prefix, a suffix, or exactly so many digits.

Keys come as text (UTF-8); Enter is ``\n`` (``\r\n`` in files of some systems), Tab is ``\t``.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated, Final, Literal

from pydantic import Field, field_validator

from gaugelink.errors import InputError
from gaugelink.quantity import LengthUnit  # noqa: TC001  pydantic reads it
from gaugelink.wire.base import Item, Noise
from gaugelink.wire.line import LineFrame
from gaugelink.wire.line_reader import LineReader
from gaugelink.wire.line_shape import FLAGS
from gaugelink.wire.segments import SegmentDecoder
from gaugelink.wire.settings import Fault, Frame, femtoseconds

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gaugelink.wire.base import Decoder

EndKey = Literal["Enter", "Tab"]

KEY_BYTES: Final[dict[EndKey, tuple[bytes, ...]]] = {
    "Enter": (b"\n", b"\r\n"),
    "Tab": (b"\t",),
}
"""What each key that closes a value is in the stream."""

GROUPS: Final = ("sign", "digits", "unit")
"""Names that a pattern may give to its parts; ``digits`` it must."""

_DIGITS: Final[dict[str, str]] = {".": r"\d+\.\d+", ",": r"\d+,\d+"}
_MOST_DIGITS: Final = 8


class KeystrokesFrame(Frame):
    """The ``[frame]`` table of codec `keystrokes`; docs/drivers.md explains every key."""

    codec: Literal["keystrokes"]
    decimal: Literal[".", ","]
    prefix: str = ""
    suffix: str = ""
    pattern: str | None = None
    unit: LengthUnit | None = None
    units: dict[str, LengthUnit] | None = None
    ends_with: EndKey | Annotated[tuple[EndKey, ...], Field(strict=False)] = "Enter"
    key_gap: str = "30 ms"
    longest: int = Field(default=32, ge=4, le=128)

    @field_validator("key_gap")
    @classmethod
    def _key_gap_is_a_time(cls, key_gap: str) -> str:
        try:
            femtoseconds(key_gap)
        except InputError as fault:
            raise ValueError(fault.what) from None
        return key_gap

    @property
    def silence_ns(self) -> int:
        """The pause between two keys, in nanoseconds, that shows a person."""
        return femtoseconds(self.key_gap) // 10**6

    @property
    def ends(self) -> tuple[bytes, ...]:
        """What closes a value, as bytes."""
        keys = (self.ends_with,) if isinstance(self.ends_with, str) else self.ends_with
        return tuple(end for key in keys for end in KEY_BYTES[key])

    @property
    def whole_pattern(self) -> str:
        """The shape of all keys before the end."""
        number = self.pattern or rf"(?P<sign>[+-])?(?P<digits>{_DIGITS[self.decimal]})"
        return f"{re.escape(self.prefix)}(?:{number}){re.escape(self.suffix)}"

    def fault(self) -> Fault | None:
        """Find what is wrong between one key and another, or inside the pattern."""
        if "pause" in self.model_fields_set:
            return ("frame", "pause"), "found this key, accepted: key_gap, the pause between keys"
        if not self.ends:
            return ("frame", "ends_with"), "found no key, accepted: Enter, Tab, or both"
        for name in ("prefix", "suffix"):
            text = getattr(self, name)
            if not text.isprintable() or any(end in text.encode() for end in self.ends):
                return ("frame", name), f"found {text!r}, accepted: what can be seen when typed"
        return self._fault_of_pattern() or self._fault_of_shape()

    def decoder(self, *, joined_midstream: bool = False) -> Decoder:
        """Make the decoder."""
        return SegmentDecoder(
            self.ends,
            self.longest,
            KeyReader(self).read,
            joined_midstream=joined_midstream,
            noun="value",
            pause_shows=(
                "typed by a person: there was a pause between two keys, and those of the gauge "
                f"follow each other within {self.key_gap}"
            ),
        )

    def line(self) -> LineFrame:
        """Give the same shape as a line of text; that is read elsewhere already."""
        return LineFrame(
            codec="line", ends_with="\n", pattern=self.whole_pattern, unit=self.unit,
            units=self.units, longest=self.longest,
        )  # fmt: skip

    def _fault_of_pattern(self) -> Fault | None:
        if self.pattern is not None:
            try:
                groups = re.compile(self.pattern, FLAGS).groupindex
            except (re.error, OverflowError, RecursionError) as fault:
                what = f"found {self.pattern!r}, not a regular expression: {fault}"
                return ("frame", "pattern"), what
            for name in groups:
                if name not in GROUPS:
                    what = f"found the named group {name}, accepted: {', '.join(GROUPS)}"
                    return ("frame", "pattern"), what
        return self.line().fault()

    def _fault_of_shape(self) -> Fault | None:
        """Find a shape that a number typed by the way could have."""
        if self.prefix.strip() or self.suffix.strip():
            return None
        # Blanks are typed by everybody, so a prefix of blanks shows nothing.
        bare = self.model_copy(update={"prefix": "", "suffix": ""})
        whole = re.compile(bare.whole_pattern, FLAGS)
        for sign in ("", "+", "-"):
            taken = [text for text in _plain_numbers(sign, self.decimal) if whole.fullmatch(text)]
            if len(taken) > 1:
                found = f"{taken[0]!r} and {taken[1]!r}"
                return ("frame", "prefix" if self.pattern is None else "pattern"), (
                    f"any number that somebody types would be a value, such as {found}; accepted: "
                    "a prefix or suffix that the interface is set to type, or a pattern that takes "
                    r"exactly so many digits, such as (?P<digits>\d{3}\.\d{3})"
                )
        return None


class KeyReader:
    """Reads what was typed up to the key that closes it."""

    def __init__(self, frame: KeystrokesFrame) -> None:
        self._decimal = frame.decimal
        self._other = "," if frame.decimal == "." else "."
        self._line = LineReader(frame.line())

    def read(self, raw: bytes, body: bytes) -> Item:
        """Make the item of a value; `body` is what was typed without the end."""
        try:
            match = self._line.pattern.fullmatch(body.decode())
        except UnicodeDecodeError:
            match = None
        if match is not None and (match["digits"] or "").count(self._decimal) != 1:
            # A layout may eat the sign: of 7,965 is left 7965, and no line can tell that from one.
            return Noise(raw, f"the number {match['digits']!r} has not one {self._decimal!r} in it")
        if match is not None and self._other in match["digits"]:
            return Noise(raw, f"found {self._other!r} in {match['digits']!r}, which is no decimal "
                              "sign here")  # fmt: skip
        return self._line.read(raw, body)


def _plain_numbers(sign: str, decimal: str) -> Iterator[str]:
    """Give numbers of every length, as somebody might type them, with a sign or without.

    >>> [*_plain_numbers("-", ",")][:3]
    ['-7', '-7,9', '-7,96']
    """
    for whole in range(1, _MOST_DIGITS + 1):
        yield f"{sign}{'76543210'[:whole]}"
        for part in range(1, _MOST_DIGITS + 1):
            yield f"{sign}{'76543210'[:whole]}{decimal}{'96543210'[:part]}"
