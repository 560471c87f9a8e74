"""A page draws what stands against a release, and asks the bench to look, sign and release."""

from __future__ import annotations

import json

import pytest
from bench_kit import STAND_DOWN, run, running
from cable_kit import nothing_left
from release_kit import AFTER, DEPTH, Head, ready
from release_shape import release_shape
from view_kit import measure_all, take
from view_shapes import STATE, Maybe, check

from gaugelink.capture.actions import act
from gaugelink.commands.record_job import read_job
from gaugelink.deeds import DoWork, Inspect, StrikeOut
from gaugelink.inspection import CHECKS
from gaugelink.view.release import MOST_ROWS, release_document

__all__ = ["nothing_left"]


def drawn(head: Head, **more: int):
    document = release_document(head.session, head.judgement(), head.day, **more)
    check(document, release_shape(Maybe))
    return document


def rows(document) -> list[str]:
    """Every row as a person reads it."""
    return [
        f"{group['title']}: {', '.join(row['valves'])} {row['what']} {row['why']}"
        for group in document["groups"]
        for row in group["rows"]
    ]


def test_what_is_the_same_for_several_valves_is_one_row() -> None:
    document = drawn(Head())
    assert document["count"] == 20
    assert rows(document) == [
        "Not measured: 1I, 2I stem diameter not measured yet (2 places)",
        "Not measured: 1I, 2I guide clearance by rock not measured yet",
        "Not measured: 1I, 2I stand-down not measured yet",
        "Zero checks:  zero check of the depth gauge, before stand-down not measured yet",
        "Zero checks:  zero check of the depth gauge, after stand-down not measured yet",
        *(f"Not looked at: 1I, 2I {name} not looked at yet"
          for name in ("valve", "guide", "seat", "spring", "collets seated")),
        "Not looked at:  head face not looked at yet",
        "Not looked at:  crack test not looked at yet",
    ]  # fmt: skip
    assert [group["count"] for group in document["groups"]] == [6, 2, 12]


def test_a_row_leads_to_the_first_of_its_places() -> None:
    (group,) = [one for one in drawn(Head())["groups"] if one["kind"] == "not measured"]
    assert [row["step"] for row in group["rows"]] == [0, 4, 7]


def test_a_long_list_is_cut_and_says_by_how_much() -> None:
    document = drawn(Head(), most=1)
    assert [(len(group["rows"]), group["more"]) for group in document["groups"]] == [
        (1, 2), (1, 1), (1, 6)
    ]  # fmt: skip
    assert document["count"] == 20, "the count is of all of them"
    assert MOST_ROWS > 20


def test_a_cell_says_how_it_stands_in_words() -> None:
    head = ready()
    head.do(Inspect("spring", ("1I",), sound=False, words="pitted", by="B. T."))
    head.do(DoWork("seat cut", ("2I",)))
    cells = {
        (one["name"], cell["valve"]): cell for one in drawn(head)["checks"] for cell in one["cells"]
    }
    assert cells["spring", "1I"]["state"] == "condemned"
    assert (cells["spring", "1I"]["words"], cells["spring", "1I"]["by"]) == ("pitted", "B. T.")
    assert cells["seat", "2I"]["state"] == "look again"
    assert cells["seat", "2I"]["words"] == "before this work: seat cut"
    assert cells["seat", "1I"]["state"] == "sound"
    assert cells["leak test", "1I"] == {
        "valve": "1I", "state": "not looked at", "by": "", "words": "", "place": None
    }  # fmt: skip
    assert [len(one["cells"]) for one in drawn(head)["checks"]] == [2] * 6 + [1] * 2


def test_a_release_and_what_took_it_back_are_told() -> None:
    head = ready()
    place = head.release("C. D.", "for the pump station")
    document = drawn(head)
    assert (document["released"], document["place"], document["by"]) == (True, place, "C. D.")
    assert document["at"].startswith("2026-01-02T00:00:00")
    head.do(DoWork("seat cut", ("2I",)))
    document = drawn(head)
    assert (document["released"], document["taken_back"]) == (False, "work since: seat cut on 2I")
    assert document["by"] == "C. D."


