"""The record: an append-only sequence of entries that shows when somebody changed it.

Every entry is a canonical document (RFC 8785), the entries hang in one audit tree (RFC 9162), and
size and root are signed (Ed25519) into heads that are also kept outside the store. This makes a
record tamper-evident, never tamper-proof. docs/record-format.md says how to check one without this
program; `gaugelink.record.verifier` is one file that does it alone.
"""

from gaugelink.record.canonical import Json, encode, parse, parse_document
from gaugelink.record.heads import (
    SignedHead,
    append_head,
    heads_path,
    parse_head,
    read_heads,
    sign_head,
    verify_head,
)
from gaugelink.record.keys import (
    default_home,
    default_key_path,
    fingerprint,
    load_key,
    load_or_create_key,
    public_bytes,
)
from gaugelink.record.signed import read_signed
from gaugelink.record.sqlite import SqliteStore
from gaugelink.record.sqlitefile import remove_files
from gaugelink.record.store import Entry, Store
from gaugelink.record.tree import (
    EMPTY_ROOT,
    Frontier,
    Tree,
    check_consistency,
    check_inclusion,
    leaf_hash,
    node_hash,
)

__all__ = [
    "EMPTY_ROOT",
    "Entry",
    "Frontier",
    "Json",
    "SignedHead",
    "SqliteStore",
    "Store",
    "Tree",
    "append_head",
    "check_consistency",
    "check_inclusion",
    "default_home",
    "default_key_path",
    "encode",
    "fingerprint",
    "heads_path",
    "leaf_hash",
    "load_key",
    "load_or_create_key",
    "node_hash",
    "parse",
    "parse_document",
    "parse_head",
    "public_bytes",
    "read_heads",
    "read_signed",
    "remove_files",
    "sign_head",
    "verify_head",
]
