"""Check a record without trusting the program that wrote it.

This one file needs Python 3.11 and the library ``cryptography``, nothing else, and can be copied
anywhere:

    python verifier.py STORE [--head FILE] [--key HEX] [--json]
    python verifier.py record.jsonl [--head FILE] [--key HEX] [--json]

It shares no code with the program on purpose: canonical form, tree and signatures are written here
a second time, from docs/record-format.md, so that a fault in one shows against the other. The
record is read and never written.

Exit status: 0 the record is whole and unchanged; 1 it is not, or nothing vouches for it; 2 there is
no record to check.
"""

from __future__ import annotations

import argparse
import json
import re
import sqlite3
import sys
from collections import Counter
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias, TypedDict

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

APPLICATION_ID = 0x474C524B
VERSION = 1
FORMAT = "gaugelink-record-1"
LARGEST = 2**53 - 1
DEEPEST = 64
SHOWN_PER_KIND = 5
GUARDS = frozenset(
    f"{table}_{guard}"
    for table in ("entries", "seals", "heads", "meta")
    for guard in ("next", "stay", "remain")
)
_UTC = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{6}Z")


# Quotes and control characters are escaped as RFC 8785, 3.2.2.2 asks, nothing else is.
_quoted = json.JSONEncoder(ensure_ascii=False).encode


class NotARecordError(Exception):
    """There is nothing here that could be checked; its text says what was found."""


class HeadSeen(TypedDict):
    """One head that was checked."""

    size: int
    root: str
    utc: str
    where: str


class Report(TypedDict):
    """What was found.

    ``ok`` is true where there is no problem. ``covered`` is the number of entries under the largest
    head that fits; ``notes`` is what a reader should know though it is no fault.
    """

    ok: bool
    size: int
    root: str
    problems: list[str]
    notes: list[str]
    key: str
    fingerprint: str
    log: str
    covered: int
    heads: list[HeadSeen]


@dataclass(frozen=True)
class Head:
    """A signed head, read but not yet believed."""

    where: str
    size: int
    root: str
    utc: str
    log: str
    key: str
    signature: bytes
    body: bytes
    line: bytes


class Peaks:
    """Roots of the complete subtrees of RFC 9162, 2.1, largest first."""

    def __init__(self) -> None:
        self.size = 0
        self._peaks: list[tuple[int, bytes]] = []  # (number of leaves, root)

    def add(self, leaf: bytes) -> None:
        """Add a leaf."""
        count, node = 1, sha256(b"\x00" + leaf).digest()
        while self._peaks and self._peaks[-1][0] == count:
            node = sha256(b"\x01" + self._peaks.pop()[1] + node).digest()
            count *= 2
        self._peaks.append((count, node))
        self.size += 1

    def root(self) -> str:
        """Give the root over all leaves so far, in hexadecimal digits."""
        if not self._peaks:
            return sha256(b"").hexdigest()
        node = self._peaks[-1][1]
        for _, peak in self._peaks[-2::-1]:
            node = sha256(b"\x01" + peak + node).digest()
        return node.hex()


