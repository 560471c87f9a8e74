"""A plan is the cheapest of all there are, and keeps every limit."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import given, settings, strategies as st
from planning_heads import STEP, cheapest, small_head, with_more_limits, without_offer

from gaugelink.planning.budget import Budget
from gaugelink.planning.conflict import conflict
from gaugelink.planning.held import limits_at
from gaugelink.planning.means import skims
from gaugelink.planning.options import Ways
from gaugelink.planning.plan import Conflict, Plan, _settled, alternatives, plan, seals_cents
from gaugelink.planning.programme import Programme
from gaugelink.planning.task import DEEDS, Range, Task
from gaugelink.planning.way import needed


def cost(task: Task) -> int | None:
    found = plan(task)
    if isinstance(found, Conflict):
        return None
    assert found.optimal
    return found.cents


@pytest.mark.parametrize("block", range(6))
def test_no_plan_is_cheaper_than_the_one_found(block: int):
    """Against a search through every choice and every depth, forty heads a block."""
    seen: Counter[str] = Counter()
    for seed in range(40 * block, 40 * block + 40):
        task = small_head(seed)
        wanted = cheapest(task)
        assert cost(task) == wanted, seed
        seen["impossible" if wanted is None else "possible"] += 1
    assert min(seen["impossible"], seen["possible"]) >= 3, seen


@pytest.mark.parametrize("block", range(4))
def test_no_plan_is_cheaper_with_retainer_seat_width_and_protrusion(block: int):
    """The same search, for heads that these limits hold too."""
    seen: Counter[str] = Counter()
    for seed in range(40 * block, 40 * block + 40):
        task = with_more_limits(small_head(seed + 3000), seed)
        wanted = cheapest(task)
        assert cost(task) == wanted, seed
        seen["impossible" if wanted is None else "possible"] += 1
        seen["dearer"] += wanted != cheapest(small_head(seed + 3000))
    assert min(seen["impossible"], seen["possible"], seen["dearer"]) >= 3, seen


def lifted(task: Task, names: set[tuple[str, str]]) -> Task:
    """Leave limits out of the book; every place has a kind of its own for that."""
    rules, places = {}, []
    for place in task.places:
        book = task.rules[place.kind]
        gone = {name for where, name in names if where == place.name}
        limits = {
            name: Range(None if f"{name} min" in gone else limit.lower,
                        None if f"{name} max" in gone else limit.upper)
            for name, limit in book.limits.items()
        }  # fmt: skip
        load = (None if "spring load min" in gone else book.load[0], book.load[1])
        bind = None if "coil-bind margin min" in gone else book.bind_least_pm
        rules[place.name] = replace(book, limits=limits, load=load, bind_least_pm=bind)
        scrap = "" if "fit for use" in gone else place.scrap
        guide = "" if "guide fit for use" in gone else place.guide_scrap
        spring = "" if "spring fit for use" in gone else place.spring_scrap
        seat = "" if "seat fit for use" in gone else place.seat_scrap
        places.append(replace(place, kind=place.name, scrap=scrap, guide_scrap=guide,
                              spring_scrap=spring, seat_scrap=seat))  # fmt: skip
    head = {
        name: Range(None if ("", f"{name} min") in names else limit.lower,
                    None if ("", f"{name} max") in names else limit.upper)
        for name, limit in task.head.items()
    }  # fmt: skip
    shop = replace(
        task.shop,
        parts={},
        oversizes=tuple(
            replace(size, kind=place.name) for size in task.shop.oversizes for place in task.places
        ),
    )
    return replace(task, places=tuple(places), rules=rules, head=head, shop=shop, pairing=False)


def test_limits_in_conflict_are_named_and_none_of_them_is_needless():
    """Alone they are impossible; without any one of them they are possible."""
    named: Counter[int] = Counter()
    for seed in range(120):
        task = replace(small_head(seed), pairing=False)
        found = plan(task)
        if isinstance(found, Plan):
            continue
        named[len(found.limits)] += 1
        every = {(place.name, f"{name} {end}") for place in task.places
                 for name in task.rules["intake"].limits for end in ("min", "max")}  # fmt: skip
        more = ("spring load min", "coil-bind margin min", "fit for use", "guide fit for use",
                "spring fit for use", "seat fit for use")  # fmt: skip
        every |= {(place.name, name) for place in task.places for name in more}
        every |= {("", "head thickness min"), ("", "head-face flatness max")}
        assert set(found.limits) <= every
        others = every - set(found.limits)
        assert isinstance(plan(lifted(task, others)), Conflict)
        for one in found.limits:
            assert isinstance(plan(lifted(task, others | {one})), Plan)
    assert len(named) >= 3
    assert sum(named.values()) >= 40


def test_no_smaller_set_of_limits_is_in_conflict():
    """Against a trial of every set with fewer limits, each alone in its head."""
    seen: Counter[int] = Counter()
    for seed in range(160):
        task = replace(small_head(seed), pairing=False)
        found = plan(task)
        if isinstance(found, Plan) or len(found.limits) not in {1, 2, 3}:
            continue
        assert found.smallest
        count = len(found.limits)
        if seen[count] >= (30, 8, 1)[count - 1]:
            continue
        seen[count] += 1
        every = {(place.name, name) for place in task.places for name in limits_at(task, place)}
        every |= {("", "head thickness min"), ("", "head-face flatness max")}
        for size in range(count):
            for some in combinations(sorted(every), size):
                assert isinstance(plan(lifted(task, every - set(some))), Plan), (seed, some)
    assert seen[1] + seen[2] >= 12
    assert min(seen[2], seen[3]) >= 1, seen


def test_where_the_search_ends_early_nothing_is_claimed():
    """With no question left a set is irreducible, and said to be no more than that."""
    for seed in range(160):
        task = replace(small_head(seed), pairing=False)
        found = plan(task)
        if isinstance(found, Conflict) and len(found.limits) > 1:
            early = conflict(task, questions=0)
            assert not early.smallest
            assert early.irreducible
            assert len(early.limits) >= len(found.limits)
            return
    raise AssertionError


seeds = st.integers(1000, 10**6)


def any_head(seed: int) -> Task:
    """Draw a head; every other one has the further limits too."""
    task = small_head(seed)
    return with_more_limits(task, seed) if seed % 2 else task


@settings(max_examples=60)
@given(seeds, st.sampled_from([deed for deed in DEEDS if deed != "lap"]))
def test_one_offer_more_never_raises_the_cost(seed: int, deed: str):
    """Lapping is no offer but a habit: where the shop laps, it laps every worked seat."""
    task = any_head(seed)
    if deed == "move valve":
        less, more = replace(task, pairing=False), replace(task, pairing=True)
    else:
        less, more = without_offer(task, deed), task
    before, after = cost(less), cost(more)
    assert before is None or (after is not None and after <= before)


@settings(max_examples=60)
@given(seeds, st.data())
def test_a_tighter_limit_never_lowers_the_cost(seed: int, data: st.DataObject):
    task = any_head(seed)
    book = task.rules["intake"]
    every = {**book.limits, **(task.head if task.cylinders else {})}
    name = data.draw(st.sampled_from(sorted(every)))
    limit, off = every[name], data.draw(st.integers(1, 3 * STEP))
    tight = Range(None if limit.lower is None else limit.lower + off,
                  None if limit.upper is None else limit.upper - off)  # fmt: skip
    if name in book.limits:
        tighter = replace(
            task, rules={"intake": replace(book, limits={**book.limits, name: tight})}
        )
    else:
        tighter = replace(task, head={**task.head, name: tight})
    before, after = cost(task), cost(tighter)
    assert after is None or (before is not None and before <= after)


@settings(max_examples=60)
@given(seeds, st.randoms(use_true_random=False))
def test_the_order_of_cylinders_changes_nothing(seed: int, draw):
    task = any_head(seed)
    places = list(task.places)
    draw.shuffle(places)
    assert cost(task) == cost(replace(task, places=tuple(places)))


def told(found: Plan) -> list:
    return [(put.way.deeds, put.way.valve, put.way.oversize) for put in found.puts]


def test_alternatives_differ_and_are_hardly_dearer():
    """Each does something else somewhere, none is above the ceiling, the cheapest come first."""
    seen = same = 0
    for seed in range(90):
        task = small_head(seed)
        best = plan(task)
        if isinstance(best, Conflict):
            continue
        others = alternatives(task, best, percent=30).plans
        seen += bool(others)
        costs = [one.cents for one in others]
        assert costs == sorted(costs)
        assert all(best.cents <= cents <= best.cents * 1.3 for cents in costs)
        plans = [told(one) for one in (best, *others)]
        assert all(plans.count(one) == 1 for one in plans)
        mine, *theirs = [works(one) for one in (best, *others)]
        # The same work with used valves in other places comes only where other work does not do.
        same += sum(its == mine for its in theirs)
    assert seen >= 10
    assert same >= 1


def works(found: Plan) -> dict[object, set[str]]:
    """Say what is done at each place, and at the face, whichever used valve goes where."""
    done: dict[object, set[str]] = {
        put.way.place: {str(deed) for deed in put.way.deeds} - {"move valve", "lap"}
        | {f"to {put.way.oversize.name}" if put.way.oversize else ""}
        for put in found.puts
    }
    return done | {"face": {"skim"} if found.skim else set()}


def moves(found: Plan) -> int:
    return sum("move valve" in put.way.deeds for put in found.puts)


def spares(other: Plan, best: Plan) -> bool:
    """Tell whether a plan leaves out anything at all that the cheapest does."""
    mine, its = works(best), works(other)
    return moves(other) < moves(best) or any(mine[at] - its[at] for at in mine)


def every_plan(task: Task, best: Plan, percent: int) -> list[Plan]:
    """List every plan under the ceiling: each is told apart from those before, until none is left.

    The programme is asked again and again; nothing here knows which of them are worth offering.
    """
    skim = skims(task)
    finder = Ways(task, skim)
    ways = [needed(finder.at(place), useful=True) for place in range(len(task.places))]
    programme = Programme(task, skim, ways)
    programme.at_most(best.cents * (100 + percent) // 100 - seals_cents(task))
    programme.not_again([put.way for put in best.puts])
    found: list[Plan] = []
    while (one := programme.solve(Budget())) is not None:
        found.append(_settled(task, skim, *one))
        programme.not_again(one[0])
    return found


def test_every_choice_is_offered_and_nothing_that_only_adds_work():
    """Held against all plans under the ceiling.

    One that leaves out nothing of the cheapest, or of an alternative that costs no more, is never
    offered, and as many kinds of other work are offered as there are, up to three.
    """
    choices = no_choices = 0
    for seed in range(40):
        task = small_head(seed)
        best = plan(task)
        if isinstance(best, Conflict):
            continue
        everything = every_plan(task, best, 30)
        offered = alternatives(task, best, percent=30).plans
        good = [one for one in everything if spares(one, best)]
        apart: list[Plan] = []
        for one in good:  # the cheapest comes first
            if works(one) != works(best) and all(
                works(one) != works(other) and spares(one, other) for other in apart
            ):
                apart.append(one)
        distinct = [works(one) for one in apart]
        got = [works(one) for one in offered if works(one) != works(best)]
        assert len(got) == min(3, len(distinct)), seed
        assert all(spares(one, best) for one in offered if works(one) != works(best))
        assert all(kind in distinct for kind in got)
        assert [one.cents for one in offered if works(one) != works(best)] == [
            one.cents for one in apart[:3]]  # fmt: skip
        choices += len(got)
        no_choices += len(everything) - len(good)
    assert choices >= 20
    assert no_choices >= 20


def test_a_new_valve_instead_of_a_moved_one_is_a_choice():
    """The cheapest, 108, moves the first valve to the second place; for 109 both are new."""
    task = small_head(66)
    best = plan(task)
    assert isinstance(best, Plan)
    assert (best.cents, moves(best)) == (108, 1)
    assert [(one.cents, moves(one)) for one in alternatives(task, best).plans] == [(109, 0)]


def test_an_insert_is_cut_to_the_middle_of_what_it_may_be():
    held = 0
    for seed in range(150):
        found = plan(small_head(seed))
        if isinstance(found, Conflict):
            continue
        for put in found.puts:
            if "fit insert" in put.way.deeds:
                depth = put.depths["cut seat"]
                middle = (depth.least_pm + depth.most_pm) // 2
                # A tip that is ground too follows the depth, and its ends with it.
                if "grind tip" not in put.way.deeds:
                    assert abs(depth.pm - middle) <= 1
                    held += 1
    assert held >= 3


def test_depths_may_be_chosen_anywhere_between_their_ends():
    """At both ends of every depth the place keeps its limits, everything else as planned."""
    held = 0
    for seed in range(130):
        task = small_head(seed)
        found = plan(task)
        if isinstance(found, Conflict):
            continue
        for put in found.puts:
            book = task.rules["intake"]
            for step, depth in put.depths.items():
                for end in (depth.least_pm, depth.most_pm):
                    off = end - depth.pm
                    drop = -off if step == "grind tip" else off
                    moved = {"tip height": drop}
                    if step != "grind tip":
                        moved |= {"stand-down": drop, "installed spring height": drop}
                    for name, by in moved.items():
                        limit, value = book.limits[name], put.figures[name] + by
                        guard = STEP if name in book.u_pm else 0
                        held += 1
                        assert limit.lower is None or value >= limit.lower + guard
                        assert limit.upper is None or value <= limit.upper - guard
    assert held >= 150


def test_a_missing_reading_is_asked_for_only_where_it_decides():
    """A valve that is replaced anyway needs no stem; a place without stand-down stays open."""
    for seed in range(200):
        task = small_head(seed)
        found = plan(task)
        if isinstance(found, Plan) and "replace valve" in found.puts[0].way.deeds:
            break
    else:
        raise AssertionError
    first, *rest = task.places
    blind = replace(task, places=(replace(first, scrap="cracked", stem=None), *rest))
    there = plan(blind)
    assert isinstance(there, Plan)
    assert there.unproved == ()
    readings = {name: pm for name, pm in first.readings.items() if name != "stand-down"}
    limits = {**task.rules["intake"].limits, "stand-down": Range(0, 10**12)}
    rules = {"intake": replace(task.rules["intake"], limits=limits)}
    blind = replace(task, rules=rules, places=(replace(first, readings=readings), *rest))
    there = plan(blind)
    assert isinstance(there, Plan)
    assert there.unproved == ((first.name, "stand-down"),)
    assert there.cents <= found.cents
