"""Each fault that gauges, cables and computers have in practice, and what the bench makes of it.

Bytes go through a pseudo-terminal into the whole bench and its record. `docs/faults.md` lists the
faults in the same order; those that have their test elsewhere are named there.
"""

from __future__ import annotations

import pytest
from bench_kit import (
    ROCK,
    SPRING,
    STEM,
    make_rig,
    open_job,
    put_away,
    rocked,
    run,
    running,
    spring,
    stem,
    sweep,
)
from cable_kit import make_cable, needs_terminals, nothing_left

from gaugelink import content
from gaugelink.capture.actions import act
from gaugelink.capture.channel import line_of
from gaugelink.deeds import Skip
from gaugelink.errors import PortError, SessionError
from gaugelink.event_documents import from_document
from gaugelink.events import (
    BatteryTold,
    SweepTaken,
    ZeroDoubted,
)
from gaugelink.ports.serial import SerialPort
from gaugelink.wire.driver import load_driver

pytestmark = [pytest.mark.usefixtures("nothing_left"), needs_terminals]
__all__ = ["nothing_left"]

FLAGGED = r"""
[driver]
name = "flagged"
title = "Sign, number, unit, B while the battery is low"
gauges = ["indicator"]
sends = "all the time"
[port]
kind = "serial"
[frame]
codec = "line"
ends_with = "\n"
pattern = '(?P<sign>[+-])(?P<digits>\d+\.\d+)(?P<unit>M)(?P<battery>B?)'
pause = "500 ms"
[frame.units]
M = "mm"
[frame.batteries]
B = "battery low"
[[example]]
bytes = "+0.012MB\n"
value = "0.012"
unit = "mm"
notes = ["battery low"]
"""


def shown(rig) -> list[str]:
    return [item.shown.text for item in rig.session.readings()]


def tray(rig) -> list[tuple[str, str]]:
    return [(entry.event.shown.text, entry.event.why) for entry in rig.session.tray()]


def state_of(rig, mark: str) -> dict:
    return next(one for one in rig.view().gauges() if one["id"] == mark)


def on_record(rig, kind: type) -> list:
    events = [from_document(entry.document) for entry in rig.store.entries()]
    return [event for event in events if isinstance(event, kind)]


async def replug(rig, mark: str) -> None:
    """Pull a cable and plug it in again, under whatever name the system gives it."""
    cable = rig.bench.cable_of(mark)
    rig.cables[mark].pull()
    await rig.until(lambda: mark in rig.session.lost)
    rig.cables[mark] = make_cable()
    line = line_of(rig.bench.channels[mark].driver)
    cable.plug = lambda name: SerialPort(name, line, rig.clock.mono_ns)
    await rig.bench.found(cable, rig.cables[mark].name)
    rig.sent[mark] = cable.bytes_in
    rig.clock.pass_s(1)


async def hold(rig, hundredths: int, samples: int) -> None:
    """Let the caliper send the same figure, eight times a second."""
    for _ in range(samples):
        rig.clock.pass_s(0.125)
        rig.send("C1", spring(hundredths))
        await rig.heard("C1")


