"""The bridge line: several clocked gauges on one port."""

from __future__ import annotations

import csv
from collections import Counter
from pathlib import Path

import pytest
from bridge_kit import CAPTURED, CHECK_VALUE, PUBLISHED, chunks_of, frame_of, run
from hypothesis import example, given, strategies as st

from gaugelink.errors import InputError
from gaugelink.simulate.bridge import SimulatedBridge, checked
from gaugelink.simulate.encoders import Display, bcd52, scale24
from gaugelink.wire.base import Noise, Partial, Value
from gaugelink.wire.bridge import BridgeDecoder, Lost, Restarted
from gaugelink.wire.bridge_lines import (
    LONGEST,
    Bits,
    BridgeLines,
    Hello,
    Note,
    Status,
    ask_line,
    crc16,
    read_line,
    set_line,
    who_line,
)

FRAMES = {1: "scale24", 2: "bcd52", 3: "bcd52-inch8"}
ZERO = "0" * 24
CATALOGUE = Path(__file__).parents[2] / "shared" / "checks" / "crc_catalogue_check_values.csv"


@pytest.fixture(autouse=True)
def _no_folder_of_the_user(monkeypatch):
    monkeypatch.delenv("GAUGELINK_CONTENT", raising=False)


@pytest.fixture(scope="module")
def frames():
    return {channel: frame_of(name) for channel, name in FRAMES.items()}


def bridge_of(*channels):
    return SimulatedBridge(list(channels or FRAMES), run=0x1A2B)


def shown(items, channel):
    return [
        str(came.item.shown)
        for came in items
        if came.channel == channel and isinstance(came.item, Value)
    ]


def told(items, kind):
    return [came.item for came in items if isinstance(came.item, kind)]


def test_both_sides_reckon_the_check_value_of_the_catalogue():
    assert crc16(b"123456789") == CHECK_VALUE
    assert checked(b"123456789") == f"123456789{CHECK_VALUE}\n".encode()


def test_the_check_value_is_the_one_in_the_catalogue():
    if not CATALOGUE.exists():
        pytest.skip(f"the check files are not beside the project ({CATALOGUE})")
    rows = csv.reader(CATALOGUE.read_text(encoding="utf-8").splitlines())
    (found,) = [row for row in rows if row[0].startswith("CRC-16/IBM-3740")]
    assert found[1:] == ["16", "0x1021", "0xFFFF", "False", "False", "0x0", f"0x{CHECK_VALUE}"]


def test_every_gauge_of_a_bridge_is_read_by_its_own_driver(frames):
    """Captured frames of a caliper, and the published example of the thirteen digits."""
    bridge = bridge_of()
    stream = bridge.hello(12)
    for place, bits in enumerate(CAPTURED):
        stream += bridge.frame(1, bits, 1000 * place) + bridge.frame(2, PUBLISHED, 1000 * place + 7)
    items = run(BridgeDecoder(frames), stream)
    assert shown(items, 1) == list(CAPTURED.values())
    assert shown(items, 2) == ["-12.345 mm"] * 7
    assert [came.us for came in items if came.channel == 2] == [1000 * n + 7 for n in range(7)]
    assert b"".join(came.item.raw for came in items) == stream
    assert len(items) == 15


@given(
    counts=st.lists(st.integers(-999_999, 999_999), max_size=6),
    unit=st.sampled_from(["mm", "in"]),
)
def test_what_a_simulated_gauge_shows_arrives_through_a_simulated_bridge(frames, counts, unit):
    bridge = bridge_of()
    stream = b""
    wanted: dict[int, list[int]] = {1: [], 2: [], 3: []}
    for place, count in enumerate(counts):
        scale = Display(5 * count if unit == "in" else count, 4 if unit == "in" else 2, unit)
        stream += bridge.frame(1, scale24(scale).decode().strip(), place)
        wanted[1].append(scale.counts)
        for channel, inch_code in ((2, 1), (3, 8)):
            bits = bcd52(Display(count, 3, unit), inch_code).decode().strip()
            stream += bridge.frame(channel, bits, place)
            wanted[channel].append(count)
    items = run(BridgeDecoder(frames), stream)
    for channel, numbers in wanted.items():
        values = [came.item.shown for came in items if came.channel == channel]
        assert [int(value.text.replace(".", "")) for value in values] == numbers
        assert {value.unit for value in values} <= {unit}


