"""The bench page draws the documents that come down the stream; seen in a real Chromium."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
import web_sample
from web_browser import Bench, open_bench, start_browser

if TYPE_CHECKING:
    from collections.abc import AsyncIterator


pytestmark = pytest.mark.anyio

SCREEN_24_INCH_MM = 531.0
"""Width of a 24-inch 16:9 screen: 24 in * 25.4 mm/in * 16 / sqrt(16^2 + 9^2) = 531.3 mm."""


@pytest.fixture(scope="module")
async def bench(anyio_backend) -> AsyncIterator[Bench]:
    async with start_browser() as browser, open_bench(browser) as opened:
        yield opened


@pytest.fixture
async def at(bench) -> AsyncIterator[Bench]:
    """The one page, as small as at first; clean at the end of every test."""
    bench.complaints.clear()
    bench.expected = None
    bench.requests.clear()
    await bench.page.set_viewport_size({"width": 1280, "height": 800})
    await bench.page.emulate_media(color_scheme="light")
    yield bench
    await bench.check_clean()


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("width", "height"), [(800, 1000), (1280, 800), (1920, 1080)])
async def test_the_page_is_clean_and_fits_and_its_figure_is_read_from_two_metres(
    at, theme, width, height
):
    """Nothing overflows sideways; the digits are 22 mm high or more on a 24-inch screen."""
    await at.page.set_viewport_size({"width": width, "height": height})
    await at.page.emulate_media(color_scheme=theme)
    doc = web_sample.state()
    longest = doc["live"] | {"text": "-12.3456"}
    await at.open(doc | {"live": longest})
    measured = await at.page.evaluate(
        """() => {
          const figure = document.querySelector(".live-text");
          const style = getComputedStyle(figure);
          const pen = document.createElement("canvas").getContext("2d");
          pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
          const live = figure.getBoundingClientRect();
          const room = document.querySelector("section.live").getBoundingClientRect();
          return {
            digit: pen.measureText("8").actualBoundingBoxAscent,
            inside: live.left >= room.left && live.right <= room.right,
            wide: document.documentElement.scrollWidth,
            numeric: style.fontVariantNumeric,
            paper: getComputedStyle(document.body).backgroundColor,
          };
        }"""
    )
    assert measured["digit"] * SCREEN_24_INCH_MM / width >= 22
    assert measured["inside"]
    assert measured["wide"] <= width
    assert "tabular-nums" in measured["numeric"]
    light = sum(int(part) for part in measured["paper"].strip("rgb()").split(",")) > 384
    assert light == (theme == "light")


async def test_every_valve_stands_in_the_map_with_its_state_as_word_and_shape(at):
    """The words and marks differ from each other without any colour."""
    doc = web_sample.finished_state()
    doc["head"]["valves"][11]["state"] = "measuring"
    doc["head"]["valves"][10]["state"] = "open"
    doc["head"]["valves"][10]["done"] = 0
    await at.open(doc)
    found = await at.page.eval_on_selector_all(
        "button.valve",
        """all => all.map(one => ({
          name: one.querySelector(".valve-name").textContent,
          word: one.querySelector(".valve-word").textContent,
          label: one.getAttribute("aria-label"),
          shape: one.querySelector(".valve-mark svg").innerHTML,
          scale: one.querySelector("limit-scale svg") !== null,
          x: one.getBoundingClientRect().x,
          size: one.querySelector(".disc").getBoundingClientRect().width,
        }))""",
    )
    by_name = {one["name"]: one for one in found}
    wanted = {valve["name"]: valve for valve in doc["head"]["valves"]}
    assert list(by_name) == web_sample.VALVES
    shapes: dict[str, set[str]] = {}
    for name, valve in wanted.items():
        drawn = by_name[name]
        assert f"valve {name}, {valve['kind']}: {valve['state']}" in drawn["label"]
        shapes.setdefault(valve["state"], set()).add(drawn["shape"])
        if valve["state"] not in ("measuring", "open"):
            assert drawn["word"] == valve["state"]
        assert drawn["scale"] == (valve["worst"] is not None)
    assert set(shapes) == {"within", "outside", "undecided", "skipped", "measuring", "open"}
    told_apart = [shapes[state] for state in ("within", "outside", "undecided", "skipped")]
    assert all(len(kind) == 1 for kind in told_apart)
    assert len(set.union(*told_apart)) == 4
    # front to the left, and an intake valve is the larger
    assert [one["x"] for one in found] == sorted(one["x"] for one in found)
    assert by_name["1I"]["size"] > by_name["1E"]["size"]


async def test_a_head_with_four_valves_a_cylinder_has_a_row_for_each_kind(at):
    doc = web_sample.state()
    names = [f"{c}{k}{n}" for c in (1, 2, 3) for k in "IE" for n in (1, 2)]
    plain = {"state": "open", "done": 0, "of": 16, "worst": None}
    doc["head"]["cylinders"] = 3
    doc["head"]["valves"] = [
        plain
        | {
            "name": name,
            "cylinder": int(name[0]),
            "kind": "intake" if name[1] == "I" else "exhaust",
        }
        for name in names
    ]
    await at.open(doc)
    boxes = await at.page.eval_on_selector_all(
        "button.valve .disc", "all => all.map(one => one.getBoundingClientRect().toJSON())"
    )
    rows = {round(box["y"] + box["height"] / 2) // 20 for box in boxes}
    assert (len(boxes), len(rows)) == (12, 2)
    spots = {(round(box["x"]), round(box["y"])) for box in boxes}
    assert len(spots) == 12


async def test_the_live_figure_follows_the_gauge_between_states(at):
    await at.open()
    for text in ("7.964", "-12.3456", "7,9655"):
        at.hub.publish_live({"gauge": "M1", "text": text, "unit": "mm", "mode": "actual"})
        await at.page.wait_for_function(
            "text => document.querySelector('.live-text').textContent === text", arg=text
        )
    inside = await at.page.evaluate(
        """() => document.querySelector(".live-text").getBoundingClientRect().right
             <= document.querySelector("section.live").getBoundingClientRect().right"""
    )
    assert inside
    at.hub.publish_live({"gauge": "M1", "text": "7.964", "unit": "mm", "mode": "max"})
    await at.page.wait_for_selector(".live-note:has-text('\"max\", not the actual value')")


async def test_the_figure_is_that_of_the_gauge_which_the_step_asks_for(at):
    """Whatever gauges beside it send; only while nothing is asked for the last one is shown."""
    doc = web_sample.state() | {"live": None}
    await at.open(doc)
    other = {"gauge": "C1", "text": "24.98", "unit": "mm", "mode": "actual"}
    at.hub.publish_live(other)
    await at.show(doc)
    assert await at.texts(".live-text") == ["\u2013"]
    assert await at.texts(".live-note") == ["M1 has not sent anything yet"]
    at.hub.publish_live({"gauge": "M1", "text": "7.963", "unit": "mm", "mode": "actual"})
    at.hub.publish_live(other)
    await at.show(doc)
    assert await at.texts(".live-text") == ["7.963"]
    await at.show(doc, next=None)
    assert await at.texts(".live-text") == ["24.98"]


async def test_a_lost_gauge_is_named_and_its_figure_is_not_passed_off_as_live(at):
    doc = web_sample.state()
    doc["gauges"][0]["state"] = "lost"
    await at.open(doc)
    assert await at.page.get_attribute("live-value", "data-stale") == ""
    assert "gauge M1 is lost" in (await at.texts(".live-note"))[0]
    assert (await at.texts("gauge-list li"))[0] == "M1lost"


async def test_the_whisker_of_an_undecided_reading_crosses_the_limit(at):
    """0.0960 mm, u = 0.0025 mm, limit 0.1 mm: 0.0960 < 0.1 < 0.0960 + 2 * 0.0025 (calc)."""
    await at.page.set_viewport_size({"width": 1920, "height": 1080})
    await at.open(web_sample.sweep_state(12))
    x = await at.page.evaluate(
        """() => {
          const scale = document.querySelector("last-reading limit-scale");
          const box = (kind) => scale.querySelector(kind).getBoundingClientRect();
          return { mark: box(".mark.open"), whisker: box(".whisker"), stop: box(".stop"),
                   bands: scale.querySelectorAll(".band").length };
        }"""
    )
    middle = x["mark"]["x"] + x["mark"]["width"] / 2
    assert middle < x["stop"]["x"] < x["whisker"]["right"]
    assert middle - x["whisker"]["left"] == pytest.approx(x["whisker"]["right"] - middle, abs=1)
    assert x["bands"] == 5  # the bar, and the dashes in which it runs off its open end
    assert (await at.texts(".last-word"))[0] == "undecided"


async def test_the_stretch_of_a_limit_scale_is_round_and_holds_the_reading(at):
    """Worked by hand: between two limits the band and half of it again to each side; with one
    limit 1.15 of the next round length on the reading's side, 0.4 or 0.6 of it on the other.
    """  # noqa: D205 - one sentence
    await at.open()
    for lower, upper, value, low, high in (
        (1.0, 2.0, 1.5, 0.5, 2.5),
        (7.935, None, 7.964, 7.912, 7.9925),  # 0.029 from the limit: 0.05
        (None, 0.1, 0.131, 0.0655, 0.1575),  # 0.031 beyond it: 0.05
    ):
        got = await at.page.evaluate(
            "async scale => (await import('/common/limit-scale.js')).stretch(scale)",
            web_sample.scale(value, 0.0, lower, upper),
        )
        assert got == pytest.approx([low, high])


async def test_the_plot_of_a_sweep_shows_plateaus_travel_and_limit(at):
    """96 um of clearance at a factor of 1 + 2 * 28 / 50 = 2.12 is 203.52 um of travel, and the
    limit of 100 um is 212 um: one stands on the other, from the low level up.
    """  # noqa: D205 - one sentence
    await at.open(web_sample.sweep_state(3.2))
    await at.page.wait_for_selector(".plot .scatterlayer path.js-line")
    assert "sweep is running" in (await at.texts(".sweep-title"))[0]
    await at.show(web_sample.sweep_state(12))
    await at.page.wait_for_selector(".plot .shapelayer path", state="attached")
    figure: dict[str, Any] = await at.page.evaluate(
        """() => {
          const box = document.querySelector(".plot");
          const { shapes, annotations } = box.layout;
          return { data: box.data.map(({ x, y }) => ({ x, y })), shapes, annotations };
        }"""
    )
    curve, used, unused = figure["data"]
    assert len(curve["x"]) == 600
    assert (len(used["x"]) // 3, len(unused["x"]) // 3) == (11, 1)
    low, high = (shape["y0"] for shape in figure["shapes"][:2])
    assert high - low == pytest.approx(0.20352)
    band = next(shape for shape in figure["shapes"] if shape["type"] == "rect")
    assert (band["y0"], band["y1"] - band["y0"]) == pytest.approx((low, 0.212))
    drawn = "".join(await at.texts(".plot .annotation-text"))
    assert drawn.replace(" ", "").replace("\u200b", "") == "notusedlimittravel"
    # on the screen: the curve, and a line for each plateau
    assert len(await at.texts(".plot .scatterlayer path.js-line")) == 1 + 11 + 1
    facts = dict(
        zip(await at.texts(".sweep-facts dt"), await at.texts(".sweep-facts dd"), strict=True)
    )
    assert facts["travel"] == "0.2035 mm ± 0.0076 mm"
    assert facts["clearance"] == "0.0960 mm ± 0.0050 mm"
    assert facts["verdict"] == "undecided"
    words = await at.texts(".sweep-words li")
    assert "Five full rocks." in words
    assert (
        "The plateau at 4.4 s is not used: it does not reach the wall as its neighbours do" in words
    )


async def test_the_plot_goes_when_another_reading_comes_and_returns_with_its_row(at):
    doc = web_sample.sweep_state(12)
    at.expected = "404"  # for the sweep that the bench does not find
    later = web_sample.reading(89, "3E", "stand-down", text="0.90", gauge="T1")
    await at.open(doc)
    await at.page.wait_for_selector("section.sweep:not([hidden])")
    await at.show(doc, last=later, readings=[later, *doc["readings"]])
    assert await at.page.is_hidden("section.sweep")
    await at.page.click("tbody[data-place='88'] td.what")
    await at.page.wait_for_selector("section.sweep .main-svg")
    await at.page.click("tbody[data-place='47'] td.what")  # one from before the page was opened
    await at.page.wait_for_selector(".sweep-title:has-text('3I, along the head')")
    await at.page.click("tbody[data-place='48'] td.what")  # one which the bench does not find
    await at.page.wait_for_selector("section.sweep:has-text('The curve of that sweep is not here')")
    await at.page.click("text=Put the plot away")
    await at.page.wait_for_selector("section.sweep", state="hidden")


async def test_touching_a_valve_shows_its_readings_and_verdicts_only(at):
    doc = web_sample.finished_state()
    await at.open(doc)
    everything = len(doc["readings"])
    rows = "readings-table .scroll tbody"
    assert len(await at.texts(rows)) == everything
    assert set(await at.texts("verdict-list .verdict")) == {"outside", "undecided"}
    await at.page.click("button.valve[data-valve='2E']")
    await at.page.wait_for_selector("button:has-text('Only 2E: show all again')")
    own = [one for one in doc["readings"] if one["valve"] == "2E"]
    assert len(await at.texts(rows)) == len(own) < everything
    assert await at.texts("verdict-list .whose") == ["2E"] * 3
    await at.page.click("button.valve[data-valve='2E']")
    await at.page.wait_for_function(
        "n => document.querySelectorAll('.scroll tbody').length === n", arg=everything
    )


async def test_what_was_struck_out_stays_readable_with_its_reason_and_the_tray_stands_above(
    at,
):
    await at.open(web_sample.finished_state())
    struck = "tbody[data-state='struck out']"
    assert await at.texts(f"{struck} .reading bdi:first-child") == ["7.694"]
    line = await at.page.eval_on_selector(
        f"{struck} .reading bdi", "one => getComputedStyle(one).textDecorationLine"
    )
    assert line == "line-through"
    assert await at.texts(f"{struck} .why") == ["dirt or oil on the part"]
    assert await at.texts(".tray .reading bdi:first-child") == ["24.98"]
    tray = await at.page.eval_on_selector(".tray", "one => one.getBoundingClientRect().bottom")
    table = await at.page.eval_on_selector(".scroll", "one => one.getBoundingClientRect().top")
    assert tray <= table


async def test_the_head_of_the_table_stays_when_it_is_scrolled(at):
    await at.open(web_sample.finished_state())
    places = await at.page.evaluate(
        """() => {
          const box = document.querySelector(".scroll");
          box.scrollTop = 1500;
          const top = (what) => what.getBoundingClientRect().top;
          return [box.scrollTop, top(box), top(box.querySelector("th"))];
        }"""
    )
    assert places[0] == 1500
    assert places[1] == pytest.approx(places[2], abs=1)


async def test_one_more_reading_among_four_hundred_touches_one_row_only(at):
    """Rows are kept by their place in the record, so that ten states a second do not choke."""
    doc = web_sample.state()
    many = [
        web_sample.reading(
            n,
            "1I",
            "stem diameter",
            text="7.951",
            scale=web_sample.scale(7.951, 0.002, 7.935, None),
        )
        for n in range(400, 0, -1)
    ]
    await at.open(doc | {"readings": many, "last": many[0]})
    await at.page.wait_for_function(
        "() => document.querySelectorAll('.scroll tbody').length === 400"
    )
    await at.page.evaluate(
        """() => {
          window.__touched = 0;
          new MutationObserver((all) => {
            for (const one of all) {
              window.__touched += one.addedNodes.length + one.removedNodes.length;
              window.__touched += one.type === "childList" ? 0 : 1;
            }
          }).observe(document.querySelector(".scroll table"),
            { subtree: true, childList: true, attributes: true, characterData: true });
        }"""
    )
    new = many[0] | {"place": 401}
    await at.show(doc, readings=[new, *many[:-1]], last=new)
    assert await at.texts(".scroll tbody:first-of-type .reading") == ["7.951 mm"]
    assert await at.page.evaluate("window.__touched") == 2  # one row came, one went


async def test_every_part_has_a_line_drawing_with_the_place_marked(at):
    await at.open()
    for part in ("stem", "guide", "rock", "stand-down", "spring", "face", "other"):
        await at.show(web_sample.state(part))
        assert await at.page.locator("part-drawing :is(.blue, .blue-fill)").count() > 0
        label = await at.page.get_attribute("part-drawing", "aria-label")
        assert label == f"line drawing: {web_sample.next_step(part)['words']}"
        words = await at.texts("next-step")
        assert web_sample.next_step(part)["limit_words"] in words[0]
