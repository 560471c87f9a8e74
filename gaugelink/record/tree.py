"""The audit tree: one hash that stands for all entries in their order (RFC 9162, clause 2.1).

A leaf's hash is SHA-256 over a zero byte and the leaf; a node's is SHA-256 over a one byte and its
two children. The prefixes keep a node from being passed off as a leaf. The tree over n leaves
splits at the largest power of two below n, so complete subtrees never change as leaves are added;
`Frontier` keeps only those that the next root needs, `Tree` keeps all of them.

The same rules stand in RFC 6962, clause 2.1. Preconditions are checked, and the sentence gives what
was found and what is accepted.
"""

from __future__ import annotations

from hashlib import sha256
from typing import TYPE_CHECKING, Final

from gaugelink.errors import RecordError

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

HASH_BYTES: Final = 32
EMPTY_ROOT: Final = sha256(b"").digest()
"""Root of the tree without leaves (RFC 9162, 2.1.1)."""


def leaf_hash(leaf: bytes) -> bytes:
    """Hash the bytes of one leaf.

    >>> leaf_hash(b"").hex()[:16]
    '6e340b9cffb37a98'
    """
    return sha256(b"\x00" + leaf).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    r"""Hash two subtrees into the node above them.

    >>> node_hash(leaf_hash(b""), leaf_hash(b"\x00")).hex()[:16]
    'fac54203e7cc696c'
    """
    return sha256(b"\x01" + left + right).digest()


class Frontier:
    r"""The roots of the complete subtrees, largest first: all that appending needs.

    It holds one hash for every 1 in the binary form of its size, so at most 64. Appending takes
    O(log n) hashes at worst and two on average; so does the root.

    >>> growing = Frontier()
    >>> for leaf in (b"", b"\x00", b"\x10"):
    ...     growing.append(leaf_hash(leaf))
    >>> growing.size, growing.root().hex()[:16]
    (3, 'aeb6bcfe274b70a1')
    """

    __slots__ = ("_peaks", "_size")

    def __init__(self) -> None:
        self._size = 0
        self._peaks: list[bytes] = []

    @property
    def size(self) -> int:
        """Number of leaves."""
        return self._size

    def copy(self) -> Frontier:
        """Give an independent copy, so that a step can be tried before it is kept."""
        twin = Frontier()
        twin._size = self._size
        twin._peaks = self._peaks.copy()
        return twin

    def append(self, hashed: bytes) -> None:
        """Add the hash of the next leaf.

        Raises:
            RecordError: the hash is not 32 bytes long.
        """
        _check_hash(hashed)
        left = self._size
        while left & 1:
            hashed = node_hash(self._peaks.pop(), hashed)
            left >>= 1
        self._peaks.append(hashed)
        self._size += 1

    def root(self) -> bytes:
        """Give the root over all leaves so far."""
        return _fold(self._peaks)


class Tree:
    """All complete subtrees, so that any earlier root and any proof can be given.

    Memory is 64 bytes a leaf. Every root and every proof takes O(log² n) hashes at most.

    Args:
        hashes: leaf hashes to begin with, in order.

    >>> tree = Tree(leaf_hash(bytes([n])) for n in range(5))
    >>> proof = tree.inclusion_proof(2, 5)
    >>> check_inclusion(leaf_hash(bytes([2])), 2, 5, proof, tree.root())
    """

    __slots__ = ("_levels",)

    def __init__(self, hashes: Iterable[bytes] = ()) -> None:
        # _levels[k] is the hashes of the complete subtrees of 2^k leaves, one after another.
        self._levels: list[bytearray] = [bytearray()]
        for hashed in hashes:
            self.append(hashed)

    @property
    def size(self) -> int:
        """Number of leaves."""
        return len(self._levels[0]) // HASH_BYTES

    def append(self, hashed: bytes) -> None:
        """Add the hash of the next leaf.

        Raises:
            RecordError: the hash is not 32 bytes long.
        """
        _check_hash(hashed)
        place = self.size
        self._levels[0] += hashed
        level = 0
        while place & 1:
            hashed = node_hash(self._at(level, place - 1), hashed)
            place >>= 1
            level += 1
            if level == len(self._levels):
                self._levels.append(bytearray())
            self._levels[level] += hashed

    def root(self, size: int | None = None) -> bytes:
        """Give the root over the first ``size`` leaves; over all where it is absent.

        Raises:
            RecordError: 0 <= size <= number of leaves does not hold.
        """
        if size is None:
            size = self.size
        if not 0 <= size <= self.size:
            raise RecordError(f"found size {size}, accepted: 0 <= size <= {self.size}")
        return self._subtree(0, size)

    def inclusion_proof(self, place: int, size: int) -> list[bytes]:
        """Prove that a leaf is in the tree of a size (PATH of RFC 9162, 2.1.3.1).

        Args:
            place: the leaf, counted from 0.
            size: number of leaves of the tree that the proof is for.

        Returns:
            Hashes from the leaf's neighbour upwards.

        Raises:
            RecordError: 0 <= place < size <= number of leaves does not hold.
        """
        if not 0 <= place < size <= self.size:
            raise RecordError(
                f"found place {place} and size {size}, accepted: 0 <= place < size <= {self.size}"
            )
        proof = []
        start, end = 0, size
        while end - start > 1:
            middle = start + _split(end - start)
            if place < middle:
                proof.append(self._subtree(middle, end))
                end = middle
            else:
                proof.append(self._subtree(start, middle))
                start = middle
        return proof[::-1]

    def consistency_proof(self, first: int, second: int) -> list[bytes]:
        """Prove that one tree is the beginning of a later one (PROOF of RFC 9162, 2.1.4.1).

        Returns:
            Hashes; none where both sizes are equal.

        Raises:
            RecordError: 0 < first <= second <= number of leaves does not hold.
        """
        if not 0 < first <= second <= self.size:
            raise RecordError(
                f"found sizes {first} and {second}, accepted: 0 < first <= second <= {self.size}"
            )
        proof = []
        start, end = 0, second
        while first != end:
            middle = start + _split(end - start)
            if first <= middle:
                proof.append(self._subtree(middle, end))
                end = middle
            else:
                proof.append(self._subtree(start, middle))
                start = middle
        if start:
            # Only where the whole old tree is a subtree of the new one does the checker know it.
            proof.append(self._subtree(start, end))
        return proof[::-1]

    def _at(self, level: int, place: int) -> bytes:
        return bytes(self._levels[level][place * HASH_BYTES : (place + 1) * HASH_BYTES])

    def _subtree(self, start: int, end: int) -> bytes:
        """Root over leaves start (included) to end (excluded), a subtree that RFC 9162 makes."""
        peaks = []
        while start < end:
            level = (end - start).bit_length() - 1
            peaks.append(self._at(level, start >> level))
            start += 1 << level
        return _fold(peaks)