def canonical(value: Any, depth: int = 1) -> str:
    """Write a value as RFC 8785 does; ValueError names what a record may not hold."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        if abs(value) > LARGEST:
            raise ValueError("it holds a number beyond 2^53 - 1")
        return str(value)
    if isinstance(value, str):
        return _quoted(value)  # a lone surrogate fails later, when UTF-8 is made of it
    if isinstance(value, (list, dict)) and depth > DEEPEST:
        raise ValueError(f"it is nested deeper than {DEEPEST}")
    if isinstance(value, list):
        return f"[{','.join(canonical(item, depth + 1) for item in value)}]"
    if isinstance(value, dict):
        written = {key: canonical(key) for key in value}
        keys = sorted(value, key=lambda key: key.encode("utf-16-be"))
        return (
            f"{{{','.join(f'{written[key]}:{canonical(value[key], depth + 1)}' for key in keys)}}}"
        )
    raise ValueError(
        f"it holds {value!r}, which is neither text, whole number, truth, list nor map"
    )


def read_document(data: bytes) -> dict[str, Any]:
    """Read a canonical map; ValueError says why it is none."""
    try:
        value = json.loads(data.decode("utf-8"))
    except RecursionError:
        raise ValueError("it is nested too deeply") from None
    if not isinstance(value, dict):
        raise ValueError("it is no map")  # noqa: TRY004  # one kind of fault for the caller
    # A key that stands twice is lost on reading, so it shows here as well.
    if canonical(value).encode("utf-8") != data:
        raise ValueError("its bytes are not in canonical form")
    return value


def _is_whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= 0


def _is_utc(value: Any) -> bool:
    if not isinstance(value, str) or not _UTC.fullmatch(value):
        return False
    try:
        datetime.fromisoformat(value)
    except ValueError:
        return False
    return True


def _is_hex(value: Any, digits: int) -> bool:
    return isinstance(value, str) and re.fullmatch(f"[0-9a-f]{{{digits}}}", value) is not None


def read_head(line: bytes, where: str) -> Head:
    """Read a signed head; ValueError says why it is none."""
    document = read_document(line)
    body = document.get("head")
    if document.keys() != {"head", "signature"} or not isinstance(body, dict):
        raise ValueError("it does not hold a head and a signature")
    if body.keys() != {"format", "key", "log", "root", "size", "utc"}:
        raise ValueError(f"its head has the fields {', '.join(sorted(body))}")
    if body["format"] != "gaugelink-head-1":
        raise ValueError(f"its format is {body['format']!r}, accepted: gaugelink-head-1")
    good = (
        _is_whole(body["size"])
        and _is_utc(body["utc"])
        and _is_hex(body["root"], 64)
        and _is_hex(body["key"], 64)
        and _is_hex(body["log"], 32)
        and _is_hex(document["signature"], 128)
    )
    if not good:
        raise ValueError("a field does not have the form that the format asks for")
    return Head(
        where,
        body["size"],
        body["root"],
        body["utc"],
        body["log"],
        body["key"],
        bytes.fromhex(document["signature"]),
        canonical(body).encode("utf-8"),
        line,
    )


def fingerprint(key: str) -> str:
    """Shorten a public key: half of the SHA-256 of its bytes, in groups of four digits."""
    digits = sha256(bytes.fromhex(key)).hexdigest()[:32]
    return " ".join(digits[place : place + 4] for place in range(0, 32, 4))


def _signed(key: str, signature: Any, body: bytes) -> bool:
    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(key)).verify(signature, body)
    except (InvalidSignature, TypeError, ValueError):
        return False
    return True


class Check:
    """One check: what was read so far, and what was found wrong with it."""

    def __init__(self, wanted_key: str | None) -> None:
        self.wanted_key = wanted_key
        self.heads: list[Head] = []
        self.notes: list[str] = []
        self.key = ""
        self.log = ""
        self.covered = 0
        self.peaks = Peaks()
        self.roots = {0: self.peaks.root()}
        self._sentences: list[str] = []
        self._kinds: Counter[str] = Counter()

    def problem(self, kind: str, sentence: str) -> None:
        """Keep a problem, a few of each kind word for word; the rest are counted."""
        self._kinds[kind] += 1
        if self._kinds[kind] <= SHOWN_PER_KIND:
            self._sentences.append(sentence)

    @property
    def has_problems(self) -> bool:
        """Whether anything was found wrong so far."""
        return bool(self._sentences)

    def read_heads(self, where: str, lines: Iterable[bytes]) -> None:
        """Read heads, one a line; a line that is none is a problem."""
        for number, line in enumerate(lines, 1):
            try:
                self.heads.append(read_head(line, where))
            except ValueError as fault:
                self.problem("head", f"{where}, line {number} is not a signed head: {fault}")

    def read_rows(self, rows: Iterable[tuple[Any, Any]], sizes: set[Any]) -> None:
        """Hash every row again, keep the roots of the wanted sizes, check each on its own."""
        for place, leaf in rows:
            wanted = self.peaks.size
            if place != wanted:
                self.problem("row", f"found the row {place!r} where entry {wanted} belongs")
            data = leaf if isinstance(leaf, bytes) else b""
            self._check_entry(data, wanted)
            self.peaks.add(data)
            if self.peaks.size in sizes:
                self.roots[self.peaks.size] = self.peaks.root()

    def _check_entry(self, leaf: bytes, place: int) -> None:
        try:
            document = read_document(leaf)
        except ValueError as fault:
            self.problem("entry", f"entry {place} is damaged: {fault}")
            return
        found = document.get("place")
        if not _is_whole(found) or found != place:
            self.problem("entry", f"entry {place} says that its place is {found!r}")
        kind = document.get("kind")
        good = isinstance(kind, str) and kind != "" and _is_utc(document.get("utc"))
        if not good or not _is_whole(document.get("mono_ns")):
            self.problem("entry", f"entry {place} lacks a good kind, utc or mono_ns")

    def check_keys(self) -> None:
        """Check that one key signed one record."""
        named = [(self.key, self.log, "the store")] if self.key else []
        named += [(head.key, head.log, head.where) for head in self.heads]
        if not named:
            return
        self.key, self.log, first = named[0]
        for key, log, where in dict.fromkeys(named):
            if key != self.key:
                self.problem(
                    "key",
                    f"the key changes: {first} names {fingerprint(self.key)},"
                    f" {where} names {fingerprint(key)}",
                )
            if log != self.log:
                self.problem("log", f"{where} holds a head of another record, {log}")
        if self.wanted_key not in (None, self.key):
            self.problem("key", f"signed by {self.key}, wanted: {self.wanted_key}")

    def check_heads(self) -> None:
        """Check every head on its own, in its order and against the rows."""
        size = self.peaks.size
        last: dict[str, Head] = {}
        for head in self.heads:
            name = f"the head of {head.utc} over {head.size} entries ({head.where})"
            before = last.get(head.where, head)
            last[head.where] = head
            if head.utc < before.utc:
                # Somebody set the clock, which is no change of the record; readers should know.
                self.notes.append(f"time runs backwards: {name} follows one of {before.utc}")
            if head.size < before.size:
                self.problem("order", f"{name} follows one over {before.size}")
            if not _signed(head.key, head.signature, head.body):
                self.problem("signature", f"the signature does not fit {name}")
            elif head.size > size:
                self.problem("cut", f"the record is cut off: found {size} entries, but {name}")
            elif head.root != self.roots[head.size]:
                self.problem("changed", f"the record was changed: it does not fit {name}")
            elif head.key == self.key and head.log == self.log:
                self.covered = max(self.covered, head.size)
        if not self.heads:
            self.problem("head", "there is no signed head: nothing vouches for this record")

    def check_seals(self, seals: dict[Any, Any]) -> None:
        """Check the store's own signature over each step of writing."""
        size = self.peaks.size
        last = 0
        for sealed, signature in seals.items():
            if not _is_whole(sealed) or sealed > size:
                self.problem("cut", f"found {size} entries, but a seal over {sealed}")
                continue
            last = max(last, sealed)
            form = {"format": "gaugelink-seal-1", "log": self.log, "size": sealed}
            body = canonical({**form, "root": self.roots[sealed]})
            if not _signed(self.key, signature, body.encode()):
                self.problem("seal", f"the seal over the first {sealed} entries does not fit them")
        if last < size:
            self.problem(
                "seal", f"the entries from {last} on were not written with the key: no seal"
            )

    def report(self) -> Report:
        """Put together what was found."""
        more = [
            f"and {count - SHOWN_PER_KIND} more problems of the kind: {kind}"
            for kind, count in self._kinds.items()
            if count > SHOWN_PER_KIND
        ]
        return Report(
            ok=not self.has_problems,
            size=self.peaks.size,
            root=self.peaks.root(),
            problems=self._sentences + more,
            notes=self.notes,
            key=self.key,
            fingerprint=fingerprint(self.key) if self.key else "",
            log=self.log,
            covered=self.covered,
            heads=[
                HeadSeen(size=h.size, root=h.root, utc=h.utc, where=h.where) for h in self.heads
            ],
        )


