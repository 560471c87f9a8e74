"""Codecs `bcd52` and `scale24`, and the bit line they read."""

from __future__ import annotations

import pytest
from hypothesis import assume, example, given, strategies as st

from gaugelink import content
from gaugelink.errors import InputError
from gaugelink.quantity import PM_PER_INCH, PM_PER_MM
from gaugelink.wire.base import Noise, Partial, Value
from gaugelink.wire.bcd28 import Bcd28Frame
from gaugelink.wire.driver import load_driver
from gaugelink.wire.scale24 import Scale24Frame
from gaugelink.wire.scale48 import Scale48Frame

CAPTURED = {
    "000000000000000000000000": ("0.00", "mm"),
    "010011000000000000000000": ("0.50", "mm"),
    "000101111100000000000000": ("10.00", "mm"),
    "100111000000110000000000": ("123.45", "mm"),
    "001001100000000000001000": ("-1.00", "mm"),
    "000101111100000000000001": ("0.5000", "in"),
    "100000000000000000000001": ("0.0005", "in"),
}
"""Frames of a real caliper and what its display read: sigrok-dumps, folder caliper (public
domain). 0, 0.5, 10, 123.45 and -1 mm; 0.5 and 0.0005 in."""


@pytest.fixture(autouse=True)
def _no_folder_of_the_user(monkeypatch):
    monkeypatch.delenv("GAUGELINK_CONTENT", raising=False)


def decoder_of(name):
    return load_driver(*content.read("drivers", name)).decoder()


def decode(name, text):
    decoder = decoder_of(name)
    (item,) = decoder.feed(text.encode()) + decoder.end()
    return item


def bits_of(digits):
    """Thirteen digits in hexadecimal, blanks for the eye, as the gauge clocks them out."""
    return "".join(f"{int(digit, 16):04b}"[::-1] for digit in digits.replace(" ", ""))


@pytest.mark.parametrize(
    ("bits", "display"), CAPTURED.items(), ids=[v[0] for v in CAPTURED.values()]
)
def test_a_captured_frame_reads_as_the_display_did(bits, display):
    item = decode("scale24", bits + "\n")
    assert isinstance(item, Value)
    assert (item.shown.text, item.shown.unit) == display


def test_the_inch_flag_alone_tells_ten_millimetres_from_half_an_inch():
    assert decode("scale24", "0001011111" + "0" * 14).shown.pm == 10 * PM_PER_MM
    assert decode("scale24", "0001011111" + "0" * 13 + "1").shown.pm * 2 == PM_PER_INCH


@given(count=st.integers(0, 2**20 - 1), minus=st.booleans(), inch=st.booleans())
@example(count=0, minus=True, inch=False)
def test_every_count_of_a_scale_is_read_exactly(count, minus, inch):
    """Count, sign and inch flag are laid out as the captures show; -0 loses its sign."""
    bits = f"{count:020b}"[::-1] + f"{minus:d}00{inch:d}"
    shown = decode("scale24", bits + "\n").shown
    step_pm = PM_PER_INCH // 2000 if inch else PM_PER_MM // 100
    assert shown.pm == (-count if minus else count) * step_pm
    assert shown.text.startswith("-") == (minus and count > 0)


@pytest.mark.parametrize("place", [21, 22])
def test_a_bit_that_must_be_zero_is_noise_when_it_is_not(place):
    bits = "0" * place + "1" + "0" * (23 - place)
    assert decode("scale24", bits + "\n") == Noise(
        f"{bits}\n".encode(), f"bit {place} is 1, accepted: 0"
    )


def test_the_published_thirteen_digits_read_as_published():
    """FFFF 8 012345 3 0 is -12.345 mm: a measuring-projector maker's manual, 13-digit format."""
    item = decode("bcd52", bits_of("FFFF 8 012345 3 0") + "\n")
    assert isinstance(item, Value)
    assert (item.shown.text, item.shown.unit) == ("-12.345", "mm")
    assert item.shown.pm == -12_345_000_000


@pytest.mark.parametrize(
    ("name", "code", "other"), [("bcd52", "1", "8"), ("bcd52-inch8", "8", "1")]
)
def test_each_inch_code_is_read_by_its_own_driver_only(name, code, other):
    """Two makers' sheets say 1, another says 8."""
    assert decode(name, bits_of(f"FFFF 0 003124 4 {code}")).shown.pm == 7_934_960_000
    assert "unit" in decode(name, bits_of(f"FFFF 0 003124 4 {other}")).why


