"""`gaugelink verify`: stores, exported records and reports, in words and in JSON."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from contextlib import closing
from typing import TYPE_CHECKING

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from pypdf import PdfWriter

from gaugelink.cli import main
from gaugelink.errors import InputError
from gaugelink.record import SqliteStore, fingerprint, heads_path, public_bytes

if TYPE_CHECKING:
    from pathlib import Path

KEY = Ed25519PrivateKey.from_private_bytes(b"a key for tests, known to anyone")
PUBLIC = public_bytes(KEY).hex()
UTC = "2026-03-01T08:00:00.000000Z"


@pytest.fixture
def path(tmp_path) -> Path:
    """A closed record of three entries under one head."""
    place = tmp_path / "job.record"
    with SqliteStore.create(place, key=KEY) as store:
        store.append(
            [
                {"kind": "reading", "utc": UTC, "mono_ns": number, "value": "7.963"}
                for number in range(3)
            ]
        )
        store.publish_head(UTC)
    return place


def exported(path: Path) -> tuple[bytes, bytes]:
    with SqliteStore.read(path) as store:
        leaves = b"".join(entry.leaf + b"\n" for entry in store.entries())
        return leaves, store.heads()[-1].line() + b"\n"


def pdf(place: Path, *attachments: tuple[str, bytes]) -> Path:
    writer = PdfWriter()
    writer.add_blank_page(width=100, height=100)
    for name, data in attachments:
        writer.add_attachment(name, data)
    writer.write(place)
    return place


def cut_off(path: Path) -> None:
    with closing(sqlite3.connect(path)) as database:
        database.execute("DROP TRIGGER entries_remain")
        database.execute("DELETE FROM entries WHERE place = 2")
        database.commit()


def verify(capsys, *words: object) -> tuple[int, dict]:
    status = main(["verify", *map(str, words), "--json"])
    printed = capsys.readouterr()
    assert printed.err == ""
    return status, json.loads(printed.out)


def test_a_whole_store_ends_with_0_and_tells_size_and_root(path, capsys):
    with SqliteStore.read(path) as store:
        root = store.root().hex()
    status, report = verify(capsys, path)
    assert status == 0
    assert (report["ok"], report["size"], report["root"]) == (True, 3, root)
    assert report["problems"] == []
    assert report["key"] == PUBLIC


def test_a_changed_store_ends_with_1_and_tells_the_problems(path, capsys):
    cut_off(path)
    status, report = verify(capsys, path)
    assert status == 1
    assert report["ok"] is False
    assert any("cut off" in problem for problem in report["problems"])


def test_the_words_say_what_it_means_and_that_the_key_must_be_compared(path, capsys):
    assert main(["verify", str(path)]) == 0
    said = capsys.readouterr().out
    assert said.startswith(f"{path}\nWhole and unchanged: 3 entries, as they were signed.\n")
    assert f"Key: {PUBLIC}" in said
    assert f"Fingerprint: {fingerprint(bytes.fromhex(PUBLIC))}" in said
    assert "Compare the key with the one that the shop has published" in said
    cut_off(path)
    assert main(["verify", str(path)]) == 1
    said = capsys.readouterr().out
    assert "DOES NOT VERIFY. 2 entries were found, and:\n  - the record is cut off" in said


def test_the_published_key_can_be_demanded(path, capsys):
    spaced = " ".join(PUBLIC[place : place + 8] for place in range(0, 64, 8)).upper()
    assert verify(capsys, path, "--key", spaced)[0] == 0
    status, report = verify(capsys, path, "--key", "0" * 64)
    assert status == 1
    assert report["problems"] == [f"signed by {PUBLIC}, wanted: {'0' * 64}"]


def test_heads_kept_elsewhere_are_held_against_the_store(path, capsys, tmp_path):
    kept = tmp_path / "kept.jsonl"
    kept.write_bytes(heads_path(path).read_bytes())
    assert verify(capsys, path, "--head", kept)[0] == 0
    kept.write_bytes(b"rubbish\n")
    status, report = verify(capsys, path, "--head", kept, "--head", heads_path(path))
    assert status == 1
    assert report["problems"][0].startswith("kept.jsonl, line 1 is not a signed head")


def test_an_exported_pair_is_verified(path, capsys, tmp_path):
    record, head = exported(path)
    (tmp_path / "record.jsonl").write_bytes(record)
    (tmp_path / "head.json").write_bytes(head)
    assert verify(capsys, tmp_path / "record.jsonl") == (
        0,
        {**verify(capsys, tmp_path / "record.jsonl")[1], "ok": True, "size": 3, "problems": []},
    )


def test_a_report_is_verified_by_the_record_inside(path, capsys, tmp_path):
    record, head = exported(path)
    report_file = pdf(tmp_path / "report.pdf", ("record.jsonl", record), ("head.json", head))
    status, report = verify(capsys, report_file, "--key", PUBLIC, "--head", heads_path(path))
    assert status == 0
    assert (report["ok"], report["size"], report["covered"]) == (True, 3, 3)
    assert report["root"] == verify(capsys, path)[1]["root"]
    assert "not the printed pages" in report["notes"][0]


def test_a_report_with_a_changed_record_does_not_verify(path, capsys, tmp_path):
    record, head = exported(path)
    changed = record.replace(b"7.963", b"7.964", 1)
    report_file = pdf(tmp_path / "report.PDF", ("record.jsonl", changed), ("head.json", head))
    status, report = verify(capsys, report_file)
    assert status == 1
    assert "the record was changed" in report["problems"][0]


def test_a_report_of_a_cut_off_record_shows_against_a_later_head(path, capsys, tmp_path):
    record, head = exported(path)
    report_file = pdf(tmp_path / "report.pdf", ("record.jsonl", record), ("head.json", head))
    later = tmp_path / "later.json"
    with SqliteStore.open(path, key=KEY) as store:
        store.append([{"kind": "note", "utc": UTC, "mono_ns": 9}])
        later.write_bytes(store.publish_head(UTC).line())
    assert verify(capsys, report_file)[0] == 0
    status, report = verify(capsys, report_file, "--head", later)
    assert status == 1
    assert "found 3 entries, but the head" in report["problems"][0]


def test_what_cannot_be_checked_is_an_input_error(path, tmp_path):
    record, head = exported(path)
    (tmp_path / "text.pdf").write_bytes(b"no report\n")
    (tmp_path / "empty.pdf").write_bytes(b"")
    (tmp_path / "half.pdf").write_bytes(
        pdf(tmp_path / "whole.pdf", ("record.jsonl", record), ("head.json", head)).read_bytes()[:90]
    )
    pdf(tmp_path / "plain.pdf")
    pdf(tmp_path / "twice.pdf", *[("record.jsonl", record)] * 2, ("head.json", head))
    (tmp_path / "text").write_bytes(b"no record at all\n" * 9)
    (tmp_path / "records").mkdir()
    for name, sentence in {
        "missing": "there is no such file",
        "records": "this is a folder; name the record in it",
        "missing.pdf": "there is no such file",
        "text": "the file is no SQLite database",
        "text.pdf": "not a PDF file that can be read",
        "empty.pdf": "not a PDF file that can be read",
        "half.pdf": "not a PDF file that can be read",
        "plain.pdf": "found 0 attachments named record.jsonl",
        "twice.pdf": "found 2 attachments named record.jsonl",
    }.items():
        with pytest.raises(InputError, match=sentence) as refusal:
            main(["verify", str(tmp_path / name)])
        assert str(refusal.value).startswith(str(tmp_path / name))
    with pytest.raises(InputError, match=r"gone\.json cannot be read"):
        main(["verify", str(path), "--head", str(tmp_path / "gone.json")])


def test_the_command_line_ends_with_2_and_one_sentence(path, tmp_path):
    def run(*words: object) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "gaugelink", "verify", *map(str, words)],
            capture_output=True,
            text=True,
            check=False,
        )

    missing = run(tmp_path / "missing")
    assert (missing.returncode, missing.stdout) == (2, "")
    assert missing.stderr.count("\n") == 1
    assert "there is no such file" in missing.stderr
    bad_key = run(path, "--key", "12")
    assert bad_key.returncode == 2
    assert "a public key of 64 hexadecimal digits" in bad_key.stderr
    assert run(path, "--json").returncode == 0