HeadLines: TypeAlias = "Sequence[tuple[str, list[bytes]]]"
"""Heads that were kept elsewhere: where they came from, and one signed head a line."""


def verify_export(record: bytes, heads: HeadLines, *, key: str | None = None) -> Report:
    """Check an exported record.

    Args:
        record: what ``record.jsonl`` holds, one leaf a line.
        heads: the head that came with it, and others.
        key: the public key that must have signed, 64 hexadecimal digits.
    """
    check = Check(key)
    for where, lines in heads:
        check.read_heads(where, lines)
    leaves = record.removesuffix(b"\n").split(b"\n") if record else []
    check.read_rows(enumerate(leaves), {head.size for head in check.heads})
    check.check_keys()
    check.check_heads()
    if check.heads and check.covered < check.peaks.size:
        check.problem("head", f"no good head covers the entries from {check.covered} on")
    return check.report()


def verify_store(path: Path, heads: HeadLines = (), *, key: str | None = None) -> Report:
    """Check a store, with the heads file beside it.

    The store may be in use meanwhile: its state at one moment is checked.

    Args:
        path: the SQLite file.
        heads: heads that were kept elsewhere.
        key: the public key that must have signed, 64 hexadecimal digits.

    Raises:
        NotARecordError: the file is no record, or of a format that is not known here.
    """
    path = path.resolve()
    before = _state(path)
    if not before[0]:
        # Nobody has it open: the file alone is the record. Read so, nothing is left beside it, and
        # a disk that cannot be written is no hindrance. Whether it stayed so is asked afterwards.
        try:
            report = _verify_store(path, "mode=ro&immutable=1", heads, key)
        except NotARecordError:
            if _state(path) == before:
                raise
        else:
            if _state(path) == before:
                return report
    return _verify_store(path, "mode=ro", heads, key)


