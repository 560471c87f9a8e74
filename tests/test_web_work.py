"""The page tells the bench what was done, and shows what is stale by shape and word."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
import web_sample

from gaugelink.work import WORK

if TYPE_CHECKING:
    from web_browser import Bench

pytestmark = pytest.mark.anyio


async def open_dialog(at: Bench, operation: str) -> None:
    await at.open()
    await at.page.click("text=Work done…")
    await at.page.select_option("work-dialog select[aria-label=Operation]", operation)


async def test_work_on_valves_names_them(at):
    await open_dialog(at, "seat ground")
    assert await at.page.is_disabled("work-dialog button[type=submit]")
    for name in ("3E", "4I", "4I", "5E"):  # a second touch takes a valve back
        await at.page.click(f"work-dialog .which button:has-text('{name}')")
    await at.page.fill("work-dialog input[aria-label='Depth taken off']", " 0.15 mm")
    await at.page.click("work-dialog button[type=submit]")
    await at.page.wait_for_selector(".answer:has-text('Done.')")
    assert at.asked == [
        {"do": "work", "operation": "seat ground", "valves": ["3E", "5E"], "depth": "0.15 mm",
         "by": "", "gauge": ""}
    ]  # fmt: skip


async def test_work_on_the_head_names_no_valve(at):
    await open_dialog(at, "seat ground")
    await at.page.click("work-dialog .which button:has-text('3E')")
    await at.page.select_option("work-dialog select[aria-label=Operation]", "face skimmed")
    assert await at.page.is_hidden("work-dialog .which")
    await at.page.fill("work-dialog input[aria-label='Done by']", "B. T.")
    await at.page.click("work-dialog button[type=submit]")
    await at.page.wait_for_selector(".answer:has-text('Done.')")
    (asked,) = at.asked
    assert (asked["operation"], asked["valves"], asked["by"]) == ("face skimmed", [], "B. T.")


async def test_a_gauge_that_was_found_out_is_named(at):
    await open_dialog(at, "gauge found out")
    assert await at.page.is_hidden("work-dialog input[aria-label='Depth taken off']")
    await at.page.select_option("work-dialog select[aria-label=Gauge]", "B1")
    await at.page.click("work-dialog button[type=submit]")
    await at.page.wait_for_selector(".answer:has-text('Done.')")
    assert (at.asked[0]["gauge"], at.asked[0]["valves"]) == ("B1", [])


async def test_the_size_of_a_guide_is_told_or_left_to_the_order(at):
    """Only sizes that the sheet has for every valve chosen are offered; none of them is a guess."""
    await open_dialog(at, "seat ground")
    size = "work-dialog select[aria-label=Size]"
    assert await at.page.is_hidden(size)
    await at.page.select_option("work-dialog select[aria-label=Operation]", "guide replaced")
    await at.page.click("work-dialog .which button:has-text('3E')")
    untold = "as the work order says, else standard"
    assert await at.texts(f"{size} option") == [untold, "standard", "+0.1", "+0.2"]
    await at.page.select_option(size, "+0.2")
    await at.page.click("work-dialog .which button:has-text('5E')")
    assert await at.texts(f"{size} option") == [untold, "standard", "+0.1"]
    assert await at.page.input_value(size) not in {"+0.2", "+0.1"}
    for choice, told in (("+0.1", {"size": "+0.1"}), ("standard", {"size": ""}), (untold, {})):
        at.asked.clear()
        await at.page.select_option(size, label=choice)
        await at.page.click("work-dialog button[type=submit]")
        await at.page.wait_for_selector(".answer:has-text('Done.')")
        [asked] = at.asked
        assert {key: value for key, value in asked.items() if key == "size"} == told
        await at.page.click("text=Work done…")
        await at.page.select_option("work-dialog select[aria-label=Operation]", "guide replaced")
        await at.page.click("work-dialog .which button:has-text('3E')")


TAKEN_OFF = "Depth taken off"
ASKS = {
    "seat cut": (
        TAKEN_OFF,
        "off the seat along the valve, such as 0.15 mm; 0.10 mm at 45 if square",
    ),
    "seat ground": (TAKEN_OFF, "off the seat along the valve"),
    "seat lapped": (TAKEN_OFF, "off the seat along the valve"),
    "valve refaced": (TAKEN_OFF, "off the valve's face along the valve"),
    "tip ground": (TAKEN_OFF, "Length taken off the tip"),
    "face skimmed": (TAKEN_OFF, "off the head's face, such as 0.10 mm; may stay empty"),
    "shim changed": ("Shims thicker by", "How much thicker the shims are now"),
}
"""What is asked for beside the operation, and by what name; of all others nothing."""


async def test_a_length_is_asked_for_only_where_it_says_what_was_done(at):
    """No length says what became of a reamed guide, a new spring or another valve."""
    every = [
        {"name": name, "concerns": work.concerns, "depth": work.depth, "sizes": [],
         "untold": "standard"}
        for name, work in WORK.items()
    ]  # fmt: skip
    await at.open(web_sample.state(operations=every))
    await at.page.click("text=Work done…")
    asked = {}
    for name in WORK:
        await at.page.select_option("work-dialog select[aria-label=Operation]", name)
        for label in await at.page.query_selector_all("work-dialog form > label:visible"):
            words = await label.inner_text()
            field = await label.query_selector("input")
            if field is not None and "Done by" not in words:
                asked[name] = (await field.get_attribute("aria-label"), words)
    assert asked.keys() == ASKS.keys()
    for name, (label, words) in ASKS.items():
        assert asked[name][0] == label
        assert words in asked[name][1], name


async def test_what_was_typed_for_another_operation_is_not_told(at):
    """A depth that is not asked for any longer is gone, and comes back with its question."""
    await open_dialog(at, "seat ground")
    depth = "work-dialog input[aria-label='Depth taken off']"
    await at.page.fill(depth, "0.15 mm")
    await at.page.select_option("work-dialog select[aria-label=Operation]", "guide replaced")
    assert await at.page.is_hidden(depth)
    await at.page.click("work-dialog .which button:has-text('3E')")
    await at.page.click("work-dialog button[type=submit]")
    await at.page.wait_for_selector(".answer:has-text('Done.')")
    [asked] = at.asked
    assert (asked["operation"], asked["depth"]) == ("guide replaced", "")


async def test_left_alone_nothing_is_asked_of_the_bench(at):
    await open_dialog(at, "guide replaced")
    await at.page.click("work-dialog >> text=Leave it")
    assert await at.page.is_hidden("work-dialog dialog")
    assert at.asked == []


async def test_a_stale_reading_is_crossed_and_says_so_in_words(at):
    await at.open(web_sample.worked_state())
    rows = "readings-table tbody[data-state=stale]"
    assert len(await at.texts(f"{rows} .verdict")) == 6
    assert set(await at.texts(f"{rows} .verdict")) == {"stale"}
    assert set(await at.texts(f"{rows} .why")) == {"stale: valve replaced"}
    look = (
        "one => [getComputedStyle(one).backgroundImage, getComputedStyle(one).textDecorationLine]"
    )
    image, line = await at.page.eval_on_selector(f"{rows} td.reading", look)
    assert image.count("linear-gradient") == 1, "one slant"
    assert line == "none", "not struck through: nothing was wrong with it"
    assert await at.page.is_hidden(f"{rows} limit-scale svg")


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (360, 740)])
async def test_the_dialog_fits_and_its_targets_are_for_gloves(at, width: int, height: int):
    await at.page.set_viewport_size({"width": width, "height": height})
    await open_dialog(at, "seat ground")
    for button in await at.page.query_selector_all("work-dialog button, work-dialog select"):
        if (box := await button.bounding_box()) is not None:
            assert min(box["width"], box["height"]) >= 44
            assert box["x"] >= 0
            assert box["x"] + box["width"] <= width
