"""On the page a person looks, signs and releases; what blocks leads where it is put right."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
import release_sample
import web_sample
from bench_kit import running
from release_shape import release_shape
from view_kit import measure_all
from view_shapes import Maybe, check
from web_browser import Bench, open_bench

from gaugelink.capture.actions import act
from gaugelink.deeds import DoWork

if TYPE_CHECKING:
    from collections.abc import AsyncIterator


pytestmark = pytest.mark.anyio

PAGE = """\
<!doctype html>
<html lang="en">
  <head>
    <meta charset="utf-8" />
    <title>Release</title>
    <meta name="viewport" content="width=device-width, initial-scale=1" />
    <link rel="icon" href="common/icon.svg" type="image/svg+xml" />
    <link rel="stylesheet" href="common/look.css" />
    <link rel="stylesheet" href="bench/record.css" />
    <link rel="stylesheet" href="decide/release-panel.css" />
    <script src="common/early.js"></script>
    <script type="module" src="only-release.js"></script>
  </head>
  <body><release-panel></release-panel><title-block></title-block></body>
</html>
"""
SCRIPT = """\
import { TitleBlock } from "./bench/title-block.js";
import { listen } from "./common/stream.js";
import { ReleasePanel } from "./decide/release-panel.js";
const [panel] = document.getElementsByTagName("release-panel");
const [block] = document.getElementsByTagName("title-block");
const whole = panel instanceof ReleasePanel && block instanceof TitleBlock;
if (!whole) { throw new Error("parts"); }
listen({ state: (now) => { panel.show(now); block.show(now); }, live: () => {},
         link: (up) => panel.link(up) });
