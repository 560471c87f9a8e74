"""Every driver file that ships, and every example in it."""

from __future__ import annotations

import os
import re
import tomllib
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, strategies as st

from gaugelink import content
from gaugelink.wire.base import Noise, Partial, Value
from gaugelink.wire.codecs import CODECS
from gaugelink.wire.driver import About, Example, Port, check_examples, load_driver

PROVEN = {"scale24": "replayed"}
"""Drivers that claim more than a description, and how much. Nothing is on this list without bytes
of a real gauge in its hardware note."""

CHAPTERS = (
    "Wiring",
    "Settings",
    "Captured bytes",
    "Level",
    "Known limits",
    "Electrical cautions",
)
"""What a machinist looks for on the page of a driver."""


def _shipped():
    kept = os.environ.pop("GAUGELINK_CONTENT", None)
    try:
        return {
            name: load_driver(*content.read("drivers", name)) for name in content.names("drivers")
        }
    finally:
        if kept is not None:
            os.environ["GAUGELINK_CONTENT"] = kept


DRIVERS = _shipped()
EXAMPLES = [
    pytest.param(driver, example, id=f"{name}-{place}")
    for name, driver in DRIVERS.items()
    for place, example in enumerate(driver.examples, 1)
]
VALUES = [case for case in EXAMPLES if case.values[1].value is not None]
CLOSED = [case for case in EXAMPLES if case.values[1].partial is None]
CLOCKED = [case for case in VALUES if case.values[0].frame.clocked]


def run(driver, *chunks):
    decoder = driver.decoder()
    return [item for chunk in chunks for item in decoder.feed(chunk)] + decoder.end()


def end_of(driver):
    return getattr(driver.frame, "ends", (b"\n",))[0]


def check(example, item):
    """Hold an item against its example, value by value."""
    assert item.raw == example.data
    if example.value is not None:
        assert isinstance(item, Value)
        assert (item.shown.text, item.shown.unit) == (example.value, example.unit)
        assert (item.mode, item.notes, item.channel) == (
            example.mode, example.notes, example.channel,
        )  # fmt: skip
    elif example.noise is not None:
        assert isinstance(item, Noise)
        assert example.noise in item.why
    else:
        assert isinstance(item, Partial)
        assert example.partial in item.why


def test_these_drivers_ship_and_every_codec_has_one():
    assert sorted(DRIVERS) == [
        "bcd28",
        "bcd52",
        "bcd52-inch8",
        "fixed-word",
        "flag-line",
        "hid-report",
        "hid-report-24",
        "keys-line",
        "keys-line-comma",
        "modbus-registers",
        "modbus-registers-low",
        "modbus-tcp",
        "mode-line",
        "mux-line",
        "mux-line-point",
        "plain-line",
        "plain-line-inch",
        "scale24",
        "scale48",
        "scale48-absolute",
        "signed-line",
    ]
    assert {driver.frame.codec for driver in DRIVERS.values()} == set(CODECS)
    assert len(EXAMPLES) >= 85


@pytest.mark.parametrize("name", DRIVERS)
def test_a_driver_bears_the_name_of_its_file_and_says_how_far_it_is_proven(name):
    text, _ = content.read("drivers", name)
    about = tomllib.loads(text)["driver"]
    assert about["name"] == name
    assert about["level"] == PROVEN.get(name, "described")
    assert len(about["reason"]) > 20
    assert DRIVERS[name].sends == about["sends"]


@pytest.mark.parametrize("name", DRIVERS)
def test_a_driver_has_its_hardware_note_with_every_chapter(name):
    note = next(
        path.read_text(encoding="utf-8")
        for folder in content.folders("hardware_notes")
        if (path := folder / f"{name}.md").is_file()
    )
    assert [row[3:] for row in note.splitlines() if row.startswith("## ")] == list(CHAPTERS)
    level, about = note.partition("## Level")[2], DRIVERS[name].about
    assert about.level in level.split("## ")[0]
    assert about.title in note


GUIDES = {"adding-a-gauge", "foot-pedal", "usb-adapters"}
"""Pages that are about no driver in particular."""


def test_there_is_no_hardware_note_without_a_driver():
    notes = {
        path.stem for folder in content.folders("hardware_notes") for path in folder.glob("*.md")
    }
    assert notes - GUIDES == set(DRIVERS)


