"""The demonstration: the whole job, on real streams, as a newcomer starts it."""

from __future__ import annotations

import json
import os
import socket
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from gaugelink import content
from gaugelink.wire.base import Value
from gaugelink.wire.driver import load_driver

if TYPE_CHECKING:
    from conftest import RunCli

Run = dict[str, Any]


def _demo(folder: Path, home: Path, *words: str) -> Run:
    done = subprocess.run(
        [sys.executable, "-m", "gaugelink", "demo", "--out", str(folder), "--json", *words],
        capture_output=True, text=True, timeout=120, check=False,
        env={**_environment(), "GAUGELINK_HOME": str(home)},
    )  # fmt: skip
    assert done.returncode == 1, done.stderr
    assert done.stderr == ""
    document: Run = json.loads(done.stdout)
    return document


def _environment() -> dict[str, str]:
    return dict(os.environ)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("home")


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory, home: Path) -> Run:
    return _demo(tmp_path_factory.mktemp("demo") / "out", home, "--seed", "7")


def _entries(run: Run) -> list[dict[str, Any]]:
    store = sqlite3.connect(run["store"])
    try:
        rows = store.execute("SELECT leaf FROM entries ORDER BY place").fetchall()
    finally:
        store.close()
    return [json.loads(row[0]) for row in rows]


def test_it_measures_every_place_of_the_plan(run: Run):
    # 72 stems, 72 bores, 12 stand-downs, 12 heights that springs are installed at, 24 lengths of
    # springs of which one is skipped, 21 points of the face. A zero check before and after each of
    # the first three, and of both that are measured with the caliper.
    assert run["readings"] == 72 + 72 + 12 + 12 + 23 + 21 + 4 * 2
    assert run["sweeps"] == 24


def test_the_worn_valves_are_found_and_the_sound_ones_are_not(run: Run):
    judged = _entries(run)[-1]
    assert judged["kind"] == "job-judged"
    outside = {
        (item["valve"], item["characteristic"])
        for item in judged["verdicts"]
        if item["verdict"] == "outside"
    }
    # What the scenario file wore out.
    assert {("3E", "guide clearance"), ("5E", "stem diameter"), ("4I", "spring free length")} <= (
        outside
    )
    assert not {valve for valve, _ in outside} & {"2E", "3I", "6I"}
    assert run["outside"] == sum(item["verdict"] == "outside" for item in judged["verdicts"])


def test_its_counts_are_those_of_the_record(run: Run):
    entries = _entries(run)
    assert run["head"]["size"] == len(entries)
    struck = {item["struck"] for item in entries if item["kind"] == "reading-struck-out"}
    good = [n for n, item in enumerate(entries) if item["kind"] == "reading-taken"]
    assert run["readings"] == len(set(good) - struck)


def test_the_slips_of_the_operator_are_on_record(run: Run):
    kinds = [item["kind"] for item in _entries(run)]
    assert kinds.count("reading-parked") == 2
    assert kinds.count("reading-refused") == 1
    assert kinds.count("position-skipped") == 1
    assert kinds.count("reading-struck-out") == 1
    unusable = [
        item for item in _entries(run) if item["kind"] == "sweep-taken" and not item["usable"]
    ]
    assert len(unusable) == 1
    assert unusable[0]["flags"]


def _doubts(run: Run) -> list[str]:
    """Why values lie in the tray that looked like a slip."""
    whys = [item["why"] for item in _entries(run) if item["kind"] == "reading-parked"]
    return [why for why in whys if why.startswith("looks like")]


def test_the_micrometer_in_inches_is_asked_about_and_no_other_reading_is(run: Run):
    [why] = _doubts(run)
    assert why.startswith("looks like a wrong unit: ")
    asked_for = "Intake valve of cylinder 4: stem diameter, middle, across the head"
    assert why.endswith(asked_for)
    entries = _entries(run)
    [taken] = [
        item
        for item in entries
        if item["kind"] == "reading-taken"
        and item["tag"]["position"]
        == {"valve": "4I", "characteristic": "stem diameter", "station": "middle",
            "direction": "across", "method": "", "lift": "", "valve_used": ""}
    ]  # fmt: skip
    assert taken["shown"]["unit"] == "mm"


