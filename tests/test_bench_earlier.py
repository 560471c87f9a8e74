"""The round before is read from its record, only of the same head and sheet, and changed parts go.

Sizes are invented; those of the demonstration's sheet.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from test_bench_command import FILE, STAMP, load

from gaugelink import content
from gaugelink.commands import bench_run
from gaugelink.commands.bench_earlier import not_before, round_before
from gaugelink.commands.bench_job import Wanted, own_earlier, take
from gaugelink.commands.running import opened_event
from gaugelink.deeds import ValueArrived
from gaugelink.errors import InputError, RecordError
from gaugelink.event_documents import to_document
from gaugelink.events import (
    ReadingParked,
    ReadingStruckOut,
    ReadingTaken,
)
from gaugelink.head import Position
from gaugelink.quantity import parse_length
from gaugelink.reading import Tag
from gaugelink.session import Session

if TYPE_CHECKING:
    from pathlib import Path

    from gaugelink.commands.bench_job import Taken

STEMS = [Position(valve, "stem diameter", "top", "along") for valve in ("1I", "2I")]
LAPPED = Wanted("D-0042-lapped", serial="IP6-0117", stage="after lapping")


@pytest.fixture(autouse=True)
def _key_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GAUGELINK_HOME", str(tmp_path / "home"))


@pytest.fixture
def bench_file(tmp_path: Path) -> Path:
    """A bench file, with the record of its job as received: two stems, and one struck out."""
    path = tmp_path / "bench.toml"
    path.write_text(FILE, encoding="utf-8")
    file = load(path)
    with take(file, Wanted()).store:
        pass
    taken = take(file, Wanted())
    gauges = [item.gauge for item in file.gauges]
    taken.store.append([to_document(opened_event(STAMP, taken.job, taken.sheet, gauges, "real"))])
    events = [
        *(
            reading(position, text)
            for position, text in zip(STEMS, ("7.942", "7.951"), strict=True)
        ),
        reading(Position("3I", "stem diameter", "top", "along"), "7.999"),
    ]
    for number, event in enumerate([*events, ReadingStruckOut(STAMP, 3, "wrong valve")], 1):
        [entry] = taken.store.append([to_document(event)])
        assert entry.place == number
    taken.store.close()
    return path


def reading(position: Position, text: str) -> ReadingTaken:
    tag = Tag(position, "as received", "M1")
    return ReadingTaken(STAMP, tag, parse_length(f"{text} mm"), b"", "button")


@pytest.fixture
def lapped(bench_file: Path):
    taken = take(load(bench_file), LAPPED)
    yield taken
    taken.store.close()


def earlier(bench_file: Path) -> Path:
    return bench_file.parent / "records" / "D-0042.sqlite"


def test_the_readings_that_count_are_the_round_before_and_the_record_stays_as_it_is(
    bench_file: Path, lapped: Taken
) -> None:
    untouched = earlier(bench_file).read_bytes()
    before = round_before(earlier(bench_file), [], lapped)
    assert [item.tag.position for item in before.readings] == STEMS
    assert before.words.endswith("2 readings of D-0042, as received")
    assert earlier(bench_file).read_bytes() == untouched


def test_a_value_of_another_size_than_in_the_round_before_is_asked_about(
    bench_file: Path, lapped: Taken
) -> None:
    """With the part changed since, or without that round, it is taken."""
    [gauge] = [item.gauge for item in load(bench_file).gauges]
    plan = [step for step in lapped.plan if step.position == STEMS[0]]
    value = ValueArrived("M1", parse_length("7.965 mm"), b"+7.965")
    for changed, kind in (([], ReadingParked), (["1I valve"], ReadingTaken)):
        before = round_before(earlier(bench_file), changed, lapped)
        session = Session(plan, {"M1": gauge}, "after lapping", sheet=lapped.sheet,
                          earlier=before.readings)  # fmt: skip
        [event] = session.decide(value, STAMP)
        assert isinstance(event, kind)
    assert before.words.endswith("; 1 more are left out, as their parts were changed since")


@pytest.mark.parametrize("changed", ["9I valve", "valve", "1I face", "1I", "", "1I 2I valve"])
def test_a_part_that_this_head_does_not_have_is_refused(
    bench_file: Path, lapped: Taken, changed: str
) -> None:
    with pytest.raises(InputError, match=r"--changed: found .*, accepted: face, or a valve \(1I"):
        round_before(earlier(bench_file), [changed], lapped)


def test_a_record_of_another_head_is_refused(bench_file: Path) -> None:
    other = take(load(bench_file), Wanted("D-0050", serial="IP6-0200"))
    with other.store, pytest.raises(InputError) as fault:
        round_before(earlier(bench_file), [], other)
    assert (
        "--earlier: found the head number 'IP6-0117', and the job D-0050 has 'IP6-0200'; a round "
        "can be compared only with one of the same head by the same sheet"
    ) in str(fault.value)


def test_a_record_by_another_sheet_is_refused(bench_file: Path, tmp_path: Path) -> None:
    text, _ = content.read("sim/sheets", "demo-pump-engine")
    sheet = tmp_path / "mine.toml"
    sheet.write_text(text + "\n# another text\n", encoding="utf-8")
    other = take(load(bench_file), Wanted(LAPPED.name, None, "IP6-0117", "final", str(sheet)))
    with other.store, pytest.raises(InputError, match="whose text was another one then"):
        round_before(earlier(bench_file), [], other)


@pytest.mark.parametrize("stage", ["as received", "after cleaning"])
def test_a_round_of_a_stage_that_is_not_earlier_is_refused_in_one_sentence(
    bench_file: Path, run_cli, stage: str
) -> None:
    """The stages and their order are those of gaugelink.work."""
    begun = take(load(bench_file), Wanted("D-0044", serial="IP6-0117", stage="after cleaning"))
    gauges = [item.gauge for item in load(bench_file).gauges]
    begun.store.append([to_document(opened_event(STAMP, begun.job, begun.sheet, gauges, "real"))])
    begun.store.close()
    before = bench_file.parent / "records" / "D-0044.sqlite"
    accepted = "as received" if stage == "after cleaning" else "none, this is the first stage"
    status, out, words = run_cli(
        "bench", str(bench_file), "--job", "D-0045", "--serial", "IP6-0117", "--stage", stage,
        "--earlier", str(before),
    )  # fmt: skip
    assert (status, out) == (2, "")
    assert words == (
        f"gaugelink: {before}, --earlier: found the stage 'after cleaning', which is not before "
        f"{stage!r}; accepted: {accepted}\n"
    )
    assert not (bench_file.parent / "records" / "D-0045.sqlite").exists()


def test_a_stage_of_an_older_record_that_has_no_order_is_taken() -> None:
    assert not_before("lapped, first side", "as received") == ""
    assert not_before("final", "whatever it was called") == ""


def test_the_record_of_the_job_itself_and_none_at_all_are_refused(
    bench_file: Path, lapped: Taken
) -> None:
    with pytest.raises(InputError, match="this is the record of the job itself"):
        round_before(lapped.path, [], lapped)
    with pytest.raises(RecordError, match="found nothing here"):
        round_before(bench_file.parent / "nobody.sqlite", [], lapped)
    nothing_in_it = take(load(bench_file), Wanted("D-9", serial="IP6-0117"))
    with nothing_in_it.store, pytest.raises(InputError, match="no job was ever opened"):
        round_before(nothing_in_it.path, [], lapped)


def test_the_bench_file_names_the_round_before_for_its_own_job_only(bench_file: Path) -> None:
    named = ('sheet = "demo-pump-engine"', 'sheet = "demo-pump-engine"\nearlier = "old/D-1.sqlite"')
    file = load(bench_file, named=named)
    with (own := take(file, Wanted())).store:
        assert own_earlier(file, own) == bench_file.parent / "old" / "D-1.sqlite"
    with (other := take(file, LAPPED)).store:
        assert own_earlier(file, other) is None


@pytest.mark.parametrize("named", ["option", "bench file"])
def test_the_command_hands_the_round_before_to_the_bench(
    bench_file: Path, monkeypatch: pytest.MonkeyPatch, run_cli, named: str
) -> None:
    seen = []

    async def work(self, _page):
        seen.append(self.before)
        raise InputError("that is enough")

    monkeypatch.setattr(bench_run.BenchRun, "work", work)
    text = FILE.replace('"D-0042"', '"D-0043"').replace('"as received"', '"after lapping"')
    options = ["--earlier", str(earlier(bench_file))]
    if named == "bench file":
        text = text.replace("[[gauge]]", 'earlier = "records/D-0042.sqlite"\n[[gauge]]')
        options = []
    bench_file.write_text(text, encoding="utf-8")
    assert run_cli("bench", str(bench_file), *options)[0] == 2
    [before] = seen
    assert [item.tag.position for item in before.readings] == STEMS


def test_changed_parts_without_a_round_before_are_refused(bench_file: Path, run_cli) -> None:
    status, _, words = run_cli("bench", str(bench_file), "--changed", "1I valve")
    assert (status, words) == (
        2,
        "gaugelink: --changed: accepted only together with --earlier, or earlier in [job]\n",
    )


def test_nothing_is_left_of_a_new_job_that_is_refused(bench_file: Path, run_cli) -> None:
    """Its record was made and held nothing yet; the record that was there stays."""
    there = sorted(item.name for item in bench_file.parent.rglob("*.sqlite*"))
    assert there
    words = ("--job", "D-0099", "--head", "Invented", "--serial", "1", "--stage", "as received",
             "--sheet", "demo-pump-engine", "--changed", "1I valve")  # fmt: skip
    status, _, err = run_cli("bench", str(bench_file), *words)
    assert status == 2
    assert "--changed" in err
    assert sorted(item.name for item in bench_file.parent.rglob("*.sqlite*")) == there
