"""On the page a person tells what a chamber held when it was filled, and sees what counts now."""

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

HOSTILE = "<img src=x onerror=alert(1)>"
ROW = "[aria-label='Tell\u2026 chamber volume']"


@pytest.fixture
async def at(browser, tmp_path) -> AsyncIterator[Bench]:
    """The panel on a page of its own."""
    (tmp_path / "only-release.html").write_text(PAGE, encoding="utf-8")
    (tmp_path / "only-release.js").write_text(SCRIPT, encoding="utf-8")
    async with open_bench(browser, (tmp_path, web_sample.DASHBOARDS)) as opened:
        yield opened
        await opened.check_clean()


def release_of(chambers: list[release_sample.JSON], **more: object) -> release_sample.JSON:
    against = release_sample.group(
        "not measured", "Not measured",
        release_sample.row([], "chamber volume", "cylinder 6 is not known yet; fill it"),
    )  # fmt: skip
    release = release_sample.blocked(chambers=chambers, groups=[against], count=1, **more)
    check(release, release_shape(Maybe))
    return release


async def show(at: Bench, chambers: list[release_sample.JSON], **more: object) -> None:
    at.asked.clear()
    at.hub.publish_state(web_sample.state() | {"release": release_of(chambers, **more)})
    await at.page.goto(f"{at.server.url}only-release.html")
    await at.page.wait_for_selector("inspection-grid button.cell")


def button(cylinder: int) -> str:
    return f"[aria-label='Tell the volume of the chamber of cylinder {cylinder}']"


async def test_every_chamber_stands_with_what_it_held_and_what_counts_now(at):
    await show(at, release_sample.chambered())
    assert await at.texts("chamber-table thead th") == [
        "Cylinder", "Filled", "Volume now", "Ratio"
    ]  # fmt: skip
    assert await at.texts("chamber-table tbody tr") == [
        "130.4 cm3 u 0.1 cm3, B. T.30.40 cm3within, measured15.97withinTell\u2026",
        "2 not filled30.21 cm3within, reckoned16.06withinTell\u2026",
        "330.4 cm3 stale after seat cut30.62 cm3within, reckoned15.87withinTell\u2026",
        "426.8 ml B. T.26.80 cm3outside, measured17.78outsideTell\u2026",
        "51.771 in3 u 0.01 in329.02 cm3undecided, measured16.62withinTell\u2026",
        "6 not filledopenopenTell\u2026",
    ]
    (note,) = await at.texts("chamber-table > ul li")
    assert note == (
        "volume min 29.00 cm3 to max 32.00 cm3; compression ratio min 15.50 to max 17.00"
    )


async def test_a_verdict_is_told_by_its_mark_as_well(at):
    await show(at, release_sample.chambered())
    marks = [
        await at.page.eval_on_selector(
            f"chamber-table tbody tr:nth-child({row}) td:nth-child(3) svg",
            "one => [...one.children].map(part => part.outerHTML).join()",
        )
        for row in (1, 2, 4, 5)
    ]
    assert marks[0] == marks[1], "within"
    assert len(set(marks)) == 3
    assert all(marks)
    title = await at.page.get_attribute("chamber-table tr:nth-child(4) .judged >> nth=1", "title")
    assert title == "17.78, against min 15.50 to max 17.00"


async def test_where_the_book_limits_only_how_far_two_lie_apart_nothing_is_judged_here(at):
    free = {"volume_limit": "", "volume_verdict": "", "ratio": "", "ratio_limit": "",
            "ratio_verdict": ""}  # fmt: skip
    await show(at, [release_sample.chamber(cylinder, **free) for cylinder in (1, 2)])
    assert (await at.texts("chamber-table tbody tr"))[0] == (
        "130.4 cm3 u 0.1 cm3, B. T.30.40 cm3 measuredTell\u2026"
    )
    assert await at.texts("chamber-table > ul li") == []
    assert await at.page.query_selector("chamber-table svg") is None
    assert await at.page.is_visible("chamber-table th:text-is('Volume now')")
    assert await at.page.is_hidden("chamber-table th:text-is('Ratio')")


async def test_a_volume_is_told_with_its_unit(at):
    await show(at, release_sample.chambered())
    await at.page.click(button(2))
    assert await at.texts("#chamber-title") == ["Chamber of cylinder 2"]
    (about,) = await at.texts("chamber-table dialog p")
    assert "valves home in their seats" in about
    assert "plug or injector stopped" in about
    assert about.endswith("Reckoned: 30.21 cm3.")
    assert await at.page.is_disabled("chamber-table dialog button.main")
    await at.page.fill("[aria-label='Volume']", "  ")
    assert await at.page.is_disabled("chamber-table dialog button.main")
    assert not await at.page.is_visible("chamber-table dialog >> text=Take back")
    await at.page.fill("[aria-label='Volume']", " 30.4 cm3 ")
    await at.page.fill("chamber-table [aria-label='Standard uncertainty']", " 0.1 cm3")
    await at.page.fill("[aria-label='Measured by']", "B. T. ")
    await at.page.click("chamber-table dialog button.main")
    await answered(at)
    assert at.asked == [
        {"do": "chamber", "cylinder": 2, "volume": "30.4 cm3", "u": "0.1 cm3", "by": "B. T."}
    ]


