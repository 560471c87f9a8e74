"""What a report draws, and the way back from a verdict to the bytes."""

from __future__ import annotations

import asyncio
import json

import pytest
from bench_kit import (
    GAUGES,
    ROCK,
    SPRING,
    Rig,
    run,
    running,
    spring,
    stem,
)
from cable_kit import nothing_left
from view_kit import WITH_FACE, measure_all, rock_at, take
from view_shapes import REPORT, check

from gaugelink import content
from gaugelink.deeds import Assign, DoWork, Retake, Skip, StrikeOut
from gaugelink.event_documents import from_document
from gaugelink.events import (
    ReadingAssigned,
    ReadingParked,
    ReadingTaken,
    SweepTaken,
)
from gaugelink.quantity import parse_length
from gaugelink.report.layout import lay_out
from gaugelink.view.report import judged_event, report_document
from gaugelink.wire.base import Value
from gaugelink.wire.driver import load_driver

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")


def read_again(rig: Rig, place: int) -> list[str]:
    """Follow a place to its entry, its bytes and what a fresh decoder makes of them."""
    entries = {entry.place: entry for entry in rig.store.entries()}
    event = from_document(entries[place].document)
    if isinstance(event, ReadingAssigned):
        event = from_document(entries[event.parked].document)
    assert isinstance(event, ReadingTaken | ReadingParked | SweepTaken)
    gauge = event.gauge if isinstance(event, ReadingParked) else event.tag.gauge
    decoder = load_driver(*content.read("drivers", GAUGES[gauge][1])).decoder()
    items = decoder.feed(event.raw) + decoder.end()
    assert all(isinstance(item, Value) for item in items)
    texts = [item.shown.text for item in items if isinstance(item, Value)]
    wanted = list(event.trace.texts) if isinstance(event, SweepTaken) else [event.shown.text]
    assert texts == wanted
    return texts


