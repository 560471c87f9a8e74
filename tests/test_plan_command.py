"""`gaugelink plan` turns a job file into the cheapest plan, or says why there is none."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings, strategies as st

from gaugelink.commands.plan_document import document, text as lines_of
from gaugelink.commands.plan_file import load_task
from gaugelink.planning.plan import Plan, plan
from gaugelink.planning.task import DEEDS, DONE
from gaugelink.work import WORK

if TYPE_CHECKING:
    from conftest import RunCli

PAGE = Path(__file__).resolve().parents[1] / "docs" / "planning.md"
JOB = re.findall(r"```toml\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)[0]


def told(text: str, others: int = 0) -> Any:
    task = load_task(text, "job.toml")
    return json.loads(json.dumps(document(task, plan(task), others)))


def changed(*pairs: tuple[str, str]) -> str:
    text = JOB
    for old, new in pairs:
        assert text.count(old) >= 1, old
        text = text.replace(old, new)
    return text


def test_the_example_of_the_page_is_planned(run_cli: RunCli, tmp_path: Path):
    """By hand: guide 16 + 9.50, face 6, seat 11, lapping 2, shim 1 + 0.60, two seals 3: 49.10.

    Valve 2I sits at 1.18; face 0.04, seat 0.08 and lapping 0.005 more give 1.305.
    """
    file = tmp_path / "job.toml"
    file.write_text(JOB)
    status, out, _ = run_cli("plan", file, "--json")
    found = json.loads(out)
    assert status == 0
    assert (found["cost"], found["currency"], found["optimal"]) == (49.1, "EUR", True)
    assert [one["steps"] for one in found["valves"]] == [
        [], ["replace guide", "reface valve", "cut seat", "lap", "shim"]]  # fmt: skip
    assert found["valves"][1]["expected_mm"]["stand-down"] == 1.305
    assert found["parts"] == [
        {"part": "guide", "kind": "intake", "count": 1},
        {"part": "shim 0.381 mm", "kind": "", "count": 1},
        {"part": "stem seal", "kind": "intake", "count": 2}]  # fmt: skip
    assert {one["valve"] for one in found["remeasure"]} == {"2I"}
    assert (found["missing"], found["partial"]) == ([], False)
    status, out, _ = run_cli("plan", file)
    assert status == 0
    words = ("Cost: 49.10 EUR, the cheapest", "Replace guide:", "Reface valve:", "Cut seat:",
             "Lap:", "Measure again", "Mind:", "manuals")  # fmt: skip
    places = [out.index(word) for word in words]
    assert places == sorted(places)


def test_everything_stale_is_measured_again_and_nothing_else():
    """A guide's stem stays, its valve's margin does not; a skim concerns every valve."""
    found = told(changed(('flatness = "0.060 mm"', 'flatness = "0.090 mm"')))
    assert found["operations"][3]["operation"] == "skim"
    again = {(one["valve"], one["characteristic"]): one["because"] for one in found["remeasure"]}
    assert again["1I", "stand-down"] == "face skimmed"
    assert again["2I", "guide bore"] == "guide replaced"
    assert again["", "head thickness"] == "face skimmed"
    assert ("1I", "margin") not in again
    assert ("2I", "stem diameter") not in again
    assert set(DONE) == set(DEEDS)
    assert set(DONE.values()) <= set(WORK)


def test_what_is_left_afterwards_is_told():
    """By hand: 2I sits at 1.305; 1.40 less 0.01316 of guard band leaves 0.08184 to cut.

    Its tip, 37.045 under 37.10, leaves 0.055: less, so the tip decides. The face of the valve has
    lost 0.04 of 0.25 that may be ground; a skim is one for all, and 1I at 1.05 bears 0.13684.
    """
    left = {one["step"]: one for one in told(JOB)["valves"][1]["left"]}
    assert left["cut seat"] == {"step": "cut seat", "most_mm": 0.055, "held_by": "tip height max"}
    assert left["skim"] == {"step": "skim", "most_mm": 0.13684, "held_by": "stand-down min at 1I"}
    assert left["grind tip"]["most_mm"] == 0.25
    wide = JOB.replace('max = "37.10 mm"', 'max = "37.90 mm"')
    left = {one["step"]: one for one in told(wide)["valves"][1]["left"]}
    assert left["reface valve"]["most_mm"] < 0.21
    # 120.40 less 0.30 stays above 119.90, and 1I has room: then the machine ends it.
    deep = JOB.replace('"1.05 mm"', '"1.25 mm"').replace('"0.90 mm"', '"0.50 mm"')
    left = {one["step"]: one for one in told(deep)["valves"][1]["left"]}
    assert left["skim"] == {
        "step": "skim", "most_mm": 0.3, "held_by": "most of this step (skim)"}  # fmt: skip


def test_a_plan_that_is_not_proved_says_how_much_could_be_saved():
    task = load_task(JOB, "job.toml")
    found = plan(task)
    assert isinstance(found, Plan)
    doubtful = replace(found, bound_cents=4419)
    out = document(task, doubtful, 0)
    assert (out["optimal"], round(out["gap"], 3)) == (False, 0.1)
    assert next(lines_of(task, out)).endswith("at most 10.0 % could be saved by a better plan")


def test_prices_may_stand_in_a_file_of_their_own(run_cli: RunCli, tmp_path: Path):
    job, prices = JOB.split("[prices]")
    (tmp_path / "job.toml").write_text(job)
    (tmp_path / "shop.toml").write_text("[prices]" + prices)
    words = ("plan", tmp_path / "job.toml", "--prices", tmp_path / "shop.toml", "--json")
    assert json.loads(run_cli(*words)[1])["cost"] == 49.1
    assert "prices: found neither" in run_cli("plan", tmp_path / "job.toml")[2]
    (tmp_path / "job.toml").write_text(JOB)
    assert "prices: found both" in run_cli(*words)[2]


def test_limits_in_conflict_are_told(run_cli: RunCli, tmp_path: Path):
    """The seat has to go 0.08 deep; the stand-down bears 0.03 less its guard band of 0.013."""
    file = tmp_path / "job.toml"
    shut = [(f"{name} = {{", f"# {name} = {{") for name in ("fit_insert", "skim")]
    file.write_text(changed(('max = "1.40 mm"', 'max = "1.21 mm"'), *shut))  # fmt: skip
    status, out, _ = run_cli("plan", file, "--json")
    found = json.loads(out)
    assert (status, found["cost"], found["optimal"], found["valves"]) == (1, None, False, [])
    names = {(one["valve"], one["limit"]) for one in found["conflict"]}
    assert ("2I", "stand-down max") in names
    assert all(valve == "2I" for valve, _ in names)
    assert found["smallest"] is True
    assert "(no smaller set is in conflict)" in run_cli("plan", file)[1]
    assert "2I: stand-down max" in run_cli("plan", file)[1]


def test_missing_readings_leave_the_plan_open(run_cli: RunCli, tmp_path: Path):
    file = tmp_path / "job.toml"
    file.write_text(changed(('margin = "1.32 mm"\n', "")))
    status, out, _ = run_cli("plan", file, "--json")
    assert status == 1
    assert json.loads(out)["missing"] == [{"valve": "1I", "reading": "margin"}]
    assert json.loads(out)["partial"] is True
    out = run_cli("plan", file)[1]
    assert "Cost: at least 49.10" in out
    assert "Partial: made of what is known" in out
    assert "1I: margin" in out
    assert "Nothing to do" not in out  # at 1I there may be, and 2I has work


def test_alternatives_say_what_differs():
    for one in (found := told(JOB, 3))["alternatives"]:
        assert found["cost"] <= one["cost"] <= 1.1 * found["cost"]
        assert one["differs"]
        assert all(line.startswith(("1I: ", "2I: ", "the face")) for line in one["differs"])
    assert len(found["alternatives"]) == 2
    assert told(JOB)["alternatives"] == []


def test_a_skim_brings_injectors_out_and_they_are_measured_again():
    """By hand: flat to 0.090 of 0.080, so 0.090 comes off at least: 2.41 becomes 2.50.

    Cylinder 2's may come to 2.53 only: 2.46 + 0.09 is beyond, and nothing else helps.
    """
    uneven = ('flatness = "0.060 mm"', 'flatness = "0.090 mm"')
    found = told(changed(uneven))
    assert [one["expected_mm"]["injector protrusion"] for one in found["cylinders"]] == [2.5, 2.55]
    again = {(one["valve"], one["characteristic"]): one["because"] for one in found["remeasure"]}
    assert again["cylinder 2", "injector protrusion"] == "face skimmed"
    assert again["2I", "retainer-to-seal"] == "guide replaced", "the seal sits on the guide"
    assert ("1I", "retainer-to-seal") not in again
    found = told(changed(uneven, ('max = "2.80 mm"', 'max = "2.53 mm"')))
    assert {(one["valve"], one["limit"]) for one in found["conflict"]} == {
        ("", "head-face flatness max"), ("cylinder 2", "injector protrusion max")}  # fmt: skip


def test_a_seat_that_is_too_wide_is_not_kept():
    """2.1 of at most 2.0: where a cut widens it, only an insert helps; else a cut does too."""
    wide = ('seat_width = "1.5 mm"', 'seat_width = "2.1 mm"')
    stay = ("pairing = true", "pairing = false")
    assert "fit insert" in told(changed(wide, stay))["valves"][0]["steps"]
    own = told(changed(wide, stay, ("seat_width_per_cut", "# seat_width_per_cut")))["valves"][0]
    assert own["steps"] == ["cut seat", "lap"]
    assert "seat width" not in own["expected_mm"]


def test_a_cylinder_that_was_not_measured_is_asked_for():
    found = told(changed(('injector_protrusion = "2.46 mm"', "")))
    assert {"valve": "cylinder 2", "reading": "injector protrusion"} in found["missing"]


LENGTH = re.compile(r'"([0-9.]+) mm"')
fine = st.integers(-60, 60)


def in_both(text: str) -> tuple[str, str]:
    """Round every length to ten-thousandths of an inch; give them so, and exactly as mm."""

    def inches(given: str) -> Decimal:
        return (Decimal(given) / Decimal("25.4")).quantize(Decimal("0.0001"))

    inch = LENGTH.sub(lambda found: f'"{inches(found[1])} in"', text)
    return inch, LENGTH.sub(lambda found: f'"{inches(found[1]) * Decimal("25.4")} mm"', text)


@settings(max_examples=25)
@given(fine, fine, fine, fine, st.integers(50, 100))
def test_millimetres_and_inches_give_the_same_plan(down: int, tip: int, bore: int, margin: int,
                                                   flat: int):  # fmt: skip
    """Every length in ten-thousandths of an inch, once so and once exactly as millimetres."""
    text = changed(
        ('"1.18 mm"', f'"{Decimal("1.18") + Decimal(down) / 1000} mm"'),
        ('"36.92 mm"', f'"{Decimal("36.92") + Decimal(tip) / 200} mm"'),
        ('"8.046 mm"', f'"{Decimal("8.096") + Decimal(bore) / 2000} mm"'),
        ('"1.25 mm"', f'"{Decimal("1.25") + Decimal(margin) / 100} mm"'),
        ('"0.060 mm"', f'"{Decimal(flat) / 1000} mm"'),
    )

    inch, metric = in_both(text)
    assert inch != metric
    assert told(inch) == told(metric)


def test_a_file_in_inches_is_planned():
    inch, metric = in_both(JOB)
    assert " mm" not in inch.replace("mm or in", "")
    assert told(inch, 3) == told(metric, 3)
    assert told(inch)["optimal"]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('name = "2I"', 'name = "1I"', "valve.2.name: found '1I' twice, accepted: once"),
        ('kind = "intake"\nstem', 'kind = "outlet"\nstem', "found 'outlet', accepted: intake"),
        ('"1.05 mm"', '"1.05"', "valve.1.stand_down: found '1.05'"),
        ('["8.018 mm", "8.022 mm"]', '["8.022 mm", "8.018 mm"]', "the smallest first"),
        ('min = "0.90 mm", max = "1.40 mm"', 'min = "1.5 mm", max = "1.4 mm"', "min not above max"),
        ('margin = { min = "1.0 mm" }', 'margin = { max = "1.0 mm" }', "found max, accepted: min"),
        ('min = "285 N"', 'min = "285 mm"', "kind.intake.spring_load"),
        ('spring_tested_at = "40.5 mm"', "", "needed with it: spring and spring_tested_at"),
        ('lift = "9.5 mm"', "", "lift, solid_height and bind_margin_min together"),
        ('["31 mm", "640 N"]', '["31 mm", "200 N"]', "a larger load at every smaller height"),
        ("replace_guide = {", "polish_guide = {", "unknown step, accepted: replace_guide"),
        (', most = "0.40 mm"', "", "prices.step.cut_seat: most is missing"),
        ('takes = "0.005 mm"', 'most = "0.005 mm"', "prices.step.lap: found a depth"),
        ('least = "0.03 mm"', 'least = "0.50 mm"', "least first"),
        ('guide = "9.50"', 'guide = "9.505"', "found '9.505', accepted: a price such"),
        ("minutes = 16", "minutes = -1", "prices.step.replace_guide.minutes"),
        ('name = "+0.1"\nkind = "intake"', 'name = "+0.1"\nkind = "x"', "found 'x', accepted"),
        ('name = "2I"', 'name = "2\\nI"', "valve.2.name: found '2\\nI', accepted: signs that"),
        (
            "[[prices.oversize]]",
            101 * '[[prices.shim]]\nthickness = "1 mm"\nprice = "0"\n' + "[[prices.oversize]]",
            "prices.shim: found",
        ),
        ("pairing = true", "paring = true", "unknown key"),
        ("number = 2", "number = 3", "cylinder.2.number: found 3, accepted: a cylinder that"),
        ("number = 2", "number = 1", "cylinder.2.number: found 1 twice, accepted: once"),
        ("per_cut = 1.5", "per_cut = -1", "kind.intake.seat_width_per_cut"),
    ],
)
def test_a_bad_file_is_said_in_a_sentence(
    old: str, new: str, words: str, run_cli: RunCli, tmp_path: Path
):
    """File, line, field, found, accepted; status 2, nothing on standard output."""
    file = tmp_path / "job.toml"
    file.write_text(changed((old, new)))
    status, out, err = run_cli("plan", file, "--json")
    assert (status, out) == (2, ""), err
    assert words in err


@pytest.mark.parametrize("words", [("--seconds", "0"), ("--alternatives", "99")])
def test_a_bad_argument_is_said_in_a_sentence(words, run_cli: RunCli, tmp_path: Path):
    file = tmp_path / "job.toml"
    file.write_text(JOB)
    status, _, err = run_cli("plan", file, *words)
    assert status == 2
    assert f"{words[0]}: found {words[1]}, accepted" in err


@pytest.mark.parametrize(
    ("old", "new", "told", "cost"),
    [
        # Reamed instead: 9 + 2 + 11 + 2 minutes, a valve of 26.00, two seals; no face work.
        ('guide = "9.50"\n', "",
         "prices.part.intake.guide; left out there: replace guide", "53.00"),
        ('seal = "1.50"\n', "", "prices.part.intake.seal; the cost is without seals", "46.10"),
        ("replace_guide = { minutes = 16 }", "replace_guide = {}",
         "prices.step.replace_guide; left out: replace guide", "53.00"),
        ('valve = "26.00"', "", "prices.oversize.+0.1.valve; left out: the size", "49.10"),
        # The other shim does: 0.762, at the same price.
        ('price = "0.60"', "", "prices.shim.0.381 mm; left out: the shim", "49.10"),
    ],
)  # fmt: skip
def test_a_missing_price_leaves_a_partial_plan(
    old: str, new: str, told: str, cost: str, run_cli: RunCli, tmp_path: Path
):
    """What has no price is left out and named; the rest is planned, and marked as partial."""
    file = tmp_path / "job.toml"
    file.write_text(JOB.replace(old, new, 1))
    status, out, _ = run_cli("plan", file)
    lines = out.splitlines()
    assert (status, lines[:2]) == (1, ["Without a price:", f"  {told}"])
    least = "at least " if "seal" in told else ""
    assert lines[2] == f"Cost: {least}{cost} EUR, the cheapest of what has a price"
    assert lines[3].startswith("Partial: made of what has a price")
    status, out, _ = run_cli("plan", file, "--json")
    found = json.loads(out)
    assert (found["partial"], found["unpriced"]) == (True, [told])
    assert found["at_least"] is ("seal" in told)


def test_where_no_plan_is_left_the_missing_prices_stand_above(run_cli: RunCli, tmp_path: Path):
    """Without the price of an hour nothing is offered that takes minutes: one line names it."""
    file = tmp_path / "job.toml"
    file.write_text(changed(('hour = "60.00"', "")))
    status, out, _ = run_cli("plan", file)
    assert status == 1
    assert out.startswith("Without a price:\n  prices.hour; left out: replace guide, ream guide,")
    assert "No offered work keeps these limits together" in out


def test_a_step_without_a_price_is_not_done_by_trying_it(run_cli: RunCli, tmp_path: Path):
    file = tmp_path / "job.toml"
    file.write_text(changed(('guide = "9.50"\n', "")))
    _, out, _ = run_cli("plan", file, "--try", "1I replace guide")
    assert "cannot be done so: it has no price" in out


def test_a_step_can_be_tried(run_cli: RunCli, tmp_path: Path):
    """By hand: 0.10 mm off the seat of 2I moves its heights; 34 N/mm of spring lose 3.4 N.

    The seat gets 0.15 mm wider, at 1.5 a depth.
    The installed height, 41.1, is then at its limit of 41.2: no more seat, but 1.0 mm of shims.
    A skim is one for all: 1I at 1.05 of at least 0.90 + 1.645 * 0.008 leaves 0.13684.
    """
    file = tmp_path / "job.toml"
    file.write_text(JOB)
    status, out, _ = run_cli("plan", file, "--try", "2I cut seat 0.10 mm", "--json")
    found = json.loads(out)
    rows = {one["name"]: one for one in found["figures"]}
    moved = {name: round(one["after"] - one["before"], 9) for name, one in rows.items()
             if one["after"] is not None and one["after"] != one["before"]}  # fmt: skip
    heights = ("stand-down", "tip height", "installed spring height", "retainer-to-seal")
    assert {name: moved[name] for name in heights} == dict.fromkeys(heights, 0.1)
    assert (moved["seat width"], moved["spring load"], moved["coil-bind margin"]) == (
        0.15, -3.4, 0.1)  # fmt: skip
    assert (rows["seat runout"]["before"], rows["seat runout"]["after"]) == (0.07, None)
    assert rows["guide bore, largest"]["verdict"] == "outside"
    assert (found["broken"], found["mended"]) == ([], ["seat runout max"])
    # No depth of a cut mends what its guide and its valve's face lack.
    assert found["beyond"] == ["guide bore max", "guide clearance max", "valve face runout max"]
    assert (status, found["good"], found["cannot"], found["cost"]) == (1, False, [], 11.0)
    left = {one["step"]: (one["most_mm"], one["held_by"]) for one in found["left"]}
    assert left["cut seat"] == (0.0, "installed spring height max")
    assert left["shim"] == (1.0, "installed spring height min")
    assert left["skim"] == (0.13684, "stand-down min at 1I")
    status, out, _ = run_cli("plan", file, "--try", "2I cut seat 0.11 mm")
    assert status == 1
    assert "no longer kept: installed spring height max" in out
    assert "at least 0.010 mm (installed spring height max), up to 1.010 mm" in out


def test_what_was_not_kept_and_still_is_not_is_said(run_cli: RunCli, tmp_path: Path):
    """Nor is a change of load told that is none in the tenth of a newton that is shown."""
    file = tmp_path / "job.toml"
    file.write_text(changed(('"1.05 mm"', '"1.90 mm"')))
    status, out, _ = run_cli("plan", file, "--try", "1I lap 0.001 mm")
    assert status == 1
    assert "not kept before, and not now: stand-down max" in out
    assert "spring load" not in out
    assert "seat runout" not in out  # measured, within, and no lapping moves it


def test_what_is_told_to_be_left_is_rounded_to_the_inside(run_cli: RunCli, tmp_path: Path):
    """By hand: of 0.13684 a skim of 0.1 leaves 0.03684, of which a dial may take 0.036."""
    file = tmp_path / "job.toml"
    file.write_text(JOB)
    _, out, _ = run_cli("plan", file, "--try", "2I skim 0.1 mm")
    assert "skim: up to 0.036 mm (stand-down min at 1I)" in out
    assert run_cli("plan", file, "--try", "skim 0.136 mm")[0] == 0
    status, out, _ = run_cli("plan", file, "--try", "skim 0.137 mm")
    assert (status, "no longer kept: stand-down min at 1I" in out) == (1, True)
    assert "skim: none (stand-down min at 1I)" in out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("2I cut", "--try: found '2I cut', accepted: such as '2I cut seat 0.10 mm'"),
        ("9E skim 0.1 mm", "--try: found the valve '9E', accepted: 1I, 2I"),
        ("1I polish 0.1 mm", "found the step 'polish', accepted: cut seat, fit insert, lap"),
        ("polish 0.1 mm", "found 'polish 0.1 mm', accepted: such as '2I cut seat 0.10 mm'"),
        ("1I", "--try: found '1I', accepted: such as '2I cut seat 0.10 mm'"),
        ("lap 0.1 mm", "found lap at no valve, accepted: one of 1I, 2I before it"),
        ("1I replace guide 0.1 mm", "found 0.1 mm of replace guide, accepted: no depth"),
        ("1I lap", "found no depth of lap, accepted: such as"),
        ("1I skim 0.1", "--try: found '0.1'"),
        ("1I lap -0.1 mm", "found -0.1 mm of lap, accepted: 0 or more; below 0 only of shim"),
        ("1I cut seat -0.1 mm", "accepted: 0 or more; 'fit insert' lifts the valve; below 0"),
        ("1I skim -0.1 mm", "found -0.1 mm of skim, accepted: 0 or more"),
    ],
)
def test_a_trial_that_is_not_understood_is_said(
    words: str, told: str, run_cli: RunCli, tmp_path: Path
):
    file = tmp_path / "job.toml"
    file.write_text(JOB)
    status, out, err = run_cli("plan", file, "--try", words)
    assert (status, out) == (2, "")
    assert told in err
