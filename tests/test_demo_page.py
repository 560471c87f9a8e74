"""The bench page during the demonstration, in a real browser."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import threading
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

CHROMIUM_WORDS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


@pytest.fixture
def chromium() -> str:
    found = shutil.which("chromium") or shutil.which("google-chrome")
    if found is None:
        if os.environ.get("GAUGELINK_NO_SKIP"):
            pytest.fail("Chromium is needed and not installed")
        pytest.skip("no Chromium is installed")
    return found


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    """Start the demonstration with its dashboard, and give its address."""
    words = ["demo", "--serve", "--json", "--out", str(tmp_path / "out")]
    running = subprocess.Popen(
        [sys.executable, "-m", "gaugelink", *words],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "GAUGELINK_HOME": str(tmp_path / "home")},
    )  # fmt: skip
    assert running.stderr is not None
    line = running.stderr.readline()
    match = re.search(r"http://127\.0\.0\.1:\d+/", line)
    rest = threading.Thread(target=running.communicate)
    rest.start()
    try:
        assert match is not None, line
        yield match[0]
    finally:
        running.kill()
        rest.join()


def test_the_page_follows_the_demonstration_to_its_end(address: str, chromium: str):
    from playwright.sync_api import sync_playwright  # noqa: PLC0415

    troubles: list[str] = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=CHROMIUM_WORDS)
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        page.on(
            "console", lambda said: troubles.append(said.text) if said.type == "error" else None
        )
        page.on("pageerror", lambda fault: troubles.append(str(fault)))
        page.on(
            "request",
            lambda asked: troubles.append(asked.url) if not asked.url.startswith(address) else None,
        )
        page.goto(address)
        page.get_by_text("Every step is done").first.wait_for(timeout=60_000)
        text = page.inner_text("body")
        browser.close()
    assert troubles == []
    for valve in ("1I", "3E", "6E"):
        assert valve in text
    assert "undecided" in text
    assert "end coil broken off" in text


def test_the_head_is_decided_on_the_page_that_decides(address: str, chromium: str):
    """Plan, what if, work order, and a step that is told done: all on a real bench."""
    from playwright.sync_api import sync_playwright  # noqa: PLC0415

    troubles: list[str] = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=CHROMIUM_WORDS)
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        page.on(
            "console", lambda said: troubles.append(said.text) if said.type == "error" else None
        )
        page.on("pageerror", lambda fault: troubles.append(str(fault)))
        page.goto(address)
        page.get_by_text("Every step is done").first.wait_for(timeout=60_000)
        page.click("next-step a.onward")
        page.wait_for_selector("plan-panel .cost:has-text('EUR')")
        assert "3E" in page.inner_text("plan-panel .steps")

        # What if: the seat of 2I sits as deep as it may already.
        page.click("trial-panel .which button:has-text('2I')")
        page.wait_for_selector("trial-panel .trial-figures .before:has-text('1.600 mm')")
        page.fill("trial-panel input[type=range]", "0.2")
        page.wait_for_selector("trial-panel .trial-figures .after:has-text('1.800 mm')")
        assert page.inner_text("trial-panel .trial-figures .verdict") == "outside"
        page.select_option("trial-panel select", "skim")
        page.fill("trial-panel input[type=range]", "0.1")
        page.wait_for_selector("trial-panel .trial-words:has-text('Kept from now on: stand-down')")

        page.click("text=Take as work order")
        page.wait_for_selector("order-panel .cost:has-text('0 of')")
        with page.expect_download() as paper:
            page.click("text=Parts list")
        assert "stem seal" in paper.value.path().read_text(encoding="utf-8-sig")
        assert page.get_attribute("details.anew", "open") is None
        spring = page.locator("order-panel li", has_text="new spring")
        spring.get_by_role("button").click()
        assert page.input_value("work-dialog select[aria-label=Operation]") == "spring changed"
        pressed = page.locator("work-dialog .which button[aria-pressed=true]")
        assert pressed.all_inner_texts() == ["4I", "5I"]
        page.click("work-dialog button[type=submit]")
        page.wait_for_selector("order-panel .cost:has-text('2 of')")
        assert spring.get_attribute("data-finished") == "true"
        assert "A. Demo" in spring.inner_text()
        browser.close()
    assert troubles == []