def test_noise_and_flipped_bits_are_dropped_and_counted_and_the_link_says_so(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            for number in range(20):
                good = stem(f"7.9{number:02d}")
                await rig.press("M1", b"\x00\xff" + good if number % 2 else good)
            flipped = stem("7.964").replace(b"7", bytes([ord("7") ^ 0x40]))
            await rig.press("M1", flipped)
            cable = rig.bench.cable_of("M1")
            kept = shown(rig) + [text for text, _ in tray(rig)]
            assert set(kept) <= {f"7.9{number:02d}" for number in range(0, 20, 2)}
            assert cable.noise_bytes == 10 * (2 + 12) + 12
            assert state_of(rig, "M1")["link"] == f"{round(100 * 152 / cable.bytes_in)} % noise"
            assert state_of(rig, "C1")["link"] == ""
            seen = rig.bench.version
            await rig.press("M1", b"\xff" * 60 + b"\r")
            assert rig.bench.version > seen, "the page is told, though nothing went on record"

    run(test())


def test_half_a_frame_is_dropped_and_never_completed_from_the_next_one(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.press("M1", stem("7.964")[:7])  # the gauge switched itself off
            await rig.press("M1", stem("7.963"))  # could be the rest of it, after a pause
            await rig.press("M1", stem("7.962"))
            assert shown(rig) == ["7.962"]
            assert rig.bench.cable_of("M1").noise_bytes == 7 + 12

    run(test())


@pytest.mark.parametrize("sent", ["with each value", "as a reply"])
def test_a_low_battery_is_told_and_on_record_and_no_sweep_is_recorded_until_it_is_good(
    tmp_path, sent
):
    async def test():
        flagged = load_driver(FLAGGED, "flagged.toml")
        replies = load_driver(*content.read("drivers", "flag-line"))
        driver = flagged if sent == "with each value" else replies
        low, good = (b"+0.012MB\n", b"+0.012M\n") if driver is flagged else (b"B0\r\n", b"B1\r\n")
        rig = make_rig(tmp_path, drivers={"I1": driver})
        async with running(tmp_path, rig=rig):
            await rig.bench.go(ROCK)
            for _ in range(3):
                await rig.press("I1", low)
            [told] = on_record(rig, BatteryTold)
            assert (told.gauge, told.low) == ("I1", True)
            assert "I1 says battery low" in rig.audience.warnings()[0]
            assert len(rig.audience.warnings()) == 1
            assert state_of(rig, "I1")["state"] == "battery low"
            with pytest.raises(SessionError, match="Indicator: its battery is low"):
                rig.bench.sweep_start()
            await rig.press("I1", good)
            assert state_of(rig, "I1")["state"] == "here"
            rig.bench.sweep_start()

    run(test())


def test_a_sweep_in_which_the_battery_goes_low_is_kept_and_not_used(tmp_path):
    async def test():
        rig = make_rig(tmp_path, drivers={"I1": load_driver(FLAGGED, "flagged.toml")})
        async with running(tmp_path, rig=rig):
            await rig.bench.go(ROCK)
            rig.bench.sweep_start()
            for number, um in enumerate(sweep()):
                rig.clock.pass_s(0.1)
                sign = "-" if um < 0 else "+"
                flag = "B" if number > 30 else ""
                rig.send("I1", f"{sign}{abs(um) / 1000:.3f}M{flag}\n".encode())
                await rig.heard("I1")
            await rig.bench.sweep_stop()
            [event] = on_record(rig, SweepTaken)
            assert not event.usable
            assert "battery is low" in event.flags[0]
            assert rig.session.cursor == ROCK

    run(test())


def test_a_unit_that_is_changed_at_the_gauge_stops_the_work_and_is_asked_about(tmp_path):
    async def test():
        async with running(tmp_path, watchful=True) as rig:
            await rig.press("M1", stem("7.964"))
            await rig.press("M1", b"+ 0.31350 IN\r")  # 7.963 mm
            assert shown(rig) == ["7.964"]
            assert rig.session.cursor == STEM + 1
            assert rig.session.question.code == "wrong unit"
            assert "shows inches now, and showed millimetres before" in rig.session.question.words

    run(test())


def test_a_zero_that_is_set_in_the_middle_is_told_and_what_follows_waits_for_a_check(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.bench.go(SPRING)
            await hold(rig, 4790, 8)
            rig.bench.take("C1")
            await hold(rig, 4790, 1)
            await hold(rig, 0, 3)
            [event] = on_record(rig, ZeroDoubted)
            assert (event.gauge, event.why) == ("C1", "its zero was set while it was in use")
            assert state_of(rig, "C1")["state"] == "check the zero"
            with pytest.raises(SessionError, match="check the zero on its master"):
                rig.bench.take("C1")
            assert (await act(rig.bench, {"do": "confirm-zero", "gauge": "C1"}))[0] == 200
            rig.clock.pass_s(1)
            rig.bench.take("C1")
            await hold(rig, 4781, 1)
            assert shown(rig) == ["47.90", "47.81"]

    run(test())


def test_a_zero_that_is_set_during_a_sweep_breaks_it_off(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.bench.go(ROCK)
            rig.bench.sweep_start()
            await rig.rock([412] * 9 + [0, 0])
            assert rig.bench.recorder is None
            [event] = on_record(rig, ZeroDoubted)
            assert "the sweep is broken off" in event.why
            assert on_record(rig, SweepTaken) == []

    run(test())


def test_a_gauge_that_holds_an_old_value_is_refused(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.bench.go(ROCK)
            rig.bench.sweep_start()
            await rig.rock(sweep(), mode="m")
            await rig.bench.sweep_stop()
            [event] = on_record(rig, SweepTaken)
            assert not event.usable
            assert "showing the largest value" in event.flags[0]

    run(test())


def test_one_press_that_is_sent_twice_is_one_reading_and_a_note(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.press("M1", stem("7.964"))
            rig.clock.pass_s(0.2)
            rig.send("M1", stem("7.964"))
            await rig.heard("M1")
            assert shown(rig) == ["7.964"]
            assert tray(rig) == [
                ("7.964", "the same value came 200 ms before: a button bounced")
            ]  # fmt: skip
            await rig.press("M1", stem("7.964"))  # two seconds later it is meant
            assert shown(rig) == ["7.964", "7.964"]

    run(test())


def test_what_comes_while_nothing_is_asked_for_waits_in_the_tray(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            while rig.session.step is not None:
                await rig.bench.do(Skip("not today"))
            await rig.press("M1", stem("7.964"))
            assert tray(rig) == [("7.964", "nothing was asked for")]
            assert shown(rig) == []

    run(test())


def test_a_pulled_cable_keeps_the_series_and_goes_on_only_after_a_person_has_confirmed(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.press("M1", stem("7.964"))
            await replug(rig, "M1")
            await rig.press("M1", stem("7.963"))
            assert shown(rig) == ["7.964"]
            assert rig.session.cursor == STEM + 1
            await act(rig.bench, {"do": "confirm-position"})
            await rig.press("M1", stem("7.962"))
            assert shown(rig) == ["7.964", "7.962"]

    run(test())


def test_a_port_that_another_program_has_stops_the_start_and_is_named(tmp_path):
    async def test():
        rig = make_rig(tmp_path)
        cable = rig.bench.cable_of("C1")
        other = SerialPort(cable.port.name, line_of(rig.bench.channels["C1"].driver), lambda: 0)
        other.open(lambda _item: None)
        with pytest.raises(PortError, match=f"{cable.port.name} is in use by another program"):
            await rig.bench.start(open_job(rig))
        assert not cable.here
        other.close()
        put_away(rig)

    run(test())


def test_what_an_adapter_sends_as_it_is_plugged_in_is_dropped_up_to_the_first_end(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            cable = rig.bench.cable_of("M1")
            await replug(rig, "M1")
            await act(rig.bench, {"do": "confirm-position"})
            rig.clock.now_ns = cable.heard_ns  # at once, without the silence that begins a line
            before = cable.noise_bytes
            rig.send("M1", b"\x00\xfe+  7.9" + stem("7.964"))
            await rig.heard("M1")
            assert (shown(rig), tray(rig)) == ([], [])
            assert cable.noise_bytes - before == 20
            await rig.press("M1", stem("7.963"))
            assert shown(rig) == ["7.963"]

    run(test())


def test_a_decimal_comma_is_a_decimal_sign_and_never_a_thousand(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.press("M1", stem("7,965"))
            [reading] = rig.session.readings()
            assert reading.shown.pm == 7_965_000_000
            assert reading.raw == b"+  7,965 MM\r"

    run(test())


def test_the_answer_to_another_program_is_not_taken_for_ours(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.bench.go(6)  # stand-down, with the depth gauge
            rig.bench.take("D1")
            rig.cables["D1"].hear(2)
            rig.clock.pass_s(0.05)
            rig.send("D1", b"R\r 1.08\r 1.08\r")  # the other's request is heard too
            await rig.heard("D1")
            assert shown(rig) == ["1.08"]
            assert tray(rig) == [
                ("1.08", "nobody had asked the gauge: its answer came late or twice")
            ]  # fmt: skip

    run(test())


def test_samples_that_came_in_a_bunch_after_a_sleep_are_flagged_in_their_sweep(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.bench.go(ROCK)
            rig.bench.sweep_start()
            samples = sweep()
            await rig.rock(samples[:40])
            rig.clock.pass_s(2.5)
            rig.send("I1", b"".join(map(rocked, samples[40:60])))
            await rig.heard("I1")
            await rig.rock(samples[60:])
            await rig.bench.sweep_stop()
            [event] = on_record(rig, SweepTaken)
            assert "20 values came at once after 2.5 s" in event.flags[0]
            assert len(event.trace.t_us) == len(samples), "they are kept all the same"
            told = [words for words in rig.audience.warnings() if "came at once" in words]
            assert len(told) == 1

    run(test())


def test_of_values_that_came_in_a_bunch_only_the_newest_is_taken(tmp_path):
    async def test():
        async with running(tmp_path) as rig:
            await rig.bench.go(SPRING)
            await hold(rig, 4000, 2)
            rig.bench.take("C1")
            rig.clock.pass_s(2)
            rig.send("C1", b"".join(map(spring, (4000, 4400, 4790))))
            await rig.heard("C1")
            assert shown(rig) == ["47.90"]

    run(test())


def test_a_gauge_that_sets_its_zero_when_it_is_switched_on_must_be_checked_when_it_is_back(
    tmp_path,
):
    async def test():
        async with running(tmp_path) as rig:
            await rig.bench.go(SPRING)
            await replug(rig, "C1")
            await act(rig.bench, {"do": "confirm-position"})
            [event] = on_record(rig, ZeroDoubted)
            assert (event.gauge, "switched on" in event.why) == ("C1", True)
            with pytest.raises(SessionError, match="check the zero on its master"):
                rig.bench.take("C1")
            await replug(rig, "M1")
            assert len(on_record(rig, ZeroDoubted)) == 1, "a micrometer keeps its zero"
            await act(rig.bench, {"do": "confirm-zero", "gauge": "C1"})
            rig.bench.take("C1")
            await hold(rig, 4790, 1)
            assert shown(rig) == ["47.90"]

    run(test())