@pytest.mark.parametrize("name", DRIVERS)
def test_every_captured_or_sent_frame_in_a_hardware_note_decodes_to_what_it_says(name):
    """Rows of the table: the bytes in backquotes, then what they mean."""
    (folder,) = [
        path for path in content.folders("hardware_notes") if (path / f"{name}.md").is_file()
    ]
    chapter = (folder / f"{name}.md").read_text(encoding="utf-8").partition("## Captured bytes")[2]
    rows = re.findall(r"^\| `([^`]+)` \| ([^|]+) \|", chapter.split("\n## ")[0], re.MULTILINE)
    assert rows
    for shown, meaning in rows:
        raw = shown.encode("ascii").decode("unicode_escape").encode("latin-1")
        (item,) = run(DRIVERS[name], raw)
        assert isinstance(item, Value)
        assert str(item.shown) == meaning.strip()


@pytest.mark.parametrize("name", DRIVERS)
def test_a_driver_keeps_its_own_examples(name):
    check_examples(DRIVERS[name])


@pytest.mark.parametrize(("driver", "example"), EXAMPLES)
def test_an_example_gives_what_it_promises_when_it_comes_whole(driver, example):
    (item,) = run(driver, example.data)
    check(example, item)


@pytest.mark.parametrize(("driver", "example"), CLOSED)
def test_nothing_comes_before_the_last_byte_and_everything_with_it(driver, example):
    decoder = driver.decoder()
    for byte in example.data[:-1]:
        assert decoder.feed(bytes([byte])) == []
    (item,) = decoder.feed(example.data[-1:])
    check(example, item)
    assert decoder.end() == []


@pytest.mark.parametrize(("driver", "example"), EXAMPLES)
def test_an_example_may_be_split_at_every_place(driver, example):
    whole = run(driver, example.data)
    for place in range(len(example.data) + 1):
        assert run(driver, example.data[:place], example.data[place:]) == whole


@pytest.mark.parametrize("garbage", [b"\x00\xfe", b"?", b"garbage " * 40], ids=["2", "1", "320"])
@pytest.mark.parametrize(("driver", "example"), CLOSED)
def test_garbage_before_costs_at_most_one_frame(driver, example, garbage):
    """Closed by an end of line it costs nothing; run into a frame it costs that frame."""
    if driver.frame.shows_beginning:
        items = run(driver, garbage + example.data + example.data)
        if example.value is None:
            assert not any(isinstance(item, Value) for item in items)
            return
        *before, first, second = items
        check(example, first)
        check(example, second)
        assert {type(junk) for junk in before} == {Noise}
        return
    *before, item = run(driver, garbage + end_of(driver) + example.data)
    check(example, item)
    assert {type(junk) for junk in before} == {Noise}
    *before, item = run(driver, garbage + example.data + example.data)
    check(example, item)
    assert {type(junk) for junk in before} == {Noise}


@pytest.mark.parametrize("garbage", [b"\x00\xfe", b"?", b"garbage " * 40], ids=["2", "1", "320"])
@pytest.mark.parametrize(("driver", "example"), CLOSED)
def test_garbage_after_changes_nothing(driver, example, garbage):
    item, *after = run(driver, example.data + garbage)
    check(example, item)
    assert not any(isinstance(junk, Value) for junk in after)
    assert b"".join(junk.raw for junk in after) == garbage


@pytest.mark.parametrize(("driver", "example"), VALUES)
def test_a_good_frame_is_read_after_every_bad_one(driver, example):
    for bad in driver.examples:
        if bad.noise is not None:
            first, second = run(driver, bad.data + example.data)
            check(bad, first)
            check(example, second)


@pytest.mark.parametrize(("driver", "example"), CLOSED)
def test_two_frames_in_one_chunk_give_two_items(driver, example):
    for item in (items := run(driver, example.data * 2)):
        check(example, item)
    assert len(items) == 2


@pytest.mark.parametrize(("driver", "example"), VALUES)
def test_a_stream_that_ends_inside_a_frame_gives_no_value(driver, example):
    """The clocks of a clocked frame are its frame; the pause after them may be the end itself."""
    body = example.data.rstrip(b"\n") if driver.frame.clocked else example.data
    for place in range(1, len(body)):
        (item,) = run(driver, body[:place])
        assert isinstance(item, Partial)


