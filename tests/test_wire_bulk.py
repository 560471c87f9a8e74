"""A recording decoded at once: the same items as the streaming decoder gives."""

from __future__ import annotations

import pytest
from hypothesis import example, given, strategies as st

from gaugelink import content
from gaugelink.wire.base import Noise, Value
from gaugelink.wire.bulk import LineBlocks
from gaugelink.wire.columns import Columns
from gaugelink.wire.driver import load_driver

DRIVERS = {name: load_driver(*content.read("drivers", name)) for name in content.names("drivers")}


def streamed(driver, data):
    decoder = driver.decoder()
    return decoder.feed(data) + decoder.end()


def same(driver, data):
    """Hold the columns against the streaming decoder, item by item and column by column."""
    wanted = streamed(driver, data)
    found = driver.decode_all(data)
    assert list(found.items()) == wanted
    values = [item for item in wanted if isinstance(item, Value)]
    assert len(found) == len(values)
    assert found.pm == [value.shown.pm for value in values]
    assert found.units == [value.shown.unit for value in values]
    assert found.raw == [value.raw for value in values]
    return found


@pytest.mark.parametrize("name", DRIVERS)
@given(data=st.data())
def test_a_recording_gives_the_items_of_the_streaming_decoder(name, data):
    """Good frames many times over, with every kind of example and junk among them."""
    driver = DRIVERS[name]
    frames = [item.data for item in driver.examples]
    good = [item.data for item in driver.examples if item.value is not None]
    piece = (
        st.sampled_from(frames)
        | st.binary(max_size=12)
        | st.tuples(st.sampled_from(good), st.integers(1, 40)).map(lambda it: it[0] * it[1])
    )
    same(driver, b"".join(data.draw(st.lists(piece, max_size=8))))


def made(pattern, keys='unit = "mm"', sample="1.5", end="\\r"):
    return load_driver(
        f"""
[driver]
name = "made-up"
title = "Made up for a test"
gauges = ["indicator"]
[port]
kind = "serial"
[frame]
codec = "line"
ends_with = "{end}"
pattern = '{pattern}'
{keys}
[[example]]
bytes = "{sample}{end}"
value = "1.5"
unit = "mm"
""",
        "made-up.toml",
    )


PATTERNS = {
    "crosses lines": made(r"[^x]*?(?P<digits>\d+[.,]?\d*)[^y]*"),
    "looks ahead": made(r"(?P<digits>\d+[.,]\d(?!\d))\d*"),
    "anchored": made(r"^(?P<digits>[\d., ]+)$"),
    "bounded": made(r"(?P<digits>\d*[.,]?\d*)\b.?"),
    "refers back": made(r"(a?)(?P<digits>[\d.]+)\1"),
    "any sign": made(r"(?P<sign>[+\-\u2212 ]*)(?P<digits>[\d.,]*)x?"),
    "optional number": made(r"(?P<sign>-)?(?P<digits>\d+[.,]\d+)?"),
    "letters": made(r"(?P<mode>H?)(?P<sign>[+-]?)(?P<digits>\d+[.,]\d*)(?P<unit>mm|in)?",
         '[frame.units]\nmm = "mm"\nin = "in"\n"" = "mm"\n'
         '[frame.modes]\n"" = "actual"\nH = "hold"'),
    "words with digits": made(r"(?P<digits>[\d.]+)", 'unit = "mm"\n[frame.errors]\n"2.5" = "off"'),
    "two bytes at the end": made(r"(?P<digits>[\d.\r\n]+)", end="\\r\\n"),
    "places from the file": made(r"(?P<sign>[+-]?)(?P<digits>[\d. ]+)",
         'unit = "mm"\nplaces = 1', sample="15"),
    "no places": made(r"(?P<point>\d?)(?P<digits>[\d.,]*)", sample="115"),
    "a point apart, across lines": made(r"(?P<point>\d)(?P<digits>[\d\n]+)", sample="115"),
    "signs in letters": made(r"(?P<sign>[axy ]*)(?P<digits>[\d.]+)",
         'unit = "mm"\n[frame.signs]\na = "-"\nx = "+"\n"" = "+"'),
    "signs and places": made(r"(?P<digits>\d*)(?P<sign>[+-])?",
         'unit = "mm"\nplaces = 1\n[frame.signs]\n"-" = "+"\n"+" = "-"\n"" = "+"', sample="15"),
    "an end that overlaps itself": made(r"(?P<digits>[\d.]+)", end="\\r\\r"),
}  # fmt: skip


