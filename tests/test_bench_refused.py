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


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as server:
        number: int = server.getsockname()[1]
        return number


class TestASheetThatContradictsItself:
    """A browser that is pointed at such a bench finds nobody; the terminal says why."""

    def refused(self, bench_file: Path) -> str:
        """Start the bench as a shop does; give the one sentence with which it refuses."""
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
    def test_it_starts_no_bench_and_leaves_nothing(self, bench_file: Path, name: str):
        """Each kind of contradiction is refused with its place."""
        self.spoil_and_start(bench_file, name)

    def test_the_record_of_a_job_that_a_good_sheet_began_stays(self, bench_file: Path):
        """The sheet was changed between two runs of one job."""
        file = benchfile.load(content.read_text(bench_file), str(bench_file))
        taken = take(file, Wanted())
        stamp = Stamp("2026-01-02T00:00:00.000000Z", 1, "A. Demo", "bench 1")
        gauges = [item.gauge for item in file.gauges]
        event = opened_event(stamp, taken.job, taken.sheet, gauges, "real")
        taken.store.append([to_document(event)])
        taken.leave()
        self.spoil_and_start(bench_file, "a minimum above the maximum")

    def spoil_and_start(self, bench_file: Path, name: str) -> None:
        """Have the sheet contradict itself; what is said then is wanted, and nothing else."""
        line, (old, new), words = CONTRADICTING[name]
        sheet = bench_file.parent / "sheet.toml"
        assert SHEET.count(old) == 1
        sheet.write_text(SHEET.replace(old, new), encoding="utf-8")
        before = on_disk(bench_file.parent)
        assert self.refused(bench_file).startswith(f"gaugelink: {sheet}, line {line}, {words}")
        assert on_disk(bench_file.parent) == before
