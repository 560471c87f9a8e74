"""What is done before a record is written to or judged: hold its rows against all that was signed.

A record that fails here is not opened for writing, so that nothing is signed on top of a change,
and nothing is told from it. The verifier checks more, and without this code.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from gaugelink.errors import RecordError
from gaugelink.record.heads import (
    SignedHead,
    append_head,
    cut_unfinished_line,
    read_heads,
    seal_body,
    verify_head,
)
from gaugelink.record.tree import Frontier, leaf_hash

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

VERIFY: Final = "run gaugelink verify on it"
"""What to do with a record that does not fit what was signed; it lists everything that is wrong."""


def whole(place: int, leaf: object, wanted: int) -> bytes:
    """Check that a row is the next one and holds bytes.

    Raises:
        RecordError: a row is missing before it, or it holds something else.
    """
    if place != wanted:
        raise RecordError(f"entry {wanted} is missing; {VERIFY}")
    if not isinstance(leaf, bytes):
        found = type(leaf).__name__
        raise RecordError(f"entry {place} is damaged: found {found}, accepted: bytes; {VERIFY}")
    return leaf


def rebuild(leaves: Iterable[bytes], sizes: Iterable[int]) -> tuple[Frontier, dict[int, bytes]]:
    """Hash all leaves again.

    Args:
        leaves: all of them, in order.
        sizes: the sizes whose roots are wanted.

    Returns:
        The tree's frontier, and the roots of those wanted sizes that the record reaches.
    """
    wanted = set(sizes)
    frontier = Frontier()
    roots = {0: frontier.root()}
    for leaf in leaves:
        frontier.append(leaf_hash(leaf))
        if frontier.size in wanted:
            roots[frontier.size] = frontier.root()
    return frontier, roots


def check_head(
    head: SignedHead, *, key: bytes, log: str, size: int, roots: Mapping[int, bytes]
) -> None:
    """Check that a head fits the record.

    Args:
        head: a signed head.
        key: the record's public key.
        log: the record's id.
        size: the record's size.
        roots: root by size; the head's size is among them unless the record is shorter.

    Raises:
        RecordError: another key, a signature that does not fit, another record, a record that was
            cut off, or entries that were changed.
    """
    try:
        verify_head(head, key=key)
    except RecordError as fault:
        raise RecordError(f"{fault}; {VERIFY}") from None
    if head.log != log:
        raise RecordError(f"the head of {head.utc} belongs to another record; {VERIFY}")
    if head.size > size:
        raise RecordError(
            f"the record was cut off: the head of {head.utc} covers {head.size} entries, found:"
            f" {size}; keep this file as it is, {VERIFY} and go back to a whole copy"
        )
    if head.root != roots[head.size]:
        raise RecordError(
            f"the record was changed: its first {head.size} entries are not those that were signed"
            f" at {head.utc}; {VERIFY}"
        )


def check_last_seal(
    frontier: Frontier, seal: tuple[int, object] | None, *, key: bytes, log: str
) -> None:
    """Check that the newest entries were written by the holder of the key.

    Args:
        frontier: of all entries.
        seal: size and signature of the newest seal; None where there is none.
        key: the record's public key.
        log: the record's id.

    Raises:
        RecordError: no seal for the record's size, or it does not fit the entries.
    """
    if frontier.size == 0 and seal is None:
        return
    if seal is None or seal[0] != frontier.size:
        raise RecordError(
            f"the last entries carry no seal, so the holder of the key did not write them; {VERIFY}"
        )
    if not seal_fits(seal, frontier.root(), key=key, log=log):
        raise RecordError(
            f"the record was changed: the last seal does not fit its entries; {VERIFY}"
        )


def seal_fits(seal: tuple[int, object], root: bytes, *, key: bytes, log: str) -> bool:
    """Tell whether a seal, size and signature, is the key's over this root."""
    size, signature = seal
    try:
        Ed25519PublicKey.from_public_bytes(key).verify(
            signature if isinstance(signature, bytes) else b"",
            seal_body(size=size, root=root, log=log),
        )
    except InvalidSignature:
        return False
    return True


def changed_step(
    leaves: Iterable[bytes], seals: Iterable[tuple[int, object]], *, key: bytes, log: str
) -> range:
    """Find the entries of a step of writing that do not fit its seal, where those before it fit.

    A root is over all entries before it, so each seal from a changed entry on fails: the first is
    found by halving.

    Args:
        leaves: all of them, in order.
        seals: size and signature of each; the last one does not fit.
        key: the record's public key.
        log: the record's id.
    """
    signed = dict(seals)
    _, roots = rebuild(leaves, signed)
    sizes = [0, *sorted(roots.keys() & signed.keys() - {0})]
    good, bad = 0, len(sizes) - 1
    while bad - good > 1:
        half = (good + bad) // 2
        size = sizes[half]
        if seal_fits((size, signed[size]), roots[size], key=key, log=log):
            good = half
        else:
            bad = half
    return range(sizes[good], sizes[bad])


def mend_heads_file(path: Path, inside: Sequence[SignedHead]) -> None:
    """Write what a power cut kept out of the heads file: the store's newest head.

    Args:
        path: the heads file.
        inside: the heads that the store holds, already checked.

    Raises:
        RecordError: the last line is unfinished and is not the beginning of one of these heads, or
            the file cannot be written.
    """
    outside, rest = read_heads(path)
    if rest:
        if not any(head.line().startswith(rest) for head in inside):
            raise RecordError(
                f"the last line of {path.name} is damaged; keep the file and run gaugelink verify"
                " on the record"
            )
        cut_unfinished_line(path, rest)
    if inside and inside[-1] not in outside:
        append_head(path, inside[-1])
