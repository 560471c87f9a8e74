"""The command `bench` where its start is refused: one sentence, and the disk as it was before."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from gaugelink import benchfile, content
from gaugelink.commands.bench_job import Wanted, take
from gaugelink.commands.running import opened_event
from gaugelink.event_documents import to_document
from gaugelink.reading import Stamp

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import RunCli

BENCH = """\
[bench]
name = "bench 1"
operator = "A. Demo"
record = "kept/records"
page = 0
[job]
name = "D-0042"
head = "An invented head of one cylinder"
serial = "IP1-0001"
stage = "as received"
sheet = "sheet.toml"
[[gauge]]
id = "M1"
kind = "micrometer"
title = "Micrometer"
serial = "DEMO-2107"
driver = "signed-line"
u = "0.0019 mm"
calibration_due = 2999-12-31
port = "COM5"
"""

SHEET = """\
[sheet]
name = "Invented engine"
edition = "1"
source = "invented"
invented = true
[head]
cylinders = 1
valves = ["intake"]
[[limit]]
characteristic = "stem diameter"
service_min = "7.935 mm"
new_max = "7.975 mm"
source = "p. 1"
"""

LARGEST = 'characteristic = "stem diameter"\njudge = "largest"\nnew_max = "7.9 mm"'
CONTRADICTING = {
    "a minimum above the maximum": (
        12,
        ('"7.935 mm"', '"7.985 mm"'),
        "limit.1.new_max: found new_max 7.975 mm below service_min 7.985 mm",
    ),
    # 0.3142 in is 7.98068 mm; its rounding is 0.05 thousandth of an inch, 1.27 um.
    "millimetres and inches of two lengths": (
        12,
        ('"7.975 mm"', '["7.975 mm", "0.3142 in"]'),
        "limit.1.new_max: 7.975 mm and 0.3142 in differ by 5.7 um, more than rounding explains",
    ),
    "two limits that ask the same": (
        13,
        ("[[limit]]", '[[limit]]\ncharacteristic = "stem diameter"\nnew_max = "7.9 mm"\n[[limit]]'),
        "limit.2.characteristic: 'stem diameter' has such a limit already, on line 9",
    ),
    "two limits that exclude each other": (
        15,
        ("[[limit]]", f"[[limit]]\n{LARGEST}\n[[limit]]"),
        "limit.2.service_min: found service_min 7.935 mm, and the limit on line 9 has new_max 7.9",
    ),
}
"""The line of the fault, what is changed in the sheet, and what is said to that."""


@pytest.fixture(autouse=True)
def _key_of_its_own(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("GAUGELINK_HOME", str(tmp_path_factory.mktemp("home")))


@pytest.fixture
def bench_file(tmp_path: Path) -> Path:
    path = tmp_path / "bench.toml"
    path.write_text(BENCH, encoding="utf-8")
    (tmp_path / "sheet.toml").write_text(SHEET, encoding="utf-8")
    return path


def on_disk(folder: Path) -> dict[str, bytes | None]:
    """Everything in a folder, by name: the bytes of files, None for folders."""
    return {
        str(path.relative_to(folder)): None if path.is_dir() else path.read_bytes()
        for path in folder.rglob("*")
    }


def begun(bench_file: Path) -> None:
    """Begin the job, as a first run does."""
    file = benchfile.load(content.read_text(bench_file), str(bench_file))
    taken = take(file, Wanted())
    stamp = Stamp("2026-01-02T00:00:00.000000Z", 1, "A. Demo", "bench 1")
    gauges = [item.gauge for item in file.gauges]
    event = opened_event(stamp, taken.job, taken.sheet, gauges, "real")
    taken.store.append([to_document(event)])
    taken.leave()


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as server:
        number: int = server.getsockname()[1]
        return number


def refused_by_a_process(bench_file: Path) -> str:
    """Start the bench as a shop does; give the one sentence with which it refuses.

    A browser that is pointed at it finds nobody.
    """
    number = free_port()
    words = (sys.executable, "-m", "gaugelink", "bench", str(bench_file), "--port", str(number))
    ended = subprocess.run(words, capture_output=True, env=os.environ, timeout=60, check=False)
    said = ended.stderr.decode()
    assert (ended.returncode, ended.stdout) == (2, b""), said
    assert len(said.splitlines()) == 1, said
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", number), timeout=5)
    return said


@pytest.mark.parametrize("name", CONTRADICTING)
def test_a_sheet_that_contradicts_itself_starts_no_bench_and_leaves_nothing(
    bench_file: Path, name: str
):
    """Each kind of contradiction is refused with its place."""
    spoil_and_start(bench_file, name)


def test_the_record_of_a_job_stays_as_it_is_where_its_sheet_contradicts_itself_by_now(
    bench_file: Path,
):
    """The sheet was changed between two runs of one job."""
    begun(bench_file)
    spoil_and_start(bench_file, "a minimum above the maximum")


def spoil_and_start(bench_file: Path, name: str) -> None:
    """Have the sheet contradict itself; what is said then is wanted, and nothing else."""
    line, (old, new), words = CONTRADICTING[name]
    sheet = bench_file.parent / "sheet.toml"
    assert SHEET.count(old) == 1
    sheet.write_text(SHEET.replace(old, new), encoding="utf-8")
    before = on_disk(bench_file.parent)
    assert refused_by_a_process(bench_file).startswith(f"gaugelink: {sheet}, line {line}, {words}")
    assert on_disk(bench_file.parent) == before


def refused(run_cli: RunCli, bench_file: Path, *words: str) -> str:
    """Start the bench; give the one sentence with which it refuses, nothing being left."""
    before = on_disk(bench_file.parent)
    status, out, err = run_cli("bench", bench_file, *words)
    assert (status, out) == (2, "")
    assert len(err.splitlines()) == 1
    assert on_disk(bench_file.parent) == before
    return err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--earlier", "nowhere.sqlite"), "found nothing here, accepted: the file of a record"),
        (("--changed", "face"), "--changed: accepted only together with --earlier"),
        (("--sheet", "nowhere.toml"), "nowhere.toml: cannot be read"),
        (("--stage", "lapped"), "found the stage 'lapped', accepted: as received"),
        (("--port", "65536"), "--port: found 65536, accepted: 0 to 65535"),
    ],
)
def test_a_command_that_is_bad_leaves_nothing(
    run_cli: RunCli, bench_file: Path, words: tuple[str, ...], said: str
):
    assert said in refused(run_cli, bench_file, *words)


def test_a_page_port_that_is_taken_leaves_nothing(run_cli: RunCli, bench_file: Path):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        number = str(taken.getsockname()[1])
        assert f"cannot use port {number}" in refused(run_cli, bench_file, "--port", number)


def test_two_gauges_that_turn_out_to_be_on_one_port_leave_nothing(
    run_cli: RunCli, bench_file: Path
):
    """Two names of one port are found out when the cables are made, after the record."""
    folder = bench_file.parent
    (folder / "port").touch()
    try:
        (folder / "link").symlink_to(folder / "port")
    except OSError:
        pytest.skip("this system lets this user make no links")
    first = BENCH[BENCH.index("[[gauge]]") :].replace("COM5", (folder / "port").as_posix())
    second = first.replace('"M1"', '"M2"').replace(
        (folder / "port").as_posix(), (folder / "link").as_posix()
    )
    text = BENCH[: BENCH.index("[[gauge]]")] + first + second
    bench_file.write_text(text, encoding="utf-8")
    assert "the gauge M1 is on that already" in refused(run_cli, bench_file)


def test_a_price_file_that_is_bad_leaves_nothing(run_cli: RunCli, bench_file: Path):
    text = BENCH.replace("page = 0", 'page = 0\nprices = "nowhere.toml"')
    bench_file.write_text(text, encoding="utf-8")
    assert "nowhere.toml: cannot be read" in refused(run_cli, bench_file)


def test_a_key_that_cannot_be_read_leaves_nothing(
    run_cli: RunCli, bench_file: Path, monkeypatch: pytest.MonkeyPatch
):
    """The record cannot be made without a key, and its folder is made before it is."""
    home = bench_file.parent / "home"
    (home / "record-key.pem").mkdir(parents=True)
    monkeypatch.setenv("GAUGELINK_HOME", str(home))
    assert "the key cannot be read" in refused(run_cli, bench_file)


def test_a_folder_that_was_there_or_holds_something_stays(run_cli: RunCli, bench_file: Path):
    other = bench_file.parent / "kept" / "notes.txt"
    other.parent.mkdir()
    other.write_text("of somebody", encoding="utf-8")
    refused(run_cli, bench_file, "--changed", "face")
    other.unlink()
    refused(run_cli, bench_file, "--changed", "face")  # empty, and not ours


def test_a_job_that_was_begun_keeps_its_folder(bench_file: Path):
    begun(bench_file)
    assert (bench_file.parent / "kept" / "records" / "D-0042.sqlite").stat().st_size
