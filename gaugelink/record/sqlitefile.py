"""Working with a SQLite file safely: opening, settings, the writer's lock, faults in words.

The file itself is never opened by anything but SQLite. On Linux a process that opens and closes a
file by other means gives up every lock that it holds on it, SQLite's included.
"""

from __future__ import annotations

import sqlite3
from contextlib import ExitStack, contextmanager, suppress
from typing import TYPE_CHECKING, Final

from gaugelink.errors import RecordError
from gaugelink.record.heads import heads_path
from gaugelink.record.opening import VERIFY

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

SETTINGS: Final = {
    "journal_mode": "wal",
    "synchronous": 2,  # FULL: the log is flushed with every commit, not only at checkpoints
    "foreign_keys": 1,
    "fullfsync": 1,  # macOS flushes the drive's own cache only when asked so; no effect elsewhere
}
"""What every connection that writes a record is set to."""

_BUSY_S: Final = 5.0
"""How long to wait for another program's step before saying that the file is in use."""

_DAMAGED: Final = (
    f"the file is damaged; keep it as it is, {VERIFY} and go back to the last whole copy"
)


def connect(path: Path, mode: str) -> sqlite3.Connection:
    """Open the file; transactions are begun and ended by us alone.

    Args:
        path: the file, which must exist unless the mode is ``rwc``.
        mode: ``ro``, ``rw`` or ``rwc``, as SQLite's file names take it, further options with ``&``.

    Raises:
        sqlite3.Error: the file cannot be opened.
    """
    # The stores serialise their calls with a lock of their own, so that a server may call them
    # from any of its threads; SQLite's own check would tie them to the thread that opened.
    return sqlite3.connect(
        f"{path.resolve().as_uri()}?mode={mode}",
        uri=True,
        timeout=_BUSY_S,
        isolation_level=None,
        check_same_thread=False,
    )


def connect_to_read(path: Path) -> sqlite3.Connection:
    """Open the file for reading, also where nothing can be written beside it.

    Readers of a write-ahead log need a file of their own beside the record. On a disc or in a
    write-protected folder there is none; where there is no log either, the file alone is the record
    and nobody can be writing it.

    Raises:
        sqlite3.Error: the file cannot be opened.
    """
    connection = connect(path, "ro")
    try:
        connection.execute("SELECT 1 FROM sqlite_schema LIMIT 1").fetchone()
    except sqlite3.OperationalError as fault:
        connection.close()
        kinds = (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY)
        if fault.sqlite_errorcode & 0xFF not in kinds or log_path(path).exists():
            raise
        return connect(path, "ro&immutable=1")
    except BaseException:
        connection.close()
        raise
    return connection


def log_path(path: Path) -> Path:
    """Give SQLite's write-ahead log of a record; it exists while the record is in use.

    >>> from pathlib import PurePosixPath
    >>> log_path(PurePosixPath("bench/job-12.record")).as_posix()
    'bench/job-12.record-wal'
    """
    return path.with_name(f"{path.name}-wal")


def settle(connection: sqlite3.Connection) -> None:
    """Make the settings and read each one back.

    SQLite says nothing when it cannot do what it was asked for.

    Raises:
        RecordError: one did not take; usually the file lies on a network share.
    """
    for name, wanted in SETTINGS.items():
        connection.execute(f"PRAGMA {name} = {wanted}")
        found = connection.execute(f"PRAGMA {name}").fetchone()[0]
        if found != wanted:
            raise RecordError(
                f"{name} is {found!r} here, needed: {wanted!r}; keep the record on a disk of this"
                " computer, not on a network share"
            )


def lock_path(path: Path) -> Path:
    """Give the file whose lock the writer of a record holds.

    >>> from pathlib import PurePosixPath
    >>> lock_path(PurePosixPath("bench/job-12.record")).as_posix()
    'bench/job-12.record.lock'
    """
    return path.with_name(f"{path.name}.lock")


