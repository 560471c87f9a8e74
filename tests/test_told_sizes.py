"""Work that is told by hand may name a size, and the next stage of a head knows it from its record.

Sizes are invented: those of `test_oversized`, and of the demonstration's sheet.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from bench_kit import Rig, run, running
from cable_kit import nothing_left
from hypothesis import given, strategies as st
from test_bench_command import FILE, STAMP, load
from test_oversized import AT, REAMED, SHEET_OF, TEXT, order, session
from test_survey import readings

from gaugelink import content, sheetfile
from gaugelink.benchfile import Job
from gaugelink.capture.actions import act
from gaugelink.commands import bench_run
from gaugelink.commands.bench_job import Wanted, take
from gaugelink.commands.record_job import read_job
from gaugelink.commands.running import opened_event
from gaugelink.deeds import DoWork
from gaugelink.errors import SessionError
from gaugelink.event_documents import from_document, to_document
from gaugelink.events import OtherSize, ReadingTaken, WorkDone
from gaugelink.head import Position
from gaugelink.judging import judge
from gaugelink.planning.compared import compared_in
from gaugelink.planning.forecast_rock import Around, foretell_rock
from gaugelink.planning.oversized import SIZED, carried, resized
from gaugelink.quantity import parse_length
from gaugelink.reading import Tag
from gaugelink.record import SqliteStore, canonical

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from gaugelink.limits import Sheet
    from gaugelink.work import Operation

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")


def told(operation: Operation, *valves: str, size: str | None = None) -> WorkDone:
    return WorkDone(AT, operation, valves, (), "A. N.", size=size)


# ---- told by hand -------------------------------------------------------------------------


def test_what_is_told_goes_before_the_order():
    """A guide came out wider than was ordered, or not as wide; whoever did it knows."""
    assert session(told("guide reamed", "1E", size="+0.1")).sizes == {("1E", "guide bore"): "+0.1"}
    assert session(order(), told("guide reamed", "1E", size="")).sizes == {}
    assert session(order("8.000 mm", "8.015 mm"), told("guide reamed", "1E", size="+0.1")).sizes


@pytest.mark.parametrize(("last", "left"), [
    (told("guide reamed", "1E"), {}),  # the order asked for one reaming, which is done
    (told("guide reamed", "1E", size="+0.1"), {("1E", "guide bore"): "+0.1"}),
    (told("guide honed", "1E"), {("1E", "guide bore"): "+0.1"}),
    (told("guide honed", "1E", size=""), {}),
    (told("guide sleeved", "1E"), {}),
    (told("guide replaced", "1E"), {}),
    (told("valve replaced", "1E"), {("1E", "guide bore"): "+0.1"}),
    (told("guide replaced", "1I"), {("1E", "guide bore"): "+0.1"}),
])  # fmt: skip
def test_a_size_ends_or_changes_with_the_next_work(last: WorkDone, left: dict):
    """A standard guide pressed in is no reamed one; honing alone gives no other size."""
    only = replace(order(), steps=order().steps[:1])
    assert session(only, told("guide reamed", "1E"), last).sizes == left


WORK = st.builds(
    told,
    st.sampled_from([*SIZED, "seat cut", "spring changed"]),
    st.sampled_from(["1I", "1E"]),
    size=st.sampled_from([None, "", "+0.1"]),
)


@given(st.lists(WORK, max_size=8), st.integers(0, 8))
def test_a_round_that_is_carried_on_ends_as_if_it_were_one(works: list[WorkDone], cut: int):
    """Wherever one record ends and the next begins, and however often it is carried over."""

    def after(sizes: dict, some: list[WorkDone]) -> dict:
        done = []
        for place, one in enumerate(some):
            done.append((place, one))
            sizes = resized(sizes, one, None, done, SHEET_OF)
        return sizes

    first, second = works[:cut], works[cut:]
    before = after({}, first)
    before_told = [OtherSize(*key, size) for key, size in before.items()]
    opened = carried({}, before_told, [])
    ended = after(opened, second)
    assert ended == after({}, works)
    # The bench goes on the next morning with the same round before: its own work counts.
    assert carried(ended, before_told, list(enumerate(second))) == ended
    # By hand: what was told or is standard holds from the last work on a part on.
    for valve in ("1I", "1E"):
        for part in ("guide bore", "stem diameter"):
            own = [one for one in works if SIZED.get(one.operation) == part
                   and valve in one.valves
                   and (one.size is not None or one.operation != "guide honed")]  # fmt: skip
            assert ended.get((valve, part), "") == ((own[-1].size or "") if own else "")


def test_an_older_record_is_written_as_it_was_and_a_new_one_says_the_size():
    """A word that nobody says is left out, so that every hash stays what it was."""
    old = told("guide reamed", "1E")
    assert "size" not in to_document(old)
    new = replace(old, size="+0.1")
    written = canonical.parse_document(canonical.encode(to_document(new)))
    assert written["size"] == "+0.1"
    assert from_document(written) == new
    assert from_document({key: item for key, item in written.items() if key != "size"}) == old
    assert to_document(replace(old, size=""))["size"] == ""


@pytest.mark.parametrize(("work", "words"), [
    (DoWork("guide reamed", ("1E",), size="+0.3"),
     "found the size '+0.3' for the guide bore of 1E, accepted: standard, +0.1"),
    (DoWork("guide reamed", ("1I", "1E"), size="+0.1"),
     "found the size '+0.1' for the guide bore of 1I, accepted: standard"),
    (DoWork("seat cut", ("1E",), size="+0.1"),
     "'seat cut' gives no part another size; leave the size out"),
    (DoWork("seat cut", ("1E",), size=""),
     "'seat cut' gives no part another size; leave the size out"),
])  # fmt: skip
def test_a_size_that_cannot_be_is_refused_in_one_sentence(work: DoWork, words: str):
    """And nothing comes of it."""
    bench = session()
    with pytest.raises(SessionError) as fault:
        bench.decide(work, AT)
    assert str(fault.value) == words


BORE = Position("1E", "guide bore")


def read(text: str) -> ReadingTaken:
    return ReadingTaken(AT, Tag(BORE, "final", "M1"), parse_length(text), b"", "button")


@pytest.mark.parametrize(("text", "word"), [
    ("8.108 mm", "as foretold"), ("8.020 mm", "surprise"), ("8.160 mm", "surprise"),
])  # fmt: skip
def test_a_guide_that_is_told_as_wider_is_expected_so(text: str, word: str):
    """8.100 to 8.115 mm, which the sheet prints for that size; u is 1 um."""
    events = [
        read("8.040 mm"),
        replace(told("guide reamed", "1E", size="+0.1"), stale=("guide bore",)),
        read(text),
    ]
    bench = session()
    for place, event in enumerate(events):
        bench.apply(place, event)
    [found] = compared_in(bench, {})
    assert found.word == word


def test_a_rock_in_a_wider_guide_is_foretold_with_the_valve_made_for_it():
    """By hand: 8.100 - 8.060 = 0.040 to 8.115 - 8.045 = 0.070 mm, by 1 + 2 * 28 / 50 = 2.12."""
    work = replace(told("guide reamed", "1E", size="+0.1"), stale=("guide clearance", "guide bore"))
    rock = Position("1E", "guide clearance", direction="across", method="rock", lift="8 mm",
                    valve_used="new")  # fmt: skip
    found = foretell_rock(rock, Around(SHEET_OF, [], [(3, work)]), 9)
    assert found is not None
    assert (found.low_pm, found.high_pm) == (84_800_000, 148_400_000)
    standard = foretell_rock(rock, Around(SHEET_OF, [], [(3, replace(work, size=""))]), 9)
    assert standard is not None
    assert standard.why_not  # nobody knows what a guide was reamed to


def test_a_page_tells_the_size_and_a_record_alone_knows_it(tmp_path: Path):
    """A size that the sheet lacks is answered in a sentence, and nothing is on record."""

    async def asked(rig: Rig, **more: object) -> tuple[int, str]:
        status, answer = await act(rig.bench, {"do": "work", "operation": "guide reamed",
                                               "valves": ["1E"], **more})  # fmt: skip
        return status, answer["words"]

    async def test() -> None:
        async with running(tmp_path, sheet_text=TEXT, watchful=True) as rig:
            size = rig.store.size
            status, words = await asked(rig, size="+9")
            assert (status, rig.store.size) == (409, size)
            assert words.startswith("found the size '+9'")
            assert (await asked(rig, size=5))[0] == 400
            status, words = await asked(rig, size="+0.1")
            assert (status, words.split(":")[0]) == (200, "guide reamed on 1E, size +0.1")
            state = rig.view().state()
            offered = {one["name"]: one["sizes"] for one in state["operations"]}
            assert offered["guide reamed"] == [{"name": "+0.1", "valves": ["1E"]}]
            assert offered["seat cut"] == []

    run(test())
    job = read_job(tmp_path / "job.record")
    assert job.session.sizes == {("1E", "guide bore"): "+0.1"}


# ---- the next stage --------------------------------------------------------------------------


@pytest.fixture(autouse=True)
def _key_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GAUGELINK_HOME", str(tmp_path / "home"))


@pytest.fixture
def stages(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A bench file, the record of a stage with a reamed guide, and a bench that ends at once."""
    path = tmp_path / "bench.toml"
    path.write_text(FILE, encoding="utf-8")
    file = load(path)
    taken = take(file, Wanted())
    gauges = [item.gauge for item in file.gauges]
    events = [
        opened_event(STAMP, taken.job, taken.sheet, gauges, "real"),
        told("guide reamed", "3E", "4E", size="+0.1"),
        told("valve replaced", "3E", size="+0.1"),
    ]
    taken.store.append([to_document(event) for event in events])
    taken.store.close()

    @contextlib.contextmanager
    def at_once() -> Iterator[asyncio.Event]:
        stop = asyncio.Event()
        stop.set()
        yield stop

    monkeypatch.setattr(bench_run, "asked_to_stop", at_once)
    return path


