"""A page is told the cheapest plan and what a step would do, and nothing is changed by asking."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from itertools import count
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest
from bench_kit import Rig, run, running
from cable_kit import nothing_left
from view_kit import WITH_FACE, measure_all, take

from gaugelink import content
from gaugelink.commands import advising
from gaugelink.commands.advising import Advisor
from gaugelink.commands.plan_file import load_prices
from gaugelink.deeds import DoWork, Inspect, TakePlan
from gaugelink.errors import SessionError
from gaugelink.quantity import parse_length
from gaugelink.view.report import report_document

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable
    from pathlib import Path

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")

SHOP = load_prices(*content.read("sim/prices", "demo-shop"), kinds=("intake", "exhaust"))
SHEET = WITH_FACE.replace('new_max = "7.975 mm"', 'new_min = "7.960 mm"\nnew_max = "7.975 mm"', 1)
PLAN = {"about": "plan"}
TRIAL = {"about": "trial", "valve": "1E", "step": "cut seat", "depth": "0.10 mm"}


def measured(tmp_path: Path, test: Callable[[Rig], Awaitable[None]]) -> None:
    """Run a test on a head that is measured whole: the stem of 1E is worn, the rest is good."""

    async def whole() -> None:
        async with running(tmp_path, sheet_text=SHEET) as rig:
            await measure_all(rig)
            await test(rig)

    run(whole())


def adviser(rig: Rig, *, prices: bool = True) -> Advisor:
    view = rig.view()
    return Advisor(lambda: view, SHOP if prices else None)


def figure(answer: dict[str, Any], name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(item for item in answer["figures"] if item["name"] == name)
    return found


def test_the_head_is_planned_as_it_stands(tmp_path):
    async def test(rig: Rig) -> None:
        before = rig.store.size
        status, answer = await adviser(rig).ask(PLAN)
        assert status == 200
        # 2 minutes at 60.00 and a valve at 23.00; lapping 2.00; two seals at 1.50.
        assert answer["cost"] == "30.00 EUR"
        assert answer["standing"] == "the cheapest at these prices"
        assert answer["valves"] == [{"valve": "1E", "words": "new valve; lap, about 0.005 mm"}]
        assert [(row["valves"], row["done"], row["depth"]) for row in answer["lines"]] == [
            (["1E"], "valve replaced", ""), (["1E"], "seat lapped", "0.005 mm")]  # fmt: skip
        # What this sheet does not measure is not asked for again.
        assert answer["remeasure"] == [
            {"what": what, "words": "1E"}
            for what in ("stem diameter", "guide clearance", "stand-down")
        ]
        assert answer["untouched"] == ["1I"]
        assert "1 valve exhaust" in answer["parts"]
        assert not answer["missing"]
        assert rig.store.size == before

    measured(tmp_path, test)


def test_it_is_planned_again_only_when_it_stands_differently(tmp_path, monkeypatch):
    async def test(rig: Rig) -> None:
        advisor = adviser(rig)
        calls: list[Any] = []
        whole = advising.plan

        def counted(task: Any, seconds: float) -> Any:
            calls.append(task)
            return whole(task, seconds)

        monkeypatch.setattr(advising, "plan", counted)
        first, second = await asyncio.gather(advisor.ask(PLAN), advisor.ask(PLAN))
        assert first == second
        assert len(calls) == 1
        await rig.bench.do(DoWork("seat cut", ("1I",), None))
        _, third = await advisor.ask(PLAN)
        assert len(calls) == 2
        assert "1I: stand-down" in third["missing"]
        assert third["standing"].endswith("a partial plan, because readings are missing")

    measured(tmp_path, test)


def test_a_seat_that_was_lapped_keeps_its_valve(tmp_path):
    async def test(rig: Rig) -> None:
        advisor = adviser(rig)
        await rig.bench.do(DoWork("seat lapped", ("1I",), None))
        found = advisor._survey(rig.view())
        assert [place.married for place in found.task.places] == [True, False]
        await rig.bench.do(DoWork("seat cut", ("1I",), None))
        found = advisor._survey(rig.view())
        assert not any(place.married for place in found.task.places)

    measured(tmp_path, test)


def test_a_step_is_tried_without_prices_and_changes_nothing(tmp_path):
    async def test(rig: Rig) -> None:
        before = rig.store.size
        status, answer = await adviser(rig, prices=False).ask(TRIAL)
        assert status == 200
        down = figure(answer, "stand-down")
        assert (down["before"], down["after"], down["moved"]) == (
            "1.120 mm", "1.220 mm", "+0.100")  # fmt: skip
        assert down["scale"]["verdict"] == "within"
        assert down["scale"]["value_mm"] == pytest.approx(1.22)
        assert answer["broken"] == []
        # 1.60 less 1.645 x 0.0085 is 1.586; 1.22 of it is used.
        (cut,) = [one["words"] for one in answer["left"] if one["step"] == "cut seat"]
        assert cut == "up to 0.366 mm, then stand-down max"
        assert rig.store.size == before

    measured(tmp_path, test)


def test_what_is_left_of_a_step_is_said_in_words(tmp_path):
    async def test(rig: Rig) -> None:
        _, answer = await adviser(rig).ask({**TRIAL, "depth": "0.47 mm"})
        left = {one["step"]: one["words"] for one in answer["left"]}
        assert left["lap"] == "none: stand-down max"
        assert (
            left["skim"]
            == "at least 0.004 mm for stand-down max, up to 0.300 mm, then most of this step (skim)"
        )

    measured(tmp_path, test)


def test_a_step_too_far_names_the_limit_that_it_breaks(tmp_path):
    async def test(rig: Rig) -> None:
        _, answer = await adviser(rig).ask({**TRIAL, "depth": "0.55 mm"})
        assert answer["broken"] == ["stand-down max"]
        assert figure(answer, "stand-down")["scale"]["verdict"] == "outside"
        assert answer["most_mm"] == 0.4  # the shop's machine

    measured(tmp_path, test)


@pytest.mark.parametrize(
    ("question", "words"),
    [
        ({"about": "weather"}, "about"),
        ({"about": "plan", "more": 1}, "more"),
        ({**TRIAL, "valve": "9E"}, "found the valve '9E', accepted: 1I, 1E"),
        ({**TRIAL, "step": "weld"}, "found the step 'weld', accepted: cut seat"),
        ({**TRIAL, "depth": "0.1"}, "0.1"),
        ({**TRIAL, "depth": "0.1 mm" * 20}, "depth"),
    ],
)
def test_a_bad_question_is_answered_in_words(tmp_path, question, words):
    async def test(rig: Rig) -> None:
        status, answer = await adviser(rig).ask(question)
        assert status == 400
        assert answer["ok"] is False
        assert words in answer["words"]

    measured(tmp_path, test)


def test_without_prices_and_without_a_job_there_is_no_plan(tmp_path):
    async def test(rig: Rig) -> None:
        status, answer = await adviser(rig, prices=False).ask(PLAN)
        assert (status, answer["ok"]) == (409, False)
        assert "prices" in answer["words"]
        status, answer = await Advisor(lambda: None, SHOP).ask(PLAN)
        assert (status, answer["ok"]) == (409, False)

    measured(tmp_path, test)


def test_no_time_for_a_plan_is_said(tmp_path, monkeypatch):
    async def test(rig: Rig) -> None:
        def slow(_task: Any, _seconds: float) -> Any:
            raise ValueError("the solver found no plan in 20 s")

        monkeypatch.setattr(advising, "plan", slow)
        status, answer = await adviser(rig).ask(PLAN)
        assert (status, answer["words"]) == (400, "the solver found no plan in 20 s")

    measured(tmp_path, test)


@pytest.mark.parametrize(
    ("tick", "words"),
    [(0.0, ""), (5.0, "There may be alternatives within 10 %."),
     (10.0, "found no plan in 20 s; it takes more time")],
)  # fmt: skip
def test_one_time_bounds_the_whole_answer(tmp_path, monkeypatch, tick: float, words: str):
    """A clock that goes on by so much with every look at it leaves all, some or none of 20 s."""

    async def test(rig: Rig) -> None:
        clock = SimpleNamespace(monotonic=(tick * look for look in count()).__next__)
        monkeypatch.setattr(advising, "time", clock)
        status, answer = await adviser(rig).ask(PLAN)
        if status == 200:
            assert answer["cost"] == "30.00 EUR"
            assert answer["more_words"] == words
        else:
            assert (status, answer["words"]) == (400, words)
        assert (status == 400) == (tick == 10.0)

    measured(tmp_path, test)


def test_the_report_takes_the_plan(tmp_path):
    async def test(rig: Rig) -> None:
        view = rig.view()
        advice = await Advisor(lambda: view, SHOP).plan()
        head = rig.store.publish_head(rig.clock.utc())
        assert report_document(view, head, advice)["advice"] == advice
        assert report_document(view, head)["advice"] is None

    measured(tmp_path, test)


def test_a_new_reading_is_seen(tmp_path):
    async def test(rig: Rig) -> None:
        advisor = adviser(rig)
        number = next(at for at, step in enumerate(rig.session.plan)
                      if step.position.valve == "1E"
                      and step.position.characteristic == "stand-down")  # fmt: skip
        await rig.bench.go(number)
        await take(rig, "D1", b" 1.30\r")
        _, answer = await advisor.ask(TRIAL)
        assert figure(answer, "stand-down")["before"] == "1.300 mm"

    measured(tmp_path, test)


def test_a_plan_is_taken_as_the_work_order_and_ticked_off_by_the_work(tmp_path):
    async def test(rig: Rig) -> None:
        advisor, view = adviser(rig), rig.view()
        _, plan = await advisor.ask(PLAN)
        take = {"do": "take-plan", "key": plan["key"], "by": " C.  D. "}
        status, answer = await advisor.take(take)
        assert (status, answer["ok"]) == (200, True)
        assert rig.kinds()[-1] == "plan-taken"
        order = view.state()["order"]
        assert (order["cost"], order["by"], order["done"], order["of"]) == (
            "30.00 EUR",
            "C. D.",
            0,
            2,
        )
        await rig.bench.do(DoWork("valve replaced", ("1E",), None))
        await rig.bench.do(DoWork("seat lapped", ("1I", "1E"), parse_length("0.004 mm"), "B. T."))
        first, second = view.state()["order"]["lines"]
        assert first["finished"]
        assert second["told"] == "1E: 0.004 mm B. T."
        assert view.state()["order"]["done"] == 2

    measured(tmp_path, test)


def test_a_plan_that_is_no_longer_the_one_shown_is_not_taken(tmp_path):
    async def test(rig: Rig) -> None:
        advisor = adviser(rig)
        _, plan = await advisor.ask(PLAN)
        await rig.bench.do(DoWork("valve replaced", ("1E",), None))
        size = rig.store.size
        for key in (plan["key"], "", "0" * 16):
            status, answer = await advisor.take({"do": "take-plan", "key": key})
            assert (status, answer["ok"]) == (409, False)
        assert rig.store.size == size
        status, answer = await advisor.take({"do": "take-plan"})
        assert (status, "key" in answer["words"]) == (400, True)
        status, answer = await adviser(rig, prices=False).take(
            {"do": "take-plan", "key": plan["key"]})  # fmt: skip
        assert (status, answer["words"]) == (409, "there is no plan to take")

    measured(tmp_path, test)


def test_a_plan_without_work_is_not_taken(tmp_path):
    async def test(rig: Rig) -> None:
        with pytest.raises(SessionError, match="no work"):
            await rig.bench.do(TakePlan("0.00 EUR", "", ()))

    measured(tmp_path, test)


def test_a_condemned_part_is_planned_for(tmp_path):
    async def test(rig: Rig) -> None:
        advisor = adviser(rig)
        await rig.bench.do(Inspect("spring", ("1I",), False, "end coil broken off", "A. N."))
        _, answer = await advisor.ask(PLAN)
        assert {"valve": "1I", "words": "new spring"} in answer["valves"]
        await rig.bench.do(Inspect("seat", ("1I",), False, "pitted", "A. N."))
        _, answer = await advisor.ask(PLAN)
        (words,) = [row["words"] for row in answer["valves"] if row["valve"] == "1I"]
        assert words.startswith("cut seat 0.030 mm")

    measured(tmp_path, test)


def test_the_order_that_was_taken_can_be_printed_however_far_the_work_is(tmp_path):
    async def test(rig: Rig) -> None:
        advisor = adviser(rig)
        kind, pdf = await advisor.paper("work-order.pdf") or ("", b"")
        assert (kind, pdf[:5]) == ("application/pdf", b"%PDF-")
        _, before = await advisor.paper("work-order.csv") or ("", b"")
        assert b"valve replaced" in before
        _, plan = await advisor.ask(PLAN)
        await advisor.take({"do": "take-plan", "key": plan["key"]})
        await rig.bench.do(DoWork("valve replaced", ("1E",), None))
        assert await advisor.paper("work-order.csv") == ("text/csv", before)
        _, parts = await advisor.paper("parts.csv") or ("", b"")
        assert b"valve,exhaust,1,1E,23.00,EUR" in parts
        dearer = replace(SHOP, parts={**SHOP.parts, ("exhaust", "valve"): 9900})
        view = rig.view()
        assert await Advisor(lambda: view, dearer).paper("parts.csv") is None

    measured(tmp_path, test)


def test_a_partial_plan_that_was_taken_can_be_printed_too(tmp_path):
    async def test(rig: Rig) -> None:
        advisor = adviser(rig)
        await rig.bench.do(DoWork("seat cut", ("1I",), None))
        _, plan = await advisor.ask(PLAN)
        assert plan["cost"] == "at least 30.00 EUR"
        await advisor.take({"do": "take-plan", "key": plan["key"]})
        assert rig.session.order is not None
        assert rig.session.order[1].cost == "at least 30.00 EUR"
        _, order = await advisor.paper("work-order.csv") or ("", b"")
        assert b"valve replaced" in order

    measured(tmp_path, test)


@pytest.mark.parametrize("name", ["secrets.pdf", "", "../work-order.pdf"])
def test_no_other_paper_is_written(tmp_path, name):
    async def test(rig: Rig) -> None:
        assert await adviser(rig).paper(name) is None
        assert await adviser(rig, prices=False).paper("parts.csv") is None

    measured(tmp_path, test)
