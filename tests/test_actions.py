"""What a page may ask for: done with a sentence, or refused with one and nothing written."""

from __future__ import annotations

import json

import pytest
from bench_kit import ROCK, SPRING, STAND_DOWN, rocked, run, running, spring, stem, sweep
from cable_kit import nothing_left
from hypothesis import given, settings, strategies as st

from gaugelink.capture.actions import act
from gaugelink.errors import RecordError

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")


async def ask(rig, wanted=200, **document) -> str:
    """Ask for something; give the sentence of the answer."""
    size, stood = rig.store.size, (rig.session.cursor, dict(rig.session.filled))
    status, answer = await act(rig.bench, document)
    assert status == wanted, answer
    assert answer.keys() == {"ok", "words"}
    assert answer["ok"] == (status == 200)
    assert answer["words"]
    assert "\n" not in answer["words"]
    json.dumps(answer)
    if status != 200:
        assert rig.store.size == size
        assert (rig.session.cursor, rig.session.filled) == stood
    return answer["words"]


def in_a_bench(test):
    """Run a test's coroutine inside a running bench."""

    def wrapped(tmp_path):
        async def whole():
            async with running(tmp_path) as rig:
                await test(rig)

        run(whole())

    wrapped.__name__, wrapped.__doc__ = test.__name__, test.__doc__
    return wrapped


@in_a_bench
async def test_take_records_the_next_value_of_a_free_running_gauge(rig):
    await ask(rig, do="go", step=SPRING)
    assert await ask(rig, do="take", gauge="C1") == "the next value is taken"
    await rig.press("C1", spring(4790))
    assert rig.session.readings()[0].shown.text == "47.90"


@in_a_bench
async def test_take_is_refused_for_a_gauge_that_is_unknown_lost_or_has_a_button(rig):
    assert "accepted: M1, I1, D1, C1" in await ask(rig, 409, do="take", gauge="")
    assert "its own button" in await ask(rig, 409, do="take", gauge="M1")
    rig.cables["C1"].pull()
    await rig.until(lambda: bool(rig.session.lost))
    assert "look at its cable" in await ask(rig, 409, do="take", gauge="C1")


@in_a_bench
async def test_a_gauge_that_cannot_be_asked_is_a_refusal(rig):
    rig.bench.cable_of("D1").port.close()
    assert "is not open" in await ask(rig, 409, do="take", gauge="D1")


@in_a_bench
async def test_a_sweep_is_started_stopped_and_told_with_its_travel(rig):
    assert "no sweep is asked for here" in await ask(rig, 409, do="sweep-start")
    await ask(rig, do="go", step=ROCK)
    assert "at least three times" in await ask(rig, do="sweep-start")
    assert "running already" in await ask(rig, 409, do="sweep-start")
    await rig.rock(sweep(travel_um=120))
    assert await ask(rig, do="sweep-stop") == "travel 120.0 um, on record"
    assert "no sweep is running" in await ask(rig, 409, do="sweep-stop")


@in_a_bench
async def test_a_sweep_that_cannot_be_used_is_told_with_every_reason(rig):
    await ask(rig, do="go", step=ROCK)
    await ask(rig, do="sweep-start")
    await rig.rock(sweep(rocks=1))
    words = await ask(rig, do="sweep-stop")
    assert words.startswith("the sweep is kept, but cannot be used: ")
    assert rig.session.cursor == ROCK


@in_a_bench
async def test_a_sweep_in_another_mode_is_not_told_as_on_record(rig):
    """However good the rock looks, the gauge was not showing here and now."""
    await ask(rig, do="go", step=ROCK)
    await ask(rig, do="sweep-start")
    await rig.rock(sweep(), mode="m")
    words = await ask(rig, do="sweep-stop")
    assert words.startswith("the sweep is kept, but cannot be used: the gauge was showing the")


@in_a_bench
async def test_a_sweep_without_a_sample_is_refused_and_over(rig):
    await ask(rig, do="go", step=ROCK)
    await ask(rig, do="sweep-start")
    assert "sent nothing" in await ask(rig, 409, do="sweep-stop")
    assert "no sweep is running" in await ask(rig, 409, do="sweep-stop")


@in_a_bench
async def test_skip_keeps_its_reason_and_names_the_place(rig):
    words = await ask(rig, do="skip", reason="  broken \n off ")
    assert words == "skipped: Intake valve of cylinder 1: stem diameter, top"
    assert rig.session.skipped == {0: "broken off"}
    for step in range(1, 10):
        await ask(rig, do="skip", reason=f"scrap {step}")
    assert "every position is measured or skipped" in await ask(rig, 409, do="skip", reason="x")


@in_a_bench
async def test_skipping_a_measured_place_strikes_out_what_is_there(rig):
    await rig.press("M1", stem("7.964"))
    await ask(rig, do="go", step=0)
    words = await ask(rig, do="skip", reason="bent")
    assert words.startswith("skipped: ")
    assert rig.session.readings() == []