@given(digits=st.lists(st.integers(0, 15), min_size=13, max_size=13))
@example(digits=[15] * 4 + [0] + [9] * 6 + [5, 1])
@example(digits=[15] * 4 + [8] + [0] * 6 + [0, 0])
def test_only_the_digits_that_the_format_allows_make_a_value(digits):
    item = decode("bcd52", bits_of("".join(f"{digit:X}" for digit in digits)) + "\n")
    allowed = (
        digits[:4] == [15] * 4
        and digits[4] in (0, 8)
        and all(digit <= 9 for digit in digits[5:11])
        and digits[11] <= 5
        and digits[12] in (0, 1)
    )
    assert isinstance(item, Value if allowed else Noise)


@given(
    number=st.integers(0, 999_999),
    minus=st.booleans(),
    places=st.integers(0, 5),
    inch=st.booleans(),
)
def test_every_number_of_the_thirteen_digit_format_is_read_exactly(number, minus, places, inch):
    assume(number <= 354_330 or places or not inch)  # beyond 9000 m: see gaugelink.quantity
    digits = f"FFFF {8 if minus else 0} {number:06d} {places} {inch:d}"
    shown = decode("bcd52", bits_of(digits) + "\n").shown
    unit_pm = PM_PER_INCH if inch else PM_PER_MM
    assert shown.pm * 10**places == (-number if minus else number) * unit_pm
    assert shown.unit == ("in" if inch else "mm")


@pytest.mark.parametrize(
    ("name", "bits"), [("scale24", "0" * 24), ("bcd52", bits_of("FFFF000000030"))]
)
def test_exactly_the_right_number_of_clocks_makes_a_frame(name, bits):
    assert isinstance(decode(name, bits + "\n"), Value)
    assert isinstance(decode(name, bits + "\r\n"), Value)
    assert isinstance(decode(name, bits[:-1] + "\n"), Partial)
    assert isinstance(decode(name, bits + "0\n"), Noise)


def test_a_partial_frame_is_never_completed_from_the_next_one():
    """A recording that began inside a frame: 12 bits, then whole frames (captured)."""
    frame = "001001100000000000001000\n"
    first, *others = decoder_of("scale24").feed(("000000001000\n" + frame * 3).encode())
    assert first == Partial(b"000000001000\n", "12 bits of 24")
    assert [item.shown.text for item in others] == ["-1.00"] * 3


def test_the_end_of_the_stream_and_a_pause_on_the_port_end_a_frame_too():
    bits = b"001001100000000000001000"
    decoder = decoder_of("scale24")
    assert decoder.feed(bits) == []
    assert [item.shown.text for item in decoder.end()] == ["-1.00"]
    assert decoder.feed(bits) == []
    assert [item.shown.text for item in decoder.gap()] == ["-1.00"]
    assert decoder.gap() == []
    assert decoder.feed(bits[:7]) == []
    assert decoder.end() == [Partial(b"0010011", "7 bits of 24")]


def test_joining_midstream_drops_the_first_bits_even_if_their_number_is_right():
    """24 bits may be the tail of a longer frame when the beginning was not seen."""
    decoder = load_driver(*content.read("drivers", "scale24")).decoder(joined_midstream=True)
    first, second = decoder.feed(b"001001100000000000001000\n" * 2)
    assert isinstance(first, Partial)
    assert isinstance(second, Value)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("\n", "a pause with no bits before it"),
        ("\r\n", "a pause with no bits before it"),
        ("0" * 23 + "x\n", "something other than 0 and 1"),
        ("0" * 12 + "\r" + "0" * 12 + "\n", "something other than 0 and 1"),
        ("0" * 23 + " \n", "something other than 0 and 1"),
        ("\x00\n", "something other than 0 and 1"),
    ],
)
def test_anything_but_bits_and_pauses_is_noise(text, why):
    item = decode("scale24", text)
    assert isinstance(item, Noise)
    assert why in item.why


def test_a_long_run_without_a_pause_is_noise_and_the_next_frame_is_read():
    items = decoder_of("scale24").feed(b"01" * 500 + b"\n" + b"0" * 24 + b"\n")
    assert {type(item) for item in items[:-1]} == {Noise}
    assert isinstance(items[-1], Value)


