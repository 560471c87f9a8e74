"""The walk of measuring again is held against every other walk with the same series in order."""

from __future__ import annotations

from itertools import groupby, pairwise, permutations, product

from hypothesis import given, strategies as st

from gaugelink.course import Course
from gaugelink.events import PositionSkipped, ReadingTaken, WorkDone
from gaugelink.head import Position, zero_check
from gaugelink.plan import Step
from gaugelink.planning.walk import cylinder_of, walk
from gaugelink.quantity import parse_length
from gaugelink.reading import Gauge, Stamp, Tag

NAMES = {"guide bore": "bore gauge", "stand-down": "depth gauge", "margin": "caliper"}
CHECKED = "stand-down"


def plan_of(cylinders: int) -> list[Step]:
    """Three characteristics at two valves of each cylinder; the second has checks around it."""
    found = []
    for name, gauge in NAMES.items():
        series = [Step(Position(f"{number}{kind}", name), gauge)
                  for number in range(1, cylinders + 1) for kind in "IE"]  # fmt: skip
        if name == CHECKED:
            series = [Step(zero_check(gauge, "before", name), gauge), *series,
                      Step(zero_check(gauge, "after", name), gauge)]  # fmt: skip
        found += series
    return [*found, Step(Position("", "head thickness"), "micrometer")]


PLAN = plan_of(4)
SOME = st.sets(st.sampled_from(range(len(PLAN))), min_size=1, max_size=9)
SERIES = [
    (name, list(group))
    for name, group in groupby(
        range(len(PLAN)), key=lambda number: PLAN[number].position.characteristic
    )
]


AT = st.none() | st.sampled_from(range(len(PLAN)))
HERE = st.none() | st.sampled_from(range(1, 5))


def walked(order: list[int], here: int | None) -> int:
    places = [here, *(cylinder_of(PLAN[number]) for number in order)]
    return sum(abs(a - b) for a, b in pairwise([place for place in places if place is not None]))


def shortest(wanted: set[int], at: int | None, here: int | None) -> int:
    """Walk every order of each series' cylinders, one series after the other."""
    series = [numbers for _, numbers in SERIES]
    first = next((n for n, numbers in enumerate(series) if at in numbers), 0)
    stops = [
        {place for number in numbers
         if number in wanted and (place := cylinder_of(PLAN[number])) is not None}
        for numbers in series[first:] + series[:first]
    ]  # fmt: skip
    start = [] if here is None else [here]
    return min(
        sum(abs(a - b) for a, b in pairwise(start + [one for part in parts for one in part]))
        for parts in product(*(permutations(stop) for stop in stops))
    )


@given(SOME, AT, HERE)
def test_no_other_walk_is_shorter(wanted: set[int], at: int | None, here: int | None) -> None:
    order = walk(PLAN, wanted, at, here)
    assert sorted(order) == sorted(wanted)
    assert walked(order, here) == shortest(wanted, at, here)


@given(SOME, AT, HERE)
def test_asking_after_each_reading_walks_no_further(
    wanted: set[int], at: int | None, here: int | None
) -> None:
    """A bench asks anew after each reading, because a person may have gone elsewhere meanwhile."""
    left, order, last, stands = set(wanted), [], at, here
    while left:
        last = walk(PLAN, left, last, stands)[0]
        stands = cylinder_of(PLAN[last]) or stands
        order.append(last)
        left.remove(last)
    assert walked(order, here) == shortest(wanted, at, here)


@given(SOME)
def test_series_keep_their_order_and_their_checks_stand_around_them(wanted: set[int]) -> None:
    order = walk(PLAN, wanted)
    series = [next(n for n, (_, numbers) in enumerate(SERIES) if number in numbers)
              for number in order]  # fmt: skip
    assert series == sorted(series)


@given(SOME, AT, HERE)
def test_one_cylinder_keeps_the_order_of_the_plan(
    wanted: set[int], at: int | None, here: int | None
) -> None:
    order = walk(PLAN, wanted, at, here)
    for _, numbers in SERIES:
        for cylinder in range(1, 5):
            here = [n for n in order if n in numbers and cylinder_of(PLAN[n]) == cylinder]
            assert here == sorted(here)


def test_the_second_series_comes_back() -> None:
    """Named, so that a reader sees it."""
    wanted = [n for n, step in enumerate(PLAN) if step.position.valve in {"1E", "3I", "4E"}]
    order = walk(PLAN, wanted)
    assert [PLAN[number].position.valve for number in order] == [
        *("1E", "3I", "4E"),
        *("4E", "3I", "1E"),
        *("1E", "3I", "4E"),
    ]


