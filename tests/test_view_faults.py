"""A bench's own readings lead to what helps, on its page and in its report."""

from __future__ import annotations

import pytest
from bench_kit import ROCK, run, running, stem
from cable_kit import nothing_left
from view_kit import rock_at

from gaugelink.metrology.conformity import probability_within

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")


def test_a_rock_over_its_limit_with_a_new_valve_is_the_guides_fault(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            view = rig.view()
            await rock_at(rig, ROCK, travel_um=240)  # reach 25 of 50 mm: half of it, limit 100 um
            state = view.state()
            (fault,) = state["faults"]
            about = state["verdicts"][fault["verdict"]]
            assert (about["valve"], about["method"]) == ("1I", "rock")
            assert (fault["answer"], fault["by"], fault["sure"]) == ("guide", "new valve", True)
            (item,) = [one for one in view.settled() if one.method == "rock"]
            within = probability_within(item.value_pm, item.u_pm, None, item.upper_pm)
            assert fault["probability"] == pytest.approx(1 - within)
            await rock_at(rig, ROCK, travel_um=120)
            assert view.state()["faults"] == []

    run(test())


def test_an_undecided_stem_is_told_what_would_decide_it(tmp_path):
    """1 um inside, u 1.9: it takes 1 / 1.645 = 0.6 um. The kit's gauges have no repeatability."""

    async def test():
        async with running(tmp_path) as rig:
            view = rig.view()
            for text in ("7.964", "7.962", "7.936", "7.940"):
                await rig.press("M1", stem(text))
            state = view.state()
            (one,) = state["deciders"]
            assert state["verdicts"][one["verdict"]]["text"] == "7.936"
            assert one["u_needed_um"] == pytest.approx(1 / 1.645, abs=1e-6)
            assert one["words"] == (
                "how many more readings would decide it is not known: no repeatability is told; "
                "a gauge with u of 0.60 um or less can: the bench has none"
            )

    run(test())


def test_a_rock_near_its_limit_is_told_whether_more_sweeps_help(tmp_path):
    """A clean sweep does not scatter: what is uncertain is the indicator and the reach."""

    async def test():
        async with running(tmp_path) as rig:
            view = rig.view()
            await rig.fill_stems()
            await rock_at(rig, ROCK, travel_um=198)
            (one,) = view.state()["deciders"]
            assert (one["method"], one["more"]) == ("rock", None)
            assert one["words"].startswith("more sweeps cannot decide it; ")

    run(test())
