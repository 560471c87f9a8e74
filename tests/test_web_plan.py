"""The page that decides says what is proved of a plan, and what time ran out for."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
import web_sample

if TYPE_CHECKING:
    from playwright.async_api import Route
    from web_browser import Bench

pytestmark = pytest.mark.anyio

MORE = "There may be alternatives within 10 %."
PROVED = "each of them is needed for that; there may be a smaller set"


async def show(at: Bench, **more: Any) -> str:
    """Open the page on a plan; give what the panel shows."""
    _, plan = await web_sample.answer({"about": "plan"})

    async def told(route: Route) -> None:
        if route.request.post_data_json == {"about": "plan"}:
            await route.fulfill(json=plan | more)
        else:
            await route.continue_()

    at.asked.clear()
    at.hub.publish_state(web_sample.state())
    await at.page.route("**/ask", told)
    await at.page.goto(f"{at.server.url}decide.html")
    await at.page.wait_for_selector("plan-panel .cost:not(:empty)")
    shown: str = await at.page.inner_text("plan-panel")
    await at.page.unroute("**/ask", told)
    return shown


async def test_that_there_may_be_more_alternatives_stands_below_those_that_are_told(at):
    other = {"cost": "31.00 EUR", "more": "+1.00", "differs": ["3E: reface valve"]}
    shown = await show(at, alternatives=[other], more_words=MORE)
    assert shown.index("31.00 EUR") < shown.index(MORE) < shown.index("Mind.")
    assert MORE not in await show(at)


async def test_what_is_proved_of_a_conflict_stands_below_its_limits(at):
    nothing = {"cost": None, "standing": "", "lines": [], "valves": [], "parts": []}
    limits = ["3E: stand-down max", "head: head thickness min"]
    shown = await show(at, **nothing, conflict=limits, conflict_words=PROVED)
    assert shown.index(limits[1]) < shown.index(PROVED)
    assert "No plan" in shown
