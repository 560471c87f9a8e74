"""The verifier finds what was done to a record, and says it in a sentence."""

from __future__ import annotations

import ast
import json
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import HealthCheck, given, settings, strategies as st

from gaugelink.errors import RecordError
from gaugelink.record import SqliteStore, heads_path, public_bytes, schema, sign_head, verifier

KEY = Ed25519PrivateKey.from_private_bytes(b"a key for tests, known to anyone")
PUBLIC = public_bytes(KEY).hex()
OTHER = Ed25519PrivateKey.from_private_bytes(b"another key, also known to any 1")
UTC = "2026-03-01T08:00:00.000000Z"
LATER = "2026-03-01T09:00:00.000000Z"
SOURCE = Path(verifier.__file__)

anywhere = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def event(number: int = 0, value: str = "7.963") -> dict:
    return {"kind": "reading", "utc": UTC, "mono_ns": number, "value": value}


def write_record(path: Path, key: Ed25519PrivateKey = KEY, value: str = "7.963") -> Path:
    """Nine entries in five steps, with heads over 4 and 9 of them."""
    with SqliteStore.create(path, key=key) as store:
        store.append([event(0, value)])
        store.append([event(number) for number in range(1, 4)])
        store.publish_head(UTC)
        store.append([event(4), event(5)])
        store.append([event(6)])
        store.append([event(7), event(8)])
        store.publish_head(LATER)
    return path


@pytest.fixture(scope="module")
def original(tmp_path_factory) -> Path:
    return write_record(tmp_path_factory.mktemp("original") / "job.record")


def copy_of(original: Path, folder: Path) -> Path:
    path = folder / original.name
    shutil.copy(original, path)
    shutil.copy(heads_path(original), heads_path(path))
    return path


@pytest.fixture
def path(original, tmp_path) -> Path:
    return copy_of(original, tmp_path)


def change(path: Path, *statements: str | tuple[str, tuple]) -> None:
    """Work on the file from outside, guards removed and put back."""
    with closing(sqlite3.connect(path, isolation_level=None)) as database:
        guards = database.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'")
        kept = guards.fetchall()
        database.execute("PRAGMA synchronous = OFF")  # nobody's readings: quick is enough
        database.execute("PRAGMA ignore_check_constraints = ON")
        database.execute("BEGIN")
        for name, _ in kept:
            database.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            if isinstance(statement, str):
                database.execute(statement)
            else:
                database.execute(*statement)
        for _, sql in kept:
            database.execute(sql)
        database.execute("COMMIT")


def rows(path: Path, sql: str) -> list[tuple]:
    with closing(sqlite3.connect(path)) as database:
        return database.execute(sql).fetchall()


def export(path: Path, folder: Path) -> Path:
    """Write the exported pair of a record: its leaves, and its newest head."""
    with SqliteStore.read(path) as store:
        leaves = b"".join(entry.leaf + b"\n" for entry in store.entries())
        head = store.heads()[-1].line() + b"\n"
    (folder / "record.jsonl").write_bytes(leaves)
    (folder / "head.json").write_bytes(head)
    return folder / "record.jsonl"


def test_an_untouched_record_is_whole_and_unchanged(path):
    report = verifier.verify(path, key=PUBLIC)
    with SqliteStore.read(path) as store:
        assert report["root"] == store.root().hex()
        assert report["log"] == store.log
    assert report["ok"] is True
    assert report["problems"] == report["notes"] == []
    assert (report["size"], report["covered"]) == (9, 9)
    assert report["key"] == PUBLIC
    assert [head["size"] for head in report["heads"]] == [4, 9, 4, 9]
    assert {head["where"] for head in report["heads"]} == {"the heads file", "the store"}
    assert json.loads(json.dumps(report)) == report


def test_verifying_changes_nothing_and_leaves_nothing_behind(path):
    before = {file: file.read_bytes() for file in path.parent.iterdir()}
    verifier.verify(path)
    assert {file: file.read_bytes() for file in path.parent.iterdir()} == before