def _state(path: Path) -> tuple[bool, int, int]:
    found = path.stat()
    return path.with_name(f"{path.name}-wal").exists(), found.st_mtime_ns, found.st_size


def _verify_store(path: Path, how: str, heads: HeadLines, key: str | None) -> Report:
    check = Check(key)
    # The heads file first: what it holds now is in every later state of the store.
    rest = _read_heads_file(check, path.with_name(f"{path.name}.heads.jsonl"))
    for where, lines in heads:
        check.read_heads(where, lines)
    try:
        with closing(sqlite3.connect(f"{path.as_uri()}?{how}", uri=True)) as database:
            _check_database(database, check, rest)
    except UnicodeDecodeError:
        # Damage can reach the text of SQLite's own message, which then cannot be given.
        check.problem("file", "the file is damaged: its tables cannot be read")
    except sqlite3.Error as fault:
        kind = getattr(fault, "sqlite_errorcode", 0) & 0xFF
        if kind == sqlite3.SQLITE_NOTADB:
            raise NotARecordError("this is not a record: the file is no SQLite database") from None
        if kind in {sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_BUSY}:
            raise NotARecordError(
                "the record is in use and cannot be opened here; close it, or copy it with its"
                " -wal file to a folder that may be written"
            ) from None
        check.problem("file", f"the file is damaged: {' '.join(str(fault).split()):.200}")
    return check.report()


def _read_heads_file(check: Check, beside: Path) -> bytes:
    try:
        *lines, rest = beside.read_bytes().split(b"\n")
    except FileNotFoundError:
        check.notes.append(
            f"there is no heads file {beside.name}: a cut-off end shows only against a head that"
            " was kept elsewhere"
        )
        return b""
    except OSError as fault:
        raise NotARecordError(f"{beside.name} cannot be read: {fault.strerror}") from None
    check.read_heads("the heads file", lines)
    return rest


def _check_database(database: sqlite3.Connection, check: Check, rest: bytes) -> None:
    database.execute("PRAGMA trusted_schema = OFF")
    database.execute("PRAGMA cell_size_check = ON")
    if database.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        raise NotARecordError("this database is not a record of GaugeLink")
    version = database.execute("PRAGMA user_version").fetchone()[0]
    if version != VERSION:
        raise NotARecordError(f"found record format {version}, this verifier knows {VERSION}")
    database.text_factory = lambda data: data.decode("utf-8", "replace")
    database.execute("BEGIN")  # one state of the file for all that follows
    meta = dict(database.execute("SELECT name, value FROM meta"))
    if _is_hex(meta.get("key"), 64) and _is_hex(meta.get("log"), 32):
        check.key, check.log = meta["key"], meta["log"]
    else:
        check.problem("meta", "the store's id or key is missing or damaged")
    if meta.keys() != {"format", "key", "log"} or meta["format"] != FORMAT:
        check.problem("meta", f"the store's format is not {FORMAT}")
    rows = database.execute("SELECT line FROM heads ORDER BY place")
    inside = [line if isinstance(line, bytes) else b"" for (line,) in rows]
    check.read_heads("the store", inside)
    if rest and not any(line.startswith(rest) for line in inside):
        check.problem("head", "the last line of the heads file is not a signed head")
    seals = dict(database.execute("SELECT size, signature FROM seals"))
    check.read_rows(
        database.execute("SELECT place, leaf FROM entries ORDER BY place"),
        {head.size for head in check.heads} | seals.keys(),
    )
    check.check_keys()
    check.check_heads()
    check.check_seals(seals)
    if not check.has_problems and check.covered < check.peaks.size:
        check.notes.append(
            f"the entries from {check.covered} on are sealed but under no head yet: cutting them"
            " off would not show"
        )
    rows = database.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'")
    if {name for (name,) in rows} != GUARDS:
        check.notes.append("the guards against change were altered: somebody worked on the file")


