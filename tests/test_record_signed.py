"""Whoever judges by a record reads it only as it was signed, and every such command refuses it."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING

import pytest
from bench_kit import KEY
from hypothesis import given, settings, strategies as st
from release_kit import ready
from test_bench_command import FILE, begun

from gaugelink.errors import RecordError
from gaugelink.record import SqliteStore, heads_path, read_signed, verifier

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import RunCli

UTC = "2026-01-02T00:00:00.000000Z"
SLIPPED_IN = (
    """INSERT INTO entries SELECT 9, CAST(replace(leaf, '"place":8', '"place":9') AS BLOB) """
    "FROM entries WHERE place = 8"
)


def change(path: Path, *statements: str) -> None:
    """Work on the file from outside, guards removed and put back."""
    with closing(sqlite3.connect(path, isolation_level=None)) as database:
        listing = "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'"
        guards = database.execute(listing).fetchall()
        for name, _ in guards:
            database.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            assert database.execute(statement).rowcount, statement
        for _, sql in guards:
            database.execute(sql)


def altered(path: Path) -> int:
    """Make one letter of a person's name another one and give the entry's place.

    The entry can be read as before; it only says that somebody else did it.
    """
    with SqliteStore.read(path) as store:
        for entry in store.entries():
            found = re.search(rb'"(?:operator|by)":"[A-Z]', entry.leaf)
            if found:
                at = found.end()
                break
        else:
            raise AssertionError("no entry to alter")
    leaf = entry.leaf[: at - 1] + b"Z" + entry.leaf[at:]
    change(path, f"UPDATE entries SET leaf = X'{leaf.hex()}' WHERE place = {entry.place}")
    with SqliteStore.read(path) as store:
        again = list(store.entries())[entry.place].leaf
    assert sum(old != new for old, new in zip(entry.leaf, again, strict=True)) == 1
    return entry.place


def refused(answer: tuple[int, str, str], path: Path, words: str) -> None:
    """Hold an answer of a command: one sentence that names the file and what to do."""
    status, out, err = answer
    assert (status, out) == (2, "")
    assert len(err.splitlines()) == 1
    assert str(path) in err
    assert words in err
    assert "run gaugelink verify" in err


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Nine entries in five steps, with heads over 4 and 9 of them."""
    path = tmp_path / "job.sqlite"
    with SqliteStore.create(path, key=KEY) as store:
        for count in (1, 3, 2, 1, 2):
            first = store.size
            store.append([{"kind": "note", "utc": UTC, "mono_ns": first + n, "value": "7.963"}
                          for n in range(count)])  # fmt: skip
            if store.size in {4, 9}:
                store.publish_head(UTC)
    return path


def test_a_whole_record_is_read_and_left_as_it_was(path: Path) -> None:
    before = path.read_bytes(), heads_path(path).read_bytes()
    with SqliteStore.read(path) as store:
        assert read_signed(path) == list(store.entries())
    assert (path.read_bytes(), heads_path(path).read_bytes()) == before


@pytest.mark.parametrize("place", range(9))
def test_the_step_of_an_altered_entry_is_named(path: Path, place: int) -> None:
    change(path, "UPDATE entries SET leaf = CAST(replace(leaf, '7.963', '7.953') AS BLOB) "
                 f"WHERE place = {place}")  # fmt: skip
    which = ["entry 0 does", *["entries 1 to 3 do"] * 3, *["entries 4 to 5 do"] * 2, "entry 6 does",
             *["entries 7 to 8 do"] * 2][place]  # fmt: skip
    with pytest.raises(RecordError) as fault:
        read_signed(path)
    assert str(fault.value) == (
        f"{path}: {which} not fit the seal made when written, so the record was changed; "
        "run gaugelink verify on it"
    )


