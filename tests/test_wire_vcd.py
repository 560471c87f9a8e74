"""Logic captures."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, strategies as st

from gaugelink.errors import InputError
from gaugelink.wire.vcd import Clocking, VcdReader

MS = 10**12
"""Femtoseconds."""

CAPTURES = Path(__file__).parents[2] / "shared" / "captures"

FRAMES = {
    "0mm": ("000000000000000000000000", 14, ["00100001011011001"]),
    "0.5mm": ("010011000000000000000000", 14, []),
    "10mm": ("000101111100000000000000", 14, []),
    "123.45mm": ("100111000000110000000000", 14, []),
    "minus-1mm": ("001001100000000000001000", 13, ["000000001000"]),
    "0.5in": ("000101111100000000000001", 14, []),
    "0.0005in": ("100000000000000000000001", 14, []),
}
"""Name of the capture, which is what the display read; the frame; how often; what is no frame and
comes before. Source: sigrok-dumps, folder caliper (public domain); sampled on the rising edge."""

HEAD = (
    "$timescale 1 us $end $scope module gauge $end $var wire 1 c CLK $end "
    "$var wire 1 d DATA $end $upscope $end $enddefinitions $end\n"
)


def bits(capture, *, edge="rising", pause_fs=MS, after=False):
    reader = VcdReader(Clocking(edge, pause_fs, after), "capture.vcd")
    return (
        reader.feed(capture if isinstance(capture, bytes) else capture.encode()) + reader.end()
    ).decode()


def capture_of(text, *, clock_us=100, pause_us=5000, idle="1"):
    """Draw the capture of a bit line: DATA set, then CLK low and high, as a gauge does."""
    time = 1000
    rows = [f"#0 {idle}c 0d"]
    for mark in text:
        if mark == "\n":
            time += pause_us
        else:
            rows.append(f"#{time} {mark}d #{time + 10} 0c #{time + 50} 1c")
            time += clock_us
    return HEAD + "\n".join(rows) + f"\n#{time}\n"


@pytest.mark.parametrize("name", FRAMES)
def test_a_public_capture_gives_the_frames_that_are_in_it(name):
    path = CAPTURES / f"{name}.vcd"
    if not path.exists():
        pytest.skip(f"the public captures are not beside the project ({CAPTURES})")
    frame, times, before = FRAMES[name]
    assert bits(path.read_bytes()).split("\n") == [*before, *[frame] * times, ""]


def test_the_falling_edge_reads_a_rising_edge_gauge_as_twice_the_count_and_one():
    """Noted with the public captures: 10 mm, count 1000, comes out as 2001."""
    path = CAPTURES / "10mm.vcd"
    if not path.exists():
        pytest.skip(f"the public captures are not beside the project ({CAPTURES})")
    first = bits(path.read_bytes(), edge="falling").split("\n")[0]
    assert int(first[::-1], 2) == 2001


@given(
    text=st.lists(st.text("01", min_size=1, max_size=60), max_size=4).map(
        lambda frames: "".join(f"{frame}\n" for frame in frames)
    ),
    cuts=st.lists(st.integers(0, 4000), max_size=6),
)
def test_a_drawn_capture_gives_its_bit_line_back_however_it_is_cut(text, cuts):
    capture = capture_of(text).encode()
    assert bits(capture) == text
    reader = VcdReader(Clocking("rising", MS), "capture.vcd")
    places = [0, *sorted(cuts), len(capture)]
    out = b"".join(reader.feed(capture[a:b]) for a, b in pairwise(places))
    assert (out + reader.end()).decode() == text


def test_a_capture_fed_byte_by_byte_gives_the_same():
    capture = capture_of("0110\n1\n").encode()
    reader = VcdReader(Clocking("rising", MS), "capture.vcd")
    out = b"".join(reader.feed(bytes([byte])) for byte in capture)
    assert (out + reader.end()).decode() == "0110\n1\n"


def test_data_counts_as_it_stood_before_the_instant_of_the_edge():
    """Both wires change at 20: the old level had been steady, whichever is written first."""
    for row in ("#20 1d 1c", "#20 1c 1d", "#20 1c #20 1d"):
        capture = HEAD + f"#0 0c 0d {row} #30"
        assert bits(capture) == "0"
        assert bits(capture, after=True) == "1"


def test_a_spike_within_one_instant_is_no_clock():
    assert bits(HEAD + "#0 0c 1d #10 1c 0c #20 1c #30 0c 1c 0c #40") == "1"


def test_a_pause_of_exactly_the_stated_length_ends_a_frame():
    clocks = "#0 0c 1d #10 1c #20 0c #{} 1c #{}"
    assert bits(HEAD + clocks.format(1010, 1020)) == "1\n1"
    assert bits(HEAD + clocks.format(1009, 1019)) == "11"


def test_a_pause_is_written_once_and_only_after_bits():
    assert bits(HEAD + "#0 0c 1d #5000 0d #10000 1d #10010 1c #20000 0d #30000 1d #40000") == "1\n"


def test_the_time_may_be_in_any_unit_of_the_standard():
    for scale, factor in (("100 ns", 10), ("1ns", 1000), ("10\nps", 100_000), ("1 fs", 10**9)):
        head = HEAD.replace("1 us", scale)
        rows = f"#0 0c 1d #{10 * factor} 1c #{20 * factor} 0c #{1010 * factor} 1c #{1011 * factor}"
        assert bits(head + rows) == "1\n1"
    assert bits(HEAD.replace("1 us", "100 s") + "#0 0c 1d #1 1c #2 0c #3 1c") == "1\n1"


def test_the_falling_edge_is_sampled_where_the_driver_says_so():
    assert bits(HEAD + "#0 1c 0d #10 1d #20 0c 0d #30 1c", edge="falling") == "1"


def test_a_clock_that_comes_from_an_unknown_level_is_no_edge():
    assert bits(HEAD + "#0 1d #10 1c #20 0c #30 1c") == "1"
    assert bits(HEAD + "$dumpvars xc xd $end #10 0d 1c #20 0c #30 zc #40 0c #50 1c") == "0"


def test_an_unknown_data_level_spoils_its_bit():
    assert bits(HEAD + "#0 0c Zd #10 1c #20 0c 1d #30 1c") == "x1"
    assert bits(HEAD + "#0 0c #10 1c") == "x"


def test_a_clock_that_is_lost_inside_a_frame_spoils_the_frame():
    assert bits(HEAD + "#0 0c 1d #10 1c #20 xc #30 1c #40 0c #50 1c") == "1x1"


def test_a_clock_that_is_lost_in_a_pause_spoils_nothing():
    rows = "#0 0c 1d #10 1c #20 0c #5000 xc #5010 0c #6000 1c"
    assert bits(HEAD + rows) == "1\n1"


def test_vectors_of_one_bit_dumps_comments_and_other_wires_are_understood():
    capture = """\xef\xbb\xbf$date today $end $version made by hand $end
