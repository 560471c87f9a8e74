"""Codec `line`: a number in a line of text, with what the gauge says around it.

`gaugelink.wire.line_shape` has the keys of the driver file, `gaugelink.wire.line_reader` reads one
line, and `gaugelink.wire.bulk` a whole recording of them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.wire.bulk import LineBlocks
from gaugelink.wire.line_reader import LineReader
from gaugelink.wire.line_shape import LineShape
from gaugelink.wire.segments import SegmentDecoder

if TYPE_CHECKING:
    from gaugelink.wire.base import Decoder
    from gaugelink.wire.columns import Columns


class LineFrame(LineShape):
    """The ``[frame]`` table of codec `line`; docs/drivers.md explains every key."""

    def decoder(self, *, joined_midstream: bool = False) -> Decoder:
        """Make the decoder."""
        return SegmentDecoder(
            self.ends, self.longest, LineReader(self).read, joined_midstream=joined_midstream
        )

    def decode_all(self, data: bytes, decoder: Decoder) -> Columns:
        """Decode a whole recording, block by block where the pattern allows it."""
        if not LineBlocks.suits(self.pattern, self.ends):
            return super().decode_all(data, decoder)
        return LineBlocks(
            LineReader(self), self.pattern, self.ends[0], self.longest, decoder
        ).decode(data)
