"""Simulated gauges and hands against the decoders and their own truth."""

from __future__ import annotations

import asyncio
import random
import statistics
from dataclasses import replace
from fractions import Fraction

import pytest
from bench_kit import run
from cable_kit import PATIENCE_S, Sink, needs_terminals, nothing_left
from hypothesis import given, strategies as st

from gaugelink import content
from gaugelink.ports.serial import Line, SerialPort
from gaugelink.ports.tcp import TcpPort
from gaugelink.simulate.encoders import ENCODERS, Display
from gaugelink.simulate.gauges import BenchGauge
from gaugelink.simulate.hand import rock
from gaugelink.simulate.pace import FullPace
from gaugelink.simulate.scenario import SimulatedGauge
from gaugelink.wire.base import Value
from gaugelink.wire.driver import load_driver

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")

DRIVERS = {name: load_driver(*content.read("drivers", name)) for name in ENCODERS}

# What each format can carry, from hardware_notes/: units, places, digits, modes.
MODES = ("actual", "min", "max", "tir")
CARRIES = {
    "signed-line": (("mm", "in"), range(1, 6), 8, ("actual",)),
    "plain-line": (("mm",), range(1, 6), 8, ("actual",)),
    "plain-line-inch": (("in",), range(1, 6), 8, ("actual",)),
    "mode-line": (("mm", "in"), range(1, 6), 8, MODES),
    "mux-line": (("mm",), (3,), 8, ("actual",)),
    "mux-line-point": (("mm", "in"), range(1, 6), 7, ("actual",)),
    "fixed-word": (("mm", "in"), range(6), 8, ("actual",)),
    "flag-line": (("mm", "in"), range(1, 6), 8, ("actual",)),
    "keys-line": (("mm",), range(1, 6), 8, ("actual",)),
    "keys-line-comma": (("mm", "in"), range(1, 6), 8, ("actual",)),
    "bcd52": (("mm", "in"), range(6), 6, ("actual",)),
    "bcd52-inch8": (("mm", "in"), range(6), 6, ("actual",)),
    "scale24": (("mm", "in"), None, 6, ("actual",)),
    "scale48": (("mm",), (4,), 7, ("actual",)),
    "scale48-absolute": (("mm",), (4,), 7, ("actual",)),
    "bcd28": (("mm", "in"), None, 6, ("actual",)),
    "modbus-registers": (("mm", "in"), range(6), 9, ("actual",)),
    "modbus-registers-low": (("mm", "in"), range(6), 9, ("actual",)),
    "modbus-tcp": (("mm", "in"), range(6), 9, ("actual",)),
    "hid-report": (("mm", "in"), range(2, 6), 9, (*MODES, "hold")),
    "hid-report-24": (("mm", "in"), (4,), 6, ("actual", "hold")),
}

# The channels of those that have several; by unit where the driver file ties the two together.
CHANNELS = {
    "mux-line": {"mm": ("01", "42", "99")},
    "mux-line-point": {"mm": ("01", "02", "03"), "in": ("04",)},
    "fixed-word": {"mm": ("1", "2"), "in": ("1", "2")},
}


def test_every_driver_file_has_an_encoder_and_every_encoder_a_driver_file():
    """Every kind of gauge can stand on a simulated bench, and every decoder meets its encoder."""
    assert set(ENCODERS) == set(content.names("drivers"))
    assert set(ENCODERS) == set(CARRIES)
    assert len(ENCODERS) >= 16


@st.composite
def displays(draw, name):
    """What a gauge of a kind can show."""
    units, places, digits, modes = CARRIES[name]
    unit = draw(st.sampled_from(units))
    shown = draw(st.sampled_from(places)) if places else {"mm": 2, "in": 4}[unit]
    # No gauge is longer than some kilometres, and nothing longer is a length in the record.
    most = min(10**digits - 1, {"mm": 9_000_000, "in": 350_000}[unit] * 10**shown)
    counts = draw(st.integers(-most, most))
    if name.startswith("scale48"):  # whole counts in its range, 20480 in an inch, 0.0001 mm shown
        counts = round(Fraction(draw(st.integers(-300_000, 300_000)) * 254_000, 20_480))
    if name in {"scale24", "bcd28"} and unit == "in":  # the format counts in steps of 0.0005 in
        counts = counts // 5 * 5
    channel = draw(st.sampled_from(CHANNELS.get(name, {}).get(unit, ("",))))
    return Display(counts, shown, unit, draw(st.sampled_from(modes)), channel)


