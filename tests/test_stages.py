"""Work makes stale what it touches, on purpose, and nothing that was measured after it."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import given, strategies as st
from session_bench import PLAN, SHEET

from gaugelink.errors import InputError
from gaugelink.events import WorkDone
from gaugelink.head import CHARACTERISTICS, Position, zero_check_of
from gaugelink.plan import Step, plan_for
from gaugelink.planning.stages import Checked, Placed, again, stale
from gaugelink.reading import Stamp
from gaugelink.sheetfile import check, load
from gaugelink.work import STAGES, WORK, Operation, staleness_page, whole_row

STAMP = Stamp("2026-01-01T00:00:00.000000Z", 0, "A. N.", "bench 1")
DOCS = Path(__file__).resolve().parents[1] / "docs"


def done(operation: Operation, *valves: str, gauge: str | None = None, since: int | None = None
         ) -> WorkDone:  # fmt: skip
    return WorkDone(STAMP, operation, valves, WORK[operation].stale, "A. N.", None, gauge, since)


def names(operation: Operation, valve: str = "3E") -> set[str]:
    """What becomes stale of a whole head that was measured before the work."""
    readings = [Placed(Position(valve, name), "G", 1) for name in CHARACTERISTICS]
    found = stale(readings, [(2, done(operation, *([valve] if valve else [])))])
    return {item.reading.position.characteristic for item in found if not item.fresh}


@pytest.mark.parametrize("operation", WORK)
def test_every_operation_says_of_every_characteristic_whether_it_is_touched(
    operation: Operation,
) -> None:
    work = WORK[operation]
    assert sorted([*work.stale, *work.untouched]) == sorted(CHARACTERISTICS)
    assert whole_row(set(work.stale)) == work.stale, "what is reckoned from it, in order"


def test_the_list_of_operations_is_closed() -> None:
    assert tuple(WORK) == get_args(Operation)
    assert STAGES == ("as received", "after cleaning", "after machining", "after lapping", "final")


@pytest.mark.parametrize(
    ("operation", "again_needed"),
    [
        # Common practice, no source, of the trade's own notes: which work asks for what again.
        ("guide replaced", {"guide bore", "guide projection", "guide clearance", "seat runout"}),
        ("guide honed", {"guide bore", "guide projection", "guide clearance", "seat runout"}),
        ("valve refaced", {"margin", "stand-down", "tip height"}),
        ("tip ground", {"valve length", "tip height"}),
        ("valve replaced", {"stem diameter", "guide clearance", "stand-down", "tip height",
                            "installed spring height"}),
        ("seat ground", {"seat width", "seat runout", "stand-down", "tip height",
                         "installed spring height"}),
        ("seat lapped", {"seat width", "stand-down", "tip height", "installed spring height"}),
        ("insert fitted", {"seat width", "seat runout", "stand-down"}),
        ("face skimmed", {"head-face flatness", "head thickness", "stand-down"}),
        ("spring changed", {"installed spring height", "spring free length"}),
        ("head washed", {"head-face flatness", "guide bore", "seat runout"}),
    ],
)  # fmt: skip
def test_what_the_trade_measures_again_is_stale(operation: Operation, again_needed: set[str]
                                                ) -> None:  # fmt: skip
    assert again_needed <= names(operation)


@pytest.mark.parametrize(
    ("operation", "kept"),
    [
        # Geometry: facing lowers the face, not the seat; a tip's grinding moves no valve.
        ("face skimmed", {"tip height", "installed spring height"}),
        ("tip ground", {"installed spring height", "stand-down", "margin"}),
        ("seat cut", {"stem diameter", "guide bore", "margin", "head thickness"}),
        ("valve replaced", {"guide bore", "guide projection", "seat runout"}),
    ],
)
def test_what_the_work_cannot_change_stays_fresh(operation: Operation, kept: set[str]) -> None:
    assert not kept & names(operation)


def test_work_on_one_valve_leaves_the_others_alone() -> None:
    readings = [Placed(Position(valve, "stand-down"), "D1", 1) for valve in ("3E", "3I")]
    assert stale(readings, [(2, done("seat cut", "3E"))]) == [
        Checked(readings[0], done("seat cut", "3E")),
        Checked(readings[1]),
    ]
    assert [item.words for item in stale(readings, [(2, done("face skimmed"))])] == [
        "stale: face skimmed"
    ] * 2


def test_the_first_work_is_the_one_that_is_named() -> None:
    reading = Placed(Position("3E", "guide bore"), "B1", 4)
    work = [(9, done("head washed")), (7, done("guide reamed", "3E"))]
    assert stale([reading], work)[0].words == "stale: guide reamed"


def test_a_gauge_found_out_takes_its_readings_since_the_last_good_check_with_it() -> None:
    places = [Placed(Position("3E", "stand-down"), gauge, at)
              for at, gauge in enumerate(["D1", "D1", "D1", "M1", "D1"])]  # fmt: skip
    found = stale(places, [(4, done("gauge found out", gauge="D1", since=1))])
    assert [item.fresh for item in found] == [True, True, False, True, True]
    found = stale(places, [(4, done("gauge found out", gauge="D1"))])
    assert [item.fresh for item in found] == [False, False, False, True, True]


POSITIONS = st.builds(Position, st.sampled_from(["", "1I", "3E"]),
                      st.sampled_from(list(CHARACTERISTICS)))  # fmt: skip
READINGS = st.lists(st.builds(Placed, POSITIONS, st.sampled_from(["D1", "M1"]),
                              st.integers(0, 20)), max_size=8)  # fmt: skip


@st.composite
def works(draw: st.DrawFn) -> tuple[int, WorkDone]:
    operation = draw(st.sampled_from(list(WORK)))
    place = draw(st.integers(0, 20))
    if WORK[operation].concerns == "gauge":
        since = draw(st.none() | st.integers(0, 20))
        return place, done(operation, gauge=draw(st.sampled_from(["D1", "M1"])), since=since)
    valves = ["1I", "3E"] if WORK[operation].concerns == "valves" else []
    return place, done(operation, *valves[: draw(st.integers(1, 2))])


@given(READINGS, st.lists(works(), max_size=5))
def test_work_never_makes_a_later_reading_stale(
    readings: list[Placed], work: list[tuple[int, WorkDone]]
) -> None:
    found = stale(readings, work)
    assert [item.reading for item in found] == readings
    for item in found:
        earlier = [place for place, done_then in work if done_then is item.because]
        assert item.fresh or item.reading.place < max(earlier)
        if not any(item.reading.place < place for place, _ in work):
            assert item.fresh


@given(READINGS, st.lists(works(), max_size=4), works())
def test_more_work_freshens_nothing(
    readings: list[Placed], work: list[tuple[int, WorkDone]], more: tuple[int, WorkDone]
) -> None:
    for before, after in zip(stale(readings, work), stale(readings, [*work, more]), strict=True):
        assert before.fresh or not after.fresh


ZERO = """
[[zero]]
gauge = "depth gauge"
on = "on the face"
shows = "0.00 mm"
"""


def test_a_plan_to_measure_again_has_the_checks_of_its_series_and_the_order_of_the_plan() -> None:
    plan = plan_for(load(SHEET.replace("[[limit]]", ZERO + "[[limit]]", 1), "s.toml"))
    wanted = {Position("1I", "stand-down"), Position("2I", "guide bore")}
    steps = again(plan, wanted)
    assert [zero_check_of(step.position) for step in steps] == [
        None, ("depth gauge", "before"), None, ("depth gauge", "after")
    ]  # fmt: skip
    assert {step.position for step in steps if zero_check_of(step.position) is None} == wanted
    assert again(plan, ()) == []


@given(st.sets(st.sampled_from([step.position for step in PLAN])))
def test_a_plan_to_measure_again_is_the_plan_without_the_rest(wanted: set[Position]) -> None:
    steps = again(PLAN, wanted)
    assert steps == [step for step in PLAN if step.position in wanted]
    kinds = [step.gauge_kind for step in steps]
    changes = sum(one != other for one, other in pairwise(kinds))
    assert changes <= max(0, len(set(kinds)) - 1), "a gauge is put down once"


def test_two_valves_are_walked_from_front_to_rear_with_one_gauge() -> None:
    wanted = {Position(valve, "guide bore") for valve in ("2I", "1I")}
    steps: list[Step] = again(PLAN, wanted)
    assert [step.position.valve for step in steps] == ["1I", "2I"]


# ---- the sheet ---------------------------------------------------------------------------------

CHANGE: dict[str, Any] = {
    "operation": '"valve refaced"',
    "added": '["seat width"]',
    "removed": '["installed spring height"]',
    "reason": '"manual, p. 31"',
}


def sheet_with(**change: str) -> str:
    lines = [f"{key} = {value}" for key, value in (CHANGE | change).items() if value]
    return SHEET + "[[stale]]\n" + "\n".join(lines) + "\n"


def test_a_sheet_changes_the_table_for_its_engine() -> None:
    sheet = load(sheet_with(), "s.toml")
    assert sheet.stale_after("valve refaced") == (
        "valve face runout", "stand-down", "tip height", "retainer-to-seal", "margin", "seat width"
    )  # fmt: skip
    assert sheet.stale_after("seat cut") == WORK["seat cut"].stale


def test_what_is_reckoned_from_an_added_characteristic_is_stale_too() -> None:
    sheet = load(sheet_with(added='["stem diameter"]'), "s.toml")
    assert {"stem diameter", "guide clearance"} <= set(sheet.stale_after("valve refaced"))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"operation": '"valve polished"'}, "valve refaced"),
        ({"operation": '"gauge found out"'}, "everything that the gauge measured"),
        ({"added": '["seat witdh"]'}, "found 'seat witdh', accepted: stem diameter"),
        ({"added": '["margin"]'}, "found 'margin', which 'valve refaced' makes stale already"),
        ({"removed": '["seat width"]', "added": ""}, "'valve refaced' leaves alone already"),
        ({"added": "", "removed": ""}, "the table changes nothing"),
        ({"reason": '" "'}, "reason"),
        ({"operation": '"guide honed"', "added": "", "removed": '["guide clearance"]'},
         "which is reckoned from guide bore"),
    ],
)  # fmt: skip
def test_a_change_that_makes_no_sense_is_refused_with_its_line(
    change: dict[str, str], words: str
) -> None:
    text = sheet_with(**change)
    faults = check(text, "s.toml").errors
    assert len(faults) == 1
    assert words in str(faults[0])
    first = text[: text.index("[[stale]]")].count("\n") + 1
    assert (faults[0].line or 0) >= first


def test_a_second_change_of_one_operation_is_refused() -> None:
    text = sheet_with() + "[[stale]]" + sheet_with().split("[[stale]]")[1]
    with pytest.raises(InputError, match="a second time"):
        load(text, "s.toml")


# ---- the page ----------------------------------------------------------------------------------


def test_the_page_on_staleness_is_the_table() -> None:
    page = (DOCS / "staleness.md").read_text(encoding="utf-8")
    assert staleness_page() in page
