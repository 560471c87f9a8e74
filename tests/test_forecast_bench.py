"""A bench with work on its head: what is expected is said, and a surprise at once."""

from __future__ import annotations

import asyncio

import pytest
from bench_kit import SHEET, STAND_DOWN, run, running
from cable_kit import nothing_left
from view_kit import measure_all, take
from view_shapes import STATE, check

from gaugelink.commands.advising import Advisor
from gaugelink.deeds import Assign, DoWork, StrikeOut
from gaugelink.errors import InputError, SessionError
from gaugelink.quantity import parse_length
from gaugelink.view.forecast import preview_lines
from gaugelink.view.report import report_document

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")

CUT = DoWork("seat cut", ("1I", "1E"), parse_length("0.15 mm"))


async def worked(rig) -> None:
    """Measure the head (stand-downs 1.08 and 1.12 mm), and cut both seats."""
    await measure_all(rig)
    await rig.bench.do(CUT)
    assert rig.session.cursor == STAND_DOWN


def test_the_next_step_says_what_is_expected_after_work(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            view = rig.view()
            await rig.bench.go(STAND_DOWN)
            await take(rig, "D1", b" 1.08\r")
            await rig.bench.go(STAND_DOWN)
            assert view.next_document()["expected"] == "", "there was no work yet"
            await rig.bench.do(CUT)
            assert view.next_document()["expected"] == "expected 1.23 mm after seat cut 0.15 mm"
            assert view.state()["forecast"] == []

    run(test())


def test_a_surprise_is_told_at_once_and_once_and_goes_with_its_reading(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            view = rig.view()
            await worked(rig)
            place = await take(rig, "D1", b" 1.39\r")
            words = "1I stand-down: seat cut 0.15 mm was told, it moved by 0.31 mm"
            assert [one for one in rig.audience.warnings() if words in one] == [
                rig.audience.warnings()[-1]
            ]
            assert "another depth was taken off than told" in rig.audience.warnings()[-1]
            await take(rig, "D1", b" 1.28\r")
            assert len([one for one in rig.audience.warnings() if words in one]) == 1
            state = view.state()
            check(state, STATE)
            rows = [(one["valve"], one["before"], one["expected"], one["found"], one["word"],
                     one["difference"]) for one in state["forecast"]]  # fmt: skip
            assert rows == [
                ("1I", "1.08 mm", "1.23 mm", "1.39 mm", "surprise", "+0.16 mm"),
                ("1E", "1.12 mm", "1.27 mm", "1.28 mm", "as foretold", "+0.01 mm"),
            ]
            assert state["forecast"][0]["place"] == place
            assert state["forecast"][0]["words"] == words
            head = await asyncio.to_thread(rig.store.publish_head, rig.clock.utc())
            assert report_document(view, head)["forecast"] == state["forecast"]
            await rig.bench.do(StrikeOut(place, "the wrong valve"))
            assert [one["valve"] for one in view.state()["forecast"]] == ["1E"]

    run(test())


def test_a_value_from_the_tray_is_held_against_the_forecast_too(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            view = rig.view()
            await worked(rig)
            await rig.bench.go(0)
            place = await take(rig, "D1", b" 1.60\r")
            await rig.bench.do(Assign(place, STAND_DOWN, "it was sent too early"))
            assert [one["word"] for one in view.state()["forecast"]] == ["surprise"]
            assert "it moved by 0.52 mm" in rig.audience.warnings()[-1]

    run(test())


def test_a_new_valve_is_expected_to_be_as_the_book_has_new_ones(tmp_path):
    async def test():
        sheet = SHEET.replace('new_max = "7.975 mm"',
                              'new_min = "7.955 mm"\nnew_max = "7.975 mm"')  # fmt: skip
        async with running(tmp_path, sheet_text=sheet) as rig:
            view = rig.view()
            await rig.fill_stems()
            rig.session.sheet = rig.sheet
            await rig.bench.do(DoWork("valve replaced", ("1I",)))
            assert view.next_document()["expected"] == (
                "expected 7.955 to 7.975 mm after valve replaced"
            )

    run(test())


def test_what_would_be_foretold_is_shown_before_the_work_is_told(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            view = rig.view()
            await measure_all(rig)
            size = rig.store.size

            def lines(*asked):
                return preview_lines(rig.session, *asked, rig.bench.stamp())

            assert lines("seat cut", ("1I",), "0.15 mm") == [
                "1I stand-down: 1.08 mm \u2192 1.23 mm"
            ]
            assert lines("face skimmed", (), "0.10 mm") == [
                "1I stand-down: 1.08 mm \u2192 0.98 mm",
                "1E stand-down: 1.12 mm \u2192 1.02 mm",
            ]
            assert lines("seat cut", ("1I",), "0.10 mm at 45\u00b0") == [
                "1I stand-down: 1.08 mm \u2192 1.221 mm"
            ]
            assert lines("seat cut", ("1I",), "") == ["not foretold: stand-down"]
            with pytest.raises(SessionError, match="say which"):
                lines("seat cut", (), "0.15 mm")
            with pytest.raises(InputError):
                lines("seat cut", ("1I",), "0.")
            await rig.bench.do(CUT)
            assert lines("seat lapped", ("1I",), "0.01 mm") == [
                "1I stand-down: 1.23 mm \u2192 1.24 mm"
            ]
            advisor = Advisor(lambda: view)
            asked = {"about": "work", "operation": "seat cut", "valves": "1I", "depth": "0.1 mm"}
            assert await advisor.ask(asked) == (
                200, {"lines": ["1I stand-down: 1.23 mm \u2192 1.33 mm"]}
            )  # fmt: skip
            assert (await advisor.ask(asked | {"valves": ""}))[0] == 409
            assert (await advisor.ask(asked | {"depth": "much"}))[0] == 400
            assert rig.store.size == size + 1, "only the work that was done is on record"

    run(test())
