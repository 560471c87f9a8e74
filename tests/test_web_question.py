"""The page asks about a value that looks like a slip, large, and a person answers."""

from __future__ import annotations

import pytest
import web_sample

pytestmark = pytest.mark.anyio


async def test_nothing_is_asked_where_nothing_is_doubtful(at):
    await at.open()
    assert await at.page.is_hidden("slip-question")


async def test_the_value_and_what_it_looks_like_are_shown(at):
    doc = web_sample.question_state()
    await at.open(doc)
    await at.page.wait_for_selector("slip-question")
    assert await at.texts(".slip-value") == ["0.31370 in"]
    assert await at.texts(".slip-words") == [f"This {doc['question']['words']}."]
    assert await at.page.is_hidden("last-reading")
    assert await at.page.is_visible("next-step")


async def test_keeping_it_asks_for_a_reason_and_assigns_it_to_its_step(at):
    doc = web_sample.question_state()
    await at.open(doc)
    await at.page.click("text=Keep it here…")
    assert await at.page.is_disabled("dialog button[type=submit]")
    await at.page.click("text=measured twice, the same")
    await at.page.click("dialog button[type=submit]")
    await at.page.wait_for_selector(".answer:has-text('Done.')")
    step = doc["question"]["step"]
    reason = "measured twice, the same"
    assert at.asked == [{"do": "assign", "place": 89, "step": step, "reason": reason}]


async def test_measuring_again_puts_the_question_away_until_the_next_one(at):
    await at.open(web_sample.question_state())
    await at.page.click("slip-question button:has-text('Measure again')")
    await at.page.wait_for_selector("slip-question", state="hidden")
    assert at.asked == []
    await at.show(web_sample.question_state(version=18))
    assert await at.page.is_hidden("slip-question"), "the same question does not come back"
    doc = web_sample.question_state(version=19)
    doc["question"]["place"] = doc["tray"][0]["place"] = 90
    await at.show(doc)
    await at.page.wait_for_selector("slip-question")


@pytest.mark.parametrize(("width", "height"), [(800, 1000), (1280, 800), (1920, 1080)])
async def test_the_question_fits_and_its_buttons_are_for_gloves(at, width: int, height: int):
    await at.page.set_viewport_size({"width": width, "height": height})
    await at.open(web_sample.question_state())
    await at.page.wait_for_selector("slip-question")
    for button in await at.page.query_selector_all("slip-question button"):
        box = await button.bounding_box()
        assert box is not None
        assert box["height"] >= 44
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= width
    inside = """() => {
      const outer = document.querySelector("section.next").getBoundingClientRect();
      return ["slip-question", "next-step"].every((tag) => {
        const box = document.querySelector(tag).getBoundingClientRect();
        return box.height > 0 && box.bottom <= outer.bottom + 1 && box.right <= outer.right + 1;
      });
    }"""
    assert await at.page.evaluate(inside)
