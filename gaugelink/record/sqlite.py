"""The store on this computer: one SQLite file with write-ahead logging, and one writer.

Beside the file ``job.record`` lie ``job.record.heads.jsonl`` (signed heads), ``job.record.lock``
(empty; whoever writes holds it) and, while the record is in use, SQLite's own ``-wal`` and ``-shm``
files, which belong to it: copy a record only when it is closed, or copy all of them.

Every step of writing is sealed: in the same transaction as its entries the store signs the new size
and root. So entries that were never signed, added by somebody without the key, are found at the
next opening and by the verifier even where no head covers them yet.
"""

from __future__ import annotations

import secrets
from contextlib import ExitStack, contextmanager, suppress
from threading import RLock
from typing import TYPE_CHECKING, Self

from gaugelink.errors import RecordError
from gaugelink.record import disk, opening, schema
from gaugelink.record.heads import (
    SignedHead,
    append_head,
    heads_path,
    parse_head,
    read_heads,
    seal_body,
    sign_head,
)
from gaugelink.record.keys import fingerprint, public_bytes
from gaugelink.record.sqlitefile import (
    connect,
    connect_to_read,
    faults_in_words,
    is_disk_error,
    lock_path,
    log_path,
    settle,
    take_lock,
)
from gaugelink.record.store import Entry, entry_from, entry_of
from gaugelink.record.tree import Frontier, leaf_hash

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path
    from types import TracebackType

    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from gaugelink.record.canonical import Json

_BATCH = 500
"""Rows read at a time, so that a long reading never holds the file open in one state."""


