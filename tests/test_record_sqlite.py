"""The SQLite store: guards, locks, durability, and faults in one sentence."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from gaugelink.errors import RecordError
from gaugelink.record import (
    SqliteStore,
    heads_path,
    sign_head,
    sqlitefile,
    verifier,
)

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


def change(path: Path, *statements: str) -> None:
    """Work on the file from outside, guards removed and put back."""
    with closing(sqlite3.connect(path, isolation_level=None)) as database:
        guards = database.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'")
        kept = guards.fetchall()
        database.execute("PRAGMA synchronous = OFF")  # nobody's readings: quick is enough
        database.execute("PRAGMA ignore_check_constraints = ON")
        database.execute("BEGIN")
        for name, _ in kept:
            database.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            database.execute(statement)
        for _, sql in kept:
            database.execute(sql)
        database.execute("COMMIT")


def test_the_file_is_set_as_promised_and_marked(path):
    with SqliteStore.open(path, key=KEY) as store:
        ask = store._connection.execute
        assert ask("PRAGMA journal_mode").fetchone() == ("wal",)
        assert ask("PRAGMA synchronous").fetchone() == (2,)
        assert ask("PRAGMA foreign_keys").fetchone() == (1,)
        assert ask("PRAGMA integrity_check").fetchone() == ("ok",)
    header = path.read_bytes()[:100]
    # Offsets: SQLite database file format, 1.3 (user version at 60, application id at 68).
    assert header[60:64] == (1).to_bytes(4, "big")
    assert header[68:72] == b"GLRK"


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entries SET leaf = x'00'",
        "UPDATE OR REPLACE entries SET place = 1 WHERE place = 0",
        "UPDATE OR IGNORE entries SET leaf = x'00'",
        "DELETE FROM entries",
        "DELETE FROM entries WHERE place = 2",
        "INSERT OR REPLACE INTO entries VALUES (0, x'00')",
        "REPLACE INTO entries VALUES (2, x'00')",
        "INSERT OR IGNORE INTO entries VALUES (0, x'00')",
        "INSERT INTO entries VALUES (1, x'00') ON CONFLICT (place) DO UPDATE SET leaf = x'00'",
        "INSERT INTO entries VALUES (4, x'00')",
        "INSERT INTO entries VALUES (-1, x'00')",
        "INSERT INTO entries (leaf) VALUES (x'00')",
        "INSERT INTO entries VALUES (3, 'text')",
        "INSERT INTO entries VALUES (3, NULL)",
        "INSERT INTO entries SELECT place, x'00' FROM entries",
        "UPDATE seals SET signature = x'00'",
        "DELETE FROM seals",
        "REPLACE INTO seals VALUES (3, x'00')",
        "INSERT INTO seals VALUES (1, x'00')",
        "INSERT INTO seals VALUES (4, x'00')",
        "UPDATE heads SET line = x'00'",
        "DELETE FROM heads",
        "REPLACE INTO heads VALUES (0, x'00')",
        "INSERT INTO heads VALUES (5, x'00')",
        "UPDATE meta SET value = 'x'",
        "DELETE FROM meta",
        "REPLACE INTO meta VALUES ('log', 'x')",
        "INSERT INTO meta VALUES ('more', 'x')",
    ],
)
@pytest.mark.parametrize("recursive", [0, 1])
def test_the_guards_refuse_every_way_to_change_a_row(path, statement, recursive):
    with closing(sqlite3.connect(path, isolation_level=None)) as database:
        tables = ("entries", "seals", "heads", "meta")
        before = [database.execute(f"SELECT * FROM {table}").fetchall() for table in tables]
        database.execute(f"PRAGMA recursive_triggers = {recursive}")
        with pytest.raises(sqlite3.IntegrityError):
            database.execute(statement)
        after = [database.execute(f"SELECT * FROM {table}").fetchall() for table in tables]
    assert after == before
    SqliteStore.open(path, key=KEY).close()


def test_an_entry_slipped_in_from_outside_is_found_at_the_next_opening(path):
    """The guards let a next entry in, as they must; without the key it has no seal."""
    with closing(sqlite3.connect(path, isolation_level=None)) as database:
        database.execute("INSERT INTO entries VALUES (3, x'7b7d')")
    with pytest.raises(RecordError, match="carry no seal"):
        SqliteStore.open(path, key=KEY)


def test_an_entry_slipped_in_while_the_record_is_open_stops_the_writer(path):
    with SqliteStore.open(path, key=KEY) as store:
        with closing(sqlite3.connect(path, isolation_level=None)) as database:
            database.execute("INSERT INTO entries VALUES (3, x'7b7d')")
        with pytest.raises(RecordError, match="after the last one and nowhere else"):
            store.append([event()])


@pytest.mark.parametrize(
    ("statements", "sentence"),
    [
        (["UPDATE entries SET leaf = 'text' WHERE place = 0"], "entry 0 is damaged: found str"),
        (
            ["UPDATE entries SET leaf = CAST(replace(leaf, '63', '64') AS BLOB) WHERE place = 2"],
            "changed",
        ),
        (
            ["UPDATE entries SET leaf = CAST(replace(leaf, '63', '64') AS BLOB) WHERE place = 0"],
            "its first 2 entries are not those that were signed",
        ),
        (["DELETE FROM entries WHERE place = 2"], "no seal"),
        (["DELETE FROM entries WHERE place > 0", "DELETE FROM seals"], "cut off"),
        (["DELETE FROM entries WHERE place = 0"], "entry 0 is missing"),
        (["DELETE FROM seals"], "no seal"),
        (["UPDATE seals SET signature = zeroblob(64)"], "last seal does not fit"),
        (["UPDATE meta SET value = 'x' WHERE name = 'key'"], "id or its key"),
        ([f"UPDATE meta SET value = '{'0' * 64}' WHERE name = 'key'"], "its own key"),
        ([f"UPDATE meta SET value = '{'0' * 32}' WHERE name = 'log'"], "belongs to another record"),
        (["DELETE FROM meta"], "id or its key"),
        (["UPDATE heads SET line = x'00'"], "not JSON|not canonical"),
    ],
)
def test_a_changed_record_is_not_opened_for_writing(path, statements, sentence):
    change(path, *statements)
    before = path.read_bytes(), heads_path(path).read_bytes()
    with pytest.raises(RecordError, match=sentence) as refusal:
        SqliteStore.open(path, key=KEY)
    assert str(refusal.value).startswith(str(path))
    assert (path.read_bytes(), heads_path(path).read_bytes()) == before


def test_a_cut_off_end_shows_against_the_heads_file(path):
    with SqliteStore.open(path, key=KEY) as store:
        store.publish_head(UTC)
    change(
        path,
        "DELETE FROM entries WHERE place = 2",
        "DELETE FROM seals WHERE size = 3",
        "DELETE FROM heads WHERE place = 1",
    )
    with pytest.raises(RecordError, match=r"cut off: the head of .* covers 3 entries, found: 2"):
        SqliteStore.open(path, key=KEY)


@pytest.mark.parametrize(
    "statement",
    [
        "DROP TRIGGER entries_stay",
        "CREATE TABLE more (x)",
        "CREATE TRIGGER more AFTER INSERT ON entries BEGIN SELECT 1; END",
        "ALTER TABLE heads ADD COLUMN more",
    ],
)
def test_a_record_whose_guards_were_altered_is_not_opened_for_writing(path, statement):
    with closing(sqlite3.connect(path)) as database:
        database.execute(statement)
    with pytest.raises(RecordError, match="changed from outside"):
        SqliteStore.open(path, key=KEY)


def test_a_heads_file_of_another_key_stops_the_writer(path):
    other = Ed25519PrivateKey.generate()
    with SqliteStore.read(path) as store:
        head = sign_head(other, size=3, root=store.root(), utc=UTC, log=store.log)
    with heads_path(path).open("ab") as file:
        file.write(head.line() + b"\n")
    with pytest.raises(RecordError, match="is signed by key"):
        SqliteStore.open(path, key=KEY)


def not_a_record(folder: Path, kind: str) -> Path:
    place = folder / kind
    if kind == "folder":
        place.mkdir()
    elif kind == "text":
        place.write_bytes(b"not a database at all, but longer than a header" * 10)
    elif kind == "empty":
        place.write_bytes(b"")
    elif kind == "database":
        with closing(sqlite3.connect(place)) as other:
            other.execute("CREATE TABLE t (x)")
    return place


@pytest.mark.parametrize(
    ("kind", "sentence"),
    [
        ("missing", "found nothing here"),
        ("folder", "found a folder here"),
        ("text", "no SQLite database"),
        ("empty", "not a record of GaugeLink"),
        ("database", "not a record of GaugeLink"),
    ],
)
def test_what_is_not_a_record_is_refused_and_stays_as_it_is(tmp_path, kind, sentence):
    place = not_a_record(tmp_path, kind)
    before = place.read_bytes() if place.is_file() else None
    for attempt in (lambda: SqliteStore.read(place), lambda: SqliteStore.open(place, key=KEY)):
        with pytest.raises(RecordError, match=sentence) as refusal:
            attempt()
        assert str(refusal.value).startswith(str(place))
    assert (place.read_bytes() if place.is_file() else None) == before


def test_a_newer_format_is_refused(path):
    with closing(sqlite3.connect(path)) as database:
        database.execute("PRAGMA user_version = 2")
    for attempt in (lambda: SqliteStore.read(path), lambda: SqliteStore.open(path, key=KEY)):
        with pytest.raises(RecordError, match="found record format 2, this program reads up to 1"):
            attempt()
    with closing(sqlite3.connect(path)) as database:
        database.execute("PRAGMA user_version = 0")
    with pytest.raises(RecordError, match="found record format 0, accepted: 1"):
        SqliteStore.read(path)


def test_a_damaged_file_is_said_in_one_sentence(path):
    with SqliteStore.open(path, key=KEY) as store:
        store.append([event(number) for number in range(500)])
    data = bytearray(path.read_bytes())
    page = 4096
    for start in range(page, len(data), page):
        data[start : start + 8] = b"\xff" * 8
    path.write_bytes(data)
    for attempt in (lambda: SqliteStore.open(path, key=KEY), lambda: SqliteStore.read(path)):
        with pytest.raises(RecordError, match="the file is damaged"):
            attempt()


def test_a_damaged_row_is_named_when_it_is_read(path):
    change(path, "UPDATE entries SET leaf = x'7b7d' WHERE place = 1")
    with SqliteStore.read(path) as store:
        listing = store.entries()
        assert next(listing).place == 0
        with pytest.raises(RecordError, match="entry 1 is damaged: found the place None"):
            next(listing)


def test_a_file_in_use_by_another_kind_of_program_is_said_in_one_sentence(path, monkeypatch):
    monkeypatch.setattr(sqlitefile, "_BUSY_S", 0.0)
    with (
        SqliteStore.open(path, key=KEY) as store,
        closing(sqlite3.connect(path, isolation_level=None)) as other,
    ):
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(RecordError, match="another program is writing"):
            store.append([event()])
        other.execute("ROLLBACK")
        assert store.append([event()])[0].place == 3


def test_settings_that_do_not_take_are_refused(tmp_path):
    """A database in memory cannot keep a write-ahead log, like a file on some network shares."""
    with (
        closing(sqlite3.connect(":memory:")) as database,
        pytest.raises(RecordError, match=r"journal_mode is 'memory' here.*not on a network share"),
    ):
        sqlitefile.settle(database)


def test_the_lock_is_one_for_all_names_of_the_file(path, tmp_path):
    link = tmp_path / "link.record"
    try:
        link.symlink_to(path)
    except OSError:
        pytest.skip("this system lets no ordinary user make links")
    with SqliteStore.open(link, key=KEY) as store:
        store.publish_head(UTC)
        with pytest.raises(RecordError, match="open in another program"):
            SqliteStore.open(path, key=KEY)
    assert not heads_path(link).exists()
    assert verifier.verify(link)["covered"] == 3


def test_an_unknown_fault_still_names_what_the_database_said():
    assert sqlitefile.in_words(sqlite3.ProgrammingError("odd")) == "the database reported: odd"
