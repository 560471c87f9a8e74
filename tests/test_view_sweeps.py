"""A rock sweep as it is drawn."""

from __future__ import annotations

import pytest
from bench_kit import (
    ROCK,
    SHEET,
    rocked,
    run,
    running,
    sweep,
)
from cable_kit import nothing_left
from view_kit import rock_at
from view_shapes import SWEEP, check

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")


class TestSweeps:
    def test_one_that_runs_is_drawn_as_it_grows(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                view = rig.view()
                await rig.bench.go(ROCK)
                rig.bench.sweep_start()
                assert view.state()["sweep"] is None
                samples = sweep()
                for count, um in enumerate(samples, 1):
                    await rig.rock([um])
                    if count % 10 == 0:
                        found = view.state()["sweep"]
                        check(found, SWEEP)
                        assert (found["place"], found["running"], found["usable"]) == (
                            None, True, None)  # fmt: skip
                        assert len(found["points"]) == count
                await rig.bench.sweep_stop()
                done = view.state()["sweep"]
                assert (done["running"], done["usable"]) == (False, True)
                assert done["place"] == rig.store.size - 1

        run(test())

    def test_the_figures_follow_from_travel_and_geometry(self, tmp_path):
        """Guide 50 mm, reach 25 mm: clearance is half the travel (factor 1 + 2 * 25 / 50)."""

        async def test():
            async with running(tmp_path) as rig:
                view = rig.view()
                await rock_at(rig, ROCK, travel_um=120)
                found = view.state()["sweep"]
                assert found["travel_um"] == pytest.approx(120, abs=0.5)
                assert found["factor"] == "2.00"
                assert found["clearance_um"] == pytest.approx(found["travel_um"] / 2)
                assert (found["limit_um"], found["limit_of"]) == (100.0, "clearance")
                assert found["limit_words"] == "service max 0.100 mm"
                assert found["verdict"] == "within"
                assert (found["lift"], found["valve_used"]) == ("8 mm", "new")
                assert found["full_rocks"] == 5
                assert [item["side"] for item in found["plateaus"]] == ["low", "high"] * 5 + ["low"]

        run(test())

    def test_one_in_another_mode_gets_no_verdict_and_says_why(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                view = rig.view()
                await rig.bench.go(ROCK)
                rig.bench.sweep_start()
                await rig.rock(sweep(), mode="m")
                await rig.bench.sweep_stop()
                found = view.state()["sweep"]
                assert (found["usable"], found["verdict"]) == (False, None)
                assert found["flags"][0]["code"] == "mode"
                assert "set it to show the actual value" in found["flags"][0]["words"]
                assert view.state()["last"]["state"] == "not usable"
                assert view.state()["verdicts"] == []

        run(test())

    def test_each_is_held_against_the_limit_that_it_was_taken_for(self, tmp_path):
        """Two limits for one valve: another direction, another lift and so another reach."""
        second = """
[[limit]]
characteristic = "guide clearance"
method = "rock"
lift = "12 mm"
valve_used = "new"
guide_length = "50 mm"
reach = "50 mm"
directions = ["across"]
service_max = "0.050 mm"
source = "p. 2"
"""

        async def test():
            async with running(tmp_path, sheet_text=SHEET + second) as rig:
                view = rig.view()
                steps = {step.position.lift: number for number, step in
                         enumerate(rig.session.plan)
                         if step.sweep and step.position.valve == "1I"}  # fmt: skip
                assert steps.keys() == {"8 mm", "12 mm"}
                for step in steps.values():
                    await rock_at(rig, step, travel_um=120)
                found = [view.sweep_at(place) for place in sorted(rig.bench.analyses)]
                assert [item["factor"] for item in found] == ["2.00", "3.00"]
                assert [item["limit_um"] for item in found] == [100.0, 50.0]
                judged = [item for item in view.judgement().verdicts if item.method == "rock"]
                assert [(round(float(item.value_pm) / 1e6), item.upper_pm) for item in judged] == [
                    (60, 100_000_000), (40, 50_000_000)]  # fmt: skip

        run(test())

    def test_a_long_one_is_thinned_for_drawing_and_keeps_its_first_sample(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                view = rig.view()
                await rig.bench.go(ROCK)
                rig.bench.sweep_start()
                await rig.rock([60])
                for _ in range(100):  # bunched, as an adapter hands them on
                    rig.clock.pass_s(0.5)
                    rig.send("I1", b"".join(map(rocked, range(50))))
                    await rig.heard("I1")
                points = view.state()["sweep"]["points"]
                assert 1000 < len(points) <= 2000
                assert points[0] == [0.0, 60.0]
                assert points == sorted(points, key=lambda point: point[0])

        run(test())
