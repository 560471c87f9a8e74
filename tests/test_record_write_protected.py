"""A record on a disc, a write-protected stick or in somebody else's folder."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

V1 = Path(__file__).parent / "frozen" / "record-v1"

pytestmark = pytest.mark.skipif(os.name == "nt", reason="Windows has no such folder rights")

# An administrator is kept out by no file mode, so the child becomes nobody, once it has imported
# what it needs (the interpreter may lie where nobody can read).
CHILD = """
import json, os, sys
from pathlib import Path
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from gaugelink.errors import RecordError
from gaugelink.record import SqliteStore, verifier
key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(sys.argv[2]))
path = Path(sys.argv[1])
"".encode("utf-16-be")  # its codec is imported when it is first used
Path("x").absolute().as_uri()  # so is what makes an address of a path
if os.geteuid() == 0:
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
def told(attempt):
    try:
        attempt().close()
    except RecordError as refusal:
        return str(refusal)
    return "it worked"
print(json.dumps({
    "report": verifier.verify(path),
    "create": told(lambda: SqliteStore.create(path.with_name("new.record"), key=key)),
    "open": told(lambda: SqliteStore.open(path, key=key)),
    "read": len(list(SqliteStore.read(path).entries())),
}))
"""
# The secret key of RFC 8032, 7.1, TEST 1, as in record-v1/make.py.
SECRET = "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60"


@pytest.fixture(scope="module")
def told():
    # Not pytest's own folder, which only its owner may enter.
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for source in (V1 / "bench.record", V1 / "bench.record.heads.jsonl"):
            shutil.copy(source, folder)
        for file in folder.iterdir():
            file.chmod(0o444)
        before = sorted(file.name for file in folder.iterdir())
        folder.chmod(0o555)
        done = subprocess.run(
            [sys.executable, "-c", CHILD, str(folder / "bench.record"), SECRET],
            capture_output=True,
            text=True,
            check=False,
        )
        folder.chmod(0o755)
        assert done.stderr == ""
        assert sorted(file.name for file in folder.iterdir()) == before
    return json.loads(done.stdout)


def test_it_is_verified_and_nothing_is_left_beside_it(told):
    assert told["report"]["ok"] is True
    assert told["report"]["notes"] == []


def test_it_is_read(told):
    assert told["read"] == 5


@pytest.mark.parametrize("verb", ["create", "open"])
def test_what_cannot_be_done_there_is_said_in_one_sentence(told, verb):
    assert "check that its folder exists and may be written" in told[verb]
    assert "\n" not in told[verb]
