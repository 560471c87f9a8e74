"""What the tests of the bridge line share: drivers, frames that were captured, cutting."""

from __future__ import annotations

from itertools import pairwise

from gaugelink import content
from gaugelink.wire.driver import load_driver

CAPTURED = {
    "000000000000000000000000": "0.00 mm",
    "010011000000000000000000": "0.50 mm",
    "000101111100000000000000": "10.00 mm",
    "100111000000110000000000": "123.45 mm",
    "001001100000000000001000": "-1.00 mm",
    "000101111100000000000001": "0.5000 in",
    "100000000000000000000001": "0.0005 in",
}
"""Frames of a real caliper and what its display read: sigrok-dumps, folder caliper (public
domain)."""

PUBLISHED = "1111111111111111000100001000010011000010101011000000"
"""FFFF 8 012345 3 0, -12.345 mm: the example in a measuring-projector maker's manual."""

CHECK_VALUE = "29B1"
"""CRC-16/IBM-3740 of the text 123456789: catalogue of parametrised CRC algorithms."""


def frame_of(name):
    """The frame table of a driver that ships."""
    return load_driver(*content.read("drivers", name)).frame


def chunks_of(stream, cuts):
    """Cut a stream at these places."""
    places = sorted({min(cut, len(stream)) for cut in cuts} | {0, len(stream)})
    return [stream[a:b] for a, b in pairwise(places)]


def run(decoder, *chunks):
    """Feed all chunks and end the stream."""
    return [item for chunk in chunks for item in decoder.feed(chunk)] + decoder.end()