def test_any_verdict_leads_back_to_the_bytes_it_came_from(run: Run):
    entries = _entries(run)
    drivers = {item["id"]: item["driver"] for item in entries[0]["gauges"]}
    followed = 0
    for verdict in entries[-1]["verdicts"]:
        assert verdict["places"]
        for place in verdict["places"]:
            entry = entries[place]
            driver = load_driver(*content.read("drivers", drivers[entry["tag"]["gauge"]]))
            decoder = driver.decoder()
            items = decoder.feed(bytes.fromhex(entry["raw"])) + decoder.end()
            values = [item for item in items if isinstance(item, Value)]
            if entry["kind"] == "sweep-taken":
                assert [value.shown.pm for value in values] == entry["trace"]["value_pm"]
            else:
                [value] = values
                assert value.shown.pm == entry["shown"]["pm"]
                assert value.shown.text == entry["shown"]["text"]
            assert entry["tag"]["position"]["valve"] == verdict["valve"]
            followed += 1
    assert followed > 200


def test_five_gauges_speak_five_wire_formats(run: Run):
    gauges = _entries(run)[0]["gauges"]
    assert len(gauges) == 5
    assert len({item["driver"] for item in gauges}) == 5


def test_store_and_report_verify_and_a_changed_one_does_not(run: Run, run_cli: Any, tmp_path: Path):
    for path in (run["store"], run["report"]):
        status, out, _ = run_cli("verify", path, "--json")
        found = json.loads(out)
        assert status == 0, found
        assert (found["size"], found["root"]) == (run["head"]["size"], run["head"]["root"])
    copy = tmp_path / "record.sqlite"
    source = sqlite3.connect(run["store"])
    target = sqlite3.connect(copy)
    source.backup(target)
    source.close()
    for (name,) in target.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'"):
        target.execute(f"DROP TRIGGER {name}")
    target.execute(
        "UPDATE entries SET leaf = CAST(replace(CAST(leaf AS TEXT), '7.9', '7.8') AS BLOB) "
        "WHERE place = 20"
    )
    target.commit()
    target.close()
    heads = Path(run["store"] + ".heads.jsonl")
    (tmp_path / "record.sqlite.heads.jsonl").write_bytes(heads.read_bytes())
    status, out, _ = run_cli("verify", copy, "--json")
    assert status == 1
    assert json.loads(out)["problems"]


def _timeless(entry: dict[str, Any]) -> dict[str, Any]:
    return {key: item for key, item in entry.items() if key not in {"utc", "port"}}


def test_the_same_seed_gives_the_same_readings_and_another_gives_others(
    run: Run, home: Path, tmp_path: Path
):
    again = _demo(tmp_path / "again", home, "--seed", "7")
    assert [_timeless(item) for item in _entries(again)] == [
        _timeless(item) for item in _entries(run)
    ]
    other = _demo(tmp_path / "other", home, "--seed", "8")
    assert len(_doubts(other)) == 1
    assert [item.get("shown") for item in _entries(other)] != [
        item.get("shown") for item in _entries(run)
    ]


def test_a_folder_with_a_record_is_not_written_over(run: Run, run_cli: Any):
    before = Path(run["store"]).read_bytes()
    status, out, err = run_cli("demo", "--out", Path(run["store"]).parent, "--json")
    assert status == 2
    assert out == ""
    assert "a record is never overwritten" in err
    assert len(err.splitlines()) == 1
    assert Path(run["store"]).read_bytes() == before


def test_a_folder_that_cannot_be_written_is_refused_before_anything_starts(
    tmp_path: Path, run_cli: Any
):
    (tmp_path / "file").write_text("", encoding="utf-8")
    status, out, err = run_cli("demo", "--out", tmp_path / "file" / "out", "--json")
    assert (status, out) == (2, "")
    assert "cannot be written to" in err
    assert len(err.splitlines()) == 1


def test_an_unknown_scenario_is_answered_with_the_ones_there_are(run_cli: Any, tmp_path: Path):
    status, out, err = run_cli("demo", "--out", tmp_path / "x", "--scenario", "nobody")
    assert (status, out) == (2, "")
    assert "demo-head" in err
    assert not (tmp_path / "x").exists()


