"""One time bounds a plan, its alternatives and the search for limits in conflict together.

The clock is a test's own; nothing waits, and nothing here is timed.
"""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest
import scipy.optimize
from planning_heads import small_head
from test_cheapest_plan import lifted, told
from test_plan_command import JOB, changed
from test_report_pdf import squeezed, text_of

from gaugelink.commands import plan as plan_command
from gaugelink.commands.plan_document import document, text
from gaugelink.commands.plan_file import load_task
from gaugelink.planning.budget import Budget, OutOfTime
from gaugelink.planning.conflict import Conflict, conflict
from gaugelink.planning.held import limits_at
from gaugelink.planning.plan import Plan, alternatives, plan
from gaugelink.report.pdf import make_pdf
from gaugelink.view.advice import advice_document, advice_lines

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import RunCli

    from gaugelink.planning.task import Task


class Clock:
    """A clock that stands still, or goes on by so much with every look at it; seconds."""

    def __init__(self, tick: float = 0.0) -> None:
        self.now, self.tick = 0.0, tick

    def __call__(self) -> float:
        """Give the time."""
        now = self.now
        self.now += self.tick
        return now


def task_of(text_: str = JOB) -> Task:
    return load_task(text_, "job.toml")


NOTHING_WORKS = changed(
    ('max = "1.40 mm"', 'max = "1.21 mm"'),
    *((f"{name} = {{", f"# {name} = {{") for name in ("fit_insert", "skim")),
)


def test_what_the_plan_has_taken_is_not_there_for_alternatives():
    """Two there are; with the time over none is looked for, and that is said."""
    task, clock = task_of(), Clock()
    budget = Budget(60, clock)
    best = plan(task, budget)
    assert isinstance(best, Plan)
    clock.now = 59.0
    rest = document(task, best, 3, budget)
    assert (len(rest["alternatives"]), rest["alternatives_complete"]) == (2, True)
    assert not [line for line in text(task, rest) if "There may be" in line]
    assert advice_document(rest)["more_words"] == ""
    clock.now = 60.0
    rest = document(task, best, 3, budget)
    assert (rest["alternatives"], rest["alternatives_complete"]) == ([], False)
    assert rest["optimal"]
    assert "There may be alternatives within 10 %." in text(task, rest)
    words = advice_document(rest)["more_words"]
    assert words == "There may be alternatives within 10 %."
    assert squeezed(words) in printed(rest)
    # Who wants none is not told of any.
    assert document(task, best, 0, budget)["alternatives_complete"]


def printed(found: dict[str, Any]) -> str:
    return text_of(make_pdf({"advice": advice_document(found)}, {}))


def test_the_longer_it_takes_the_more_alternatives_are_found_until_there_are_no_more():
    """Whenever the time ends, what was found stands, and no more is claimed."""
    task = task_of()
    best = plan(task)
    assert isinstance(best, Plan)
    whole = [told(one) for one in alternatives(task, best).plans]
    counts = []
    for seconds in range(1, 30):
        found = alternatives(task, best, budget=Budget(seconds, Clock(tick=1)))
        assert all(told(one) in whole for one in found.plans)
        counts.append(len(found.plans))
        if found.complete:
            break
    else:
        raise AssertionError
    assert counts[0] == 0
    assert counts == sorted(counts)
    assert set(counts) == {0, 1, 2}
    assert [told(one) for one in found.plans] == whole
    some = document(task, best, 3, Budget(counts.index(1) + 1, Clock(tick=1)))
    assert "There may be more alternatives within 10 %." in text(task, some)


def test_as_many_alternatives_as_are_wanted_are_enough():
    task = task_of()
    best = plan(task)
    assert isinstance(best, Plan)
    one = alternatives(task, best, most=1)
    assert (len(one.plans), one.complete) == (1, True)


