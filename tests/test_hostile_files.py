"""Whatever stands in a file: the commands that advise answer, or refuse it in one sentence."""

from __future__ import annotations

import copy
import io
import json
import re
import sys
import tempfile
import tomllib
from contextlib import redirect_stderr, redirect_stdout
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from bench_kit import KEY
from hypothesis import given, settings, strategies as st
from release_kit import ready
from test_fault_command import HEADER, SHEET, WORN
from test_pairing import HEAD
from test_plan_command import JOB

from gaugelink.cli import entry
from gaugelink.commands.record_job import read_job
from gaugelink.errors import RecordError
from gaugelink.event_documents import to_document
from gaugelink.record import SqliteStore

if TYPE_CHECKING:
    from collections.abc import Iterator

COSTS = "valve,1I,2I\n1I,4.20,0\n2I,,1.50\n"
BITTER = (
    *("", "0", "-1", "nan", "inf", "1e99", "9007199.254740991", "-9007199.254740991", "5,94"),
    *("0 mm", "-1 mm", "nan mm", "1e3 mm", "9007199.254740991 mm", "0.000000001 mm", "8.05"),
    *("1 kg", "12 lbf", "-5 N", "0.3 in", "\u0663 mm", "1000000.00", "1000001", "0.001", "-1.00"),
    *("1I", "2I", "intake", "guide bore", "\u202e8 mm", "\U0001f600", "x\ny", "\x00", "=1+1"),
    *("a" * 300, -1, 0, 1, 3.5, 10**30, float("nan"), float("inf"), True, False),
    *([], {}, ["8 mm"], ["8 mm", "9 mm"], ["9 mm", "8 mm"], {"min": "1 mm", "max": "1 mm"}),
)
"""What somebody might put in the place of a good value: too large, below 0, no number, no unit, a
wrong one, a name that stands elsewhere, signs of other scripts, another type."""

texts = st.text(st.characters(exclude_categories=("Cs",)), max_size=30)
spoilt = st.lists(st.tuples(st.integers(0, 10**6), st.sampled_from(BITTER) | texts),
                  min_size=1, max_size=3)  # fmt: skip


def toml(value: object) -> str:
    """Write a value as TOML, tables inside one another as inline tables."""
    match value:
        case bool():
            return str(value).lower()
        case str():
            return json.dumps(value).replace("\x7f", "\\u007f")
        case list():
            return f"[{', '.join(map(toml, value))}]"
        case dict():
            return f"{{{', '.join(f'{toml(key)} = {toml(one)}' for key, one in value.items())}}}"
    return str(value)


def spoil(text: str, changes: list[tuple[int, Any]]) -> str:
    """Put other values in the places of good ones."""
    tables = tomllib.loads(text)
    for where, value in changes:
        places = list(leaves(tables))
        if places:
            owner, key = places[where % len(places)]
            owner[key] = copy.deepcopy(value)
    return "\n".join(f"{toml(key)} = {toml(one)}" for key, one in tables.items())


def leaves(tables: Any) -> Iterator[tuple[Any, Any]]:
    for key, value in tables.items() if isinstance(tables, dict) else enumerate(tables):
        if isinstance(value, dict | list):
            yield from leaves(value)
        else:
            yield tables, key


def run(*words: object) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(err):
        patch.setattr(sys, "argv", ["gaugelink", *map(str, words)])
        with pytest.raises(SystemExit) as end:
            entry()
    assert isinstance(end.value.code, int)
    return end.value.code, out.getvalue(), err.getvalue()


def strict(constant: str) -> None:
    raise AssertionError(f"{constant} is no JSON number")


def held(status: int, out: str, err: str, *, written: tuple[Path, ...] = ()) -> None:
    """Assert that a command answered with one document, or refused in one sentence."""
    if status == 2:
        assert (out, err.count("\n")) == ("", 1), err
        assert re.match(r"gaugelink: .", err)
        assert not any(path.exists() for path in written)
    else:
        assert status in {0, 1}, err
        json.loads(out, parse_constant=strict)


@settings(max_examples=150)
@given(spoilt, st.sampled_from(["plan", "order", "prices", "try"]))
def test_a_spoilt_job_is_planned_or_refused(changes: list[tuple[int, Any]], how: str) -> None:
    """Job files, price files and trials; nothing half done stays behind."""
    with tempfile.TemporaryDirectory() as folder:
        names = ("job.toml", "shop.toml", "o.csv", "p.csv")
        job, shop, order, parts = (Path(folder) / name for name in names)
        words: list[object] = ["plan", job, "--json", "--alternatives", "1"]
        if how == "prices":
            head, prices = JOB.split("[prices]", 1)
            job.write_text(head, encoding="utf-8")
            shop.write_text(spoil(f"[prices]{prices}", changes), encoding="utf-8")
            words += ["--prices", shop]
        else:
            job.write_text(spoil(JOB, changes), encoding="utf-8")
        if how == "order":
            words += ["--order", order, "--parts", parts]
        elif how == "try":
            words += ["--try", "2I cut seat 0.10 mm"]
        held(*run(*words), written=(order, parts))


