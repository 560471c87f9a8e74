"""The bridge's program, run by a real MicroPython, and read by the drivers on the computer."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from bridge_kit import CAPTURED, CHECK_VALUE, PUBLISHED, frame_of, run

from gaugelink import content
from gaugelink.simulate.bridge import SimulatedBridge, checked
from gaugelink.simulate.encoders import Display, bcd52, scale24
from gaugelink.wire.base import Noise, Partial, Value
from gaugelink.wire.bridge import BridgeDecoder, Lost
from gaugelink.wire.bridge_lines import Hello, Note, Status

HERE = Path(__file__).parent
PACKAGE = HERE.parent / "node_modules/@micropython/micropython-webassembly-pyscript/micropython.mjs"
CAPTURES = HERE.parents[1] / "shared" / "captures"
CALIPER, THIRTEEN = (2, 3), (6, 7)
"""Pins of CLK and DATA in the wiring.py that ships: channel 1, channel 2. REQ of 2 is pin 8."""


CLK_CHANGES_US = (
    271, 400, 456, 579, 633, 768, 822, 957, 1195, 1327, 1382, 1514, 1570, 1704, 1758, 1882, 2112,
    2245, 2299, 2426, 2479, 2608, 2659, 2789, 3021, 3159, 3214, 3337, 3390, 3520, 3571, 3701, 3939,
    4076, 4128, 4264, 4316, 4446, 4495, 4624, 4888, 5021, 5074, 5205, 5255, 5379, 5433, 5560,
)  # fmt: skip
DATA_CHANGES_US = (
    374, 480, 555, 660, 931, 1219, 1297, 1409, 1858, 2140, 2218, 2322, 2401, 2505, 2583, 2684, 2763,
    3052, 3132, 3237, 3310, 3415, 3494, 3598, 3672, 3966, 4050, 4155, 4239, 4342, 4420, 4523, 4596,
    4915, 5178, 5280, 5353, 5459, 5536, 5694,
)  # fmt: skip
"""One frame of a real caliper whose display read -1 mm: when its wires changed, both high before.
Source: sigrok-dumps, folder caliper (public domain), the capture at -1 mm."""


def program():
    (folder,) = [path for path in content.folders("hardware_notes") if (path / "bridge").is_dir()]
    names = ("bridge_lines.py", "main.py", "wiring.py")
    return {name: (folder / "bridge" / name).read_text(encoding="utf-8") for name in names}


def micropython(code, **changed):
    """Run code beside the bridge's files; give the document that it prints."""
    node = shutil.which("node")
    if node is None or not PACKAGE.exists():
        missing = "Node.js" if node is None else f"{PACKAGE.parent.name} (npm ci)"
        if os.environ.get("GAUGELINK_NO_SKIP") == "1":
            pytest.fail(f"{missing} is missing, and nothing may be skipped")
        pytest.skip(f"{missing} is not here: the bridge's program cannot be run")
    files = program() | {"board.py": (HERE / "board.py").read_text(encoding="utf-8")} | changed
    document = json.dumps({"files": files, "program": code})
    done = subprocess.run(
        [node, str(HERE / "micropython.mjs"), str(PACKAGE)],
        input=document.encode(), capture_output=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr.decode()
    return json.loads(done.stdout.decode().splitlines()[-1])


def play(events, *, until=None, late_us=15, loop_us=700, start_us=0, supply="None", room=1024):
    """Let the program live through events; give its lines and what REQ did."""
    last = max(us for us, _, _ in events)
    wiring = program()["wiring.py"].replace("SUPPLY = None", f"SUPPLY = {supply}")
    code = f"""
import sys, json
sys.path.insert(0, "/lib")
import board
board.install()
board.now[0] = {start_us}
import bridge_lines
import main
bridge = main.Bridge(board.wire_out.append, board.read, 0x00FE)
for channel in bridge._channels.values():
    channel._room = {room}
events = json.loads({json.dumps(json.dumps(sorted(events, key=lambda event: event[0])))})
board.play(bridge, events, until={until or last + 30_000}, late_us={late_us}, loop_us={loop_us})
board.show()
"""
    played = micropython(code, **{"wiring.py": wiring})
    assert played["python"] == "micropython"
    return played["lines"].encode(), played["asked"]


def clocked(pins, bits, at, *, bit_us=185, steady="high"):
    """Levels of a gauge that clocks these bits out; DATA changes in the middle of the other half.

    With ``steady="high"`` DATA is good from before the rising edge until well after it; with
    ``"low"`` while the clock is low, as the thirteen digits have it.
    """
    clk, data = pins
    events = []
    for place, bit in enumerate(bits):
        us = at + place * bit_us
        edges = (0, 1) if steady == "high" else (1, 0)
        events += [[us, clk, edges[0]], [us + bit_us // 4, data, int(bit)]]
        events += [[us + bit_us // 2, clk, edges[1]]]
    return [*events, [at + len(bits) * bit_us, clk, 1]]


def decoded(lines):
    decoder = BridgeDecoder({1: frame_of("scale24"), 2: frame_of("bcd52")})
    items = run(decoder, lines)
    assert b"".join(came.item.raw for came in items) == lines
    return items


def shown(items, channel):
    return [
        str(came.item.shown)
        for came in items
        if came.channel == channel and isinstance(came.item, Value)
    ]


def kinds(items, *those):
    return [came.item for came in items if isinstance(came.item, those)]


@pytest.fixture(autouse=True)
def _no_folder_of_the_user(monkeypatch):
    monkeypatch.delenv("GAUGELINK_CONTENT", raising=False)


def test_the_board_reckons_the_check_value_of_the_catalogue_and_the_lines_of_the_simulation():
    bridge = SimulatedBridge([1, 2], run=0x00FE)
    wanted = [
        bridge.hello(2**32 - 1),
        bridge.frame(2, PUBLISHED, 5),
        bridge.hello(7, started=False),
    ]
    wanted += [bridge.status(2, 9, dropped=12, supply="low"), bridge.note(1, "busy", 8)]
    made = micropython(f"""
import sys, json
sys.path.insert(0, "/lib")
from bridge_lines import *
lines = [
    hello_line(0x00FE, "12", 2**32 - 1, started=True), bits_line(2, 0, 5, {PUBLISHED!r}),
    hello_line(0x00FE, "12", 2**32 + 7, started=False),
    status_line(0x00FE, 2, 1001, 12, "low", 9), note_line(1, "busy", 8),
]
check = "%04X" % crc16(b"123456789")
print(json.dumps({{"check": check, "lines": [line.decode() for line in lines]}}))
""")
    assert made == {"check": CHECK_VALUE, "lines": [line.decode() for line in wanted]}


def test_two_gauges_at_once_arrive_as_their_displays_read():
    """Captured frames on channel 1; on channel 2 the published example, meanwhile."""
    events = []
    for place, bits in enumerate(CAPTURED):
        events += clocked(CALIPER, bits, 5_000 + 72_000 * place)
        events += clocked(THIRTEEN, PUBLISHED, 7_000 + 72_000 * place, bit_us=428, steady="low")
    items = decoded(play(events)[0])
    assert shown(items, 1) == list(CAPTURED.values())
    assert shown(items, 2) == ["-12.345 mm"] * 7
    assert kinds(items, Noise, Partial, Lost) == []
    times = [came.us for came in items if came.channel == 1 and isinstance(came.item, Value)]
    assert times == [5_000 + 185 // 2 + 15 + 72_000 * place for place in range(7)]


def test_what_the_simulated_gauges_show_comes_through():
    scales = [Display(count, 2, "mm") for count in (0, -1, 12_345, -99_999)]
    digits = [Display(count, 4, "in") for count in (0, -1, 3_124, 999_999)]
    events = []
    for place, (scale, display) in enumerate(zip(scales, digits, strict=True)):
        bits = scale24(scale).decode().strip()
        events += clocked(CALIPER, bits, 5_000 + 72_000 * place)
        bits = bcd52(display).decode().strip()
        events += clocked(THIRTEEN, bits, 6_000 + 72_000 * place, bit_us=428, steady="low")
    items = decoded(play(events)[0])
    assert shown(items, 1) == ["0.00 mm", "-0.01 mm", "123.45 mm", "-999.99 mm"]
    assert shown(items, 2) == ["0.0000 in", "-0.0001 in", "0.3124 in", "99.9999 in"]


def test_ticks_that_wrap_and_a_busy_main_loop_change_nothing():
    """The board's ticks wrap at 2**30; the main loop comes round once in four frames."""
    start = (1 << 30) - 100_000
    events = []
    for place, bits in enumerate(CAPTURED):
        events += clocked(CALIPER, bits, start + 5_000 + 72_000 * place)
    items = decoded(play(events, start_us=start, loop_us=280_000, until=start + 900_000)[0])
    assert shown(items, 1) == list(CAPTURED.values())
    times = [came.us for came in items if isinstance(came.item, Value)]
    assert times == [5_000 + 107 + 72_000 * place for place in range(7)]


def test_clocks_that_find_no_room_spoil_the_frame_and_never_shorten_it():
    events = []
    for place in range(4):
        events += clocked(CALIPER, "0" * 24, 5_000 + 72_000 * place)
    lines, _ = play(events, room=32, loop_us=150_000, until=1_200_000)
    items = decoded(lines)
    assert set(shown(items, 1)) <= {"0.00 mm"}
    assert b"x" in lines
    (one, _) = kinds(items, Status)
    assert one.dropped >= 1
    assert kinds(items, Noise)


def test_a_reading_is_asked_for_and_req_is_held_until_the_gauge_clocks():
    events = [[10_000, "pc", checked(b"@1 ask 2 ").decode()]]
    events += [[20_000, "pc", checked(b"@1 ask 2 ").decode()]]
    events += clocked(THIRTEEN, PUBLISHED, 900_000, bit_us=428, steady="low")
    lines, asked = play(events)
    items = decoded(lines)
    assert [note.word for note in kinds(items, Note)] == ["asked", "busy"]
    assert shown(items, 2) == ["-12.345 mm"]
    (pulled, low, zero), (let_go, high, one) = asked
    assert (low, zero, high, one) == (8, 0, 8, 1)
    assert 10_000 <= pulled < 11_000
    assert 900_000 < let_go < 902_000


def test_a_gauge_that_does_not_answer_is_let_go_after_two_and_a_half_seconds():
    lines, asked = play([[10_000, "pc", checked(b"@1 ask 2 ").decode()]], until=2_600_000)
    assert [note.word for note in kinds(decoded(lines), Note)] == ["asked", "silent"]
    (pulled, _, _), (let_go, _, _) = asked
    assert 2_500_000 <= let_go - pulled < 2_502_000


def test_requests_that_are_damaged_or_cannot_be_met_are_refused_and_do_nothing():
    requests = [
        checked(b"@1 ask 1 "),  # has no REQ
        checked(b"@1 ask 5 "),  # is not there
        checked(b"@1 ask 2 ").replace(b"2", b"1", 1),
        checked(b"@1 set 1 rising 000000 plain "),
        checked(b"@1 set 1 sideways 001000 plain "),
        b"\n",
        b"@" * 99 + b"x" * 99 + b"\n",
    ]
    lines, asked = play([[1_000, "pc", b"".join(requests).decode()]])
    notes = kinds(decoded(lines), Note)
    assert [note.word for note in notes] == ["refused"] * len(requests)
    assert asked == []


def test_edges_and_levels_are_set_from_the_computer():
    """A gauge behind an inverting shifter: both wires turned round, so the other edge counts."""
    bits = list(CAPTURED)[4]
    events = [[1_000, "pc", checked(b"@1 set 1 falling 002000 inverted ").decode()]]
    for us, pin, level in clocked(CALIPER, bits, 50_000):
        events.append([us, pin, 1 - level])
    items = decoded(play(events)[0])
    assert [note.word for note in kinds(items, Note)] == ["set"]
    assert shown(items, 1) == ["-1.00 mm"]


def test_the_bridge_says_who_it_is_and_once_a_second_how_it_is():
    lines, _ = play([[1_000, "pc", checked(b"@1 who ").decode()]], until=3_100_000)
    items = decoded(lines)
    first, second = kinds(items, Hello)
    assert (first.started, second.started) == (True, False)
    assert (first.run, second.run) == ("00FE", "00FE")
    assert first.channels == (1, 2)
    statuses = kinds(items, Status)
    assert [status.channel for status in statuses] == [1, 2] * 4
    assert {status.supply for status in statuses} == {"unknown"}


@pytest.mark.parametrize(("low_mv", "supply"), [(4500, "good"), (5500, "low")])
def test_the_bridge_warns_of_a_low_supply(low_mv, supply):
    measured = {"adc": 29, "times": 3, "low_mv": low_mv}
    lines, _ = play([[1_000, "pc", "\n"]], until=1_100_000, supply=repr(measured))
    assert {status.supply for status in kinds(decoded(lines), Status)} == {supply}


@pytest.mark.parametrize("late_us", [2, 15, 40])
def test_the_edges_of_a_captured_frame_read_as_the_display_did(late_us):
    events = [[1, pin, 1] for pin in CALIPER]
    for pin, changes in zip(CALIPER, (CLK_CHANGES_US, DATA_CHANGES_US), strict=True):
        events += [[10_000 + us, pin, place % 2] for place, us in enumerate(changes)]
    # The rise of CLK at the very beginning is a clock of its own, far before the frame.
    items = decoded(play(events, late_us=late_us)[0])
    assert shown(items, 1) == ["-1.00 mm"]


def edges_of(path):
    """The changes of both wires in a capture of one microsecond a step."""
    text = path.read_text(encoding="utf-8")
    header, _, body = text.partition("$enddefinitions $end")
    assert "$timescale 1 us" in header
    names = dict(re.findall(r"\$var wire 1 (\S+) (CLK|DATA) \$end", header))
    pins = {code: CALIPER[0] if name == "CLK" else CALIPER[1] for code, name in names.items()}
    us, events = 0, []
    for word in body.split():
        if word.startswith("#"):
            us = int(word[1:])
        else:
            events.append([us, pins[word[1:]], int(word[0])])
    return events


@pytest.mark.parametrize("late_us", [2, 15, 40])
@pytest.mark.parametrize(
    ("name", "display"),
    [
        ("0mm", "0.00 mm"), ("0.5mm", "0.50 mm"), ("10mm", "10.00 mm"), ("123.45mm", "123.45 mm"),
        ("minus-1mm", "-1.00 mm"), ("0.5in", "0.5000 in"), ("0.0005in", "0.0005 in"),
    ],
)  # fmt: skip
def test_every_whole_frame_of_a_public_capture_reads_as_the_display_did(name, display, late_us):
    """Sampled up to 40 us after the edge: DATA is held for longer than that."""
    path = CAPTURES / f"{name}.vcd"
    if not path.exists():
        pytest.skip(f"the captures are not beside the project ({path})")
    items = decoded(play(edges_of(path), late_us=late_us)[0])
    values = shown(items, 1)
    assert len(values) >= 13
    assert set(values) == {display}


def test_data_that_is_looked_at_too_late_is_read_wrongly_without_a_sign():
    """The limit of the wiring page: at 60 us one frame of this capture is another value."""
    path = CAPTURES / "0.0005in.vcd"
    if not path.exists():
        pytest.skip(f"the captures are not beside the project ({path})")
    items = decoded(play(edges_of(path), late_us=60)[0])
    assert sorted(shown(items, 1)) == ["0.0005 in"] * 13 + ["32.7685 in"]
