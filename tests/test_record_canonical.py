"""Canonical JSON: one document, one sequence of bytes."""

from __future__ import annotations

import enum
import json
from pathlib import Path
from types import MappingProxyType

import pytest
from hypothesis import given, strategies as st

from gaugelink.errors import RecordError
from gaugelink.record.canonical import DEEPEST, LARGEST, encode, parse, parse_document
from gaugelink.record.verifier import canonical, read_document

VECTORS = Path(__file__).parents[2] / "shared" / "checks" / "rfc8785_jcs_vectors.json"

# The example of RFC 8785, 3.2.3: seven keys whose order by code units differs from that by code
# points in one place, the emoji before U+FB33.
RFC_8785_SORTING = {
    "\u20ac": "Euro Sign",
    "\r": "Carriage Return",
    "\ufb33": "Hebrew Letter Dalet With Dagesh",
    "1": "One",
    "\U0001f600": "Emoji: Grinning Face",
    "\u0080": "Control",
    "\u00f6": "Latin Small Letter O With Diaeresis",
}
RFC_8785_SORTED = ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]

# The string of RFC 8785, 3.2.2: as read from its JSON source, and its canonical bytes.
RFC_8785_STRING = '\u20ac$\u000f\nA\'B"\\\\"/'
RFC_8785_STRING_HEX = "22e282ac245c75303030665c6e4127425c225c5c5c5c5c222f22"

# "structures" of the reference test data of RFC 8785 (cyberphone/json-canonicalization), whole.
STRUCTURES = {
    "1": {"f": {"f": "hi", "F": 5}, "\n": 56},
    "10": {},
    "": "empty",
    "a": {},
    "111": [{"e": "yes", "E": "no"}],
    "A": {},
}
STRUCTURES_CANONICAL = (
    b'{"":"empty","1":{"\\n":56,"f":{"F":5,"f":"hi"}},"10":{},'
    b'"111":[{"E":"no","e":"yes"}],"A":{},"a":{}}'
)

