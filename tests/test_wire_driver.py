"""Faults of driver files: each is refused with file, line, field, found and accepted."""

from __future__ import annotations

import pytest

from gaugelink.errors import InputError
from gaugelink.wire.driver import load_driver
from gaugelink.wire.settings import femtoseconds

LINE = r"""[driver]
name = "made-up"
title = "Made up for a test"
gauges = ["caliper"]

[port]
kind = "serial"
baud = 9600

[frame]
codec = "line"
ends_with = "\r"
pattern = '(?P<sign>[+-])? *(?P<digits>\d+[.,]\d+) *(?P<unit>mm|in)'

[[example]]
bytes = "+  2.1380 MM\r"
value = "2.1380"
unit = "mm"
"""

CLOCKED = """[driver]
name = "made-up"
title = "Made up for a test"
gauges = ["caliper"]

[port]
kind = "tcp"

[frame]
codec = "scale24"
edge = "rising"
pause = "1 ms"
sign_bit = 20
inch_bit = 23
step_mm = "0.01 mm"
step_in = "0.0005 in"

[[example]]
bytes = "000101111100000000000000\\n"
value = "10.00"
unit = "mm"
"""

NO_UNIT = LINE.replace(" *(?P<unit>mm|in)", " *MM")


def test_a_file_with_the_least_it_may_have_loads_and_claims_nothing():
    driver = load_driver(LINE, "made-up.toml")
    assert (driver.name, driver.file) == ("made-up", "made-up.toml")
    assert (driver.about.level, driver.about.reason) == ("described", "the file does not say")
    assert (driver.sends, driver.request) == ("when pressed", None)
    assert (driver.port.bytesize, driver.port.parity, driver.port.stopbits) == (8, "none", 1)
    assert driver.pause_ns == 500_000_000
    assert not driver.frame.clocked


def test_a_clocked_driver_states_its_clocks_and_its_port_is_quiet_for_half_a_second():
    driver = load_driver(CLOCKED, "made-up.toml")
    assert driver.frame.clocked
    assert driver.frame.pause_fs == 10**12
    assert driver.pause_ns == 500_000_000


def test_a_request_means_that_the_gauge_waits_to_be_asked():
    asked = LINE.replace("ends_with", 'request = "R\\r"\nends_with')
    driver = load_driver(asked, "made-up.toml")
    assert (driver.sends, driver.request) == ("when asked", b"R\r")


