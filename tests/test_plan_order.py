"""A work order as files: tables for a spreadsheet, a sheet for the bench."""

from __future__ import annotations

import csv
import io
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, strategies as st

from gaugelink.commands.plan_file import load_task
from gaugelink.commands.plan_order import ORDER_HEADER, cell, order_csv, parts_csv
from gaugelink.planning.order import WorkOrder, work_order
from gaugelink.planning.plan import Plan, plan
from gaugelink.report.order import order_pdf

PAGE = Path(__file__).parents[1] / "docs" / "planning.md"
JOB = re.findall(r"```toml\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)[0]


def made(text: str = JOB) -> WorkOrder:
    task = load_task(text, "job.toml")
    found = plan(task)
    assert isinstance(found, Plan)
    return work_order(task, found)


def read(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_the_tables_come_back_through_the_csv_module():
    """Every line and every part is a row, depths as plain decimals."""
    order = made()
    rows = read(order_csv(order))
    assert tuple(rows[0]) == ORDER_HEADER
    assert len(rows) == len(order.lines) + len(order.remeasure)
    done = [row for row in rows if row["line"]]
    assert [(row["line"], row["operation"], row["why"]) for row in done] == [
        (str(line.number), line.operation, line.why) for line in order.lines
    ]
    assert [done[2][name] for name in ("depth mm", "least mm", "most mm")] == [
        "0.080", "0.080", "0.135"]  # fmt: skip
    assert [(row["part"], row["quantity"], row["valves"]) for row in read(parts_csv(order))] == [
        ("guide", "1", "2I"), ("stem seal", "2", "1I, 2I"), ("shim 0.381 mm", "1", "2I"),
    ]  # fmt: skip


def test_a_new_guide_s_bore_is_measured_between_guides_and_seats():
    """A bore closes as its guide is pressed in, and the seat is cut on its axis."""
    rows = read(order_csv(made()))
    told = [(row["section"], row["what to do"]) for row in rows]
    at = told.index(("guides", "Measure guide bore, before any seat work"))
    assert {section for section, _ in told[:at]} == {"guides"}
    assert "seats" in {section for section, _ in told[at:]}
    assert sum("Measure guide bore" in words for _, words in told) == 1
    assert rows[at]["why"] == "guide replaced"


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t=", "\r@", " +", "\uff1d"])
def test_a_name_that_looks_like_a_formula_is_no_formula(start: str):
    """What a spreadsheet may reckon with gets an apostrophe before it."""
    order = made()
    hostile = replace(order.lines[0], place=f"{start}cmd|' /C calc'!A0")
    [row, *_] = read(order_csv(replace(order, lines=(hostile,))))
    assert row["valve"].startswith("'")


@given(st.text())
def test_no_cell_starts_a_formula(text: str):
    """Whatever stands in a job file: a cell is one line, and a formula only if it is a number."""
    shown = cell(text)
    assert "\n" not in shown
    assert "\r" not in shown
    if shown.startswith(("=", "+", "-", "@")):
        assert re.fullmatch(r"[+-][0-9]+(\.[0-9]+)?", shown)


def test_the_sheet_says_all_that_the_bench_needs(tmp_path: Path):
    """Cost, standing, lines, parts, shims, readings and cautions are on the sheet."""
    if shutil.which("pdftotext") is None:
        pytest.skip("reading the sheet back needs pdftotext")
    path = tmp_path / "order.pdf"
    path.write_bytes(order_pdf(made().as_document(), invented=True))
    found = subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, check=True)
    words = " ".join(found.stdout.decode("utf-8").split())
    for part in ("INVENTED DATA", "49.10 EUR", "no plan is cheaper", "Guides", "Valves", "Seats",
                 "Lapping", "Springs and shims", "Parts", "Measure again", "0.080 to 0.135",
                 "Done by", "Actual depth", "always new", "0.381", "liquid nitrogen",
                 "maker come first"):  # fmt: skip
        assert part in words, part


def test_the_same_order_gives_the_same_bytes_and_other_texts_are_no_markup():
    """No clock stands in the file, and a hostile name is only printed."""
    told = made().as_document()
    assert order_pdf(told) == order_pdf(told)
    assert b"pdfaid" in order_pdf({**told, "name": '#panic("x") $ ] \x00 \u4e2d *'})


def test_the_command_writes_what_is_asked_for(run_cli, tmp_path: Path):
    """An older file is replaced, and nothing unfinished stays behind."""
    job = tmp_path / "job.toml"
    job.write_text(JOB, encoding="utf-8")
    files = [tmp_path / name for name in ("order.csv", "parts.csv", "order.pdf")]
    files[0].write_text("old")
    status, _, err = run_cli("plan", str(job), "--alternatives", "0", "--order", str(files[0]),
                   "--parts", str(files[1]), "--pdf", str(files[2]))  # fmt: skip
    assert status == 0, err
    assert files[0].read_bytes().startswith(b"\xef\xbb\xbfline,")
    assert files[2].read_bytes().startswith(b"%PDF-")
    assert sorted(tmp_path.iterdir()) == sorted([job, *files])


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--order", "x.txt"], "ends with .csv"),
        (["--pdf", "x.csv"], "ends with .pdf"),
        (["--order", "x.csv", "--parts", "x.csv"], "a file of its own"),
        (["--order", "x.csv", "--try", "2I lap"], "one of them"),
        (["--order", "nowhere/x.csv"], "cannot be written"),
        (["--order", "x.csv", "--parts", "y.csv", "--pdf", "nowhere/x.pdf"], "cannot be written"),
    ],
)
def test_a_bad_file_name_is_said_in_a_sentence(words, said, run_cli, tmp_path: Path, monkeypatch):
    """And nothing is written."""
    monkeypatch.chdir(tmp_path)
    Path("job.toml").write_text(JOB, encoding="utf-8")
    status, _, err = run_cli("plan", "job.toml", *words)
    assert status == 2
    assert said in err
    assert [path.name for path in tmp_path.iterdir()] == ["job.toml"]
