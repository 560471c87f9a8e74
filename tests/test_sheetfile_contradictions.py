"""Two limits of a sheet that no readings can be within together are refused; others stand."""

from __future__ import annotations

from itertools import product
from statistics import fmean
from typing import TYPE_CHECKING

import pytest
from test_sheetfile_pairs import faults_of, sheet_with

from gaugelink import content
from gaugelink.limitfile import contradiction
from gaugelink.sheetfile import check, load

if TYPE_CHECKING:
    from gaugelink.limits import Judge, Limit

JUDGES: tuple[Judge, ...] = ("each", "smallest", "largest", "mean")
STATIONS = ((), ("top",), ("bottom",), ("top", "bottom"))
LEVELS = (0, 10, 11, 99)
"""An upper bound of 10 and a lower one of 11, and what lies far beyond either, in micrometres."""


def within(readings: dict[tuple[str, int], int], limit: tuple[Judge, tuple[str, ...], str]) -> bool:
    """Judge readings of several places the slow way, without the program."""
    judge, stations, side = limit
    used = [um for (station, _), um in readings.items() if not stations or station in stations]
    told = {"smallest": min, "largest": max, "mean": fmean}.get(judge)
    values = [told(used)] if told else used
    return all(value >= 11 if side == "min" else value <= 10 for value in values)


PLACES = [("top", 1), ("top", 2), ("bottom", 1), ("bottom", 2), ("middle", 1)]
EVERY = [dict(zip(PLACES, ums, strict=True)) for ums in product(LEVELS, repeat=5)]
"""All readings of three stations, two at most of them, at any of the levels."""


@pytest.mark.parametrize(("low", "high"), [*product(JUDGES, JUDGES)])
def test_limits_contradict_where_no_readings_at_all_are_within_both(low: Judge, high: Judge):
    for some, others in product(STATIONS, STATIONS):
        possible = any(
            within(readings, (low, some, "min")) and within(readings, (high, others, "max"))
            for readings in EVERY
        )
        first = limit_of(low, some, 'service_min = "0.011 mm"')
        second = limit_of(high, others, 'service_max = "0.010 mm"')
        assert (contradiction(second, first) is None) == possible, (some, others)
        assert (contradiction(first, second) is None) == possible, (some, others)


def limit_of(judge: Judge, stations: tuple[str, ...], bound: str) -> Limit:
    where = f"stations = {list(stations)}\n" if stations else ""
    text = sheet_with(f'characteristic = "stem diameter"\njudge = "{judge}"\n{where}{bound}')
    [limit] = load(text, "s.toml").limits
    return limit


STEM = 'characteristic = "stem diameter"\n'
LOW = STEM + 'judge = "smallest"\nservice_min = ["7.950 mm", "0.3130 in"]'
HIGH = STEM + 'judge = "largest"\nnew_max = "7.940 mm"'


def test_the_later_of_the_two_is_named_with_the_line_of_the_other():
    [fault] = faults_of(sheet_with(LOW, HIGH))
    assert str(fault) == (
        "s.toml, line 17, limit.2.new_max: found new_max 7.940 mm, and the limit on line 10 has "
        "service_min 7.950 mm (0.3130 in) for the same readings; none can be within both"
    )
    [fault] = faults_of(sheet_with(HIGH, LOW))
    assert str(fault).startswith(
        "s.toml, line 17, limit.2.service_min: found service_min 7.950 mm (0.3130 in), and the "
        "limit on line 10 has new_max 7.940 mm"
    )


@pytest.mark.parametrize(
    ("low", "high"),
    [
        (LOW, HIGH.replace("7.940", "7.951")),
        (LOW, HIGH.replace("7.940", "7.950")),  # one size is within both
        (LOW, HIGH + '\nservice_max = "7.960 mm"'),  # the service limit decides
        (LOW + '\nvalves = ["intake"]', HIGH + '\nvalves = ["exhaust"]'),
        (LOW + '\nstations = ["top"]', HIGH + '\nstations = ["bottom"]'),  # a stem may be tapered
        (LOW + '\ndirections = ["along"]', HIGH + '\ndirections = ["across"]'),
        (LOW, HIGH.replace("largest", "range")),
        (LOW.replace("smallest", "range"), HIGH),
        (LOW, HIGH.replace("stem diameter", "guide bore")),
        (LOW, HIGH + '\nsize = "-0.1"\nnew_min = "7.930 mm"'),
    ],
)
def test_limits_that_something_can_be_within_together_stand(low: str, high: str):
    assert check(sheet_with(low, high), "s.toml").errors == []


def test_travels_at_two_lifts_are_two_sizes():
    rock = 'characteristic = "guide clearance"\nmethod = "rock"\nvalve_used = "new"\n'
    rock += 'figure = "travel"\nlift = "{} mm"\njudge = "{}"\n{}'
    low = rock.format(8, "smallest", 'new_min = "0.20 mm"')
    high = rock.format(4, "largest", 'service_max = "0.10 mm"')
    assert check(sheet_with(low, high), "s.toml").errors == []
    [fault] = faults_of(sheet_with(low, high.replace("4 mm", "8 mm")))
    assert "none can be within both" in fault.what


def test_the_sheet_that_ships_has_none():
    assert check(*content.read("sim/sheets", "demo-pump-engine")).errors == []
