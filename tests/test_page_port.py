"""A gauge that types into the page gives readings; a person who types there never does."""

from __future__ import annotations

import asyncio
from itertools import pairwise

import pytest
from bench_kit import Clock, run, running
from cable_kit import Sink, nothing_left
from hypothesis import given, strategies as st
from page_kit import row, typing_bench

from gaugelink.capture.actions import act
from gaugelink.capture.typed import text_of
from gaugelink.errors import PortError
from gaugelink.ports.page import PagePort
from gaugelink.ports.port import Chunk
from gaugelink.ports.replay import read_recording

pytestmark = pytest.mark.usefixtures("nothing_left")
__all__ = ["nothing_left"]

MS = 1_000_000
ROWS = st.lists(
    st.lists(st.tuples(st.sampled_from("G7.,\n"), st.integers(0, 60_000)), min_size=1, max_size=12),
    min_size=1,
    max_size=4,
)


@given(rows=ROWS, waits=st.lists(st.integers(0, 5000), min_size=4, max_size=4))
def test_keys_come_out_one_by_one_with_the_distances_that_the_page_measured(rows, waits):
    """However quickly the rows themselves arrive, and never running back."""
    clock, sink = Clock(), Sink()
    port = PagePort("page:", clock.mono_ns)
    port.open(sink)
    sent = 0
    for keys, wait in zip(rows, waits, strict=False):
        clock.now_ns += wait * MS
        sent += port.type(keys)
    chunks = [sink.next() for _ in range(sent)]
    port.close()
    assert sink.rest() == []
    keys = [key for keys in rows for key in keys]
    assert [chunk.data.decode() for chunk in chunks] == [text for text, _ in keys]
    place = 0
    for keys in rows:
        times = [chunk.mono_ns for chunk in chunks[place : place + len(keys)]]
        gaps = [after - before for before, after in pairwise(times)]
        assert gaps == [passed * MS for _, passed in keys[1:]]
        if place:
            assert times[0] - chunks[place - 1].mono_ns >= keys[0][1] * MS
        place += len(keys)


def test_the_last_key_was_pressed_when_the_row_came():
    clock, sink = Clock(), Sink()
    port = PagePort("page:", clock.mono_ns)
    port.open(sink)
    port.type([("7", 9000), ("\n", 12)])
    assert [sink.next(), sink.next()] == [
        Chunk(b"7", clock.now_ns - 12 * MS),
        Chunk(b"\n", clock.now_ns),
    ]
    with pytest.raises(PortError, match="nothing can be sent"):
        port.write(b"R\r")
    port.close()
    with pytest.raises(PortError, match="is not connected"):
        port.type([("7", 0)])


@given(key=st.text(min_size=1, max_size=20))
def test_any_name_of_a_key_becomes_one_character_that_can_be_written(key):
    assert len(text_of(key)) == 1
    assert text_of(key).encode()


def test_what_the_gauge_types_is_a_reading_with_its_keys_beside_it(tmp_path):
    async def test():
        async with typing_bench(tmp_path) as rig:
            status, answer = await act(rig.bench, {"do": "keys", "keys": row("G7.965\n")})
            assert (status, answer["words"]) == (200, "typed by the gauge: 7.965 mm")
            (reading,) = rig.session.readings()
            assert (reading.shown.text, reading.shown.unit) == ("7.965", "mm")
            taken = list(rig.store.entries())[-1].document
            assert bytes.fromhex(taken["raw"]) == b"G7.965\n"

    run(test())


@pytest.mark.parametrize(
    ("keys", "why"),
    [
        (row("G7.965\n", every_ms=80), "typed by a person: there was a pause between two keys"),
        (row("G7.9", 8) + row("65\n", 8, 400), "typed by a person"),
        (row("7.965\n"), "does not have the shape"),
        (row("G7,965\n"), "does not have the shape"),
        ([["Dead", 0], *row("G7.965\n", 8, 8)], "does not have the shape"),
        (row("G7.965"), "the stream ended inside the value"),
    ],
)
def test_what_is_not_the_gauges_is_no_reading_and_that_is_said_loudly(tmp_path, keys, why):
    async def test():
        async with typing_bench(tmp_path) as rig:
            size = rig.bench.size
            status, answer = await act(rig.bench, {"do": "keys", "keys": keys})
            assert status == 409
            assert answer["words"].startswith("keys came that are no value (")
            assert why in answer["words"]
            if keys[-1][0] == "Enter":
                (warning,) = rig.audience.warnings()
                assert warning.startswith("Micrometer: keys came that are no value (")
                assert why in warning
            assert rig.bench.size == size

    run(test())


def test_of_a_figure_with_a_pause_in_it_the_rest_is_never_taken(tmp_path):
    """12.1380 with a pause after the 1 must never give 2.1380; the press after that counts."""

    async def test():
        async with typing_bench(tmp_path) as rig:
            for keys in (row("G1") + row("2.1380\n", 8, 400), row("G1"), row("G2.1380\n", 8, 400)):
                status, _ = await act(rig.bench, {"do": "keys", "keys": keys})
                assert status == 409
            assert rig.session.readings() == []
            assert len(rig.audience.warnings()) == 2  # one for each Enter
            rig.clock.pass_s(2)
            assert (await act(rig.bench, {"do": "keys", "keys": row("G7.965\n")}))[0] == 200

    run(test())


def test_rows_that_come_at_once_are_taken_one_after_the_other(tmp_path):
    async def test():
        async with typing_bench(tmp_path) as rig:
            answers = await asyncio.gather(
                *(
                    act(rig.bench, {"do": "keys", "keys": row(f"G7.96{n}\n", 8, 2000)})
                    for n in range(3)
                )
            )
            words = [answer["words"] for _, answer in answers]
            assert words == [f"typed by the gauge: 7.96{n} mm" for n in range(3)]

    run(test())


def test_a_bench_that_keeps_its_bytes_keeps_the_times_of_the_keys(tmp_path):
    async def test():
        async with typing_bench(tmp_path, kept=True) as rig:
            assert (await act(rig.bench, {"do": "keys", "keys": row("G7.965\n")}))[0] == 200

    run(test())
    kept = read_recording((tmp_path / "kept.txt").read_text(encoding="utf-8"), "kept.txt")
    assert b"".join(item.data for item in kept) == b"G7.965\n"
    assert [after.t_ns - before.t_ns for before, after in pairwise(kept)] == [8 * MS] * 6


def test_a_bench_without_such_a_gauge_says_so(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            status, answer = await act(rig.bench, {"do": "keys", "keys": row("G7.965\n")})
            assert (status, answer["words"]) == (409, "no gauge of this bench types into this page")

    run(test())


@pytest.mark.parametrize(
    "keys",
    [
        None, "G7", [], [["7"]], [["7", "8"]], [["7", -1]], [["7", 1.5]], [["", 1]], [["7", True]],
        [["x" * 21, 1]], [["7", 2**53 + 1]], [[7, 1]], [["7", 1]] * 65,
    ],
)  # fmt: skip
def test_a_row_that_is_none_is_refused_whole(tmp_path, keys):
    async def test():
        async with typing_bench(tmp_path) as rig:
            status, answer = await act(rig.bench, {"do": "keys", "keys": keys})
            assert (status, answer["ok"]) == (400, False)
            assert rig.bench.cables[0].bytes_in == 0

    run(test())
