"""A sentence about a damaged record or its heads file ends with what to do, and that then helps."""

from __future__ import annotations

import re
import sqlite3
from typing import TYPE_CHECKING

import pytest
from bench_kit import KEY
from release_kit import ready
from test_bench_command import FILE, begun
from test_record_signed import change

from gaugelink.errors import RecordError
from gaugelink.event_documents import to_document
from gaugelink.record import SqliteStore, heads_path, read_signed, verifier

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from conftest import RunCli

UTC = "2026-01-02T00:00:00.000000Z"
UNCHECKED = "PRAGMA ignore_check_constraints = ON"
ENDS = re.compile(
    r"run gaugelink verify on (it|the record)( and go back to (the last|a) whole copy)?$"
)


def in_line_1(text: bytes) -> Callable[[Path], None]:
    """Put a line before those of the heads file."""

    def damage(path: Path) -> None:
        beside = heads_path(path)
        beside.write_bytes(text + b"\n" + beside.read_bytes())

    return damage


def by(*statements: str) -> Callable[[Path], None]:
    """Work on the database, guards removed and put back."""
    return lambda path: change(path, *statements)


def without_a_table(path: Path) -> None:
    database = sqlite3.connect(path)
    database.execute("DROP TABLE entries")
    database.close()


def pages_lost(path: Path) -> None:
    data = bytearray(path.read_bytes())
    for start in range(4096, len(data), 4096):
        data[start : start + 8] = b"\xff" * 8
    path.write_bytes(data)


DAMAGES: dict[str, tuple[Callable[[Path], None], str]] = {
    "a heads file with a line of rubbish": (in_line_1(b"rubbish"), ".heads.jsonl, line 1: "),
    "a heads file with an empty line": (in_line_1(b""), ".heads.jsonl, line 1: "),
    "a heads file with a line that is no head": (
        in_line_1(b'{"head":{},"signature":""}'),
        ".heads.jsonl, line 1: found the fields [], accepted: ['format', 'key', 'log', 'root', 'si",
    ),
    "a head that is no bytes": (
        by(UNCHECKED, "UPDATE heads SET line = 7"),
        "a head is damaged: found int, accepted: bytes",
    ),
    "a head that is none": (by("UPDATE heads SET line = x'7b7d'"), "a head is damaged: found the"),
    "an id that is none": (
        by("UPDATE meta SET value = 'x' WHERE name = 'log'"),
        "its id or its key is missing or damaged",
    ),
    "no key": (by("DELETE FROM meta WHERE name = 'key'"), "its id or its key is missing or dam"),
    "an entry that is missing": (by("DELETE FROM entries WHERE place = 1"), "entry 1 is missing"),
    "only the last entry": (
        by("DELETE FROM entries WHERE place < 2"),
        "entry 0 is missing",
    ),
    "an entry that is no bytes": (
        by(UNCHECKED, "UPDATE entries SET leaf = 'x' WHERE place = 1"),
        "entry 1 is damaged: found str, accepted: bytes",
    ),
    "an entry that is no document": (
        by("UPDATE entries SET leaf = x'7b7d' WHERE place = 1"),
        "entry 1 is damaged: found the place None",
    ),
    "no table of entries": (without_a_table, "the database reported: no such table: entries"),
    "lost pages": (pages_lost, "the file is damaged; keep it as it is"),
}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Three entries and a head over them."""
    path = tmp_path / "job.sqlite"
    with SqliteStore.create(path, key=KEY) as store:
        store.append([{"kind": "note", "utc": UTC, "mono_ns": n} for n in range(3)])
        store.publish_head(UTC)
    return path


@pytest.mark.parametrize("name", DAMAGES)
def test_whoever_reads_or_writes_is_told_to_verify_and_the_verifier_lists_it(
    path: Path, name: str
) -> None:
    damage, words = DAMAGES[name]
    damage(path)
    said = []
    for attempt in (lambda: read_signed(path), lambda: SqliteStore.open(path, key=KEY)):
        with pytest.raises(RecordError) as fault:
            attempt()
        said.append(str(fault.value))
    assert words in said[0]
    for sentence in said:
        assert sentence.startswith(str(path))
        assert len(sentence.splitlines()) == 1
        assert ENDS.search(sentence), sentence
    assert verifier.verify(path)["problems"]


def test_a_row_that_is_written_beside_a_foreign_one_says_what_to_do(path: Path) -> None:
    """Somebody else added an entry while the bench was writing."""
    with SqliteStore.open(path, key=KEY) as store:
        foreign = b'{"kind":"note","mono_ns":9,"place":3,"utc":"%b"}' % UTC.encode()
        change(path, f"INSERT INTO entries VALUES (3, x'{foreign.hex()}')")
        with pytest.raises(RecordError) as fault:
            store.append([{"kind": "note", "utc": UTC, "mono_ns": 9}])
    assert "the database reported: an entry goes after the last one" in str(fault.value)
    assert ENDS.search(str(fault.value))


def test_a_signed_entry_that_is_no_event_is_named(run_cli: RunCli, tmp_path: Path) -> None:
    """It may be of a version to come."""
    documents = [to_document(event) for _, event in ready().record]
    stamp = {key: documents[1][key] for key in ("bench", "operator", "utc", "mono_ns")}
    path = tmp_path / "job.sqlite"
    with SqliteStore.create(path, key=KEY) as store:
        store.append([*documents, {"kind": "head-painted", **stamp}])
    status, out, err = run_cli("release", path)
    assert (status, out) == (2, "")
    assert f"{path}: entry {len(documents)} cannot be read: " in err
    assert "an event of kind 'head-painted'" in err
    assert err.endswith("; run gaugelink verify on it\n")


@pytest.mark.parametrize("more", [(), ("--report", "a.pdf")])
def test_no_bench_goes_on_beside_a_malformed_heads_file(
    run_cli: RunCli, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, more: tuple[str, ...]
) -> None:
    monkeypatch.setenv("GAUGELINK_HOME", str(tmp_path / "home"))
    bench = tmp_path / "bench.toml"
    bench.write_text(FILE, encoding="utf-8")
    begun(bench)
    record = tmp_path / "records" / "D-0042.sqlite"
    beside = heads_path(record)
    beside.write_bytes(b"rubbish\n")
    status, out, err = run_cli("bench", bench, *more)
    assert (status, out) == (2, "")
    assert err.startswith(f"gaugelink: {beside}, line 1: ")
    assert err.endswith("; run gaugelink verify on the record\n")
    assert len(err.splitlines()) == 1
    status, out, _ = run_cli("verify", record)
    assert status == 1
    assert "the heads file, line 1 is not a signed head" in out