class SqliteStore:
    """A record in a SQLite file; made by `create`, `open` or `read`, never directly.

    Calls may come from any thread: they are taken one at a time, so the one connection is never
    used by two threads at once. `append` and `publish_head` wait for the disk; a server calls them
    outside its event loop.
    """

    def __init__(
        self,
        path: Path,
        connection: sqlite3.Connection,
        lock: sqlite3.Connection | None,
        signer: Ed25519PrivateKey | None,
    ) -> None:
        self.path = path
        self._connection = connection
        self._lock = lock
        self._signer = signer
        self._turn = RLock()
        self._closed = False
        self._broken = False
        self._frontier = Frontier()
        meta = dict(connection.execute("SELECT name, value FROM meta").fetchall())
        try:
            self._log: str = meta["log"]
            self._key = bytes.fromhex(meta["key"])
            good = (len(bytes.fromhex(self._log)), len(self._key)) == (16, 32)
        except (KeyError, TypeError, ValueError):
            good = False
        if not good:
            raise RecordError(f"its id or its key is missing or damaged; {opening.VERIFY}")

    @classmethod
    def create(cls, path: Path, *, key: Ed25519PrivateKey) -> Self:
        """Create an empty record and open it for writing.

        The file appears under its name only when it is whole and on the disk.

        Args:
            path: the new file, in a folder that exists.
            key: the key that will sign the record.

        Raises:
            RecordError: the file or a heads file of that name exists, or the folder cannot be
                written; then no file is left behind.
        """
        path = path.resolve()
        for taken in (path, heads_path(path), log_path(path)):
            if taken.exists():
                raise RecordError(f"{taken}: this file exists; a new record needs a new name")
        with faults_in_words(path), ExitStack() as undo:
            if not lock_path(path).exists():
                undo.callback(_remove, lock_path(path))
            lock = take_lock(path)
            undo.callback(lock.close)
            _make_file(path, key)
            undo.callback(_remove, path)
            store = cls._open(path, lock, key)
            undo.pop_all()
        return store

    @classmethod
    def open(cls, path: Path, *, key: Ed25519PrivateKey) -> Self:
        """Open a record for writing, after checking its rows against seals and heads.

        All rows are hashed again. A head that the power kept out of the heads
        file is written there again.

        Args:
            path: the file.
            key: the key that the record was created with.

        Raises:
            RecordError: no such file, not a record, a newer format, open in another program, cannot
                be written, signed by another key, or rows that do not fit what was signed. The
                record is then as it was.
        """
        path = path.resolve()
        _check_there(path)
        with faults_in_words(path), ExitStack() as undo:
            lock = take_lock(path)
            undo.callback(lock.close)
            store = cls._open(path, lock, key)
            undo.pop_all()
        return store

    @classmethod
    def read(cls, path: Path) -> Self:
        """Open a record for reading only, also while another program writes it.

        Nothing is verified beyond what is read: `gaugelink.record.signed` does that for whoever
        judges by a record, and the verifier for whoever doubts it.

        Raises:
            RecordError: no such file, not a record, or a newer format.
        """
        path = path.resolve()
        _check_there(path)
        with faults_in_words(path), ExitStack() as undo:
            connection = connect_to_read(path)
            undo.callback(connection.close)
            schema.check_marks(connection)
            store = cls(path, connection, None, None)
            undo.pop_all()
        return store

    @classmethod
    def _open(cls, path: Path, lock: sqlite3.Connection, key: Ed25519PrivateKey) -> Self:
        with ExitStack() as undo:
            connection = connect(path, "rw")
            undo.callback(connection.close)
            schema.check_marks(connection)
            settle(connection)
            schema.check_guards(connection)
            store = cls(path, connection, lock, key)
            if public_bytes(key) != store.key:
                raise RecordError(
                    f"this record is signed by key {fingerprint(store.key)}, found:"
                    f" {fingerprint(public_bytes(key))}; open it with its own key, or begin a new"
                    " record"
                )
            store._check_and_mend()
            undo.pop_all()
        return store

    @property
    def log(self) -> str:
        """The record's own id, 32 hexadecimal digits."""
        return self._log

    @property
    def key(self) -> bytes:
        """The public key that signs this record, 32 bytes."""
        return self._key

    @property
    def size(self) -> int:
        """Number of entries; a reader asks the file each time."""
        with self._reading():
            return self._size()

    def append(self, documents: Sequence[Mapping[str, Json]]) -> list[Entry]:
        """Add documents, all or none, with a seal over them.

        They are on the disk when this returns: one transaction, one flush of the log. See
        `gaugelink.record.store.Store.append` for what a document carries.

        Raises:
            RecordError: opened for reading only, a document is not accepted, or the file cannot be
                written; then the record is as it was.
        """
        with self._writing() as signer:
            grown = self._frontier.copy()
            entries = []
            for number, document in enumerate(documents):
                try:
                    entry = entry_from(document, grown.size)
                except RecordError as fault:
                    where = f"document {number + 1} of {len(documents)}"
                    raise RecordError(f"{where} is not accepted: {fault}") from None
                grown.append(entry.leaf_hash)
                entries.append(entry)
            if not entries:
                return []
            body = seal_body(size=grown.size, root=grown.root(), log=self._log)
            with self._transaction() as connection:
                connection.executemany(
                    "INSERT INTO entries (place, leaf) VALUES (?, ?)",
                    ((entry.place, entry.leaf) for entry in entries),
                )
                connection.execute(
                    "INSERT INTO seals (size, signature) VALUES (?, ?)",
                    (grown.size, signer.sign(body)),
                )
            self._frontier = grown
            return entries

    def entries(self, start: int = 0) -> Iterator[Entry]:
        """Give the entries that are there now, from a place on.

        Rows are read in batches, so a writer is never held up and a slow reader costs nothing.

        Raises:
            RecordError: 0 <= start does not hold, or a row is damaged; the sentence names it.
        """
        if start < 0:
            raise RecordError(f"found the start {start}, accepted: 0 or more")
        # Asked before the first entry is taken: "now" is the time of the call.
        return self._entries(start, self.size)

    def root(self) -> bytes:
        """Give the root of the tree over all entries, worked out from the rows."""
        with self._reading():
            end = self._size()
            for leaf in self._leaves(self._frontier.size, end):
                self._frontier.append(leaf_hash(leaf))
            return self._frontier.root()

    def heads(self) -> list[SignedHead]:
        """Give the signed heads that the store holds, oldest first; signatures are not checked."""
        with self._reading() as connection:
            rows = connection.execute("SELECT line FROM heads ORDER BY place").fetchall()
            return [_head(line) for (line,) in rows]

    def seals(self) -> list[tuple[int, object]]:
        """Give size and signature of each seal, smallest first; signatures are not checked."""
        with self._reading() as connection:
            sql = "SELECT size, signature FROM seals ORDER BY size"
            return connection.execute(sql).fetchall()

    def publish_head(self, utc: str) -> SignedHead:
        """Sign size and root, and write the head into the store and into its heads file.

        Both are on the disk when this returns. If only the heads file cannot be written, the head
        is in the store already and the next opening writes it.

        Args:
            utc: the time now, RFC 3339 with microseconds and Z. A time before the last head's is
                taken, since a clock may be set right; the verifier remarks on it.

        Raises:
            RecordError: opened for reading only, a time in another form, or something cannot be
                written.
        """
        with self._writing() as signer:
            head = sign_head(
                signer,
                size=self._frontier.size,
                root=self._frontier.root(),
                utc=utc,
                log=self._log,
            )
            with self._transaction() as connection:
                connection.execute(
                    "INSERT INTO heads (place, line)"
                    " SELECT coalesce(max(place) + 1, 0), ? FROM heads",
                    (head.line(),),
                )
            append_head(heads_path(self.path), head)
            return head

    def close(self) -> None:
        """Let go of the file and of the writer's lock; a second time does nothing."""
        with self._turn:
            if not self._closed:
                self._closed = True
                self._connection.close()
                if self._lock is not None:
                    self._lock.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _size(self) -> int:
        sql = "SELECT coalesce(max(place) + 1, 0) FROM entries"
        size: int = self._connection.execute(sql).fetchone()[0]
        return size

    def _rows(self, start: int, end: int) -> list[tuple[int, object]]:
        sql = (
            "SELECT place, leaf FROM entries WHERE place >= ? AND place < ? ORDER BY place LIMIT ?"
        )
        rows = self._connection.execute(sql, (start, end, _BATCH)).fetchall()
        if not rows:
            raise RecordError(f"entry {start} is missing; {opening.VERIFY}")
        return rows

    def _entries(self, start: int, end: int) -> Iterator[Entry]:
        while start < end:
            with self._reading():
                rows = self._rows(start, end)
            for place, leaf in rows:
                with faults_in_words(self.path):
                    entry = _entry(place, leaf, start)
                yield entry
                start += 1

    def _leaves(self, start: int, end: int) -> Iterator[bytes]:
        while start < end:
            for place, leaf in self._rows(start, end):
                yield opening.whole(place, leaf, start)
                start += 1

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        with self._turn:
            if self._closed:
                raise RecordError(f"{self.path}: the record was closed")
            with faults_in_words(self.path):
                yield self._connection

    @contextmanager
    def _writing(self) -> Iterator[Ed25519PrivateKey]:
        with self._reading():
            if self._signer is None:
                raise RecordError("the record was opened for reading only")
            if self._broken:
                raise RecordError(
                    "an earlier step failed half-way; close the record and open it again, which"
                    " checks it"
                )
            yield self._signer

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        """One step, all or nothing; the first error is the one that is told."""
        connection = self._connection
        connection.execute("BEGIN IMMEDIATE")
        try:
            yield connection
            connection.execute("COMMIT")
        except BaseException as fault:
            # After a failed flush nobody knows what the disk has; only a full check can tell.
            self._broken = is_disk_error(fault)
            with suppress(RecordError), faults_in_words(self.path):
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
            raise

    def _check_and_mend(self) -> None:
        """Hash all rows, hold them against seal and heads, complete the heads file."""
        beside = heads_path(self.path)
        inside = self.heads()
        both = dict.fromkeys((*inside, *read_heads(beside)[0]))
        leaves = self._leaves(0, self._size())
        self._frontier, roots = opening.rebuild(leaves, (head.size for head in both))
        size = self._frontier.size
        for head in both:
            opening.check_head(head, key=self._key, log=self._log, size=size, roots=roots)
        seal = next(reversed(self.seals()), None)
        opening.check_last_seal(self._frontier, seal, key=self._key, log=self._log)
        opening.mend_heads_file(beside, inside)


