r"""The bit line: what a clocked gauge sends, as a text.

One character a clock, ``0`` or ``1`` as sampled at the edge that the driver file names, and ``\n``
(or ``\r\n``) for the pause that ends a frame. Anything else in it is noise; whoever samples writes
``x`` where the level was not to be had. Logic captures are turned into this text by
`gaugelink.wire.vcd`; a sampler on the bench sends it down its port.
"""

from __future__ import annotations

from abc import abstractmethod
from typing import TYPE_CHECKING, ClassVar, Final, Literal

from pydantic import Field

from gaugelink.errors import InputError
from gaugelink.wire.base import Item, Noise, Partial, Value
from gaugelink.wire.segments import SegmentDecoder
from gaugelink.wire.settings import Frame

if TYPE_CHECKING:
    from gaugelink.quantity import Displayed
    from gaugelink.wire.base import Decoder

PAUSES: Final = (b"\n", b"\r\n")

SILENCE_NS: Final = 500_000_000
"""A sampler's port that is silent for so long is between frames: far longer than a frame takes,
even when an adapter holds bytes back. The pauses between clocks are in the bit line already."""


class ClockedFrame(Frame):
    """What the ``[frame]`` tables of the clocked codecs share.

    Attributes:
        edge: the clock edge at which DATA is sampled.
        data_taken: DATA as it stood before the edge, or as it stands after it, where a capture
            shows both changing at the same instant.
        pause: the time between two sampled edges that ends a frame.
    """

    clocked: ClassVar[bool] = True
    bits: ClassVar[int]
    """Clocks in a frame, exactly."""

    edge: Literal["rising", "falling"]
    data_taken: Literal["before the edge", "after the edge"] = "before the edge"
    pause: str = Field(min_length=1)

    @property
    def silence_ns(self) -> int:
        """The silence on the sampler's port, in nanoseconds, after which to call `Decoder.gap`."""
        return SILENCE_NS

    def decoder(self, *, joined_midstream: bool = False) -> Decoder:
        """Make the decoder."""
        return SegmentDecoder(
            PAUSES,
            self.bits + len(PAUSES[-1]),
            self._read,
            silence_closes=True,
            joined_midstream=joined_midstream,
            noun="frame",
        )

    @abstractmethod
    def length(self, bits: list[int]) -> Displayed:
        """Make the length of a frame that has the right number of bits.

        Raises:
            InputError: a check of the format fails; the sentence says which.
        """

    def _read(self, raw: bytes, body: bytes) -> Item:
        if not body:
            return Noise(raw, "a pause with no bits before it")
        if body.strip(b"01"):
            return Noise(raw, "something other than 0 and 1 among the bits")
        if len(body) != self.bits:
            why = f"{len(body)} bits of {self.bits}"
            return Partial(raw, why) if len(body) < self.bits else Noise(raw, why)
        try:
            return Value(self.length([byte - ord("0") for byte in body]), raw)
        except InputError as fault:
            return Noise(raw, fault.what)


def number(bits: list[int]) -> int:
    """Read bits, least significant first.

    >>> number([0, 0, 1, 1])
    12
    """
    return sum(bit << place for place, bit in enumerate(bits))
