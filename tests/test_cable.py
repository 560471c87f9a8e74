"""A cable gives each value to the gauge that sent it, and to no other."""

from __future__ import annotations

import pytest
from bench_kit import ROCK, SPRING, STEM, run as run_bench, running
from cable_kit import needs_terminals, nothing_left
from hypothesis import given, strategies as st
from several_kit import NoPort, driver_of, gauge_of, make_shared, wires

from gaugelink.capture.actions import act
from gaugelink.capture.bench import Bench
from gaugelink.capture.cable import Arrived, Cable, alone
from gaugelink.capture.channel import Channel
from gaugelink.capture.watcher import Watcher
from gaugelink.errors import InputError, RecordError
from gaugelink.event_documents import from_document
from gaugelink.events import (
    GaugeFound,
    GaugeLost,
)
from gaugelink.ports.identity import PortIdentity, PresentPort

pytestmark = pytest.mark.usefixtures("nothing_left")
__all__ = ["nothing_left"]

THREE = {"01": "M1", "02": "I1", "03": "C1"}


def line(channel: str, thousandths: int) -> bytes:
    """What the multiplexer sends (drivers/mux-line.toml), from whole thousandths."""
    return f"{channel}A{'-' if thousandths < 0 else '+'}{abs(thousandths):08d}\r".encode()


def told(cable: Cable, data: bytes) -> list[tuple[str, str] | str]:
    return [
        (item.channel.gauge.id, item.value.shown.text) if isinstance(item, Arrived) else item.words
        for item in cable.feed(data, 1)
    ]


class TestWithoutAPort:
    @given(
        st.lists(st.tuples(st.sampled_from(list(THREE)), st.integers(-9999, 99999)), max_size=8),
        st.lists(st.integers(1, 9), max_size=30),
    )
    def test_each_value_is_given_to_its_own_gauge_however_the_bytes_are_cut(self, sent, cuts):
        cable = wires(THREE, "mux-line")
        assert cable.feed(b"\r", 0) == []  # the beginning of the stream may be half a line
        data = b"".join(line(channel, number) for channel, number in sent)
        found = []
        while data:
            cut = cuts.pop() if cuts else len(data)
            found += told(cable, data[:cut])
            data = data[cut:]
        assert found == [
            (THREE[channel], f"{'-' if number < 0 else ''}{abs(number) / 1000:.3f}")
            for channel, number in sent
        ]
        assert cable.noise_bytes == 1

    def test_a_value_of_an_unknown_channel_goes_to_no_gauge_and_is_told_each_time(self):
        cable = wires(THREE, "mux-line")
        cable.feed(b"\r", 0)
        sentence = (
            "7.965 mm came from channel 04 on the port, and no gauge of this bench is entered "
            "there; it is not on record"
        )
        assert told(cable, line("04", 7965) + line("01", 7964) + line("04", 7965)) == [
            sentence, ("M1", "7.964"), sentence,
        ]  # fmt: skip
        assert [item.last and item.last.shown.text for item in cable.channels.values()] == [
            "7.964", None, None,
        ]  # fmt: skip

    def test_a_gauge_alone_on_a_multiplexer_is_not_taken_for_whatever_channel_speaks(self):
        cable = alone(NoPort(), Channel(gauge_of("M1"), driver_of("mux-line")))
        cable.feed(b"\r", 0)
        [words] = told(cable, line("01", 7965))
        assert words.startswith("7.965 mm came from channel 01 on the port, and no gauge")

    def test_each_display_of_a_two_line_gauge_is_its_own_channel(self):
        """drivers/fixed-word.toml: 1 is the upper display, 2 the lower one."""
        cable = wires({"1": "M1"}, "fixed-word")
        example = next(item for item in driver_of("fixed-word").examples if item.channel == "2")
        cable.feed(b"\r", 0)
        [words] = told(cable, example.data)
        assert "came from channel 2 on the port" in words

    def test_gauges_that_do_not_speak_alike_are_refused_on_one_line(self):
        drivers = {"01": driver_of("mux-line"), "02": driver_of("signed-line")}
        with pytest.raises(InputError, match="have the drivers mux-line and signed-line"):
            wires({"01": "M1", "02": "C1"}, drivers)

    def test_a_cable_without_a_gauge_is_refused(self):
        with pytest.raises(InputError, match="has no gauge"):
            Cable(NoPort(), {})

    def test_a_gauge_on_two_cables_is_refused(self, tmp_path):
        del tmp_path
        two = [alone(NoPort(), Channel(gauge_of("M1"), driver_of("signed-line")))] * 2
        with pytest.raises(InputError, match="the gauge M1 is on the port and the port"):
            Bench(None, None, None, two, "", "", None)

    @pytest.mark.parametrize(
        ("marks", "words"),
        [
            (["M1"], "Micrometer"),
            (["M1", "C1"], "Micrometer and Caliper"),
            (["M1", "I1", "C1"], "Micrometer, Indicator and Caliper"),
        ],
    )
    def test_its_gauges_are_named_as_a_person_would(self, marks, words):
        behind = {f"{number:02d}": mark for number, mark in enumerate(marks)}
        assert wires(behind, "mux-line").titles == words