@anywhere
@given(st.data())
def test_any_single_changed_byte_in_a_stored_row_is_found(original, tmp_path_factory, data):
    table, column, key = data.draw(
        st.sampled_from(
            [
                ("entries", "leaf", "place"),
                ("seals", "signature", "size"),
                ("heads", "line", "place"),
                ("meta", "value", "name"),
            ]
        )
    )
    path = copy_of(original, tmp_path_factory.mktemp("changed"))
    name, cell = data.draw(st.sampled_from(rows(path, f"SELECT {key}, {column} FROM {table}")))
    changed = bytearray(cell.encode() if isinstance(cell, str) else cell)
    changed[data.draw(st.integers(0, len(changed) - 1))] ^= data.draw(st.integers(1, 255))
    value = changed.decode("latin-1") if isinstance(cell, str) else bytes(changed)
    change(path, (f"UPDATE {table} SET {column} = ? WHERE {key} = ?", (value, name)))
    report = verifier.verify(path)
    assert report["problems"] != []
    assert report["ok"] is False
    assert report["notes"] == []


@anywhere
@given(st.data())
def test_no_changed_byte_anywhere_in_the_file_passes_another_record_off(
    original, tmp_path_factory, data
):
    """Free space in the file holds no record; a change there may go unnoticed."""
    path = copy_of(original, tmp_path_factory.mktemp("changed"))
    untouched = verifier.verify(path)
    changed = bytearray(path.read_bytes())
    changed[data.draw(st.integers(0, len(changed) - 1))] ^= data.draw(st.integers(1, 255))
    path.write_bytes(changed)
    try:
        report = verifier.verify(path)
    except verifier.NotARecordError:
        return
    if report["ok"]:
        assert {**report, "notes": []} == untouched
    else:
        assert report["problems"] != []


@anywhere
@given(st.lists(st.tuples(st.integers(0, 2**16), st.integers(0, 255)), min_size=1, max_size=9))
def test_a_damaged_file_is_refused_in_one_sentence_or_read_as_it_was(
    original, tmp_path_factory, damage
):
    path = copy_of(original, tmp_path_factory.mktemp("damaged"))
    with SqliteStore.read(path) as store:
        root = store.root()
    damaged = bytearray(path.read_bytes())
    for place, value in damage:
        damaged[place % len(damaged)] = value
    path.write_bytes(damaged)
    try:
        with SqliteStore.open(path, key=KEY) as store:
            assert store.root() == root
            assert len(list(store.entries())) == len(store.heads()) + 7 == 9
    except RecordError as refusal:
        sentence = str(refusal)
    else:
        return
    assert sentence.startswith(str(path))
    assert "\n" not in sentence


@anywhere
@given(st.data())
def test_any_single_changed_byte_in_the_heads_file_is_found(original, tmp_path_factory, data):
    path = copy_of(original, tmp_path_factory.mktemp("changed"))
    beside = heads_path(path)
    changed = bytearray(beside.read_bytes())
    place = data.draw(st.integers(0, len(changed) - 1))
    changed[place] ^= data.draw(st.integers(1, 255))
    beside.write_bytes(changed)
    assert verifier.verify(path)["ok"] is False


def test_an_unfinished_last_line_is_no_fault_if_it_begins_a_head_of_the_store(path):
    beside = heads_path(path)
    whole = beside.read_bytes()
    for kept in (whole[:-1], whole[:-2], whole[: whole.index(b"\n") + 2]):
        beside.write_bytes(kept)
        assert verifier.verify(path)["problems"] == []
    for damaged in (whole + b"x", whole[:-1] + b"x", whole[:-2] + b"x"):
        beside.write_bytes(damaged)
        problems = verifier.verify(path)["problems"]
        assert problems == ["the last line of the heads file is not a signed head"]


@anywhere
@given(st.data())
def test_any_single_changed_byte_in_an_exported_pair_is_found(original, tmp_path_factory, data):
    record = export(original, tmp_path_factory.mktemp("export"))
    assert verifier.verify(record)["ok"] is True
    name = data.draw(st.sampled_from(["record.jsonl", "head.json"]))
    changed = bytearray(record.with_name(name).read_bytes())
    changed[data.draw(st.integers(0, len(changed) - 1))] ^= data.draw(st.integers(1, 255))
    record.with_name(name).write_bytes(changed)
    assert verifier.verify(record)["ok"] is False


def leaf(document: dict, place: int) -> bytes:
    return verifier.canonical({**document, "place": place}).encode()


