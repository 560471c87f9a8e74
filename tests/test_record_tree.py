"""The audit tree, against the standard's own words, published roots and forged proofs."""

from __future__ import annotations

import base64
import json
from hashlib import sha256
from pathlib import Path

import pytest
from hypothesis import given, strategies as st

from gaugelink.errors import RecordError
from gaugelink.record.tree import (
    EMPTY_ROOT,
    Frontier,
    Tree,
    check_consistency,
    check_inclusion,
    leaf_hash,
    node_hash,
)
from gaugelink.record.verifier import Peaks

CHECKS = Path(__file__).parents[2] / "shared" / "checks"
PROOFS = CHECKS / "merkle_proof_vectors.json"
ROOTS = CHECKS / "merkle_rfc6962_roots.json"

# Reference leaves and roots of sizes 0 to 8 of Certificate Transparency (RFC 6962, 2.1), read in
# transparency-dev/merkle, testonly/constants.go and rfc6962/rfc6962_test.go.
LEAVES = [
    bytes.fromhex(digits)
    for digits in (
        "",
        "00",
        "10",
        "2021",
        "3031",
        "40414243",
        "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
]
ROOT_BY_SIZE = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]

LARGEST_TREE = 40


def reference_root(leaves: list[bytes]) -> bytes:
    """MTH as RFC 9162, 2.1.1 writes it, slow and plain."""
    if not leaves:
        return sha256(b"").digest()
    if len(leaves) == 1:
        return sha256(b"\x00" + leaves[0]).digest()
    k = 1
    while k * 2 < len(leaves):
        k *= 2
    return sha256(b"\x01" + reference_root(leaves[:k]) + reference_root(leaves[k:])).digest()


def reference_path(m: int, leaves: list[bytes]) -> list[bytes]:
    """PATH as RFC 9162, 2.1.3.1 writes it."""
    if len(leaves) == 1:
        return []
    k = 1
    while k * 2 < len(leaves):
        k *= 2
    if m < k:
        return [*reference_path(m, leaves[:k]), reference_root(leaves[k:])]
    return [*reference_path(m - k, leaves[k:]), reference_root(leaves[:k])]


def reference_subproof(m: int, leaves: list[bytes], known: bool) -> list[bytes]:
    """SUBPROOF as RFC 9162, 2.1.4.1 writes it."""
    if m == len(leaves):
        return [] if known else [reference_root(leaves)]
    k = 1
    while k * 2 < len(leaves):
        k *= 2
    if m <= k:
        return [*reference_subproof(m, leaves[:k], known), reference_root(leaves[k:])]
    return [*reference_subproof(m - k, leaves[k:], False), reference_root(leaves[:k])]


def leaves_of(size: int) -> list[bytes]:
    return [b"leaf %d" % place for place in range(size)]


def tree_over(leaves: list[bytes]) -> Tree:
    return Tree(leaf_hash(leaf) for leaf in leaves)


def test_the_published_roots_of_sizes_0_to_8_come_out_of_all_three_implementations():
    frontier, peaks, tree = Frontier(), Peaks(), tree_over(LEAVES)
    for size, wanted in enumerate(ROOT_BY_SIZE):
        assert reference_root(LEAVES[:size]).hex() == wanted
        assert tree.root(size).hex() == wanted
        assert frontier.root().hex() == wanted
        assert peaks.root() == wanted
        if size < len(LEAVES):
            frontier.append(leaf_hash(LEAVES[size]))
            peaks.add(LEAVES[size])
    assert frontier.size == peaks.size == tree.size == 8


def test_the_empty_tree_has_the_root_that_the_standard_gives_it():
    assert EMPTY_ROOT == Frontier().root() == Tree().root() == sha256(b"").digest()


def test_published_leaf_and_node_hashes_come_out():
    """Source: transparency-dev/merkle, rfc6962/rfc6962_test.go ("RFC6962 Leaf", "RFC6962 Node")."""
    assert (
        leaf_hash(b"L123456").hex()
        == "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56"
    )
    assert (
        node_hash(b"N123", b"N456").hex()
        == "aa217fe888e47007fa15edab33c2b492a722cb106c64667fc2b044444de66bbb"
    )


