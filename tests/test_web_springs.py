"""On the page a person tells the load of a spring, and sees what it comes to where it works."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
import release_sample
import web_sample
from release_shape import release_shape
from test_web_release import PAGE, SCRIPT, answered
from view_shapes import Maybe, check
from web_browser import Bench, open_bench

if TYPE_CHECKING:
    from collections.abc import AsyncIterator


pytestmark = pytest.mark.anyio


@pytest.fixture
async def at(browser, tmp_path) -> AsyncIterator[Bench]:
    """The panel on a page of its own."""
    (tmp_path / "only-release.html").write_text(PAGE, encoding="utf-8")
    (tmp_path / "only-release.js").write_text(SCRIPT, encoding="utf-8")
    async with open_bench(browser, (tmp_path, web_sample.DASHBOARDS)) as opened:
        yield opened
        await opened.check_clean()


async def show(at: Bench, springs: list[release_sample.JSON]) -> None:
    against = release_sample.group(
        "not measured", "Not measured",
        release_sample.row(["2E"], "spring load", "not tested yet at 40.5 mm; tell its load"),
    )  # fmt: skip
    release = release_sample.blocked(springs=springs, groups=[against], count=1)
    check(release, release_shape(Maybe))
    at.asked.clear()
    at.hub.publish_state(web_sample.state() | {"release": release})
    await at.page.goto(f"{at.server.url}only-release.html")
    await at.page.wait_for_selector("inspection-grid button.cell")


async def test_every_spring_stands_with_what_it_showed_and_what_that_comes_to(at):
    await show(at, release_sample.sprung())
    rows = await at.texts("spring-table tbody tr")
    assert len(rows) == 12
    assert rows[0] == "1I318 N u 2 N, B. T.40.72 mm310.5 Nwithin3.22 mmwithinTell\u2026"
    assert rows[3].startswith("2E open")
    assert "318 N stale after spring changed" in rows[4]
    assert "271.4 Noutside" in rows[6]
    (note,) = await at.texts("spring-table > ul li")
    assert note == (
        "intake and exhaust: load where it works min 285 N, tested at 40.5 mm; room before the "
        "coils touch at full lift 1.50 mm at least"
    )


async def test_a_load_is_told_with_its_unit_from_the_table_or_from_what_stands_against_it(at):
    await show(at, release_sample.sprung())
    await at.page.click("[aria-label='Tell\u2026 2E spring load']")
    assert await at.texts("#spring-title") == ["Spring of 2E"]
    assert await at.page.is_disabled("spring-table dialog button.main")
    assert not await at.page.is_visible("spring-table dialog >> text=Take back")
    await at.page.fill("[aria-label='Load']", " 316 N ")
    await at.page.fill("[aria-label='Tested by']", "B. T.")
    await at.page.click("spring-table dialog button.main")
    await answered(at)
    assert at.asked == [{"do": "spring", "valve": "2E", "load": "316 N", "u": "", "by": "B. T."}]


async def test_what_was_told_is_taken_back_with_a_reason(at):
    await show(at, release_sample.sprung())
    await at.page.click("[aria-label='Tell the load of the spring of 4I']")
    back = "spring-table dialog button:text-is('Take back')"
    assert await at.page.is_disabled(back)
    await at.page.fill("[aria-label='Why it is taken back']", "tester not at zero")
    await at.page.click(back)
    await answered(at)
    assert at.asked == [{"do": "strike-out", "place": 147, "reason": "tester not at zero"}]


async def test_where_the_sheet_says_nothing_of_springs_there_is_no_table(at):
    await show(at, [])
    assert not await at.page.is_visible("spring-table")
    assert "Springs" not in [
        text for text in await at.texts("release-panel > h3:not([hidden])") if text
    ]
