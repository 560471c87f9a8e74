"""Whatever goes wrong between gauge and program, no wrong number gets into the record."""

from __future__ import annotations

import asyncio
import random
from collections import Counter

import pytest
from bench_kit import Clock, make_rig, run, running
from cable_kit import needs_terminals, nothing_left

from gaugelink import content
from gaugelink.capture.actions import act
from gaugelink.capture.channel import line_of
from gaugelink.capture.watcher import Watcher
from gaugelink.errors import InputError
from gaugelink.event_documents import from_document
from gaugelink.events import (
    ReadingParked,
    ReadingTaken,
)
from gaugelink.ports.identity import PresentPort, identity_of
from gaugelink.ports.serial import SerialPort
from gaugelink.simulate import scenario as scenarios
from gaugelink.simulate.encoders import ENCODERS, Display
from gaugelink.simulate.faults import BURST, STALLED, Fault, Spoiler
from gaugelink.simulate.gauges import BenchGauge
from gaugelink.wire.base import Value
from gaugelink.wire.driver import load_driver

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")

SPOILT = (
    "noise bytes", "half frame", "bit flip", "stall", "burst", "decimal comma", "two programs",
)  # fmt: skip
OFTEN = {"burst": BURST, "two programs": 2}
"""How often a fault sends the same frame, where it is more than once."""
TEXT, FILE = content.read("sim", "faulty-bench")


def spoiler(*whats: str, every: int = 1, seed: int = 1) -> Spoiler:
    return Spoiler([Fault(gauge="M1", what=what, every=every) for what in whats],
                   random.Random(seed))  # fmt: skip


def shown_by(driver: str, counts: int) -> Display:
    unit = "in" if driver.endswith("-inch") else "mm"
    return Display(counts, 2 if driver == "scale24" else 3, unit)


@pytest.mark.parametrize("what", SPOILT)
@pytest.mark.parametrize(
    "name",
    [
        "signed-line",
        "plain-line",
        "plain-line-inch",
        "mode-line",
        "bcd52",
        "bcd52-inch8",
        "scale24",
    ],
)
def test_no_fault_makes_a_number_that_the_gauge_did_not_show(name, what):
    """Two thousand frames, every third one struck, fed in portions as they come."""
    driver = load_driver(*content.read("drivers", name))
    chance, cable = random.Random(3), spoiler(what, every=3, seed=5)
    decoder = driver.decoder()
    truth: Counter[int] = Counter()
    read: Counter[int] = Counter()
    for _ in range(2000):
        shown = shown_by(name, chance.randint(-12_999, 12_999))
        frame = ENCODERS[name](shown)
        [item] = driver.decoder().feed(frame)
        assert isinstance(item, Value)
        truth[item.shown.pm] += 1
        read.update(
            one.shown.pm for one in decoder.feed(cable.spoil(frame)) if isinstance(one, Value)
        )
    assert set(read) <= set(truth)
    most = OFTEN.get(what, 1)
    assert all(count <= truth[pm] * most for pm, count in read.items())
    assert read.total() >= 600
    if what in {"noise bytes", "half frame"} or (what == "bit flip" and "line" not in name):
        assert read.total() < 2000


def test_a_stall_keeps_frames_back_and_then_sends_them_in_a_bunch_and_in_order():
    cable = spoiler("stall", every=5)
    sent = [cable.spoil(b"%d\r" % number) for number in range(1, 10)]
    assert sent == [b"1\r", b"2\r", b"3\r", b"4\r", b"", b"", b"", b"5\r6\r7\r8\r", b"9\r"]
    assert STALLED == 3


def test_the_same_seed_spoils_alike():
    frames = [b"+  7.96%d MM\r" % (number % 10) for number in range(100)]
    one, other = spoiler(*SPOILT, every=4, seed=9), spoiler(*SPOILT, every=4, seed=9)
    assert [one.spoil(frame) for frame in frames] == [other.spoil(frame) for frame in frames]


def test_a_flipped_bit_that_makes_another_figure_cannot_be_noticed_and_is_not_among_the_faults():
    """These formats have no check; the faults say so, and this shows why."""
    driver = load_driver(*content.read("drivers", "signed-line"))
    [item] = driver.decoder().feed(b"+  7.964 MM\r".replace(b"4", bytes([ord("4") ^ 1])))
    assert str(item.shown) == "7.965 mm"
    cable = spoiler("bit flip", seed=2)
    digits = b"0123456789"
    for _ in range(2000):
        flipped = cable.spoil(b"+  7.964 MM\r")
        for one, other in zip(flipped, b"+  7.964 MM\r", strict=True):
            assert one == other or not (one in digits and other in digits)


class RealPace:
    """Waits a turn of the loop instead of a time."""

    name = "simulated"

    def mono_ns(self):
        return 0

    async def sleep(self, seconds):
        await asyncio.sleep(0)


