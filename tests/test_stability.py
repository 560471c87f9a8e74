"""Zero checks of many jobs tell whether a gauge's zero stays."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given, settings, strategies as st
from scipy.stats import linregress

from gaugelink import sheetfile
from gaugelink.event_documents import to_document
from gaugelink.events import (
    JobOpened,
    ReadingStruckOut,
    ReadingTaken,
)
from gaugelink.head import zero_check
from gaugelink.metrology.drift import drift
from gaugelink.quantity import parse_length
from gaugelink.reading import Gauge, Stamp, Tag
from gaugelink.record import SqliteStore

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from conftest import RunCli

KEY = Ed25519PrivateKey.from_private_bytes(b"a key for tests, known to anyone")
SHEET = """
[sheet]
name = "One stem (invented)"
edition = "1"
source = "invented"
invented = true
[head]
cylinders = 1
valves = ["intake"]
[[zero]]
gauge = "micrometer"
on = "closed"
shows = "0.000 mm"
[[limit]]
characteristic = "stem diameter"
service_min = "7.935 mm"
"""
START = datetime(2026, 3, 2, 8, tzinfo=UTC)


def test_the_line_of_norris_is_held(check_rows: Callable[[str], list[dict[str, str]]]) -> None:
    """Source: NIST StRD, linear regression, Norris: certified to 15 digits."""
    rows = check_rows("strd_linear_Norris.csv")
    found = drift([Fraction(row["x"]) for row in rows], [Fraction(row["y"]) for row in rows])
    assert found.start == pytest.approx(-0.262323073774029, rel=1e-12)
    assert found.slope == pytest.approx(1.00211681802045, rel=1e-14)
    assert found.u_start == pytest.approx(0.232818234301152, rel=1e-13)
    assert found.u_slope == pytest.approx(0.429796848199937e-3, rel=1e-13)
    assert found.scatter == pytest.approx(0.884796396144373, rel=1e-13)
    assert found.df == 34


points = st.lists(st.tuples(st.integers(0, 400), st.integers(-30, 30)), min_size=4, max_size=20)


@settings(max_examples=60)
@given(points.filter(lambda rows: all(len(set(some)) > 1 for some in zip(*rows, strict=True))))
def test_the_line_is_that_of_the_reference_library(rows: list[tuple[int, int]]):
    """Source: scipy.stats.linregress."""
    xs, ys = zip(*rows, strict=True)
    found, wanted = drift(xs, ys), linregress(xs, ys)
    assert found.slope == pytest.approx(wanted.slope, abs=1e-9)
    assert found.start == pytest.approx(wanted.intercept, abs=1e-7)
    assert found.u_slope == pytest.approx(wanted.stderr, abs=1e-7)


@pytest.mark.parametrize(
    ("at", "values", "says"),
    [([0, 1], [0, 1], "at least 3"), ([0, 1, 2], [0, 1], "as many of each"),
     ([5, 5, 5], [0, 1, 2], "at one time")],
)  # fmt: skip
def test_too_little_for_a_line_is_said(at: list[int], values: list[int], says: str):
    with pytest.raises(ValueError, match=says):
        drift(at, values)


def record(folder: Path, number: int, pairs: Sequence[tuple[str, str]], serial: str = "7") -> Path:
    """Write the record of a job that measured one stem, ``pairs`` of checks before and after."""
    sheet = sheetfile.load(SHEET, "sheet.toml")
    gauge = Gauge("M1", "micrometer", "Outside micrometer", serial, "signed-line", 1_900_000,
                  "2030-01-01")  # fmt: skip
    path = folder / f"D-{number}.sqlite"
    moment = START + timedelta(days=number)

    def stamp(minutes: int) -> Stamp:
        utc = (moment + timedelta(minutes=minutes)).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
        return Stamp(utc, minutes, "A. N.", "1")

    def taken(minutes: int, when: Any, text: str) -> ReadingTaken:
        tag = Tag(zero_check("micrometer", when, "stem diameter"), "as received", "M1")
        return ReadingTaken(stamp(minutes), tag, parse_length(text), b"", "gauge")

    opened = JobOpened(stamp(0), f"D-{number}", "a head", "1", "as received", sheet.name,
                       sheet.edition, SHEET, sheet.sha256, (gauge,), True, "real", "")  # fmt: skip
    events: list[Any] = [opened]
    for at, (before, after) in enumerate(pairs):
        events += [taken(10 * at + 1, "before", before), taken(10 * at + 5, "after", after)]
        if at:  # the earlier pair was measured again
            events += [ReadingStruckOut(stamp(10 * at + 6), 1, "again"),
                       ReadingStruckOut(stamp(10 * at + 6), 2, "again")]  # fmt: skip
    with SqliteStore.create(path, key=KEY) as store:
        store.append([to_document(event) for event in events])
    return path


def told(run_cli: RunCli, *words: Path | str, status: int) -> list[dict[str, Any]]:
    got, out, err = run_cli("stability", *words, "--json")
    assert (got, err) == (status, "")
    found: list[dict[str, Any]] = json.loads(out)["gauges"]
    return found


def mm(um: int) -> str:
    return f"{um / 1000:.3f} mm"


def test_a_zero_that_wanders_from_job_to_job_is_found(run_cli: RunCli, tmp_path: Path):
    wobble = [0, 2, -2, 1, -1, 2, 0, -2, 1, -1]
    files = [record(tmp_path, day, [(mm(2 * day + wobble[day]), mm(2 * day + wobble[9 - day]))])
             for day in range(10)]  # fmt: skip
    (found,) = told(run_cli, *reversed(files), status=1)
    assert found["drifts"]
    low, high = found["drift_95_percent"]
    assert low < 2 < high
    assert len(found["checks"]) == 20
    assert [check["job"] for check in found["checks"]] == [
        f"D-{day}" for day in range(10) for _ in "ba"]  # fmt: skip
    moved = [wobble[9 - day] - wobble[day] for day in range(10)]
    assert abs(found["moved_in_a_series_um"]) == max(map(abs, moved))
    assert found["mean_off_um"] == pytest.approx(9)


def test_a_zero_that_only_scatters_is_steady(run_cli: RunCli, tmp_path: Path):
    scatter = [3, -2, 0, 2, -3, 1, -1, 3, -2, 0]
    files = [record(tmp_path, day, [(mm(scatter[day]), mm(scatter[9 - day]))]) for day in range(10)]
    (found,) = told(run_cli, *files, status=0)
    assert not found["drifts"]
    assert found["signals"] == []
    assert found["not_told"] == []
    status, out, _ = run_cli("stability", *files)
    assert status == 0
    assert "it is steady" in out
    assert "chance alone explains it" in out


def test_a_display_coarser_than_the_scatter_gets_no_chart(run_cli: RunCli, tmp_path: Path):
    files = [record(tmp_path, day, [("0.000 mm", "0.000 mm" if day else "0.001 mm")])
             for day in range(6)]  # fmt: skip
    (found,) = told(run_cli, *files, status=0)
    assert found["center"] is None
    assert "display's step of 1 um is coarser" in found["not_told"][0]


def test_one_job_alone_tells_no_drift_and_no_chart(run_cli: RunCli, tmp_path: Path):
    (found,) = told(run_cli, record(tmp_path, 0, [("0.000 mm", "0.002 mm")]), status=0)
    assert found["drift_um_a_day"] is None
    assert "within a day" in found["not_told"][0]
    assert found["moved_in_a_series_um"] == 2


def test_checks_that_were_struck_out_do_not_count(run_cli: RunCli, tmp_path: Path):
    file = record(tmp_path, 0, [("0.030 mm", "0.030 mm"), ("0.000 mm", "0.001 mm")])
    (found,) = told(run_cli, file, status=0)
    assert [check["off_um"] for check in found["checks"]] == [0, 1]


def test_two_gauges_of_one_mark_are_told_apart_by_their_numbers(run_cli: RunCli, tmp_path: Path):
    files = [record(tmp_path, day, [("0.000 mm", "0.001 mm")], str(day)) for day in range(2)]
    found = told(run_cli, *files, status=0)
    assert [one["serial"] for one in found] == ["0", "1"]
    status, _, err = run_cli("stability", *files, "--plot", tmp_path / "x.html")
    assert (status, "--gauge" in err) == (2, True)


def test_the_chart_is_written_to_look_at(run_cli: RunCli, tmp_path: Path):
    scatter = [3, -2, 0, 2, -3, 1, -1, 30, -2, 0]
    files = [record(tmp_path, day, [(mm(scatter[day]), mm(scatter[day]))]) for day in range(10)]
    plot = tmp_path / "zero.html"
    told(run_cli, *files, "--plot", plot, status=1)
    text = plot.read_text(encoding="utf-8")
    assert "D-7, 2026-03-09T08:01" in text
    assert "diamond-open" in text


@pytest.mark.parametrize("words", [("--gauge", "M9"), ()])
def test_no_check_to_tell_of_is_said(run_cli: RunCli, tmp_path: Path, words: tuple[str, ...]):
    file = record(tmp_path, 0, [("0.000 mm", "0.001 mm")] if words else [])
    status, out, err = run_cli("stability", file, *words)
    assert (status, out) == (2, "")
    assert "no zero check" in err
    assert "\n" not in err.strip()