def take_lock(path: Path) -> sqlite3.Connection:
    """Become the one writer of a record until the connection given back is closed.

    The lock is an exclusive transaction on an empty database beside the record, because SQLite's
    locks work alike on every system and end with the process, however it ends. Readers never ask
    for it.

    Raises:
        RecordError: another program, or another part of this one, is the writer.
        sqlite3.Error: the folder cannot be written.
    """
    with ExitStack() as undo:
        lock = sqlite3.connect(
            lock_path(path), timeout=0, isolation_level=None, check_same_thread=False
        )
        undo.callback(lock.close)
        try:
            lock.execute("PRAGMA journal_mode = OFF")  # nothing is ever written
            lock.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as fault:
            if fault.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY:
                raise
            raise RecordError(
                "the record is open in another program; close it there first (reading it is"
                " possible meanwhile)"
            ) from None
        undo.pop_all()
    return lock


@contextmanager
def faults_in_words(path: Path) -> Iterator[None]:
    """Turn the faults of disk and database into one sentence that begins with the file.

    Raises:
        RecordError: whatever went wrong inside.
    """
    try:
        yield
    except RecordError as fault:
        if str(fault).startswith(str(path)):
            raise
        raise RecordError(f"{path}: {fault}") from fault
    except sqlite3.Error as fault:
        raise RecordError(f"{path}: {in_words(fault)}") from fault
    except UnicodeDecodeError as fault:
        # Damage can reach texts, and the text of SQLite's own message about it.
        raise RecordError(f"{path}: {_DAMAGED}") from fault
    except FileExistsError as fault:
        raise RecordError(f"{path}: this file exists; a new record needs a new name") from fault
    except OSError as fault:
        raise RecordError(f"{path}: {fault.strerror}") from fault


def is_disk_error(fault: BaseException) -> bool:
    """Tell whether the disk failed, after which nobody knows what is on it."""
    code = getattr(fault, "sqlite_errorcode", None)
    return code is not None and code & 0xFF == sqlite3.SQLITE_IOERR


def in_words(fault: sqlite3.Error) -> str:
    """Say what a database error means and what to do."""
    code = getattr(fault, "sqlite_errorcode", None)
    # The low byte is the kind of error, the rest tells variants apart.
    kind = None if code is None else code & 0xFF
    known = {
        sqlite3.SQLITE_FULL: "the disk is full; nothing of this step was written; make room and"
        " try again",
        sqlite3.SQLITE_BUSY: "another program is writing to the record; close it and try again",
        sqlite3.SQLITE_LOCKED: "another program is writing to the record; close it and try again",
        sqlite3.SQLITE_READONLY: "the record cannot be written here; check the rights of the file"
        " and its folder",
        sqlite3.SQLITE_CANTOPEN: "the file cannot be opened here; check that its folder exists and"
        " may be written",
        sqlite3.SQLITE_PERM: "the file cannot be opened here; check the rights of the file and its"
        " folder",
        sqlite3.SQLITE_NOTADB: "this is not a record: the file is no SQLite database",
        sqlite3.SQLITE_CORRUPT: _DAMAGED,
        sqlite3.SQLITE_IOERR: "the disk reported an error; check the disk before going on",
    }
    if kind in known:
        return known[kind]
    # Such a message can run over several lines; a sentence is one line.
    words = f"the database reported: {' '.join(str(fault).split()):.200}"
    if kind in {sqlite3.SQLITE_ERROR, sqlite3.SQLITE_CONSTRAINT}:
        # A table that is not there, or a row that the guards refuse: somebody worked on the file.
        words += f"; {VERIFY}"
    return words


def remove_files(path: Path) -> None:
    """Take a closed record away with all that lies beside it, for one that never held anything.

    What cannot be removed stays; the next start finds an empty record and uses it.
    """
    beside = [path.with_name(path.name + ending) for ending in ("-wal", "-shm")]
    for file in (*beside, heads_path(path), path, lock_path(path)):
        with suppress(OSError):
            file.unlink()
