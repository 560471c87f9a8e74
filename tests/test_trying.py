"""Trying one step: figures, parts, spring and limits on all sides of it, and what shop bears.

Figures are reckoned by hand from the job of docs/planning.md.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, strategies as st
from planning_heads import small_head
from test_plan_command import JOB, changed

from gaugelink.commands.plan_file import load_task
from gaugelink.commands.plan_try import tried
from gaugelink.planning.standing import TRIALS, WHOLE, Trial
from gaugelink.planning.trying import try_skim, try_step
from gaugelink.view.trial import trial_document

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import RunCli


def told(words: str, *changes: tuple[str, str]) -> dict[str, Any]:
    found = tried(load_task(changed(*changes) if changes else JOB, "job.toml"), words)
    return found | {"rows": {one["name"]: one for one in found["figures"]}}


def after(found: dict[str, Any], name: str) -> float | None:
    value = found["rows"][name]["after"]
    return None if value is None else round(value, 6)


def test_a_cut_that_does_not_clean_the_seat_mends_nothing():
    """The seat of 2I is clean from 0.08 on, and the machine takes no less than 0.03."""
    found = told("2I cut seat 0.02 mm")
    assert found["cannot"] == ["less than the machine takes at once, 0.030 mm",
                               "the seat is clean only after 0.080 mm"]  # fmt: skip
    assert "seat runout max" in found["beyond"]
    assert after(found, "seat runout") == 0.07
    deep = told("2I cut seat 0.08 mm")
    assert (deep["cannot"], deep["mended"], after(deep, "seat runout")) == (
        [], ["seat runout max"], None)  # fmt: skip


def test_a_new_guide_gives_its_clearance_and_an_axis_of_its_own():
    """8.000 - 7.955 = 0.045 and 8.015 - 7.951 = 0.064; what the seat ran out says nothing then."""
    found = told("2I replace guide")
    assert after(found, "guide clearance, smallest") == 0.045
    assert after(found, "guide clearance, largest") == 0.064
    assert after(found, "seat runout") is None
    assert found["mended"] == ["guide bore max", "guide clearance max"]
    assert found["beyond"] == ["valve face runout max"]
    assert found["then"][0].startswith("the seat is cut or gets an insert")
    assert (found["depth_mm"], found["cost"]) == (None, 25.5)  # 16 min at 60 an hour, and 9.50


def test_a_new_valve_sits_where_a_new_one_sits():
    """Less 0.02 that the old one sits deeper; 8.036 - 7.970 = 0.066, 8.046 - 7.955 = 0.091."""
    found = told("2I replace valve")
    heights = {"stand-down": 1.16, "tip height": 36.9, "installed spring height": 41.08,
               "retainer-to-seal": 1.98}  # fmt: skip
    assert {name: after(found, name) for name in heights} == heights
    assert after(found, "spread of stand-down, intake") == 0.11
    room = [after(found, f"guide clearance, {end}") for end in ("smallest", "largest")]
    assert room == [0.066, 0.091]
    for name in ("margin", "valve length", "valve face runout"):
        assert after(found, name) is None
    assert found["rows"]["margin"]["words"].startswith("1.250 mm, then that of the new one")
    assert "guide clearance max" in found["beyond"]


def test_an_insert_lifts_the_valve():
    """By 0.1, and 34 N/mm give 3.4 N more; its width is what the cut makes of it."""
    found = told("2I fit insert 0.1 mm")
    assert after(found, "stand-down") == 1.08
    assert after(found, "spring load") == 299.0  # 300 - 34 * 0.0, less 1 lost, at 41.0
    assert after(found, "seat width") is None
    assert found["mended"] == ["seat runout max"]
    assert told("2I fit insert 1.1 mm")["cannot"] == [
        "deeper than shop or maker allow at once, 1.000 mm"
    ]


def test_a_new_spring_has_the_load_of_its_curve():
    """300 N at 41.0, 34 N/mm: at 41.1 it is 296.6; the one that was tested has lost 1 N."""
    found = told("2I replace spring")
    assert found["rows"]["spring load"]["before"] == pytest.approx(295.6)
    assert after(found, "spring load") == 296.6


def test_shims_are_those_in_stock():
    """0.381, 0.762 and both; 41.1 less 0.381 is 40.719."""
    found = told("2I shim 0.3 mm")
    assert found["cannot"] == [
        "no stack of the shims in stock is that thick; near it: none and 0.381 mm"
    ]
    assert told("2I shim 0.95 mm")["cannot"][0].endswith("near it: 0.762 mm and 1.143 mm")
    good = told("2I shim 0.381 mm")
    assert (good["cannot"], good["cost"]) == ([], 1.6)
    assert after(good, "installed spring height") == 40.719
    out = told("2I shim -0.05 mm")
    assert (out["cannot"], after(out, "installed spring height")) == ([], 41.15)


def test_a_step_that_the_shop_does_not_offer_is_said():
    found = told("1I lap 0.01 mm", ("lap = { minutes = 2", "# lap = { minutes = 2"))
    assert (found["cannot"], found["cost"], found["good"]) == (
        ["the shop does not offer it"], None, False)  # fmt: skip


def test_a_skim_is_told_of_the_whole_face():
    """Every valve, injector and chamber, without naming a valve: 1.05 - 0.14 = 0.91."""
    found = told("skim 0.14 mm")
    assert (found["valve"], found["broken"]) == ("", ["stand-down min at 1I"])
    assert (after(found, "stand-down of 1I"), after(found, "stand-down of 2I")) == (0.91, 1.04)
    assert after(found, "injector protrusion of cylinder 2") == 2.6
    assert after(found, "head thickness") == 120.26
    assert after(found, "head-face flatness") is None
    assert [one["step"] for one in found["left"]] == ["skim"]
    thin = told("skim 0.08 mm")
    assert thin["cannot"] == ["the head face is clean only after 0.090 mm"]


def test_a_limit_of_the_face_is_mended_by_a_skim_that_cleans_it():
    """A scored face of 0.12 out of flat: 0.05 leaves both as they were, 0.09 neither."""
    bad = (('flatness = "0.060 mm"', 'flatness = "0.120 mm"'),
           ('# face_scrap = "scored"', 'face_scrap = "scored"'))  # fmt: skip
    shallow, deep = told("skim 0.05 mm", *bad), told("skim 0.09 mm", *bad)
    both = ["head-face flatness max", "head face fit for use"]
    assert (shallow["beyond"], shallow["mended"]) == (both, [])
    assert (deep["beyond"], sorted(deep["mended"])) == ([], sorted(both))


@pytest.mark.parametrize(
    ("part", "size"), [("guide", "new_bore"), ("valve", "new_stem")]
)  # fmt: skip
def test_sizes_of_new_parts_have_to_be_told(part: str, size: str, run_cli: RunCli, tmp_path: Path):
    job = tmp_path / "job.toml"
    job.write_text(changed((f"{size} = ", f"# {size} = ")))
    status, out, err = run_cli("plan", job, "--try", f"2I replace {part}")
    assert (status, out) == (2, "")
    assert f"found no sizes of new intake {part}s, accepted: a job or sheet that tells" in err
    assert run_cli("plan", job, "--try", "2I replace spring")[0] == 1


def test_the_page_tells_the_same_of_a_new_part():
    task = load_task(JOB, "job.toml")
    page = trial_document(task, 1, "replace guide", 0)
    rows = {one["name"]: one for one in page["figures"]}
    one = rows["guide clearance, largest"]
    assert (one["before"], one["after"], one["moved"], one["stays"]) == (
        "0.095 mm", "0.064 mm", "-0.031", False)  # fmt: skip
    assert (rows["seat runout"]["after"], rows["seat runout"]["scale"]["verdict"]) == (
        "of the new one", None)  # fmt: skip
    assert rows["margin"]["stays"] is True
    assert page["cost"] == "25.50 EUR"


STEPS = st.sampled_from(TRIALS)


@given(st.integers(0, 200), st.data(), STEPS, st.integers(0, 300))
def test_what_is_broken_mended_and_beyond_agree(
    seed: int, data: st.DataObject, step: Trial, um: int
):
    """What was beyond, less what is mended, and what is broken, is what is beyond then."""
    task = small_head(seed)
    place = data.draw(st.sampled_from(range(len(task.places))))
    depth = 0 if step in WHOLE else um * 10**6
    try:
        found = try_step(task, place, step, depth)
    except ValueError:
        return
    nothing = try_step(task, place, "lap", 0)
    assert nothing.broken == nothing.mended == ()
    assert not set(found.broken) & set(nothing.beyond)
    assert not set(found.mended) & set(found.beyond)
    assert set(found.broken) <= set(found.beyond)
    mended = {name for name in found.mended if " at " not in name}
    assert set(nothing.beyond) - set(found.beyond) >= mended


@given(st.integers(0, 200), st.integers(0, 400))
def test_a_skim_of_the_face_breaks_what_it_breaks_at_any_valve(seed: int, um: int):
    """Told of the whole face or from one valve, the valve's own limits are the same."""
    task = small_head(seed)
    whole = try_skim(task, um * 10**6)
    for number, place in enumerate(task.places):
        one = try_step(task, number, "skim", um * 10**6)
        for limit in one.broken:
            if limit.startswith("stand-down") and " at " not in limit:
                assert f"{limit} at {place.name}" in whole.broken
        for limit in one.broken:
            assert " at " not in limit or limit in whole.broken or "cylinder" in limit