def _check_there(path: Path) -> None:
    if not path.is_file():
        found = "a folder" if path.is_dir() else "nothing"
        raise RecordError(f"{path}: found {found} here, accepted: the file of a record")


def _entry(place: int, leaf: object, wanted: int) -> Entry:
    data = opening.whole(place, leaf, wanted)
    try:
        return entry_of(data, place)
    except RecordError as fault:
        raise RecordError(f"entry {place} is damaged: {fault}; {opening.VERIFY}") from None


def _head(line: object) -> SignedHead:
    if not isinstance(line, bytes):
        found = type(line).__name__
        raise RecordError(f"a head is damaged: found {found}, accepted: bytes; {opening.VERIFY}")
    try:
        return parse_head(line)
    except RecordError as fault:
        raise RecordError(f"a head is damaged: {fault}; {opening.VERIFY}") from None


def _make_file(path: Path, key: Ed25519PrivateKey) -> None:
    """Make an empty record under another name, then give it its own."""
    unfinished = disk.name_beside(path)
    try:
        with ExitStack() as undo:
            connection = connect(unfinished, "rwc")
            undo.callback(connection.close)
            settle(connection)
            schema.create_tables(connection, log=secrets.token_hex(16), key=public_bytes(key))
            if connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]:
                raise RecordError("the new file could not be written whole")
        disk.put_in_place(unfinished, path)
    finally:
        for ending in ("", "-wal", "-shm"):
            _remove(unfinished.with_name(unfinished.name + ending))


def _remove(path: Path) -> None:
    with suppress(OSError):
        path.unlink()
