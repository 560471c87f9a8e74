"""The SQLite store when power, disk or program fail: nothing acknowledged is lost."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from gaugelink.errors import RecordError
from gaugelink.record import (
    SqliteStore,
    heads_path,
    read_heads,
    schema,
    verifier,
)
from gaugelink.record.sqlitefile import lock_path

SECRET = b"a key for tests, known to anyone"
KEY = Ed25519PrivateKey.from_private_bytes(SECRET)
UTC = "2026-03-01T08:00:00.000000Z"


def event(number: int = 0) -> dict:
    return {"kind": "reading", "utc": UTC, "mono_ns": number, "value": "7.963"}


@pytest.fixture(scope="module")
def original(tmp_path_factory) -> Path:
    """A closed record of three entries in two steps, with a head over the first two."""
    place = tmp_path_factory.mktemp("original") / "job.record"
    with SqliteStore.create(place, key=KEY) as store:
        store.append([event(0), event(1)])
        store.publish_head(UTC)
        store.append([event(2)])
    return place


@pytest.fixture
def path(original, tmp_path) -> Path:
    """A copy of it, to do anything with."""
    shutil.copy(heads_path(original), tmp_path)
    return Path(shutil.copy(original, tmp_path))


def test_a_head_that_the_power_kept_out_of_the_heads_file_is_written_again(path):
    beside = heads_path(path)
    whole = beside.read_bytes()
    with SqliteStore.open(path, key=KEY) as store:
        newest = store.publish_head(UTC)
    for torn in (b"", newest.line()[:1], newest.line()[:-1], newest.line()):
        beside.write_bytes(whole + torn)
        assert verifier.verify(path)["problems"] == []
        SqliteStore.open(path, key=KEY).close()
        assert beside.read_bytes() == whole + newest.line() + b"\n"
    beside.unlink()
    SqliteStore.open(path, key=KEY).close()
    assert read_heads(beside) == ([newest], b"")


def test_a_damaged_heads_file_stops_the_writer(path):
    beside = heads_path(path)
    whole = beside.read_bytes()
    for damaged in (whole + b"rubbish", b"rubbish\n" + whole, whole.replace(b"a", b"b")):
        beside.write_bytes(damaged)
        with pytest.raises(RecordError):
            SqliteStore.open(path, key=KEY)
        assert beside.read_bytes() == damaged


WRITER = """
import sys
from pathlib import Path
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from gaugelink.record import SqliteStore
key = Ed25519PrivateKey.from_private_bytes(sys.argv[2].encode())
utc = "2026-03-01T08:00:00.000000Z"
with SqliteStore.open(Path(sys.argv[1]), key=key) as store:
    number = 0
    store.publish_head(utc)
    while True:
        step = {"kind": "reading", "utc": utc, "mono_ns": number}
        for entry in store.append([step] * (number % 3 + 1)):
            print(entry.place, flush=True)
        if number % 5 == 0:
            store.publish_head(utc)
        number += 1
