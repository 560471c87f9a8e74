"""Codec `line`."""

from __future__ import annotations

import pytest

from gaugelink.wire.base import Noise, Value
from gaugelink.wire.driver import load_driver

PARTS = (
    r"(?P<mode>HOLD)? *(?P<sign>[+\-\u2212 ]?) *"
    r'(?P<digits>[\d ]*[.,]?[\d ]+) *(?P<unit>mm|in|")?'
)
TABLES = """
[frame.units]
mm = "mm"
MM = "mm"
"" = "mm"
in = "in"
"\\"" = "in"
[frame.modes]
HOLD = "hold"
"""


def driver(pattern, keys="", tables="", *, example='bytes = "1.5\\r"', end="\\r"):
    ends_with = "" if end is None else f'ends_with = "{end}"'
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
{ends_with}
pattern = '{pattern}'
{keys}
{tables}
[[example]]
{example}
value = "1.5"
unit = "mm"
""",
        "made-up.toml",
    )


def decode(made, line):
    (item,) = made.decoder().feed(line.encode() if isinstance(line, str) else line)
    return item


NUMBERS = driver(PARTS, tables=TABLES)


@pytest.mark.parametrize(
    ("line", "text", "unit"),
    [
        ("2.1380\r", "2.1380", "mm"),
        ("+  2.1380 mm\r", "2.1380", "mm"),
        ("-2.1380mm\r", "-2.1380", "mm"),
        ("\u2212 2,1380 MM\r", "-2.1380", "mm"),
        ("  2.1380 in\r", "2.1380", "in"),
        ('.5000"\r', "0.5000", "in"),
        ("0012.50\r", "12.50", "mm"),
        ("12 345.67 8\r", "12345.678", "mm"),
        ("7,965\r", "7.965", "mm"),
        ("-0.00\r", "0.00", "mm"),
        ("25\r", "25", "mm"),
    ],
)
def test_a_number_is_read_exactly_as_the_gauge_writes_it(line, text, unit):
    """Signs, decimal comma, blanks for readability, units: trade practice."""
    item = decode(NUMBERS, line)
    assert isinstance(item, Value)
    assert (item.shown.text, item.shown.unit, item.mode, item.notes) == (text, unit, "actual", ())
    assert item.raw == line.encode()


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("\r", "an empty line"),
        ("   \r", "an empty line"),
        ("mm\r", "shape"),
        ("1.2.3\r", "shape"),
        ("1.5 kg\r", "shape"),
        ("\u0661.\u0665\r", "shape"),  # digits of another script
        ("  .  \r", "no number"),
        (" ,   5  5 Mm\r", "the unit 'Mm'"),
        ("0.0000000001 mm\r", "at most 9 for mm"),
        ("0.000000001 in\r", "at most 8 for in"),
        (b"1.\xff5\r", "not text"),
        (b"1.5\x00\r", "shape"),
    ],
)
def test_a_line_without_a_proper_number_is_noise_with_its_reason(line, why):
    item = decode(NUMBERS, line)
    assert isinstance(item, Noise)
    assert why in item.why


def test_blanks_alone_are_no_digits():
    made = driver(r"(?P<digits>[\d. ]*)x?", 'unit = "mm"')
    assert "no number" in decode(made, " . x\r").why
    assert "no number" in decode(made, "x\r").why


def test_a_mode_is_kept_with_its_value():
    item = decode(NUMBERS, "HOLD 1.5mm\r")
    assert isinstance(item, Value)
    assert item.mode == "hold"


def test_a_unit_that_the_gauge_leaves_out_is_refused_unless_the_table_has_it():
    made = driver(r"(?P<digits>[\d.]+)(?P<unit>mm)?", tables="", example='bytes = "1.5mm\\r"')
    assert isinstance(decode(made, "1.5MM\r"), Value)
    assert decode(made, "1.5\r") == Noise(b"1.5\r", "found the unit '', accepted: mm, in")


FLAGS = driver(
    r"(?P<error>[E ]?)(?P<digits>[\d.]+)(?P<tolerance>[<=>]?)(?P<battery>[BG]?)",
    'unit = "mm"',
    """