@pytest.mark.skipif(not ROOTS.exists(), reason="needs ../shared/checks")
def test_the_published_inclusion_proofs_come_out():
    tree = tree_over(LEAVES)
    published = json.loads(ROOTS.read_text("utf-8"))["inclusion_proofs_all"]
    assert len(published) > 4
    for proof in published:
        found = tree.inclusion_proof(proof["leaf"], proof["tree_size"])
        assert [item.hex() for item in found] == proof["proof"]


def test_roots_and_proofs_are_those_of_the_slow_reference_for_every_size():
    leaves = leaves_of(LARGEST_TREE)
    tree, frontier, peaks = tree_over(leaves), Frontier(), Peaks()
    for size in range(1, LARGEST_TREE + 1):
        frontier.append(leaf_hash(leaves[size - 1]))
        peaks.add(leaves[size - 1])
        root = reference_root(leaves[:size])
        assert root == tree.root(size) == frontier.root() == bytes.fromhex(peaks.root())
        for place in range(size):
            proof = tree.inclusion_proof(place, size)
            assert proof == reference_path(place, leaves[:size])
            check_inclusion(leaf_hash(leaves[place]), place, size, proof, root)
        for first in range(1, size + 1):
            proof = tree.consistency_proof(first, size)
            assert proof == reference_subproof(first, leaves[:size], True)
            check_consistency(first, size, tree.root(first), root, proof)


@given(st.lists(st.binary(max_size=8), max_size=70))
def test_growing_leaf_by_leaf_gives_the_root_of_the_whole(leaves):
    frontier = Frontier()
    for leaf in leaves:
        frontier.append(leaf_hash(leaf))
    assert frontier.root() == reference_root(leaves) == tree_over(leaves).root()


def test_a_copy_of_a_frontier_grows_alone():
    frontier = Frontier()
    frontier.append(leaf_hash(b"a"))
    before = frontier.root()
    twin = frontier.copy()
    twin.append(leaf_hash(b"b"))
    assert (frontier.size, frontier.root()) == (1, before)
    assert (twin.size, twin.root()) == (2, reference_root([b"a", b"b"]))


def spoiled(proof: list[bytes]) -> list[tuple[str, list[bytes]]]:
    """Ways to spoil a proof; each of them must be refused."""
    other = sha256(b"other").digest()
    ways: list[tuple[str, list[bytes]]] = [
        ("one hash more at the end", [*proof, other]),
        ("one hash more at the beginning", [other, *proof]),
        ("a hash of no bytes at the end", [*proof, b""]),
    ]
    if proof:
        ways += [
            ("no hash", []),
            ("the last hash missing", proof[:-1]),
            ("the first hash missing", proof[1:]),
            ("the last hash twice", [*proof, proof[-1]]),
            ("a hash cut short", [*proof[:-1], proof[-1][:-1]]),
        ]
        for place, item in enumerate(proof):
            flipped = bytes([item[0] ^ 1]) + item[1:]
            ways.append((f"bit of hash {place}", [*proof[:place], flipped, *proof[place + 1 :]]))
    if len(set(proof)) > 1:
        ways.append(("turned around", proof[::-1]))
    return ways


@pytest.mark.parametrize("size", [1, 2, 3, 5, 7, 8, 13, 16, 33])
def test_forged_inclusion_proofs_are_refused(size):
    leaves = leaves_of(size)
    tree = tree_over(leaves)
    root = tree.root()
    for place in range(size):
        hashed = leaf_hash(leaves[place])
        proof = tree.inclusion_proof(place, size)
        forged = [(hashed, place, size, way, root) for _, way in spoiled(proof)]
        forged += [
            (leaf_hash(b"another leaf"), place, size, proof, root),
            (hashed, place, size, proof, leaf_hash(b"another root")),
            (hashed, place, size, proof, b""),
            (hashed, place + size, size, proof, root),
            (hashed, place - size, size, proof, root),
            (hashed, place, 2 * size + 1, proof, root),
        ]
        if place:
            forged.append((hashed, place - 1, size, proof, root))
        for attempt in forged:
            with pytest.raises(RecordError):
                check_inclusion(*attempt)