def test_a_scale_may_have_its_flags_elsewhere_and_every_other_bit_above_the_sign_must_be_zero():
    """Authors describe the sign in bit 21 too; then the count is the 21 bits below it."""
    frame = Scale24Frame(
        codec="scale24",
        edge="rising",
        pause="1 ms",
        sign_bit=21,
        inch_bit=22,
        step_mm="0.01 mm",
        step_in="0.0005 in",
    )
    value, noise = frame.decoder().feed(b"0" * 20 + b"1110\n" + b"0" * 23 + b"1\n")
    assert str(value.shown) == "-524.2880 in"
    assert noise == Noise(b"0" * 23 + b"1\n", "bit 23 is 1, accepted: 0")


def words_of(**settings):
    frame = {"codec": "scale48", "edge": "rising", "pause": "1 ms", "word": "relative",
             "inverted": "none", "counts_per_inch": 20480, "step": "0.000001 in",
             "range": "40 in"}  # fmt: skip
    return Scale48Frame.model_validate(frame | settings)


def word(count):
    """24 bits, two's complement, least significant first."""
    return [count >> place & 1 for place in range(24)]


@given(first=st.integers(-800_000, 800_000), second=st.integers(-800_000, 800_000))
@example(first=0, second=-1)
def test_two_words_are_read_each_as_twos_complement(first, second):
    """20480 counts in an inch (a hobby description of such scales)."""
    bits = word(first) + word(second)
    for name, count in (("absolute", first), ("relative", second)):
        shown = words_of(word=name, step="0.000001 in").length(bits)
        assert abs(shown.pm * 20480 - count * PM_PER_INCH) * 2 <= shown.step_pm * 20480


def test_where_authors_disagree_the_file_decides():
    """Inversion of the second word, and 10240 counts in an inch, are seen in one trace each."""
    step = {"step": "0.000001 in"}
    turned = [1 - bit for bit in word(20480)]
    assert words_of(inverted="second word", **step).length(word(0) + turned).text == "1.000000"
    assert words_of(counts_per_inch=10240, **step).length(word(0) + word(20480)).text == "2.000000"
    # Not told of the inversion, the same bits are off by one count and of the other sign.
    assert words_of(**step).length(word(0) + turned).text == "-1.000049"


@pytest.mark.parametrize(
    ("settings", "field", "words"),
    [
        ({"step": "0.0001 in"}, "step", "at most a tenth of a count"),
        ({"step": "0.000005 in"}, "step", "a one in one place"),
        ({"step": "0 mm"}, "step", "above zero"),
        ({"step": "0.000001 in", "range": "40"}, "range", "without a unit"),
    ],
)
def test_a_step_that_loses_counts_is_refused(settings, field, words):
    path, what = words_of(**settings).fault()
    assert path == ("frame", field)
    assert words in what


def flagged(**settings):
    frame = {"codec": "bcd28", "edge": "rising", "pause": "1 ms", "metric_bit": 1, "half_bit": 2,
             "minus_bit": 3, "unknown_bit": "any", "places_mm": 2, "places_in": 3}  # fmt: skip
    return Bcd28Frame.model_validate(frame | settings)


@given(digits=st.lists(st.integers(0, 15), min_size=6, max_size=6), flags=st.integers(0, 15))
def test_only_digits_and_flags_that_go_together_make_a_value(digits, flags):
    """Last digit first; flags unknown, metric, half a thousandth, minus (a hobby description)."""
    bits = [digit >> place & 1 for digit in [*digits, flags] for place in range(4)]
    if max(digits) > 9 or flags & 0b0110 == 0b0110:
        with pytest.raises(InputError):
            flagged().length(bits)
        return
    shown = flagged().length(bits)
    number = sum(digit * 10**place for place, digit in enumerate(digits))
    sign = -1 if flags & 8 else 1
    if flags & 2:
        assert shown.pm * 100 == sign * number * PM_PER_MM
    else:
        assert shown.pm * 2000 == sign * (2 * number + (flags >> 2 & 1)) * PM_PER_INCH


def test_the_flag_that_nobody_explains_may_be_held_to_one_state():
    bits = [0] * 24 + [1, 1, 0, 0]
    assert flagged(unknown_bit="1").length(bits).pm == 0
    with pytest.raises(InputError, match="flag 0 is 1, accepted: 0"):
        flagged(unknown_bit="0").length(bits)
    path, what = flagged(half_bit=1).fault()
    assert path == ("frame", "metric_bit")
    assert "share a place" in what