@in_a_bench
async def test_back_and_go_move_without_writing_anything(rig):
    size = rig.store.size
    assert "there is none before it" in await ask(rig, 409, do="back")
    assert await ask(rig, do="go", step=STAND_DOWN) == "Intake valve of cylinder 1: stand-down"
    version = rig.bench.version
    await ask(rig, do="back")
    assert rig.session.cursor == STAND_DOWN - 1
    assert rig.bench.version == version + 1
    assert "accepted: 0 to 9" in await ask(rig, 409, do="go", step=10)
    assert rig.store.size == size


@in_a_bench
async def test_retake_and_strike_out_leave_the_reading_readable(rig):
    assert "nothing has been taken" in await ask(rig, 409, do="retake", reason="x")
    await rig.press("M1", stem("7.964"))
    place = rig.store.size - 1
    words = await ask(rig, do="retake", reason="a chip on the anvil")
    assert words == f"struck out {place}; it stays readable in the record"
    assert (rig.session.cursor, rig.session.again) == (0, "a chip on the anvil")
    await rig.press("M1", stem("7.963"))
    assert await ask(rig, do="strike-out", place=place + 2, reason="wrong valve")
    assert "already" in await ask(rig, 409, do="strike-out", place=place + 2, reason="again")
    assert "is not a reading" in await ask(rig, 409, do="strike-out", place=0, reason="x")
    assert "is not a reading" in await ask(rig, 409, do="strike-out", place=2**53, reason="x")


@in_a_bench
async def test_assign_puts_a_value_of_the_tray_into_a_place(rig):
    await ask(rig, do="take", gauge="C1")
    await rig.press("C1", spring(4790))
    place = rig.store.size - 1
    for wrong in ({"step": 0}, {"step": ROCK}, {"step": 1_000_000}):
        await ask(rig, 409, do="assign", place=place, reason="x", **wrong)
    await ask(rig, 409, do="assign", place=0, step=SPRING, reason="x")
    await ask(rig, 409, do="assign", place=place, step=SPRING, reason=" ")
    words = await ask(rig, do="assign", place=place, step=SPRING, reason="measured first")
    assert words == "assigned to Intake valve of cylinder 1: spring free length"
    assert "already" in await ask(rig, 409, do="assign", place=place, step=SPRING, reason="x")


@in_a_bench
async def test_a_record_that_cannot_be_written_is_a_refusal_in_its_own_words(rig):
    rig.store.fault = RecordError("job.record: the disk is full; make room")
    words = await ask(rig, 409, do="skip", reason="broken off")
    assert words == "job.record: the disk is full; make room"


@in_a_bench
async def test_a_reason_of_blanks_is_no_reason(rig):
    await rig.press("M1", stem("7.964"))
    for document in (
        {"do": "skip"}, {"do": "retake"}, {"do": "strike-out", "place": rig.store.size - 1},
    ):  # fmt: skip
        words = await ask(rig, 409, reason=" \t\n", **document)
        assert words == "a reason is needed; it stays in the record"


BAD = [
    ({}, "do"),
    ({"do": "explode"}, "do"),
    ({"do": None}, "do"),
    ({"do": ["take"]}, "do"),
    ({"do": "Take", "gauge": "C1"}, "do"),
    ({"do": "take"}, "gauge"),
    ({"do": "take", "gauge": 1}, "gauge"),
    ({"do": "take", "gauge": None}, "gauge"),
    ({"do": "take", "gauge": "C" * 61}, "gauge"),
    ({"do": "take", "gauge": "C1", "now": True}, "now"),
    ({"do": "sweep-start", "gauge": "I1"}, "gauge"),
    ({"do": "sweep-stop", "reason": "x"}, "reason"),
    ({"do": "back", "step": 1}, "step"),
    ({"do": "skip"}, "reason"),
    ({"do": "skip", "reason": ""}, "reason"),
    ({"do": "skip", "reason": 5}, "reason"),
    ({"do": "skip", "reason": "x" * 301}, "reason"),
    ({"do": "skip", "reason": {"text": "x"}}, "reason"),
    ({"do": "skip", "reason": "\ud800"}, "reason"),
    ({"do": "retake"}, "reason"),
    ({"do": "go"}, "step"),
    ({"do": "go", "step": "1"}, "step"),
    ({"do": "go", "step": 1.0}, "step"),
    ({"do": "go", "step": True}, "step"),
    ({"do": "go", "step": -1}, "step"),
    ({"do": "go", "step": 1_000_001}, "step"),
    ({"do": "go", "step": 10**400}, "step"),
    ({"do": "strike-out", "reason": "x"}, "place"),
    ({"do": "strike-out", "place": -1, "reason": "x"}, "place"),
    ({"do": "strike-out", "place": 2**53 + 1, "reason": "x"}, "place"),
    ({"do": "strike-out", "place": 1e300, "reason": "x"}, "place"),
    ({"do": "strike-out", "place": 1}, "reason"),
    ({"do": "assign", "place": 1, "step": 1}, "reason"),
    ({"do": "assign", "place": 1, "reason": "x"}, "step"),
    ({"do": "assign", "step": 1, "reason": "x"}, "place"),
    ({"do": "assign", "place": 1, "step": None, "reason": "x"}, "step"),
]