@pytest.mark.parametrize(
    ("first", "second"), [(1, 2), (1, 8), (4, 8), (6, 8), (3, 7), (8, 8), (5, 33)]
)
def test_forged_consistency_proofs_are_refused(first, second):
    tree = tree_over(leaves_of(second))
    old, new = tree.root(first), tree.root(second)
    proof = tree.consistency_proof(first, second)
    other = leaf_hash(b"another root")
    forged = [(first, second, old, new, way) for _, way in spoiled(proof)]
    forged += [
        (first, second, other, new, proof),
        (first, second, old, other, proof),
        (first, second, old, b"", proof),
        (second + 1, second, old, new, proof),
        (0, second, old, new, proof),
        (first, second * 2, old, new, proof),
    ]
    if first != second:
        forged.append((first, second, new, old, proof))
    for attempt in forged:
        with pytest.raises(RecordError):
            check_consistency(*attempt)


@pytest.mark.skipif(not PROOFS.exists(), reason="needs ../shared/checks")
def test_stored_proofs_good_and_forged_get_the_verdict_that_is_wanted():
    """One of them is a good proof about roots that are no hashes; we refuse those."""
    stored = json.loads(PROOFS.read_text("utf-8"))

    def hashes(texts):
        return [base64.b64decode(text) for text in texts or []]

    verdicts = []
    for item in stored["inclusion"]:
        hashed, root = hashes([item["leafHash"] or "", item["root"] or ""])
        try:
            check_inclusion(hashed, item["leafIdx"], item["treeSize"], hashes(item["proof"]), root)
            verdicts.append((item["file"], False, item["wantErr"]))
        except RecordError:
            verdicts.append((item["file"], True, item["wantErr"]))
    for item in stored["consistency"]:
        old, new = hashes([item["root1"] or "", item["root2"] or ""])
        try:
            check_consistency(item["size1"], item["size2"], old, new, hashes(item["proof"]))
            verdicts.append((item["file"], False, item["wantErr"]))
        except RecordError:
            verdicts.append((item["file"], True, item["wantErr"]))
    assert len(verdicts) == 130
    assert sum(not refused for _, refused, _ in verdicts) == 10
    assert [file for file, refused, wanted in verdicts if refused != wanted] == [
        "testdata/consistency/additional/sizes-are-equal-one-and-proof-is-empty.json"
    ]


def test_what_is_no_hash_proves_nothing_even_where_both_sides_are_equal():
    with pytest.raises(RecordError, match="a hash of 0 bytes, accepted: 32"):
        check_inclusion(b"", 0, 1, [], b"")
    with pytest.raises(RecordError, match="a hash of 0 bytes, accepted: 32"):
        check_consistency(1, 1, b"", b"", [])


def test_preconditions_are_checked_and_said():
    tree = tree_over(leaves_of(5))
    with pytest.raises(RecordError, match="0 <= size <= 5"):
        tree.root(6)
    with pytest.raises(RecordError, match="0 <= size <= 5"):
        tree.root(-1)
    for place, size in [(5, 5), (-1, 5), (0, 6), (0, 0)]:
        with pytest.raises(RecordError, match="0 <= place < size <= 5"):
            tree.inclusion_proof(place, size)
    for first, second in [(0, 5), (4, 3), (1, 6)]:
        with pytest.raises(RecordError, match="0 < first <= second <= 5"):
            tree.consistency_proof(first, second)
    for grown in (tree, Frontier()):
        with pytest.raises(RecordError, match="31 bytes, accepted: 32"):
            grown.append(b"x" * 31)
