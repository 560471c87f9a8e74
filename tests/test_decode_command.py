"""The command `gaugelink decode`."""

from __future__ import annotations

import json
import subprocess
import sys
import tracemalloc
from pathlib import Path

import pytest

from gaugelink import cli, content
from gaugelink.commands import decode
from gaugelink.errors import InputError

CAPTURES = Path(__file__).parents[2] / "shared" / "captures"

DISPLAYS = {
    "0mm": ("0.00", "mm", 14, 1),
    "0.5mm": ("0.50", "mm", 14, 0),
    "10mm": ("10.00", "mm", 14, 0),
    "123.45mm": ("123.45", "mm", 14, 0),
    "minus-1mm": ("-1.00", "mm", 13, 1),
    "0.5in": ("0.5000", "in", 14, 0),
    "0.0005in": ("0.0005", "in", 14, 0),
}
"""Name of the capture, which is what the display read; whole frames in it; partial ones.
Source: sigrok-dumps, folder caliper (public domain), and the notes kept with them."""


@pytest.fixture(autouse=True)
def _no_folder_of_the_user(monkeypatch):
    monkeypatch.delenv("GAUGELINK_CONTENT", raising=False)


@pytest.fixture
def file_of(tmp_path):
    def make(data, name="gauge.bin"):
        path = tmp_path / name
        path.write_bytes(data)
        return str(path)

    return make


def documents(capsys, *words):
    status = cli.main(["decode", *words, "--json"])
    out = capsys.readouterr()
    assert out.err == ""
    *values, summary = [json.loads(row) for row in out.out.splitlines()]
    return status, values, summary


def capture_of(frame):
    """A capture of one frame, drawn for this test."""
    rows = ["$timescale 10 us $end $var wire 1 ! CLK $end $var wire 1 ? DATA $end"]
    rows.append("$enddefinitions $end #0 1! 1?")
    for place, bit in enumerate(frame):
        at = 100 + 20 * place
        rows.append(f"#{at} {bit}? #{at + 2} 0! #{at + 10} 1!")
    return ("\n".join(rows) + "\n").encode()


@pytest.mark.parametrize("name", DISPLAYS)
def test_a_public_capture_decodes_to_what_the_display_read(name, capsys):
    path = CAPTURES / f"{name}.vcd"
    if not path.exists():
        pytest.skip(f"the public captures are not beside the project ({CAPTURES})")
    value, unit, frames, partial = DISPLAYS[name]
    status, values, summary = documents(capsys, "--driver", "scale24", str(path))
    assert status == 0
    assert {(row["value"], row["unit"]) for row in values} == {(value, unit)}
    assert all(set(row) == {"value", "unit", "raw"} and len(row["raw"]) == 24 for row in values)
    assert summary == {"frames": frames, "noise_bytes": 0, "partial_frames": partial}
    assert len(values) == frames


def test_a_capture_of_the_thirteen_digit_format_decodes(capsys, file_of):
    """FFFF 8 012345 3 0 is -12.345 mm: a measuring-projector maker's manual, 13-digit format."""
    bits = "".join(f"{int(digit, 16):04b}"[::-1] for digit in "FFFF801234530")
    status, values, summary = documents(
        capsys, "--driver", "bcd52", file_of(capture_of(bits), "one.VCD")
    )
    assert (status, values) == (0, [{"value": "-12.345", "unit": "mm", "raw": bits}])
    assert summary == {"frames": 1, "noise_bytes": 0, "partial_frames": 0}


def test_bytes_of_a_line_gauge_decode_with_noise_and_partials_counted(capsys, file_of):
    data = b"380 MM\r+  2.1380 MM\r\xff\x00-  0.0005 IN\r-  0.0005 IN\r+ 1."
    status, values, summary = documents(capsys, "--driver", "signed-line", file_of(data))
    assert status == 0
    assert values == [
        {"value": "2.1380", "unit": "mm", "raw": "+  2.1380 MM\r"},
        {"value": "-0.0005", "unit": "in", "raw": "-  0.0005 IN\r"},
    ]
    assert summary == {"frames": 2, "noise_bytes": 7 + 15, "partial_frames": 1}


def test_mode_and_notes_stand_beside_a_value_when_there_are_any(capsys, file_of):
    data = b"a+0.042M= \nm+0.101M> \n"
    _, values, _ = documents(capsys, "--driver", "mode-line", file_of(data))
    assert values == [
        {"value": "0.042", "unit": "mm", "raw": "a+0.042M= \n"},
        {
            "value": "0.101",
            "unit": "mm",
            "raw": "m+0.101M> \n",
            "mode": "max",
            "notes": ["over the tolerance set at the gauge"],
        },
    ]