def lines():
    """One line of each kind, and some that are none."""
    bridge = bridge_of(1, 2, 3, 9)
    return [
        bridge.hello(0),
        bridge.frame(1, ZERO, 5),
        bridge.frame(2, PUBLISHED, 2**32 - 1),
        bridge.frame(3, "01x", 7).replace(b"\n", b"\r\n"),
        bridge.frame(9, "1" * 129, 8),
        bridge.note(2, "silent", 10),
        bridge.status(2, 11, supply="unknown"),
        checked(b"@1 bits 1 000 4294967296 0 "),
        checked(b"@2 bits 1 000 0000000000 0 "),
        b"@1 bits 1 000 0000000000 0 0000\n",
        b"@\n",
        b"\n",
    ]


@given(
    pieces=st.lists(
        st.sampled_from(lines())
        | st.binary(max_size=30)
        | st.sampled_from([b"@", b"\r", b"x" * (LONGEST - 1), b"@" + b"1" * LONGEST]),
        max_size=12,
    ),
    cuts=st.lists(st.integers(0, 1500)),
    joined=st.booleans(),
)
@example(pieces=[b"x" * (LONGEST - 1), b"\n", b"@\n"], cuts=list(range(400)), joined=True)
def test_cutting_never_changes_the_items_and_every_byte_is_in_one(frames, pieces, cuts, joined):
    stream = b"".join(pieces)
    whole = run(BridgeDecoder(frames, joined_midstream=joined), stream)
    cut = run(BridgeDecoder(frames, joined_midstream=joined), *chunks_of(stream, cuts))
    assert cut == whole
    assert b"".join(came.item.raw for came in whole) == stream


def test_every_kind_of_line_is_read_and_has_one_spelling():
    bridge = SimulatedBridge([1, 4], run=0x00FE)
    raw = bridge.hello(4_294_967_295)
    assert read_line(raw) == Hello("00FE", "1.0.0", (1, 4), True, 4_294_967_295, raw)
    raw = bridge.frame(4, "01x", 3)
    assert read_line(raw) == Bits(4, 0, 3, b"01x", raw)
    raw = bridge.status(4, 9, dropped=12, supply="low")
    assert read_line(raw) == Status("00FE", 4, 1, 12, "low", 9, raw)
    raw = bridge.note(0, "refused", 1)
    assert read_line(raw) == Note(0, "refused", 1, raw)
    for other in (raw.lower(), raw.replace(b" ", b"  ", 1), b" " + raw):
        assert isinstance(read_line(other), Noise)


def test_any_single_changed_byte_is_noticed_and_costs_one_line(frames):
    """All 255 changes of every byte of a frame's line, between two others that are whole."""
    bridge = bridge_of()
    before, line, after = (bridge.frame(1, bits, 5) for bits in list(CAPTURED)[1:4])
    for place in range(len(line)):
        for change in range(1, 256):
            bad = bytearray(line)
            bad[place] ^= change
            items = run(BridgeDecoder(frames), before + bytes(bad) + after)
            values = shown(items, 1)
            assert values == ["0.50 mm", "123.45 mm"], bytes(bad)
            assert told(items, Lost) == [Lost(1)]
            assert told(items, Noise)


