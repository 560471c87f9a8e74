"""Signed heads: the record's size and root at one time, vouched for by a key.

A root alone would not show that the newest entries were cut off; size and root together do, as
long as one head is kept where the record is not. So heads go into a file beside the store, into
every report and wherever else the caller sends them.

A head is signed with Ed25519 (RFC 8032) over its canonical bytes. Between heads the store seals
every step with the same key; a seal has no time and lives in the store only.
"""

from __future__ import annotations

import os
import re
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from gaugelink.errors import RecordError
from gaugelink.record import disk
from gaugelink.record.canonical import LARGEST, encode, parse_document
from gaugelink.record.keys import fingerprint, public_bytes

if TYPE_CHECKING:
    from pathlib import Path

    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

HEAD_FORMAT: Final = "gaugelink-head-1"
SEAL_FORMAT: Final = "gaugelink-seal-1"

_UTC = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{6}Z")
_HEX = {
    "root": re.compile("[0-9a-f]{64}"),
    "key": re.compile("[0-9a-f]{64}"),
    "log": re.compile("[0-9a-f]{32}"),
    "signature": re.compile("[0-9a-f]{128}"),
}


@dataclass(frozen=True, slots=True)
class SignedHead:
    """What a key says about a record at one time.

    Attributes:
        size: number of entries.
        root: root of the tree over them, 32 bytes.
        utc: when it was signed, RFC 3339 with microseconds and Z.
        log: the record's own id, 32 hexadecimal digits.
        key: the public key, 32 bytes.
        signature: Ed25519 over `body`, 64 bytes.
    """

    size: int
    root: bytes
    utc: str
    log: str
    key: bytes
    signature: bytes

    def body(self) -> bytes:
        """Give the canonical bytes that are signed."""
        return _body(self.size, self.root, self.utc, self.log, self.key)

    def line(self) -> bytes:
        """Give the head with its signature as one canonical line, without the line's end."""
        # The body is a canonical map and its name sorts before "signature".
        return b'{"head":%b,"signature":"%b"}' % (self.body(), self.signature.hex().encode())


def check_utc(utc: str) -> None:
    """Check that a time is written as records write it.

    Raises:
        RecordError: it is not RFC 3339 with exactly six decimals and Z, or no such time exists.

    >>> check_utc("2026-03-01T08:00:00.000000Z")
    """
    good = _UTC.fullmatch(utc) is not None
    if good:
        try:
            datetime.fromisoformat(utc)
        except ValueError:
            good = False
    if not good:
        raise RecordError(f"found the time {utc!r}, accepted: like 2026-03-01T08:00:00.000000Z")


def sign_head(key: Ed25519PrivateKey, *, size: int, root: bytes, utc: str, log: str) -> SignedHead:
    """Sign size and root of a record.

    Raises:
        RecordError: 0 <= size <= 2^53 - 1 does not hold, or a field has the wrong form.
    """
    check_utc(utc)
    if not 0 <= size <= LARGEST:
        raise RecordError(f"found size {size}, accepted: 0 <= size <= {LARGEST}")
    _check_hex("root", root.hex())
    _check_hex("log", log)
    public = public_bytes(key)
    signature = key.sign(_body(size, root, utc, log, public))
    return SignedHead(size, root, utc, log, public, signature)


def verify_head(head: SignedHead, *, key: bytes | None = None) -> None:
    """Check a head's signature.

    Args:
        head: the head.
        key: the public key that must have signed; absent: the one that the head names, which
            proves only that head and signature belong together.

    Raises:
        RecordError: another key, or the signature does not fit.
    """
    if key is not None and head.key != key:
        raise RecordError(
            f"the head of {head.utc} is signed by key {fingerprint(head.key)},"
            f" wanted: {fingerprint(key)}"
        )
    try:
        Ed25519PublicKey.from_public_bytes(head.key).verify(head.signature, head.body())
    except InvalidSignature:
        raise RecordError(f"the signature of the head of {head.utc} does not fit it") from None