NEXT = ("--job", "D-0043", "--serial", "IP6-0117", "--stage", "after machining", "--port", "0")
KNOWN = {("3E", "guide bore"): "+0.1", ("3E", "stem diameter"): "+0.1",
         ("4E", "guide bore"): "+0.1"}  # fmt: skip


def earlier(stages: Path, *more: str) -> list[str]:
    return ["--earlier", str(stages.parent / "records" / "D-0042.sqlite"), *more]


def sizes_of(stages: Path) -> dict[tuple[str, str], str]:
    return read_job(stages.parent / "records" / "D-0043.sqlite").session.sizes


def test_the_next_record_knows_the_sizes_without_the_one_before(stages: Path, run_cli):
    """It is judged by itself: the record of the round before is gone."""
    status, _, words = run_cli("bench", str(stages), *NEXT, *earlier(stages))
    assert status == 1  # nothing is measured yet
    assert "Of another size than the standard one since then: 3E guide bore +0.1, 3E stem" in words
    for file in stages.parent.glob("records/D-0042*"):
        file.unlink()
    assert sizes_of(stages) == KNOWN
    record = stages.parent / "records" / "D-0043.sqlite"
    assert run_cli("verify", str(record))[0] == 0
    job = read_job(record)
    bores = [limit.words for limit in job.sheet.sized(job.session.sizes).of("guide bore", "3E")]
    assert bores == ["new min 8.100 mm, service max 8.160 mm, size +0.1"]


