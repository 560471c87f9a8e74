"""Drive the dashboards in a real Chromium, against a real server, all in one asyncio loop.

The browser is found as ``chromium`` on the path or named by ``GAUGELINK_CHROMIUM``. Without one
the tests that need it skip and say so; with ``GAUGELINK_NO_SKIP=1`` they fail instead.
"""

from __future__ import annotations

import os
import shutil
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING, Any

import pytest
import web_sample

from gaugelink.web import Hub, Server, make_app

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
    from pathlib import Path

    from playwright.async_api import Browser, Page

JSON = dict[str, Any]
ARGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SWEEP_ON_RECORD = 47
"""The place of the one sweep in the sample which the bench can give again."""
WATCH_POLICY = """
    window.__violations = [];
    document.addEventListener("securitypolicyviolation", (event) => {
      window.__violations.push(`${event.violatedDirective}: ${event.blockedURI}`);
    });
"""


@asynccontextmanager
async def start_browser() -> AsyncIterator[Browser]:
    """Start Chromium, or skip."""
    program = os.environ.get("GAUGELINK_CHROMIUM") or shutil.which("chromium")
    if program is None:
        words = "no Chromium: put 'chromium' on the path or name one in GAUGELINK_CHROMIUM"
        if os.environ.get("GAUGELINK_NO_SKIP") == "1":
            pytest.fail(words)
        pytest.skip(words)
    from playwright.async_api import async_playwright  # noqa: PLC0415 - only with a browser

    async with async_playwright() as driver:
        browser = await driver.chromium.launch(executable_path=program, args=ARGS)
        yield browser
        await browser.close()


class Bench:
    """A page that is open on a bench, what it asked of the bench, and what went wrong in it."""

    def __init__(self, hub: Hub, server: Server, page: Page, asked: list[JSON]) -> None:
        self.hub = hub
        self.server = server
        self.page = page
        self.asked = asked
        self.answer: tuple[int, JSON] = (200, {"ok": True, "words": "Done."})
        self.carry_out: Callable[[JSON], Awaitable[tuple[int, JSON]]] | None = None
        self.complaints: list[str] = []
        self.expected: str | None = None
        self.requests: list[str] = []
        self._shown = 1000

    async def show(self, doc: JSON, **more: Any) -> None:
        """Publish a state and wait until it is drawn."""
        self._shown += 1
        record = {"size": self._shown, "root": "", "log": ""}
        self.hub.publish_state(doc | more | {"record": record})
        await self.page.wait_for_function(
            "words => document.querySelector('title-block')?.textContent.includes(words)",
            arg=f"{self._shown} entries",
        )

    async def open(self, doc: JSON | None = None) -> None:
        """Open the bench page anew on a state; a job half done if absent."""
        self.asked.clear()
        self.answer = (200, {"ok": True, "words": "Done."})
        self.hub.publish_state(doc or web_sample.state())
        await self.page.goto(self.server.url)
        await self.page.wait_for_selector("button.valve")

    async def texts(self, selector: str) -> list[str]:
        """List the texts of everything that a selector finds."""
        found: list[str] = await self.page.eval_on_selector_all(
            selector, "all => all.map(one => one.textContent)"
        )
        return found

    async def check_clean(self) -> None:
        """Hold the page to its promises: no complaint, nothing forbidden, nothing sent out."""
        # Chromium notes an answer like 404 in the console by itself, sometime after it came
        odd = [line for line in self.complaints if not self.expected or self.expected not in line]
        assert odd == []
        assert await self.page.evaluate("window.__violations") == []
        assert self.requests, "the listener saw no request at all"
        away = [url for url in self.requests if not url.startswith(self.server.url)]
        assert away == []


@asynccontextmanager
async def open_bench(
    browser: Browser, folders: Sequence[Path] = (web_sample.DASHBOARDS,)
) -> AsyncIterator[Bench]:
    """Start a server and open a page on it, 1280 by 800, light."""
    hub = Hub()
    asked: list[JSON] = []

    async def act(action: JSON) -> tuple[int, JSON]:
        asked.append(action)
        return await bench.carry_out(action) if bench.carry_out else bench.answer

    def sweeps(place: int) -> JSON | None:
        return web_sample.sweep("3I", place=place) if place == SWEEP_ON_RECORD else None

    app = make_app(hub, act, folders, sweeps=sweeps, ask=web_sample.answer)
    async with Server(app) as server:
        context = await browser.new_context(viewport={"width": 1280, "height": 800})
        page = await context.new_page()
        page.set_default_timeout(15_000)
        await page.add_init_script(WATCH_POLICY)
        bench = Bench(hub, server, page, asked)
        page.on("request", lambda request: bench.requests.append(request.url))
        page.on("pageerror", lambda fault: bench.complaints.append(str(fault)))
        page.on(
            "console",
            lambda line: (
                bench.complaints.append(line.text) if line.type in ("error", "warning") else None
            ),
        )
        yield bench
        await context.close()
