"""What a plan costs moves the right way when the shop, the gauges or the prices change."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given, settings, strategies as st
from planning_heads import STEP, small_head, steps, with_more_limits

from gaugelink.planning.plan import Conflict, Plan, alternatives, plan
from gaugelink.planning.task import WITH_DEPTH, Oversize, Shim, Task

seeds = st.integers(2000, 10**6)


def any_head(seed: int) -> Task:
    task = small_head(seed)
    return with_more_limits(task, seed) if seed % 2 else task


def cost(task: Task) -> int | None:
    found = plan(task)
    return None if isinstance(found, Conflict) else found.cents


def better_equipped(task: Task, what: str, by: int) -> Task:
    """Give the shop more to work with."""
    shop = task.shop
    if what == "a shim":
        return replace(task, shop=replace(shop, shims=(*shop.shims, Shim(steps(by), by))))
    if what == "thicker stacks":
        return replace(task, shop=replace(shop, most_shims_pm=(shop.most_shims_pm or 0) + STEP))
    if what == "an oversize":
        wide = Oversize("more", "intake", (steps(603 + by),) * 2, (steps(599 + by),) * 2, 3)
        return replace(task, shop=replace(shop, oversizes=(*shop.oversizes, wide)))
    if what == "springs apart":
        return replace(task, springs_as_set=False)
    offers = {
        deed: replace(
            offer,
            most_pm=offer.most_pm + (steps(by) if what == "deeper" else 0),
            least_pm=0 if what == "finer" else offer.least_pm,
        )
        if deed in WITH_DEPTH
        else offer
        for deed, offer in shop.offers.items()
    }
    return replace(task, shop=replace(shop, offers=offers))


MORE = ("a shim", "thicker stacks", "an oversize", "springs apart", "deeper", "finer")


@settings(max_examples=60)
@given(seeds, st.sampled_from(MORE), st.integers(1, 3))
def test_a_better_equipped_shop_is_never_dearer(seed: int, what: str, by: int) -> None:
    """More in stock, and machines that go further: what could be done before still can."""
    task = any_head(seed)
    before, after = cost(task), cost(better_equipped(task, what, by))
    assert before is None or (after is not None and after <= before)


@settings(max_examples=40)
@given(seeds, st.data())
def test_better_gauges_never_make_a_plan_dearer(seed: int, data: st.DataObject) -> None:
    """A smaller uncertainty takes less off every limit."""
    task = any_head(seed)
    book = task.rules["intake"]
    name = data.draw(st.sampled_from(sorted(book.limits)))
    worse = replace(book, u_pm={**book.u_pm, name: book.u_pm.get(name, 0) + 10_000_000})
    rough, fine = cost(replace(task, rules={"intake": worse})), cost(task)
    assert rough is None or (fine is not None and fine <= rough)


@settings(max_examples=40)
@given(seeds, st.integers(2, 9))
def test_prices_times_a_number_cost_that_much_and_the_plan_stays_the_cheapest(
    seed: int, times: int
) -> None:
    """As with another currency: what is cheapest does not depend on it."""
    task = any_head(seed)
    shop = task.shop
    dear = replace(
        shop,
        offers={deed: replace(one, cents=one.cents * times) for deed, one in shop.offers.items()},
        parts={part: cents * times for part, cents in shop.parts.items()},
        oversizes=tuple(
            replace(one, valve_cents=one.valve_cents * times) for one in shop.oversizes
        ),
        shims=tuple(replace(one, cents=one.cents * times) for one in shop.shims),
    )
    before = cost(task)
    assert cost(replace(task, shop=dear)) == (None if before is None else before * times)


@settings(max_examples=25)
@given(seeds)
def test_alternatives_cost_at_most_a_tenth_more_and_keep_every_limit(seed: int) -> None:
    """None is cheaper than the cheapest; each is held against its limits once more."""
    task = any_head(seed)
    found = plan(task)
    if not isinstance(found, Plan):
        return
    for other in alternatives(task, found).plans:
        assert found.cents <= other.cents
        assert 10 * other.cents <= 11 * found.cents
        assert not any(put.seated.beyond() for put in other.puts)
