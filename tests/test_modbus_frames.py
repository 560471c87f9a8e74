"""Frames as pymodbus makes them: ours are the same, byte for byte, and theirs are read as meant."""

from __future__ import annotations

import pytest
from hypothesis import given, strategies as st
from pymodbus.constants import ExcCodes
from pymodbus.framer import FramerRTU, FramerSocket
from pymodbus.pdu import DecodePDU, ExceptionResponse
from pymodbus.pdu.register_message import (
    ReadHoldingRegistersRequest,
    ReadHoldingRegistersResponse,
    ReadInputRegistersRequest,
    ReadInputRegistersResponse,
)

from gaugelink import content
from gaugelink.simulate.encoders import ENCODERS, Display
from gaugelink.wire.base import Noise, Value
from gaugelink.wire.driver import load_driver
from gaugelink.wire.modbus import EXCEPTIONS, TRANSACTION
from gaugelink.wire.registers import RegistersFrame

NAMES = ("modbus-registers", "modbus-registers-low", "modbus-tcp")
DRIVERS = {name: load_driver(*content.read("drivers", name)) for name in NAMES}
REQUESTS = {3: ReadHoldingRegistersRequest, 4: ReadInputRegistersRequest}
ANSWERS = {3: ReadHoldingRegistersResponse, 4: ReadInputRegistersResponse}
FRAMERS = {"rtu": FramerRTU, "tcp": FramerSocket}


def framed(framing, message):
    return FRAMERS[framing](DecodePDU(True)).buildFrame(message)


def frame(framing, address, function, start, count):
    return RegistersFrame(
        codec="modbus-registers", framing=framing, address=address, function=function, start=start,
        registers=count, value_at=0, bits=16, signed=True, places=3, unit="mm",
    )  # fmt: skip


@given(
    framing=st.sampled_from(sorted(FRAMERS)),
    address=st.integers(1, 247),
    function=st.sampled_from([3, 4]),
    start=st.integers(0, 65535),
    count=st.integers(1, 32),
)
def test_a_request_is_the_one_that_pymodbus_makes(framing, address, function, start, count):
    theirs = REQUESTS[function](
        address=start, count=count, dev_id=address, transaction_id=TRANSACTION
    )
    ours = frame(framing, address, function, start, count).request_bytes
    assert ours == framed(framing, theirs)


@given(
    framing=st.sampled_from(sorted(FRAMERS)),
    address=st.integers(1, 247),
    function=st.sampled_from([3, 4]),
    block=st.lists(st.integers(0, 65535), min_size=1, max_size=32),
)
def test_an_answer_that_pymodbus_makes_is_read_as_it_is_meant(framing, address, function, block):
    answer = ANSWERS[function](registers=block, dev_id=address, transaction_id=TRANSACTION)
    raw = framed(framing, answer)
    decoder = frame(framing, address, function, 0, len(block)).decoder()
    (item,) = decoder.feed(raw) + decoder.end()
    assert isinstance(item, Value)
    assert item.raw == raw
    assert item.shown.pm == (block[0] - 65536 * (block[0] > 32767)) * 1_000_000


@pytest.mark.parametrize("name", NAMES)
@given(
    counts=st.integers(-(2**31), 2**31 - 1),
    places=st.integers(0, 5),
    unit=st.sampled_from(["mm", "in"]),
)
def test_a_simulated_counter_sends_what_pymodbus_would(name, counts, places, unit):
    high, low = divmod(counts % 2**32, 2**16)
    value = [low, high] if name.endswith("low") else [high, low]
    block = [*value, places, 1 if unit == "in" else 0]
    answer = ReadHoldingRegistersResponse(registers=block, dev_id=1, transaction_id=TRANSACTION)
    theirs = framed(DRIVERS[name].frame.framing, answer)
    assert ENCODERS[name](Display(counts, places, unit)) == theirs


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("code", ExcCodes)
def test_an_exception_is_noise_and_says_what_it_means(name, code):
    raw = framed(DRIVERS[name].frame.framing, ExceptionResponse(3, code, 1, TRANSACTION))
    (item,) = DRIVERS[name].decoder().feed(raw)
    assert isinstance(item, Noise)
    assert item.why.startswith(f"the gauge reports: exception {int(code)}")
    assert (", " in item.why) == (code in EXCEPTIONS)


def test_every_exception_of_the_standard_has_its_words():
    """Code 7 belongs to an old function (programming) that reads no registers."""
    assert set(EXCEPTIONS) == {int(code) for code in ExcCodes} - {7}


@given(transaction=st.integers(0, 65535).filter(lambda number: number != TRANSACTION))
def test_the_answer_to_another_transaction_is_no_value(transaction):
    """MODBUS Messaging on TCP/IP V1.0b: the transaction pairs an answer with its request."""
    answer = ReadHoldingRegistersResponse(
        registers=[0, 7965, 3, 0], dev_id=1, transaction_id=transaction
    )
    raw = framed("tcp", answer)
    decoder = DRIVERS["modbus-tcp"].decoder()
    assert not any(isinstance(item, Value) for item in decoder.feed(raw) + decoder.end())
