"""How this frozen record of format 1 was made. It is kept to be read, never run over it again.

The files beside it were written by it on the day when format 1 was fixed: `bench.record` with its
heads file, and the exported pair `record.jsonl` and `head.json`. Every later version must read
them. All readings are invented, for the engine of the demonstration.

    python tests/frozen/record-v1/make.py FOLDER
"""

from __future__ import annotations

import sys
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from gaugelink.record import SqliteStore

# The secret key of RFC 8032, 7.1, TEST 1: printed in the standard, so it protects nothing.
SECRET = "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60"


def reading(number: int, valve: str, value: str, picometres: int) -> dict:
    """Make an invented reading."""
    return {
        "kind": "reading",
        "utc": f"2026-03-01T08:00:{number:02d}.000000Z",
        "mono_ns": 1_000_000_000 * number,
        "operator": "invented",
        "valve": valve,
        "value": value,
        "unit": "mm",
        "pm": picometres,
        "raw": f"+  {value} MM\r".encode().hex(),
        "typed": False,
    }


def make(folder: Path) -> None:
    """Write the record and its export into a folder."""
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(SECRET))
    with SqliteStore.create(folder / "bench.record", key=key) as store:
        store.publish_head("2026-03-01T08:00:00.000000Z")
        store.append([reading(1, "1I", "7.9630", 7_963_000_000)])
        store.append(
            [reading(2, "1E", "7.9410", 7_941_000_000), reading(3, "2I", "7.9640", 7_964_000_000)]
        )
        store.publish_head("2026-03-01T08:00:10.000000Z")
        store.append(
            [
                {
                    "kind": "strike-out",
                    "utc": "2026-03-01T08:00:11.000000Z",
                    "mono_ns": 11_000_000_000,
                    "struck": 1,
                    "reason": 'Meßfläche war ölig — \U0001f6e2 "wiped" \\ retaken\n',
                }
            ]
        )
        store.append(
            [
                {
                    "kind": "odd shapes",
                    "utc": "2026-03-01T08:00:12.000000Z",
                    "mono_ns": 0,
                    "\ufb33": "sorts after the next key",
                    "\U0001f600": "by code units",
                    "": [[], {}, [True, False], -(2**53 - 1), 2**53 - 1, "\x00\x1f\x7f"],
                }
            ]
        )
        head = store.publish_head("2026-03-01T08:00:20.000000Z")
        leaves = [entry.leaf + b"\n" for entry in store.entries()]
    (folder / "record.jsonl").write_bytes(b"".join(leaves))
    (folder / "head.json").write_bytes(head.line() + b"\n")


if __name__ == "__main__":
    make(Path(sys.argv[1]))