def test_a_deviation_says_whether_it_still_holds() -> None:
    head = ready()
    head.at(DEPTH, "1.75")
    head.at(AFTER)
    (group,) = drawn(head)["groups"]
    sign = group["rows"][0]["sign"]
    assert sign | {"places": 0} == {
        "valve": "1I", "characteristic": "stand-down", "method": "",
        "limit": "service max 1.60 mm", "value": "1.75 mm", "places": 0,
    }  # fmt: skip
    place = head.sign(head.blocks()[0].judged)
    (deviation,) = drawn(head)["deviations"]
    assert (deviation["state"], deviation["reason"]) == ("holds", "agreed")
    head.at(DEPTH, "1.76")
    head.at(AFTER)
    (deviation,) = drawn(head)["deviations"]
    assert deviation["state"] == "void"
    head.do(StrikeOut(place, "withdrawn"))
    (deviation,) = drawn(head)["deviations"]
    assert (deviation["state"], deviation["why"]) == ("struck out", "withdrawn")


# ---- asked for by a page -------------------------------------------------------------------------


async def ask(rig, wanted: int = 200, **document) -> str:
    """Ask for something; give the sentence of the answer."""
    size = rig.store.size
    status, answer = await act(rig.bench, document)
    assert status == wanted, answer
    assert answer["ok"] == (status == 200)
    json.dumps(answer)
    assert (rig.store.size > size) == (status == 200)
    return answer["words"]


def in_a_bench(test):
    """Run a test's coroutine inside a bench where everything is measured, with its sheet."""

    @pytest.mark.usefixtures("nothing_left")
    def wrapped(tmp_path):
        async def whole():
            async with running(tmp_path) as rig:
                rig.session.sheet = rig.sheet
                await measure_all(rig)
                await test(rig)

        run(whole())

    wrapped.__name__, wrapped.__doc__ = test.__name__, test.__doc__
    return wrapped


@in_a_bench
async def test_a_page_looks_signs_and_releases(rig):
    view = rig.view()
    seen = view.state()["record"]["size"]
    assert "not be released" in await ask(rig, 409, do="release", by="C. D.", seen=seen)
    for name, look in CHECKS.items():
        if look.required:
            await ask(rig, do="inspect", check=name, sound=True, by="B. T.")
    state = view.state()
    check(state, STATE)
    (group,) = state["release"]["groups"]
    assert group["kind"] == "outside"
    for row in group["rows"]:
        words = await ask(rig, do="deviation", by="C. D.", reason="agreed", **row["sign"])
        assert words.startswith("signed by C. D.: ")
    state = view.state()
    assert state["release"]["groups"] == []
    assert "name is needed" in await ask(rig, 409, do="release", by=" ", seen=seen)
    assert "meanwhile" in await ask(rig, 409, do="release", by="C. D.", seen=seen)
    words = await ask(rig, do="release", by="C. D.", words="", seen=state["record"]["size"])
    assert words == "released by C. D."
    assert view.state()["release"]["released"]
    assert rig.store.heads()[-1].size == rig.store.size, "a signed head covers the release"
    again = read_job(rig.folder / "job.record").session
    assert again.signoff == rig.session.signoff, "the record alone says the same"
    assert again.signoff.released
    await rig.bench.go(STAND_DOWN)
    await take(rig, "D1", b" 1.09\r")
    assert view.state()["release"]["taken_back"]


@in_a_bench
async def test_a_deviation_is_signed_for_what_is_not_within_and_for_nothing_else(rig):
    within = next(item for item in rig.view().judgement().verdicts if item.verdict == "within")
    sign = {
        "valve": within.valve, "characteristic": within.characteristic, "method": within.method,
        "limit": within.limit, "value": f"{within.text} {within.unit}",
        "places": list(within.places),
    }  # fmt: skip
    words = await ask(rig, 409, do="deviation", by="C. D.", reason="agreed", **sign)
    assert "stands no longer as it was seen" in words


@in_a_bench
async def test_a_page_is_refused_what_is_no_check_or_no_name(rig):
    assert "check" in await ask(rig, 400, do="inspect", check="camshaft", sound=True)
    assert "sound" in await ask(rig, 400, do="inspect", check="valve", sound="yes")
    assert "by" in await ask(rig, 400, do="release", by="x" * 61, seen=0)
    assert "places" in await ask(rig, 400, do="deviation", valve="1I", characteristic="margin",
                                 method="", limit="", value="", by="A", reason="b",
                                 places=[-1])  # fmt: skip
    assert "what is wrong" in await ask(rig, 409, do="inspect", check="valve", sound=False)


@in_a_bench
async def test_a_tick_that_was_a_mistake_is_struck_out_by_its_place(rig):
    await ask(rig, do="inspect", check="crack test", sound=True)
    cell = rig.view().state()["release"]["checks"][-1]["cells"][0]
    await ask(rig, do="strike-out", place=cell["place"], reason="not tested yet")
    assert rig.view().state()["release"]["checks"][-1]["cells"][0]["state"] == "not looked at"