def parse_head(data: bytes) -> SignedHead:
    """Read a signed head; its signature is not checked here.

    Args:
        data: one canonical line, without or with its line feed.

    Raises:
        RecordError: not canonical, or not the fields of a head in their form.
    """
    document = parse_document(data.removesuffix(b"\n"))
    _check_fields(document, {"head", "signature"})
    body: Any = document["head"]
    if not isinstance(body, dict):
        raise RecordError("found no map under head")
    _check_fields(body, {"format", "key", "log", "root", "size", "utc"})
    if body["format"] != HEAD_FORMAT:
        raise RecordError(f"found the format {body['format']!r}, accepted: {HEAD_FORMAT}")
    size = body["size"]
    if isinstance(size, bool) or not isinstance(size, int) or size < 0:
        raise RecordError(f"found size {size!r}, accepted: a whole number from 0")
    utc = body["utc"]
    check_utc(utc if isinstance(utc, str) else repr(utc))
    return SignedHead(
        size=size,
        root=bytes.fromhex(_check_hex("root", body["root"])),
        utc=utc,
        log=_check_hex("log", body["log"]),
        key=bytes.fromhex(_check_hex("key", body["key"])),
        signature=bytes.fromhex(_check_hex("signature", document["signature"])),
    )


def seal_body(*, size: int, root: bytes, log: str) -> bytes:
    """Give the canonical bytes that a seal signs: size and root after one step of writing."""
    return encode({"format": SEAL_FORMAT, "log": log, "root": root.hex(), "size": size})


def heads_path(store: Path) -> Path:
    """Give the heads file that belongs to a store: beside it, its name with ``.heads.jsonl``.

    >>> from pathlib import PurePosixPath
    >>> heads_path(PurePosixPath("bench/job-12.record")).as_posix()
    'bench/job-12.record.heads.jsonl'
    """
    return store.with_name(f"{store.name}.heads.jsonl")


def read_heads(path: Path) -> tuple[list[SignedHead], bytes]:
    """Read a heads file.

    Returns:
        The heads in the file's order, and what stands after the last line feed: nothing, unless
        the power failed while a head was being written. No file gives no heads.

    Raises:
        RecordError: not readable, or a line is no head; the sentence names the line and what to
            do.
    """
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return [], b""
    except OSError as fault:
        raise RecordError(f"{path}: the heads cannot be read: {fault.strerror}") from None
    *lines, rest = data.split(b"\n")
    heads = []
    for number, line in enumerate(lines, 1):
        try:
            heads.append(parse_head(line))
        except RecordError as fault:
            raise RecordError(
                f"{path}, line {number}: {fault}; run gaugelink verify on the record"
            ) from None
    return heads, rest


def append_head(path: Path, head: SignedHead) -> None:
    """Add a head to a heads file; the head is on the disk when this returns.

    Raises:
        RecordError: the file cannot be written; then the file is as it was.
    """
    is_new = not path.exists()
    try:
        with path.open("ab", buffering=0) as file:
            before = file.seek(0, os.SEEK_END)
            try:
                written = file.write(head.line() + b"\n")
                os.fsync(file.fileno())
                if written != len(head.line()) + 1:
                    raise OSError(0, "the disk is full")  # noqa: TRY301  # same cleaning up
            except OSError:
                with suppress(OSError):
                    file.truncate(before)
                raise
        if is_new:
            disk.sync_folder(path.parent)
    except OSError as fault:
        raise RecordError(f"{path}: the head cannot be written: {fault.strerror}") from None


def cut_unfinished_line(path: Path, rest: bytes) -> None:
    """Take an unfinished last line off a heads file; the file is on the disk when this returns.

    Raises:
        RecordError: the file cannot be written.
    """
    try:
        with path.open("r+b") as file:
            file.truncate(file.seek(0, os.SEEK_END) - len(rest))
            os.fsync(file.fileno())
    except OSError as fault:
        raise RecordError(f"{path}: the heads cannot be written: {fault.strerror}") from None


def _body(size: int, root: bytes, utc: str, log: str, key: bytes) -> bytes:
    return encode(
        {
            "format": HEAD_FORMAT,
            "key": key.hex(),
            "log": log,
            "root": root.hex(),
            "size": size,
            "utc": utc,
        }
    )


def _check_fields(found: dict[str, Any], wanted: set[str]) -> None:
    if found.keys() != wanted:
        raise RecordError(f"found the fields {sorted(found)}, accepted: {sorted(wanted)}")


def _check_hex(field: str, value: Any) -> str:
    if not isinstance(value, str) or not _HEX[field].fullmatch(value):
        digits = {"log": 32, "signature": 128}.get(field, 64)
        raise RecordError(
            f"{field}: found {value!r:.80}, accepted: {digits} hexadecimal digits, small letters"
        )
    return value