FORGERIES = {
    "a value changed, still canonical": (
        [("UPDATE entries SET leaf = ? WHERE place = 5", (leaf(event(5, "7.964"), 5),))],
        ["over 9 entries (the heads file)", "the seal over the first 6 entries"],
    ),
    "two rows swapped": (
        [
            "UPDATE entries SET place = 100 WHERE place = 1",
            "UPDATE entries SET place = 1 WHERE place = 2",
            "UPDATE entries SET place = 2 WHERE place = 100",
        ],
        ["entry 1 says that its place is 2", "entry 2 says that its place is 1"],
    ),
    "two rows swapped, places mended": (
        [
            ("UPDATE entries SET leaf = ? WHERE place = 1", (leaf(event(2), 1),)),
            ("UPDATE entries SET leaf = ? WHERE place = 2", (leaf(event(1), 2),)),
        ],
        ["it does not fit the head of"],
    ),
    "a row removed from the middle": (
        ["DELETE FROM entries WHERE place = 5"],
        ["found the row 6 where entry 5 belongs"],
    ),
    "a row removed and the others moved up": (
        [
            "DELETE FROM entries WHERE place = 5",
            "UPDATE entries SET place = place - 1 WHERE place > 5",
        ],
        ["entry 5 says that its place is 6", "found 8 entries, but the head of"],
    ),
    "the end cut off with its seals and heads": (
        [
            "DELETE FROM entries WHERE place >= 4",
            "DELETE FROM seals WHERE size > 4",
            "DELETE FROM heads WHERE place = 1",
        ],
        ["the record is cut off: found 4 entries, but the head of 2026-03-01T09"],
    ),
    "the end cut off, seals left": (
        ["DELETE FROM entries WHERE place = 8"],
        ["found 8 entries, but a seal over 9"],
    ),
    "an entry added without the key": (
        [("INSERT INTO entries VALUES (9, ?)", (leaf(event(9), 9),))],
        ["the entries from 9 on were not written with the key"],
    ),
    "an entry added with a made-up seal": (
        [
            ("INSERT INTO entries VALUES (9, ?)", (leaf(event(9), 9),)),
            "INSERT INTO seals VALUES (10, zeroblob(64))",
        ],
        ["the seal over the first 10 entries does not fit them"],
    ),
    "a row that is not canonical": (
        [("UPDATE entries SET leaf = ? WHERE place = 3", (b'{"b": 1}',))],
        ["entry 3 is damaged: its bytes are not in canonical form"],
    ),
    "a row that is text": (
        ["UPDATE entries SET leaf = 'text' WHERE place = 3"],
        ["entry 3 is damaged"],
    ),
    "a row without a kind": (
        [("UPDATE entries SET leaf = ? WHERE place = 3", (leaf({"utc": UTC, "mono_ns": 0}, 3),))],
        ["entry 3 lacks a good kind, utc or mono_ns"],
    ),
    "the newest head removed from the store": (
        ["DELETE FROM heads WHERE place = 1"],
        [],  # the heads file has it: nothing is lost, nothing is wrong
    ),
    "heads in the store in another order": (
        [
            "UPDATE heads SET place = 2 WHERE place = 0",
        ],
        ["follows one over 9"],
    ),
    "a head in the store replaced by rubbish": (
        ["UPDATE heads SET line = x'00' WHERE place = 0"],
        ["the store, line 1 is not a signed head"],
    ),
    "all seals removed": (["DELETE FROM seals"], ["the entries from 0 on were not written"]),
    "a seal of a size below zero": (
        ["INSERT INTO seals VALUES (-1, x'00')"],
        ["but a seal over -1"],
    ),
    "the store's key replaced": (
        [("UPDATE meta SET value = ? WHERE name = 'key'", (public_bytes(OTHER).hex(),))],
        ["the key changes", "the seal over the first 1 entries"],
    ),
    "the store's key removed": (
        ["DELETE FROM meta WHERE name = 'key'"],
        ["the store's id or key is missing or damaged"],
    ),
    "the store's id replaced": (
        [("UPDATE meta SET value = ? WHERE name = 'log'", ("0" * 32,))],
        ["holds a head of another record"],
    ),
    "a whole table gone": (["DROP TABLE seals"], ["the file is damaged: no such table: seals"]),
}


