"""What comes down a port can be written down, and played into a bench again."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from cable_kit import Sink, make_cable, nothing_left

from gaugelink.errors import InputError, PortError
from gaugelink.ports.keeping import KeepingPort, Recording
from gaugelink.ports.naming import port_for
from gaugelink.ports.port import Chunk, Lost
from gaugelink.ports.replay import ReplayPort, read_recording
from gaugelink.ports.serial import Line

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["nothing_left"]

FIRST, SECOND = b"+  7.964 MM\r", b"+  7.962 MM\r"


def told_nothing(words: str) -> None:
    raise AssertionError(words)


@pytest.mark.usefixtures("nothing_left")
def test_what_a_gauge_sends_comes_through_and_plays_again_with_its_times(tmp_path: Path):
    now_ns = 5_000_000_000
    cable, file = make_cable(), tmp_path / "new folder" / "M1.txt"
    recording = Recording(file, "M1, invented", told_nothing)
    port = KeepingPort(port_for(cable.name, Line(), lambda: now_ns), recording)
    sink = Sink()
    port.open(sink)
    came = b""
    for frame in (FIRST, SECOND):
        cable.send(frame)
        while not came.endswith(frame):
            item = sink.next()
            assert isinstance(item, Chunk)
            came += item.data
        now_ns += 2_500_000_000
    port.write(b"R\r")
    assert cable.hear(2) == b"R\r"
    cable.pull()
    assert isinstance(sink.next(), Lost)
    port.close()

    text = file.read_text(encoding="utf-8")
    assert text.startswith("# M1, invented\n")
    assert "# lost: " in text
    assert {item.t_ns for item in read_recording(text, str(file))} == {0, 2_500_000_000}

    clock_ns = 0

    def passing() -> int:
        nonlocal clock_ns
        clock_ns += 1_000_000_000
        return clock_ns

    again = port_for(f"replay:{file}?speed=2.5", Line(), passing)
    assert isinstance(again, ReplayPort)
    heard, played = Sink(), b""
    again.open(heard)
    while isinstance(item := heard.next(), Chunk):
        played += item.data
    again.close()
    assert played == came
    assert item.why == "the recording is over"


def test_a_port_that_does_not_open_is_not_recorded(tmp_path: Path):
    file = tmp_path / "M1.txt"
    port = KeepingPort(
        port_for(str(tmp_path / "no port"), Line(), lambda: 0), Recording(file, "M1", told_nothing)
    )
    with pytest.raises(PortError, match="no port does not exist"):
        port.open(Sink())
    assert not file.exists()


def test_a_recording_that_cannot_be_written_is_told_once_and_the_gauge_is_read_on(tmp_path: Path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    told: list[str] = []
    recording = Recording(tmp_path / "file" / "M1.txt", "M1", told.append)
    recording.add(Chunk(FIRST, 0))
    recording.add(Chunk(SECOND, 1))
    [words] = told
    assert "no more is recorded in" in words
    assert "the gauge is read on" in words


def test_a_recording_ends_before_it_fills_the_disk(tmp_path: Path):
    told: list[str] = []
    recording = Recording(tmp_path / "M1.txt", "M1", told.append, most=200)
    for number in range(100):
        recording.add(Chunk(FIRST, number))
    assert len(told) == 1
    text = (tmp_path / "M1.txt").read_text(encoding="utf-8")
    assert 200 <= len(text) < 300
    assert read_recording(text, "M1.txt")


@pytest.mark.parametrize("speed", ["", "0", "0.0", "-1", "fast", "1e3", "inf"])
def test_a_speed_that_is_no_number_above_zero_is_refused(tmp_path: Path, speed: str):
    file = tmp_path / "a.txt"
    file.write_text("0.0  2b\n", encoding="utf-8")
    with pytest.raises(InputError, match="accepted: a number above 0"):
        port_for(f"replay:{file}?speed={speed}", Line(), lambda: 0)


def test_a_recording_that_is_not_there_is_named(tmp_path: Path):
    with pytest.raises(InputError, match=r"gone\.txt: cannot be read"):
        port_for(f"replay:{tmp_path / 'gone.txt'}", Line(), lambda: 0)
