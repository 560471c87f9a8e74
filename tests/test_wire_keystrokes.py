"""A gauge that types: its figure is told from a person's by time and by shape, or it is none."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, strategies as st

from gaugelink import content
from gaugelink.capture.listening import score
from gaugelink.errors import InputError
from gaugelink.ports.port import Chunk
from gaugelink.simulate.encoders import Display, keys_line, keys_line_comma
from gaugelink.wire.base import Noise, Partial, Value
from gaugelink.wire.driver import load_driver

POINT = load_driver(*content.read("drivers", "keys-line"))
COMMA = load_driver(*content.read("drivers", "keys-line-comma"))
MS = 1_000_000

SAMPLE = """\
[driver]
name = "sample"
title = "sample"
gauges = ["caliper"]
[port]
kind = "keyboard"
[frame]
codec = "keystrokes"
decimal = "."
unit = "mm"
{more}
[[example]]
bytes = '''{example}
'''
value = "7.965"
unit = "mm"
"""


def sample(more: str, example: str = "7.965"):
    return load_driver(SAMPLE.format(more=more, example=example), "sample.toml")


def typed(driver, keys: bytes, pauses: dict[int, int], usual_ms: int = 10, joined: bool = False):
    """Push keys one by one, as whoever holds a port does; pauses in ms before a key."""
    decoder = driver.decoder(joined_midstream=joined)
    items = [*decoder.gap()]  # the port was silent before
    for place, key in enumerate(keys):
        passed = pauses.get(place, usual_ms) if place else 0
        if passed * MS >= driver.pause_ns:
            items += decoder.gap()
        items += decoder.feed(bytes([key]))
    return items + decoder.end()


def values(items):
    return [str(item.shown) for item in items if isinstance(item, Value)]


def test_a_gauge_that_types_without_a_pause_is_read():
    assert values(typed(POINT, b"G12.1380\n", {})) == ["12.1380 mm"]
    assert values(typed(COMMA, b"G12,1380mm\t", {})) == ["12.1380 mm"]


def test_keys_of_a_gauge_may_come_up_to_the_key_gap_apart_and_no_further():
    assert values(typed(POINT, b"G12.1380\n", {}, 29)) == ["12.1380 mm"]
    assert values(typed(POINT, b"G12.1380\n", {}, 30)) == []


def test_a_person_who_types_the_very_same_keys_is_noise_and_the_reason_says_so():
    items = typed(POINT, b"G12.1380\n", {}, 80)
    assert {type(item) for item in items} == {Noise}
    (why,) = {item.why for item in items}
    assert why.startswith("typed by a person: there was a pause between two keys")


@pytest.mark.parametrize("place", range(1, 9))
def test_the_rest_after_a_pause_is_never_a_value_wherever_the_pause_is(place):
    """Of 12.1380 with a pause after the 1, 2.1380 must never be left."""
    exact = sample("pattern = '(?P<digits>\\d{1,2}\\.\\d{3,4})'\nprefix = 'G'", "G7.965")
    for driver in (POINT, exact):
        items = typed(driver, b"G12.1380\n" + b"G7.965\n", {place: 400})
        assert values(items) == ["7.965 mm"]


def test_without_a_prefix_the_tail_of_a_broken_value_is_none_either():
    """One digit, a point, four digits: just what is left of 12.1380 after the pause."""
    text = SAMPLE.format(more="pattern = '(?P<digits>\\d\\.\\d{4})'", example="7.9650")
    driver = load_driver(text.replace('"7.965"', '"7.9650"'), "sample.toml")
    assert values(typed(driver, b"2.1380\n", {})) == ["2.1380 mm"]
    assert values(typed(driver, b"12.1380\n2.1380\n", {1: 31})) == ["2.1380 mm"]


def test_stray_keys_before_a_value_cost_that_value_and_not_the_next():
    assert values(typed(POINT, b"hG12.1380\nG7.965\n", {1: 5000})) == ["7.965 mm"]


def test_what_was_begun_when_the_port_was_opened_is_dropped():
    decoder = POINT.decoder(joined_midstream=True)
    (first,) = decoder.feed(b"G2.1380\n")
    assert isinstance(first, Partial)
    assert values(decoder.feed(b"G7.965\n")) == ["7.965 mm"]


GAPS = st.lists(st.integers(0, 200), min_size=40, max_size=40)


@given(keys=st.sampled_from([b"G12.1380\n", b"12.1380\nG7.965\n", b"x7\nG-0.5\nG1.5\n"]), gaps=GAPS)
def test_a_value_is_always_a_whole_line_without_a_pause_in_it(keys, gaps):
    """Whatever the times: the lines that no pause falls into are reckoned here from the keys."""
    items = typed(POINT, keys, dict(enumerate(gaps)))
    assert b"".join(item.raw for item in items) == keys
    wanted, at = [], 0
    for line in keys.splitlines(keepends=True):
        unbroken = all(gaps[place] < 30 for place in range(at + 1, at + len(line)))
        if unbroken and line[:1] == b"G":
            wanted.append(line)
        at += len(line)
    assert [item.raw for item in items if isinstance(item, Value)] == wanted


@given(
    counts=st.integers(-10_000_000, 10_000_000),
    places=st.integers(1, 5),
    broken=st.integers(1, 7),
    pause=st.integers(30, 100_000),
)
def test_no_figure_comes_of_a_value_with_a_pause_in_it(counts, places, broken, pause):
    shown = Display(counts, places, "mm")
    for driver, encode in ((POINT, keys_line), (COMMA, keys_line_comma)):
        keys = encode(shown)
        assert values(typed(driver, keys, {})) == values(driver.decoder().feed(keys)) != []
        assert values(typed(driver, keys, {min(broken, len(keys) - 1): pause})) == []


@given(whole=st.integers(0, 999), part=st.integers(0, 999))
def test_a_comma_is_never_a_point_and_never_nothing(whole, part):
    """7,965 is never 7965, and where a point is stated it is nothing at all."""
    figure = f"{whole},{part:03d}"
    assert values(POINT.decoder().feed(f"G{figure}\n".encode())) == []
    (shown,) = values(COMMA.decoder().feed(f"G{figure}mm\n".encode()))
    assert shown == f"{whole}.{part:03d} mm"


LOOSE = sample("prefix = 'G'\npattern = '(?P<digits>[\\d.,]+)'", "G7.965")


@pytest.mark.parametrize(
    ("typing", "why"),
    [
        ("G7,965", "the number '7,965' has not one '.' in it"),
        ("G7965", "the number '7965' has not one '.' in it"),
        ("G7.96.5", "has not one '.' in it"),
        ("G7,965.0", "found ',' in '7,965.0', which is no decimal sign here"),
    ],
)
def test_the_stated_decimal_sign_counts_however_lenient_the_pattern_is(typing, why):
    (item,) = LOOSE.decoder().feed(f"{typing}\n".encode())
    assert isinstance(item, Noise)
    assert why in item.why


@pytest.mark.parametrize(
    ("more", "example", "field", "words"),
    [
        ("", "7.965", "frame.prefix", "any number that somebody types would be a value, such as"),
        (
            "pattern = '(?P<digits>\\d+\\.\\d+)'",
            "7.965",
            "frame.pattern",
            "such as '7.9' and '7.96'; accepted: a prefix or suffix",
        ),
        ("prefix = ' '", " 7.965", "frame.prefix", "any number that somebody types"),
        ("prefix = 'G'\npause = '1 s'", "G7.965", "frame.pause", "accepted: key_gap"),
        ("prefix = 'G'\nkey_gap = '30'", "G7.965", "frame.key_gap", "a time with its unit"),
        ("prefix = 'G'\nends_with = []", "G7.965", "frame.ends_with", "Enter, Tab, or both"),
        ("prefix = 'G'\nends_with = 'Return'", "G7.965", "frame.ends_with", "'Enter' or 'Tab'"),
        ("prefix = 'G'\npattern = '('", "G7.965", "frame.pattern", "not a regular expression"),
        ("prefix = 'G'\npattern = '\\d+'", "G7.965", "frame.pattern", "digits is missing"),
        (
            "prefix = 'G'\npattern = '(?P<mode>A)(?P<digits>\\d+)'",
            "G7.965",
            "frame.pattern",
            "found the named group mode, accepted: sign, digits, unit",
        ),
        (
            "prefix = 'G'\npattern = '(?P<digits>\\d+\\.\\d+)(?P<unit>mm)'",
            "G7.965mm",
            "frame.unit",
            "accepted: one of them",
        ),
    ],
)  # fmt: skip
def test_a_file_that_would_let_stray_typing_pass_or_makes_no_sense_is_refused(
    more, example, field, words
):
    with pytest.raises(InputError, match=re.escape(words)) as fault:
        sample(more, example)
    assert fault.value.field == field


def test_a_prefix_of_keys_that_cannot_be_seen_is_refused():
    with pytest.raises(InputError, match="what can be seen when typed"):
        sample('prefix = "G\\n"', "G7.965")


@pytest.mark.parametrize(
    "pattern", [r"(?P<digits>\d{3}\.\d{3})", r"(?P<sign>[+-])(?P<digits>\d{3}\.\d{3})"]
)
def test_exactly_so_many_digits_need_no_prefix(pattern):
    sign = "+" if "sign" in pattern else ""
    driver = sample(f"pattern = '{pattern}'", f"{sign}007.965")
    assert values(driver.decoder().feed(f"{sign}012.345\n7.965\n".encode())) == ["12.345 mm"]


def test_a_suffix_alone_will_do():
    driver = sample("suffix = '#'", "7.965#")
    assert values(driver.decoder().feed(b"8.105#\n8.105\n")) == ["8.105 mm"]


def test_only_a_keyboard_types_and_a_keyboard_does_nothing_else():
    text = SAMPLE.format(more="prefix = 'G'", example="G7.965")
    for old, new, words in [
        ('kind = "keyboard"', 'kind = "serial"', "keyboard and keystrokes go together"),
        ('kind = "keyboard"', 'kind = "keyboard"\nbaud = 9600', "a keyboard has no such setting"),
        ('kind = "keyboard"', 'kind = "keyboard"\nlayout = "dvorak"', "'us', 'de' or 'fr'"),
    ]:
        with pytest.raises(InputError, match=words):
            load_driver(text.replace(old, new), "sample.toml")
    line, file = content.read("drivers", "signed-line")
    with pytest.raises(InputError, match="keyboard and keystrokes go together"):
        load_driver(line.replace('kind = "serial"', 'kind = "keyboard"'), file)
    with pytest.raises(InputError, match="a serial port has no layout"):
        load_driver(line.replace('kind = "serial"', 'kind = "serial"\nlayout = "us"'), file)


def test_listening_to_a_keyboard_judges_the_times_of_its_keys():
    keys = b"G12.1380\n"
    quick = [Chunk(keys[at : at + 1], (1000 + 10 * at) * MS) for at in range(len(keys))]
    slow = [Chunk(keys[at : at + 1], (1000 + 90 * at) * MS) for at in range(len(keys))]
    assert score(POINT, quick, 0).values == ("12.1380 mm",)
    assert score(POINT, slow, 0).values == ()
