"""`gaugelink sheet check` says whether a limit sheet can be used, and where it is wrong."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import RunCli

GOOD = """\
[sheet]
name = "Pump engine, Ausführung Б"
edition = "2"
source = "title, page"

[head]
cylinders = 2
valves = ["intake", "exhaust"]

[[limit]]
characteristic = "stem diameter"
service_min = ["7.935 mm", "0.3124 in"]

[[limit]]
characteristic = "margin"
service_min = "0.8 mm"
"""
# Valve rim thickness as printed in US Army TM 9-6115-604-34, Table 1-4; 2.667 mm is meant.
UNRESOLVED = GOOD.replace('"0.8 mm"', '["0.105 in", "12.67 mm"]')
RESOLVED = UNRESOLVED + 'resolved.service_min = { keep = "in", reason = "drawing", by = "A. N." }\n'
BAD = GOOD.replace('"stem diameter"', '"stem diametre"').replace('"0.8 mm"', '"0.8"')


def sheet(folder: Path, text: str | bytes) -> Path:
    path = folder / "s.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_a_good_sheet_can_be_used(run_cli: RunCli, tmp_path: Path) -> None:
    assert run_cli("sheet", "check", sheet(tmp_path, GOOD)) == (
        0,
        "Pump engine, Ausführung Б, edition 2: 2 limits.\nIt can be used.\n",
        "",
    )


@pytest.mark.parametrize(
    "text", [GOOD.replace("\n", "\r\n"), "\ufeff" + GOOD, GOOD + "# \u2028 \x85 odd line ends\n"]
)
def test_line_ends_and_byte_order_mark_make_no_difference(
    run_cli: RunCli, tmp_path: Path, text: str
) -> None:
    assert run_cli("sheet", "check", sheet(tmp_path, text))[0] == 0


@pytest.mark.parametrize(
    ("text", "status", "resolved"), [(GOOD, 0, []), (UNRESOLVED, 1, [False]), (RESOLVED, 0, [True])]
)
def test_json_tells_limits_disagreements_and_errors(
    run_cli: RunCli, tmp_path: Path, text: str, status: int, resolved: list[bool]
) -> None:
    found, out, err = run_cli("sheet", "check", sheet(tmp_path, text), "--json")
    assert (found, err) == (status, "")
    document = json.loads(out)
    assert set(document) == {"limits", "disagreements", "warnings", "errors"}
    assert (document["limits"], document["errors"]) == (2, [])
    assert [item["resolved"] for item in document["disagreements"]] == resolved
    for item in document["disagreements"]:
        assert (item["line"], item["field"]) == (16, "limit.2.service_min")
        assert item["what"].startswith("0.105 in and 12.67 mm differ by 10003.0 um")


def test_a_disagreement_is_told_and_the_sheet_not_usable_before_it_is_resolved(
    run_cli: RunCli, tmp_path: Path
) -> None:
    status, out, err = run_cli("sheet", "check", sheet(tmp_path, UNRESOLVED))
    assert (status, err) == (1, "")
    assert out.startswith("line 16, limit.2.service_min (to be resolved): 0.105 in and 12.67 mm ")
    assert out.endswith("It cannot be used before that is resolved.\n")


def test_a_resolution_is_shown_with_name_and_reason(run_cli: RunCli, tmp_path: Path) -> None:
    status, out, _ = run_cli("sheet", "check", sheet(tmp_path, RESOLVED))
    assert status == 0
    assert "(resolved)" in out
    assert "A. N. keeps in: drawing" in out
    assert out.endswith("It can be used.\n")


def test_a_bad_sheet_gives_one_sentence_and_nothing_else(run_cli: RunCli, tmp_path: Path) -> None:
    path = sheet(tmp_path, BAD)
    status, out, err = run_cli("sheet", "check", path)
    assert (status, out) == (2, "")
    assert err.startswith(
        f"gaugelink: {path}, line 11, limit.1.characteristic: found 'stem diametre', accepted: "
    )
    assert err.endswith(" (and 1 more; --json lists them all)\n")
    assert err.count("\n") == 1


def test_json_lists_every_error_of_a_bad_sheet(run_cli: RunCli, tmp_path: Path) -> None:
    status, out, err = run_cli("sheet", "check", "--json", sheet(tmp_path, BAD))
    assert (status, err.count("\n")) == (2, 1)
    document = json.loads(out)
    assert set(document) == {"limits", "disagreements", "warnings", "errors"}
    assert [(item["line"], item["field"]) for item in document["errors"]] == [
        (11, "limit.1.characteristic"),
        (16, "limit.2.service_min"),
    ]
    assert all(item["what"] for item in document["errors"])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[sheet\n", "s.toml, line 1: not valid TOML"),
        (b"\xff\xfe", "s.toml: not UTF-8 text"),
        ("", "s.toml, sheet: this key is missing"),
    ],
)
def test_what_is_no_sheet_is_refused(
    run_cli: RunCli, tmp_path: Path, text: str | bytes, words: str
) -> None:
    status, out, err = run_cli("sheet", "check", sheet(tmp_path, text))
    assert (status, out) == (2, "")
    assert words in err
    assert err.count("\n") == 1


@pytest.mark.parametrize("name", ["absent.toml", "."])
def test_a_file_that_cannot_be_read_is_refused(run_cli: RunCli, tmp_path: Path, name: str) -> None:
    for words in ((), ("--json",)):
        status, out, err = run_cli("sheet", "check", tmp_path / name, *words)
        assert (status, out) == (2, "")
        assert err.startswith(f"gaugelink: {tmp_path / name}: cannot be read (")


@pytest.mark.parametrize("words", [("sheet",), ("sheet", "check"), ("sheet", "bend", "s.toml"),
                                   ("sheet", "check", "s.toml", "more")])  # fmt: skip
def test_other_words_are_refused(run_cli: RunCli, words: tuple[str, ...]) -> None:
    status, out, err = run_cli(*words)
    assert (status, out) == (2, "")
    assert err.startswith("gaugelink sheet: ")
    assert err.endswith(" (see gaugelink sheet --help)\n")