def read_head_file(path: Path) -> tuple[str, list[bytes]]:
    """Read heads that were kept elsewhere.

    Raises:
        NotARecordError: the file cannot be read.
    """
    try:
        return path.name, path.read_bytes().removesuffix(b"\n").split(b"\n")
    except OSError as fault:
        raise NotARecordError(f"{path.name} cannot be read: {fault.strerror}") from None


def verify(path: Path, heads: Sequence[Path] = (), key: str | None = None) -> Report:
    """Check a store, or an exported ``.jsonl`` record with the ``head.json`` beside it.

    Args:
        path: the store, or the exported record.
        heads: files with heads that were kept elsewhere.
        key: the public key that must have signed, 64 hexadecimal digits.

    Raises:
        NotARecordError: there is nothing that could be checked.
    """
    if not path.is_file():
        folder = "this is a folder; name the record in it"
        raise NotARecordError(folder if path.is_dir() else "there is no such file")
    elsewhere = [read_head_file(head) for head in heads]
    if path.suffix != ".jsonl":
        # Only SQLite opens the store: closing it by other means would undo a writer's locks.
        return verify_store(path, elsewhere, key=key)
    beside = path.with_name("head.json")
    if beside.is_file():
        elsewhere.insert(0, read_head_file(beside))
    try:
        record = path.read_bytes()
    except OSError as fault:
        raise NotARecordError(f"the file cannot be read: {fault.strerror}") from None
    return verify_export(record, elsewhere, key=key)


def in_words(report: Report) -> str:
    """Write a report as a few plain sentences."""
    size = report["size"]
    if report["ok"]:
        lines = [f"Whole and unchanged: {size} entries, as they were signed."]
    else:
        lines = [f"DOES NOT VERIFY. {size} entries were found, and:"]
        lines += [f"  - {problem}" for problem in report["problems"]]
    lines.append(f"Root: {report['root']}")
    if report["heads"]:
        newest = max(report["heads"], key=lambda head: (head["size"], head["utc"]))
        different = {(head["size"], head["root"], head["utc"]) for head in report["heads"]}
        lines.append(
            f"Heads: {len(different)}, the newest over {newest['size']} entries, signed"
            f" {newest['utc']} by the clock of the computer that signed."
        )
    lines += [f"Note: {note}." for note in report["notes"]]
    if report["key"]:
        lines += [f"Key: {report['key']}", f"Fingerprint: {report['fingerprint']}"]
        lines.append(
            "This shows what the holder of that key wrote down, not that it was true. Compare the"
            " key with the one that the shop has published: signed by another key, the record"
            " shows nothing."
        )
    return "\n".join(lines)


def key_argument(text: str) -> str:
    """Read a public key from the command line; the parser says so where it is none."""
    key = "".join(text.split()).lower()
    if not _is_hex(key, 64):
        raise argparse.ArgumentTypeError("accepted: a public key of 64 hexadecimal digits")
    return key


def main(argv: Sequence[str]) -> int:
    """Run as a program."""
    parser = argparse.ArgumentParser(description="Check a record of GaugeLink.")
    parser.add_argument("record", type=Path, help="a store, or an exported record.jsonl")
    parser.add_argument(
        "--head", type=Path, action="append", default=[], help="a head kept elsewhere"
    )
    parser.add_argument("--key", type=key_argument, help="the public key that must have signed")
    parser.add_argument("--json", action="store_true", help="print the report as JSON")
    args = parser.parse_args(argv)
    try:
        report = verify(args.record, args.head, args.key)
    except NotARecordError as fault:
        print(f"{args.record}: {fault}", file=sys.stderr)
        return 2
    print(json.dumps(report) if args.json else in_words(report))
    return 0 if report["ok"] else 1


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