@pytest.mark.parametrize(("driver", "example"), VALUES)
def test_the_tail_of_a_frame_is_never_read_after_joining_midstream(driver, example):
    for place in range(len(example.data)):
        decoder = driver.decoder(joined_midstream=True)
        if driver.frame.shows_beginning and place == 0:
            (whole,) = decoder.feed(example.data)
            check(example, whole)
            continue
        tail, *others = decoder.feed(example.data[place:] + example.data * 2)
        assert isinstance(tail, Partial)
        # A tail that is but a part of the end of line takes the next frame along.
        ends = getattr(driver.frame, "ends", (end_of(driver),))
        ended = driver.frame.shows_beginning or any(end in example.data[place:] for end in ends)
        assert len(others) == (2 if ended else 1)
        for whole in others:
            check(example, whole)


@pytest.mark.parametrize("name", DRIVERS)
@given(data=st.data())
def test_cutting_never_changes_the_items_and_every_byte_is_in_one(name, data):
    """Frames, broken frames and junk in any order, cut anywhere."""
    driver = DRIVERS[name]
    frames = st.sampled_from([example.data for example in driver.examples])
    pieces = data.draw(st.lists(frames | st.binary(max_size=40), max_size=8))
    stream = b"".join(pieces)
    cuts = data.draw(st.lists(st.integers(0, len(stream)), max_size=8).map(sorted))
    places = [0, *cuts, len(stream)]
    whole = run(driver, stream)
    assert run(driver, *(stream[a:b] for a, b in pairwise(places))) == whole
    assert b"".join(item.raw for item in whole) == stream


@pytest.mark.parametrize("name", DRIVERS)
@given(stream=st.binary(max_size=300))
def test_any_bytes_at_all_are_taken_without_complaint(name, stream):
    assert b"".join(item.raw for item in run(DRIVERS[name], stream)) == stream


@pytest.mark.parametrize(("driver", "example"), CLOCKED)
def test_a_lost_clock_never_changes_a_number_in_a_clocked_frame(driver, example):
    """A clock too few is seen. A line of text has no such check: there the shape must do."""
    for place in range(len(example.data) - 1):
        items = run(driver, example.data[:place] + example.data[place + 1 :])
        assert not any(isinstance(item, Value) for item in items)


@pytest.fixture
def docs():
    path = Path(__file__).parents[1] / "docs" / "drivers.md"
    if not path.exists():
        pytest.skip(f"the documentation is not beside the tests ({path})")
    return path.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("chapter", "model"),
    [
        ("`[driver]`", About),
        ("`[port]`", Port),
        ("`[[example]]`", Example),
        ('`[frame]` with `codec = "line"`', CODECS["line"]),
        ("`[frame]` of a clocked gauge", CODECS["bcd52"]),
        ("`[frame]` of a clocked gauge", CODECS["scale24"]),
        ("`[frame]` of a clocked gauge", CODECS["scale48"]),
        ("`[frame]` of a clocked gauge", CODECS["bcd28"]),
        ('`[frame]` with `codec = "modbus-registers"`', CODECS["modbus-registers"]),
        ('`[frame]` with `codec = "keystrokes"`', CODECS["keystrokes"]),
        ('`[frame]` with `codec = "hid-report"`', CODECS["hid-report"]),
    ],
)
def test_every_key_of_a_driver_file_is_explained_in_the_docs(chapter, model, docs):
    text = docs.partition(f"\n## {chapter}")[2].partition("\n## ")[0]
    explained = {
        key
        for row in text.splitlines()
        if row.startswith("| `")
        for key in re.findall(r"`(\w+)`", row.split("|")[1])
    }
    keys = {field.alias or name for name, field in model.model_fields.items()}
    assert keys - {"codec"} <= explained


def test_the_file_shown_in_the_docs_loads(docs):
    (shown,) = re.findall(r"```toml\n(.*?)```", docs, re.DOTALL)
    driver = load_driver(shown, "docs/drivers.md")
    assert [example.value for example in driver.examples] == ["0.125", "-0.0050", None]


def test_the_files_in_the_guide_to_a_new_gauge_are_understood_as_they_are_printed():
    """Somebody copies them; the second one is the first with another frame."""
    page = Path(__file__).resolve().parents[1] / "hardware_notes" / "adding-a-gauge.md"
    blocks = re.findall(r"```toml\n(.*?)```", page.read_text(encoding="utf-8"), re.DOTALL)
    [whole] = [block for block in blocks if block.startswith("[driver]")]
    [frame] = [block for block in blocks if block.startswith("[frame]")]
    for text in (whole, whole.split("[frame]")[0] + frame):
        driver = load_driver(text, str(page))
        assert [item.data for item in driver.examples]
    assert driver.examples[0].data == b"12,345\r\n"
