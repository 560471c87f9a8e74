"""Codec `hid-report`: reports laid out by a driver file, read whole or not at all."""
# ruff: noqa: D102  the name of a test is its promise

from __future__ import annotations

import random
import struct
from itertools import pairwise

import pytest
from hypothesis import given, strategies as st

from gaugelink import content
from gaugelink.errors import InputError
from gaugelink.simulate.encoders import Display, hid_report
from gaugelink.wire.base import Noise, Partial, Value
from gaugelink.wire.driver import load_driver
from gaugelink.wire.hidreport import HidReportFrame

SHIPPED, _ = content.read("drivers", "hid-report")
DRIVER = load_driver(SHIPPED, "hid-report.toml")
GOOD = DRIVER.examples[0].data

COUNTED = {
    "codec": "hid-report", "size": 6, "report_id": 7, "constants": {"5": 0x47}, "value_at": 1,
    "bits": 16, "signed": True, "byte_order": "low byte first", "places": 3, "unit": "mm",
    "counter_at": 3, "checksum": "xor", "checksum_at": 4,
}  # fmt: skip


def frame(**settings) -> HidReportFrame:
    found = {key: value for key, value in (COUNTED | settings).items() if value is not None}
    made = HidReportFrame.model_validate(found)
    assert made.fault() is None
    return made


def counted(count: int, counter: int) -> bytes:
    """A report of the layout above, by the description alone."""
    head = struct.pack("<BhB", 7, count, counter)
    return head + bytes([head[0] ^ head[1] ^ head[2] ^ head[3], 0x47])


def run(decoder, *chunks):
    return [item for chunk in chunks for item in decoder.feed(chunk)] + decoder.end()


def shown(items) -> list[str]:
    return [str(item.shown) for item in items if isinstance(item, Value)]