documents = st.recursive(
    st.text() | st.integers(-LARGEST, LARGEST) | st.booleans(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)


def test_the_sorting_example_of_the_rfc_comes_out():
    written = encode(RFC_8785_SORTING)
    assert list(json.loads(written)) == RFC_8785_SORTED
    assert parse(written) == RFC_8785_SORTING


def test_the_string_example_of_the_rfc_comes_out():
    assert encode(RFC_8785_STRING).hex() == RFC_8785_STRING_HEX


def test_the_structures_vector_comes_out():
    assert encode(STRUCTURES) == STRUCTURES_CANONICAL


@pytest.mark.skipif(not VECTORS.exists(), reason="needs ../shared/checks")
def test_the_reference_vectors_come_out_or_are_refused_for_their_floats_and_nulls():
    written = {}
    for vector in json.loads(VECTORS.read_text("utf-8"))["vectors"]:
        data = bytes.fromhex(vector["canonical_hex"])
        try:
            written[vector["name"]] = encode(parse(data)) == data
        except RecordError as fault:
            written[vector["name"]] = str(fault)
    assert written["french"] is True
    assert written["structures"] is True
    assert written["arrays"].startswith("[1].10: found null")
    assert written["values"].startswith("literals[0]: found null")


@given(documents)
def test_writing_then_reading_gives_the_same_document(document):
    assert parse(encode(document)) == document


@given(documents)
def test_the_verifier_writes_the_same_bytes_with_its_own_code(document):
    assert canonical(document).encode() == encode(document)


@given(st.dictionaries(st.text(), st.integers(0, 9)))
def test_the_order_in_which_keys_were_put_in_does_not_matter(document):
    assert encode(dict(reversed(document.items()))) == encode(document)


@pytest.mark.parametrize(
    ("document", "sentence"),
    [
        ({"a": [1, {"b": 1.5}]}, "a[1].b: found a float (1.5)"),
        ({"a": None}, "a: found null"),
        ({"a": b"x"}, "a: found bytes"),
        ({"a": {1}}, "a: found set"),
        ({"a": {1: "x"}}, "a: found the key 1, accepted: text keys"),
        ({"a": LARGEST + 1}, "a: found a number beyond 2^53 - 1"),
        ({"a": -LARGEST - 1}, "a: found a number beyond 2^53 - 1"),
        ({"a": "x\ud800"}, "a: found a lone surrogate (character 1)"),
        ({"\udc00": 1}, "the document: found a lone surrogate"),
        (float("nan"), "the document: found a float (nan)"),
    ],
)
def test_what_a_record_may_not_hold_is_refused_with_its_path(document, sentence):
    with pytest.raises(RecordError) as refusal:
        encode(document)
    assert str(refusal.value).startswith(sentence)


@pytest.mark.parametrize("number", [LARGEST, -LARGEST, 0, 10**12])
def test_the_ends_of_the_range_are_included(number):
    assert parse(encode(number)) == number


def test_tuples_and_other_mappings_and_named_constants_are_written_as_what_they_hold():
    class Word(enum.StrEnum):
        MM = "mm"

    class Count(enum.IntEnum):
        TWO = 2

    assert encode(MappingProxyType({"b": (Word.MM, Count.TWO), "a": True})) == (
        b'{"a":true,"b":["mm",2]}'
    )


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"{",
        b' {"a":1}',
        b'{"a":1}\n',
        b'{"a": 1}',
        b'{"b":1,"a":2}',
        b'{"a":1,"a":1}',
        b'{"a":1,"a":2}',
        b'{"a":01}',
        b'{"a":-0}',
        b'{"a":1.0}',
        b'{"a":1e3}',
        b'{"a":NaN}',
        b'{"a":null}',
        b'{"a":9007199254740992}',
        b'{"a":' + b"9" * 5000 + b"}",
        b'{"a":"\\u0041"}',
        b'{"a":"\\/"}',
        b'{"a":"\\u000A"}',
        b'{"a":"\\u001F"}',
        b'{"a":"\\ud800"}',
        b'{"a":"\xed\xa0\x80"}',
        b'{"a":"\xff"}',
        b"\xef\xbb\xbf{}",
        b'{"a":"\x01"}',
        b'{"a":1}{"a":1}',
        b"[" * 100_000,
        b"[" * (DEEPEST + 1) + b"]" * (DEEPEST + 1),
    ],
)
def test_bytes_that_are_not_canonical_are_refused_by_reader_and_verifier(data):
    with pytest.raises(RecordError):
        parse(data)
    with pytest.raises(ValueError, match=r".+"):
        read_document(data)


def test_the_deepest_nesting_is_included():
    data = b'{"a":' + b"[" * (DEEPEST - 1) + b"]" * (DEEPEST - 1) + b"}"
    assert encode(parse(data)) == data
    assert canonical(read_document(data)).encode() == data
    deeper = b'{"a":[' + data[5:-1] + b"]}"
    with pytest.raises(RecordError, match="nested deeper than 64"):
        parse(deeper)
    with pytest.raises(ValueError, match="nested deeper than 64"):
        read_document(deeper)


@given(documents, st.data())
def test_no_single_changed_byte_reads_as_the_same_document(document, data):
    written = encode(document)
    place = data.draw(st.integers(0, len(written) - 1))
    other = data.draw(st.integers(1, 255))
    changed = bytearray(written)
    changed[place] ^= other
    try:
        found = parse(bytes(changed))
    except RecordError:
        return
    assert encode(found) != written


def test_the_first_difference_is_named():
    with pytest.raises(RecordError, match="byte 5 is ' ', the canonical form has '1'"):
        parse(b'{"a": 1}')


def test_a_key_that_stands_twice_is_named():
    with pytest.raises(RecordError, match="the key 'a' stands twice"):
        parse(b'{"a":1,"a":1}')


def test_a_document_is_a_map():
    with pytest.raises(RecordError, match="accepted: a map"):
        parse_document(b"[1]")
    with pytest.raises(ValueError, match="no map"):
        read_document(b"[1]")