def shown_text(shown: Display) -> str:
    """The figure as a person would write it down; minus nothing is nothing."""
    text = str(abs(shown.counts)).zfill(shown.places + 1)
    if shown.places:
        text = f"{text[: -shown.places]}.{text[-shown.places :]}"
    return f"-{text}" if shown.counts < 0 else text


def read_back(values: list) -> list[tuple[str, str, str, str]]:
    assert all(isinstance(item, Value) for item in values), values
    return [(item.shown.text, item.shown.unit, item.mode, item.channel) for item in values]


@pytest.mark.parametrize("name", sorted(ENCODERS))
@given(data=st.data())
def test_what_an_encoder_sends_its_decoder_reads_wherever_it_is_cut(name, data):
    shown = data.draw(st.lists(displays(name), min_size=1, max_size=4))
    frames = [ENCODERS[name](item) for item in shown]
    wanted = [(shown_text(item), item.unit, item.mode, item.channel) for item in shown]
    stream = b"".join(frames)

    whole = DRIVERS[name].decoder()
    assert read_back(whole.feed(stream) + whole.end()) == wanted

    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=6)))
    portions = [
        stream[start:end] for start, end in zip([0, *cuts], [*cuts, len(stream)], strict=True)
    ]
    cut = DRIVERS[name].decoder()
    items = [item for portion in portions for item in cut.feed(portion)] + cut.end()
    assert read_back(items) == wanted
    assert [item.raw for item in items] == frames


def test_the_published_example_of_the_13_digit_format_is_what_the_encoder_sends():
    """FFFF 8 012345 3 0 is -12.345 mm (a measuring-projector maker's manual, output data)."""
    digits = "FFFF801234530"
    bits = "".join(format(int(digit, 16), "04b")[::-1] for digit in digits)
    assert ENCODERS["bcd52"](Display(-12345, 3, "mm")) == f"{bits}\n".encode()


def test_the_public_captures_of_a_scale_are_what_the_encoder_sends():
    """Sigrok-dumps, folder caliper, public domain: 123.45 mm, -1 mm and 0.5 in."""
    send = ENCODERS["scale24"]
    assert send(Display(12345, 2, "mm")) == b"100111000000110000000000\n"
    assert send(Display(-100, 2, "mm")) == b"001001100000000000001000\n"
    assert send(Display(5000, 4, "in")) == b"000101111100000000000001\n"


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("bcd52", Display(1_000_000, 3, "mm")),
        ("scale24", Display(1 << 20, 2, "mm")),
        ("bcd28", Display(1_000_000, 2, "mm")),
        ("mux-line", Display(100_000_000, 3, "mm")),
        ("mux-line-point", Display(10_000_000, 3, "mm")),
        ("fixed-word", Display(100_000_000, 3, "mm")),
    ],
)
def test_a_figure_that_a_format_cannot_carry_is_refused_and_not_garbled(name, shown):
    ENCODERS[name](replace(shown, counts=shown.counts - 1))
    with pytest.raises(ValueError, match="more than"):
        ENCODERS[name](shown)


# ---- the hand -----------------------------------------------------------------------------------

TRAVELS = (0.0, 20.0, 106.0, 297.7)