@pytest.mark.parametrize("name", FORGERIES)
def test_a_forged_record_gets_the_problems_that_are_wanted(path, name):
    statements, wanted = FORGERIES[name]
    if name == "a whole table gone":
        with closing(sqlite3.connect(path)) as database:
            database.execute(statements[0])
    else:
        change(path, *statements)
    report = verifier.verify(path)
    assert report["ok"] is (wanted == [])
    text = "\n".join(report["problems"])
    for sentence in wanted:
        assert sentence in text


def test_the_first_seal_that_does_not_fit_tells_where_a_change_begins(path):
    change(path, ("UPDATE entries SET leaf = ? WHERE place = 5", (leaf(event(5, "7.964"), 5),)))
    seals = [p for p in verifier.verify(path)["problems"] if p.startswith("the seal")]
    assert [sentence.split()[5] for sentence in seals] == ["6", "7", "9"]


def test_an_export_with_lines_after_its_head_does_not_verify(original, tmp_path):
    record = export(original, tmp_path)
    with record.open("ab") as file:
        file.write(leaf(event(9), 9) + b"\n")
    report = verifier.verify(record)
    assert report["problems"] == ["no good head covers the entries from 9 on"]


def test_an_export_with_its_last_line_missing_does_not_verify(original, tmp_path):
    record = export(original, tmp_path)
    lines = record.read_bytes().splitlines(keepends=True)
    record.write_bytes(b"".join(lines[:-1]))
    assert "the record is cut off" in verifier.verify(record)["problems"][0]


def test_an_export_without_a_head_does_not_verify(original, tmp_path):
    record = export(original, tmp_path)
    record.with_name("head.json").unlink()
    assert "nothing vouches" in verifier.verify(record)["problems"][0]
    kept = heads_path(original)
    report = verifier.verify(record, [kept])
    assert (report["ok"], report["covered"]) == (True, 9)


def test_an_empty_record_with_a_head_verifies_and_without_one_does_not(tmp_path):
    path = tmp_path / "job.record"
    SqliteStore.create(path, key=KEY).close()
    report = verifier.verify(path)
    assert "nothing vouches" in report["problems"][0]
    assert "there is no heads file" in report["notes"][0]
    with SqliteStore.open(path, key=KEY) as store:
        store.publish_head(UTC)
    assert verifier.verify(path)["ok"] is True
    assert verifier.verify(export(path, tmp_path))["ok"] is True


def test_entries_after_the_last_head_are_told_but_are_no_fault_as_long_as_they_are_sealed(path):
    with SqliteStore.open(path, key=KEY) as store:
        store.append([event(9)])
    report = verifier.verify(path)
    assert (report["ok"], report["size"], report["covered"]) == (True, 10, 9)
    assert "the entries from 9 on are sealed but under no head yet" in report["notes"][0]


def test_a_history_rewritten_with_a_fresh_key_shows_by_the_key(original, tmp_path):
    path = write_record(tmp_path / "job.record", key=OTHER, value="7.999")
    rewritten = heads_path(path).read_bytes()
    shutil.copy(heads_path(original), heads_path(path))
    problems = "\n".join(verifier.verify(path)["problems"])
    assert "the key changes" in problems
    assert "holds a head of another record" in problems
    # Whoever also replaces the heads file is given away by the published key or by any older head.
    heads_path(path).write_bytes(rewritten)
    assert verifier.verify(path)["ok"] is True
    assert f"wanted: {PUBLIC}" in verifier.verify(path, key=PUBLIC)["problems"][0]
    assert verifier.verify(path, [heads_path(original)])["ok"] is False


def test_a_cut_that_takes_all_heads_along_shows_against_a_head_kept_elsewhere(original, path):
    change(path, *FORGERIES["the end cut off with its seals and heads"][0])
    lines = heads_path(path).read_bytes().splitlines(keepends=True)
    heads_path(path).write_bytes(lines[0])
    assert verifier.verify(path)["ok"] is True
    kept = path.with_name("head.json")
    kept.write_bytes(lines[1])
    report = verifier.verify(path, [kept])
    assert "the record is cut off" in report["problems"][0]
    assert "(head.json)" in report["problems"][0]


def test_a_head_of_the_same_key_over_other_entries_is_found(path):
    with SqliteStore.read(path) as store:
        head = sign_head(KEY, size=9, root=b"x" * 32, utc=LATER, log=store.log)
    kept = path.with_name("head.json")
    kept.write_bytes(head.line())
    assert "it does not fit the head" in verifier.verify(path, [kept])["problems"][0]


