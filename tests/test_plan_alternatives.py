"""Alternatives where limits tie places together, held against a trial of everything."""

from __future__ import annotations

from collections import Counter

import pytest
from planning_heads import Work, every_work, tied_well, with_ties
from test_ties import possible, skimmed, sunk

from gaugelink.planning.plan import Conflict, Plan, alternatives, plan
from gaugelink.planning.ties import ties

Kind = tuple[Work, ...]


def kind_of(found: Plan) -> Kind:
    """Say what is done at each place and to the face, whichever used valve goes where."""
    works: list[Work] = [
        frozenset({str(deed) for deed in put.way.deeds} - {"move valve", "lap"}
                  | {f"to {put.way.oversize.name}" for _ in [0] if put.way.oversize})
        for put in found.puts
    ]  # fmt: skip
    return (*works, frozenset({"skim"} if found.skim else ()))


def moves_of(found: Plan) -> int:
    return sum("move valve" in put.way.deeds for put in found.puts)


def choices(every: dict[Kind, set[tuple[int, int]]], best: Plan) -> list[tuple[int, Kind]]:
    """Pick the kinds of work that are a choice, the cheapest first.

    Each leaves out something, be it a move, of the plan and of every one picked before.
    """
    picked = [(best.cents, moves_of(best), kind_of(best))]
    plans = [(cents, moves + sum(map(len, kind)), moves, kind)
             for kind, costs in every.items() for cents, moves in costs]  # fmt: skip
    for cents, _, moves, kind in sorted(plans, key=lambda one: one[:3]):
        if all(
            kind != other and (moves < fewer or any(two - one for one, two in zip(
                kind, other, strict=True)))
            for _, fewer, other in picked
        ):  # fmt: skip
            picked.append((cents, moves, kind))
    return [(cents, kind) for cents, _, kind in picked[1:]]


@pytest.mark.parametrize("together", [False, True])
@pytest.mark.parametrize("percent", [10, 40])
def test_alternatives_of_tied_heads_are_real_and_none_that_is_cheaper_is_missed(
    percent: int, together: bool
):
    """Against every choice of work and valves, and every depth on a grid.

    Each alternative is found by the trial too, at the same cost and so within the ceiling; and
    those told are the cheapest choices that there are. The trial can miss what only works between
    its depths.
    """
    seen: Counter[str] = Counter()
    for seed, head in possible(31_000 if together else 30_000, 40):
        task = with_ties(head, seed, together=together)
        best = plan(task)
        if isinstance(best, Conflict) or not ties(task):
            continue
        every = every_work(task, best.cents * (100 + percent) // 100)
        if min(cents for costs in every.values() for cents, _ in costs) != best.cents:
            seen["between"] += 1
            continue
        seen["heads"] += 1
        found = alternatives(task, best, percent=percent)
        assert found.complete
        for other in found.plans:
            assert 100 * other.cents <= best.cents * (100 + percent)
            assert tied_well(task, sunk(other), skimmed(other)), seed
            seen["between"] += (other.cents, moves_of(other)) not in every.get(kind_of(other), ())
        wanted = choices(every, best)
        told: dict[Kind, int] = {}
        for other in found.plans:
            if kind_of(other) != kind_of(best):
                told.setdefault(kind_of(other), other.cents)
        assert list(told.values()) == [cents for cents, _ in wanted[:3]], seed
        if len(wanted) <= 3:
            assert set(told) == {kind for _, kind in wanted}, seed
        seen["choices"] += len(told)
    assert seen["heads"] >= 20
    assert seen["choices"] >= (8 if percent == 10 else 20), seen
    assert seen["between"] <= 2, seen
