"""The page says what to expect after work, marks a surprise, and shows what work would foretell."""

from __future__ import annotations

import pytest
import web_sample

pytestmark = pytest.mark.anyio

WORDS = "3E stand-down: seat cut 0.15 mm was told, it moved by 0.31 mm"


def surprised() -> dict:
    """Make a state in which the newest reading is a surprise after work."""
    doc = web_sample.state("stand-down")
    last = web_sample.reading(90, "3E", "stand-down", text="1.39", gauge="T1")
    doc["next"]["expected"] = "expected 1.27 mm after seat cut 0.15 mm"
    doc["last"] = last
    doc["readings"] = [last, *doc["readings"]]
    doc["forecast"] = [
        {"place": 90, "valve": "3E", "characteristic": "stand-down", "station": "",
         "direction": "", "before": "1.08 mm", "work": "seat cut 0.15 mm", "expected": "1.23 mm",
         "u_text": "0.034 mm", "found": "1.39 mm", "difference": "+0.16 mm", "word": "surprise",
         "words": WORDS, "answer": "",
         "meanings": ["another valve was measured", "work was not told"]}
    ]  # fmt: skip
    return doc


async def test_what_is_expected_stands_beside_the_limit(at):
    await at.open(surprised())
    assert await at.texts("next-step .expected") == ["expected 1.27 mm after seat cut 0.15 mm"]
    await at.open()
    assert await at.page.is_hidden("next-step .expected"), "no work, no expectation"


async def test_a_surprise_is_marked_with_words_and_opens_with_what_it_can_mean(at):
    await at.open(surprised())
    row = "readings-table tbody[data-place='90']"
    assert await at.texts(f"{row} .surprise") == [f"surprise: {WORDS}"]
    others = await at.texts("readings-table tbody:not([data-place='90']) .surprise")
    assert others
    assert set(others) == {""}
    assert WORDS in (await at.texts("last-reading"))[0]
    await at.page.click(f"{row} tr.row")
    await at.page.wait_for_selector(f"{row} .more dl")
    facts = (await at.texts(f"{row} .more dl"))[0]
    assert "1.23 mm after seat cut 0.15 mm, 1.08 mm before" in facts
    assert "another valve was measured, or work was not told" in facts


@pytest.mark.parametrize(
    ("answer", "said"),
    [("", "none yet"), ("accepted by C. D.: dial was misread", "accepted by C. D.: dial")],
)
async def test_a_surprise_says_what_has_explained_it(at, answer: str, said: str):
    doc = surprised()
    doc["forecast"][0]["answer"] = answer
    await at.open(doc)
    row = "readings-table tbody[data-place='90']"
    await at.page.click(f"{row} tr.row")
    await at.page.wait_for_selector(f"{row} .more dl")
    assert said in (await at.texts(f"{row} .more dl"))[0]


async def test_a_doubtful_reading_is_marked_with_its_sentence_and_keeps_its_verdict(at):
    doc = web_sample.state("stand-down")
    words = "measured before a zero check (depth gauge) showed 0.05 mm where 0.00 mm is due"
    first = doc["readings"][0] | {"doubt": words}
    doc["readings"][0], doc["last"] = first, first
    await at.open(doc)
    row = f"readings-table tbody[data-place='{first['place']}']"
    assert await at.texts(f"{row} .surprise") == [f"doubtful: {words}"]
    assert await at.page.get_attribute(row, "data-state") == "good"
    assert words in (await at.texts("last-reading"))[0]


async def test_a_reading_that_came_as_foretold_has_no_mark(at):
    doc = surprised()
    doc["forecast"][0] |= {"word": "as foretold", "words": "", "meanings": []}
    await at.open(doc)
    assert set(await at.texts("readings-table .surprise")) == {""}


async def test_the_dialog_shows_what_will_be_expected_before_anything_is_told(at):
    await at.open()
    await at.page.click("text=Work done…")
    await at.page.select_option("work-dialog select[aria-label=Operation]", "seat ground")
    assert await at.page.is_hidden("work-dialog .then"), "no valve is chosen yet"
    await at.page.click("work-dialog .which button:has-text('3E')")
    await at.page.fill("work-dialog input[aria-label='Depth taken off']", "0.15 mm")
    await at.page.wait_for_selector("work-dialog .then li")
    assert await at.texts("work-dialog .then li") == [
        "3E stand-down: 1.08 mm \u2192 1.23 mm", "not foretold: seat width"
    ]  # fmt: skip
    assert at.asked == []
    await at.page.click("work-dialog .which button:has-text('3E')")
    await at.page.wait_for_selector("work-dialog .then", state="hidden")


@pytest.mark.parametrize("width", [1280, 360])
async def test_nothing_runs_out_of_the_page(at, width: int):
    await at.page.set_viewport_size({"width": width, "height": 800})
    await at.open(surprised())
    for part in ("next-step .expected", "readings-table .surprise:not(:empty)"):
        element = await at.page.query_selector(part)
        assert element is not None
        box = await element.bounding_box()
        assert box is not None
        assert box["x"] + box["width"] <= width
