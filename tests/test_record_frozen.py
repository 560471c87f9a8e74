"""Records of every format that was ever written stay readable; the files are never made again."""

from __future__ import annotations

import doctest
import shutil
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from gaugelink.record import SqliteStore, heads_path, schema, verifier

FROZEN = Path(__file__).parent / "frozen"
V1 = FROZEN / "record-v1"

# The secret key of RFC 8032, 7.1, TEST 1, as in record-v1/make.py.
KEY = Ed25519PrivateKey.from_private_bytes(
    bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
)
ROOT = "8c2960717ef2596462c32e5282cf03c49d1fed5370dcad6f62ca1af1b84abfe8"
LOG = "701a403a2b0ad3b0871f5e1178f259bd"


@pytest.fixture
def path(tmp_path) -> Path:
    for name in ("bench.record", "bench.record.heads.jsonl"):
        shutil.copy(V1 / name, tmp_path / name)
    return tmp_path / "bench.record"


def test_there_is_a_frozen_record_of_every_format():
    found = sorted(folder.name for folder in FROZEN.glob("record-v*"))
    assert found == [f"record-v{version + 1}" for version in range(schema.VERSION)]


@pytest.mark.parametrize("name", ["bench.record", "record.jsonl"])
def test_format_1_still_verifies(name):
    before = sorted(file.name for file in V1.iterdir())
    report = verifier.verify(V1 / name)
    assert report["problems"] == report["notes"] == []
    assert (report["size"], report["covered"], report["root"]) == (5, 5, ROOT)
    assert report["log"] == LOG
    assert report["key"] == "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"
    assert sorted(file.name for file in V1.iterdir()) == before


def test_format_1_still_reads_as_it_was_written(path):
    with SqliteStore.read(path) as store:
        entries = list(store.entries())
        assert (store.log, store.root().hex()) == (LOG, ROOT)
        assert [head.size for head in store.heads()] == [0, 3, 5]
    assert [entry.document["kind"] for entry in entries] == [
        "reading",
        "reading",
        "reading",
        "strike-out",
        "odd shapes",
    ]
    assert entries[1].document == {
        "kind": "reading",
        "mono_ns": 2_000_000_000,
        "operator": "invented",
        "place": 1,
        "pm": 7_941_000_000,
        "raw": "2b2020372e39343130204d4d0d",
        "typed": False,
        "unit": "mm",
        "utc": "2026-03-01T08:00:02.000000Z",
        "valve": "1E",
        "value": "7.9410",
    }
    assert entries[3].document["reason"] == 'Meßfläche war ölig — \U0001f6e2 "wiped" \\ retaken\n'
    assert list(entries[4].document)[-2:] == ["\U0001f600", "\ufb33"]
    assert entries[4].document[""] == [
        [],
        {},
        [True, False],
        -(2**53 - 1),
        2**53 - 1,
        "\x00\x1f\x7f",
    ]
    assert b"".join(entry.leaf + b"\n" for entry in entries) == (V1 / "record.jsonl").read_bytes()


def test_format_1_is_still_written_on(path):
    with SqliteStore.open(path, key=KEY) as store:
        entry = {"kind": "note", "utc": "2026-03-01T08:00:30.000000Z", "mono_ns": 0}
        assert store.append([entry])[0].place == 5
        store.publish_head("2026-03-01T08:00:30.000000Z")
    report = verifier.verify(path, [V1 / "head.json"])
    assert (report["ok"], report["size"], report["covered"]) == (True, 6, 6)
    assert heads_path(path).read_bytes().startswith((V1 / "bench.record.heads.jsonl").read_bytes())


def test_the_example_in_the_format_page_comes_out(monkeypatch):
    monkeypatch.chdir(FROZEN.parents[1])
    page = FROZEN.parents[1] / "docs" / "record-format.md"
    failed, tried = doctest.testfile(str(page), module_relative=False, encoding="utf-8")
    assert (failed, tried > 10) == (0, True)
