"""What every store promises; each kind of store is put through the same tests."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import TYPE_CHECKING, Protocol

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import HealthCheck, given, settings, strategies as st

import gaugelink.record
from gaugelink.errors import RecordError
from gaugelink.record import (
    EMPTY_ROOT,
    SqliteStore,
    Store,
    Tree,
    check_consistency,
    encode,
    leaf_hash,
    public_bytes,
    verify_head,
)

if TYPE_CHECKING:
    from pathlib import Path

KEY = Ed25519PrivateKey.from_private_bytes(b"a key for tests, known to anyone")
UTC = "2026-03-01T08:00:00.000000Z"
LATER = "2026-03-01T09:00:00.000000Z"


class Maker(Protocol):
    """How the tests make and find a record of one kind of store."""

    def create(self) -> Store:
        """Make a new record of `KEY` and open it for writing."""

    def open(self) -> Store:
        """Open the same record for writing, with `KEY`."""

    def read(self) -> Store:
        """Open the same record for reading."""


class SqliteMaker:
    """Records in SQLite files."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "job.record"

    def create(self) -> Store:  # noqa: D102  # as in Maker
        return SqliteStore.create(self.path, key=KEY)

    def open(self) -> Store:  # noqa: D102
        return SqliteStore.open(self.path, key=KEY)

    def read(self) -> Store:  # noqa: D102
        return SqliteStore.read(self.path)


MAKERS = {"SqliteStore": SqliteMaker}


@pytest.fixture(params=MAKERS)
def maker(request, tmp_path) -> Maker:
    return MAKERS[request.param](tmp_path)


def event(number: int = 0, **more: object) -> dict:
    return {"kind": "reading", "utc": UTC, "mono_ns": number, "value": "7.963", **more}


def test_every_kind_of_store_is_tested():
    names = {name for name in gaugelink.record.__all__ if name.endswith("Store")}
    assert names - {"Store"} == set(MAKERS)
    assert len(MAKERS) >= 1


def test_a_new_record_is_empty(maker):
    with maker.create() as store:
        assert store.size == 0
        assert store.root() == EMPTY_ROOT
        assert list(store.entries()) == []
        assert store.heads() == []
        assert store.key == public_bytes(KEY)
        assert len(bytes.fromhex(store.log)) == 16


def test_entries_are_given_their_places_in_order(maker):
    with maker.create() as store:
        first = store.append([event(0)])
        more = store.append([event(1), event(2)])
        assert [entry.place for entry in (*first, *more)] == [0, 1, 2]
        assert [entry.document for entry in more] == [event(1, place=1), event(2, place=2)]
        assert store.size == 3
        assert list(store.entries()) == [*first, *more]
        assert list(store.entries(2)) == more[1:]
        assert list(store.entries(3)) == list(store.entries(99)) == []


def test_a_leaf_is_the_canonical_document_and_its_hash_that_of_the_tree(maker):
    with maker.create() as store:
        (entry,) = store.append([event(7, raw=["2b", "0d"], typed=False)])
        assert entry.leaf == encode(entry.document)
        assert entry.leaf_hash == leaf_hash(entry.leaf)
        assert store.root() == leaf_hash(entry.leaf)


def test_the_root_is_that_of_all_leaves_for_writer_and_reader(maker):
    with maker.create() as store:
        tree = Tree()
        with maker.read() as reader:
            for number in range(5):
                for entry in store.append([event(number), event(number)]):
                    tree.append(leaf_hash(entry.leaf))
                assert store.root() == reader.root() == tree.root()


def test_no_documents_change_nothing(maker):
    with maker.create() as store:
        assert store.append([]) == []
        assert store.size == 0


def test_what_was_written_is_found_again_after_closing(maker):
    with maker.create() as store:
        written = store.append([event(0), event(1)])
        log, root = store.log, store.root()
    for found in (maker.open(), maker.read()):
        with found:
            assert (found.log, found.size, found.root()) == (log, 2, root)
            assert found.key == public_bytes(KEY)
            assert list(found.entries()) == written
    with maker.open() as store:
        assert store.append([event(2)])[0].place == 2


@pytest.mark.parametrize(
    ("spoil", "sentence"),
    [
        ({"kind": None}, "kind: found None"),
        ({"kind": ""}, "kind: found ''"),
        ({"utc": "2026-03-01"}, "found the time '2026-03-01'"),
        ({"utc": 5}, "utc: found 5"),
        ({"mono_ns": -1}, "mono_ns: found -1"),
        ({"mono_ns": True}, "mono_ns: found True"),
        ({"mono_ns": "5"}, "mono_ns: found '5'"),
        ({"place": 1}, "found the field 'place'"),
        ({"value": 7.963}, "value: found a float"),
        ({"value": None}, "value: found null"),
        ({"value": {"a": [b"x"]}}, "value.a[0]: found bytes"),
        ({"mono_ns": 2**53}, "mono_ns: found a number beyond"),
    ],
)
def test_one_bad_document_keeps_the_whole_step_out(maker, spoil, sentence):
    with maker.create() as store:
        store.append([event(0)])
        root = store.root()
        with pytest.raises(RecordError) as refusal:
            store.append([event(1), event(2, **spoil)])
        assert "document 2 of 2" in str(refusal.value)
        assert sentence in str(refusal.value)
        assert (store.size, store.root()) == (1, root)
        assert store.append([event(1)])[0].place == 1


@pytest.mark.parametrize("field", ["kind", "utc", "mono_ns"])
def test_a_field_that_every_entry_needs_may_not_be_missing(maker, field):
    document = event()
    del document[field]
    with maker.create() as store, pytest.raises(RecordError, match=f"field '{field}' is missing"):
        store.append([document])