"""


@pytest.fixture
async def at(browser, tmp_path) -> AsyncIterator[Bench]:
    """The panel on a page of its own."""
    (tmp_path / "only-release.html").write_text(PAGE, encoding="utf-8")
    (tmp_path / "only-release.js").write_text(SCRIPT, encoding="utf-8")
    async with open_bench(browser, (tmp_path, web_sample.DASHBOARDS)) as opened:
        yield opened
        await opened.check_clean()


async def show(at: Bench, release) -> None:
    check(release, release_shape(Maybe))
    at.asked.clear()
    at.hub.publish_state(web_sample.state() | {"release": release})
    await at.page.goto(f"{at.server.url}only-release.html")
    await at.page.wait_for_selector("inspection-grid button.cell")


def cell_of(valve: str, name: str) -> str:
    return f"inspection-grid button.cell[aria-label^='{valve} {name}:']"


async def answered(at: Bench) -> None:
    await at.page.wait_for_selector("release-panel .answer:has-text('Done.')")


async def test_what_stands_against_it_is_listed_and_the_button_says_why_it_cannot_be_pressed(at):
    await show(at, release_sample.blocked())
    assert await at.texts(".release-sentence") == ["Not released; 16 things stand against it."]
    assert await at.page.is_disabled(".release-go button.main")
    assert await at.texts("#release-why") == ["Not yet: 16 things stand against it."]
    assert await at.page.get_attribute(".release-go button.main", "aria-describedby") == (
        "release-why"
    )
    assert await at.texts(".against h4") == [
        "Condemned (1)", "Outside its limit (1)", "Stale after work (2)", "Not measured (2)",
        "Zero checks (1)", "Not looked at (9)",
    ]  # fmt: skip
    assert (await at.texts(".against li > bdi"))[2] == (
        "4I stand-down: stale after seat cut; measure again"
    )


async def test_a_line_leads_to_the_step_where_it_is_measured(at):
    await show(at, release_sample.blocked())
    await at.page.click("[aria-label='Measure 4I tip height']")
    await at.page.wait_for_url(at.server.url)
    assert at.asked == [{"do": "go", "step": 110}]


async def test_a_step_that_cannot_be_gone_to_stays_here_and_says_why(at):
    await show(at, release_sample.blocked())
    at.answer = (409, {"ok": False, "words": "there is no such step"})
    at.expected = "409"
    zero = "zero check of the depth gauge, after stand-down"
    await at.page.click(f"[aria-label='Check zero {zero}']")
    await at.page.wait_for_selector(".answer:has-text('there is no such step')")
    assert at.page.url.endswith("only-release.html")


async def test_a_touch_ticks_what_was_not_looked_at(at):
    await show(at, release_sample.blocked())
    await at.page.fill("[aria-label='Looked at by'] >> nth=0", " B. T. ")
    await at.page.click(cell_of("3I", "collets seated"))
    await answered(at)
    await at.page.click(cell_of("4I", "seat"))
    assert at.asked == [
        {"do": "inspect", "check": name, "valves": [valve], "sound": True, "words": "",
         "by": "B. T."}
        for valve, name in (("3I", "collets seated"), ("4I", "seat"))
    ]  # fmt: skip


async def test_a_touch_on_what_is_sound_asks_first(at):
    await show(at, release_sample.blocked())
    await at.page.click(cell_of("1E", "valve"))
    assert await at.texts("#look-title") == ["Valve"]
    assert await at.texts("look-dialog .known li") == ["1E sound, by B. T."]
    assert await at.page.is_disabled("look-dialog >> text=Condemned")
    await at.page.fill("look-dialog [aria-label^='What is wrong']", "face burnt")
    await at.page.click("look-dialog button:text-is('Condemned')")
    await answered(at)
    assert at.asked == [{"do": "inspect", "check": "valve", "valves": ["1E"], "sound": False,
                         "words": "face burnt", "by": ""}]  # fmt: skip


async def test_a_row_is_told_at_once_for_all_that_is_open(at):
    await show(at, release_sample.blocked())
    await at.page.click("inspection-grid .row-name:has-text('collets seated')")
    await at.page.click("look-dialog .which button:has-text('6E')")
    await at.page.click("look-dialog button:text-is('Sound')")
    await answered(at)
    assert at.asked[0]["valves"] == [
        name for name in release_sample.VALVES[4:] if name != "6E"
    ]  # fmt: skip


async def test_what_was_ticked_by_mistake_is_taken_back_with_a_reason(at):
    await show(at, release_sample.blocked())
    await at.page.click(cell_of("1I", "collets seated"))
    assert await at.page.is_disabled("look-dialog >> text='Take back'")
    await at.page.fill("look-dialog [aria-label^='What is wrong']", "another head")
    words = (await at.texts("look-dialog p.soft"))[1]
    assert "all that was told at once: 1I, 1E, 2I, 2E" in words
    await at.page.click("look-dialog >> text='Take back'")
    await answered(at)
    assert at.asked == [{"do": "strike-out", "place": 140, "reason": "another head"}]


async def test_the_head_is_looked_at_as_a_whole(at):
    await show(at, release_sample.blocked(checks=release_sample.checks()))
    await at.page.click("inspection-grid button.cell[aria-label^='crack test:']")
    await answered(at)
    assert (at.asked[0]["check"], at.asked[0]["valves"]) == ("crack test", [])
    await at.page.click("inspection-grid .row-name:has-text('head face')")
    assert await at.page.is_hidden("look-dialog .which")
    await at.page.click("look-dialog button:text-is('Sound')")
    assert (at.asked[1]["check"], at.asked[1]["valves"]) == ("head face", [])


async def test_a_deviation_needs_a_name_and_a_reason_and_is_for_this_value(at):
    await show(at, release_sample.blocked())
    await at.page.click("[aria-label='Sign… 3E stand-down']")
    go = "sign-dialog button[type=submit]"
    assert await at.page.is_disabled(go)
    await at.page.fill("sign-dialog [aria-label=Name]", "C. Invented")
    assert await at.page.is_disabled(go)
    await at.page.fill("sign-dialog [aria-label=Reason]", "  ")
    assert await at.page.is_disabled(go)
    await at.page.fill("sign-dialog [aria-label=Reason]", "pistons leave room")
    await at.page.press("sign-dialog [aria-label=Reason]", "Enter")
    await answered(at)
    assert at.asked == [
        {"do": "deviation", **release_sample.SIGN, "by": "C. Invented",
         "reason": "pistons leave room"}
    ]  # fmt: skip


async def test_a_surprise_is_measured_again_or_accepted_by_name(at):
    sign = release_sample.SIGN | {"limit": "expected 1.42 mm after seat cut 0.15 mm"}
    why = "seat cut 0.15 mm was told, it moved by 0.23 mm; measure it once more"
    one = release_sample.row(["3E"], "stand-down", why, 97, sign)
    group = release_sample.group("surprise", "Surprises that nothing explains yet", one)
    await show(at, release_sample.ready(count=1, groups=[group]))
    await at.page.click("[aria-label='Accept… 3E stand-down']")
    assert await at.texts("#sign-title") == ["Accept a surprise"]
    await at.page.fill("sign-dialog [aria-label=Name]", "C. Invented")
    await at.page.fill("sign-dialog [aria-label=Reason]", "dial was misread")
    await at.page.click("sign-dialog button[type=submit]")
    await answered(at)
    await at.page.click("[aria-label='Measure again 3E stand-down']")
    await at.page.wait_for_url(at.server.url)
    assert at.asked == [
        {"do": "deviation", **sign, "by": "C. Invented", "reason": "dial was misread"},
        {"do": "go", "step": 97},
    ]


async def test_a_doubtful_series_is_taken_back_whole_or_its_check_struck_out(at):
    row = release_sample.row(["1I", "2I"], "stand-down", "measured before a zero check", 97,
                             strike=12, gauge="T1")  # fmt: skip
    group = release_sample.group("doubtful", "Doubtful: the zero was off", row, count=2)
    await show(at, release_sample.ready(count=2, groups=[group]))
    await at.page.click("[aria-label='All of it again 1I, 2I stand-down']")
    await answered(at)
    await at.page.click("[aria-label='The check was wrong… 1I, 2I stand-down']")
    assert await at.page.is_disabled("sign-dialog button[type=submit]")
    await at.page.fill("sign-dialog [aria-label=Reason]", "the plate was dirty")
    await at.page.click("sign-dialog button[type=submit]")
    await at.page.wait_for_function("() => !document.querySelector('dialog[open]')")
    await answered(at)
    assert at.asked == [
        {"do": "work", "operation": "gauge found out", "valves": [], "depth": "", "by": "",
         "gauge": "T1"},
        {"do": "strike-out", "place": 12, "reason": "the plate was dirty"},
    ]  # fmt: skip


async def test_the_head_is_released_by_name_for_the_record_as_it_was_seen(at):
    await show(at, release_sample.ready())
    assert await at.page.is_hidden(".group")
    await at.page.click(".release-go button.main")
    assert await at.page.is_disabled("sign-dialog button[type=submit]")
    about = " ".join(await at.texts("sign-dialog .about"))
    assert "does not replace a qualified person" in about
    assert "licensed release" in about
    await at.page.fill("sign-dialog [aria-label=Name]", "C. Invented")
    await at.page.click("sign-dialog button[type=submit]")
    await answered(at)
    assert at.asked == [
        {
            "do": "release",
            "by": "C. Invented",
            "words": "",
            "seen": web_sample.state()["record"]["size"],
        }
    ]


async def test_a_release_and_a_deviation_are_taken_back_with_a_reason(at):
    await show(at, release_sample.released())
    assert await at.page.is_hidden(".release-go button.main")
    await at.page.click("text=Take the release back…")
    await at.page.fill("sign-dialog [aria-label=Reason]", "wrong head")
    await at.page.click("sign-dialog button[type=submit]")
    await answered(at)
    await at.page.click("[aria-label='Take back… 3E stand-down 1.63 mm']")
    assert await at.page.is_hidden("sign-dialog [aria-label=Name]")
    await at.page.fill("sign-dialog [aria-label=Reason]", "customer refused")
    await at.page.click("sign-dialog button[type=submit]")
    assert at.asked == [
        {"do": "strike-out", "place": 160, "reason": "wrong head"},
        {"do": "strike-out", "place": 150, "reason": "customer refused"},
    ]


async def test_a_signature_that_holds_no_longer_says_so_and_offers_nothing(at):
    void = release_sample.deviation(state="void", why="the readings are others now")
    struck = release_sample.deviation(place=151, state="struck out", why="by mistake")
    await show(at, release_sample.ready(deviations=[void, struck]))
    texts = await at.texts(".signed li")
    assert texts[0].endswith("pistons leave room (void: the readings are others now)")
    assert texts[1].endswith("(struck out: by mistake)")
    assert await at.page.query_selector(".signed button") is None


async def test_states_are_told_by_shape_and_word(at):
    again = release_sample.cell("2I", "look again", "B. T.", "before this work: seat cut", 1)
    bad = release_sample.cell("3I", "condemned", "B. T.", "pitted", 2)
    good = release_sample.cell("1E", "sound", "B. T.", "", 3)
    known = {"seat": {"2I": again, "3I": bad, "1E": good}}
    await show(at, release_sample.blocked(checks=release_sample.checks(**known)))
    shapes = {}
    for valve, state in (("1I", "not looked at"), ("2I", "look again"), ("3I", "condemned"),
                         ("1E", "sound")):  # fmt: skip
        button = cell_of(valve, "seat")
        assert state in (await at.page.get_attribute(button, "aria-label") or "")
        shapes[state] = await at.page.eval_on_selector(
            f"{button} svg", "one => [...one.children].map(part => part.outerHTML).join()"
        )
    assert len(set(shapes.values())) == 4
    legend = await at.texts(".legend li")
    assert legend == ["not looked at", "sound", "condemned", "look again, work since"]


async def test_the_grid_is_one_stop_of_the_tab_key_and_the_arrows_walk_in_it(at):
    await show(at, release_sample.blocked())
    assert len(await at.page.query_selector_all("button.cell[tabindex='0']")) == 1
    focused = "document.activeElement.getAttribute('aria-label')"
    await at.page.focus(cell_of("1I", "valve"))
    for key, wanted in (("ArrowRight", "1E valve"), ("ArrowDown", "1E guide"),
                        ("ArrowLeft", "1I guide"), ("ArrowLeft", "1I guide"),
                        ("ArrowUp", "1I valve"), ("ArrowUp", "1I valve")):  # fmt: skip
        await at.page.keyboard.press(key)
        assert (await at.page.evaluate(focused)).startswith(f"{wanted}:")
    await at.page.focus(cell_of("6E", "leak test"))
    await at.page.keyboard.press("ArrowDown")
    assert (await at.page.evaluate(focused)).startswith("head face:")
    await at.page.keyboard.press("Enter")
    await at.page.wait_for_selector("look-dialog dialog[open]")
    await at.page.keyboard.press("Escape")
    assert await at.page.is_hidden("look-dialog dialog")


async def test_a_state_that_changes_moves_nothing_above_it_and_keeps_the_focus(at):
    await show(at, release_sample.blocked())
    await at.page.focus(cell_of("3I", "collets seated"))
    table = await at.page.query_selector("inspection-grid table")
    assert table is not None
    before = await table.bounding_box()
    grid = release_sample.blocked()["checks"]
    grid[4]["cells"][4] = release_sample.cell("3I", "sound", "B. T.", "", 141)
    doc = release_sample.blocked(checks=grid, count=15, sentence="not released; 15 left.")
    await at.show(web_sample.state(), release=doc)
    assert await table.bounding_box() == before
    focused = await at.page.evaluate("document.activeElement.getAttribute('aria-label')")
    assert focused == "3I collets seated: sound, by B. T."


async def test_nothing_is_released_while_the_bench_does_not_answer(at):
    await show(at, release_sample.ready())
    assert await at.page.is_enabled(".release-go button.main")
    await at.page.eval_on_selector("release-panel", "panel => panel.link(false)")
    assert await at.page.is_disabled(".release-go button.main")
    assert await at.texts("#release-why") == ["The bench does not answer."]


async def test_hostile_texts_stay_texts(at):
    text = "<img src=x onerror=alert(1)>" + "W" * 200
    bad = release_sample.cell("1I", "condemned", text, text, 5)
    row = release_sample.row(["1I"], text, text, 3)
    doc = release_sample.blocked(
        sentence=text, deviations=[release_sample.deviation(reason=text, by=text)],
        groups=[release_sample.group("outside", "Outside", row)],
        checks=release_sample.checks(valve={"1I": bad}),
    )  # fmt: skip
    await show(at, doc)
    assert await at.page.query_selector("img") is None
    wide = await at.page.evaluate("document.documentElement.scrollWidth")
    assert wide <= 1280


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (360, 740)])
async def test_everything_fits_and_is_for_gloves(at, width: int, height: int):
    await at.page.set_viewport_size({"width": width, "height": height})
    await show(at, release_sample.blocked(deviations=[release_sample.deviation()]))
    assert await at.page.evaluate("document.documentElement.scrollWidth") <= width
    for button in await at.page.query_selector_all("release-panel button"):
        if (box := await button.bounding_box()) is not None:
            assert min(box["width"], box["height"]) >= 44, await button.text_content()
    for ask in ("[aria-label='Sign… 3E stand-down']", ".row-name >> nth=0"):
        await at.page.click(ask)
        for part in await at.page.query_selector_all("dialog[open] :is(button, input)"):
            if (box := await part.bounding_box()) is not None:
                assert box["x"] >= 0
                assert box["x"] + box["width"] <= width
                assert min(box["width"], box["height"]) >= 44
        await at.page.keyboard.press("Escape")


async def test_a_measured_head_is_looked_at_signed_and_released_on_the_page(at, tmp_path):
    """With a real bench behind it: what the page says is what the record holds."""
    async with running(tmp_path) as rig:
        rig.session.sheet = rig.sheet
        await measure_all(rig)
        view = rig.view()
        rig.audience.on_change = lambda: at.hub.publish_state(view.state())
        at.carry_out = lambda document: act(rig.bench, document)
        at.hub.publish_state(view.state())
        await at.page.goto(f"{at.server.url}only-release.html")
        sentence = "release-panel .release-sentence:has-text('{}')"
        await at.page.wait_for_selector(sentence.format("things stand against it"))
        await at.page.fill("inspection-grid input", "B. T.")
        for name in ("valve", "guide", "seat", "spring", "collets seated"):
            await at.page.click(f"inspection-grid .row-name:has-text('{name}')")
            await at.page.click("look-dialog button:text-is('Sound')")
            await at.page.wait_for_selector(f"{cell_of('1E', name)}[data-state=sound]")
        for name in ("head face", "crack test"):
            await at.page.click(f"inspection-grid button.cell[aria-label^='{name}:']")
        await at.page.wait_for_selector(sentence.format("1 thing stands against it"))
        await at.page.click("[aria-label='Sign… 1E stem diameter']")
        await at.page.fill("sign-dialog [aria-label=Name]", "C. D.")
        await at.page.fill("sign-dialog [aria-label=Reason]", "goes out with this engine only")
        await at.page.click("sign-dialog button[type=submit]")
        await at.page.wait_for_selector(sentence.format("nothing stands against it"))
        await at.page.click(".release-go button.main")
        assert await at.page.is_disabled("sign-dialog button[type=submit]"), "a name each time"
        await at.page.fill("sign-dialog [aria-label=Name]", "E. F.")
        await at.page.click("sign-dialog button[type=submit]")
        await at.page.wait_for_selector(sentence.format("by E. F."))
        assert rig.session.signoff.released
        (deviation,) = rig.session.signoff.deviations
        assert deviation[1].reason == "goes out with this engine only"
        await rig.bench.do(DoWork("seat cut", ("1I",)))
        await at.page.wait_for_selector(sentence.format("no longer, because: work since: seat cut"))
        rig.audience.on_change = lambda: None