def test_what_lies_on_the_way_to_the_far_end_is_taken_on_the_way() -> None:
    names = [PLAN[n].position.valve for n in range(8)]
    assert names == ["1I", "1E", "2I", "2E", "3I", "3E", "4I", "4E"]
    order = walk(PLAN, {0, 2, 4, 6}, 5, here=3)
    assert [names[number] for number in order] == ["3I", "4I", "2I", "1I"]


def test_a_walk_begins_at_the_rear_where_that_is_shorter() -> None:
    bores = [n for n, step in enumerate(PLAN) if step.position.characteristic == "guide bore"]
    margin = next(n for n, step in enumerate(PLAN) if step.position == Position("1I", "margin"))
    order = walk(PLAN, {*bores, margin})
    assert PLAN[order[0]].position.valve == "4I"
    assert order[-1] == margin


NOW = Stamp("2026-01-01T00:00:00.000000Z", 0, "A. N.", "1")


class _Bench:
    """A head that is measured as it is asked for; the order of asking is kept."""

    def __init__(self) -> None:
        gauges = {"M1": Gauge("M1", "micrometer", "Micrometer", "1", "none", 1_000_000, "")}
        self.course = Course(PLAN, gauges, "final")
        self.place = 0

    def apply(self, event: ReadingTaken | WorkDone | PositionSkipped) -> None:
        self.course.apply(self.place, event)
        self.place += 1

    def measure(self) -> list[int]:
        asked = []
        while (step := self.course.step) is not None:
            asked.append(self.course.cursor)
            tag = Tag(step.position, "final", "M1")
            self.apply(ReadingTaken(NOW, tag, parse_length("1.00 mm"), b"", "button"))
        return asked


def test_a_head_is_walked_from_the_front_first_and_the_least_way_again() -> None:
    bench = _Bench()
    assert bench.measure() == list(range(len(PLAN)))
    bench.apply(WorkDone(NOW, "guide reamed", ("1E", "3I", "4E"),
                         ("guide bore", "stand-down"), "A. N."))  # fmt: skip
    asked = [PLAN[number].position for number in bench.measure()]
    assert [(at.characteristic, at.valve) for at in asked] == [
        *(("guide bore", valve) for valve in ("1E", "3I", "4E")),
        ("zero check", ""),
        *(("stand-down", valve) for valve in ("4E", "3I", "1E")),
        ("zero check", ""),
    ]
    assert bench.course.finished


def test_what_nobody_has_measured_yet_is_asked_for_from_the_front() -> None:
    """Work in the middle of the first time does not turn the rest of it round."""
    bench = _Bench()
    first = len([step for step in PLAN if step.position.characteristic == "guide bore"])
    for _ in range(first):
        step = bench.course.step
        assert step is not None
        bench.apply(PositionSkipped(NOW, step.position, "later"))
    bench.apply(WorkDone(NOW, "guide reamed", ("4E",), ("guide bore",), "A. N."))
    assert bench.measure() == [first - 1, *range(first, len(PLAN))]


def test_the_check_after_one_gauge_waits_for_what_it_is_the_check_of() -> None:
    """Two series with checks stand next to each other; the second is begun first."""
    plan = [Step(zero_check("depth gauge", "before", "stand-down"), "depth gauge"),
            Step(Position("1E", "stand-down"), "depth gauge"),
            Step(zero_check("depth gauge", "after", "stand-down"), "depth gauge"),
            Step(zero_check("caliper", "before", "margin"), "caliper"),
            Step(Position("1E", "margin"), "caliper"),
            Step(zero_check("caliper", "after", "margin"), "caliper")]  # fmt: skip
    assert walk(plan, {0, 1, 2, 4, 5}, at=3) == [4, 5, 0, 1, 2]


def test_jobs_told_one_after_the_other_are_measured_again_in_one_walk() -> None:
    bench = _Bench()
    bench.measure()
    for operation, touched in (("guide reamed", "guide bore"), ("shim changed", "margin")):
        bench.apply(WorkDone(NOW, operation, ("2I",), (touched,), "A. N."))
    asked = [PLAN[number].position for number in bench.measure()]
    assert [at.characteristic for at in asked] == ["guide bore", "margin"]