def test_time_that_runs_backwards_among_heads_is_told_but_is_no_change_of_the_record(path):
    with SqliteStore.open(path, key=KEY) as store:
        store.append([event(9)])
        store.publish_head(UTC)
    report = verifier.verify(path)
    assert report["ok"] is True
    name = f"time runs backwards: the head of {UTC} over 10 entries"
    assert [note.startswith(name) for note in report["notes"]] == [True, True]


def test_altered_guards_are_told_though_the_entries_are_untouched(path):
    with closing(sqlite3.connect(path)) as database:
        database.execute("DROP TRIGGER entries_stay")
    report = verifier.verify(path)
    assert report["ok"] is True
    assert "the guards against change were altered" in report["notes"][0]


def test_the_guards_that_the_verifier_knows_are_those_of_the_store():
    made = {sql.split()[2] for sql in (*schema.STATEMENTS, *schema.META_GUARDS) if "TRIGGER" in sql}
    assert made == verifier.GUARDS
    assert schema.APPLICATION_ID == verifier.APPLICATION_ID
    assert schema.FORMAT == verifier.FORMAT


def test_many_problems_of_one_kind_are_counted_not_listed(path):
    with SqliteStore.open(path, key=KEY) as store:
        store.append([event(number) for number in range(9, 40)])
    change(path, "UPDATE entries SET leaf = x'00'")
    problems = verifier.verify(path)["problems"]
    assert sum(sentence.startswith("entry ") for sentence in problems) == 5
    assert "and 35 more problems of the kind: entry" in problems


def test_a_record_in_use_is_verified_with_what_is_still_in_its_log(path):
    with SqliteStore.open(path, key=KEY) as store:
        store.append([event(9)])
        store.publish_head(LATER)
        report = verifier.verify(path)
        assert (report["ok"], report["size"], report["covered"]) == (True, 10, 10)
        store.append([event(10)])
    assert verifier.verify(path)["size"] == 11


@pytest.mark.parametrize("name", ["missing", "text", "empty", "database", "newer"])
def test_what_is_not_a_record_is_said_so(path, tmp_path, name):
    place = tmp_path / name
    if name == "text":
        place.write_bytes(b"no database, though longer than the header of one. " * 9)
    elif name == "empty":
        place.write_bytes(b"")
    elif name == "database":
        with closing(sqlite3.connect(place)) as other:
            other.execute("CREATE TABLE t (x)")
    elif name == "newer":
        shutil.copy(path, place)
        with closing(sqlite3.connect(place)) as database:
            database.execute("PRAGMA user_version = 2")
    with pytest.raises(verifier.NotARecordError):
        verifier.verify(place)


def test_the_verifier_needs_nothing_but_the_standard_library_and_cryptography():
    imported = set()
    for node in ast.walk(ast.parse(SOURCE.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            imported |= {name.name.partition(".")[0] for name in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0
            imported.add(node.module.partition(".")[0])
    assert imported - sys.stdlib_module_names == {"cryptography"}


def run_alone(*arguments: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-I", *map(str, arguments)], capture_output=True, text=True, check=False
    )


def test_the_file_runs_alone_in_any_folder(path, tmp_path):
    script = tmp_path / "elsewhere" / "check.py"
    script.parent.mkdir()
    shutil.copy(SOURCE, script)
    good = run_alone(script, path, "--key", PUBLIC, "--head", heads_path(path), "--json")
    assert (good.returncode, good.stderr) == (0, "")
    assert json.loads(good.stdout)["ok"] is True
    change(path, "DELETE FROM entries WHERE place = 8")
    bad = run_alone(script, path)
    assert bad.returncode == 1
    assert bad.stdout.startswith("DOES NOT VERIFY. 8 entries were found")
    nothing = run_alone(script, tmp_path / "missing")
    assert nothing.returncode == 2
    assert "there is no such file" in nothing.stderr
    assert run_alone(script, path, "--head", tmp_path / "missing").returncode == 2
    assert run_alone(script, path, "--key", "00").returncode == 2


def test_the_file_also_runs_where_it_lies(path):
    assert run_alone(SOURCE, path).stdout.startswith("Whole and unchanged: 9 entries")