def test_raw_gives_every_byte_back(capsys, file_of):
    """The minus sign of typographers takes three bytes, each of them one character of raw."""
    data = "\u2212 7,965 mm\r".encode()
    _, values, _ = documents(capsys, "--driver", "signed-line", file_of(data))
    assert values[0]["raw"].encode("latin-1") == data


def test_a_driver_may_be_given_by_its_path(capsys, file_of, tmp_path):
    own = tmp_path / "my-gauge.toml"
    text, _ = content.read("drivers", "plain-line")
    own.write_text(text.replace('"plain-line"', '"my-gauge"'), encoding="utf-8")
    status, values, _ = documents(capsys, "--driver", str(own), file_of(b" 8.105\r"))
    assert (status, values[0]["value"]) == (0, "8.105")


@pytest.mark.parametrize("data", [b"", b"garbage\r", b"+ 2.1"], ids=["empty", "noise", "partial"])
def test_a_file_without_a_whole_frame_ends_with_status_1(data, capsys, file_of):
    status, values, summary = documents(capsys, "--driver", "signed-line", file_of(data))
    assert (status, values, summary["frames"]) == (1, [], 0)


def test_without_json_a_table_shows_values_noise_and_partials_with_their_reasons(capsys, file_of):
    status = cli.main(["decode", "--driver", "signed-line", file_of(b"+  2.1380 MM\r?\r- 1")])
    head, value, noise, partial, end = capsys.readouterr().out.splitlines()
    assert status == 0
    assert head.split() == ["value", "unit", "mode", "remark", "raw"]
    assert value.split() == ["2.1380", "mm", "actual", "+", "2.1380", "MM\\r"]
    assert noise.split()[0] == "noise"
    assert noise.endswith("?\\r")
    assert "shape" in noise
    assert partial.split()[0] == "partial"
    assert "ended inside the line" in partial
    assert end == "frames: 1, bytes of noise: 2, partial frames: 1"


@pytest.mark.parametrize("size", [1, 7, 13])
def test_reading_in_small_pieces_changes_nothing(size, capsys, file_of, monkeypatch):
    line = file_of(b"x\r" + b"+  2.1380 MM\r" * 5)
    capture = file_of(capture_of("001001100000000000001000"), "one.vcd")
    whole = documents(capsys, "--driver", "signed-line", line)
    whole_capture = documents(capsys, "--driver", "scale24", capture)
    monkeypatch.setattr(decode, "PIECE", size)
    assert documents(capsys, "--driver", "signed-line", line) == whole
    assert documents(capsys, "--driver", "scale24", capture) == whole_capture


def test_a_large_file_is_read_in_bounded_memory(file_of, capsys):
    path = file_of(b"x" * 4_000_000)
    documents(capsys, "--driver", "signed-line", path)  # what is imported once is not counted
    tracemalloc.start()
    try:
        _, _, summary = documents(capsys, "--driver", "signed-line", path)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert summary["noise_bytes"] == 4_000_000
    assert peak < 2_500_000


@pytest.mark.parametrize(
    ("words", "field", "found"),
    [
        (["--driver", "no-such", "FILE"], "drivers", "accepted: bcd28, bcd52, bcd52-inch8, "),
        (["--driver", "no-such.toml", "FILE"], None, "cannot be read"),
        (["--driver", "scale24", "missing.bin"], None, "cannot be read"),
        (["--driver", "scale24", "missing.vcd"], None, "cannot be read"),
    ],
)
def test_a_missing_driver_or_file_is_refused(
    words, field, found, file_of, monkeypatch, tmp_path, capsys
):
    """Before anything is printed, the head of the table too."""
    file = file_of(b"")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError, match=found) as caught:
        cli.main(["decode", *(file if word == "FILE" else word for word in words)])
    assert caught.value.field == field
    assert capsys.readouterr().out == ""


def test_a_capture_is_refused_by_the_driver_of_a_line_gauge(file_of, capsys):
    with pytest.raises(InputError, match="needs the driver of a clocked gauge"):
        cli.main(["decode", "--driver", "signed-line", file_of(b"", "x.vcd"), "--json"])
    assert capsys.readouterr().out == ""


def test_a_folder_named_like_a_capture_is_refused(tmp_path):
    (tmp_path / "x.vcd").mkdir()
    with pytest.raises(InputError, match="not a file"):
        cli.main(["decode", "--driver", "scale24", str(tmp_path / "x.vcd")])


def test_a_capture_damaged_at_its_end_prints_one_sentence_and_no_value(file_of):
    path = file_of(capture_of("001001100000000000001000" * 2) + b"oops\n", "bad.vcd")
    done = subprocess.run(
        [sys.executable, "-m", "gaugelink", "decode", "--driver", "scale24", path, "--json"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1
    assert "bad.vcd, line 51: the logic capture cannot be read: found 'oops'" in done.stderr