@pytest.mark.parametrize("bits", [8, 16, 24, 32])
@pytest.mark.parametrize("order", ["low byte first", "high byte first"])
@given(data=st.data())
def test_size_sign_and_order_of_the_count_are_those_of_the_file(bits, order, data):
    settings = frame(
        size=16, bits=bits, byte_order=order if bits > 8 else None, value_at=6, counter_at=None
    )
    count = data.draw(st.integers(-(2 ** (bits - 1)), 2 ** (bits - 1) - 1))
    twos = count % 2**bits
    low_first = [twos >> 8 * place & 255 for place in range(bits // 8)]
    field = low_first if order == "low byte first" else low_first[::-1]
    raw = bytes(6) + bytes(field) + bytes(10 - len(field))
    assert settings.length(raw).pm == count * 1_000_000
    unsigned = settings.model_copy(update={"signed": False})
    assert unsigned.length(raw).pm == twos * 1_000_000


@pytest.mark.parametrize("place", range(len(GOOD)))
@pytest.mark.parametrize("bit", range(8))
def test_no_single_turned_bit_gives_a_value(place, bit):
    spoiled = bytearray(GOOD)
    spoiled[place] ^= 1 << bit
    items = run(DRIVER.decoder(), bytes(spoiled))
    assert shown(items) == []
    assert b"".join(item.raw for item in items) == bytes(spoiled)


def test_a_check_by_hand_is_the_check_of_the_codec():
    """51+1D+1F+13 = A0 (added by hand); 7 xor 1 xor 2 xor 3 = 7."""
    assert shown(run(DRIVER.decoder(), bytes.fromhex("51 1d 1f 00 00 13 00 a0"))) == ["7.965 mm"]
    assert shown(run(frame().decoder(), bytes.fromhex("07 01 02 03 07 47"))) == ["0.513 mm"]


@pytest.mark.parametrize(("kind", "begins", "check"), [
    ("sum", 0, 0x0D), ("sum", 1, 0x06), ("sum", 2, 0x05),
    ("xor", 0, 0x07), ("xor", 1, 0x00), ("xor", 2, 0x01),
])  # fmt: skip
def test_the_check_sum_is_made_of_the_bytes_that_the_file_says(kind, begins, check):
    """07 01 02 03, added and exclusive-ored by hand from the first, second and third byte on."""
    settings = frame(checksum=kind, checksum_from=begins)
    good = bytes([7, 1, 2, 3, check, 0x47])
    assert shown(run(settings.decoder(), good)) == ["0.513 mm"]
    assert shown(run(settings.decoder(), good[:4] + bytes([check ^ 1, 0x47]))) == []


class TestCounter:
    """A report that is sent twice counts once."""

    def test_the_same_report_again_is_no_new_reading(self):
        first, second = run(frame().decoder(), counted(7965, 1), counted(7965, 1))
        assert str(first.shown) == "7.965 mm"
        assert isinstance(second, Noise)
        assert second.why == "the counter is 1 again: a report that came before"

    def test_the_same_value_with_the_next_counter_is_one(self):
        items = run(frame().decoder(), counted(7965, 255), counted(7965, 0), counted(7965, 1))
        assert shown(items) == ["7.965 mm"] * 3

    def test_another_value_with_the_counter_of_the_last_one_is_none(self):
        """Which of the two is wrong cannot be told."""
        assert shown(run(frame().decoder(), counted(1, 9), counted(2, 9))) == ["0.001 mm"]

    def test_a_pause_does_not_make_a_repeat_a_reading(self):
        decoder = frame().decoder()
        decoder.feed(counted(1, 9))
        assert decoder.gap() == []
        assert shown(decoder.feed(counted(1, 9))) == []

    def test_a_new_stream_begins_with_any_counter(self):
        for _ in range(2):
            assert shown(run(frame().decoder(), counted(1, 9))) == ["0.001 mm"]

    def test_a_spoiled_report_leaves_the_counter_alone(self):
        spoiled = bytearray(counted(1, 9))
        spoiled[1] ^= 4
        assert shown(run(frame().decoder(), bytes(spoiled), counted(1, 9))) == ["0.001 mm"]

    @given(
        said=st.lists(st.tuples(st.integers(-32768, 32767), st.integers(0, 3)), max_size=8),
        data=st.data(),
    )
    def test_cutting_never_changes_what_is_a_repeat(self, said, data):
        stream = b"".join(counted(*one) for one in said)
        wanted = [
            one for before, one in pairwise([(0, -1), *said]) if one[1] != before[1]
        ]  # the first has nothing before it
        cuts = data.draw(st.lists(st.integers(0, len(stream)), max_size=8).map(sorted))
        pieces = [stream[a:b] for a, b in pairwise([0, *cuts, len(stream)])]
        items = run(frame().decoder(), *pieces)
        assert items == run(frame().decoder(), stream)
        found = [item.shown.pm // 1_000_000 for item in items if isinstance(item, Value)]
        assert found == [count for count, _ in wanted]


class TestOtherReports:
    """Reports of the same gauge that are about something else."""

    SETTINGS = frame(other_reports={"2": 3, "3": 9})

    def test_are_passed_over_whole_even_if_one_looks_like_a_value_inside(self):
        inside = b"\x03" + counted(1111, 1) + b"\0\0"
        first, second, third = run(
            self.SETTINGS.decoder(), b"\x02\x07\x07", inside, counted(7965, 5)
        )
        assert first.why == "report 2, which is not the one with the value"
        assert isinstance(second, Noise)
        assert second.raw == inside
        assert str(third.shown) == "7.965 mm"

    def test_that_are_not_listed_are_looked_through_for_a_report(self):
        assert shown(run(frame().decoder(), b"\x03\0\0", counted(7965, 5))) == ["7.965 mm"]


@given(reports=st.lists(st.integers(1 - 2**31, 2**31 - 1), min_size=1, max_size=5), data=st.data())
def test_good_reports_come_out_of_any_junk_around_them_and_in_order(reports, data):
    """Junk without the identifier: nothing of it can run into a report."""
    junk = st.binary(max_size=20).map(lambda some: some.replace(b"\x51", b"\x50"))
    wanted, stream = [], data.draw(junk)
    for count in reports:
        # 2000 m is no gauge's length, but the record's own limit is further out
        stream += hid_report(Display(count, 3, "mm")) + data.draw(junk)
        wanted.append(count * 1_000_000)
    cuts = data.draw(st.lists(st.integers(0, len(stream)), max_size=8).map(sorted))
    items = run(DRIVER.decoder(), *(stream[a:b] for a, b in pairwise([0, *cuts, len(stream)])))
    assert [item.shown.pm for item in items if isinstance(item, Value)] == wanted
    assert b"".join(item.raw for item in items) == stream


def test_the_middle_of_two_reports_is_never_taken_for_a_third():
    """Ten thousand pairs, joined in every place that is no beginning. Seed 5."""
    chance = random.Random(5)
    for _ in range(2_000):
        pair = b"".join(
            hid_report(Display(chance.randrange(1 - 2**31, 2**31), 3, "mm")) for _ in range(2)
        )
        for place in range(1, 8):
            *_, last = run(DRIVER.decoder(joined_midstream=True), pair[place:])
            assert isinstance(last, Value)
            assert last.raw == pair[8:]


def test_a_pause_inside_a_report_breaks_it():
    decoder = DRIVER.decoder()
    decoder.feed(GOOD[:5])
    [broken] = decoder.gap()
    assert isinstance(broken, Partial)
    assert shown(decoder.feed(GOOD[5:] + GOOD)) == ["7.965 mm"]


def test_a_request_is_written_in_hexadecimal():
    asked = SHIPPED.replace('"when pressed"', '"when asked"').replace(
        "size = 8 ", 'request = "51 01"\nsize = 8 '
    )
    assert load_driver(asked, "x.toml").request == b"\x51\x01"
    assert DRIVER.request is None


def change(old: str, new: str) -> str:
    assert SHIPPED.count(old) >= 1
    return SHIPPED.replace(old, new, 1)


@pytest.mark.parametrize(
    ("text", "field", "words"),
    [
        (change("value_at = 1", "value_at = 2"), "frame.places_at", "byte 5, bit 0 is that of"),
        (change("value_at = 1", "value_at = 0"), "frame.report_id", "that of value_at already"),
        (change("size = 8 ", "size = 7 "), "frame.checksum_at", "inside 7 bytes"),
        (change("places_bits = [0, 3]", "places_bits = [0, 4]"), "frame.unit_at", "byte 5, bit 4"),
        (change("places_bits = [0, 3]", "places_bits = [3, 0]"), "frame.places_bits", "first and"),
        (change("unit_at = 5", "unit = 'mm'"), "frame.units", "both or neither"),
        (change("unit_at = 5", "unit_at = 5\nunit = 'mm'"), "frame.unit", "one of them"),
        (change("places_at = 5", ""), "frame.places", "places or places_at"),
        (change('byte_order = "low byte first"', ""), "frame.byte_order", "more than 8 bits"),
        (change("checksum_at = 7", ""), "frame.checksum", "both or neither"),
        (change("checksum_at = 7", "checksum_at = 7\nchecksum_from = 7"), "frame.checksum_from",
         "before checksum_at"),
        (change('1 = "mm"', '4 = "mm"'), "frame.units", "numbers that 2 bits can be"),
        (change('1 = "mm"', '01 = "mm"'), "frame.units", "found '01'"),
        (change("2 = 2", "x = 2"), "frame.place_codes", "found 'x'"),
        (change('mode = "max"', 'mode = "max"\nnote = "maximum"'), "frame.flag.3", "one of note"),
        (change("bit = 3", "bit = 2"), "frame.flag", "byte 6, bit 2 is that of flag already"),
        (change("[frame.units]", "[frame.constants]\n9 = 1\n[frame.units]"), "frame.constants",
         "inside 8 bytes"),
        (change("[frame.units]", "[frame.constants]\n7 = 1\n[frame.units]"), "frame.checksum_at",
         "that of constants already"),
        (change("[frame.units]", "[frame.other_reports]\n81 = 8\n[frame.units]"),
         "frame.other_reports", "other than report_id"),
        (change('checksum = "sum"\nchecksum_at = 7', ""), "frame.size",
         "random bytes would pass one time in 32768, accepted: less than one in 65536"),
        (change('kind = "usb-hid"', 'kind = "serial"'), "port.vid", "a serial port has no such"),
        (change('kind = "usb-hid"', 'kind = "usb-hid"\nbaud = 9600'), "port.baud",
         "a usb-hid port has no such setting"),
        (change("pid = 0x0001", ""), "port.vid", "both or neither"),
        (change("pid = 0x0001", "pid = 0x0001\nendpoint = 1"), "port.endpoint", "129"),
    ],
)  # fmt: skip
def test_a_layout_that_cannot_be_is_refused_with_its_place(text, field, words):
    with pytest.raises(InputError) as fault:
        load_driver(text, "x.toml")
    assert fault.value.field == field
    assert words in fault.value.what
    assert fault.value.line
