"""The command `bench` as a shop runs it: real ports, a page, cables that come and go, Ctrl-C."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from bench_kit import stem
from cable_kit import PATIENCE_S, make_cable, nothing_left

from gaugelink.ports.replay import read_recording
from gaugelink.web.guard import PAGE_HEADER

__all__ = ["nothing_left"]

MOST_BEATS = 10
"""Signs of life in a row after which a page gives up waiting for what must come."""

TOP = Path(__file__).resolve().parents[1]

pytestmark = [
    pytest.mark.usefixtures("nothing_left"),
    pytest.mark.skipif(
        sys.platform == "win32", reason="this system cannot send Ctrl-C to one process alone"
    ),
]

SHEET = """\
[sheet]
name = "Invented engine"
edition = "1"
source = "invented"
invented = true
[head]
cylinders = 1
valves = ["intake", "exhaust"]
[[limit]]
characteristic = "stem diameter"
new_max = "7.975 mm"
service_min = "7.935 mm"
source = "p. 1"
[[limit]]
characteristic = "stand-down"
service_max = "1.60 mm"
source = "p. 2"
"""

BENCH = """\
[bench]
name = "bench 1"
operator = "A. Demo"
record = "records"
page = 0
{more}
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
calibration_due = 2020-03-31
port = "{micrometer}"
[[gauge]]
id = "D1"
kind = "depth gauge"
title = "Depth gauge"
serial = "DEMO-0888"
driver = "plain-line"
u = "0.0085 mm"
calibration_due = 2999-12-31
port = "{depth_gauge}"
"""


class Page:
    """A page without a browser: it watches the stream of states, and asks for actions."""

    def __init__(self, url):
        self._address = urlsplit(url).netloc

    def until(self, is_so):
        """Wait for a state of which something is so, and give it."""
        beats, event, last = 0, "", None
        with contextlib.closing(self._connect()) as web:
            web.request("GET", "/events")
            answer = web.getresponse()
            while beats < MOST_BEATS and (line := answer.readline().decode()):
                name, _, text = line.rstrip("\n").partition(": ")
                if name == "event":
                    event = text
                    beats += event == "beat"
                elif name == "data" and event == "state":
                    last = json.loads(text)
                    if is_so(last):
                        return last
        raise AssertionError(last)

    def _connect(self):
        return http.client.HTTPConnection(self._address, timeout=PATIENCE_S)

    def act(self, **action):
        """Ask for an action; give what the bench says, which must be yes."""
        with contextlib.closing(
            http.client.HTTPConnection(self._address, timeout=PATIENCE_S)
        ) as web:
            body = json.dumps(action)
            web.request(
                "POST", "/act", body, {"Content-Type": "application/json", PAGE_HEADER: "1"}
            )
            answer = web.getresponse()
            said = json.loads(answer.read())
            assert answer.status == 200, said
            return said["words"]

    def until_done(self, count):
        """Wait until so many steps have a reading."""
        return self.until(lambda state: state["progress"]["done"] == count)

    def until_gauge(self, mark, wanted):
        """Wait until a gauge is in a state."""
        return self.until(
            lambda state: {g["id"]: g["state"] for g in state["gauges"]}[mark] == wanted
        )


class Shop:
    """A folder with a bench file, and what is run in it."""

    def __init__(self, folder, **ports):
        self.folder = folder
        self.file = folder / "bench.toml"
        (folder / "sheet.toml").write_text(SHEET, encoding="utf-8")
        self.file.write_text(BENCH.format(**ports), encoding="utf-8")
        self.environment = {
            **os.environ, "PYTHONWARNINGS": "error", "GAUGELINK_HOME": str(folder / "home"),
        }  # fmt: skip
        if "GAUGELINK_WHEEL" not in os.environ:
            self.environment["PYTHONPATH"] = str(TOP)

    def start(self, *words):
        """Start a command in a process of its own, as any user has it."""
        return subprocess.Popen(
            [sys.executable, "-m", "gaugelink", *map(str, words)],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8",
            env=self.environment,
        )  # fmt: skip

    def run(self, *words):
        """Run a command to its end; give its status, output and errors."""
        process = self.start(*words)
        out, err = process.communicate(timeout=PATIENCE_S)
        return process.returncode, out, err

    @contextlib.contextmanager
    def bench(self, ended_by, status):
        """Run the bench; give its page, what it has said so far, and at the end its document."""
        process = self.start("bench", self.file, "--json")
        try:
            said, document = [], {}
            while not (line := process.stderr.readline()).startswith("The bench page is at "):
                assert line, process.communicate()
                said.append(line.rstrip("\n"))
            yield Page(line.split()[5]), said, document
            process.send_signal(ended_by)
            out, err = process.communicate(timeout=PATIENCE_S)
            assert process.returncode == status, err
            said += err.splitlines()
            document.update(json.loads(out))
        finally:
            if process.poll() is None:
                process.kill()
            process.communicate()

    def is_whole(self, document):
        """Whether the record verifies, and is the one that the document tells of."""
        status, out, err = self.run("verify", document["record"], "--json")
        assert status == 0, out + err
        found = json.loads(out)
        return (found["size"], found["root"]) == (
            document["head"]["size"],
            document["head"]["root"],
        )


def entries(record):
    """What stands in a record."""
    with contextlib.closing(sqlite3.connect(record)) as store:
        return [json.loads(row[0]) for row in store.execute("SELECT leaf FROM entries")]


def plug(link, cable):
    """Give a port another device, as the system does with its links to adapters."""
    link.unlink(missing_ok=True)
    link.symlink_to(cable.name)


def test_a_day_at_the_bench(tmp_path):
    micrometer, depth = tmp_path / "micrometer", tmp_path / "depth-gauge"
    first, second, third = make_cable(), make_cable(), make_cable()
    plug(micrometer, first)
    shop = Shop(tmp_path, micrometer=micrometer, depth_gauge=depth, more="")

    with shop.bench(signal.SIGINT, status=1) as (page, said, document):
        assert any(line.startswith("Depth gauge is not here: ") for line in said)
        assert any(
            "M1 (Micrometer): its calibration was due on 2020-03-31" in line for line in said
        )
        state = page.until_gauge("M1", "here")
        assert state["next"]["words"] == "Intake valve of cylinder 1: stem diameter"
        assert any("not here" in message["words"] for message in state["messages"])

        # The first frame ends what may have been half a line before the port was opened.
        first.send(b"\r" + stem("7.964"))
        page.until_done(1)

        # The cable comes out, and back under another name.
        assert second.name != first.name
        plug(micrometer, second)
        first.pull()
        page.until_gauge("M1", "back, confirm the position")
        second.send(b"\r" + stem("7.950"))
        assert len(page.until(lambda state: state["tray"])["tray"]) == 1
        assert page.act(do="confirm-position").startswith("M1 confirmed")
        second.send(stem("7.951"))
        page.until_done(2)

        # Another program is told that the record is taken, and does no harm.
        status, out, err = shop.run("bench", shop.file, "--json")
        assert (status, out) == (2, "")
        assert "open in another program" in err

        # The gauge that was not there is taken when it comes.
        plug(depth, third)
        page.until_gauge("D1", "back, confirm the position")
        page.act(do="confirm-position")
        page.act(do="take", gauge="D1")
        assert third.hear(2) == b"R\r"
        third.send(b"\r 1.25\r")
        page.until_done(3)
        page.act(do="skip", reason="the seat is not cut yet")
        page.until(lambda state: state["finished"])

    assert (document["readings"], document["within"]) == (3, 3)
    assert document["not_measured"] == ["1E stand-down"]
    assert shop.is_whole(document)

    # The next day it goes on where it stood; the micrometer has been calibrated meanwhile.
    text = shop.file.read_text(encoding="utf-8")
    shop.file.write_text(text.replace("2020-03-31", "2998-03-31"), encoding="utf-8")
    with shop.bench(signal.SIGTERM, status=0) as (page, said, again):
        assert said == []
        state = page.until(lambda _state: True)
        assert (state["progress"]["done"], state["progress"]["skipped"]) == (3, 1)
        assert state["finished"]
        assert len(state["tray"]) == 1
        page.act(do="go", step=3)
        page.act(do="take", gauge="D1")
        assert third.hear(2) == b"R\r"
        third.send(b"\r 1.20\r")
        page.until_done(4)
    assert (again["readings"], again["not_measured"]) == (4, [])
    assert again["head"]["size"] > document["head"]["size"]
    assert shop.is_whole(again)
    opened = [entry for entry in entries(again["record"]) if entry["kind"] == "job-opened"]
    assert [event["gauges"][0]["calibration_due"] for event in opened] == [
        "2020-03-31", "2998-03-31",
    ]  # fmt: skip
    second.pull()
    third.pull()

    report = tmp_path / "report.pdf"
    status, out, err = shop.run("bench", shop.file, "--report", report, "--json")
    assert (status, err) == (0, "")
    assert json.loads(out)["within"] == 4
    assert shop.run("verify", report)[0] == 0


def test_a_recorded_session_is_played_into_a_bench_and_recorded_again(tmp_path):
    """What the gauges sent is made up: two stems measured two seconds apart, at tenfold speed."""
    (tmp_path / "micrometer.txt").write_text(
        f"0.0  0d\n2.0  {stem('7.964').hex(' ')}\n4.0  {stem('7.951').hex(' ')}\n", "utf-8"
    )
    depth = make_cable()
    shop = Shop(
        tmp_path, micrometer="replay:micrometer.txt?speed=10", depth_gauge=depth.name,
        more='keep_bytes = "bytes"',
    )  # fmt: skip
    with shop.bench(signal.SIGINT, status=1) as (page, _, document):
        page.until_done(2)
        page.until_gauge("M1", "lost")
    depth.pull()
    assert document["readings"] == 2
    assert shop.is_whole(document)
    [kept] = (tmp_path / "bytes").iterdir()
    text = kept.read_text(encoding="utf-8")
    assert "M1 on bench 1, job D-0042" in text
    assert read_recording(text, kept.name) == read_recording(
        (tmp_path / "micrometer.txt").read_text(encoding="utf-8"), "micrometer.txt"
    )


def test_the_simulated_gauges_can_be_put_on_a_bench(tmp_path):
    shop = Shop(tmp_path, micrometer="none", depth_gauge="none", more="")
    shop.file = tmp_path / "simulated.toml"
    sim = shop.start("sim", "demo-head", "--json", "--every", "0.2", "--bench", shop.file)
    try:
        assert sim.stdout.readline()
        with shop.bench(signal.SIGINT, status=1) as (page, said, document):
            page.until(lambda state: {g["state"] for g in state["gauges"]} == {"here"})
            # The hand of the simulation knows nothing of what is asked for here; what it presses is
            # taken or waits in the tray.
            page.until(lambda state: state["readings"])
        assert not [line for line in said if "not here" in line or "cannot" in line]
        assert shop.is_whole(document)
        status, out, err = shop.run("sim", "demo-head", "--bench", shop.file)
        assert (status, out) == (2, "")
        assert "this file exists" in err
    finally:
        sim.send_signal(signal.SIGINT)
        sim.communicate(timeout=PATIENCE_S)
    assert sim.returncode == 0
