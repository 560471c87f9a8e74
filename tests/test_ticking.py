"""A work order is ticked off by the work on record, and by nothing else."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hypothesis import given, strategies as st

from gaugelink.events import PlannedStep, PlanTaken, WorkDone
from gaugelink.planning.ticking import ticked
from gaugelink.reading import Stamp

if TYPE_CHECKING:
    from gaugelink.work import Operation

AT = Stamp("2026-01-01T00:00:00.000000Z", 0, "A. N.", "1")
ORDER = PlanTaken(
    AT, "90.00 EUR", "",
    (
        PlannedStep("guide replaced", ("3E",), "new guide", ""),
        PlannedStep("seat cut", ("2I", "3E"), "cut seat 0.080 mm", "0.080 mm"),
        PlannedStep("face skimmed", (), "skim face 0.100 mm", "0.100 mm"),
        PlannedStep("seat cut", ("3E",), "cut seat 0.030 mm", "0.030 mm"),
    ),
    "A. N.",
)  # fmt: skip


def work(operation: Operation, *valves: str) -> WorkDone:
    return WorkDone(AT, operation, valves, (), "A. N.")


def ticks(*done: WorkDone, place: int = 5) -> list[list[str]]:
    return [list(line.done) for line in ticked(place, ORDER, enumerate(done, 6))]


def test_a_line_is_finished_when_it_is_done_on_all_its_valves():
    assert ticks(work("seat cut", "2I")) == [[], ["2I"], [], []]
    assert ticks(work("seat cut", "3E", "2I"), work("guide replaced", "3E")) == [
        ["3E"], ["3E", "2I"], [], []]  # fmt: skip
    lines = ticked(5, ORDER, [(6, work("seat cut", "3E", "2I"))])
    assert [line.finished for line in lines] == [False, True, False, False]


def test_the_same_work_again_ticks_the_next_line_that_asks_for_it():
    assert ticks(work("seat cut", "3E"), work("seat cut", "3E"), work("seat cut", "3E")) == [
        [], ["3E"], [], ["3E"]]  # fmt: skip


def test_work_on_the_head_ticks_the_line_of_the_head():
    assert ticks(work("face skimmed")) == [[], [], [""], []]


def test_work_before_the_order_ticks_nothing():
    assert ticked(9, ORDER, [(8, work("guide replaced", "3E"))])[0].done == {}


operations = st.sampled_from(["guide replaced", "seat cut", "face skimmed", "tip ground"])


@given(st.lists(st.tuples(operations, st.sampled_from(["2I", "3E", "6E"])), max_size=8))
def test_more_work_never_takes_a_tick_away(rows: list[tuple[Operation, str]]):
    done = [work(name, *(() if name == "face skimmed" else (valve,))) for name, valve in rows]
    before: list[list[str]] = [[], [], [], []]
    for count in range(len(done) + 1):
        now = ticks(*done[:count])
        assert all(set(old) <= set(new) for old, new in zip(before, now, strict=True))
        assert sum(map(len, now)) - sum(map(len, before)) <= 1
        before = now
