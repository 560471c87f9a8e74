"""A bridge on the bench: each channel by its own driver, and what goes wrong told once in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from bench_kit import ROCK, SPRING, run, running, sweep
from bridge_kit import CAPTURED, PUBLISHED
from cable_kit import needs_terminals, nothing_left
from several_kit import NoPort, driver_of, gauge_of, make_shared, wires

from gaugelink.capture.arrivals import Arrived, Send
from gaugelink.capture.cable import Cable, alone
from gaugelink.capture.channel import Channel
from gaugelink.capture.recording import recording_of
from gaugelink.errors import InputError, SessionError
from gaugelink.event_documents import from_document
from gaugelink.events import SweepTaken
from gaugelink.simulate.bridge import SimulatedBridge, checked
from gaugelink.simulate.encoders import Display, scale24
from gaugelink.wire.driver import load_driver

if TYPE_CHECKING:
    from gaugelink.wire.driver import Driver

pytestmark = pytest.mark.usefixtures("nothing_left")
__all__ = ["nothing_left"]

BEHIND = {"2": "C1", "1": "M1"}


def at_the_pin(name: str, edge: str, *, inverted: bool = False, asked: bool = False) -> Driver:
    """A driver that ships, with what a shop would add under [port]."""
    driver = driver_of(name)
    port = driver.port.model_copy(
        update={"kind": "bridge", "channel": 9, "edge": edge, "inverted": inverted}
    )
    about = driver.about.model_copy(update={"sends": "when asked"} if asked else {})
    return driver.model_copy(update={"port": port, "about": about})


DRIVERS = {
    "2": at_the_pin("scale24", "rising"),
    "1": at_the_pin("bcd52", "falling", inverted=True, asked=True),
}
HALF_MM = next(bits for bits, text in CAPTURED.items() if text == "0.50 mm")
SETTINGS = checked(b"@1 set 2 rising 001000 plain ") + checked(b"@1 set 1 falling 010000 inverted ")
"""Pauses as in drivers/scale24.toml and drivers/bcd52.toml."""


def bridged() -> tuple[Cable, SimulatedBridge]:
    """A cable to a bridge, which has said hello."""
    cable, bridge = wires(BEHIND, DRIVERS), SimulatedBridge([1, 2], run=3)
    assert told(cable, bridge.hello(0, started=False)) == []
    return cable, bridge


def told(cable: Cable, data: bytes) -> list[object]:
    """What came out: gauge and figure, a sentence, or bytes to send."""
    found: list[object] = []
    for item in cable.feed(data, 1):
        match item:
            case Arrived(channel, value):
                found.append((channel.gauge.id, str(value.shown)))
            case Send(data=answer):
                found.append(answer)
            case _:
                found.append(item.words)
    return found


class TestWithoutAPort:
    def test_each_channel_is_read_by_the_driver_of_its_own_gauge(self):
        cable, bridge = bridged()
        stream = bridge.frame(2, HALF_MM, 10) + bridge.frame(1, PUBLISHED, 20)
        assert told(cable, stream) == [("C1", "0.50 mm"), ("M1", "-12.345 mm")]
        assert cable.noise_bytes == 0

    def test_two_gauges_of_one_kind_share_a_driver_file(self):
        cable = wires({"1": "M1", "2": "C1"}, "scale24")
        bridge = SimulatedBridge([1, 2], run=3)
        stream = bridge.frame(1, HALF_MM, 10) + bridge.frame(2, HALF_MM, 20)
        assert told(cable, stream) == [("M1", "0.50 mm"), ("C1", "0.50 mm")]

    def test_it_is_told_how_to_sample_where_a_driver_file_says_so(self):
        cable, _ = bridged()
        assert cable.greeting == checked(b"@1 who ") + SETTINGS

    def test_what_the_board_was_wired_for_stands_where_the_driver_file_says_nothing(self):
        """Its README says why: it samples some microseconds after the edge."""
        cable = wires(BEHIND, {"2": driver_of("scale24"), "1": driver_of("bcd52")})
        assert cable.greeting == checked(b"@1 who ")
        assert told(cable, SimulatedBridge([1, 2], run=4).hello(0)) == []

    def test_a_gauge_alone_on_a_bridge_is_on_the_channel_of_its_driver_file(self):
        port = 'kind = "bridge"\nchannel = 2\nedge = "falling"\ninverted = true'
        driver = load_driver(SCALE.replace('kind = "serial"', port), "shop.toml")
        cable = alone(NoPort(), Channel(gauge_of("C1"), driver))
        assert list(cable.channels) == ["2"]
        assert cable.greeting.endswith(checked(b"@1 set 2 falling 001000 inverted "))

    @pytest.mark.parametrize(
        ("port", "words"),
        [
            ('kind = "serial"\nedge = "falling"', "only with a bridge"),
            ('kind = "bridge"\nchannel = 2\ninverted = true', "the edge at the bridge's pin"),
            ('kind = "serial"\nanswer = "soon"', "a time with its unit"),
        ],
    )
    def test_a_port_that_cannot_be_is_refused_in_one_sentence(self, port, words):
        with pytest.raises(InputError, match=words):
            load_driver(SCALE.replace('kind = "serial"', port), "shop.toml")

    @pytest.mark.parametrize("hello_lost", [False, True])
    def test_after_a_restart_it_is_told_again_and_the_operator_once(self, hello_lost):
        cable, bridge = bridged()
        told(cable, bridge.frame(2, HALF_MM, 10))
        again = SimulatedBridge([1, 2], run=4)
        stream = b"" if hello_lost else again.hello(0)
        stream += again.status(1, 1) + again.status(2, 1) + again.frame(2, HALF_MM, 2)
        assert told(cable, stream) == [
            "the bridge on the port has started again; what its gauges sent meanwhile is lost",
            ("C1", "0.50 mm"),
            SETTINGS,
        ]

    def test_a_board_that_starts_because_its_port_was_opened_is_told_again_and_nobody_else(self):
        cable = wires(BEHIND, DRIVERS)
        assert told(cable, SimulatedBridge([1, 2], run=4).hello(0)) == [SETTINGS]

    def test_lost_frames_are_told_with_their_number_and_their_gauge(self):
        cable, bridge = bridged()
        told(cable, bridge.frame(2, HALF_MM, 10))
        for _ in range(3):
            bridge.frame(2, HALF_MM, 20)
        assert told(cable, bridge.frame(2, HALF_MM, 30)) == [
            "3 frames of Caliper were lost between the bridge on the port and the program",
            ("C1", "0.50 mm"),
        ]
        bridge.frame(1, PUBLISHED, 40)
        [words] = told(cable, bridge.status(1, 41)) or [""]
        assert words == ""  # nothing of this channel had come before: nobody knows its count
        bridge.frame(1, PUBLISHED, 42)
        [words] = told(cable, bridge.status(1, 43))
        assert words.startswith("1 frame of Micrometer was lost")

    @pytest.mark.parametrize(
        ("word", "words"),
        [
            ("silent", "Caliper was asked and did not answer"),
            ("busy", "Caliper was asked before its last answer was through"),
            ("refused", "the bridge on the port refused a request for Caliper"),
        ],
    )
    def test_what_a_request_met_with_is_told_once_until_the_gauge_speaks(self, word, words):
        cable, bridge = bridged()
        [sentence] = told(cable, bridge.note(2, word, 10) + bridge.note(2, word, 20))
        assert sentence.startswith(words)
        told(cable, bridge.frame(2, HALF_MM, 30))
        assert told(cable, bridge.note(2, word, 40)) == [sentence]

    @pytest.mark.parametrize("word", ["asked", "set"])
    def test_what_went_as_it_should_is_not_told(self, word):
        cable, bridge = bridged()
        assert told(cable, bridge.note(2, word, 10)) == []

    def test_a_weak_supply_is_told_once_until_it_is_good_again(self):
        cable, bridge = bridged()
        low, good = bridge.status(2, 1, supply="low"), bridge.status(2, 2)
        words = "the supply of the bridge on the port is low"
        assert told(cable, low + low + good + low) == [words, words]

    def test_missed_clocks_are_told_when_there_are_more_of_them(self):
        cable, bridge = bridged()
        assert told(cable, bridge.status(2, 1)) == []
        [sentence] = told(cable, bridge.status(2, 2, dropped=1) + bridge.status(2, 3, dropped=1))
        assert sentence.startswith("the bridge on the port missed clocks of Caliper, once")
        [sentence] = told(cable, bridge.status(2, 4, dropped=5))
        assert ", 5 times by now" in sentence

    def test_a_channel_that_nobody_entered_is_told_once_and_its_bits_are_nobodys(self):
        cable, _ = bridged()
        wider = SimulatedBridge([1, 2, 3], run=3)
        [sentence] = told(cable, wider.frame(3, HALF_MM, 10) + wider.frame(3, HALF_MM, 20))
        assert sentence.startswith("a frame came on channel 3 of the bridge on the port, and no")

    def test_a_gauge_on_a_channel_that_the_bridge_does_not_have_is_told_once(self):
        cable = wires(BEHIND, DRIVERS)
        hello = SimulatedBridge([2, 4], run=3).hello(0, started=False)
        assert told(cable, hello + hello) == [
            "Micrometer is entered on channel 1 of the bridge on the port, which has only: 2, 4"
        ]

    def test_a_damaged_line_is_noise_and_its_frame_is_told_as_lost(self):
        cable, bridge = bridged()
        told(cable, bridge.frame(2, HALF_MM, 10))
        damaged = bridge.frame(2, HALF_MM, 20).replace(b"010011", b"010111")
        assert told(cable, damaged + bridge.frame(2, HALF_MM, 30)) == [
            "1 frame of Caliper was lost between the bridge on the port and the program",
            ("C1", "0.50 mm"),
        ]
        assert cable.noise_bytes == len(damaged)

    def test_a_gauge_behind_a_bridge_needs_its_channel(self):
        driver = load_driver(SCALE.replace('"serial"', '"bridge"\nchannel = 2'), "shop.toml")
        with pytest.raises(InputError, match="the gauge C1 on the port is behind a bridge"):
            Cable(NoPort(), {"": Channel(gauge_of("C1"), driver)})

    def test_a_mark_that_no_bridge_has_is_refused(self):
        with pytest.raises(InputError, match="found channel '12' of the bridge on the port"):
            wires({"12": "C1"}, "scale24")


SCALE = """\
[driver]
name = "shop"
title = "A scale of the shop"
gauges = ["caliper"]
sends = "all the time"
[port]
kind = "serial"
[frame]
codec = "scale24"
edge = "rising"
pause = "1 ms"
sign_bit = 20
inch_bit = 23
step_mm = "0.01 mm"
step_in = "0.0005 in"
[[example]]
bytes = "010011000000000000000000\\n"
value = "0.50"
unit = "mm"
"""


@needs_terminals
class TestOnTheBench:
    def test_the_bridge_is_told_how_to_sample_at_opening_and_after_a_restart(self, tmp_path):
        async def test():
            rig = make_shared(tmp_path, BEHIND, DRIVERS)
            async with running(tmp_path, rig=rig):
                greeting = checked(b"@1 who ") + SETTINGS
                assert rig.cable.hear(len(greeting)) == greeting
                await rig.said(SimulatedBridge([1, 2], run=3).hello(0, started=False))
                await rig.said(SimulatedBridge([1, 2], run=4).hello(0))
                assert rig.cable.hear(len(SETTINGS)) == SETTINGS
                [sentence] = rig.audience.warnings()
                assert "has started again" in sentence

        run(test())

    def test_a_gauge_with_a_wire_to_ask_on_is_asked_on_its_own_channel(self, tmp_path):
        async def test():
            rig = make_shared(tmp_path, BEHIND, DRIVERS)
            bridge = SimulatedBridge([1, 2], run=3)
            async with running(tmp_path, rig=rig):
                rig.cable.hear(len(checked(b"@1 who ") + SETTINGS))
                await rig.bench.go(0)
                rig.bench.take("M1")
                ask = checked(b"@1 ask 1 ")
                assert rig.cable.hear(len(ask)) == ask
                with pytest.raises(SessionError, match="asked already"):
                    rig.bench.take("M1")
                await rig.said(bridge.note(1, "silent", 10))
                rig.bench.take("M1")  # the bridge has let go: it may be asked again at once
                assert rig.cable.hear(len(ask)) == ask
                await rig.said(bridge.frame(1, PUBLISHED, 20))
                assert [item.shown.text for item in rig.session.readings()] == ["-12.345"]

        run(test())

    def test_a_free_running_gauge_is_taken_from_and_its_record_holds_the_whole_line(self, tmp_path):
        async def test():
            rig = make_shared(tmp_path, BEHIND, DRIVERS)
            bridge = SimulatedBridge([1, 2], run=3)
            async with running(tmp_path, rig=rig):
                await rig.bench.go(SPRING)
                rig.bench.take("C1")
                line = bridge.frame(2, HALF_MM, 10)
                await rig.said(line)
                [reading] = rig.session.readings()
                assert (reading.tag.gauge, reading.raw) == ("C1", line)

        run(test())

    @pytest.mark.parametrize("lost", [0, 1])
    def test_a_sweep_through_a_bridge_is_recorded_whole_and_says_what_is_missing(
        self, tmp_path, lost
    ):
        async def test():
            rig = make_shared(tmp_path, {"1": "I1"}, {"1": driver_of("scale24")})
            bridge = SimulatedBridge([1], run=3)
            samples = [counts // 5 for counts in sweep(travel_um=600)]
            async with running(tmp_path, rig=rig):
                await rig.bench.go(ROCK)
                rig.bench.sweep_start()
                lines = []
                for place, counts in enumerate(samples):
                    line = bridge.frame(
                        1, scale24(Display(counts, 2, "mm")).decode().strip(), place
                    )
                    if not lost or place != 30:
                        lines.append(line)
                        await rig.said(line, after_s=0.1)
                analysis = await rig.bench.sweep_stop()
                event = from_document(list(rig.store.entries())[-1].document)
                assert isinstance(event, SweepTaken)
                assert len(event.trace.t_us) == len(samples) - lost
                assert event.raw == b"".join(lines)
                flags = ["1 frame was lost during the sweep"] * lost
                assert list(event.flags[:lost]) == flags
                assert len(rig.audience.warnings()) == lost
                assert analysis.travel_pm > 0
                played = recording_of([event], "I1", driver_of("scale24"))
                assert [item.data for item in played] == lines

        run(test())
