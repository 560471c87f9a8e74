"""The tables of a record in SQLite, and the guards that keep them append-only."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from gaugelink.errors import RecordError

if TYPE_CHECKING:
    import sqlite3

APPLICATION_ID: Final = 0x474C524B
"""Marks the file as a record ("GLRK"); it stands at byte 68 of the file's header."""

VERSION: Final = 1
"""Format of the tables; it stands at byte 60 of the file's header."""

FORMAT: Final = "gaugelink-record-1"

# A BEFORE INSERT guard on the next place also closes INSERT OR REPLACE: the replaced row would
# have to have a place that is taken, and SQLite would remove it without asking the DELETE guard.
STATEMENTS: Final = (
    """CREATE TABLE meta (
  name TEXT PRIMARY KEY,
  value TEXT NOT NULL
) WITHOUT ROWID""",
    """CREATE TABLE entries (
  place INTEGER PRIMARY KEY,
  leaf BLOB NOT NULL CHECK (typeof(leaf) = 'blob')
)""",
    """CREATE TABLE seals (
  size INTEGER PRIMARY KEY,
  signature BLOB NOT NULL CHECK (typeof(signature) = 'blob')
)""",
    """CREATE TABLE heads (
  place INTEGER PRIMARY KEY,
  line BLOB NOT NULL CHECK (typeof(line) = 'blob')
)""",
    """CREATE TRIGGER entries_next BEFORE INSERT ON entries
WHEN NEW.place IS NOT (SELECT coalesce(max(place) + 1, 0) FROM entries)
BEGIN SELECT raise(ABORT, 'an entry goes after the last one and nowhere else'); END""",
    """CREATE TRIGGER entries_stay BEFORE UPDATE ON entries
BEGIN SELECT raise(ABORT, 'an entry is never changed'); END""",
    """CREATE TRIGGER entries_remain BEFORE DELETE ON entries
BEGIN SELECT raise(ABORT, 'an entry is never removed'); END""",
    """CREATE TRIGGER seals_next BEFORE INSERT ON seals
WHEN NEW.size IS NOT (SELECT coalesce(max(place) + 1, 0) FROM entries)
  OR NEW.size <= (SELECT coalesce(max(size), 0) FROM seals)
BEGIN SELECT raise(ABORT, 'a seal is for the newest entry and stands once'); END""",
    """CREATE TRIGGER seals_stay BEFORE UPDATE ON seals
BEGIN SELECT raise(ABORT, 'a seal is never changed'); END""",
    """CREATE TRIGGER seals_remain BEFORE DELETE ON seals
BEGIN SELECT raise(ABORT, 'a seal is never removed'); END""",
    """CREATE TRIGGER heads_next BEFORE INSERT ON heads
WHEN NEW.place IS NOT (SELECT coalesce(max(place) + 1, 0) FROM heads)
BEGIN SELECT raise(ABORT, 'a head goes after the last one and nowhere else'); END""",
    """CREATE TRIGGER heads_stay BEFORE UPDATE ON heads
BEGIN SELECT raise(ABORT, 'a head is never changed'); END""",
    """CREATE TRIGGER heads_remain BEFORE DELETE ON heads
BEGIN SELECT raise(ABORT, 'a head is never removed'); END""",
)

# Made last, when the record's id and key are in.
META_GUARDS: Final = (
    """CREATE TRIGGER meta_next BEFORE INSERT ON meta
BEGIN SELECT raise(ABORT, 'what the record is stays as it was created'); END""",
    """CREATE TRIGGER meta_stay BEFORE UPDATE ON meta
BEGIN SELECT raise(ABORT, 'what the record is stays as it was created'); END""",
    """CREATE TRIGGER meta_remain BEFORE DELETE ON meta
BEGIN SELECT raise(ABORT, 'what the record is stays as it was created'); END""",
)


def create_tables(connection: sqlite3.Connection, *, log: str, key: bytes) -> None:
    """Make the tables, the guards and the marks of an empty record, in one transaction."""
    connection.execute("BEGIN IMMEDIATE")
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute(f"PRAGMA user_version = {VERSION}")
    for statement in STATEMENTS:
        connection.execute(statement)
    meta = {"format": FORMAT, "log": log, "key": key.hex()}
    connection.executemany("INSERT INTO meta (name, value) VALUES (?, ?)", meta.items())
    for statement in META_GUARDS:
        connection.execute(statement)
    connection.execute("COMMIT")


def check_marks(connection: sqlite3.Connection) -> None:
    """Check that the file is a record in a format that this program reads.

    Raises:
        RecordError: it is another kind of database, or of a newer format.
    """
    if connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        raise RecordError("this database is not a record of GaugeLink")
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    if version > VERSION:
        raise RecordError(
            f"found record format {version}, this program reads up to {VERSION}; a newer GaugeLink"
            " wrote it, use that one"
        )
    if version != VERSION:
        raise RecordError(f"found record format {version}, accepted: {VERSION}")


def check_guards(connection: sqlite3.Connection) -> None:
    """Check that tables and guards are those that the record was created with.

    Raises:
        RecordError: something was added, changed or removed, so somebody worked on the file.
    """
    rows = connection.execute("SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL").fetchall()
    found = sorted(sql for (sql,) in rows)
    if found != sorted((*STATEMENTS, *META_GUARDS)):
        raise RecordError(
            "its tables or the guards on them were changed from outside; keep this file as it is"
            " and run gaugelink verify on it"
        )