def test_a_plan_that_is_not_proved_leaves_no_time_for_others_and_tells_the_gap():
    task = task_of()
    best = plan(task)
    assert isinstance(best, Plan)
    doubtful = document(task, replace(best, bound_cents=best.cents // 2), 3)
    assert (doubtful["optimal"], doubtful["alternatives_complete"]) == (False, False)
    lines = list(text(task, doubtful))
    assert lines[0].endswith("at most 50.0 % could be saved by a better plan")
    assert "There may be alternatives within 10 %." in lines


def every_limit(task: Task) -> set[tuple[str, str]]:
    found = {(place.name, name) for place in task.places for name in limits_at(task, place)}
    return found | {("", "head thickness min"), ("", "head-face flatness max")}


def test_whenever_the_search_ends_what_is_named_is_in_conflict_and_no_more_is_claimed():
    """Each answer is held against plans for the head with only those limits."""
    seen: Counter[str] = Counter()
    for seed in range(160):
        task = replace(small_head(seed), pairing=False)
        whole = plan(task)
        if isinstance(whole, Plan) or len(whole.limits) < 2:
            continue
        seen["heads"] += 1
        every, before = every_limit(task), None
        for seconds in range(1, 10_000, 3):
            found = conflict(task, Budget(seconds, Clock(tick=1)))
            if found != before:
                others = every - set(found.limits)
                assert isinstance(plan(lifted(task, others)), Conflict)
                if found.irreducible:
                    assert all(isinstance(plan(lifted(task, others | {one})), Plan)
                               for one in found.limits)  # fmt: skip
                assert before is None or len(found.limits) <= len(before.limits)
                seen["waiting"] += not found.irreducible
                seen["irreducible"] += found.irreducible and not found.smallest
                before = found
            if found.smallest:
                break
        assert found == whole
        assert found.smallest
        if seen["heads"] == 4:
            break
    assert min(seen["heads"], seen["waiting"], seen["irreducible"]) >= 4, seen


def test_where_no_time_is_left_every_limit_is_named_and_nothing_claimed_of_any():
    task = task_of(NOTHING_WORKS)
    clock = Clock()
    budget = Budget(20, clock)
    clock.now = 20.0
    found = conflict(task, budget)
    assert not found.irreducible
    assert not found.smallest
    whole = plan(task)
    assert isinstance(whole, Conflict)
    assert set(whole.limits) < set(found.limits)
    out = document(task, found, 3, budget)
    assert (out["irreducible"], out["smallest"], out["optimal"]) == (False, False, False)
    words = "time ran out: some of them may have nothing to do with it; there may be a smaller set"
    assert f"  ({words})" in text(task, out)
    assert words in " ".join(advice_lines(advice_document(out), 1000))
    assert squeezed(words) in printed(out)
    proved = document(task, whole, 3, budget)
    assert (proved["irreducible"], proved["smallest"]) == (True, True)
    assert squeezed("(no smaller set is in conflict)") in printed(proved)


def test_every_run_of_the_solver_has_what_is_left(monkeypatch: pytest.MonkeyPatch):
    """No limit is ever larger than the one before, for all runs of one answer."""
    given: list[float] = []
    whole = scipy.optimize.milp

    def noted(*args: Any, options: dict[str, float], **more: Any) -> Any:
        if "time_limit" in options:  # what takes next to no time has none
            given.append(options["time_limit"])
        return whole(*args, options=options, **more)

    monkeypatch.setattr(scipy.optimize, "milp", noted)
    for job, runs in ((JOB, 3), (NOTHING_WORKS, 10)):
        given.clear()
        task, budget = task_of(job), Budget(1000, Clock(tick=1))
        found = plan(task, budget)
        count = len(given)
        document(task, found, 3, budget)
        assert len(given) >= runs
        assert (len(given) > count) == isinstance(found, Plan)
        assert given == sorted(given, reverse=True)
        assert len({*given}) == len(given)
        assert all(0 < limit < 1000 for limit in given)


def test_where_the_time_is_over_before_any_plan_that_is_said():
    clock = Clock()
    budget = Budget(2.5, clock)
    clock.now = 2.5
    with pytest.raises(OutOfTime, match=r"found no plan in 2\.5 s"):
        plan(task_of(), budget)


def test_the_command_says_what_it_had_no_time_for(
    run_cli: RunCli, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """A plan is a plan without alternatives too: exit status 0. Without any plan it is 2."""

    def told_in(seconds: int, job: str, *words: str) -> tuple[int, str, str]:
        clock = SimpleNamespace(monotonic=Clock(tick=1))
        monkeypatch.setattr(plan_command, "time", clock)
        file = tmp_path / "job.toml"
        file.write_text(job)
        return run_cli("plan", file, "--seconds", str(seconds), *words)

    seen: Counter[str] = Counter()
    for seconds in range(1, 40):
        status, out, err = told_in(seconds, JOB, "--json")
        if status == 2:
            assert f"--seconds: found no plan in {seconds} s; it takes more time" in err
            assert out == ""
            assert not seen["planned"]
            seen["nothing"] += 1
            continue
        found = json.loads(out)
        assert (status, found["cost"], found["optimal"]) == (0, 49.1, True)
        seen["planned"] += 1
        more = "There may be" in told_in(seconds, JOB)[1]
        assert more != found["alternatives_complete"]
        seen["more"] += more
        if not more:
            break
    assert min(seen["nothing"], seen["more"], seen["planned"] - seen["more"]) >= 1, seen
    status, out, _ = told_in(5, NOTHING_WORKS)
    assert status == 1
    assert "time ran out: some of them may have nothing to do with it" in out
    assert "no smaller set" in told_in(1000, NOTHING_WORKS)[1]
