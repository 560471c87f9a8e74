"""What a page draws: whole at every moment, in the gauges' own words."""

from __future__ import annotations

from dataclasses import replace

import pytest
from bench_kit import (
    ROCK,
    SPRING,
    rocked,
    run,
    running,
    spring,
    stem,
    sweep,
)
from cable_kit import nothing_left
from view_kit import FACE, WITH_FACE, measure_all, reading, rock_at, take, valve
from view_shapes import STATE, check, misfits

from gaugelink.capture.actions import act
from gaugelink.deeds import Assign, DoWork, Retake, Skip, StrikeOut
from gaugelink.view.parts import reading_scale
from gaugelink.view.state import MOST_MESSAGES, MOST_READINGS, MOST_TRAY, live_document

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")


def test_the_state_is_whole_at_every_moment_of_a_job(tmp_path):
    async def test():
        async with running(tmp_path, sheet_text=WITH_FACE) as rig:
            view = rig.view()
            moments = 0

            def look():
                nonlocal moments
                moments += 1
                check(view.state(), STATE)

            look()
            rig.audience.on_change = look
            await rig.press("M1", b"noise\r")
            await rig.press("I1", rocked(3, "m"))
            await take(rig, "I1", rocked(3, "m"))
            await take(rig, "C1", spring(4790))
            await rig.bench.do(StrikeOut(rig.store.size - 1, "the jaws were dirty"))
            await rig.press("M1", stem("7.964"))
            await rig.bench.do(Retake("a chip on the anvil"))
            await rig.bench.go(0)
            await measure_all(rig)
            await rig.bench.go(SPRING)
            await rig.bench.do(Skip("broken off"))
            rig.cables["C1"].pull()
            await rig.until(lambda: bool(rig.session.lost))
            view.finished_utc = rig.clock.utc()
            look()
            assert moments > 30

    run(test())


def test_figures_are_the_gauges_own_texts(tmp_path):
    async def test():
        async with running(tmp_path, sheet_text=WITH_FACE) as rig:
            view = rig.view()
            await rig.press("M1", b"+  7.9640 MM\r")
            state = view.state()
            assert (state["last"]["text"], state["last"]["unit"]) == ("7.9640", "mm")
            assert state["last"]["raw"] == "+  7.9640 MM\\r"
            assert next(item for item in state["gauges"] if item["id"] == "M1")["text"] == "7.9640"
            assert state["live"] == {
                "gauge": "M1", "text": "7.9640", "unit": "mm", "mode": "actual"}  # fmt: skip
            await rig.press("M1", b"+  0.31358 IN\r")
            last = view.state()["last"]
            assert (last["text"], last["unit"]) == ("0.31358", "in")
            assert last["scale"]["value_mm"] == pytest.approx(7.964932, abs=1e-9)  # 25.4 mm/in
            stems = [item for item in view.state()["verdicts"]
                     if (item["valve"], item["characteristic"]) == ("1I", "stem diameter")
                     ]  # fmt: skip
            assert [item["text"] for item in stems] == ["7.9640"]
            assert stems[0]["u_text"] == "1.9 um"

    run(test())