def test_an_entry_does_not_change_with_the_document_that_it_came_from(maker):
    document = event(0, raw=["2b"])
    with maker.create() as store:
        (entry,) = store.append([document])
        document["raw"].append("0d")
        assert entry.document["raw"] == ["2b"]


def test_a_reader_sees_what_is_written_meanwhile_but_a_listing_ends_where_it_began(maker):
    with maker.create() as store, maker.read() as reader:
        store.append([event(0), event(1)])
        listing = reader.entries()
        assert next(listing).place == 0
        store.append([event(2)])
        assert [entry.place for entry in listing] == [1]
        assert [entry.place for entry in reader.entries()] == [0, 1, 2]


def test_a_writer_may_write_while_it_lists(maker):
    with maker.create() as store:
        store.append([event(n) for n in range(3)])
        for entry in store.entries():
            store.append([event(entry.place, kind="copy")])
        assert store.size == 6


def test_a_listing_from_before_the_beginning_is_refused(maker):
    with maker.create() as store, pytest.raises(RecordError, match="accepted: 0 or more"):
        store.entries(-1)


def test_a_reader_does_not_write(maker):
    maker.create().close()
    with maker.read() as reader:
        with pytest.raises(RecordError, match="reading only"):
            reader.append([event()])
        with pytest.raises(RecordError, match="reading only"):
            reader.publish_head(UTC)


def test_a_second_writer_is_refused_and_the_first_goes_on(maker):
    with maker.create() as store:
        with pytest.raises(RecordError, match="open in another program"):
            maker.open()
        store.append([event()])
    with maker.open() as store:
        assert store.size == 1


def test_a_second_record_of_the_same_name_is_refused(maker):
    with maker.create() as store:
        store.append([event()])
    with pytest.raises(RecordError, match="new record needs a new name"):
        maker.create()
    with maker.open() as store:
        assert store.size == 1


def test_a_head_signs_size_and_root(maker):
    with maker.create() as store:
        store.append([event(0), event(1)])
        head = store.publish_head(UTC)
        assert (head.size, head.root, head.utc) == (2, store.root(), UTC)
        assert (head.log, head.key) == (store.log, store.key)
        verify_head(head, key=public_bytes(KEY))
        assert store.heads() == [head]


def test_heads_of_a_growing_record_are_consistent(maker):
    with maker.create() as store:
        tree = Tree()
        for number in range(6):
            tree.append(store.append([event(number)])[0].leaf_hash)
            store.publish_head(UTC)
        heads = store.heads()
        assert [head.size for head in heads] == [1, 2, 3, 4, 5, 6]
        for old, new in pairwise(heads):
            proof = tree.consistency_proof(old.size, new.size)
            check_consistency(old.size, new.size, old.root, new.root, proof)


def test_an_empty_record_and_an_unchanged_one_can_have_heads(maker):
    with maker.create() as store:
        assert store.publish_head(UTC).size == 0
        store.append([event()])
        assert [store.publish_head(UTC).size for _ in range(2)] == [1, 1]
    with maker.open() as store:
        assert [head.size for head in store.heads()] == [0, 1, 1]


def test_a_clock_that_was_set_back_keeps_no_head_from_being_signed(maker):
    with maker.create() as store:
        store.publish_head(LATER)
        store.append([event()])
        assert store.publish_head(UTC).size == 1
        assert [head.utc for head in store.heads()] == [LATER, UTC]
    maker.open().close()


def test_a_bad_time_is_refused(maker):
    with maker.create() as store, pytest.raises(RecordError, match="accepted: like"):
        store.publish_head("now")


def test_a_record_of_another_key_is_not_opened_for_writing(tmp_path):
    SqliteStore.create(tmp_path / "job.record", key=KEY).close()
    with pytest.raises(RecordError, match="open it with its own key"):
        SqliteStore.open(tmp_path / "job.record", key=Ed25519PrivateKey.generate())


def test_a_closed_record_says_so(maker):
    store = maker.create()
    store.append([event()])
    listing = store.entries()
    store.close()
    store.close()
    for use in (
        lambda: store.append([event()]),
        lambda: store.publish_head(UTC),
        lambda: list(listing),
        store.heads,
        store.root,
        store.entries,
        lambda: store.size,
    ):
        with pytest.raises(RecordError, match="the record was closed"):
            use()


def test_calls_from_many_threads_are_taken_one_at_a_time(maker):
    with maker.create() as store:

        def work(number: int) -> list[int]:
            places = [entry.place for entry in store.append([event(number), event(number)])]
            store.publish_head(UTC)
            return places

        with ThreadPoolExecutor(6) as pool:
            pairs = list(pool.map(work, range(24)))
        assert all(second == first + 1 for first, second in pairs)
        assert sorted(place for pair in pairs for place in pair) == list(range(48))
        documents = [entry.document["mono_ns"] for entry in store.entries()]
        assert all(documents[first] == number for number, (first, _) in enumerate(pairs))
    with maker.open() as store:
        assert store.size == 48


@settings(
    max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(st.lists(st.text(max_size=6), max_size=4), max_size=6))
def test_any_texts_in_any_steps_come_back(tmp_path_factory, batches):
    maker = SqliteMaker(tmp_path_factory.mktemp("store"))
    with maker.create() as store:
        for batch in batches:
            store.append([event(0, value=text) for text in batch])
        root = store.root()
    with maker.read() as reader:
        found = [entry.document["value"] for entry in reader.entries()]
        assert found == [text for batch in batches for text in batch]
        assert reader.root() == root
