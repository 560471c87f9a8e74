"""What runs beside a bench is never missed in silence, and what is said early is not lost."""

from __future__ import annotations

import asyncio

import pytest
from bench_kit import run, running

from gaugelink.commands.running import Telling, beside


def test_what_ends_by_a_fault_is_told():
    told: list[str] = []
    faults: list[dict[str, object]] = []

    async def breaks():
        raise ZeroDivisionError("a fault of the program")

    async def test():
        async with beside(breaks(), "looking for lost gauges", told.append):
            while not told:  # noqa: ASYNC110  nobody else is told
                await asyncio.sleep(0)

    run(test(), faults=faults)
    [words] = told
    assert words.startswith("looking for lost gauges has stopped by a fault of the program (a fa")
    assert words.endswith("; start the bench again")
    assert [type(context["exception"]) for context in faults] == [ZeroDivisionError]


@pytest.mark.parametrize("wait", [True, False])
def test_what_is_broken_off_at_the_end_is_no_fault(wait):
    async def goes_on():
        await asyncio.Event().wait()

    async def test():
        async with beside(goes_on(), "something"):
            if wait:
                await asyncio.sleep(0)

    run(test())


def test_what_is_said_before_there_is_a_page_is_shown_on_it(tmp_path):
    echoed: list[str] = []

    async def test():
        telling = Telling(echo=echoed.append)
        telling.say("warning", "first")
        telling.say("note", "second")
        telling.changed()
        async with running(tmp_path) as rig:
            telling.show(rig.view())
            telling.say("note", "third")
            shown = [message["words"] for message in telling.view.messages]
        assert shown == ["third", "second", "first"]  # the newest first
        assert echoed == ["first", "second", "third"]

    run(test())