def test_bytes_that_are_no_text_are_shown_as_escapes(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            view = rig.view()
            minus = "\u2212".encode()
            await rig.press("M1", minus + b"  7.964 MM\r")
            assert view.state()["last"]["raw"] == "\\xe2\\x88\\x92  7.964 MM\\r"
            assert view.state()["last"]["text"] == "-7.964"

    run(test())


class TestValves:
    """Each state of a valve occurs when it should."""

    def states(self, view) -> list[str]:
        return [item["state"] for item in view.state()["head"]["valves"]]

    def test_open_measuring_and_outside(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                view = rig.view()
                assert self.states(view) == ["measuring", "open"]
                await rig.fill_stems()  # 1E: 7.930 mm, below 7.935 mm by more than the guard band
                await rig.bench.go(ROCK + 1)
                assert self.states(view) == ["open", "outside"]
                one = valve(view.state(), "1E")
                assert (one["done"], one["of"]) == (2, 5)
                assert one["worst"]["verdict"] == "outside"
                assert one["worst"]["text"] == "7.930"

        run(test())

    def test_within_when_all_is_measured(self, tmp_path):
        async def test():
            async with running(tmp_path, sheet_text=WITH_FACE) as rig:
                view = rig.view()
                await measure_all(rig)
                assert self.states(view) == ["within", "outside"]
                assert valve(view.state(), "1I")["worst"]["verdict"] == "within"
                assert view.state()["next"] is None
                assert view.state()["finished"]
                assert view.state()["progress"] == {"done": 14, "of": 14, "skipped": 0}

        run(test())

    def test_undecided_near_a_limit_and_where_something_is_skipped(self, tmp_path):
        async def test():
            async with running(tmp_path, sheet_text=WITH_FACE) as rig:
                view = rig.view()
                await measure_all(rig)
                await rig.bench.go(2)
                await rig.press("M1", stem("7.936"))  # 1 um of room, guard band 3.1 um
                assert rig.session.step is None
                assert self.states(view) == ["within", "undecided"]
                await rig.bench.go(0)
                await rig.bench.do(Skip("cannot be reached"))
                assert self.states(view) == ["undecided", "undecided"]
                assert "missing: top" in valve(view.state(), "1I")["worst"]["reason"]

        run(test())

    def test_skipped_when_nothing_was_measured(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                view = rig.view()
                for _ in range(10):
                    await rig.bench.do(Skip("valve is missing"))
                assert self.states(view) == ["skipped", "skipped"]
                assert view.state()["progress"] == {"done": 0, "of": 10, "skipped": 10}

        run(test())


class TestReadings:
    def test_what_is_struck_out_keeps_its_figure_and_its_reason(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                view = rig.view()
                await rig.press("M1", stem("7.964"))
                taken = rig.store.size - 1
                await rig.bench.do(StrikeOut(taken, "a chip on the anvil"))
                parked = await take(rig, "C1", spring(4790))
                await rig.bench.do(StrikeOut(parked, "a slip"))
                refused = await take(rig, "I1", rocked(3, "m"))
                await rig.bench.do(StrikeOut(refused, "noted"))
                short = await rock_at(rig, ROCK, rocks=1)
                await rig.bench.do(StrikeOut(short, "interrupted"))
                state = view.state()
                found = {place: (reading(state, place)["state"], reading(state, place)["reason"])
                         for place in (taken, parked, refused, short)}  # fmt: skip
                assert found == {
                    taken: ("struck out", "a chip on the anvil"),
                    parked: ("struck out", "a slip"),
                    refused: ("struck out", "noted"),
                    short: ("struck out", "interrupted"),
                }
                assert reading(state, taken)["text"] == "7.964"
                assert state["tray"] == []

        run(test())

    def test_the_tray_and_what_came_out_of_it_tell_their_story(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                view = rig.view()
                parked = await take(rig, "C1", spring(4790))
                [waiting] = view.state()["tray"]
                assert (waiting["state"], waiting["valve"]) == ("unassigned", None)
                assert "came from the caliper" in waiting["reason"]
                await rig.bench.do(Assign(parked, SPRING, "measured it first"))
                state = view.state()
                assert state["tray"] == []
                assert state["last"]["text"] == "47.90"
                assert state["last"]["reason"] == f"from the tray ({parked}): measured it first"
                assert reading(state, parked)["reason"] == "assigned by a person"

        run(test())

    def test_the_newest_come_first_and_the_last_is_the_last_measurement(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                view = rig.view()
                await rig.press("M1", stem("7.964"))
                await take(rig, "C1", spring(4790))
                await rig.bench.do(Skip("bent"))
                state = view.state()
                places = [item["place"] for item in state["readings"]]
                assert places == sorted(places, reverse=True)
                assert [item["kind"] for item in state["readings"]] == [
                    "skipped", "parked", "reading"]  # fmt: skip
                assert state["last"]["text"] == "7.964"

        run(test())

    def test_a_page_is_not_given_more_than_it_can_show(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                view = rig.view()
                history = rig.session.history
                await rig.press("M1", stem("7.964"))
                [(place, first)] = list(history.items())
                for number in range(1, MOST_READINGS + 50):
                    history.put(replace(first, place=place + number))
                assert len(view.state()["readings"]) == MOST_READINGS
                await rig.press("M1", stem("7.962"))
                await take(rig, "C1", spring(4790))
                [waiting] = view.state()["tray"]
                parked = history[waiting["place"]]
                last = waiting["place"]
                for number in range(1, MOST_TRAY + 30):
                    last = waiting["place"] + 10_000 + number
                    history.put(replace(parked, place=last))
                state = view.state()
                assert state["tray_count"] == MOST_TRAY + 30
                assert len(state["tray"]) == MOST_TRAY
                assert state["tray"][-1]["place"] == last
                for number in range(50):
                    view.say("note", f"sentence {number}")
                messages = view.state()["messages"]
                assert len(messages) == MOST_MESSAGES
                assert messages[0]["words"] == "sentence 49"

        run(test())

    def test_one_reading_is_only_held_against_the_side_that_it_can_decide(self, tmp_path):
        """The smallest of several is judged: one above the upper limit proves nothing yet."""

        async def test():
            async with running(tmp_path) as rig:
                place = rig.session.plan[0].position
                above = reading_scale(rig.sheet, place, 7_990_000_000, 1_900_000)
                assert (above["lower_mm"], above["upper_mm"]) == (7.935, None)
                assert above["verdict"] == "within"
                below = reading_scale(rig.sheet, place, 7_930_000_000, 1_900_000)
                assert below["verdict"] == "outside"

        run(test())


class TestNext:
    def test_it_says_what_to_measure_with_what_and_against_which_limit(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                found = rig.view().next_document()
                assert found == {
                    "step": 0, "valve": "1I", "characteristic": "stem diameter", "station": "top",
                    "direction": "", "gauge": "M1", "gauge_kind": "micrometer",
                    "own_button": True, "sweep": False, "part": "stem",
                    "words": "Intake valve of cylinder 1: stem diameter, top",
                    "limit_words": "service min 7.935 mm, new max 7.975 mm", "lower_mm": 7.935,
                    "upper_mm": 7.975, "again": "", "expected": "",
                }  # fmt: skip

        run(test())

    def test_it_says_why_something_is_asked_for_again(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                view = rig.view()
                await rig.press("M1", stem("7.964"))
                await rig.bench.do(Retake("a chip on the anvil"))
                assert view.next_document()["again"] == "a chip on the anvil"
                await rock_at(rig, ROCK, rocks=1)
                found = view.next_document()
                assert found["sweep"]
                assert "could not be used" in found["again"]

        run(test())

    def test_the_live_figure_is_that_of_the_gauge_that_is_asked_for(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                view = rig.view()
                await rig.press("I1", rocked(3))
                assert view.state()["live"] is None
                await rig.bench.go(ROCK)
                assert view.state()["live"]["gauge"] == "I1"
                last = rig.bench.channels["I1"].last
                assert view.state()["live"] == live_document("I1", last)

        run(test())


class TestFace:
    def test_its_points_carry_their_places_and_heights(self, tmp_path):
        async def test():
            async with running(tmp_path, sheet_text=WITH_FACE) as rig:
                view = rig.view()
                await rig.bench.go(FACE)
                assert view.next_document()["part"] == "face"
                await take(rig, "I1", rocked(12))
                face = view.state()["head"]["face"]
                assert (face["length_mm"], face["width_mm"]) == (300.0, 100.0)
                assert face["points"][0] == {
                    "station": "A1", "x_mm": 0.0, "y_mm": 0.0, "value_um": 12.0}  # fmt: skip
                assert face["points"][3] == {
                    "station": "B2", "x_mm": 300.0, "y_mm": 100.0, "value_um": None}  # fmt: skip

        run(test())


def test_the_shapes_find_what_they_are_for():
    """A checker that finds nothing would let everything pass."""
    assert misfits({"a": 1}, {"a": str}) == ["document.a is 1, no <class 'str'>"]
    assert misfits({}, {"a": str}) == ["document.a is missing"]
    assert misfits({"b": 1}, {}) == ["document.b is too much"]
    assert misfits([None], [str]) == ["document[0] is None, no <class 'str'>"]
    assert misfits("x", {"y"}) == ["document is 'x', none of {'y'}"]
    assert misfits(True, int)


def test_a_sweep_that_counts_nowhere_is_in_history_and_tray_with_its_reason(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            view = rig.view()
            await rig.bench.go(ROCK)
            rig.bench.sweep_start()
            await rig.rock(sweep())
            await rig.bench.go(ROCK + 1)
            status, answer = await act(rig.bench, {"do": "sweep-stop"})
            assert (status, answer["ok"]) == (200, True)
            assert answer["words"].startswith("the sweep counts nowhere, but is kept: another")
            state = view.state()
            [parked] = state["tray"]
            assert parked == state["readings"][0]
            assert (parked["kind"], parked["state"], parked["valve"]) == (
                "parked", "not usable", None,
            )  # fmt: skip
            assert parked["text"] == f"{len(sweep())} samples"
            assert "another position was chosen while the sweep was running" in parked["reason"]
            assert state["last"] is None
            assert state["sweep"] is None
            strike = {"do": "strike-out", "place": parked["place"], "reason": "a try"}
            assert (await act(rig.bench, strike))[0] == 200
            assert view.state()["tray"] == []

    run(test())


def test_what_is_stale_says_because_of_which_work_and_counts_nowhere(tmp_path):
    async def test():
        async with running(tmp_path, sheet_text=WITH_FACE) as rig:
            view = rig.view()
            await measure_all(rig)
            before = view.state()
            assert any(item["characteristic"] == "stem diameter" for item in before["verdicts"])
            await rig.bench.do(DoWork("valve replaced", ("1I", "1E")))
            state = view.state()
            check(state, STATE)
            stems = [item for item in state["readings"]
                     if item["characteristic"] == "stem diameter"]  # fmt: skip
            assert {(item["state"], item["reason"], item["scale"]) for item in stems} == {
                ("stale", "stale: valve replaced", None)
            }
            assert all(item["text"] for item in stems), "the figure stays"
            assert not any(item["characteristic"] == "stem diameter" for item in state["verdicts"])
            assert state["next"]["again"] == "stale: valve replaced"
            assert state["progress"]["done"] < before["progress"]["done"]
            assert not state["finished"]

    run(test())