def check_inclusion(
    hashed: bytes, place: int, size: int, proof: Sequence[bytes], root: bytes
) -> None:
    """Check that a leaf is at a place of the tree with a root (RFC 9162, 2.1.3.2).

    Args:
        hashed: hash of the leaf, worked out from the leaf itself.
        place: the leaf, counted from 0.
        size: number of leaves of the tree.
        proof: as `Tree.inclusion_proof` gives it.
        root: root of the tree of that size.

    Raises:
        RecordError: 0 <= place < size does not hold, a hash is not 32 bytes, the proof has the
            wrong length, or it leads to another root.
    """
    if not 0 <= place < size:
        raise RecordError(f"found place {place} and size {size}, accepted: 0 <= place < size")
    for item in (hashed, root, *proof):
        _check_hash(item)
    node, last = place, size - 1
    found = hashed
    for item in proof:
        if last == 0:
            raise RecordError(f"the proof is too long: {len(proof)} hashes for size {size}")
        if node & 1 or node == last:
            found = node_hash(item, found)
            while not node & 1 and node:
                node >>= 1
                last >>= 1
        else:
            found = node_hash(found, item)
        node >>= 1
        last >>= 1
    if last:
        raise RecordError(f"the proof is too short: {len(proof)} hashes for size {size}")
    _check_root(found, root)


def check_consistency(
    first: int, second: int, first_root: bytes, second_root: bytes, proof: Sequence[bytes]
) -> None:
    """Check that one tree is the beginning of a later one (RFC 9162, 2.1.4.2).

    Args:
        first: size of the earlier tree.
        second: size of the later tree.
        first_root: root of the earlier tree.
        second_root: root of the later tree.
        proof: as `Tree.consistency_proof` gives it; empty where the sizes are equal.

    Raises:
        RecordError: 0 < first <= second does not hold, a hash is not 32 bytes, the proof has the
            wrong length, or it leads to other roots.
    """
    if not 0 < first <= second:
        raise RecordError(f"found sizes {first} and {second}, accepted: 0 < first <= second")
    for item in (first_root, second_root, *proof):
        _check_hash(item)
    if first == second:
        if proof:
            raise RecordError(f"found {len(proof)} hashes, accepted: none where sizes are equal")
        _check_root(first_root, second_root)
        return
    if not proof:
        raise RecordError(f"found an empty proof for sizes {first} and {second}")
    whole = first & (first - 1) == 0
    path = [first_root, *proof] if whole else list(proof)
    node, last = first - 1, second - 1
    while node & 1:
        node >>= 1
        last >>= 1
    old = new = path[0]
    for item in path[1:]:
        if last == 0:
            raise RecordError(f"the proof is too long: {len(proof)} hashes")
        if node & 1 or node == last:
            old = node_hash(item, old)
            new = node_hash(item, new)
            while not node & 1 and node:
                node >>= 1
                last >>= 1
        else:
            new = node_hash(new, item)
        node >>= 1
        last >>= 1
    if last:
        raise RecordError(f"the proof is too short: {len(proof)} hashes")
    _check_root(old, first_root)
    _check_root(new, second_root)


def _check_root(found: bytes, wanted: bytes) -> None:
    if found != wanted:
        raise RecordError(f"the proof leads to root {found.hex()}, wanted: {wanted.hex()}")


def _check_hash(hashed: bytes) -> None:
    if len(hashed) != HASH_BYTES:
        raise RecordError(f"found a hash of {len(hashed)} bytes, accepted: {HASH_BYTES}")


def _split(size: int) -> int:
    """Largest power of two below the size; the size is 2 or more."""
    return 1 << ((size - 1).bit_length() - 1)


def _fold(peaks: Sequence[bytes]) -> bytes:
    if not peaks:
        return EMPTY_ROOT
    root = peaks[-1]
    for peak in reversed(peaks[:-1]):
        root = node_hash(peak, root)
    return root
