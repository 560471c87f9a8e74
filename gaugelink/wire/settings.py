"""What the ``[frame]`` tables of all codecs share."""

from __future__ import annotations

import re
from abc import abstractmethod
from typing import TYPE_CHECKING, ClassVar, Final

from pydantic import BaseModel, ConfigDict, Field, field_validator

from gaugelink.errors import InputError
from gaugelink.quantity import parse_number
from gaugelink.wire.columns import streamed

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gaugelink.wire.base import Decoder
    from gaugelink.wire.columns import Columns

FS_PER: Final[Mapping[str, int]] = {
    "s": 10**15,
    "ms": 10**12,
    "us": 10**9,
    "\u00b5s": 10**9,
    "\u03bcs": 10**9,
    "ns": 10**6,
    "ps": 10**3,
    "fs": 1,
}
"""Femtoseconds in each unit of time; whole numbers, down to the finest that a capture can use."""

_DURATION = re.compile(r"\s*(?P<number>[0-9.,]+)\s*(?P<unit>\D+?)\s*")

Fault = tuple[tuple[str, ...], str]
"""A fault of a file: the path of the key, and the sentence."""


class Model(BaseModel):
    """A table of a driver file: unknown keys are refused, kinds are never converted."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Frame(Model):
    """A ``[frame]`` table. Each codec adds its own keys.

    Attributes:
        codec: the codec's name.
        pause: how long a silence ends whatever has begun, such as ``"1 ms"``.
    """

    clocked: ClassVar[bool] = False
    """The codec reads the bit line of a clocked gauge (see `gaugelink.wire.bits`)."""

    shows_beginning: ClassVar[bool] = False
    """A frame shows where it begins, so that one which comes whole is good even after joining."""

    codec: str
    pause: str = Field(default="500 ms")

    @field_validator("pause")
    @classmethod
    def _pause_is_a_time(cls, pause: str) -> str:
        try:
            femtoseconds(pause)
        except InputError as fault:
            raise ValueError(fault.what) from None
        return pause

    @property
    def pause_fs(self) -> int:
        """The pause in femtoseconds."""
        return femtoseconds(self.pause)

    @property
    def silence_ns(self) -> int:
        """The silence on the port, in nanoseconds, after which to call `Decoder.gap`."""
        return self.pause_fs // 10**6

    @property
    def request_bytes(self) -> bytes | None:
        """The bytes that ask the gauge for a value; None: it speaks by itself."""
        return None

    def fault(self) -> Fault | None:
        """Find what is wrong between one key and another."""
        return None

    @abstractmethod
    def decoder(self, *, joined_midstream: bool = False) -> Decoder:
        """Make the decoder that these settings describe."""

    def decode_all(self, data: bytes, decoder: Decoder) -> Columns:
        """Decode a whole recording; `decoder` is a fresh one, for what has no quicker way."""
        return streamed(decoder, data)


def femtoseconds(text: str) -> int:
    """Read a duration exactly.

    Raises:
        InputError: no number, no unit of time, not above zero, or finer than a femtosecond.

    >>> femtoseconds("1.5 ms")
    1500000000000
    """
    match = _DURATION.fullmatch(text)
    unit = match["unit"] if match else ""
    if match is None or unit not in FS_PER:
        raise InputError(f"found {text!r}, accepted: a time with its unit, such as 1 ms or 500 us")
    digits, places = parse_number(match["number"])
    parts: int = 10**places
    whole, left = divmod(digits * FS_PER[unit], parts)
    if whole <= 0 or left:
        raise InputError(f"found {text!r}, accepted: a time above zero, in whole femtoseconds")
    return whole
