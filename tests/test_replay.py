"""A recording is played as it was recorded, at any speed, out of a text file or out of a record."""

from __future__ import annotations

import pytest
from bench_kit import ROCK, rocked, run, running, stem, sweep
from cable_kit import Sink, nothing_left
from hypothesis import given, strategies as st

from gaugelink import content
from gaugelink.capture.recording import NEW_RUN_NS, recording_of
from gaugelink.capture.sweeping import SweepRecorder, analyse_trace
from gaugelink.errors import InputError, RecordError
from gaugelink.event_documents import from_document
from gaugelink.events import (
    ReadingTaken,
    SweepTaken,
)
from gaugelink.ports.port import Chunk, Lost
from gaugelink.ports.replay import Recorded, ReplayPort, read_recording, write_recording
from gaugelink.wire.driver import load_driver

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")

S = 1_000_000_000
THREE = [Recorded(0, b"+ 1"), Recorded(S // 4, b".5 MM\r"), Recorded(90 * S, b"\xff")]


class Clock:
    """A clock that goes on only when somebody waits, and writes down for how long."""

    def __init__(self):
        self.now_ns = 7 * S
        self.waited: list[float] = []

    def mono_ns(self):
        return self.now_ns

    def wait(self, seconds):
        self.waited.append(seconds)
        self.now_ns += round(seconds * 1e9)


def play(recording, speed=1.0):
    """Play to the end; give what came, and the clock."""
    clock, sink = Clock(), Sink()
    port = ReplayPort("replay", recording, clock.mono_ns, speed=speed, wait=clock.wait)
    port.open(sink)
    came = []
    while not isinstance(item := sink.next(), Lost):
        came.append(item)
    port.close()
    assert item.why == "the recording is over"
    return came, clock


@pytest.mark.parametrize("speed", [0.5, 1.0, 10.0, 1e6])
def test_it_waits_as_the_speed_says_and_the_times_are_those_of_the_recording(speed):
    came, clock = play(THREE, speed)
    assert came == [Chunk(item.data, 7 * S + item.t_ns) for item in THREE]
    assert sum(clock.waited) == pytest.approx(90 / speed)


def test_closing_ends_a_long_wait_at_once():
    sink = Sink()
    port = ReplayPort("replay", [Recorded(0, b"a"), Recorded(10**6 * S, b"b")], lambda: 0)
    port.open(sink)
    assert sink.next().data == b"a"
    port.write(b"R\r")  # goes nowhere
    port.close()
    assert sink.rest() == []


def test_it_can_be_played_again():
    sink = Sink()
    clock = Clock()
    port = ReplayPort("replay", THREE, clock.mono_ns, wait=clock.wait)
    for _ in range(2):
        port.open(sink)
        assert [sink.next().data for _ in THREE] == [item.data for item in THREE]
        assert isinstance(sink.next(), Lost)
        port.close()


@pytest.mark.parametrize("speed", [0, -1, float("nan")])
def test_a_speed_that_is_none_is_refused(speed):
    with pytest.raises(InputError, match="accepted: more than 0"):
        ReplayPort("replay", THREE, lambda: 0, speed=speed)


@given(
    st.lists(
        st.tuples(st.integers(0, 10**12), st.binary(min_size=1, max_size=9)), min_size=1, max_size=9
    )
)
def test_what_is_written_is_read_again_exactly(portions):
    times = sorted(t for t, _ in portions)
    recording = [Recorded(t, data) for t, (_, data) in zip(times, portions, strict=True)]
    assert read_recording(write_recording(recording), "a.txt") == recording


def test_remarks_and_empty_lines_are_left_aside():
    text = "# a caliper\n\n0 30 31  # two digits\n 1.5\t0D\r\n"
    assert read_recording(text, "a.txt") == [Recorded(0, b"01"), Recorded(3 * S // 2, b"\r")]


@pytest.mark.parametrize(
    ("text", "line", "what"),
    [
        ("0.0 3", 1, "pairs of hexadecimal digits"),
        ("\n0.0", 2, "found '0.0'"),
        ("-1 30", 1, "found '-1 30'"),
        ("1,5 30", 1, "found '1,5 30'"),
        ("0.1234567891 30", 1, "seconds"),
        ("2 30\n1.5 31", 2, "found the time 1.5, accepted: not before 2.000000000"),
        ("# nothing\n", None, "no bytes are recorded in it"),
    ],
)
def test_a_bad_file_is_refused_with_its_line(text, line, what):
    with pytest.raises(InputError) as fault:
        read_recording(text, "a.txt")
    assert (fault.value.file, fault.value.line) == ("a.txt", line)
    assert what in fault.value.what


class TestRecord:
    """Out of a record of a real bench."""

    def test_what_it_holds_of_a_gauge_gives_the_same_values_and_the_same_sweep(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                await rig.press("M1", stem("7.964"))
                await rig.press("M1", stem("7.962"))
                await rig.bench.go(ROCK)
                rig.bench.sweep_start()
                await rig.rock(sweep())
                analysis = await rig.bench.sweep_stop()
                await rig.press("M1", stem("7.000"))  # nobody wants it: in the tray
                events = [from_document(entry.document) for entry in rig.store.entries()]

                drivers = {mark: channel.driver for mark, channel in rig.bench.channels.items()}
                pressed = recording_of(events, "M1", drivers["M1"])
                assert [item.data for item in pressed] == [
                    stem("7.964"), stem("7.962"), stem("7.000"),
                ]  # fmt: skip
                taken = [event for event in events if isinstance(event, ReadingTaken)]
                apart = taken[1].stamp.mono_ns - taken[0].stamp.mono_ns
                assert [item.t_ns for item in pressed[:2]] == [0, apart]

                rock = recording_of(events, "I1", drivers["I1"])
                assert b"".join(item.data for item in rock) == b"".join(map(rocked, sweep()))
                came, _ = play(rock, 50.0)
                recorder = SweepRecorder("I1", ROCK)
                decoder = drivers["I1"].decoder()
                for chunk in came:
                    for value in decoder.feed(chunk.data):
                        recorder.add(value, chunk.mono_ns)
                [kept] = [event for event in events if isinstance(event, SweepTaken)]
                assert recorder.trace() == kept.trace
                again = analyse_trace(recorder.trace(), rig.session.gauges["I1"].u_pm)
                assert again.travel_pm == analysis.travel_pm

                other = load_driver(*content.read("drivers", "signed-line"))
                with pytest.raises(RecordError, match="finds 0 in its bytes"):
                    recording_of(events, "I1", other)

        run(test())

    def test_a_new_start_of_the_program_is_played_as_one_second(self, tmp_path):
        async def test():
            async with running(tmp_path) as rig:
                rig.clock.pass_s(500)
                await rig.press("M1", stem("7.964"))
            async with running(tmp_path, reopen=True, job=False) as rig:
                await rig.press("M1", stem("7.962"))
                events = [from_document(entry.document) for entry in rig.store.entries()]
                driver = rig.bench.channels["M1"].driver
                times = [item.t_ns for item in recording_of(events, "M1", driver)]
                assert times == [0, NEW_RUN_NS]

        run(test())