def test_a_part_that_was_changed_since_is_of_no_known_size(stages: Path, run_cli):
    """What nobody has told is held to the standard limits."""
    run_cli("bench", str(stages), *NEXT, *earlier(stages, "--changed", "3E guide", "--changed",
                                                  "3E seat"))  # fmt: skip
    assert sizes_of(stages) == {key: size for key, size in KNOWN.items()
                                if key != ("3E", "guide bore")}  # fmt: skip


def test_without_the_round_before_nobody_knows_a_size(stages: Path, run_cli):
    run_cli("bench", str(stages), *NEXT)
    assert sizes_of(stages) == {}


def test_named_later_it_is_carried_once_and_own_work_goes_before_it(stages: Path, run_cli):
    """The job was begun without it; then a standard guide is pressed in; then it is named again."""
    record = stages.parent / "records" / "D-0043.sqlite"
    run_cli("bench", str(stages), *NEXT)
    run_cli("bench", str(stages), *NEXT, *earlier(stages))
    assert sizes_of(stages) == KNOWN
    taken = take(load(stages), Wanted("D-0043"))
    taken.store.append([to_document(told("guide replaced", "3E"))])
    size = taken.store.size
    taken.store.close()
    run_cli("bench", str(stages), *NEXT, *earlier(stages))
    assert sizes_of(stages) == {key: name for key, name in KNOWN.items()
                                if key != ("3E", "guide bore")}  # fmt: skip
    assert opened_since(record, size) == 0
    assert run_cli("verify", str(record))[0] == 0