"""


def start_writer(path: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path), SECRET.decode()],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


@pytest.mark.parametrize("after", [1, 17, 60])
def test_a_killed_writer_loses_no_acknowledged_entry(tmp_path, after):
    path = tmp_path / "job.record"
    SqliteStore.create(path, key=KEY).close()
    with start_writer(path) as writer:
        places = [int(writer.stdout.readline()) for _ in range(after)]
        writer.kill()
        places += [int(line) for line in writer.stdout if line.endswith("\n")]
    assert places == list(range(len(places)))
    report = verifier.verify(path)
    assert report["problems"] == []
    with SqliteStore.open(path, key=KEY) as store:
        assert store.size >= len(places)
        assert [entry.place for entry in store.entries()] == list(range(store.size))
        assert store.append([event()])[0].place == store.size - 1
        store.publish_head(UTC)
    report = verifier.verify(path)
    assert report["problems"] == report["notes"] == []
    assert report["covered"] == report["size"]


def test_another_program_may_read_and_verify_but_not_write_while_one_writes(tmp_path):
    path = tmp_path / "job.record"
    SqliteStore.create(path, key=KEY).close()
    with start_writer(path) as writer:
        try:
            seen = 0
            for _ in range(8):
                place = int(writer.stdout.readline())
                with pytest.raises(RecordError, match="open in another program"):
                    SqliteStore.open(path, key=KEY)
                with SqliteStore.read(path) as reader:
                    assert reader.size > place
                    assert reader.size >= seen
                    seen = sum(1 for _ in reader.entries())
                report = verifier.verify(path)
                assert report["problems"] == []
                assert report["size"] >= seen
        finally:
            writer.kill()
    SqliteStore.open(path, key=KEY).close()


def test_a_copy_taken_with_a_torn_log_opens_up_to_its_last_whole_step(path, tmp_path):
    """What a power cut leaves: the log ends in the middle of a step that was never acknowledged."""
    copy = tmp_path / "copy" / path.name
    copy.parent.mkdir()
    with SqliteStore.open(path, key=KEY) as store:
        store.append([event(3)])
        # By another process: closing a file of SQLite's here would undo the store's locks.
        copying = "import shutil, sys; shutil.copy(sys.argv[1], sys.argv[2])"
        for ending in ("", "-wal", ".heads.jsonl"):
            names = [f"{place}{ending}" for place in (path, copy)]
            subprocess.run([sys.executable, "-c", copying, *names], check=True)
    log = copy.with_name(f"{copy.name}-wal")
    log.write_bytes(log.read_bytes() + log.read_bytes()[32:600])
    with SqliteStore.open(copy, key=KEY) as store:
        assert store.size == 4
        store.append([event(4)])
    with SqliteStore.open(copy, key=KEY) as store:
        assert store.size == 5


def test_a_full_disk_keeps_the_step_out_and_the_record_usable(path):
    with SqliteStore.open(path, key=KEY) as store:
        pages = store._connection.execute("PRAGMA page_count").fetchone()[0]
        store._connection.execute(f"PRAGMA max_page_count = {pages}")
        root = store.root()
        with pytest.raises(RecordError, match="the disk is full; nothing of this step was written"):
            store.append([event(number) for number in range(2000)])
        assert (store.size, store.root()) == (3, root)
        store._connection.execute("PRAGMA max_page_count = 1000000")
        assert store.append([event()])[0].place == 3
    SqliteStore.open(path, key=KEY).close()


class FailingFlush:
    """A connection whose disk fails at the commit; everything else is the real one."""

    def __init__(self, real: sqlite3.Connection) -> None:
        self.real = real

    def __getattr__(self, name):
        return getattr(self.real, name)

    def execute(self, sql, *values):
        """Pass on everything but the commit."""
        if sql == "COMMIT":
            fault = sqlite3.OperationalError("disk I/O error")
            fault.sqlite_errorcode = sqlite3.SQLITE_IOERR_FSYNC
            raise fault
        return self.real.execute(sql, *values)


def test_after_a_failed_flush_nothing_more_is_written_until_the_record_was_checked(path):
    with SqliteStore.open(path, key=KEY) as store:
        real = store._connection
        store._connection = FailingFlush(real)
        with pytest.raises(RecordError, match="the disk reported an error"):
            store.append([event()])
        store._connection = real
        assert store.size == 3
        with pytest.raises(RecordError, match="close the record and open it again"):
            store.append([event()])
    with SqliteStore.open(path, key=KEY) as store:
        assert store.append([event()])[0].place == 3


def test_a_heads_file_that_cannot_be_written_leaves_the_head_in_the_store(path):
    beside = heads_path(path)
    with SqliteStore.open(path, key=KEY) as store:
        kept = beside.read_bytes()
        beside.unlink()
        beside.mkdir()
        with pytest.raises(RecordError, match="the head cannot be written"):
            store.publish_head(UTC)
        assert [head.size for head in store.heads()] == [2, 3]
    beside.rmdir()
    beside.write_bytes(kept)
    SqliteStore.open(path, key=KEY).close()
    assert [head.size for head in read_heads(beside)[0]] == [2, 3]


def files(folder: Path) -> list[str]:
    return sorted(file.name for file in folder.iterdir())


def test_a_new_record_appears_whole_and_leaves_nothing_else(tmp_path):
    with SqliteStore.create(tmp_path / "job.record", key=KEY):
        pass
    assert files(tmp_path) == ["job.record", "job.record.lock"]
    assert lock_path(tmp_path / "job.record").stat().st_size == 0


def test_a_failed_creation_leaves_no_file(tmp_path, monkeypatch):
    def no_room(connection, **_):
        connection.execute("CREATE TABLE half (x)")
        fault = sqlite3.OperationalError("database or disk is full")
        fault.sqlite_errorcode = sqlite3.SQLITE_FULL
        raise fault

    monkeypatch.setattr(schema, "create_tables", no_room)
    with pytest.raises(RecordError, match="the disk is full"):
        SqliteStore.create(tmp_path / "job.record", key=KEY)
    assert files(tmp_path) == []


def test_a_creation_that_fails_at_the_very_end_leaves_no_file(tmp_path, monkeypatch):
    def refuse(connection):
        raise RecordError("no")

    monkeypatch.setattr(schema, "check_guards", refuse)
    with pytest.raises(RecordError, match="no"):
        SqliteStore.create(tmp_path / "job.record", key=KEY)
    assert files(tmp_path) == []


@pytest.mark.parametrize("ending", ["", ".heads.jsonl", "-wal"])
def test_a_creation_refuses_a_name_with_leftovers_and_keeps_them(tmp_path, ending):
    left = tmp_path / f"job.record{ending}"
    left.write_bytes(b"kept")
    with pytest.raises(RecordError, match="this file exists; a new record needs a new name"):
        SqliteStore.create(tmp_path / "job.record", key=KEY)
    assert left.read_bytes() == b"kept"
    assert files(tmp_path) == [left.name]


def test_a_folder_that_cannot_be_written_is_said_in_one_sentence(tmp_path):
    (tmp_path / "file").write_bytes(b"")
    for place in (tmp_path / "file" / "job.record", tmp_path / "missing" / "job.record"):
        with pytest.raises(RecordError, match="cannot be opened here") as refusal:
            SqliteStore.create(place, key=KEY)
        assert "\n" not in str(refusal.value)
    assert files(tmp_path) == ["file"]
