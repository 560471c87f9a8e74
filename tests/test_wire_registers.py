"""Codec `modbus-registers`, and the finding of frames that have no end of line."""

from __future__ import annotations

import pytest
from hypothesis import given, strategies as st

from gaugelink import content
from gaugelink.wire.base import Noise, Partial, Value
from gaugelink.wire.driver import load_driver
from gaugelink.wire.modbus import crc16
from gaugelink.wire.registers import SECOND_PROGRAM, RegistersFrame

DRIVER = load_driver(*content.read("drivers", "modbus-registers"))
GOOD = DRIVER.examples[0].data


def frame(**settings):
    given = {"codec": "modbus-registers", "address": 1, "function": 3, "start": 0, "registers": 2,
             "value_at": 0, "bits": 32, "signed": True, "word_order": "high word first",
             "places": 3, "unit": "mm"}  # fmt: skip
    return RegistersFrame.model_validate(given | settings)


@pytest.mark.parametrize(
    ("data", "sent"),
    [("02 07", "41 12"), ("11 03 00 6B 00 03", "76 87"), ("01 04 02 FF FF", "B8 80")],
)
def test_the_check_of_known_frames_is_the_known_one(data, sent):
    """Frames of the Modbus guides; CRC by the serial line guide V1.02, 6.2.2, recomputed twice."""
    assert crc16(bytes.fromhex(data)).to_bytes(2, "little") == bytes.fromhex(sent)


def test_the_check_value_is_the_one_in_the_catalogue():
    """CRC-16/MODBUS over "123456789": Catalogue of parametrised CRC algorithms."""
    assert crc16(b"123456789") == 0x4B37


def test_the_request_asks_for_the_block_that_the_file_names():
    """Example of the Modbus guides: three holding registers from 0x6B of device 17."""
    asked = frame(address=17, start=0x6B, registers=3).request_bytes
    assert asked == bytes.fromhex("11 03 00 6B 00 03 76 87")


@given(count=st.integers(-(2**31), 2**31 - 1))
def test_word_order_and_sign_are_those_of_the_file(count):
    high, low = divmod(count % 2**32, 2**16)
    assert frame().length([high, low]).pm == count * 1_000_000
    assert frame(word_order="low word first").length([low, high]).pm == count * 1_000_000
    unsigned = frame(signed=False).length([high, low])
    assert unsigned.pm == (count % 2**32) * 1_000_000


def test_a_single_register_may_be_the_value():
    short = frame(bits=16, word_order=None, value_at=1, registers=2)
    assert short.length([5, 0xFFFF]).text == "-0.001"


@pytest.mark.parametrize("place", range(len(GOOD)))
@pytest.mark.parametrize("bit", range(8))
def test_no_single_turned_bit_gives_a_value(place, bit):
    spoiled = bytearray(GOOD)
    spoiled[place] ^= 1 << bit
    decoder = DRIVER.decoder()
    items = decoder.feed(bytes(spoiled)) + decoder.end()
    assert not any(isinstance(item, Value) for item in items)
    assert b"".join(item.raw for item in items) == bytes(spoiled)


def test_a_good_frame_behind_the_beginning_of_a_broken_one_is_read():
    for place in range(1, len(GOOD)):
        *junk, item = DRIVER.decoder().feed(GOOD[:place] + GOOD)
        assert isinstance(item, Value)
        assert {type(piece) for piece in junk} == {Noise}


def test_a_pause_ends_what_has_begun_and_the_next_answer_counts():
    decoder = DRIVER.decoder()
    assert decoder.feed(GOOD[:7]) == []
    assert decoder.gap() == [Partial(GOOD[:7], "a pause inside the frame")]
    assert [type(item) for item in decoder.feed(GOOD)] == [Value]


def test_the_echo_of_the_own_request_is_noise_and_the_answer_is_read():
    *junk, item = DRIVER.decoder().feed(DRIVER.request + GOOD)
    assert isinstance(item, Value)
    assert b"".join(piece.raw for piece in junk) == DRIVER.request


def test_the_buffer_stays_within_two_frames():
    decoder = DRIVER.decoder()
    for _ in range(500):
        decoder.feed(b"\x01\x03\x08\x00" * 50)
        assert len(decoder._buffer) <= 2 * len(GOOD)


@pytest.mark.parametrize(
    ("settings", "field"),
    [
        ({"value_at": 1}, "value_at"),
        ({"places": None, "places_at": 2}, "places_at"),
        ({"word_order": None}, "word_order"),
        ({"bits": 16}, "word_order"),
        ({"places": None}, "places"),
        ({"unit": None}, "unit"),
        ({"unit": None, "unit_at": 1}, "units"),
        ({"address": 0}, "address"),
        ({"address": 248}, "address"),
    ],
)
def test_settings_that_do_not_go_together_are_refused(settings, field):
    path, _ = frame(**settings).fault()
    assert path == ("frame", field)


def test_in_the_network_a_unit_may_be_any_byte():
    """Many devices with a plug of their own want 255 or 0 (from memory)."""
    for address in (0, 255):
        assert frame(framing="tcp", address=address).fault() is None


@given(
    start=st.integers(0, 65535).filter(lambda start: start >> 8 != 8),
    block=st.binary(min_size=8, max_size=8),
)
def test_whatever_a_second_program_asks_for_its_answer_is_never_our_value(start, block):
    """Requests from register 2048 to 2303 look like the head of our answer and are left out."""
    asked = bytes([1, 3]) + start.to_bytes(2, "big") + b"\x00\x04"
    answer = bytes([1, 3, 8]) + block
    stream = b"".join(part + crc16(part).to_bytes(2, "little") for part in (asked, answer))
    items = DRIVER.decoder().feed(stream)
    assert b"".join(item.raw for item in items) == stream
    ours = start == DRIVER.frame.start
    assert ours or {type(item) for item in items} == {Noise}
    assert SECOND_PROGRAM in items[0].why or ours
