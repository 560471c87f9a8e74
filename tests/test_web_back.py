"""A gauge is pulled off and comes back: page, bench and record from the plug to the confirmation.

Everything is real: the gauge's terminal, the bench and its record, the server, and the browser.
"""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
import web_sample
from bench_kit import make_rig, running, stem
from cable_kit import make_cable, needs_terminals

from gaugelink.capture.actions import act
from gaugelink.capture.channel import line_of
from gaugelink.capture.watcher import Watcher
from gaugelink.ports.identity import PresentPort, identity_of
from gaugelink.ports.serial import SerialPort
from gaugelink.web.feed import Feed

pytestmark = [pytest.mark.anyio, needs_terminals]

CONFIRM = "action-bar button:has-text('Confirm position')"


async def test_after_a_loss_and_a_return_one_touch_confirms_the_position(at, tmp_path):
    rig = make_rig(tmp_path)
    async with running(tmp_path, rig=rig):
        view = rig.view()
        feed = Feed(at.hub, view.state)
        rig.audience.on_change = feed.changed
        feed.start()
        at.carry_out = lambda document: act(rig.bench, document)
        here = [PresentPort(rig.cables["M1"].name, 0x0403, 0x6001, "A5069RR4", "1-1")]
        cable = rig.bench.cable_of("M1")
        cable.identity = identity_of(here[0], here)
        line = line_of(rig.bench.channels["M1"].driver)
        cable.plug = lambda name: SerialPort(name, line, rig.clock.mono_ns)
        watcher = Watcher(rig.bench, lambda: here, asyncio.sleep)

        await at.open(view.state())
        await rig.press("M1", stem("7.964"))
        await at.page.wait_for_selector("live-value:has-text('7.964')")
        assert await at.page.is_hidden(CONFIRM)

        here.clear()
        rig.cables["M1"].pull()
        await at.page.wait_for_selector("live-value:has-text('M1 is lost, look at its plug')")
        assert await at.page.is_hidden(CONFIRM)

        rig.cables["M1"] = make_cable()
        here.append(PresentPort(rig.cables["M1"].name, 0x0403, 0x6001, "A5069RR4", "1-1"))
        assert await watcher.look() == ["M1"]
        await at.page.wait_for_selector("live-value:has-text('M1 was lost and is back')")
        await rig.press("M1", stem("7.999"))  # nobody has said where the gauge is
        await at.page.wait_for_selector("readings-table:has-text('7.999')")
        assert [item.shown.text for item in rig.session.readings()] == ["7.964"]

        await at.page.click(CONFIRM)
        await at.page.wait_for_selector(".answer:has-text('M1 confirmed')")
        await at.page.wait_for_selector(CONFIRM, state="hidden")
        assert rig.kinds()[-1] == "position-confirmed"
        await rig.press("M1", stem("7.962"))
        assert [item.shown.text for item in rig.session.readings()] == ["7.964", "7.962"]
        assert at.asked == [{"do": "confirm-position"}]
        rig.audience.on_change = lambda: None
        await feed.stop()


@pytest.mark.parametrize("theme", ["light", "dark"])
async def test_the_button_for_what_is_in_the_way_stands_out_in_both_themes(at, theme):
    """The one thing to do next is the filled button, and its words can be read on it."""
    for state, words, asked in (
        ("back, confirm the position", "Confirm position", {"do": "confirm-position"}),
        ("check the zero", "Zero of M1 checked", {"do": "confirm-zero", "gauge": "M1"}),
    ):
        doc = with_state("M1", state)
        await at.page.emulate_media(color_scheme=theme)
        await at.open(doc)
        button = at.page.locator(f"action-bar button:has-text('{words}')")
        await button.wait_for(state="visible")
        assert await at.texts("action-bar button.main:not([hidden]) span") == [words]
        ink, ground = await button.evaluate(
            "one => [getComputedStyle(one).color, getComputedStyle(one).backgroundColor]"
        )
        assert ink != ground
        await button.click()
        await at.page.wait_for_selector(".answer:has-text('Done.')")
        assert at.asked == [asked]


async def test_a_bad_link_and_a_low_battery_stand_beside_the_gauge(at):
    doc = with_state("M1", "battery low")
    doc["gauges"][1]["link"] = "3 % noise"
    await at.open(doc)
    assert (await at.texts("gauge-list li span"))[:2] == ["battery low", "here, 3 % noise"]
    assert await at.page.is_hidden(CONFIRM)


def with_state(mark: str, state: str) -> dict[str, Any]:
    doc = web_sample.state()
    for gauge in doc["gauges"]:
        if gauge["id"] == mark:
            gauge["state"] = state
    return doc
