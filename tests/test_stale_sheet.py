"""A sheet that changes what work makes stale: on the command line, on the bench, on the page.

Everything is invented; the change turns what `gaugelink.work` has for a seat cut upside down, so
that nothing else explains what is seen.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from bench_kit import STAND_DOWN, running
from test_web_release import PAGE, SCRIPT
from view_kit import WITH_FACE, measure_all
from view_shapes import STATE, check
from web_browser import Bench, open_bench
from web_sample import DASHBOARDS

from gaugelink import content
from gaugelink.capture.actions import act
from gaugelink.work import WORK

if TYPE_CHECKING:
    from collections.abc import AsyncIterator
    from pathlib import Path

    from conftest import RunCli

pytestmark = pytest.mark.anyio

CHANGE = """
[[stale]]
operation = "seat cut"
added = ["spring free length"]
removed = ["stand-down"]
reason = "manual, p. 31: measured from the seat"
"""


@pytest.fixture
async def at(browser, tmp_path) -> AsyncIterator[Bench]:
    """The dashboards, and the panel of the release on a page of its own."""
    (tmp_path / "only-release.html").write_text(PAGE, encoding="utf-8")
    (tmp_path / "only-release.js").write_text(SCRIPT, encoding="utf-8")
    async with open_bench(browser, (tmp_path, DASHBOARDS)) as opened:
        yield opened
        await opened.check_clean()


def test_the_check_of_a_sheet_says_what_it_changes(run_cli: RunCli, tmp_path: Path) -> None:
    text, _ = content.read("sim/sheets", "demo-pump-engine")
    path = tmp_path / "mine.toml"
    path.write_text(text + CHANGE, encoding="utf-8")
    status, out, err = run_cli("sheet", "check", str(path))
    assert (status, err) == (0, "")
    assert out.splitlines()[-2:] == [
        (
            "Measured again after seat cut: spring free length too; stand-down not "
            "(manual, p. 31: measured from the seat)."
        ),
        "It can be used.",
    ]
    _, out, _ = run_cli("sheet", "check", str(path), "--json")
    assert json.loads(out)["stale"] == [
        {"operation": "seat cut", "added": ["spring free length"], "removed": ["stand-down"],
         "reason": "manual, p. 31: measured from the seat"}
    ]  # fmt: skip


async def test_on_the_bench_the_sheet_decides_what_is_stale_shown_and_not_released(
    at: Bench, run_cli: RunCli, tmp_path: Path
) -> None:
    assert "stand-down" in WORK["seat cut"].stale
    assert "spring free length" in WORK["seat cut"].untouched
    async with running(tmp_path, sheet_text=WITH_FACE + CHANGE) as rig:
        rig.session.sheet = rig.sheet
        await measure_all(rig)
        view = rig.view()
        before = {one["place"] for one in view.state()["readings"]}
        status, answer = await act(rig.bench, {"do": "work", "operation": "seat cut",
                                               "valves": ["1I"]})  # fmt: skip
        assert (status, answer["ok"]) == (200, True)
        state = view.state()
        check(state, STATE)
        assert {one["place"] for one in state["readings"]} >= before, "all of it stays on record"
        stale = [(one["valve"], one["characteristic"], one["text"]) for one in state["readings"]
                 if one["state"] == "stale"]  # fmt: skip
        assert stale == [("1I", "spring free length", "47.90")]
        assert STAND_DOWN in rig.session.filled
        assert state["next"]["words"] == "Intake valve of cylinder 1: spring free length"
        assert state["next"]["again"] == "stale: seat cut"

        # The page shows it, crossed, with its word; the release names it and is refused.
        at.hub.publish_state(state)
        await at.page.goto(at.server.url)
        row = "readings-table tbody[data-state=stale]"
        await at.page.wait_for_selector(row)
        assert await at.texts(f"{row} .what-words") == ["spring free length"]
        assert await at.texts(f"{row} .reading bdi:first-child") == ["47.90"]
        assert await at.texts(f"{row} .why") == ["stale: seat cut"]
        await at.page.goto(f"{at.server.url}only-release.html")
        await at.page.wait_for_selector(".against h4:has-text('Stale after work (1)')")
        words = "1I spring free length: stale after seat cut; measure again"
        assert words in await at.texts(".against li > bdi")
        assert await at.page.is_disabled(".release-go button.main")
        status, answer = await act(
            rig.bench, {"do": "release", "by": "C. D.", "seen": rig.store.size}
        )
        assert (status, "cannot be released" in answer["words"]) == (409, True)
        path = rig.folder / "job.record"
    status, out, err = run_cli("release", str(path), "--today", "2026-01-02")
    assert (status, err) == (1, "")
    assert f"Stale after work (1)\n  {words}\n" in out