[frame.tolerances]
"<" = "under tolerance"
"=" = ""
">" = "over tolerance"
[frame.batteries]
B = "battery low"
G = ""
B0 = "battery low"
[frame.errors]
E = "overspeed"
"NO ACCESS" = "locked"
""",
)


@pytest.mark.parametrize(
    ("line", "notes"),
    [
        ("1.5\r", ()),
        (" 1.5=G\r", ()),
        ("1.5>\r", ("over tolerance",)),
        ("1.5<B\r", ("under tolerance", "battery low")),
        ("1.5B\r", ("battery low",)),
    ],
)
def test_flags_become_notes_in_the_words_of_the_driver_file(line, notes):
    item = decode(FLAGS, line)
    assert isinstance(item, Value)
    assert item.notes == notes


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("E1.5\r", "the gauge reports: overspeed"),
        ("NO ACCESS\r", "the gauge reports: locked"),
        ("  NO ACCESS \r", "the gauge reports: locked"),
        ("B0\r", "the gauge reports: battery low"),
        ("no access\r", "shape"),
        ("e1.5\r", "found the error 'e'"),
        ("1.5b\r", "found the battery 'b'"),
    ],
)
def test_words_of_the_gauge_are_no_values_and_say_what_they_mean(line, why):
    """Tables take the letters exactly as written; only the pattern ignores capitals."""
    item = decode(FLAGS, line)
    assert isinstance(item, Noise)
    assert why in item.why


def test_a_table_may_give_a_meaning_to_letters_that_are_absent():
    made = driver(
        r"(?P<mode>A?)(?P<digits>[\d.]+)(?P<tolerance>!?)",
        'unit = "mm"',
        '[frame.modes]\n"" = "hold"\nA = "actual"\n[frame.tolerances]\n"" = "unchecked"\n"!" = ""',
        example='bytes = "A1.5!\\r"',
    )
    item = decode(made, "1.5\r")
    assert (item.mode, item.notes) == ("hold", ("unchecked",))


@pytest.mark.parametrize(
    "end", ["\\r", "\\n", "\\r\\n", " \\n"], ids=["CR", "LF", "CR LF", "blank LF"]
)
def test_every_end_of_line_in_use_works(end):
    """The four that occur: common practice."""
    made = driver(r"(?P<digits>[\d.]+)", 'unit = "mm"', end=end, example=f'bytes = "1.5{end}"')
    stream = f"2.5{end}3.5{end}".encode().decode("unicode_escape").encode()
    items = made.decoder().feed(stream)
    assert [item.shown.text for item in items] == ["2.5", "3.5"]


def test_a_gauge_set_to_either_end_of_line_is_read():
    made = driver(
        r"(?P<digits>[\d.]+)",
        'unit = "mm"\nends_with = ["\\n", "\\r\\n"]',
        end=None,
        example='bytes = "1.5\\r\\n"',
    )
    assert [item.shown.text for item in made.decoder().feed(b"2.5\r\n3.5\n")] == ["2.5", "3.5"]


def test_the_request_is_kept_for_the_port():
    made = driver(r"(?P<digits>[\d.]+)", 'unit = "mm"\nrequest = "R\\r"')
    assert made.request == b"R\r"
    assert driver(r"(?P<digits>[\d.]+)", 'unit = "mm"').request is None


CHANNELS = driver(
    r"(?P<channel>\d\d)(?P<sign>[PM])(?P<point>.)(?P<digits>[\d. ]+)|(?P<error>E)",
    tables="""
[frame.channels]
01 = "mm"
02 = "in"
[frame.signs]
P = "+"
M = "-"
[frame.errors]
E = "no gauge"
""",
    example='bytes = "01P115\\r"\nchannel = "01"',
)


def test_a_value_behind_a_multiplexer_names_its_channel_and_has_the_unit_of_its_channel():
    item = decode(CHANNELS, "02M43136\r")
    assert (str(item.shown), item.channel) == ("-0.3136 in", "02")
    assert decode(CHANNELS, "01P07\r").shown.text == "7"


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("03P115\r", "found the channel '03', the driver file has: '01', '02'"),
        ("01p115\r", "found the sign 'p'"),
        ("01Px15\r", "found the point 'x', accepted: a digit"),
        ("01P11.5\r", "no whole number in the line, found '1.5'"),
        ("E\r", "the gauge reports: no gauge"),
    ],
)
def test_a_channel_sign_or_point_that_the_file_does_not_have_is_noise(line, why):
    item = decode(CHANNELS, line)
    assert isinstance(item, Noise)
    assert why in item.why


def test_the_decimal_point_may_come_from_the_file():
    made = driver(r"(?P<digits>\d+)", 'unit = "mm"\nplaces = 1', example='bytes = "15\\r"')
    assert [decode(made, f"{line}\r").shown.text for line in ("7", "0042", "12345")] == [
        "0.7", "4.2", "1234.5",
    ]  # fmt: skip