def opened_since(record: Path, size: int) -> int:
    with SqliteStore.read(record) as store:
        return sum(entry.document["kind"] == "job-opened" for entry in store.entries()
                   if entry.place >= size)  # fmt: skip


def test_a_third_stage_knows_it_from_the_second(stages: Path, run_cli):
    """Each record carries what the one before it had from the one before that."""
    run_cli("bench", str(stages), *NEXT, *earlier(stages))
    third = [*NEXT[:1], "D-0044", *NEXT[2:5], "final", *NEXT[6:]]
    second = stages.parent / "records" / "D-0043.sqlite"
    run_cli("bench", str(stages), *third, "--earlier", str(second))
    assert read_job(stages.parent / "records" / "D-0044.sqlite").session.sizes == KNOWN


def test_a_report_without_a_bench_puts_them_on_record_too(stages: Path, run_cli, tmp_path: Path):
    """The report of the stage is judged by what its own record says."""
    run_cli("bench", str(stages), *NEXT)
    report = tmp_path / "report.pdf"
    status, out, _ = run_cli("bench", str(stages), "--job", "D-0043", *earlier(stages), "--report",
                             str(report), "--json")  # fmt: skip
    assert (status, json.loads(out)["job"]) == (1, "D-0043")
    assert report.exists()
    assert sizes_of(stages) == KNOWN


def test_the_carried_size_decides_the_verdict():
    """8.108 is outside for a standard guide, and within for one that was reamed."""
    sheet = sheetfile.load(*content.read("sim/sheets", "demo-pump-engine"))
    bench = session(sheet=SHEET_OF)
    job = Job("D-1", "a head", "H-1", "final", "demo-pump-engine", invented=True)
    sizes = OtherSize("1E", "guide bore", "+0.1"), OtherSize("1E", "stem diameter", "+0.1")
    opened = opened_event(AT, job, sheet, [], "real", sizes)
    bench.apply(0, opened)
    assert bench.sizes == REAMED
    given = readings(v1E_top="8.055 mm", v1E_bottom="8.053 mm", v1E_bore="8.108 mm")

    def words(sheet: Sheet) -> list[str]:
        return [one.verdict for one in judge(sheet, given).verdicts
                if (one.valve, one.characteristic) == ("1E", "guide bore")]  # fmt: skip

    assert words(SHEET_OF.sized(bench.sizes)) == ["within"]
    assert words(SHEET_OF) == ["outside"]
