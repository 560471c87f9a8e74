"""Signs of trouble that show only in how values follow each other."""

from __future__ import annotations

import pytest
from hypothesis import given, strategies as st

from gaugelink.capture.signs import BUNCH, LATE_NS, Signs, battery_reply, came_late, link_words
from gaugelink.capture.triggers import ZeroPressed
from gaugelink.quantity import parse_length
from gaugelink.wire.base import Value

STEP = 10_000_000
"""0.01 mm in picometres."""
PERIOD_NS = 125_000_000
"""Eight values a second, as a low-cost scale sends them (handbook of the trade, section 4.2)."""


def pressed_after(shown: list[int]) -> list[int]:
    """Feed counts of 0.01 mm, and say after which of them the zero was taken to be set."""
    watch = ZeroPressed()
    return [
        number
        for number, count in enumerate(shown)
        if watch.feed(count * STEP, STEP, number * PERIOD_NS)
    ]


@pytest.mark.parametrize("there", [4790, -4790, 101])
def test_a_display_that_rests_and_is_at_exactly_zero_in_the_next_sample_was_zeroed(there):
    assert pressed_after([there] * 6 + [0, 0, 1]) == [7]


def test_jaws_that_are_closed_are_seen_on_the_way_and_are_no_zero_event():
    assert pressed_after([4790] * 6 + [3600, 1200, 90, 0, 0, 0]) == []


def test_a_spindle_that_passes_zero_is_no_zero_event():
    """A rock: rest, through exactly zero by chance in one sample, rest on the other side."""
    rock = [-160] * 6 + [0, 160] + [160] * 6 + [0, -160] + [-160] * 6
    assert pressed_after(rock) == []


def test_a_zero_set_where_the_display_was_near_zero_anyway_changes_nothing_worth_a_check():
    assert pressed_after([100] * 6 + [0, 0, 0]) == []


@given(st.lists(st.integers(-20_000, 20_000), max_size=60))
def test_a_zero_event_needs_an_exact_zero_after_a_rest(shown):
    for number in pressed_after(shown):
        assert shown[number - 1] == 0
        before = shown[: number - 1][-5:]
        assert max(before) - min(before) <= 2


def value(*notes: str) -> Value:
    return Value(parse_length("7.965 mm"), b"", notes=notes)


def test_a_gauge_that_flags_its_battery_with_each_value_says_good_by_leaving_the_flag_out():
    signs = Signs()
    assert signs.battery(value()) is None, "most gauges say nothing of a battery"
    assert signs.battery(value("over tolerance", "battery low")) == (True, "battery low")
    assert signs.battery(value()) == (False, "battery good")


def test_a_reply_about_the_battery_is_understood_as_the_driver_file_words_it():
    assert battery_reply("the gauge reports: battery good (B1)") == (False, "battery good (B1)")
    assert battery_reply("found the battery 'b'") is None


def test_values_come_late_when_several_come_at_once_after_a_silence():
    assert came_late(BUNCH, LATE_NS)
    assert not came_late(BUNCH - 1, LATE_NS)
    assert not came_late(BUNCH, LATE_NS - 1)


def test_the_half_line_at_the_start_alone_is_no_bad_link():
    assert link_words(24, 12) == ""
    assert link_words(2400, 12) == "under 1 % noise"