@pytest.mark.parametrize("driver", PATTERNS.values(), ids=PATTERNS)
@given(
    lines=st.lists(
        st.text("0123456789.,+-\u2212 axyHmin\r\n", max_size=9).map(str.encode)
        | st.sampled_from(
            [b"1.5", b"2.5", b"-0.0", b"9" * 30, b"9" * 17, b"0.1234567891", b"\xff"]
        ),
        max_size=30,
    ),
    end=st.sampled_from([b"\r", b"\r\n", b"\r\r", b""]),
)
@example(lines=[b"1.5"] * 20, end=b"\r")
@example(lines=[b"1.5"] * 20, end=b"\r\n")
@example(lines=[b"1.5"] * 20 + [b"\xff"] + [b"1.5"] * 20, end=b"\r")
def test_no_pattern_means_something_else_in_a_block(driver, lines, end):
    same(driver, b"".join(line + end for line in lines))


def test_what_could_look_beyond_its_line_is_not_tried_as_a_block():
    """The way round by the streaming decoder is slower, and never wrong."""
    for name in ("looks ahead", "anchored", "bounded", "refers back"):
        assert not LineBlocks.suits(PATTERNS[name].frame.pattern, (b"\r",))
    for name in ("crosses lines", "any sign", "optional number"):
        assert LineBlocks.suits(PATTERNS[name].frame.pattern, (b"\r",))
    assert not LineBlocks.suits("x", (b"\r\r",))
    assert not LineBlocks.suits("x", (b"\n", b"\r\n"))
    assert not LineBlocks.suits("x", ("\u2212".encode(),))


class OnlyTails:
    """A decoder that must be given nothing: whatever it gets was not read in a block."""

    def feed(self, data):
        """Take nothing."""
        assert not data
        return []

    def end(self):
        """There is nothing left."""
        return []


LINES = [name for name, driver in DRIVERS.items() if driver.frame.codec == "line"]


def test_there_are_drivers_of_lines():
    assert len(LINES) >= 8


@pytest.mark.parametrize("name", LINES)
def test_the_values_of_every_shipped_driver_of_lines_are_read_in_blocks(name):
    """Places, points and signs in letters too; the examples that give values, over and over."""
    driver = DRIVERS[name]
    values = [one.data for one in driver.examples if one.value is not None]
    usual = [data for data in values if b"\xe2\x88\x92" not in data]  # the minus of typography
    whole = b"".join(usual) * 40
    found = driver.frame.decode_all(whole, OnlyTails())
    assert list(found.items()) == streamed(driver, whole)
    assert len(found) == 40 * len(usual)


def test_the_columns_of_a_recording_are_its_values_and_the_rest_keeps_its_place():
    found = same(DRIVERS["signed-line"], b"+ 7.965 MM\r- 0.3124 IN\rx\r+ 1.00 MM\r" * 3)
    assert found.pm[:3] == [7_965_000_000, -7_934_960_000, 1_000_000_000]
    assert (found.counts[:3], found.places[:3]) == ([7965, -3124, 100], [3, 4, 2])
    assert found.units[:2] == ["mm", "in"]
    assert [before for before, _ in found.others] == [2, 5, 8]
    assert {type(item) for _, item in found.others} == {Noise}


def test_an_empty_recording_has_empty_columns():
    assert DRIVERS["signed-line"].decode_all(b"") == Columns()