$comment #5 1c is not a change $end
$timescale 1 us $end
$scope module top $end
$var real 64 r level $end
$scope module gauge $end
$var reg 1 ! CLK [0] $end
$var wire 1 "# \\DATA[0] $end
$var wire 8 bus bus [7:0] $end
$upscope $end
$upscope $end
$enddefinitions $end
$dumpvars b0 ! b1 "# bx bus r0.5 r $end
#10
b1 !
$comment
b0 ! $end
b01010101 bus
R1e-3 r
#20 $dumpoff x! x"# bx bus $end
#30 $dumpon 0! 0"# $end
#3000
B1 !
#3010 $dumpall 1! 0"# $end
"""
    assert bits(capture.encode("latin-1")) == "1x\n0"


def test_one_net_may_be_declared_in_several_scopes():
    again = HEAD.replace(
        "$upscope", "$scope module inner $end $var wire 1 c CLK $end $upscope $end $upscope", 1
    )
    assert bits(again + "#0 0c 1d #10 1c") == "1"


def test_what_is_held_does_not_grow_with_the_capture():
    reader = VcdReader(Clocking("rising", MS), "capture.vcd")
    reader.feed(HEAD.encode())
    for k in range(3000):
        reader.feed(
            f"#{4 * k} 0c\n1d #{4 * k + 2} 1c b{'0' * 50} d\n".replace(
                f"b{'0' * 50} d", ""
            ).encode()
        )
        assert len(reader._pending) + len(reader._out) < 10


BODY = HEAD + "#0\n0c\n1d\n"


@pytest.mark.parametrize(
    ("capture", "line", "words"),
    [
        ("", 1, "ends before $enddefinitions"),
        ("0101\n", 1, "found '0101', accepted: a declaration"),
        ("$comment x $end\n$foo $end", 2, "'$foo'"),
        ("\n$comment never ends", 2, "ends inside '$comment'"),
        ("$timescale 3 us $end", 1, "the timescale '3us'"),
        ("$timescale 1 us\n$var wire 1 c CLK $end", 1, "'$timescale' without its $end"),
        ("$timescale 1 us $end\n$var wire c CLK $end", 2, "$var without"),
        ("$timescale 1 us $end\n$var wire 2 c CLK $end", 2, "'2' bits wide"),
        (HEAD.replace("DATA", "CLK"), 1, "two different wires named CLK"),
        (HEAD.replace("DATA", "DAT"), 1, "no wire named DATA"),
        (HEAD.replace("$timescale 1 us $end", "\n"), 2, "no $timescale"),
        (BODY + "#7\n#6\n", 6, "the time goes back to '6'"),
        (BODY + "#-7\n", 5, "the time '-7'"),
        (BODY + "#\n", 5, "the time ''"),
        (BODY + f"#{'9' * 31}\n", 5, "the time"),
        (BODY + "1q\n", 5, "a change of 'q', which no $var declares"),
        (BODY + "1\n", 5, "a change of ''"),
        (BODY + "1 c\n", 5, "a change of ''"),
        (BODY + "b10 c\n", 5, "the level '10' of CLK"),
        (BODY + "r0.5 d\n", 5, "the level '0.5' of DATA"),
        (BODY + "b1 q\n", 5, "a change of 'q'"),
        (BODY + "b1", 5, "inside the change 'b1'"),
        (BODY + "$end\n", 5, "found '$end'"),
        (BODY + "\nhello\n", 6, "found 'hello'"),
        (BODY + "w" * 70_000, 5, "a word of more than 65536 bytes"),
        (BODY + "w" * 70_000 + "\n#5", 5, "a word of more than 65536 bytes"),
    ],
)
def test_a_damaged_capture_is_refused_in_one_sentence_with_its_line(capture, line, words):
    with pytest.raises(InputError) as caught:
        bits(capture)
    assert caught.value.file == "capture.vcd"
    assert caught.value.line == line
    assert words in caught.value.what
    assert "\n" not in str(caught.value)


@given(st.binary(max_size=200))
def test_any_bytes_after_the_header_are_either_read_or_refused(junk):
    try:
        line = bits(HEAD.encode() + junk)
    except InputError as fault:
        line = "" if fault.line else "a refusal without a line"
    assert set(line) <= set("01x\n")