moved = st.lists(st.tuples(st.integers(0, 10**6), st.integers(-300, 300)), min_size=2, max_size=9)


@settings(max_examples=100)
@given(moved, st.sampled_from(["plan", "try"]))
def test_a_job_whose_sizes_are_others_is_planned_or_refused(
    changes: list[tuple[int, int]], how: str
) -> None:
    """Readings, limits, depths and new parts a little off, as they are on other heads."""
    tables = tomllib.loads(JOB)
    lengths = [(owner, key) for owner, key in leaves(tables)
               if isinstance(owner[key], str) and owner[key].endswith(" mm")]  # fmt: skip
    for where, by in changes:
        owner, key = lengths[where % len(lengths)]
        then = Decimal(owner[key].removesuffix(" mm")) + Decimal(by) / 1000
        owner[key] = f"{max(then, Decimal(0)):f} mm"
    with tempfile.TemporaryDirectory() as folder:
        job = Path(folder) / "job.toml"
        job.write_text("\n".join(f"{toml(key)} = {toml(one)}" for key, one in tables.items()))
        words = ["--try", "2I cut seat 0.10 mm"] if how == "try" else ["--alternatives", "1"]
        held(*run("plan", job, "--json", *words))


@settings(max_examples=150)
@given(spoilt)
def test_spoilt_parts_are_paired_or_refused(changes: list[tuple[int, Any]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "parts.toml"
        file.write_text(spoil(HEAD, changes), encoding="utf-8")
        held(*run("pair", file, "--json"))


cells = st.sampled_from([str(one) for one in BITTER if isinstance(one, str | float)]) | texts


def spoilt_table(text: str, changes: list[tuple[int, str]]) -> str:
    rows = [line.split(",") for line in text.splitlines()]
    for where, cell in changes:
        row = rows[where % len(rows)]
        row[where % len(row)] = cell
    return "\n".join(",".join(row) for row in rows) + "\n"


changed_cells = st.lists(st.tuples(st.integers(0, 10**6), cells), min_size=1, max_size=3)


@settings(max_examples=150)
@given(changed_cells)
def test_a_spoilt_table_of_costs_is_paired_or_refused(changes: list[tuple[int, str]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "costs.csv"
        file.write_text(spoilt_table(COSTS, changes), encoding="utf-8")
        held(*run("pair", file, "--json"))


@settings(max_examples=150)
@given(changed_cells, spoilt | st.just([]))
def test_spoilt_readings_and_sheets_are_attributed_or_refused(
    changes: list[tuple[int, str]], sheet: list[tuple[int, Any]]
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        limits, readings = Path(folder) / "sheet.toml", Path(folder) / "readings.csv"
        limits.write_text(spoil(SHEET, sheet), encoding="utf-8")
        readings.write_text(spoilt_table(f"{HEADER}\n{WORN}", changes), encoding="utf-8")
        held(*run("fault", limits, readings, "--json"))


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return ready().write(tmp_path_factory.mktemp("record") / "job.sqlite").read_bytes()


@settings(max_examples=60)
@given(st.lists(st.tuples(st.integers(0, 10**6), st.integers(0, 255)), max_size=30),
       st.none() | st.integers(0, 100))  # fmt: skip
def test_a_damaged_record_is_read_or_refused(
    record: bytes, changes: list[tuple[int, int]], cut: int | None
) -> None:
    """Bytes changed anywhere, or the end of the file lost."""
    spoiled = bytearray(record)
    for where, value in changes:
        spoiled[where % len(spoiled)] = value
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "job.sqlite"
        file.write_bytes(spoiled if cut is None else spoiled[: len(spoiled) * cut // 100])
        held(*run("release", file, "--today", "2026-01-02", "--json"))


@pytest.mark.parametrize(
    ("kind", "change"),
    [
        ("reading-taken", {"gauge": "nobody's"}),
        ("reading-struck-out", {"struck": 10**15}),
    ],
)
def test_entries_that_contradict_each_other_are_a_damaged_record(
    kind: str, change: dict[str, Any], tmp_path: Path
) -> None:
    """Each of them can be read; that the record is damaged is said, with what to do."""
    documents = [to_document(event) for _, event in ready().record]
    if kind == "reading-taken":
        taken = next(one for one in documents if one["kind"] == kind)
        taken["tag"] = {**taken["tag"], **change}  # type: ignore[dict-item]
    else:
        stamp = {key: documents[1][key] for key in ("bench", "operator", "utc", "mono_ns")}
        documents.append({"kind": kind, "reason": "a chip", **stamp, **change})
    path = tmp_path / "job.sqlite"
    with SqliteStore.create(path, key=KEY) as store:
        store.append(documents)
    with pytest.raises(RecordError, match="contradict each other"):
        read_job(path)