async def test_enter_tells_it_and_the_focus_comes_back_to_its_row(at):
    await show(at, release_sample.chambered())
    await at.page.focus(button(6))
    await at.page.keyboard.press("Enter")
    await at.page.wait_for_selector("chamber-table dialog[open]")
    await at.page.keyboard.press("Enter")
    assert await at.page.is_visible("chamber-table dialog"), "there is nothing to tell yet"
    await at.page.keyboard.type("29.9 ml")
    await at.page.keyboard.press("Enter")
    await answered(at)
    assert await at.page.is_hidden("chamber-table dialog")
    assert at.asked == [{"do": "chamber", "cylinder": 6, "volume": "29.9 ml", "u": "", "by": ""}]
    told = release_sample.chambered()
    told[5] = release_sample.chamber(6, told="29.9 ml", volume="29.90 cm3", ratio="16.20")
    await at.show(web_sample.state(), release=release_of(told))
    assert "29.90 cm3" in (await at.texts("chamber-table tbody tr"))[5]
    focused = await at.page.evaluate("document.activeElement.getAttribute('aria-label')")
    assert focused == "Tell the volume of the chamber of cylinder 6"
    await at.page.keyboard.press("Enter")
    assert await at.page.input_value("[aria-label='Volume']") == ""
    await at.page.keyboard.type("31 ml")
    await at.page.keyboard.press("Escape")
    assert await at.page.is_hidden("chamber-table dialog")
    assert len(at.asked) == 1, "left alone"


async def test_what_was_told_is_taken_back_with_a_reason(at):
    await show(at, release_sample.chambered())
    await at.page.click(button(4))
    (about,) = await at.texts("chamber-table dialog p")
    assert about.endswith("Told: 26.8 ml (B. T.).")
    back = "chamber-table dialog button:text-is('Take back')"
    assert await at.page.is_disabled(back)
    await at.page.fill("chamber-table [aria-label='Why it is taken back']", "a bubble was left")
    await at.page.click(back)
    await answered(at)
    assert at.asked == [{"do": "strike-out", "place": 149, "reason": "a bubble was left"}]


async def test_what_is_stale_is_told_anew_or_taken_back(at):
    await show(at, release_sample.chambered())
    await at.page.click(button(3))
    (about,) = await at.texts("chamber-table dialog p")
    assert about.endswith("Told: 30.4 cm3 (stale after seat cut). Reckoned: 30.62 cm3.")
    assert await at.page.is_visible("chamber-table dialog >> text='Take back'")
    await at.page.fill("[aria-label='Volume']", "30.7 cm3")
    await at.page.click("chamber-table dialog button.main")
    await answered(at)
    assert (at.asked[0]["cylinder"], at.asked[0]["volume"]) == (3, "30.7 cm3")


async def test_what_stands_against_it_leads_to_the_first_chamber_that_is_waited_for(at):
    await show(at, release_sample.chambered())
    await at.page.click(ROW)
    assert await at.texts("#chamber-title") == ["Chamber of cylinder 6"], "has no volume at all"
    await at.page.keyboard.press("Escape")
    reckoned = [release_sample.chamber(1), *release_sample.chambered()[1:5]]
    await at.show(web_sample.state(), release=release_of(reckoned))
    await at.page.click(ROW)
    assert await at.texts("#chamber-title") == ["Chamber of cylinder 2"], "the first not filled"


async def test_where_the_sheet_says_nothing_of_chambers_there_is_no_table(at):
    await show(at, [])
    assert not await at.page.is_visible("chamber-table")
    assert not await at.page.is_visible("release-panel h3:text-is('Chambers')")
    await at.show(web_sample.state(), release=release_of(release_sample.chambered()))
    assert await at.page.is_visible("chamber-table")
    assert await at.page.is_visible("release-panel h3:text-is('Chambers')")


async def test_hostile_texts_stay_texts(at):
    text = HOSTILE + "W" * 200
    bad = [
        release_sample.chamber(1, by=text, told=text[:40], u=text),
        release_sample.chamber(2, state="measure again", void=text, volume_limit=text),
    ]
    await show(at, bad)
    assert HOSTILE in (await at.texts("chamber-table tbody tr"))[0]
    for cylinder in (1, 2):
        await at.page.click(button(cylinder))
        (about,) = await at.texts("chamber-table dialog p")
        assert HOSTILE in about
        await at.page.keyboard.press("Escape")
    assert await at.page.query_selector("img") is None
    assert await at.page.evaluate("document.documentElement.scrollWidth") <= 1280


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (360, 740)])
async def test_everything_fits_and_is_for_gloves(at, width: int, height: int):
    await at.page.set_viewport_size({"width": width, "height": height})
    await show(at, release_sample.chambered(), springs=release_sample.sprung())
    assert await at.page.evaluate("document.documentElement.scrollWidth") <= width
    await at.page.click(button(4))
    parts = await at.page.query_selector_all(
        "chamber-table tbody button, chamber-table dialog[open] :is(button, input)"
    )
    assert len(parts) == 6 + 7
    for part in parts:
        box = await part.bounding_box()
        assert box is not None
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= width
        assert min(box["width"], box["height"]) >= 44