def test_up_to_three_changed_bits_in_a_line_always_change_its_check():
    """The check is linear: bits that cancel leave the same trace in it, and each an odd number."""
    body = b"@1 bits 1 000 0000000000 " + b"0" * 129 + b" "
    whole = int(crc16(body), 16)
    traces = []
    for place in range(8 * len(body)):
        bad = bytearray(body)
        bad[place // 8] ^= 1 << place % 8
        traces.append(int(crc16(bytes(bad)), 16) ^ whole)
    assert 0 not in traces
    assert len(set(traces)) == len(traces)
    assert all(trace.bit_count() % 2 for trace in traces)


def test_two_garbled_bytes_side_by_side_are_always_noticed_and_more_in_all_but_one_of_65536():
    """Each pair gives another check, so behind random bytes one pair in 65536 happens to fit."""
    found = Counter(crc16(bytes((first, second))) for first in range(256) for second in range(256))
    assert len(found) == 65536


@given(kept=st.lists(st.booleans(), max_size=60))
def test_lost_frames_are_counted_for_each_channel(frames, kept):
    bridge = bridge_of()
    stream, arrived, lost = bridge.hello(0), 0, 0
    pending = 0
    for place, keep in enumerate(kept):
        line = bridge.frame(1, ZERO, place)
        other = bridge.frame(2, PUBLISHED, place)
        stream += other + (line if keep else b"")
        arrived += keep
        pending = 0 if keep else pending + 1
        lost += not keep
    items = run(BridgeDecoder(frames), stream)
    assert len(shown(items, 1)) == arrived
    assert len(shown(items, 2)) == len(kept)
    assert sum(item.count for item in told(items, Lost)) == lost - pending
    # The bridge's next status tells of those at the end, too.
    items = run(BridgeDecoder(frames), stream + bridge.status(1, 99) + bridge.status(2, 99))
    assert sum(item.count for item in told(items, Lost)) == lost
    assert {came.channel for came in items if isinstance(came.item, Lost)} <= {1}


def test_the_sequence_number_wraps_without_a_loss(frames):
    bridge = bridge_of()
    stream = bridge.hello(0) + b"".join(bridge.frame(1, ZERO, n) for n in range(2005))
    items = run(BridgeDecoder(frames), stream)
    assert len(shown(items, 1)) == 2005
    assert told(items, Lost) == []


def test_the_time_is_counted_on_where_the_line_wraps(frames):
    bridge = bridge_of()
    times = [
        2**32 - 10,
        2**32 - 4,
        2**32 + 5,
        2**32 + 2**31,
        2**33 - 1,
        2**33 - 100,
        2**33 + 2**31 - 2,
    ]
    stream = b"".join(bridge.frame(1, ZERO, us) for us in times)
    assert [came.us for came in run(BridgeDecoder(frames), stream)] == times


def test_a_restart_of_the_bridge_is_told_and_is_no_loss(frames):
    first, second = bridge_of(), SimulatedBridge(list(FRAMES), run=0x0C0D)
    stream = first.hello(0) + first.frame(1, ZERO, 10**9) + first.frame(1, ZERO, 10**9 + 1)
    stream += b"@1 bits 1 00" + second.hello(3) + second.frame(1, ZERO, 40)
    items = run(BridgeDecoder(frames), stream)
    assert told(items, Lost) == []
    assert told(items, Restarted) == [Restarted()]
    assert [came.us for came in items][-1] == 40
    assert [type(came.item) for came in items][-4:] == [Noise, Restarted, Hello, Value]


def test_a_restart_whose_hello_is_lost_is_told_by_the_next_status(frames):
    first, second = bridge_of(), SimulatedBridge(list(FRAMES), run=0x0C0D)
    stream = first.hello(0) + first.frame(1, ZERO, 10**9)
    second.hello(0)
    second.frame(1, ZERO, 1)
    stream += second.status(1, 1_000_000) + second.frame(1, ZERO, 1_000_001)
    items = run(BridgeDecoder(frames), stream)
    assert [type(came.item) for came in items] == [Hello, Value, Restarted, Status, Value]
    assert items[-1].us == 1_000_001


def test_a_frame_that_is_lost_after_a_start_is_noticed_from_the_hello_on(frames):
    bridge = bridge_of()
    stream = bridge.hello(0)
    bridge.frame(1, ZERO, 1)
    items = run(BridgeDecoder(frames), stream + bridge.frame(1, ZERO, 2))
    assert told(items, Lost) == [Lost(1)]


def test_a_hello_on_request_changes_no_count(frames):
    bridge = bridge_of()
    stream = bridge.hello(0) + bridge.frame(1, ZERO, 1)
    bridge.frame(1, ZERO, 2)
    stream += bridge.hello(3, started=False) + bridge.frame(1, ZERO, 4)
    items = run(BridgeDecoder(frames), stream)
    assert told(items, Lost) == [Lost(1)]
    assert told(items, Restarted) == []


def test_joining_midstream_drops_the_tail_of_a_line_and_keeps_the_first_whole_one(frames):
    bridge = bridge_of()
    line, other = bridge.frame(1, ZERO, 1), bridge.frame(1, ZERO, 2)
    for place in range(1, len(line)):
        tail, whole = run(BridgeDecoder(frames, joined_midstream=True), line[place:] + other)
        assert isinstance(tail.item, Partial)
        assert isinstance(whole.item, Value)
    assert len(told(run(BridgeDecoder(frames, joined_midstream=True), line), Value)) == 1


def test_a_line_that_breaks_off_is_partial_and_never_completed(frames):
    line = bridge_of().frame(1, ZERO, 1)
    for place in range(1, len(line)):
        (came,) = run(BridgeDecoder(frames), line[:place])
        assert isinstance(came.item, Partial)
        decoder = BridgeDecoder(frames)
        assert decoder.feed(line[:place]) == []
        assert [type(came.item) for came in decoder.gap()] == [Partial]
        assert [type(came.item) for came in decoder.feed(line[place:])] == [Noise]


def test_bits_that_are_no_frame_stay_one_item_with_the_reason_of_the_codec(frames):
    bridge = bridge_of()
    stream = b"".join(bridge.frame(1, bits, 0) for bits in ("0" * 23, "0" * 129, "0" * 23 + "x"))
    few, many, spoiled = run(BridgeDecoder(frames), stream)
    assert isinstance(few.item, Partial)
    assert few.item.why == "23 bits of 24"
    assert isinstance(many.item, Noise)
    assert isinstance(spoiled.item, Noise)
    assert "other than 0 and 1" in spoiled.item.why
    assert {came.channel for came in (few, many, spoiled)} == {1}


def test_a_channel_without_a_gauge_is_noise_and_still_counted(frames):
    bridge = bridge_of(1, 7)
    stream = bridge.frame(7, "01", 1)
    bridge.frame(7, "01", 2)
    items = run(BridgeDecoder(frames), stream + bridge.frame(7, "01", 3))
    assert [type(came.item) for came in items] == [Noise, Lost, Noise]
    assert "channel 7 has no gauge" in items[0].item.why


def test_the_buffer_stays_within_the_longest_line():
    decoder = BridgeLines()
    for junk in (b"x" * 999, b"@" + b"1" * 999) * 50:
        decoder.feed(junk)
        assert len(decoder._line) < LONGEST


def test_a_request_names_a_channel_that_a_bridge_may_have():
    assert ask_line(9) == checked(b"@1 ask 9 ")
    assert set_line(1, "rising", 1_000, inverted=True) == checked(
        b"@1 set 1 rising 001000 inverted "
    )
    assert who_line() == checked(b"@1 who ")
    for channel in (0, 10):
        with pytest.raises(InputError, match="accepted: 1 to 9"):
            ask_line(channel)
    for pause_us in (0, 1_000_000):
        with pytest.raises(InputError, match="accepted: 1 to 999999"):
            set_line(1, "rising", pause_us)


def test_a_request_that_comes_back_as_an_echo_is_noise(frames):
    (came,) = run(BridgeDecoder(frames), ask_line(1))
    assert isinstance(came.item, Noise)