class TestReport:
    async def finished(self, rig: Rig) -> dict:
        view = rig.view()
        parked = await take(rig, "C1", spring(4790))
        await rig.press("M1", stem("7.999"))
        await rig.bench.do(Retake("a chip on the anvil"))
        await measure_all(rig)
        await rig.bench.do(StrikeOut(rig.session.filled[SPRING], "jaws not square"))
        await rig.bench.do(Assign(parked, SPRING, "measured before"))
        await rock_at(rig, ROCK + 1, rocks=1)
        await rig.bench.go(SPRING + 1)
        await rig.bench.do(Skip("end coil broken off"))
        await rig.bench.record_verdicts(judged_event(view, rig.bench.stamp()))
        view.finished_utc = rig.clock.utc()
        head = await asyncio.to_thread(rig.store.publish_head, rig.clock.utc())
        return report_document(view, head)

    def test_it_is_whole_and_holds_everything_that_happened_oldest_first(self, tmp_path):
        async def test():
            async with running(tmp_path, sheet_text=WITH_FACE) as rig:
                report = await self.finished(rig)
                check(report, REPORT)
                places = [item["place"] for item in report["readings"]]
                assert places == sorted(places)
                kinds = {entry.document["kind"] for entry in rig.store.entries()
                         if entry.place in places}  # fmt: skip
                assert kinds == {"reading-taken", "reading-parked", "reading-assigned",
                                 "sweep-taken", "position-skipped"}  # fmt: skip
                struck = [item for item in report["readings"] if item["state"] == "struck out"]
                assert {item["reason"] for item in struck} >= {
                    "a chip on the anvil",
                    "jaws not square",
                    "end coil broken off",
                }
                assert len(report["sweeps"]) == 2
                assert report["record"]["size"] == rig.store.size
                assert report["record"]["root"] == rig.store.root().hex()
                assert report["job"]["finished"]
                assert "1.645 standard uncertainties" in report["rule"]
                words = [item["verdict"] for item in report["verdicts"]]
                assert report["counts"] == {
                    word: words.count(word) for word in ("within", "outside", "undecided")
                }

        run(test())

    def test_its_limits_are_those_of_the_book(self, tmp_path):
        async def test():
            async with running(tmp_path, sheet_text=WITH_FACE) as rig:
                report = await self.finished(rig)
                stems, rocks, *_, flat = report["limits"]
                assert stems["words"] == "new max 7.975 mm, service min 7.935 mm"
                assert (stems["valves"], stems["judge"]) == ("intake, exhaust", "smallest")
                assert "guide 50 mm, reach 25 mm, as clearance" in rocks["words"]
                assert flat["valves"] == "head"

        run(test())

    def test_what_was_never_measured_is_named(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                view = rig.view()
                await rig.press("M1", stem("7.964"))
                report = report_document(view, rig.store.heads()[-1])
                missing = {(item["valve"], item["characteristic"])
                           for item in report["not_measured"]}  # fmt: skip
                assert ("1E", "stem diameter") in missing
                assert ("1I", "stand-down") in missing
                assert ("1I", "stem diameter") not in missing

        run(test())

    def test_it_lists_what_is_stale_and_counts_it_as_not_measured(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                view = rig.view()
                await rig.press("M1", stem("7.964"))
                await rig.press("M1", stem("7.962"))
                (place, event), *_ = await rig.bench.do(
                    DoWork("valve replaced", ("1I",), parse_length("0.10 mm"), "B. T.")
                )
                report = report_document(view, rig.store.heads()[-1])
                check(report, REPORT)
                stale = [item for item in report["readings"] if item["state"] == "stale"]
                assert {item["valve"] for item in stale} == {"1I"}
                assert {item["reason"] for item in stale} == {"stale: valve replaced"}
                missing = {(item["valve"], item["characteristic"])
                           for item in report["not_measured"]}  # fmt: skip
                assert ("1I", "stem diameter") in missing
                places = {place for item in report["verdicts"] for place in item["places"]}
                assert not places & {item["place"] for item in stale}
                words = "valve replaced on 1I, 0.10 mm"
                assert report["work"] == [
                    {
                        "place": place,
                        "operation": "valve replaced",
                        "valves": ["1I"],
                        "gauge": "",
                        "detail": "0.10 mm",
                        "by": "B. T.",
                        "utc": event.stamp.utc,
                    }
                ]
                drawn = json.dumps(lay_out(report))
                assert lay_out(report)["outcome"]["work"] == [f"{words}, by B. T."]
                assert "stale: valve replaced" in drawn
                assert "stale after work" in drawn

        run(test())

    def test_every_verdict_can_be_followed_to_the_bytes_that_came_down_the_cable(self, tmp_path):
        async def test():
            async with running(tmp_path, sheet_text=WITH_FACE) as rig:
                report = await self.finished(rig)
                assert len(report["verdicts"]) >= 8
                for item in report["verdicts"]:
                    assert item["places"]
                    texts = [text for place in item["places"] for text in read_again(rig, place)]
                    if item["characteristic"] in {"stem diameter", "stand-down",
                                                  "spring free length"}:  # fmt: skip
                        assert item["text"] in texts
                shown = {item["place"]: item["text"] for item in report["readings"]
                         if item["kind"] in {"reading", "parked"}}  # fmt: skip
                assert all(read_again(rig, place) == [text] for place, text in shown.items())

        run(test())

    def test_its_verdicts_stand_in_the_record_word_for_word(self, tmp_path):
        async def test():
            async with running(tmp_path, sheet_text=WITH_FACE) as rig:
                report = await self.finished(rig)
                judged = from_document(list(rig.store.entries())[-1].document)
                assert [
                    (item.valve or None, item.characteristic, item.verdict, list(item.places))
                    for item in judged.verdicts
                ] == [
                    (item["valve"], item["characteristic"], item["verdict"], item["places"])
                    for item in report["verdicts"]
                ]

        run(test())
