"""`gaugelink release` says from a record alone what stands against a release."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest
from bench_kit import KEY
from release_kit import AFTER, DEPTH, STEM, Head, ready

from gaugelink.deeds import DoWork, Inspect
from gaugelink.record import SqliteStore

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import RunCli


def told(run_cli: RunCli, head: Head, path: Path, *more: str, status: int) -> dict[str, Any]:
    """Ask for JSON about a head."""
    day = more or ("--today", "2026-01-02")
    got, out, err = run_cli("release", str(head.write(path)), "--json", *day)
    assert (got, err) == (status, "")
    document: dict[str, Any] = json.loads(out)
    return document


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "job.sqlite"


def test_what_stands_against_it_is_listed_in_plain_words(run_cli: RunCli, path: Path) -> None:
    head = ready()
    head.at(DEPTH, "1.75")
    head.at(AFTER)
    head.do(Inspect("spring", ("1I",), sound=False, words="end coil broken"))
    head.do(DoWork("seat cut", ("2I",)))
    status, out, err = run_cli("release", str(head.write(path)), "--today", "2026-01-02")
    assert (status, err) == (1, "")
    assert (
        out
        == """\
J1: not released; 7 things stand against it.
Verdicts: 4 within, 1 outside, 0 undecided.

Condemned (1)
  1I spring: condemned by A. N.: end coil broken

Outside its limit (1)
  1I stand-down: outside, 1.75 mm against service max 1.60 mm

Stale after work (1)
  2I stand-down: stale after seat cut; measure again

Zero checks (2)
  zero check of the depth gauge, before stand-down: stale after seat cut; measure again
  zero check of the depth gauge, after stand-down: stale after seat cut; measure again

Not looked at (2)
  2I seat: looked at before this work: seat cut; look again
  2I collets seated: looked at before this work: seat cut; look again
"""
    )


def test_the_same_stands_in_json_with_the_step_that_puts_it_right(
    run_cli: RunCli, path: Path
) -> None:
    head = ready()
    head.do(DoWork("spring changed", ("2I",)))
    head.at(STEM, "7.850")
    found = told(run_cli, head, path, status=1)
    assert [(one["kind"], one["valve"], one["what"], one["step"]) for one in found["blocks"]] == [
        ("outside", "1I", "stem diameter", STEM),
        ("not inspected", "2I", "spring", None),
        ("not inspected", "2I", "collets seated", None),
    ]
    words = "1I stem diameter: outside, 7.850 mm against service min 7.900 mm"
    assert found["blocks"][0]["words"] == words
    assert (found["released"], found["at"], found["deviations"]) == (False, "", [])
    assert len(found["checks"]) == 8


def test_a_head_that_nothing_stands_against_ends_with_0(run_cli: RunCli, path: Path) -> None:
    assert told(run_cli, ready(), path, status=0)["blocks"] == []
    status, out, _ = run_cli("release", str(path))
    assert (status, out.splitlines()[0]) == (0, "J1: not released; nothing stands against it.")


def test_a_release_is_told_with_its_name_and_what_was_signed(run_cli: RunCli, path: Path) -> None:
    head = ready()
    head.at(DEPTH, "1.75")
    head.at(AFTER)
    head.sign(head.blocks()[0].judged, reason="the pistons allow it")
    head.release("C. D.", "for the pump station")
    found = told(run_cli, head, path, status=0)
    assert (found["released"], found["by"]) == (True, "C. D.")
    status, out, _ = run_cli("release", str(path))
    assert status == 0
    assert (
        out
        == """\
J1: released at 2026-01-02 00:00 UTC by C. D. (for the pump station).
Verdicts: 5 within, 1 outside, 0 undecided.

Deviation: 1I stand-down 1.75 mm accepted by C. D., the pistons allow it
"""
    )


def test_a_release_that_was_taken_back_says_why(run_cli: RunCli, path: Path) -> None:
    head = ready()
    head.release()
    head.do(DoWork("shim changed", ("1I",)))
    status, out, _ = run_cli("release", str(head.write(path)))
    assert status == 1
    assert out.splitlines()[0] == (
        "J1: released at 2026-01-02 00:00 UTC by C. D.; no longer, because: "
        "work since: shim changed on 1I; 1 thing stands against it."
    )


def test_the_day_matters_for_what_is_still_to_be_measured(run_cli: RunCli, path: Path) -> None:
    found = told(run_cli, Head(), path, "--today", "2026-06-30", status=1)
    assert not [one for one in found["blocks"] if one["kind"] == "calibration"]
    status, out, _ = run_cli("release", str(path), "--today", "2026-07-01", "--json")
    assert status == 1
    late = [one["what"] for one in json.loads(out)["blocks"] if one["kind"] == "calibration"]
    assert late == ["micrometer", "indicator", "depth gauge"]


def test_a_long_list_is_cut_in_words_and_whole_in_json(
    run_cli: RunCli, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("gaugelink.view.release.release_document.__defaults__", (1, None))
    status, out, _ = run_cli("release", str(Head().write(path)), "--today", "2026-01-02")
    assert status == 1
    assert "and 2 more; --json lists them all" in out
    status, out, _ = run_cli("release", str(path), "--today", "2026-01-02", "--json")
    assert len(json.loads(out)["blocks"]) == 20


@pytest.mark.parametrize("today", ["tomorrow", "2026-13-01", "31.3.2026"])
def test_a_day_that_is_none_is_refused(run_cli: RunCli, path: Path, today: str) -> None:
    status, out, err = run_cli("release", str(Head().write(path)), "--today", today)
    assert (status, out) == (2, "")
    assert err == f"gaugelink: --today: found {today!r}, accepted: a date such as 2026-03-31\n"


def test_what_is_no_record_is_refused(run_cli: RunCli, tmp_path: Path, path: Path) -> None:
    (tmp_path / "notes.txt").write_text("3E looks fine", encoding="utf-8")
    for wrong in (tmp_path / "notes.txt", tmp_path / "absent.sqlite"):
        status, out, err = run_cli("release", str(wrong))
        assert (status, out) == (2, "")
        assert err.count("\n") == 1
        assert wrong.name in err
    with SqliteStore.create(path, key=KEY):
        pass
    status, out, err = run_cli("release", str(path))
    assert (status, out) == (2, "")
    assert "no job was ever opened" in err


def test_the_record_is_only_read(run_cli: RunCli, path: Path) -> None:
    ready().write(path)
    before = path.read_bytes()
    run_cli("release", str(path))
    assert path.read_bytes() == before