@needs_terminals
class TestOnTheBench:
    def test_a_box_is_found_lost_and_back_once_and_each_gauge_on_record(self, tmp_path):
        async def test():
            rig = make_shared(tmp_path, THREE, "mux-line")
            async with running(tmp_path, rig=rig):
                assert rig.kinds() == ["job-opened"] + ["gauge-found"] * 3
                await rig.said(line("01", 7964))
                view = rig.view()
                where = PresentPort(rig.cable.name, 0x0403, 0x6001, "A5069RR4", "1-1")
                rig.wires.identity = PortIdentity("serial number", 0x0403, 0x6001, "A5069RR4")
                rig.wires.plug = rig.port
                rig.cable.pull()
                await rig.until(lambda: rig.session.lost == {"M1", "I1", "C1"})
                lost = [from_document(item.document) for item in rig.store.entries(5)]
                assert [(type(item), item.gauge, item.port) for item in lost] == [
                    (GaugeLost, mark, where.name) for mark in THREE.values()
                ]
                [sentence] = rig.audience.warnings()
                assert sentence == f"Micrometer, Indicator and Caliper are lost: {lost[0].why}"
                assert [item["state"] for item in view.gauges()] == ["lost"] * 3

                cable = rig.plug_again()
                here = PresentPort(cable.name, 0x0403, 0x6001, "A5069RR4", "1-7")
                watcher = Watcher(rig.bench, lambda: [here], _no_sleep)
                assert await watcher.look() == ["M1", "I1", "C1"]
                back = [from_document(item.document) for item in rig.store.entries(8)]
                assert [(type(item), item.gauge, item.port) for item in back] == [
                    (GaugeFound, mark, cable.name) for mark in THREE.values()
                ]
                assert len(rig.audience.warnings()) == 2
                assert rig.audience.warnings()[1].startswith(
                    f"Micrometer, Indicator and Caliper are back on {cable.name}: confirm that they"
                )
                assert rig.session.unconfirmed == {"M1", "I1", "C1"}
                await rig.said(line("01", 7963))
                assert "lost and is back" in rig.session.tray()[0].event.why
                status, answer = await act(rig.bench, {"do": "confirm-position"})
                assert (status, answer["words"].split(" confirmed")[0]) == (200, "C1 and I1 and M1")
                await rig.said(line("01", 7962))
                assert [item.shown.text for item in rig.session.readings()] == ["7.964", "7.962"]

        run_bench(test())

    def test_each_gauge_of_a_box_measures_in_its_place(self, tmp_path):
        async def test():
            rig = make_shared(tmp_path, THREE, "mux-line")
            async with running(tmp_path, rig=rig):
                await rig.bench.go(STEM)
                await rig.said(line("01", 7964))
                await rig.bench.go(SPRING)
                await rig.said(line("03", 47900))
                await rig.said(line("02", 12))  # an indicator is asked for nowhere here
                taken = [(item.tag.gauge, item.shown.text) for item in rig.session.readings()]
                assert taken == [("M1", "7.964"), ("C1", "47.900")]
                [parked] = rig.session.tray()
                assert parked.event.gauge == "I1"

        run_bench(test())

    def test_a_value_of_an_unknown_channel_is_told_and_not_recorded(self, tmp_path):
        async def test():
            rig = make_shared(tmp_path, THREE, "mux-line")
            async with running(tmp_path, rig=rig):
                size = rig.bench.size
                await rig.said(line("09", 7964))
                assert rig.bench.size == size
                [sentence] = rig.audience.warnings()
                assert "7.964 mm came from channel 09" in sentence

        run_bench(test())

    def test_the_loss_of_the_box_breaks_off_a_sweep_of_a_gauge_behind_it(self, tmp_path):
        async def test():
            rig = make_shared(tmp_path, THREE, "mux-line")
            async with running(tmp_path, rig=rig):
                await rig.bench.go(ROCK)
                rig.bench.sweep_start()
                await rig.said(line("02", 5))
                rig.cable.pull()
                await rig.until(lambda: bool(rig.session.lost))
                assert rig.bench.recorder is None
                assert "the sweep is broken off" in rig.audience.warnings()[-1]

        run_bench(test())

    def test_if_one_return_cannot_be_written_none_of_the_gauges_is_back(self, tmp_path):
        async def test():
            rig = make_shared(tmp_path, THREE, "mux-line")
            async with running(tmp_path, rig=rig):
                rig.wires.identity = PortIdentity("name", name="")
                rig.wires.plug = rig.port
                rig.cable.pull()
                await rig.until(lambda: bool(rig.session.lost))
                cable = rig.plug_again()
                rig.store.fault = RecordError("the disk is full")
                with pytest.raises(RecordError):
                    await rig.bench.found(rig.wires, cable.name)
                assert rig.session.lost == {"M1", "I1", "C1"}
                assert not rig.wires.here

        run_bench(test())


async def _no_sleep(_seconds: float) -> None:
    """Nothing waits here."""
