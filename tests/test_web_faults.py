"""Beside a verdict the page says what helps."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
import web_sample
from web_browser import Bench, open_bench, start_browser

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

pytestmark = pytest.mark.anyio


@pytest.fixture(scope="module")
async def at(anyio_backend) -> AsyncIterator[Bench]:
    async with start_browser() as browser, open_bench(browser) as opened:
        yield opened


def fault(number: int, **more: Any) -> dict[str, Any]:
    return {
        "verdict": number, "valve": "2E", "method": "rock", "by": "sizes", "answer": "valve",
        "probability": 0.97, "probabilities": None, "sure": True,
        "words": "valve 97 %: a new valve alone brings it within", "remarks": [],
    } | more  # fmt: skip


def clearance_of(doc: dict[str, Any], valve: str) -> int:
    """The number of the verdict on a valve's clearance."""
    return next(number for number, one in enumerate(doc["verdicts"])
                if (one["valve"], one["characteristic"]) == (valve, "guide clearance"))  # fmt: skip


async def advice(at: Bench) -> dict[str, str]:
    """Give what is shown beside verdicts, by valve and characteristic."""
    found: dict[str, str] = await at.page.eval_on_selector_all(
        "verdict-list li",
        """all => Object.fromEntries(all
          .filter(one => one.querySelector(".advice").checkVisibility())
          .map(one => [
            `${one.querySelector(".whose").textContent} ${one.querySelector(".what").textContent}`,
            [...one.querySelectorAll(".advice *")].map(part => part.textContent).join("|"),
          ]))""",
    )
    return found


async def test_whose_fault_it_is_stands_beside_its_verdict_and_no_other(at):
    doc = web_sample.state()
    number = clearance_of(doc, "2E")
    await at.open(doc | {"faults": [fault(number)]})
    assert await advice(at) == {
        "2E guide clearance, rock": "valve 97 %: a new valve alone brings it within|"}  # fmt: skip
    await at.show(
        doc | {"faults": [fault(number, sure=False, remarks=["one doubt", "missing: x"])]}
    )
    assert await advice(at) == {
        "2E guide clearance, rock":
        "valve 97 %: a new valve alone brings it within|one doubt; missing: x"}  # fmt: skip
    assert await at.page.query_selector(".advice[data-sure]") is None
    await at.show(doc | {"faults": []})
    assert await advice(at) == {}
    await at.check_clean()


async def test_what_lacks_to_tell_is_asked_for(at):
    doc = web_sample.state()
    untold = fault(
        clearance_of(doc, "2E"),
        answer=None,
        probability=None,
        by="",
        sure=False,
        words="cannot be told",
        remarks=["missing: the same rock with a new valve"],
    )
    await at.open(doc | {"faults": [untold]})
    assert list((await advice(at)).values()) == [
        "Valve or guide?|cannot be told; missing: the same rock with a new valve"]  # fmt: skip


async def test_it_goes_with_its_valve_when_one_is_touched(at):
    doc = web_sample.state()
    await at.open(doc | {"faults": [fault(clearance_of(doc, "2E"))]})
    await at.page.click("button.valve[aria-label*='valve 1I']")
    await at.page.wait_for_selector("verdict-list h2:has-text('Verdicts of 1I')")
    assert await advice(at) == {}
    await at.page.click("button.valve[aria-label*='valve 2E']")
    await at.page.wait_for_selector("verdict-list h2:has-text('Verdicts of 2E')")
    assert list(await advice(at)) == ["2E guide clearance, rock"]


async def test_a_narrow_page_keeps_its_figures_whole(at):
    await at.open(web_sample.state())
    await at.page.set_viewport_size({"width": 420, "height": 900})
    heights = await at.page.eval_on_selector_all(
        "verdict-list .value", "all => all.map(one => one.getClientRects().length)"
    )
    boxes = await at.page.eval_on_selector_all(
        "verdict-list .value", "all => all.map(one => one.getBoundingClientRect().height)"
    )
    await at.page.set_viewport_size({"width": 1280, "height": 800})
    assert set(heights) == {1}
    assert all(height < 40 for height in boxes)


async def test_what_would_decide_stands_beside_what_is_undecided(at):
    doc = web_sample.state(measured=12)
    number = next(n for n, one in enumerate(doc["verdicts"]) if one["verdict"] == "undecided")
    words = "2 more readings of the same place would decide it, if the mean stays where it is"
    one = {**doc["deciders"][0], "verdict": number, "words": words}
    await at.open(doc | {"deciders": [one]})
    assert await at.texts("verdict-list .decider:not([hidden])") == [f"To decide it: {words}"]
    shown = await at.texts("verdict-list li:has(.decider:not([hidden])) .whose")
    assert shown == [doc["verdicts"][number]["valve"]]
    await at.show(doc | {"deciders": []})
    assert await at.texts("verdict-list .decider:not([hidden])") == []
