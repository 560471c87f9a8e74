"""From moving the depth on the page that decides to every figure drawn; and how long a plan takes.

    python benchmarks/what_if.py [--tries N]

The demonstration measures its head with the real bench and serves the page; Chromium moves the
depth. The time is taken inside the page, from the movement until the new figure is in view.
"""

from __future__ import annotations

import argparse
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

CHROMIUM_WORDS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip

TRY = """(depth) => new Promise((resolve) => {
  const slider = document.querySelector("trial-panel input[type=range]");
  const after = () => document.querySelector("trial-panel .after").textContent;
  const before = after();
  slider.value = depth;
  const start = performance.now();
  slider.dispatchEvent(new Event("input"));
  const look = () => {
    if (after() !== before) resolve(performance.now() - start);
    else requestAnimationFrame(look);
  };
  look();
})"""

PLAN = """() => new Promise((resolve) => {
  const start = performance.now();
  const look = () => {
    if (document.querySelector("plan-panel .cost")?.textContent) resolve(performance.now() - start);
    else requestAnimationFrame(look);
  };
  look();
})"""


def measure(url: str, tries: int, chromium: str) -> tuple[float, list[float]]:
    """Open the page once the head is measured; give the time of the plan and of every try, ms."""
    from playwright.sync_api import sync_playwright  # noqa: PLC0415

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=CHROMIUM_WORDS)
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        page.goto(url)
        page.get_by_text("Every step is done").first.wait_for(timeout=120_000)
        page.goto(f"{url}decide.html", wait_until="commit")
        plan: float = page.evaluate(PLAN)
        page.click("trial-panel .which button:has-text('1I')")
        page.wait_for_selector("trial-panel .after")
        page.wait_for_timeout(500)
        times: list[float] = [
            page.evaluate(TRY, f"{0.005 * (1 + number % 40):.3f}") for number in range(tries)
        ]
        browser.close()
    return plan, times


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tries", type=int, default=100)
    args = parser.parse_args()
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    if chromium is None:
        sys.exit("not measured: no Chromium is installed")
    with tempfile.TemporaryDirectory() as folder:
        words = ["demo", "--serve", "--json", "--out", str(Path(folder) / "out")]
        running = subprocess.Popen(
            [sys.executable, "-m", "gaugelink", *words],
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert running.stderr is not None
        found = re.search(r"http://127\.0\.0\.1:\d+/", running.stderr.readline())
        assert found is not None
        rest = threading.Thread(target=running.communicate)
        rest.start()
        try:
            plan, times = measure(found[0], args.tries, chromium)
        finally:
            running.kill()
            rest.join()
    ordered = sorted(times)
    at95 = ordered[min(len(ordered) - 1, int(0.95 * len(ordered)))]
    print(
        f"what if, moved to drawn        median {statistics.median(ordered):6.1f} ms   "
        f"95 % {at95:6.1f} ms   longest {ordered[-1]:6.1f} ms   ({len(ordered)} times; aim: 200 ms)"
    )
    print(f"page opened to plan drawn      {plan:6.0f} ms (made already, for the report)")


if __name__ == "__main__":
    main()
