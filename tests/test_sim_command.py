"""The command `sim` offers gauges on real ports that any program can read."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from cable_kit import PATIENCE_S, Sink, nothing_left

from gaugelink import content
from gaugelink.ports.naming import port_for
from gaugelink.ports.port import Chunk
from gaugelink.ports.serial import Line
from gaugelink.wire.base import Value
from gaugelink.wire.driver import load_driver

__all__ = ["nothing_left"]

TOP = Path(__file__).resolve().parents[1]


@contextlib.contextmanager
def offered(*words: str, scenario: str = "demo-head"):
    """The command at work, in a process of its own as any user has it; ended by Ctrl-C."""
    environment = {**os.environ, "PYTHONWARNINGS": "error"}
    if "GAUGELINK_WHEEL" not in os.environ:
        environment["PYTHONPATH"] = str(TOP)
    process = subprocess.Popen(
        [sys.executable, "-m", "gaugelink", "sim", scenario, *words],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        encoding="utf-8", env=environment,
    )  # fmt: skip
    try:
        yield process
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=PATIENCE_S)
        assert process.returncode == 0, err
        process.said = (out, err)
    finally:
        if process.poll() is None:
            process.kill()
            process.communicate()


def values_of(row, count, request=b""):
    """Read so many values with a port and a driver of ours."""
    driver = load_driver(*content.read("drivers", row["driver"]))
    decoder = driver.decoder()
    sink = Sink()
    port = port_for(row["port"], Line(), lambda: 0)
    port.open(sink)
    found = []
    while len(found) < count:
        if request:
            port.write(request)
        chunk = sink.next()
        assert isinstance(chunk, Chunk)
        found += [item.shown for item in decoder.feed(chunk.data) if isinstance(item, Value)]
    port.close()
    return found


needs_interrupts = pytest.mark.skipif(
    sys.platform == "win32", reason="this system cannot send Ctrl-C to one process alone"
)


@needs_interrupts
@pytest.mark.usefixtures("nothing_left")
def test_a_gauge_is_put_on_its_master_for_a_check_of_its_zero_and_pressed_by_nobody_else():
    """What the bench page asks for first; the depth gauge's master is 0 on the shipped head."""
    with offered("--json", "--every", "0") as process:
        rows = json.loads(process.stdout.readline())["gauges"]

        def typed(text: str) -> str:
            process.stdin.write(text + "\n")
            process.stdin.flush()
            return process.stderr.readline().strip()

        micrometer = next(row["port"] for row in rows if row["gauge"] == "M1")
        port, sink = port_for(micrometer, Line(), lambda: 0), Sink()
        port.open(sink)
        assert typed("M1 0") == "M1 pressed at 0.000 mm"
        assert typed("m1").startswith("M1 pressed at 7.9")
        came = b""
        while came.count(b"\r") < 2:
            came += sink.next().data
        port.close()
        assert came.split(b"\r")[0] == b"+   0.000 MM"
        assert came.split(b"\r")[1].startswith(b"+   7.9")
        assert typed("D1 0").startswith("D1 rests on its master at 0.00 mm")
        asked = values_of(next(row for row in rows if row["gauge"] == "D1"), 1, b"R\r")
        assert [one.pm for one in asked] == [0]
        assert typed("D1") == "D1 goes on from place to place"
        assert typed("D1") == "D1 has no button: it speaks when asked"
        assert typed("M1 7") == "found 'M1 7', accepted: M1, or M1 0 for its master"


@needs_interrupts
@pytest.mark.usefixtures("nothing_left")
def test_every_gauge_can_be_read_with_the_driver_that_the_table_names():
    with offered("--json", "--every", "0.05") as process:
        rows = json.loads(process.stdout.readline())["gauges"]
        assert [row["gauge"] for row in rows] == ["M1", "B1", "D1", "C1", "I1"]
        within_mm = {"M1": (7.8, 8.1), "B1": (7.9, 8.2), "D1": (0.5, 2.5), "C1": (39.0, 49.0)}
        for row in rows:
            request = b"R\r" if row["speaks"] == "when asked" else b""
            for shown in values_of(row, 3, request):
                low, high = within_mm.get(row["gauge"], (-2.0, 2.0))
                assert low < shown.pm / 1e9 < high, (row, str(shown))
    assert process.said == ("", "")


@needs_interrupts
@pytest.mark.usefixtures("nothing_left")
def test_typing_a_mark_presses_that_gauge_and_another_word_is_answered():
    with offered("--json", "--every", "100000") as process:
        rows = {row["gauge"]: row for row in json.loads(process.stdout.readline())["gauges"]}
        port, sink = port_for(rows["M1"]["port"], Line(), lambda: 0), Sink()
        port.open(sink)
        process.stdin.write("nobody\nC1\nm1\n")
        process.stdin.flush()
        said = [process.stderr.readline() for _ in range(3)]
        assert said[0] == "found 'nobody', accepted: M1, B1, D1, C1, I1\n"
        assert said[1] == "C1 has no button: it speaks all the time\n"
        assert said[2].startswith("M1 pressed at 7.9")
        assert rows["D1"]["asked_with"] == r"R\r"
        came = b""
        while not came.endswith(b"\r"):
            came += sink.next().data
        assert came.startswith(b"+   7.9")
        port.close()


@needs_interrupts
def test_without_json_there_is_a_table():
    with offered() as process:
        head = process.stdout.readline().split()
        assert head == ["gauge", "title", "port", "driver", "speaks"]
        assert process.stdout.readline().startswith("M1 ")


@needs_interrupts
def test_what_goes_wrong_with_each_gauge_is_said():
    with offered(scenario="faulty-bench") as process:
        lines = [process.stdout.readline() for _ in range(12)]
        assert "B1 goes wrong: bit flip at every 4th frame\n" in lines
        assert "D1 is asked with R\\r\n" in lines


@needs_interrupts
def test_a_gauge_whose_cable_was_out_says_where_it_is_now(tmp_path):
    """The text is that of the shipped scenario, with the cable pulled at the second frame."""
    text, _ = content.read("sim", "faulty-bench")
    assert text.count("every = 23\n") == 1
    file = tmp_path / "mine.toml"
    file.write_text(text.replace("every = 23\n", "every = 2\n"), encoding="utf-8")
    with offered("--json", "--every", "0.05", scenario=str(file)) as process:
        rows = {row["gauge"]: row for row in json.loads(process.stdout.readline())["gauges"]}
        words, _, name = process.stderr.readline().rpartition(" ")
        assert words == "M1 is back on"
        assert name.strip() not in {row["port"] for mark, row in rows.items() if mark != "M1"}


def test_a_bad_scenario_or_time_is_refused(run_cli):
    status, out, err = run_cli("sim", "nowhere")
    assert (status, out) == (2, "")
    assert "demo-head" in err
    status, out, err = run_cli("sim", "demo-head", "--every", "-1")
    assert (status, out) == (2, "")
    assert "--every: found -1, accepted: 0 or more" in err
