"""The bench page is worked with: actions, reasons, pedal, theme, a lost line, hostile texts."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
import web_sample
from web_browser import Bench, open_bench

from gaugelink.web import Server
from gaugelink.web.files import KINDS

if TYPE_CHECKING:
    from collections.abc import AsyncIterator


pytestmark = pytest.mark.anyio


@pytest.fixture(scope="module")
async def bench(browser) -> AsyncIterator[Bench]:
    async with open_bench(browser) as opened:
        yield opened


@pytest.fixture
async def at(bench) -> AsyncIterator[Bench]:
    """The one page; clean at the end of every test."""
    bench.complaints.clear()
    bench.expected = None
    bench.requests.clear()
    await bench.page.emulate_media(color_scheme="light")
    yield bench
    await bench.check_clean()


async def ready(at: Bench) -> None:
    """Wait until the bar takes the next touch, after the lock against a bouncing glove."""
    await at.page.wait_for_selector("action-bar button:has-text('Step back'):not(:disabled)")


# ------------------------------------------------------------------------------------- actions


async def test_a_skip_asks_for_its_reason_and_posts_it(at):
    await at.open()
    await at.page.click("text=Skip…")
    go = "dialog button[type=submit]"
    assert await at.page.is_disabled(go)
    await at.page.click("text=part is missing")
    await at.page.click(go)
    await at.page.wait_for_selector(".answer:has-text('Done.')")
    assert at.asked == [{"do": "skip", "reason": "part is missing"}]
    await ready(at)
    await at.page.click("text=Skip…")
    assert await at.page.is_disabled(go), "the reason of the last time may not be taken over"
    await at.page.fill("dialog input", "  keeper groove is broken ")
    await at.page.keyboard.press("Enter")
    await ready(at)
    assert at.asked[1:] == [{"do": "skip", "reason": "keeper groove is broken"}]
    await at.page.click("text=Skip…")
    await at.page.click("text=Leave it")
    await at.page.wait_for_selector("dialog", state="hidden")
    assert len(at.asked) == 2


async def test_every_button_posts_what_it_says(at):
    await at.open()
    for press, reason, wanted in (
        ("Take reading", "", {"do": "take", "gauge": "M1"}),
        ("Step back", "", {"do": "back"}),
        ("Retake…", "part was warm", {"do": "retake", "reason": "part was warm"}),
        (
            "Strike out last…",
            "gauge slipped",
            {
                "do": "strike-out",
                "place": web_sample.state()["last"]["place"],
                "reason": "gauge slipped",
            },
        ),
    ):
        await ready(at)
        at.asked.clear()
        await at.page.click(f"action-bar button:has-text('{press}')")
        if reason:
            await at.page.click(f"text={reason}")
            await at.page.click("dialog button[type=submit]")
        await at.page.wait_for_selector(".answer:has-text('Done.')")
        assert at.asked == [wanted]


async def test_a_gauge_with_its_own_button_is_not_taken_from_the_page(at):
    await at.open()
    state = web_sample.state()
    await at.show(state, next={**state["next"], "own_button": True})
    await at.page.wait_for_selector('action-bar button:has-text("Press the gauge\'s button")')
    assert await at.page.is_disabled("text=Press the gauge's button")
    await at.page.evaluate("document.querySelector('action-bar').accept()")  # what a pedal does
    await at.show(state)
    await at.page.click("text=Take reading")
    await at.page.wait_for_selector(".answer:has-text('Done.')")
    assert at.asked == [{"do": "take", "gauge": "M1"}]  # once, and not before


async def test_hands_free_is_switched_on_and_off_and_says_which(at):
    await at.open()
    for watching, wanted in ((False, True), (True, False)):
        await ready(at)
        at.asked.clear()
        await at.show(web_sample.state(), watching=watching)
        word = "on" if watching else "off"
        await at.page.wait_for_selector(f"action-bar button:has-text('Hands free: {word}')")
        pressed = at.page.locator("action-bar button:has-text('Hands free')")
        assert await pressed.get_attribute("aria-pressed") == str(watching).lower()
        await pressed.click()
        await at.page.wait_for_selector(".answer:has-text('Done.')")
        assert at.asked == [{"do": "watch", "on": wanted}]


async def test_a_sweep_is_started_and_stopped_by_one_button(at):
    await at.open(web_sample.state("rock"))
    assert await at.page.is_disabled("text=Take reading")
    await at.page.click("text=Start sweep")
    await at.page.wait_for_selector(".answer:has-text('Done.')")
    await at.show(web_sample.sweep_state(2))
    await at.page.click("text=Stop sweep")
    await at.page.wait_for_function(
        "() => document.querySelector('.answer').textContent === 'Done.'"
    )
    assert [one["do"] for one in at.asked] == ["sweep-start", "sweep-stop"]
    for other in ("Step back", "Skip…", "Retake…", "Strike out last…"):
        assert await at.page.is_disabled(f"action-bar button:has-text('{other}')")


async def test_a_row_opens_with_all_that_is_known_and_can_be_struck_out(at):
    doc = web_sample.finished_state()
    one = next(reading for reading in doc["readings"] if reading["place"] == 9)
    await at.open(doc)
    row = "tbody[data-place='9']"
    await at.page.click(f"{row} td.what")
    await at.page.wait_for_selector(f"{row} dl")
    facts = await at.texts(f"{row} dd")
    assert facts == ["9", one["gauge"], one["operator"], one["utc"], one["raw"]]
    await at.page.click(f"{row} button:has-text('Strike out')")
    await at.page.click("text=wrong valve")
    await at.page.click("dialog button[type=submit]")
    await at.page.wait_for_selector(".answer:has-text('Done.')")
    assert at.asked == [{"do": "strike-out", "place": 9, "reason": "wrong valve"}]
    await at.page.click(f"{row} .valve button")
    await at.page.wait_for_selector(f"{row} dl", state="detached")


async def test_what_lies_in_the_tray_is_given_to_the_step_asked_now(at):
    doc = web_sample.finished_state() | {"next": web_sample.next_step("stem"), "finished": False}
    await at.open(doc)
    await at.page.click(".tray button:has-text('Give to the step asked now')")
    await at.page.click("text=it belongs to this step")
    await at.page.click("dialog button[type=submit]")
    await at.page.wait_for_selector(".answer:has-text('Done.')")
    reason = "it belongs to this step"
    assert at.asked == [{"do": "assign", "place": 140, "step": 84, "reason": reason}]


async def test_a_full_tray_does_not_push_the_readings_away(at):
    """A button was pressed again and again while something else was asked for."""
    doc = web_sample.question_state()
    [one] = doc["tray"]
    await at.open(doc)
    high = "readings-table .tray"
    before = (await at.page.locator(high).bounding_box())["height"]
    doc["tray"] = [one | {"place": 200 - number} for number in range(40)]
    doc["tray_count"] = 640
    await at.open(doc)
    assert (await at.texts(f"{high} h2"))[0].startswith("Tray, 640, of which the newest 40: ")
    assert (await at.page.locator(high).bounding_box())["height"] < before + 250
    assert await at.page.locator(f"{high} tbody").count() == 40
    last = at.page.locator(f"{high} tbody[data-place='161'] button:has-text('Strike out')")
    await last.scroll_into_view_if_needed()
    assert await last.is_visible()


async def test_the_reason_of_a_value_in_the_tray_has_most_of_the_width(at):
    await at.open(web_sample.question_state())
    tray = await at.page.locator(".tray").bounding_box()
    words = await at.page.locator(".tray td.what").bounding_box()
    assert words["width"] > 0.45 * tray["width"]


@pytest.mark.parametrize("station", ["top", "middle", "bottom"])
async def test_the_name_of_a_station_stands_clear_of_the_plan_beside_it(at, station):
    step = web_sample.next_step("stem") | {"station": station, "direction": "across"}
    await at.open(web_sample.state() | {"next": step})
    name, plan = await at.page.evaluate("""() => {
      const names = [...document.querySelectorAll("next-step svg text.strong")];
      const box = (one) => one.getBBox();
      const tip = [...document.querySelectorAll("next-step svg g path.thin")].at(-1);
      return [box(names[0]).x + box(names[0]).width, box(tip).x];
    }""")
    assert name < plan


async def test_a_refusal_is_shown_in_the_words_of_the_bench(at):
    await at.open()
    at.expected = "409"
    at.answer = (409, {"ok": False, "words": "M1 shows <b>MAX</b>; change it at the gauge."})
    await at.page.click("text=Take reading")
    await at.page.wait_for_selector(".answer:has-text('Not done: M1 shows <b>MAX</b>;')")


PEDAL = """deeds => {
  for (const deed of deeds) {
    const [kind, repeats] = deed.split(" ");
    const more = { key: "F8", bubbles: true, cancelable: true, repeat: repeats !== undefined };
    document.body.dispatchEvent(new KeyboardEvent(`key${kind}`, more));
  }
}"""


async def pedal(at, *deeds: str) -> None:
    """Step on the pedal and leave it, all at one moment, however busy the machine is."""
    await at.page.evaluate(PEDAL, deeds)


async def asked(at) -> None:
    """Wait until something has been asked of the bench."""
    while not at.asked:
        await at.page.wait_for_timeout(1)


async def test_a_pedal_that_is_held_down_asks_for_the_last_reading_again_and_once(at):
    await at.open()
    await pedal(at, "down", "up", "down")  # the contact bounces as the foot comes down
    await at.page.wait_for_selector(".answer:has-text('Done.')")
    await pedal(at, "down repeats", "up")
    await ready(at)
    assert at.asked == [{"do": "retake", "reason": "foot pedal"}]


async def test_a_pedal_whose_end_is_not_heard_of_does_nothing(at):
    """Another window came in front while it was down."""
    await at.open()
    await pedal(at, "down")
    await at.page.evaluate("dispatchEvent(new Event('blur'))")
    await pedal(at, "up")
    await at.page.click("text=Step back")
    await ready(at)
    assert at.asked == [{"do": "back"}]


async def test_the_pedal_accepts_once_however_often_its_key_comes_and_steps_back(at):
    await at.open()
    await pedal(at, "down", "down repeats", "down repeats", "up")  # held down, the key repeats
    await asked(at)
    await ready(at)
    assert at.asked == [{"do": "take", "gauge": "M1"}]
    at.asked.clear()
    await pedal(at, "down", "up", "down", "up", "down", "up")  # the contact bounces
    await asked(at)
    await ready(at)
    assert at.asked == [{"do": "take", "gauge": "M1"}]
    await at.page.keyboard.press("F9")
    await ready(at)
    assert at.asked[1:] == [{"do": "back"}]
    await at.page.click("text=Skip…")
    await at.page.keyboard.press("F8")
    await at.page.click("text=Leave it")
    assert len(at.asked) == 2


# ---------------------------------------------------------------------------------- lost, theme


async def test_a_lost_line_is_told_once_and_the_page_comes_back_by_itself(browser):
    async with open_bench(browser) as at:
        await at.open()
        await at.page.evaluate(
            """() => {
              window.__told = [];
              const spoken = document.querySelector("link-banner [role=alert]");
              new MutationObserver(() => window.__told.push(spoken.textContent))
                .observe(spoken, { childList: true });
            }"""
        )
        port = int(at.server.url.rsplit(":", 1)[1].strip("/"))
        await at.server.stop()
        await at.page.wait_for_selector("link-banner[data-up=false]:has-text('No connection')")
        assert await at.page.get_attribute("live-value", "data-stale") == ""
        assert await at.texts(".live-note") == ["not live: no connection to the bench"]
        assert await at.page.locator("action-bar button:not(:disabled)").count() == 0
        live = await at.page.eval_on_selector(
            ".live-text", "one => getComputedStyle(one).textDecorationLine"
        )
        assert live == "line-through"
        # the browser tries in vain at least once before the bench is back
        await at.page.wait_for_event("requestfailed")
        again = Server(at.server._app, port=port)
        await again.start()
        await at.page.wait_for_selector("link-banner[data-up=true]:has-text('Connected again')")
        assert await at.page.get_attribute("live-value", "data-stale") is None
        await ready(at)
        told = await at.page.evaluate("window.__told.map(words => words.slice(0, 13))")
        assert told == ["No connection", "Connected aga"]
        assert [line for line in at.complaints if "ERR_" not in line] == []
        await again.stop()


async def test_the_theme_follows_the_system_until_it_is_chosen_and_is_remembered(at):
    paper = "() => getComputedStyle(document.body).backgroundColor"
    await at.open()
    light = await at.page.evaluate(paper)
    await at.page.emulate_media(color_scheme="dark")
    dark = await at.page.evaluate(paper)
    assert light != dark
    await at.page.click("button:has-text('Light')")
    assert await at.page.evaluate(paper) == light
    await at.open()  # a new visit
    assert await at.page.evaluate(paper) == light
    await at.page.click("button:has-text('Dark')")  # as the system has it: follows it again
    await at.open()
    assert await at.page.evaluate(paper) == dark
    await at.page.emulate_media(color_scheme="light")
    assert await at.page.evaluate(paper) == light


def luminance(colour: str) -> float:
    """WCAG 2.2, definition of relative luminance."""
    parts = [int(part) / 255 for part in re.findall(r"\d+", colour)[:3]]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


@pytest.mark.parametrize("theme", ["light", "dark"])
async def test_words_stand_out_from_their_ground(at, theme):
    """WCAG 2.2, success criterion 1.4.3, level AA: 4.5 to 1, and 3 to 1 for the large figure that
    is greyed.
    """  # noqa: D205 - one sentence
    await at.page.emulate_media(color_scheme=theme)
    await at.open()
    colours: dict[str, str] = await at.page.evaluate(
        """() => {
          const probe = document.body.appendChild(document.createElement("i"));
          const names = ["ink", "soft", "blue", "stale", "paper", "sheet", "on-blue", "blue-wash"];
          return Object.fromEntries(names.map((name) => {
            probe.style.color = `var(--${name})`;
            return [name, getComputedStyle(probe).color];
          }));
        }"""
    )

    def contrast(one: str, other: str) -> float:
        a, b = sorted((luminance(colours[one]), luminance(colours[other])), reverse=True)
        return (a + 0.05) / (b + 0.05)

    grounds = ("paper", "sheet", "blue-wash")
    pairs = [(ink, ground) for ink in ("ink", "soft", "blue") for ground in grounds]
    for ink, ground in [*pairs, ("on-blue", "blue")]:
        assert contrast(ink, ground) >= 4.5, (ink, ground)
    assert contrast("stale", "sheet") >= 3


# --------------------------------------------------------------------------- texts, names, pages


@pytest.mark.parametrize(
    "text",
    [
        "<img src=x onerror=alert(1)><b>bold</b>&amp;<script>alert(2)</script>",
        "a\u202eb\u0000c\u2028d\ndata: {}\n\nevent: live",
        "W" * 600,
    ],
)
async def test_a_hostile_text_is_shown_as_text_and_moves_nothing_out_of_its_place(at, text):
    await at.open(web_sample.hostile_state(text))
    await at.page.wait_for_selector(".plot .main-svg")
    await at.page.click("tbody[data-place='88'] td.what")
    await at.page.wait_for_selector("tbody[data-place='88'] dl")
    for place in ("next-step bdi", "last-reading bdi", ".sweep-words bdi", ".what-words", "dd bdi"):
        shown = await at.texts(place)
        assert any(text.replace("\u0000", "") in one.replace("\u0000", "") for one in shown), place
    made = await at.page.evaluate(
        "() => document.querySelectorAll('img, body b, body script, iframe, object').length"
    )
    assert made == 0
    plot = "".join(await at.texts(".plot text"))
    assert plot, "the plot has texts of its own"
    assert text[:8] not in plot
    for width in (1920, 1280):
        await at.page.set_viewport_size({"width": width, "height": 800})
        wide = await at.page.evaluate("() => document.documentElement.scrollWidth")
        assert wide <= width


async def test_everything_that_can_be_touched_has_a_name_and_is_large_enough_for_a_glove(at):
    """44 CSS pixels or more: WCAG 2.2, success criterion 2.5.5 (level AAA), target size."""
    await at.open(web_sample.finished_state())
    await at.page.click("tbody[data-place='9'] td.what")
    await at.page.wait_for_selector("tbody[data-place='9'] dl")
    found: list[dict[str, Any]] = await at.page.eval_on_selector_all(
        "button, [role=button], input, a[href]",
        """all => all.filter(one => one.getClientRects().length).map(one => ({
          name: one.getAttribute("aria-label") ?? one.textContent.trim(),
          wide: one.getBoundingClientRect().width,
          high: one.getBoundingClientRect().height,
        }))""",
    )
    assert len(found) > 20 + len(web_sample.VALVES)
    for one in found:
        assert one["name"], one
        assert min(one["wide"], one["high"]) >= 44, one


async def test_real_jobs_are_not_marked_as_invented_and_invented_ones_are(at):
    doc = web_sample.state()
    await at.open(doc)
    assert await at.page.is_visible("text=Invented demonstration data")
    await at.show(doc, job=doc["job"] | {"invented": False})
    assert await at.page.is_hidden("text=Invented demonstration data")


async def test_the_foot_of_the_page_says_what_it_rests_on_and_who_decides(at):
    await at.open()
    foot = (await at.texts("title-block"))[0]
    assert "the engine maker's manual decides; a person releases the head" in foot
    assert "88 entries, root 9f2c9f2c9f2c9f2c…" in foot
    assert "edition 2" in foot


async def test_every_page_that_ships_opens_without_a_complaint(at):
    """Pages are found by looking, so that a new one cannot be forgotten."""
    pages = sorted(web_sample.DASHBOARDS.rglob("*.html"))
    assert len(pages) >= 1
    for page in pages:
        at.hub.publish_state(web_sample.state())
        path = page.relative_to(web_sample.DASHBOARDS).as_posix()
        answer = await at.page.goto(at.server.url + path)
        assert answer is not None
        assert answer.status == 200
        assert await at.page.title()
    files = [file for file in web_sample.DASHBOARDS.rglob("*") if file.is_file()]
    assert len(files) > 25
    assert {file.suffix for file in files} <= set(KINDS), "this would never be served"


async def test_the_page_in_the_guide_works_as_printed(browser, tmp_path):
    """docs/pages.md: the smallest page, in a folder of a shop's own before ours."""
    guide = (Path(__file__).parents[1] / "docs" / "pages.md").read_text(encoding="utf-8")
    (page,) = re.findall(r"```html\n(.*?)```", guide, re.DOTALL)
    (module,) = re.findall(r"```js\n(.*?)```", guide, re.DOTALL)
    (tmp_path / "wall.html").write_text(page, encoding="utf-8")
    (tmp_path / "wall.js").write_text(module, encoding="utf-8")
    async with open_bench(browser, folders=[tmp_path, web_sample.DASHBOARDS]) as at:
        await at.page.goto(f"{at.server.url}wall.html")
        await at.page.wait_for_function("() => document.querySelector('.figure') !== null")
        while not len(at.hub):
            await at.page.wait_for_timeout(1)
        at.hub.publish_live({"gauge": "M1", "text": "7.965", "unit": "mm", "mode": "actual"})
        await at.page.wait_for_selector(".figure:has-text('M1: 7.965 mm')")
        await at.check_clean()