def test_no_secret_key_travels_with_the_record(run: Run, home: Path):
    keys = list(home.rglob("*.pem"))
    assert keys
    for path in Path(run["store"]).parent.iterdir():
        assert b"PRIVATE KEY" not in path.read_bytes()


@pytest.fixture
def closing_lines(home: Path, tmp_path: Path) -> list[str]:
    done = subprocess.run(
        [sys.executable, "-m", "gaugelink", "demo", "--out", str(tmp_path / "plain")],
        capture_output=True, timeout=120, check=False,
        env={**_environment(), "GAUGELINK_HOME": str(home), "COLUMNS": "80",
             "PYTHONIOENCODING": "utf-8"},
    )  # fmt: skip
    assert done.returncode == 1, done.stderr.decode()
    return done.stdout.decode("utf-8").splitlines()


def test_the_closing_table_fits_eighty_columns_and_says_what_to_do_next(closing_lines: list[str]):
    text = "\n".join(closing_lines)
    assert max(len(line) for line in closing_lines if not line.startswith(("Report", "Record",
               "Check"))) <= 80  # fmt: skip
    assert "3E" in text
    assert "outside" in text
    assert "gaugelink verify" in text
    assert "What to do: " in text
    assert any(line.startswith("  4I    new spring") for line in closing_lines)


def test_a_dashboard_port_that_is_taken_leaves_nothing_behind(tmp_path: Path, run_cli: Any):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        number = taken.getsockname()[1]
        words = ("demo", "--serve", "--port", str(number), "--json", "--out", tmp_path / "out")
        status, out, err = run_cli(*words)
    assert (status, out) == (2, "")
    assert str(number) in err
    assert len(err.splitlines()) == 1
    assert not (tmp_path / "out").exists()


def test_its_record_can_be_planned(run: Run, run_cli: RunCli):
    """The worn parts of the scenario are dealt with, and nobody touches a sound guide or spring."""
    status, out, err = run_cli("plan", run["store"], "--prices", "demo-shop", "--json")
    found = json.loads(out)
    steps = {item["valve"]: set(item["steps"]) for item in found["valves"]}
    assert steps["3E"] & {"replace guide", "ream guide"}
    assert steps["5E"] & {"replace valve", "move valve"}
    assert "replace spring" in steps["4I"]
    guides = {name for name, what in steps.items() if what & {"replace guide", "ream guide"}}
    springs = {name for name, what in steps.items() if "replace spring" in what}
    assert guides <= {"3E", "6E"}  # a worn one, and one close to its limit
    # One is tired; one was not measured, but condemned by looking.
    assert springs == {"4I", "5I"}
    assert (status, found["missing"]) == (0, [])
    assert found["optimal"]
    assert err == ""


def test_its_record_is_written_as_a_job_file_that_gives_the_same_plan(
    run: Run, run_cli: RunCli, tmp_path: Path
):
    file = tmp_path / "job.toml"
    status, out, _ = run_cli("plan", run["store"], "--export", file)
    assert (status, out) == (0, "")
    words = ("--prices", "demo-shop", "--json", "--alternatives", "0")
    _, from_record, _ = run_cli("plan", run["store"], *words)
    status, from_file, _ = run_cli("plan", file, *words)
    assert status == 0
    one, two = json.loads(from_record), json.loads(from_file)
    for key in ("cost", "valves", "operations", "parts", "remeasure"):
        assert one[key] == two[key]
    status, _, err = run_cli("plan", file, "--export", tmp_path / "again.toml")
    assert (status, "--export" in err) == (2, True)
    status, _, err = run_cli("plan", run["store"], "--export", tmp_path / "x.toml",
                             "--order", tmp_path / "x.csv")  # fmt: skip
    assert (status, "alone" in err) == (2, True)
    assert not (tmp_path / "x.csv").exists()


def test_a_record_without_prices_is_refused(run: Run, run_cli: RunCli):
    status, out, err = run_cli("plan", run["store"])
    assert (status, out) == (2, "")
    assert "--prices" in err
