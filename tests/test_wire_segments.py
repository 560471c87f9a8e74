"""Cutting a byte stream at its ends of line."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, strategies as st

from gaugelink.quantity import from_decimal
from gaugelink.wire.base import Item, Noise, Partial, Value, printable
from gaugelink.wire.segments import SegmentDecoder, clash

LONGEST = 8
ENDS = {
    "cr": [b"\r"],
    "lf": [b"\n"],
    "crlf": [b"\r\n"],
    "blank lf": [b" \n"],
    "lf or crlf": [b"\n", b"\r\n"],
    "cr or lf": [b"\r", b"\n"],
}
"""All the ends of line that gauges are known to send, and two mixtures."""


def read(raw: bytes, body: bytes) -> Item:
    """Take a line of digits for a value, anything else for noise."""
    if body.isdigit():
        return Value(from_decimal(int(body), 0, "mm"), raw)
    return Noise(raw, "no digits")


def by_definition(ends, stream, *, closes=False, joined=False):
    """Cut a stream one byte at a time, straight from the words of the definition."""
    items = []
    line = b""
    given_up = "joined" if joined else ""
    kept = max(map(len, ends)) - 1
    for place in range(len(stream)):
        line += stream[place : place + 1]
        matching = [end for end in ends if line.endswith(end)]
        if matching:
            body = line[: -max(map(len, matching))]
            kind = {"": read(line, body), "long": Noise(line, ""), "joined": Partial(line, "")}
            items.append(kind[given_up])
            line, given_up = b"", ""
        elif len(line) == LONGEST:
            items.append(Noise(line[: LONGEST - kept], ""))
            line, given_up = line[LONGEST - kept :], "long"
    if line and not given_up and closes:
        items.append(read(line, line.removesuffix(b"\r")))
    elif line:
        items.append(Noise(line, "") if given_up == "long" else Partial(line, ""))
    return items


def shape(items):
    """Items without their reasons."""
    return [(type(item), item.raw, getattr(item, "shown", None)) for item in items]


streams = st.lists(
    st.sampled_from([b"1", b"2", b"x", b" ", b"\r", b"\n", b"\r\n", b" \n", b"12\r", b"\xff"])
    | st.binary(max_size=20)
).map(b"".join)


def chunks_of(stream, cuts):
    places = sorted({min(cut, len(stream)) for cut in cuts} | {0, len(stream)})
    return [stream[a:b] for a, b in pairwise(places)]


@pytest.mark.parametrize("ends", ENDS.values(), ids=ENDS)
@given(
    stream=streams, cuts=st.lists(st.integers(0, 80)), closes=st.booleans(), joined=st.booleans()
)
def test_cutting_never_changes_the_items_and_no_byte_is_lost(ends, stream, cuts, closes, joined):
    """Any chunks give what the definition gives, and the items' bytes are the stream."""
    decoder = SegmentDecoder(ends, LONGEST, read, silence_closes=closes, joined_midstream=joined)
    items = [item for chunk in chunks_of(stream, cuts) for item in decoder.feed(chunk)]
    items += decoder.end()
    assert shape(items) == shape(by_definition(ends, stream, closes=closes, joined=joined))
    assert b"".join(item.raw for item in items) == stream


@given(
    pieces=st.lists(streams, max_size=5),
    cuts=st.lists(st.integers(0, 80)),
    closes=st.booleans(),
    joined=st.booleans(),
)
def test_pauses_in_known_places_give_the_same_items_however_the_bytes_are_cut(
    pieces, cuts, closes, joined
):
    def run(cut):
        decoder = SegmentDecoder(
            [b"\r\n"], LONGEST, read, silence_closes=closes, joined_midstream=joined
        )
        items = []
        for piece in pieces:
            for chunk in chunks_of(piece, cut):
                items += decoder.feed(chunk)
            items += decoder.gap()
        return items + decoder.end()

    assert run(cuts) == run([])
    assert b"".join(item.raw for item in run(cuts)) == b"".join(pieces)


