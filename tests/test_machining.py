"""The simulated machinist works from the printed order, and the head is another one afterwards.

Geometry of the trade: what comes off a seat lets the valve and its spring's retainer drop alike; a
skim raises the valve against the face and moves no spring (unpublished handbook, 3.6).
"""

from __future__ import annotations

import pytest

from gaugelink import content, sheetfile
from gaugelink.head import Position
from gaugelink.simulate import scenario as scenarios
from gaugelink.simulate.machining import Line, Oversize, machined, printed_lines
from gaugelink.simulate.workpiece import Workpiece

SCENARIO = scenarios.load(*content.read("sim", "demo-head"))
SHEET = sheetfile.load(*content.read("sim/sheets", SCENARIO.scenario.sheet))
SIZES = [Oversize("+0.1", 8107.5, 8052.5)]  # the middle of what the demonstration's shop has
MOST_OFF = 4 * 4.0  # a machine is seldom more than four standard deviations off


def head() -> Workpiece:
    return Workpiece(SCENARIO, SHEET.head, 1)


def done(*lines: Line, piece: Workpiece | None = None) -> Workpiece:
    before = found = piece or head()
    for line in lines:
        found = machined(found, line, before, SIZES)
    return found


def size(piece: Workpiece, valve: str, name: str, station: str = "", direction: str = "") -> float:
    return piece.size_um(Position(valve, name, station, direction))


@pytest.mark.parametrize(
    ("line", "drop"),
    [
        (Line("seat cut", "3E", "Cut the seat", "0.150 mm"), 150),
        (Line("valve refaced", "3E", "Reface the valve", "0.080 mm"), 80),
        (Line("insert fitted", "3E", "Fit a new seat insert", "0.300 mm"), -300),
    ],
)
def test_seat_work_moves_stand_down_and_spring_alike(line: Line, drop: float):
    before, after = head(), done(line)
    moved = size(after, "3E", "stand-down") - size(before, "3E", "stand-down")
    assert moved == pytest.approx(drop, abs=MOST_OFF)
    assert moved != drop, "no machine is quite where its dial says"
    height = "installed spring height"
    assert size(after, "3E", height) - size(before, "3E", height) == pytest.approx(moved)
    for name in ("stand-down", height):
        assert size(after, "3I", name) == size(before, "3I", name)


def test_a_skim_raises_every_valve_and_moves_no_spring():
    before, after = head(), done(Line("face skimmed", "", "Skim the face", "0.100 mm"))
    for valve in ("1I", "6E"):
        moved = size(after, valve, "stand-down") - size(before, valve, "stand-down")
        assert moved == pytest.approx(-100, abs=MOST_OFF)
        height = "installed spring height"
        assert size(after, valve, height) == size(before, valve, height)
    points = [f"{row}{column}" for row in "ABC" for column in range(1, 8)]
    assert max(abs(size(after, "", "face height", point)) for point in points) <= 2


def test_a_shim_shortens_the_spring_by_its_thickness_and_nothing_else():
    before, after = head(), done(Line("shim changed", "6I", "Shim the spring", "0.381 mm"))
    height = "installed spring height"
    assert size(before, "6I", height) - size(after, "6I", height) == pytest.approx(381)
    assert size(after, "6I", "stand-down") == size(before, "6I", "stand-down")


def test_valves_are_all_out_before_one_goes_in():
    """Two change places, and a second order goes by where they are then."""
    before = head()
    after = done(
        Line("valve moved", "2E", "Fit the valve of 6E", ""),
        Line("valve moved", "6E", "Fit the valve of 2E", ""),
    )

    def stem(piece: Workpiece, valve: str) -> float:
        return size(piece, valve, "stem diameter", "middle", "along")

    assert (stem(after, "2E"), stem(after, "6E")) == (stem(before, "6E"), stem(before, "2E"))
    again = done(Line("valve moved", "1E", "Fit the valve of 6E", ""), piece=after)
    assert stem(again, "1E") == stem(before, "2E")
    replaced = done(Line("valve replaced", "2E", "Fit a new valve", ""), piece=after)
    new = SCENARIO.sizes.new_stem["exhaust"]
    assert stem(replaced, "2E") == pytest.approx(new, abs=SCENARIO.sizes.spread + 0.3)


def test_a_guide_reamed_wider_and_the_valve_made_for_it_are_of_the_shops_size():
    """8.100 to 8.115 and 8.045 to 8.060 in the price file."""
    after = done(
        Line("guide reamed", "3E", "Ream the guide wider, size +0.1", ""),
        Line("valve replaced", "3E", "Fit a new valve, size +0.1", ""),
    )
    bore = size(after, "3E", "guide bore", "top", "across")
    stem = size(after, "3E", "stem diameter", "top", "across")
    assert 8100 <= bore <= 8115
    assert 8045 <= stem <= 8060
    # Straight again, and rocked with a valve of that size: clearance times 1 + 2 * 28 / 50.
    middle = (8045 + 8060) / 2
    assert after.travel_um("3E", "across") == pytest.approx((bore - middle) * 2.12)
    standard = done(Line("guide replaced", "3E", "Fit a new guide and size its bore", ""))
    worn, fresh = size(head(), "3E", "guide bore", "top", "across"), SCENARIO.sizes.bore["exhaust"]
    now = size(standard, "3E", "guide bore", "top", "across")
    assert worn - fresh > 40
    assert now == pytest.approx(fresh, abs=SCENARIO.sizes.spread)


def test_a_new_spring_has_its_length_and_load_back():
    before, after = head(), done(Line("spring changed", "4I", "Fit a new spring", ""))
    length = "spring free length"
    assert size(after, "4I", length, "", "along") - size(before, "4I", length, "", "along") > 700
    assert after.load_n("4I", 40_500) - before.load_n("4I", 40_500) > 28  # 40 N/mm


def test_a_machine_that_slips_takes_what_it_takes():
    bad = scenarios.Machining(valve="3E", operation="seat cut", off="0.120 mm")
    piece = Workpiece(SCENARIO.model_copy(update={"machining": [bad]}), SHEET.head, 1)
    after = done(Line("seat cut", "3E", "Cut the seat", "0.030 mm"), piece=piece)
    moved = size(after, "3E", "stand-down") - size(piece, "3E", "stand-down")
    assert moved == pytest.approx(150)


def test_work_that_it_does_not_know_is_said():
    with pytest.raises(LookupError, match="does not know head welded"):
        done(Line("head welded", "3E", "Weld", ""))


def test_a_depth_is_told_where_the_work_has_one_and_an_insert_has_none():
    table = (
        "operation,valve,what to do,depth mm\r\n"
        "insert fitted,2I,Fit a new seat insert,0.460\r\nface skimmed,face,Skim the face,0.1\r\n"
        'guide reamed,3E,"Ream the guide wider, size +0.1",\r\n,2I,Measure stand-down,\r\n'
    )  # fmt: skip
    lines = printed_lines(table)
    assert [(line.operation, line.valve, line.told) for line in lines] == [
        ("insert fitted", "2I", ""),
        ("face skimmed", "", "0.1 mm"),
        ("guide reamed", "3E", ""),
    ]
    assert lines[0].depth_um == pytest.approx(460)