def test_a_document_that_is_none_of_these_is_refused_with_its_field_and_nothing_happens(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            version = rig.bench.version
            for document, field in BAD:
                words = await ask(rig, 400, **document)
                assert words.startswith(f"{field}: "), (document, words)
            assert rig.bench.version == version
            assert rig.audience.warnings() == []

    run(test())


TEXTS = st.text(max_size=20)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | TEXTS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=3),
    max_leaves=6,
)
DOES = st.sampled_from(
    [
        "take",
        "sweep-start",
        "sweep-stop",
        "skip",
        "back",
        "go",
        "retake",
        "strike-out",
        "assign",
        "confirm-position",
        "keys",
        "work",
    ]
)
KEYS = st.fixed_dictionaries(
    {"do": DOES | JSON},
    optional={
        "gauge": st.sampled_from(["M1", "C1", "D1", "I1"]) | JSON,
        "reason": st.just("because") | JSON,
        "operation": st.sampled_from(["valve replaced", "face skimmed", "gauge found out"]) | JSON,
        "valves": st.lists(st.sampled_from(["1I", "1E", "9E"]), max_size=2) | JSON,
        "step": st.integers(-1, 11) | JSON,
        "place": st.integers(-1, 12) | JSON,
        "keys": st.lists(st.tuples(st.text(max_size=3), st.integers(-1, 90)).map(list)) | JSON,
        "more": JSON,
    },
)


def test_whatever_a_page_asks_for_it_gets_a_status_and_a_sentence(tmp_path):
    """And the session never knows anything but what the record says."""

    async def test():
        async with running(tmp_path) as rig:
            loose: list[tuple[int, int]] = []

            @settings(max_examples=150)
            @given(st.lists(KEYS, min_size=1, max_size=5))
            def everything(documents):
                asked.extend(documents)

            asked: list[dict] = []
            everything()
            for number, document in enumerate(asked):
                size = rig.store.size
                status, answer = await act(rig.bench, document)
                assert status in {200, 400, 409}, answer
                assert isinstance(answer["words"], str)
                assert status == 200 or rig.store.size == size
                loose.append((status, rig.store.size))
                if number % 20 == 0:
                    await rig.press("M1", stem(f"7.{number % 1000:03d}"))
                    await rig.press("I1", rocked(number % 100))
            assert {status for status, _ in loose} == {200, 400, 409}
            counting = set(rig.session.filled.values())
            assert counting <= set(range(rig.store.size))

    run(test())


@in_a_bench
async def test_work_that_was_done_is_told_with_what_it_made_stale(rig):
    await rig.press("M1", stem("7.964"))
    words = await ask(rig, do="work", operation="valve replaced", valves=["1I"], by="B. T.")
    assert words.startswith("valve replaced on 1I: 1 line of the history stale; asked for: ")
    assert rig.session.readings() == []
    event = rig.session.work[0][1]
    assert (event.valves, event.by, event.depth) == (("1I",), "B. T.", None)
    await ask(rig, do="work", operation="seat cut", valves=["1E"], depth="0.15 mm")
    assert str(rig.session.work[1][1].depth) == "0.15 mm"
    words = await ask(rig, do="work", operation="gauge found out", gauge="M1")
    assert words.startswith("gauge found out (M1): 0 lines of the history stale")


@in_a_bench
async def test_work_that_makes_no_sense_is_refused_with_what_is_accepted(rig):
    assert "valves.0" in await ask(rig, 400, do="work", operation="seat cut", valves=[3])
    assert "operation" in await ask(rig, 400, do="work", operation="seat polished", valves=["1I"])
    assert "say which" in await ask(rig, 409, do="work", operation="seat cut")
    assert "'9E'" in await ask(rig, 409, do="work", operation="seat cut", valves=["9E"])
    assert "deep" in await ask(
        rig, 409, do="work", operation="seat cut", valves=["1E"], depth="deep"
    )


@in_a_bench
async def test_no_work_is_told_while_a_sweep_runs(rig):
    """What was rocked before the work would count as measured after it."""
    await ask(rig, do="go", step=ROCK)
    await ask(rig, do="sweep-start")
    words = await ask(rig, 409, do="work", operation="guide honed", valves=["1I"])
    assert words == "a sweep is running; stop it first"