@pytest.mark.parametrize(
    ("statements", "words"),
    [
        (["UPDATE entries SET leaf = X'7b7d' WHERE place = 5"], "entry 5 is damaged"),
        (["DELETE FROM entries WHERE place = 5"], "entry 5 is missing"),
        (["DELETE FROM entries WHERE place = 8"], "found 8 entries, but a seal over 9"),
        (["DELETE FROM entries WHERE place > 6", "DELETE FROM seals WHERE size > 7"],
         "the head of 2026-01-02T00:00:00.000000Z covers 9 entries, found: 7"),
        ([SLIPPED_IN], "the last entries carry no seal"),
        (["UPDATE seals SET signature = zeroblob(64) WHERE size = 9"], "entries 7 to 8 do not fit"),
    ],
)  # fmt: skip
def test_what_was_taken_out_or_added_is_said(path: Path, statements: list[str], words: str) -> None:
    change(path, *statements)
    with pytest.raises(RecordError, match="run gaugelink verify on it") as fault:
        read_signed(path)
    assert str(fault.value).startswith(f"{path}: ")
    assert words in str(fault.value)


@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_no_changed_byte_of_an_entry_is_read(
    data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = ready().write(tmp_path_factory.mktemp("record") / "job.sqlite")
    entries = read_signed(path)
    entry = data.draw(st.sampled_from(entries))
    at = data.draw(st.integers(0, len(entry.leaf) - 1))
    new = data.draw(st.integers(0, 255).filter(lambda value: value != entry.leaf[at]))
    leaf = entry.leaf[:at] + bytes([new]) + entry.leaf[at + 1 :]
    change(path, f"UPDATE entries SET leaf = X'{leaf.hex()}' WHERE place = {entry.place}")
    with pytest.raises(RecordError):
        read_signed(path)
    assert not verifier.verify(path)["ok"]


def test_a_record_that_grows_meanwhile_is_read_as_it_was_at_one_moment(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    more = {"kind": "note", "utc": UTC, "mono_ns": 9}
    with SqliteStore.open(path, key=KEY) as writer:
        read = SqliteStore.entries

        def written_before_and_after(store: SqliteStore, start: int = 0) -> object:
            writer.append([more])
            yield from read(store, start)
            writer.append([more])
            writer.publish_head(UTC)

        monkeypatch.setattr(SqliteStore, "entries", written_before_and_after)
        assert len(read_signed(path)) == 10


@pytest.mark.parametrize(
    "command",
    [("release", "{}"), ("release", "{}", "--json"), ("stability", "{}"),
     ("plan", "{}", "--prices", "demo-shop"), ("plan", "{}", "--try", "1I cut seat 0.10 mm"),
     ("plan", "{}", "--export", "{}.toml")],
)  # fmt: skip
def test_a_command_that_judges_refuses_an_altered_record(
    run_cli: RunCli, tmp_path: Path, command: tuple[str, ...]
) -> None:
    path = ready().write(tmp_path / "job.sqlite")
    altered(path)
    refused(run_cli(*(word.format(path) for word in command)), path, "do not fit the seal")
    assert not path.with_name("job.sqlite.toml").exists()


@pytest.fixture
def altered_bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("GAUGELINK_HOME", str(tmp_path / "home"))
    path = tmp_path / "bench.toml"
    path.write_text(FILE, encoding="utf-8")
    begun(path)
    altered(tmp_path / "records" / "D-0042.sqlite")
    return path


def test_no_report_is_made_of_an_altered_record(run_cli: RunCli, altered_bench: Path) -> None:
    report = altered_bench.parent / "a.pdf"
    answer = run_cli("bench", altered_bench, "--report", report)
    refused(answer, altered_bench.parent / "records" / "D-0042.sqlite", "the record was changed")
    assert not report.exists()


def test_no_round_is_held_against_an_altered_one(run_cli: RunCli, altered_bench: Path) -> None:
    before = altered_bench.parent / "records" / "D-0042.sqlite"
    answer = run_cli("bench", altered_bench, "--job", "D-0042-lapped", "--serial", "IP6-0117",
                     "--stage", "after lapping", "--earlier", before)  # fmt: skip
    refused(answer, before, "entry 0 does not fit the seal")
