"""A gauge whose zero is in doubt, or whose battery is low, waits for a person."""

from __future__ import annotations

import pytest
from session_bench import Bench

from gaugelink.deeds import ConfirmPosition, ConfirmZero
from gaugelink.errors import SessionError
from gaugelink.events import (
    BatteryTold,
    GaugeFound,
    GaugeLost,
    ReadingParked,
    ReadingTaken,
    SweepParked,
    SweepTaken,
    ZeroChecked,
    ZeroDoubted,
)
from gaugelink.standing import BATTERY, UNCONFIRMED


@pytest.fixture
def bench() -> Bench:
    return Bench()


def kind_of_last(bench: Bench) -> type:
    return type(bench.record[-1][1])


def why_of_last(bench: Bench) -> str:
    event = bench.record[-1][1]
    assert isinstance(event, ReadingParked)
    return event.why


def to_the_rock(bench: Bench) -> None:
    number = next(n for n, step in enumerate(bench.session.plan) if step.sweep)
    bench.session.go(number)


def test_what_a_gauge_sends_whose_zero_is_in_doubt_goes_to_the_tray_until_it_is_checked(bench):
    bench.put(ZeroDoubted(bench.stamp(), "M1", "it jumped to zero"))
    bench.value("M1")
    assert why_of_last(bench) == (
        "it jumped to zero; check the zero on its master, then confirm it"
    )
    assert bench.do(ConfirmZero("M1"))
    assert kind_of_last(bench) is ZeroChecked
    bench.value("M1")
    assert kind_of_last(bench) is ReadingTaken
    assert bench.replayed().standing == bench.session.standing


def test_only_a_zero_that_is_in_doubt_can_be_confirmed(bench):
    with pytest.raises(SessionError, match="the zero of M1 is not in doubt"):
        bench.do(ConfirmZero("M1"))
    bench.put(ZeroDoubted(bench.stamp(), "M1", "it jumped to zero"))
    with pytest.raises(SessionError, match="the zero of I1 is not in doubt"):
        bench.do(ConfirmZero("I1"))


def test_position_and_zero_are_confirmed_apart(bench):
    bench.put(GaugeLost(bench.stamp(), "M1", "COM5", "pulled"))
    bench.put(GaugeFound(bench.stamp(), "M1", "COM7"))
    bench.put(ZeroDoubted(bench.stamp(), "M1", "it was off"))
    bench.value("M1")
    assert why_of_last(bench) == UNCONFIRMED
    bench.do(ConfirmPosition())
    bench.value("M1")
    assert why_of_last(bench).startswith("it was off")
    bench.do(ConfirmZero("M1"))
    bench.value("M1")
    assert kind_of_last(bench) is ReadingTaken


def test_no_sweep_is_recorded_while_the_battery_is_low_and_single_values_are(bench):
    for mark in ("I1", "M1"):
        bench.put(BatteryTold(bench.stamp(), mark, True, "battery low"))
    bench.value("M1")
    assert kind_of_last(bench) is ReadingTaken
    to_the_rock(bench)
    bench.sweep()
    assert kind_of_last(bench) is SweepParked
    assert bench.record[-1][1].why == BATTERY
    bench.put(BatteryTold(bench.stamp(), "I1", False, "battery good"))
    bench.sweep()
    assert kind_of_last(bench) is SweepTaken
    assert bench.replayed().standing.battery == {"M1"}


def test_a_gauge_that_was_lost_is_asked_anew_how_its_battery_is(bench):
    bench.put(BatteryTold(bench.stamp(), "I1", True, "battery low"))
    bench.put(GaugeLost(bench.stamp(), "I1", "COM5", "pulled"))
    bench.put(GaugeFound(bench.stamp(), "I1", "COM5"))
    assert bench.session.standing.battery == set()