@needs_terminals
def test_a_bench_with_everything_going_wrong_keeps_only_what_its_gauge_showed(tmp_path):
    """A micrometer with a button, on a real terminal, with every fault at once, pulled cables too.

    After each press whatever came has been dealt with; a press that led to nothing is repeated.
    """
    about = scenarios.load(TEXT, FILE).gauge_for("micrometer")
    faults = [
        Fault(gauge="M1", what=what, every=every)
        for what, every in zip([*SPOILT, "unplugged"], (3, 5, 7, 31, 11, 2, 17, 13), strict=True)
    ]

    async def test():
        gauge = BenchGauge(about, RealPace(), Spoiler(faults, random.Random(4)))
        name = await gauge.connect(tcp=False)

        class End:
            """The gauge's end, as the rig knows it."""

            def __init__(self):
                self.name = name

            def pull(self): ...

        rig = make_rig(tmp_path, clock=Clock(), cables={"M1": End()})
        async with running(tmp_path, rig=rig):
            cable = rig.bench.cable_of("M1")

            def listing():
                port = gauge.endpoint.name if gauge.endpoint else ""
                return [PresentPort(port, 0x0403, 0x6001, "A5069RR4", "1-1")] if port else []

            cable.identity = identity_of(listing()[0], listing())
            line = line_of(rig.bench.channels["M1"].driver)
            cable.plug = lambda name: SerialPort(name, line, rig.clock.mono_ns)
            watcher = Watcher(rig.bench, listing, asyncio.sleep)
            showed: set[str] = set()
            for number in range(300):
                gauge.touch(7900.0 + number)
                showed.add(f"{7900 + number}")
                rig.clock.pass_s(2)
                gauge.press()
                if gauge._plugging is not None:
                    await rig.until(lambda: "M1" in rig.session.lost)
                    await gauge._plugging
                    gauge._plugging = None
                    assert await watcher.look() == ["M1"]
                    rig.clock.pass_s(1)
                    status, _ = await act(rig.bench, {"do": "confirm-position"})
                    assert status == 200
                    cable.bytes_in = gauge.sent = 0
                    continue
                async with asyncio.timeout(20):
                    await rig.bench.heard("M1", gauge.sent)
                await rig.bench.go(number % 4)

            kept = []
            for entry in rig.store.entries():
                event = from_document(entry.document)
                if isinstance(event, ReadingTaken | ReadingParked):
                    kept.append(event.shown.pm)
            assert {f"{pm // 10**6}" for pm in kept} <= showed
            assert all(pm % 10**6 == 0 for pm in kept)
            assert len(kept) > 100
            assert rig.kinds().count("gauge-lost") == 300 // 13
            assert cable.noise_bytes > 100
        await gauge.unplug()

    run(test())


def test_every_fault_stands_in_the_shipped_scenario():
    found = {fault.what for fault in scenarios.load(TEXT, FILE).fault}
    assert found == {*SPOILT, "unit button", "low battery", "unplugged"}


def spoken(driver: str, what: str) -> list[bytes]:
    """What a gauge sends in four presses when the third one is struck."""

    async def test():
        about = scenarios.load(TEXT, FILE).gauge_for("micrometer")
        about = about.model_copy(update={"driver": driver})
        gauge = BenchGauge(about, RealPace(), spoiler(what, every=3))
        sent: list[bytes] = []

        class End:
            name = "end"
            write = sent.append

        gauge.endpoint = End()
        for um in (7961, 7962, 7963, 7964):
            gauge.touch(um)
            gauge.press()
        return sent

    return asyncio.run(test())


def test_a_gauge_with_a_low_battery_says_so_where_its_format_can_and_else_falls_silent():
    assert spoken("flag-line", "low battery")[2] == b"B0\r\n+7.963 mm=\r\n"
    assert spoken("signed-line", "low battery")[1:] == [
        b"+   7.962 MM\r", b"", b"+   7.964 MM\r",
    ]  # fmt: skip


def test_another_program_on_the_port_is_heard_with_its_request_and_its_answer():
    struck = spoken("flag-line", "two programs")[2]
    assert struck == b"R\r" + b"+7.963 mm=\r\n" * 2


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        ('gauge = "B1"\nwhat', 'gauge = "X9"\nwhat', "found 'X9', accepted: M1, B1, D1, C1, I1"),
        ('what = "decimal comma"', 'what = "unit button"', "whose format says the unit"),
        ("every = 23", "every = 0", "greater than or equal to 1"),
        ('what = "stall"\nevery = 17', 'what = "gremlin"\nevery = 17', "noise bytes"),
    ],
)
def test_a_fault_that_cannot_be_is_refused_with_its_line(old, new, what):
    text = TEXT.replace('"flag-line"', '"plain-line"')  # whose format does not say the unit
    assert text.count(old) == 1
    with pytest.raises(InputError, match=what) as fault:
        scenarios.load(text.replace(old, new), "mine.toml")
    assert fault.value.line
    assert fault.value.field.startswith("fault")


def test_the_demonstration_refuses_a_bench_with_faults(run_cli, tmp_path):
    folder = tmp_path / "out"
    status, out, err = run_cli("demo", "--scenario", "faulty-bench", "--out", folder)
    assert (status, out) == (2, "")
    assert "offer its gauges with gaugelink sim" in err
    assert not folder.exists()
