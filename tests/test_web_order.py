"""On the page that decides, a line of the work order says what to expect and what was found."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
import web_sample
from bench_kit import STAND_DOWN, running
from test_advising import SHEET, SHOP
from view_kit import measure_all, take
from view_shapes import ORDER, check

from gaugelink.commands.advising import Advisor
from gaugelink.deeds import DoWork
from gaugelink.quantity import parse_length

if TYPE_CHECKING:
    from web_browser import Bench

pytestmark = pytest.mark.anyio

WORDS = "seat cut 0.15 mm was told, it moved by 0.24 mm"


def figure(valve: str, name: str, expected: str, **more: Any) -> dict[str, Any]:
    return {"valve": valve, "figure": name, "expected": expected, "moved": "", "done": False,
            "found": "", "difference": "", "word": "", "words": ""} | more  # fmt: skip


def line(operation: str, words: str, owners: list[str], done: list[str],
         *figures: dict[str, Any]) -> dict[str, Any]:  # fmt: skip
    return {"operation": operation, "words": words, "depth": "0.150 mm",
            "owners": [{"name": name, "done": name in done} for name in owners],
            "finished": set(owners) == set(done), "told": "; ".join(f"{n}: A. N." for n in done),
            "figures": list(figures)}  # fmt: skip


def order(*lines: dict[str, Any]) -> dict[str, Any]:
    found = {"place": 90, "cost": "214.50 EUR", "standing": "the cheapest at these prices",
             "by": "C. Invented", "utc": "2026-11-25T10:12:00.000000Z",
             "lines": list(lines), "done": 2, "of": 5}  # fmt: skip
    check(found, ORDER)
    return found


def some(surprise: bool = True) -> dict[str, Any]:
    bad = {"found": "1.51 mm", "difference": "+0.090 mm", "word": "surprise", "words": WORDS}
    good = {"found": "1.43 mm", "difference": "+0.010 mm", "word": "as foretold"}
    return order(
        line("seat cut", "cut seat 0.150 mm (up to 0.210)", ["3E", "4I"], ["3E", "4I"],
             figure("3E", "stand-down", "1.420 mm", done=True, **(bad if surprise else good)),
             figure("3E", "tip height", "36.700 mm", done=True),
             figure("4I", "stand-down", "1.450 mm", done=True, moved="+0.030 mm", **good)),
        line("valve refaced", "grind valve face 0.040 mm", ["5E"], [],
             figure("5E", "margin", "1.210 mm")),
        line("valve replaced", "new valve", web_sample_valves(), [],
             *(figure(name, part, "7.955 to 7.970 mm") for name in web_sample_valves()
               for part in ("stem diameter", "guide clearance"))),
    )  # fmt: skip


def web_sample_valves() -> list[str]:
    return [valve["name"] for valve in web_sample.state()["head"]["valves"]]


async def show(at: Bench, doc: dict[str, Any]) -> None:
    at.asked.clear()
    at.hub.publish_state(web_sample.state() | {"order": doc})
    await at.page.goto(f"{at.server.url}decide.html")
    await at.page.wait_for_selector("order-panel .due li")


async def test_what_is_expected_stands_beside_what_was_found(at):
    await show(at, some(surprise=False))
    rows = await at.texts("order-panel .steps > li:first-child .due li")
    assert rows == [
        "3E stand-downexpected 1.420 mmfound 1.43 mm (+0.010 mm)",
        "3E tip heightexpected 36.700 mmnot measured since",
        "4I stand-downexpected 1.450 mm (+0.030 mm by the depth told)found 1.43 mm (+0.010 mm)",
    ]
    assert await at.texts("order-panel .steps > li:nth-child(2) .due li") == [
        "5E marginexpected 1.210 mm"
    ]
    assert await at.page.locator(".due .surprise:not(:empty)").count() == 0


async def test_a_surprise_is_marked_in_words_and_opens_its_line(at):
    await show(at, some())
    assert await at.texts("order-panel .due li[data-word=surprise] .surprise") == [
        f"surprise: {WORDS}"
    ]
    summaries = await at.texts("order-panel .due summary")
    assert summaries[0] == "Should then measure: 3, found: 2, surprises: 1"
    assert await at.page.locator("order-panel details.due").first.get_attribute("open") == ""


async def test_a_long_list_waits_for_a_touch_and_stays_as_it_was_put(at):
    await show(at, some(surprise=False))
    long = at.page.locator("order-panel details.due").nth(2)
    assert await long.get_attribute("open") is None
    await long.locator("summary").click()
    assert await long.get_attribute("open") == ""
    await at.show(web_sample.state() | {"order": some(surprise=False)})
    assert await long.get_attribute("open") == "", "a new state does not close it"


async def test_a_tick_changes_what_is_expected_at_once(at):
    await show(at, some(surprise=False))
    doc = some(surprise=False)
    doc["lines"][1]["figures"][0] |= {"expected": "1.190 mm", "moved": "-0.020 mm", "done": True}
    await at.show(web_sample.state() | {"order": doc})
    assert await at.texts("order-panel .steps > li:nth-child(2) .due li") == [
        "5E marginexpected 1.190 mm (-0.020 mm by the depth told)not measured since"
    ]


async def test_a_line_that_foretells_nothing_has_no_list(at):
    doc = some()
    doc["lines"][1]["figures"] = []
    await show(at, doc)
    assert await at.page.locator("order-panel details.due").nth(1).is_hidden()


@pytest.mark.parametrize("width", [1920, 1280, 360])
async def test_nothing_runs_out_of_the_page(at, width: int):
    await at.page.set_viewport_size({"width": width, "height": 900})
    await show(at, some())
    wide = await at.page.evaluate("document.documentElement.scrollWidth")
    assert wide <= width
    for part in await at.page.query_selector_all("order-panel .due li > :not(:empty)"):
        if (box := await part.bounding_box()) is not None:
            assert box["x"] + box["width"] <= width


async def test_with_a_real_bench_the_line_follows_the_work_and_the_reading(at, tmp_path):
    """The plan of the kit's head: a new valve at 1E, lapped about 0.005 mm; it stood at 1.12 mm."""
    async with running(tmp_path, sheet_text=SHEET) as rig:
        rig.session.sheet = rig.sheet
        await measure_all(rig)
        view = rig.view()
        advisor = Advisor(lambda: view, SHOP)
        _, plan = await advisor.ask({"about": "plan"})
        status, _ = await advisor.take({"do": "take-plan", "key": plan["key"]})
        assert status == 200
        at.hub.publish_state(view.state())
        await at.page.goto(f"{at.server.url}decide.html")
        lap = "order-panel .steps > li:nth-child(2) .due li"
        await at.page.wait_for_selector(lap)
        assert await at.texts(lap) == ["1E stand-downexpected 1.125 mm"]
        stem = await at.texts("order-panel .steps > li:nth-child(1) .due li")
        assert stem[0] == "1E stem diameterexpected 7.960 to 7.975 mm"

        await rig.bench.do(DoWork("valve replaced", ("1E",)))
        await rig.bench.do(DoWork("seat lapped", ("1E",), parse_length("0.012 mm")))
        at.hub.publish_state(view.state())
        await at.page.wait_for_selector(f"{lap}:has-text('expected 1.132 mm')")
        assert await at.texts(lap) == [
            "1E stand-downexpected 1.132 mm (+0.007 mm by the depth told)not measured since"
        ]
        await rig.bench.go(STAND_DOWN + 1)
        await take(rig, "D1", b" 1.15\r")
        at.hub.publish_state(view.state())
        await at.page.wait_for_selector(f"{lap}:has-text('found 1.15 mm')")
        assert (await at.texts(lap))[0].endswith("found 1.15 mm (+0.018 mm)")