FAULTS = {
    "not toml": (LINE, "kind = ", "kind == ", 7, None, "not valid TOML"),
    "no codec": (LINE, 'codec = "line"', "", 10, "frame.codec", "missing"),
    "unknown codec": (
        LINE,
        '"line"',
        '"lines"',
        11,
        "frame.codec",
        "found 'lines', accepted: line, bcd52, scale24",
    ),
    "codec no text": (LINE, '"line"', "5", 11, "frame.codec", "found 5, accepted: line"),
    "a key the codec does not have": (
        LINE,
        "ends_with",
        'edge = "rising"\nends_with',
        12,
        "frame.edge",
        "unknown key, found 'rising'; accepted: codec, pause, ends_with, pattern, unit",
    ),
    "a key the clocked codec does not have": (
        CLOCKED,
        "edge",
        'pattern = "x"\nedge',
        11,
        "frame.pattern",
        "accepted: codec, pause, edge, data_taken, sign_bit, inch_bit, step_mm, step_in",
    ),
    "no end of line": (LINE, '"\\r"\np', '""\np', 12, "frame.ends_with", "empty end of line"),
    "no ends of line": (LINE, '"\\r"\np', "[]\np", 12, "frame.ends_with", "empty end of line"),
    "one end inside the other": (
        LINE,
        '"\\r"\np',
        '["\\r", "\\r\\n"]\np',
        12,
        "frame.ends_with",
        "the first would cut the second in two",
    ),
    "bad expression": (
        LINE,
        "(?P<sign>",
        "(?P<sign",
        13,
        "frame.pattern",
        "not a regular expression",
    ),
    "no digits": (
        LINE,
        "(?P<digits>",
        "(?P<number>",
        13,
        "frame.pattern",
        "the named group digits is missing, found: sign, number, unit",
    ),
    "unknown group": (
        LINE,
        "(?P<sign>",
        "(?P<plus>",
        13,
        "frame.pattern",
        "found the named group plus, accepted: sign, digits, unit, mode",
    ),
    "group without its table": (
        LINE,
        "(?P<sign>",
        "(?P<mode>[AH])(?P<sign>",
        13,
        "frame.pattern",
        "no table [frame.modes]",
    ),
    "table without its group": (
        LINE,
        "\n[[example]]",
        '\n[frame.modes]\nA = "actual"\n[[example]]',
        15,
        "frame.modes",
        "the pattern has no named group mode",
    ),
    "unknown mode": (
        LINE.replace("(?P<sign>", "(?P<mode>A?)(?P<sign>"),
        "\n[[example]]",
        '\n[frame.modes]\nA = "absolute"\n[[example]]',
        16,
        "frame.modes.A",
        "'actual', 'hold', 'max', 'min' or 'tir'",
    ),
    "unit nowhere": (NO_UNIT, "", "", 10, "frame.unit", 'add unit = "mm" or unit = "in"'),
    "unit twice": (
        LINE,
        "ends_with",
        'unit = "mm"\nends_with',
        12,
        "frame.unit",
        "accepted: one of them",
    ),
    "unit of the line and of its channel": (
        LINE.replace("(?P<sign>", r"(?P<channel>\d?)(?P<sign>"),
        "\n[[example]]",
        '\n[frame.channels]\n1 = "mm"\n[[example]]',
        15,
        "frame.channels",
        "accepted: one of them",
    ),
    "channels without their group": (
        NO_UNIT,
        "\n[[example]]",
        '\n[frame.channels]\n1 = "mm"\n[[example]]',
        15,
        "frame.channels",
        "the pattern has no named group channel",
    ),
    "places twice": (
        NO_UNIT.replace("(?P<digits>", r"(?P<point>\d?)(?P<digits>"),
        "ends_with",
        'unit = "mm"\nplaces = 3\nends_with',
        13,
        "frame.places",
        "a named group point",
    ),
    "unknown unit": (
        NO_UNIT,
        "ends_with",
        'unit = "cm"\nends_with',
        12,
        "frame.unit",
        "found 'cm'; input should be 'mm' or 'in'",
    ),
    "longest too short": (
        LINE,
        'ends_with = "\\r"',
        'longest = 4\nends_with = "\\r\\n\\r\\n"',
        12,
        "frame.longest",
        "accepted: more than 4",
    ),
    "longest too long": (LINE, "ends_with", "longest = 999\nends_with", 12, "frame.longest", "256"),
    "pause without a unit": (
        LINE,
        "ends_with",
        'pause = "1"\nends_with',
        12,
        "frame.pause",
        "found '1', accepted: a time with its unit, such as 1 ms",
    ),
    "empty request": (
        LINE,
        "ends_with",
        'request = ""\nends_with',
        12,
        "frame.request",
        "at least 1 character",
    ),
    "asked with nothing": (
        LINE,
        "title",
        'sends = "when asked"\ntitle',
        3,
        "driver.sends",
        "no request to ask with",
    ),
    "request of a gauge that is pressed": (
        LINE.replace("title", 'sends = "when pressed"\ntitle'),
        "ends_with",
        'request = "R"\nends_with',
        13,
        "frame.request",
        "sends 'when pressed'",
    ),
    "baud as text": (LINE, "9600", '"9600"', 8, "port.baud", "found '9600'; input should be a"),
    "unknown parity": (
        LINE,
        "baud = 9600",
        'parity = "no"',
        8,
        "port.parity",
        "found 'no'; input should be 'none', 'even', 'odd'",
    ),
    "unknown port": (LINE, '"serial"', '"usb"', 7, "port.kind", "'serial', 'tcp', 'bridge'"),
    "baud of a tcp port": (
        LINE,
        '"serial"',
        '"tcp"',
        8,
        "port.baud",
        "a tcp port has no such setting",
    ),
    "unknown gauge": (
        LINE,
        '["caliper"]',
        '["calliper"]',
        4,
        "driver.gauges.1",
        "found 'calliper'; input should be 'micrometer'",
    ),
    "a level that does not exist": (
        LINE,
        "title",
        'level = "proven"\ntitle',
        3,
        "driver.level",
        "'described', 'replayed' or 'tried on hardware'",
    ),
    "edge": (CLOCKED, '"rising"', '"up"', 11, "frame.edge", "'rising' or 'falling'"),
    "no pause between clocks": (CLOCKED, 'pause = "1 ms"', "", 9, "frame.pause", "missing"),
    "pause of nothing": (CLOCKED, "1 ms", "0 ms", 12, "frame.pause", "a time above zero"),
    "sign above inch": (
        CLOCKED,
        "inch_bit = 23",
        "inch_bit = 20",
        13,
        "frame.sign_bit",
        "found 20, accepted: a place below the inch bit, 20",
    ),
    "step in the wrong unit": (
        CLOCKED,
        '"0.01 mm"',
        '"0.01 in"',
        15,
        "frame.step_mm",
        "the unit is stated to be mm",
    ),
    "step of nothing": (CLOCKED, '"0.01 mm"', '"0 mm"', 15, "frame.step_mm", "a step above zero"),
    "inch code of nobody": (
        CLOCKED.replace('"scale24"', '"bcd52"'),
        'pause = "1 ms"\nsign_bit = 20\ninch_bit = 23\nstep_mm = "0.01 mm"\nstep_in = "0.0005 in"',
        'pause = "1 ms"\ninch_code = 5',
        13,
        "frame.inch_code",
        "1 or 8",
    ),
    "no example": (
        LINE,
        LINE[LINE.index("[[example]]") :],
        "",
        None,
        "example",
        "missing",
    ),
    "no example with a value": (
        LINE,
        'bytes = "+  2.1380 MM\\r"\nvalue = "2.1380"\nunit = "mm"',
        'bytes = "x\\r"\nnoise = "shape"',
        15,
        "example",
        "no example gives a value",
    ),
    "example without bytes": (
        LINE,
        'bytes = "+  2.1380 MM\\r"\n',
        "",
        15,
        "example.1",
        "accepted: the bytes of the example",
    ),
    "example with bytes twice": (
        LINE,
        "value",
        'hex = "0d"\nvalue',
        15,
        "example.1",
        "not both",
    ),
    "example with bad hexadecimal": (
        LINE,
        'bytes = "+  2.1380 MM\\r"',
        'hex = "0"',
        16,
        "example.1.hex",
        "found '0'",
    ),
    "example without an outcome": (
        LINE,
        'value = "2.1380"\nunit = "mm"\n',
        "",
        15,
        "example.1",
        "found none of them, accepted: one of value, noise, partial",
    ),
    "example with two outcomes": (
        LINE,
        "value",
        'noise = "x"\nvalue',
        15,
        "example.1",
        "found value and noise",
    ),
    "example without its unit": (
        LINE,
        'unit = "mm"\n',
        "",
        15,
        "example.1",
        "a unit beside a value",
    ),
    "mode of noise": (
        LINE,
        'value = "2.1380"\nunit = "mm"\n',
        'noise = "x"\nmode = "max"\n',
        15,
        "example.1",
        "found mode or notes",
    ),
    "wrong value": (
        LINE,
        'value = "2.1380"',
        'value = "2.138"',
        15,
        "example.1",
        "found the value 2.1380 mm (actual); the example promises the value 2.138 mm (actual)",
    ),
    "value instead of noise": (
        LINE + '[[example]]\nbytes = "1.0 mm\\r"\nnoise = "shape"\n',
        "",
        "",
        19,
        "example.2",
        "found the value 1.0 mm (actual); the example promises noise because of 'shape'",
    ),
    "wrong terminator": (
        LINE,
        'ends_with = "\\r"',
        'ends_with = "\\n"',
        15,
        "example.1",
        r"found a partial frame '+  2.1380 MM\r' (the stream ended inside the line)",
    ),
    "two frames in one example": (
        LINE,
        '2.1380 MM\\r"',
        '2.1380 MM\\r\\r"',
        15,
        "example.1",
        r"(actual); noise '\r' (an empty line)",
    ),
    "value instead of a partial": (
        CLOCKED,
        'value = "10.00"\nunit = "mm"',
        'partial = "bits"\n[[example]]\nbytes = "0101"\nvalue = "0.10"\nunit = "mm"',
        18,
        "example.1",
        "promises a partial frame because of 'bits'",
    ),
}


