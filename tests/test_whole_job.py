"""A head is measured, planned, worked on, measured again, looked at and released: one record."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from bench_kit import Rig, run, running, spring, stem, sweep
from cable_kit import nothing_left
from view_kit import WITH_FACE, measure_all, take

from gaugelink import content
from gaugelink.capture.actions import act
from gaugelink.commands.advising import Advisor
from gaugelink.commands.plan_file import load_prices
from gaugelink.inspection import CHECKS

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")

SHOP = load_prices(*content.read("sim/prices", "demo-shop"), kinds=("intake", "exhaust"))
SHEET = WITH_FACE.replace('new_max = "7.975 mm"', 'new_min = "7.960 mm"\nnew_max = "7.975 mm"', 1)


async def asked(rig: Rig, **action: object) -> None:
    status, answer = await act(rig.bench, action)
    assert status == 200, answer


async def measure_what_is_asked(rig: Rig) -> list[str]:
    """Measure until nothing more is asked for; give what that was."""
    found = []
    while (step := rig.session.step) is not None:
        found.append(f"{step.position.valve} {step.position.characteristic}")
        if step.sweep:
            rig.bench.sweep_start()
            await rig.rock(sweep(travel_um=120))
            await rig.bench.sweep_stop()
        elif step.gauge_kind == "micrometer":
            await rig.press("M1", stem("7.968"))
        elif step.gauge_kind == "depth gauge":
            await take(rig, "D1", b" 1.13\r")
        else:
            await take(rig, "C1", spring(4790))
    return found


async def release(rig: Rig) -> tuple[int, str]:
    status, answer = await act(rig.bench, {"do": "release", "by": "C. D.", "seen": rig.store.size})
    return status, answer["words"]


async def look_at_everything(rig: Rig) -> None:
    for check in CHECKS:
        await asked(rig, do="inspect", check=check, sound=True, by="C. D.")


def test_a_head_goes_from_worn_to_released(tmp_path: Path):
    async def test() -> None:
        async with running(tmp_path, sheet_text=SHEET) as rig:
            await measure_all(rig)
            rig.session.sheet = rig.sheet  # from here on it is a head as there are
            view = rig.view()
            advisor = Advisor(lambda: view, SHOP)
            _, plan = await advisor.ask({"about": "plan"})
            assert plan["valves"] == [{"valve": "1E", "words": "new valve; lap, about 0.005 mm"}]

            # Nobody releases it as it is.
            await look_at_everything(rig)
            status, words = await release(rig)
            assert (status, "1E" in words) == (409, True), words

            await advisor.take({"do": "take-plan", "key": plan["key"], "by": "C. D."})
            for line in plan["lines"]:
                await asked(rig, do="work", operation=line["done"], valves=line["valves"],
                            depth=line["depth"])  # fmt: skip
            order = view.state()["order"]
            assert (order["done"], order["of"]) == (2, 2)
            _, again = await advisor.ask({"about": "plan"})
            assert "1E: stand-down" in again["missing"]

            # What the work touched is asked for, and nothing else.
            assert await measure_what_is_asked(rig) == [
                "1E stem diameter",
                "1E stem diameter",
                "1E guide clearance",
                "1E stand-down",
            ]
            _, after = await advisor.ask({"about": "plan"})
            assert (after["valves"], after["missing"]) == ([], [])

            status, words = await release(rig)
            assert (status, "look" in words) == (409, True), words
            await look_at_everything(rig)
            assert (await release(rig))[0] == 200
            assert rig.kinds()[-1] == "head-released"
            assert view.state()["release"]["released"]

    run(test())
