"""The capture field of the bench page, in a real Chromium.

Keys are made inside the page, one after the other without a pause or with one that a timer waits
for at least: so what is quick is quick and what is slow is slow, however busy the machine is.
"""

from __future__ import annotations

import pytest
import web_sample
from page_kit import typing_bench
from web_browser import Bench, open_bench

from gaugelink.capture.actions import act
from gaugelink.web import Server, make_app

pytestmark = pytest.mark.anyio

TYPE = """async ({ keys, pause }) => {
  for (const key of keys) {
    if (pause) await new Promise((done) => setTimeout(done, pause));
    const where = document.activeElement ?? document.body;
    const more = { key, bubbles: true, cancelable: true };
    const went = where.dispatchEvent(new KeyboardEvent("keydown", more));
    if (went && key === "Enter" && where instanceof HTMLButtonElement) where.click();
  }
}"""
"""Types into whatever has the focus; Enter presses a button, as a browser does."""


def typing_state():
    doc = web_sample.state()
    doc["gauges"][0]["port"] = "page:"
    return doc


async def typing(at: Bench, text: str, pause: int = 0) -> None:
    keys = [{"\n": "Enter", "\t": "Tab"}.get(letter, letter) for letter in text]
    await at.page.evaluate(TYPE, {"keys": keys, "pause": pause})


async def armed(at: Bench, *, so: bool = True) -> None:
    await at.page.wait_for_selector(f"capture-field[data-armed={'true' if so else 'false'}]")


async def test_without_such_a_gauge_there_is_no_field_and_keys_are_nobodys(at):
    await at.open()
    assert await at.page.is_hidden("capture-field")
    await typing(at, "G7.965\n")
    assert at.asked == []


async def test_the_field_holds_the_focus_and_sends_what_the_gauge_types_with_its_times(at):
    await at.open(typing_state())
    await armed(at)
    await typing(at, "G7.965\n")
    await at.page.wait_for_selector("capture-field [role=status]:has-text('Done.')")
    (asked,) = at.asked
    assert asked["do"] == "keys"
    assert [key for key, _ in asked["keys"]] == [*"G7.965", "Enter"]
    assert all(type(passed) is int and 0 <= passed < 1000 for _, passed in asked["keys"][1:])


async def test_the_pauses_of_a_person_are_sent_as_they_were(at):
    await at.open(typing_state())
    await armed(at)
    at.expected, at.answer = "409", (409, {"ok": False, "words": "typed by <b>a person</b>"})
    await typing(at, "G7.9\n", pause=60)
    await at.page.wait_for_selector("capture-field [role=alert]:has-text('<b>a person</b>')")
    (asked,) = at.asked
    assert all(passed >= 59 for _, passed in asked["keys"][1:])


async def test_keys_that_come_while_the_field_is_not_armed_are_not_taken_and_press_no_button(at):
    await at.open(typing_state())
    await armed(at)
    await at.page.focus("action-bar button:has-text('Take reading')")
    await armed(at, so=False)
    await typing(at, "G7.965\n")
    await at.page.wait_for_selector("capture-field [role=alert]:has-text('is not armed')")
    assert at.asked == []
    await at.page.click("capture-field .keys")
    await armed(at)
    await typing(at, "G7.965\n")
    await at.page.wait_for_selector("capture-field [role=status]:has-text('Done.')")
    assert len(at.asked) == 1


async def test_a_gauge_that_types_into_a_reason_is_told_and_sends_no_reason(at):
    await at.open(typing_state())
    await armed(at)
    await at.page.click("text=Skip…")
    await at.page.focus("dialog input")
    await typing(at, "dirt", pause=60)
    assert await at.texts("capture-field [role=alert]") == [""]
    await typing(at, "G7.965\n")
    assert "is not armed" in (await at.texts("capture-field [role=alert]"))[0]
    assert at.asked == []
    await at.page.click("text=Leave it")
    await armed(at)


async def test_a_touch_on_a_button_works_and_the_field_has_the_focus_back(at):
    await at.open(typing_state())
    await armed(at)
    await at.page.click("text=Take reading")
    await at.page.wait_for_selector(".answer:has-text('Done.')")
    await armed(at)
    assert at.asked == [{"do": "take", "gauge": "M1"}]


async def test_the_pedals_keys_go_on_working_while_the_field_has_the_focus(at):
    await at.open(typing_state())
    await armed(at)
    await at.page.keyboard.press("F8")
    await at.page.wait_for_selector(".answer:has-text('Done.')")
    assert at.asked == [{"do": "take", "gauge": "M1"}]


async def test_with_the_keyboard_alone_every_button_can_be_reached_and_pressed(at):
    await at.open(typing_state())
    await armed(at)
    await at.page.keyboard.press("Tab")
    await armed(at, so=False)
    await at.page.focus("action-bar button:has-text('Step back')")
    await at.page.keyboard.press("Enter")
    await at.page.wait_for_selector(".answer:has-text('Done.')")
    assert at.asked == [{"do": "back"}]
    assert await at.texts("capture-field [role=alert]") == [""]


async def test_keys_without_an_end_are_told_of(at):
    await at.open(typing_state())
    await armed(at)
    await typing(at, "G7.9")
    await at.page.wait_for_selector("capture-field [role=alert]:has-text('Keys without an end')")
    assert at.asked == []


async def test_a_row_without_an_end_never_grows_beyond_what_the_bench_takes(at):
    await at.open(typing_state())
    await armed(at)
    await typing(at, "7" * 150 + "\n")
    await at.page.wait_for_selector("capture-field [role=status]:has-text('Done.')")
    while len(at.asked) < 3:  # the rows go their ways side by side
        await at.page.wait_for_timeout(1)
    assert sorted(len(one["keys"]) for one in at.asked) == [23, 64, 64]


async def test_from_key_to_record_a_gauge_is_taken_and_a_person_is_not(browser, tmp_path):
    """The whole way: page, server, port, decoder, session, record."""
    async with typing_bench(tmp_path) as rig, open_bench(browser) as at:
        view = rig.view()

        async def really(document):
            return await act(rig.bench, document)

        async with Server(make_app(at.hub, really, (web_sample.DASHBOARDS,))) as server:
            at.server, at.expected = server, "409"
            await at.open(view.state())
            await armed(at)
            await typing(at, "G7.965\n", pause=60)
            await at.page.wait_for_selector("capture-field [role=alert]:has-text('by a person')")
            assert rig.session.readings() == []
            rig.clock.pass_s(5)
            await typing(at, "G7.965\n")
            await at.page.wait_for_selector("capture-field [role=status]:has-text('7.965 mm')")
            assert [item.shown.text for item in rig.session.readings()] == ["7.965"]
            await at.page.goto("about:blank")