def ends(path: list[float], travel: float) -> list[float]:
    """The level of each rest at a wall: an independent look, by halves and medians."""
    middle = statistics.median([min(path), max(path)])
    found: list[list[float]] = []
    side = 0
    for position in path:
        here = 1 if position > middle + travel / 4 else -1 if position < middle - travel / 4 else 0
        if here and here != side:
            found.append([])
            side = here
        if here and here == side:
            found[-1].append(position)
    return [statistics.median(sorted(end, reverse=end[0] > middle)[: len(end) // 2 + 1])
            for end in found]  # fmt: skip


@pytest.mark.parametrize("travel", TRAVELS[1:])
@pytest.mark.parametrize("rocks", [2, 5])
@pytest.mark.parametrize("per_second", [8, 16, 50])
def test_a_hand_keeps_its_truth_within_noise(travel, rocks, per_second):
    """From wall to wall, drift of the base taken out by the neighbours, within 2 um.

    Creep is at most 4 um over a sweep, pressing 1.2 um at first, scatter 0.35 um.
    """
    for seed in range(10):
        path = list(rock(travel, per_second, rocks, random.Random(seed)))
        levels = ends(path, travel)
        assert len(levels) == 2 * rocks + 1
        swings = [abs(one - (before + after) / 2)
                  for before, one, after in zip(levels, levels[1:], levels[2:], strict=False)
                 ]  # fmt: skip
        assert statistics.median(swings) == pytest.approx(travel, abs=2.0)


def test_a_hand_that_moves_nothing_shows_only_scatter_and_creep():
    path = list(rock(0.0, 16, 5, random.Random(3)))
    assert max(path) - min(path) < 4 + 8 * 0.35


def test_a_hand_rests_in_the_middle_before_and_after():
    path = list(rock(200.0, 16, 3, random.Random(5)))
    assert statistics.median(path[:10]) == pytest.approx(0, abs=1)
    assert statistics.median(path[-6:]) == pytest.approx(0, abs=5)


def test_the_same_chance_makes_the_same_rock():
    def one(seed):
        return list(rock(106.0, 16, 5, random.Random(seed)))

    assert one(1) == one(1)
    assert one(1) != one(2)


# ---- gauges on their streams --------------------------------------------------------------------


def about(**changes) -> SimulatedGauge:
    fields = {
        "id": "X1", "kind": "indicator", "title": "Indicator", "serial": "1",
        "driver": "mode-line", "places": 3, "speaks": "all the time", "per_second": 10.0,
        "noise": "0.001 mm", "u": "0.001 mm", "calibration_due": "2030-01-01",
    }  # fmt: skip
    return SimulatedGauge.model_validate(fields | changes)


class Listener:
    """The program's end of a simulated gauge's cable, with a decoder behind it."""

    def __init__(self, name, driver):
        self.port = TcpPort(name, lambda: 0) if "://" in name else SerialPort(
            name, Line(), lambda: 0)  # fmt: skip
        self.sink = Sink()
        self.port.open(self.sink)
        self.decoder = DRIVERS[driver].decoder()
        self.count = 0

    async def values(self, count):
        """Wait for so many values."""
        found = []
        while len(found) < count:
            chunk = await asyncio.to_thread(self.sink.next)
            self.count += len(chunk.data)
            found += self.decoder.feed(chunk.data)
        return [f"{item.shown} {item.mode}" for item in found]


STREAMS = [pytest.param(False, marks=needs_terminals), True]


async def _settled():
    """Nothing is waited for."""


async def connected(gauge: BenchGauge, tcp: bool) -> Listener:
    name = await gauge.connect(tcp=tcp)
    listener = Listener(name, gauge.about.driver)
    async with asyncio.timeout(PATIENCE_S):
        while tcp and not gauge.endpoint._writers:  # noqa: ASYNC110  no event tells of the caller
            await asyncio.sleep(0)
    return listener


@pytest.mark.parametrize("tcp", STREAMS)
def test_a_gauge_with_a_button_sends_what_it_shows_when_it_is_pressed(tcp):
    async def test():
        gauge = BenchGauge(about(driver="signed-line", speaks="when pressed"), FullPace(_settled))
        listener = await connected(gauge, tcp)
        gauge.switch_on()
        for um in (7965.4, -12.0):
            gauge.touch(um)
            gauge.press()
        assert await listener.values(2) == ["7.965 mm actual", "-0.012 mm actual"]
        assert gauge.sent == listener.count
        await gauge.unplug()
        listener.port.close()

    run(test())


@pytest.mark.parametrize("tcp", STREAMS)
def test_a_gauge_that_waits_to_be_asked_answers_each_request_once(tcp):
    async def test():
        gauge = BenchGauge(
            about(driver="plain-line", places=2, speaks="when asked"), FullPace(_settled)
        )
        listener = await connected(gauge, tcp)
        gauge.touch(1084.0)
        listener.port.write(DRIVERS["plain-line"].request)
        assert await listener.values(1) == ["1.08 mm actual"]
        listener.port.write(DRIVERS["plain-line"].request)
        assert await listener.values(1) == ["1.08 mm actual"]
        await gauge.unplug()
        listener.port.close()

    run(test())


def test_a_gauge_that_sends_all_the_time_follows_the_hand_at_its_own_rate_and_sleeps_when_laid_down(
):  # fmt: skip
    async def test():
        moments = []
        pace = FullPace(_settled)
        gauge = BenchGauge(about(per_second=10.0), pace)
        listener = await connected(gauge, tcp=True)
        send = gauge._send
        gauge._send = lambda: (moments.append(pace.mono_ns()), send())
        clock = asyncio.create_task(pace.run())
        gauge.switch_on()
        await pace.sleep(5)
        assert moments == []  # nobody has picked it up
        gauge.pick_up()
        await gauge.follow([1.0, 2.0, 3.0])
        gauge.lay_down()
        await pace.sleep(5)
        assert len(moments) == gauge.sent // len(b"a+0.001M= \n")
        assert moments[:3] == [5_000_000_000, 5_100_000_000, 5_200_000_000]
        values = await listener.values(len(moments))
        assert values[:3] == ["0.001 mm actual", "0.002 mm actual", "0.003 mm actual"]
        assert set(values[3:]) <= {"0.003 mm actual"}
        await gauge.unplug()
        clock.cancel()
        await asyncio.gather(clock, return_exceptions=True)
        listener.port.close()

    run(test())


def test_a_gauge_left_in_another_mode_says_so_in_its_frame():
    async def test():
        gauge = BenchGauge(about(speaks="when pressed"), FullPace(_settled))
        listener = await connected(gauge, tcp=True)
        gauge.mode = "max"
        gauge.touch(101.0)
        gauge.press()
        assert await listener.values(1) == ["0.101 mm max"]
        await gauge.unplug()
        listener.port.close()

    run(test())


def test_a_cable_that_is_pulled_ends_a_rock_that_is_under_way():
    async def test():
        pace = FullPace(_settled)
        gauge = BenchGauge(about(), pace)
        await gauge.connect(tcp=True)
        gauge.switch_on()
        gauge.pick_up()
        following = asyncio.create_task(gauge.follow([1.0] * 100))
        await asyncio.sleep(0)
        await gauge.unplug()
        async with asyncio.timeout(PATIENCE_S):
            await following
        gauge.press()  # into the air
        assert gauge.endpoint is None

    run(test())


@pytest.mark.parametrize(
    ("unit", "places", "um", "text"),
    [("mm", 2, 1084.9, "1.08"), ("mm", 3, -0.4, "0.000"), ("in", 4, 25400.0, "1.0000"),
     ("in", 4, 12.7, "0.0005"), ("in", 4, 6.0, "0.0000")],
)  # fmt: skip
def test_a_display_shows_whole_steps_of_the_gauge(unit, places, um, text):
    """An inch is 25 400 micrometres; the scale's step in inches is 0.0005 in (hardware note)."""
    driver = "scale24" if (unit, places) in {("in", 4), ("mm", 2)} else "signed-line"
    gauge = BenchGauge(about(driver=driver, unit=unit, places=places), FullPace(_settled))
    gauge.touch(um)
    assert gauge.display().digits == text
