"""Signed heads and the file that keeps them outside the store."""

from __future__ import annotations

import json

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given, strategies as st

from gaugelink.errors import RecordError
from gaugelink.record import heads as room
from gaugelink.record.heads import (
    append_head,
    check_utc,
    cut_unfinished_line,
    heads_path,
    parse_head,
    read_heads,
    sign_head,
    verify_head,
)
from gaugelink.record.keys import public_bytes
from gaugelink.record.tree import EMPTY_ROOT
from gaugelink.record.verifier import _signed, read_head

# RFC 8032, 7.1, TEST 1 to 3: secret, public, message, signature.
RFC_8032 = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        (
            "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9"
            "b46bd25bf5f0595bbe24655141438e7a100b"
        ),
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        (
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f1"
            "1d8c387b2eaeb4302aeeb00d291612bb0c00"
        ),
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        (
            "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984d"
            "c6594a7c15e9716ed28dc027beceea1ec40a"
        ),
    ),
]

KEY = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(RFC_8032[0][0]))
OTHER = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(RFC_8032[1][0]))
LOG = "0123456789abcdef0123456789abcdef"
UTC = "2026-03-01T08:00:00.000000Z"


def a_head(size=3, utc=UTC, key=KEY):
    return sign_head(key, size=size, root=EMPTY_ROOT, utc=utc, log=LOG)


@pytest.mark.parametrize(("secret", "public", "message", "signature"), RFC_8032)
def test_keys_and_signatures_are_those_of_rfc_8032(secret, public, message, signature):
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert public_bytes(key).hex() == public
    assert key.sign(bytes.fromhex(message)).hex() == signature
    assert _signed(public, bytes.fromhex(signature), bytes.fromhex(message))
    assert not _signed(public, bytes.fromhex(signature), bytes.fromhex(message) + b"x")


def test_a_head_is_signed_over_its_canonical_bytes():
    head = a_head()
    assert head.body() == (
        b'{"format":"gaugelink-head-1",'
        b'"key":"d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",'
        b'"log":"0123456789abcdef0123456789abcdef",'
        b'"root":"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",'
        b'"size":3,"utc":"2026-03-01T08:00:00.000000Z"}'
    )
    assert head.signature == KEY.sign(head.body())
    verify_head(head)
    verify_head(head, key=public_bytes(KEY))


def test_a_head_survives_its_line_and_the_verifier_reads_the_same():
    head = a_head()
    assert parse_head(head.line()) == parse_head(head.line() + b"\n") == head
    seen = read_head(head.line(), "here")
    assert (seen.size, seen.utc, seen.log) == (head.size, head.utc, head.log)
    assert (seen.body, seen.signature) == (head.body(), head.signature)


def test_another_key_is_refused():
    with pytest.raises(RecordError, match="wanted"):
        verify_head(a_head(key=OTHER), key=public_bytes(KEY))


@given(st.data())
def test_any_single_changed_byte_of_a_head_is_found(data):
    head = a_head()
    line = bytearray(head.line())
    line[data.draw(st.integers(0, len(line) - 1))] ^= data.draw(st.integers(1, 255))
    with pytest.raises(RecordError):
        verify_head(parse_head(bytes(line)))
    try:
        seen = read_head(bytes(line), "here")
    except ValueError:
        return
    assert not _signed(seen.key, seen.signature, seen.body)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("format", "gaugelink-head-2"),
        ("size", -1),
        ("size", True),
        ("size", "3"),
        ("root", "E3" * 32),
        ("root", "e3"),
        ("root", 5),
        ("key", " " * 64),
        ("log", "0" * 31),
        ("utc", "2026-03-01T08:00:00Z"),
        ("utc", 5),
        ("more", 1),
    ],
)
def test_a_head_with_a_bad_field_is_refused_by_reader_and_verifier(field, value):
    document = json.loads(a_head().line())
    document["head"][field] = value
    line = json.dumps(document, separators=(",", ":"), sort_keys=True).encode()
    with pytest.raises(RecordError):
        parse_head(line)
    with pytest.raises(ValueError, match=r".+"):
        read_head(line, "here")


@pytest.mark.parametrize("line", [b"[]", b"{}", b'{"head":1,"signature":"00"}', b"", b"x"])
def test_a_line_that_is_no_head_is_refused(line):
    with pytest.raises(RecordError):
        parse_head(line)
    with pytest.raises(ValueError, match=r".+"):
        read_head(line, "here")


@pytest.mark.parametrize(
    "utc",
    [
        "",
        "2026-03-01T08:00:00Z",
        "2026-03-01T08:00:00.000Z",
        "2026-03-01T08:00:00.000000+00:00",
        "2026-03-01 08:00:00.000000Z",
        "2026-02-30T08:00:00.000000Z",
        "2026-03-01T24:00:00.000000Z",
        "2026-03-01T08:00:60.000000Z",
        "2026-03-01T08:00:00.000000Z\n",
        "\u0662026-03-01T08:00:00.000000Z",
    ],
)
def test_a_time_in_another_form_is_refused(utc):
    with pytest.raises(RecordError, match="accepted: like"):
        check_utc(utc)


def test_a_head_of_an_impossible_size_or_root_is_not_signed():
    for size in (-1, 2**53):
        with pytest.raises(RecordError, match="0 <= size"):
            sign_head(KEY, size=size, root=EMPTY_ROOT, utc=UTC, log=LOG)
    with pytest.raises(RecordError, match="root"):
        sign_head(KEY, size=0, root=b"", utc=UTC, log=LOG)
    with pytest.raises(RecordError, match="log"):
        sign_head(KEY, size=0, root=EMPTY_ROOT, utc=UTC, log="x")


def test_heads_are_added_to_their_file_one_a_line(tmp_path):
    path = heads_path(tmp_path / "job.record")
    assert read_heads(path) == ([], b"")
    first, second = a_head(1), a_head(2)
    append_head(path, first)
    append_head(path, second)
    assert path.read_bytes() == first.line() + b"\n" + second.line() + b"\n"
    assert read_heads(path) == ([first, second], b"")


def test_a_damaged_line_is_named(tmp_path):
    path = tmp_path / "heads"
    path.write_bytes(a_head().line() + b"\nrubbish\n")
    with pytest.raises(RecordError, match="line 2: not JSON"):
        read_heads(path)


def test_an_unfinished_last_line_is_given_apart_and_can_be_cut_off(tmp_path):
    path = tmp_path / "heads"
    append_head(path, a_head(1))
    whole = path.read_bytes()
    torn = a_head(2).line()[:100]
    path.write_bytes(whole + torn)
    heads, rest = read_heads(path)
    assert (len(heads), rest) == (1, torn)
    cut_unfinished_line(path, rest)
    assert path.read_bytes() == whole


def test_a_head_that_does_not_fit_on_the_disk_leaves_the_file_as_it_was(tmp_path, monkeypatch):
    path = tmp_path / "heads"
    append_head(path, a_head(1))
    before = path.read_bytes()

    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(room.os, "fsync", full)
    with pytest.raises(RecordError, match="cannot be written: No space left"):
        append_head(path, a_head(2))
    assert path.read_bytes() == before


def test_a_heads_file_that_cannot_be_read_or_written_is_said_in_one_sentence(tmp_path):
    with pytest.raises(RecordError, match="cannot be read"):
        read_heads(tmp_path)
    with pytest.raises(RecordError, match="cannot be written"):
        append_head(tmp_path, a_head())
    with pytest.raises(RecordError, match="cannot be written"):
        cut_unfinished_line(tmp_path, b"x")
