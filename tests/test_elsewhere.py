"""A step that is tried at one valve says what it does to the rest of the head."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from hypothesis import given, strategies as st
from planning_heads import small_head
from test_plan_command import JOB, changed

from gaugelink.commands.plan_file import load_task
from gaugelink.commands.plan_try import tried
from gaugelink.planning.allowances import allowance
from gaugelink.planning.elsewhere import elsewhere, left_of_skim
from gaugelink.planning.held import as_found
from gaugelink.quantity import parse_length
from gaugelink.view.trial import trial_document

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import RunCli

    from gaugelink.planning.allowances import Step
    from gaugelink.planning.task import Task


def mm(text: str) -> int:
    return parse_length(text, "mm").pm


def asked(
    task: Task, valve: str, step: Step, depth: str
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    at = [place.name for place in task.places].index(valve)
    return elsewhere(task, at, step, mm(depth))


def test_a_skim_sinks_into_every_valve_s_room():
    """By hand: 1I stands at 1.05; less 0.13 is 0.92, less 0.14 is 0.91, within 0.013 of 0.90."""
    task = load_task(JOB, "job.toml")
    assert asked(task, "2I", "skim", "0.13") == ((), ())
    assert asked(task, "2I", "skim", "0.14") == (("stand-down min at 1I",), ())
    assert asked(task, "1I", "skim", "0.14") == ((), ())  # its own is told with its figures
    assert asked(task, "2I", "cut seat", "0.14") == ((), ())
    deep = load_task(changed(('"1.05 mm"', '"1.45 mm"')), "job.toml")
    assert asked(deep, "2I", "skim", "0.14") == ((), ("stand-down max at 1I",))


def test_a_skim_lets_the_injectors_of_other_cylinders_stand_out():
    """By hand: 2.46 + 0.10 is beyond 2.55 at the second cylinder, 2.41 + 0.10 is not."""
    task = load_task(changed(('max = "2.80 mm"', 'max = "2.55 mm"')), "job.toml")
    assert asked(task, "1I", "skim", "0.10") == (("injector protrusion max at cylinder 2",), ())
    assert asked(task, "2I", "skim", "0.10") == ((), ())


def test_page_and_command_tell_it(run_cli: RunCli, tmp_path: Path):
    """With the step's own limits; the status says that something is broken."""
    task = load_task(JOB, "job.toml")
    told = tried(task, "2I  skim  0.25 mm")
    assert told["broken"] == ["stand-down min at 1I"]
    assert told["beyond"][-1] == "stand-down min at 1I"
    assert trial_document(task, 1, "skim", mm("0.25"))["broken"] == ["stand-down min at 1I"]
    job = tmp_path / "job.toml"
    job.write_text(JOB)
    status, out, _ = run_cli("plan", job, "--try", "2I skim 0.25 mm")
    assert (status, "no longer kept: stand-down min at 1I" in out) == (1, True)


def test_a_step_beyond_what_shop_or_maker_allow_is_told(run_cli: RunCli, tmp_path: Path):
    """A tip that may lose 0.25 loses 0.30: no limit of the book is broken, and yet."""
    job = tmp_path / "job.toml"
    job.write_text(JOB)
    status, out, _ = run_cli("plan", job, "--try", "1I grind tip 0.30 mm")
    assert status == 1
    assert "cannot be done so: deeper than shop or maker allow at once, 0.250 mm" in out
    assert "grind tip: none (most of this step (grind tip))" in out
    assert run_cli("plan", job, "--try", "1I grind tip 0.25 mm")[0] == 0


@given(st.integers(0, 400), st.data())
def test_what_is_left_of_a_skim_is_what_every_place_bears(seed: int, data: st.DataObject):
    """Held against every place by itself; what is left can be done, and no picometre more."""
    task = small_head(seed)
    place = data.draw(st.sampled_from(range(len(task.places))))
    own = allowance(as_found(task, place), "skim")
    found = left_of_skim(task, place, "lap", 0, own)
    each = [allowance(as_found(task, at), "skim") for at in range(len(task.places))]
    assert found.most_pm == min((one.most_pm for one in each if one.most_pm is not None),
                                default=None)  # fmt: skip
    assert found.least_pm == max(one.least_pm for one in each)
    again = left_of_skim(task, place, "skim", 1000, replace(own, most_pm=None, held_by=""))
    others = [one.most_pm for at, one in enumerate(each) if at != place and one.most_pm is not None]
    assert again.most_pm is None or again.most_pm <= min(others)
