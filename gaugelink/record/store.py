"""What every store of a record promises, whatever it keeps the entries in.

A store is one append-only sequence of entries. It never reads a clock: times come in with the
documents and with the head. The promises are held by one set of tests that takes the store as an
argument.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Protocol

from gaugelink.errors import RecordError
from gaugelink.record.canonical import Json, encode, parse_document
from gaugelink.record.heads import check_utc
from gaugelink.record.tree import leaf_hash

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from types import TracebackType
    from typing import Self

    from gaugelink.record.heads import SignedHead

PLACE: Final = "place"


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry as it is stored.

    Attributes:
        place: its place in the record, counted from 0.
        document: what it says, `PLACE` included.
        leaf: the canonical bytes of the document, as they stand in the store.
        leaf_hash: SHA-256 of a zero byte and the leaf.
    """

    place: int
    document: dict[str, Json]
    leaf: bytes
    leaf_hash: bytes


class Store(Protocol):
    """An append-only record."""

    @property
    def log(self) -> str:
        """The record's own id, 32 hexadecimal digits, chosen at random when it was created."""

    @property
    def key(self) -> bytes:
        """The public key that signs this record, 32 bytes."""

    @property
    def size(self) -> int:
        """Number of entries."""

    def append(self, documents: Sequence[Mapping[str, Json]]) -> list[Entry]:
        """Add documents, all or none; they are on the disk when this returns.

        Each must carry ``kind`` (a short name), ``utc`` (RFC 3339, microseconds, Z) and
        ``mono_ns`` (a whole number from 0). The store adds ``place``. No documents: nothing is
        done.

        Raises:
            RecordError: a document is not accepted, or the store cannot be written; then the
                record is as it was.
        """

    def entries(self, start: int = 0) -> Iterator[Entry]:
        """Give the entries that are there now, from a place on; later ones are not waited for.

        Raises:
            RecordError: 0 <= start does not hold, or a stored row is damaged.
        """

    def root(self) -> bytes:
        """Give the root of the tree over all entries, worked out from the rows."""

    def heads(self) -> list[SignedHead]:
        """Give the signed heads that the store holds, oldest first."""

    def publish_head(self, utc: str) -> SignedHead:
        """Sign size and root, and keep the head in the store and outside it.

        Both are on the disk when this returns.

        Raises:
            RecordError: the time has another form, or something cannot be written.
        """

    def close(self) -> None:
        """Let go of the record; a second time does nothing."""

    def __enter__(self) -> Self: ...

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None: ...


def entry_from(document: Mapping[str, Json], place: int) -> Entry:
    """Make the entry that a document becomes at a place.

    Raises:
        RecordError: a field that every entry needs is missing or has the wrong form, the document
            brings a place of its own, or it cannot be written canonically.
    """
    if PLACE in document:
        raise RecordError("found the field 'place', which the store gives; leave it out")
    check_fields(document)
    leaf = encode({**document, PLACE: place})
    return Entry(place, parse_document(leaf), leaf, leaf_hash(leaf))


def entry_of(leaf: bytes, place: int) -> Entry:
    """Read the entry back from its stored bytes.

    Raises:
        RecordError: they are not canonical, or say another place.
    """
    document = parse_document(leaf)
    found = document.get(PLACE)
    if isinstance(found, bool) or found != place:
        raise RecordError(f"found the place {found!r} in the entry, wanted: {place}")
    check_fields(document)
    return Entry(place, document, leaf, leaf_hash(leaf))


def check_fields(document: Mapping[str, Json]) -> None:
    """Check what every entry must say of itself.

    Raises:
        RecordError: ``kind``, ``utc`` or ``mono_ns`` is missing or has the wrong form.
    """
    for field in ("kind", "utc", "mono_ns"):
        if field not in document:
            raise RecordError(f"the field {field!r} is missing; every entry carries it")
    kind, utc, mono_ns = document["kind"], document["utc"], document["mono_ns"]
    if not isinstance(kind, str) or not kind:
        raise RecordError(f"kind: found {kind!r}, accepted: a name")
    if not isinstance(utc, str):
        raise RecordError(f"utc: found {utc!r}, accepted: text")
    check_utc(utc)
    if isinstance(mono_ns, bool) or not isinstance(mono_ns, int) or mono_ns < 0:
        raise RecordError(f"mono_ns: found {mono_ns!r}, accepted: a whole number from 0")