def test_the_buffer_stays_within_the_longest_line():
    decoder = SegmentDecoder([b"\r\n"], LONGEST, read)
    for _ in range(1000):
        decoder.feed(b"x" * 999)
        assert len(decoder._buffer) < LONGEST


def test_a_line_of_exactly_the_longest_length_is_read_and_one_byte_more_is_not():
    decoder = SegmentDecoder([b"\r\n"], LONGEST, read)
    assert [type(item) for item in decoder.feed(b"123456\r\n")] == [Value]
    assert {type(item) for item in decoder.feed(b"1234567\r\n")} == {Noise}
    assert [type(item) for item in decoder.feed(b"123456\r\n")] == [Value]


def test_joining_midstream_drops_the_tail_of_a_longer_number():
    """2.1380 may be the tail of 12.1380."""
    decoder = SegmentDecoder([b"\r"], LONGEST, read, joined_midstream=True)
    tail, whole = decoder.feed(b"380\r12\r")
    assert isinstance(tail, Partial)
    assert "joined" in tail.why
    assert isinstance(whole, Value)


def test_a_pause_before_the_first_byte_proves_that_a_line_begins():
    decoder = SegmentDecoder([b"\r"], LONGEST, read, joined_midstream=True)
    assert decoder.gap() == []
    assert [type(item) for item in decoder.feed(b"12\r")] == [Value]


def test_a_pause_inside_a_line_drops_the_line_and_what_may_be_its_rest():
    decoder = SegmentDecoder([b"\r"], LONGEST, read)
    assert decoder.feed(b"1") == []
    assert decoder.gap() == [Partial(b"1", "a pause inside the line")]
    assert decoder.gap() == []
    rest, whole = decoder.feed(b"2\r34\r")
    assert rest == Partial(b"2\r", "the rest of a line that a pause had broken")
    assert isinstance(whole, Value)
    assert whole.shown.text == "34"


def test_a_pause_after_joining_inside_a_line_still_drops_up_to_the_end_of_line():
    decoder = SegmentDecoder([b"\r"], LONGEST, read, joined_midstream=True)
    decoder.feed(b"1")
    assert [type(item) for item in decoder.gap()] == [Partial]
    assert [type(item) for item in decoder.feed(b"2\r3\r")] == [Partial, Value]


def test_a_pause_does_not_revive_a_line_that_is_too_long():
    decoder = SegmentDecoder([b"\r"], LONGEST, read)
    assert [type(item) for item in decoder.feed(b"x" * 9)] == [Noise]
    assert [type(item) for item in decoder.gap()] == [Noise]
    assert [type(item) for item in decoder.feed(b"12\r34\r")] == [Noise, Value]


def test_a_pause_between_lines_changes_nothing():
    decoder = SegmentDecoder([b"\r"], LONGEST, read)
    decoder.feed(b"12\r")
    assert decoder.gap() == []
    assert [type(item) for item in decoder.feed(b"34\r")] == [Value]


def test_a_stream_that_ends_inside_a_line_gives_a_partial_and_ends_once():
    decoder = SegmentDecoder([b"\r"], LONGEST, read)
    assert decoder.feed(b"12") == []
    assert decoder.end() == [Partial(b"12", "the stream ended inside the line")]
    assert decoder.end() == []


@pytest.mark.parametrize(
    ("ends", "found"),
    [
        ([b"\r", b"\r\n"], (b"\r", b"\r\n")),
        ([b"\n\n", b"\n"], (b"\n", b"\n\n")),
        ([b"b", b"abc"], (b"b", b"abc")),
        ([b"\n", b"\r\n", b" \n"], None),
        ([b"\r", b"\n"], None),
        ([b"\n", b"\n"], None),
    ],
)
def test_ends_of_line_that_would_cut_each_other_are_found(ends, found):
    assert clash(ends) == found


def test_bytes_are_shown_as_plain_ascii():
    assert printable(b"a'b\"c\\\x00\r\n\xe9") == r"""a'b"c\\\x00\r\n\xe9"""