@pytest.mark.parametrize(
    ("text", "old", "new", "line", "field", "words"), FAULTS.values(), ids=FAULTS
)
def test_a_fault_is_named_with_file_line_field_found_and_accepted(
    text, old, new, line, field, words
):
    assert old in text
    with pytest.raises(InputError) as caught:
        load_driver(text.replace(old, new, 1), "my-gauge.toml")
    assert caught.value.file == "my-gauge.toml"
    assert (caught.value.line, caught.value.field) == (line, field)
    assert words in caught.value.what
    assert "\n" not in str(caught.value)


def test_a_misspelt_table_is_refused():
    with pytest.raises(InputError, match=r"^my-gauge\.toml, .*frame"):
        load_driver(LINE.replace("[frame]", "[frames]"), "my-gauge.toml")


@pytest.mark.parametrize(
    ("text", "fs"),
    [
        ("1 ms", 10**12),
        ("0.5 s", 5 * 10**14),
        ("500us", 5 * 10**11),
        (" 2,5 \u00b5s ", 25 * 10**8),
        ("1 \u03bcs", 10**9),
        ("7 ns", 7 * 10**6),
        ("1 fs", 1),
    ],
)
def test_a_time_is_read_exactly(text, fs):
    assert femtoseconds(text) == fs


@pytest.mark.parametrize("text", ["", "ms", "5", "1 min", "0 s", "0.5 fs", "-1 s", "1.2.3 s"])
def test_a_time_that_is_none_is_refused(text):
    with pytest.raises(InputError, match="accepted"):
        femtoseconds(text)
