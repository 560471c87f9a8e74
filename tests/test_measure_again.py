"""What has to be measured again is asked for with the least changes, against every other order.

The cost of an order is what costs time at a bench (common practice, no source): first how often a
gauge is taken up, then how often it is set up for another characteristic, then how far one walks
along the head while it stays set up. The valves come before the head as a whole, for which the head
is laid over. A zero check stands before and after its series.
"""

from __future__ import annotations

from itertools import pairwise, permutations

from hypothesis import given, settings, strategies as st

from gaugelink.head import Position, parse_valve, zero_check_of
from gaugelink.plan import Step, plan_for
from gaugelink.planning.stages import again
from gaugelink.sheetfile import load

TEXT = """\
[sheet]
name = "Pump engine"
edition = "1"
source = "invented"
[head]
cylinders = 3
valves = ["intake", "exhaust"]
face = { length = "200 mm", width = "100 mm", rows = 2, columns = 2 }
[[zero]]
gauge = "depth gauge"
on = "on the head's face"
shows = "0.00 mm"
"""
LIMITS = (
    "stem diameter", "guide bore", "stand-down", "tip height", "installed spring height", "margin",
    "head thickness",
)  # fmt: skip
SHEET = load(
    TEXT
    + "".join(f'[[limit]]\ncharacteristic = "{name}"\nservice_max = "90 mm"\n' for name in LIMITS)
    + '[[limit]]\ncharacteristic = "head-face flatness"\nservice_max = "0.1 mm"\n',
    "s.toml",
)
PLAN = plan_for(SHEET)
VALVES = [valve.name for valve in SHEET.head.valves()]
Cost = tuple[int, int, int]


def series_of(step: Step) -> tuple[str, bool]:
    """Gauge, and whether it is for the head as a whole."""
    of_head = not step.position.valve and zero_check_of(step.position) is None
    return step.gauge_kind, of_head


def cost(steps: tuple[Step, ...]) -> Cost | None:
    """Reckon what an order costs; None where it is none that can be measured."""
    of_head = [series_of(step)[1] for step in steps]
    if of_head != sorted(of_head):
        return None
    for at, step in enumerate(steps):
        check = zero_check_of(step.position)
        if check is None:
            continue
        others = [
            n
            for n, other in enumerate(steps)
            if other.gauge_kind == step.gauge_kind and zero_check_of(other.position) is None
        ]
        if others and (at > min(others) if check[1] == "before" else at < max(others)):
            return None
    taken_up = sum(series_of(a) != series_of(b) for a, b in pairwise(steps))
    sizes = [step for step in steps if zero_check_of(step.position) is None]
    names = [step.position.characteristic for step in sizes]
    set_up = sum(a != b for a, b in pairwise(names))
    walked = sum(
        abs(VALVES.index(a.position.valve) - VALVES.index(b.position.valve))
        for a, b in pairwise(sizes)
        if a.position.characteristic == b.position.characteristic
        and a.position.valve and b.position.valve
    )  # fmt: skip
    return taken_up, set_up, walked


def test_a_way_to_and_fro_costs_more() -> None:
    """The measure itself: what it must tell apart."""
    three = [step for step in PLAN if step.position.characteristic == "guide bore"][:3]
    assert cost(tuple(three)) == (0, 0, 2)
    assert cost((three[0], three[2], three[1])) == (0, 0, 3)
    depth = [step for step in PLAN if step.gauge_kind == "depth gauge"]
    assert cost((depth[1], depth[0])) is None, "measured before its check"
    assert cost((three[0], depth[1], three[1])) == (2, 2, 0)


@settings(max_examples=60, deadline=None)
@given(st.sets(st.sampled_from([step.position for step in PLAN]), min_size=1, max_size=5))
def test_no_order_takes_up_fewer_gauges_or_walks_less(wanted: set[Position]) -> None:
    steps = tuple(again(PLAN, wanted))
    mine = cost(steps)
    assert mine is not None
    shown = [step for step in steps if zero_check_of(step.position) is None]
    assert {step.position for step in shown} == {
        position for position in wanted if zero_check_of(position) is None
    }
    if len(steps) > 7:
        return  # 8 steps have 40 320 orders
    others = [one for order in permutations(steps) if (one := cost(order)) is not None]
    assert mine == min(others)


def test_the_valves_are_walked_once_with_each_characteristic() -> None:
    """Named, so that a reader sees it: 3E, 1I and 2E from front to rear, whatever is cut first."""
    wanted = {Position(valve, name) for valve in ("3E", "1I", "2E")
              for name in ("stand-down", "guide bore")}  # fmt: skip
    steps = [step for step in again(PLAN, wanted) if zero_check_of(step.position) is None]
    assert [step.position.valve for step in steps] == ["1I", "2E", "3E"] * 2
    assert [parse_valve(step.position.valve).cylinder for step in steps] == [1, 2, 3] * 2
