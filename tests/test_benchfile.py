"""A bench file is checked whole before any port is opened."""

from __future__ import annotations

from pathlib import Path

import pytest

from gaugelink import benchfile, content, sheetfile
from gaugelink.commands.bench_ready import not_measurable, overdue, too_coarse
from gaugelink.errors import InputError
from gaugelink.plan import plan_for
from gaugelink.ports.identity import Found, PortIdentity, PresentPort, bench_line, find, identity_of

BENCH = """\
[bench]
name = "bench 1"
operator = "A. Demo"
record = "records"
"""
MICROMETER = """
[[gauge]]
id = "M1"
kind = "micrometer"
title = "Outside micrometer 0-25 mm"
serial = "DEMO-2107"
driver = "signed-line"
u = "0.0019 mm"
calibration_due = "2027-03-31"
port = "COM5"
"""
INDICATOR = """
[[gauge]]
id = "I1"
kind = "indicator"
title = "Digital indicator 12.5 mm"
serial = "DEMO-1203"
driver = "mode-line"
u = "0.00006 in"
calibration_due = 2027-04-30
[gauge.bind]
usb = "0403:6001"
serial_number = "A5069RR4"
"""
JOB = """
[job]
name = "D-0042"
head = "Irrigation-pump diesel, invented"
serial = "IP6-0117"
stage = "as received"
sheet = "demo-pump-engine"
"""
TWO_BEHIND_ONE = (
    BENCH
    + MICROMETER.replace('driver = "signed-line"', 'driver = "mux-line"')
    + 'channel = "01"\n'
    + MICROMETER.replace('"M1"', '"M2"').replace('"signed-line"', '"mux-line"')
    + 'channel = "02"\n'
)


def load(text: str, file: str = "shop/bench.toml") -> benchfile.BenchFile:
    return benchfile.load(text, file)


def test_a_bench_is_read_with_what_lies_beside_it():
    bench = load(
        BENCH + 'page = 9000\nkeep_bytes = "bytes"\n' + JOB + MICROMETER + INDICATOR,
    )
    assert (bench.name, bench.operator, bench.page) == ("bench 1", "A. Demo", 9000)
    assert (bench.record, bench.keep_bytes) == (Path("shop/records"), Path("shop/bytes"))
    assert bench.job == benchfile.Job(
        "D-0042", "Irrigation-pump diesel, invented", "IP6-0117", "as received",
        "demo-pump-engine",
    )  # fmt: skip
    first, second = bench.gauges
    assert (first.gauge.id, first.gauge.u_pm, first.where.name) == ("M1", 1_900_000, "COM5")
    # 0.00006 in are 0.001524 mm: one inch is 25.4 mm exactly (international inch).
    assert (second.gauge.u_pm, second.gauge.calibration_due) == (1_524_000, "2027-04-30")
    assert second.where.identity is not None
    assert second.where.words == "USB adapter 0403:6001 with the serial number A5069RR4"


def test_what_is_left_out_has_a_fixed_page_no_job_and_no_recording():
    bench = load(BENCH + MICROMETER)
    assert (bench.page, bench.job, bench.keep_bytes) == (benchfile.PAGE, None, None)


def test_a_sheet_of_the_shops_own_lies_beside_the_bench_file():
    bench = load(BENCH + JOB.replace('"demo-pump-engine"', '"mine.toml"') + MICROMETER)
    assert bench.job is not None
    assert Path(bench.job.sheet) == Path("shop/mine.toml")


def test_a_recording_lies_beside_the_bench_file():
    bench = load(BENCH + MICROMETER.replace("COM5", "replay:takes/a.txt?speed=10"))
    assert bench.gauges[0].where.name == "replay:shop/takes/a.txt?speed=10"


def test_several_gauges_behind_one_port_are_put_together():
    [(where, gauges)] = load(TWO_BEHIND_ONE).by_place()
    assert where.name == "COM5"
    assert [(item.gauge.id, item.channel) for item in gauges] == [("M1", "01"), ("M2", "02")]


def test_a_port_with_a_name_of_its_own_is_shared_by_that_name():
    text = TWO_BEHIND_ONE.replace("COM5", "multiplexer") + (
        '[[port]]\nname = "multiplexer"\n[port.bind]\nusb = "1a86:7523"\npath = "1-2.3"\n'
    )
    [(where, gauges)] = load(text).by_place()
    assert where.words == "USB adapter 1a86:7523 in the socket 1-2.3"
    assert len(gauges) == 2


def test_one_port_of_an_adapter_that_has_several_is_bound_by_its_part():
    bench = load(BENCH + INDICATOR + 'part = "1.1"\n')
    identity = bench.gauges[0].where.identity
    assert identity is not None
    assert (identity.binds, identity.part) == ("serial number", "1.1")


def gone(text: str, line: str) -> str:
    assert text.count(line) == 1
    return text.replace(line, "")


BAD = [
    (BENCH, None, "gauge", "this key is missing"),
    (gone(BENCH, 'operator = "A. Demo"\n') + MICROMETER, 1, "bench.operator", "missing"),
    (BENCH + MICROMETER + MICROMETER, 17, "gauge.2.id", "found 'M1', as on line 7"),
    (BENCH + MICROMETER.replace('"M1"', '" "'), 7, "gauge.1.id", "at least 1 character"),
    (
        BENCH + MICROMETER.replace('"micrometer"', '"caliber"'), 8, "gauge.1.kind",
        "found 'caliber'; input should be 'micrometer', 'bore gauge'",
    ),
    (
        BENCH + MICROMETER.replace("signed-line", "scale24"), 8, "gauge.1.kind",
        "found 'micrometer', accepted with the driver scale24: ",
    ),
    (BENCH + MICROMETER.replace("signed-line", "nobody"), 11, "gauge.1.driver", "found 'nobody'"),
    (
        BENCH + MICROMETER.replace('"0.0019 mm"', "0.0019"), 12, "gauge.1.u",
        'found 0.0019, accepted: text with a unit such as "0.002 mm"',
    ),
    (
        BENCH + MICROMETER.replace("cal", 'repeatability = "0.0020 mm"\ncal'), 13,
        "gauge.1.repeatability", "found 0.002 mm, accepted: up to u, which has it in it: 0.0019 mm",
    ),
    (
        BENCH + MICROMETER.replace("cal", "repeatability = 0.9\ncal"), 13,
        "gauge.1.repeatability", "found 0.9, accepted: text with a unit",
    ),
    (BENCH + MICROMETER.replace("0.0019", "0"), 12, "gauge.1.u", "accepted: more than zero"),
    (
        BENCH + MICROMETER.replace("2027-03-31", "March"), 13, "gauge.1.calibration_due",
        "found 'March', accepted: a date such as 2027-03-31",
    ),
    (gone(BENCH + MICROMETER, 'port = "COM5"\n'), 6, "gauge.1", "found none, accepted: where it"),
    (BENCH + INDICATOR.replace('"A5069RR4"\n', '"A5"\npath = "1-2"\npart = "1.0"\n'), 18,
     "gauge.1.bind.part", "found path and part"),
    (gone(BENCH + INDICATOR, 'serial_number = "A5069RR4"\n'), 14, "gauge.1.bind",
     "found neither serial_number nor path"),
    (BENCH + INDICATOR.replace("0403:6001", "0403"), 15, "gauge.1.bind.usb",
     'found \'0403\', accepted: maker and product such as "0403:6001"'),
    (BENCH + MICROMETER + MICROMETER.replace("M1", "M2"), 17, "gauge.2.id",
     "the port COM5 has the gauge M1 on line 7 already"),
    (TWO_BEHIND_ONE.replace('"02"', '"01"'), 26, "gauge.2.channel",
     "found '01', which is that of M1 on line 7"),
    (TWO_BEHIND_ONE.replace('"mux-line"', '"mode-line"', 1), None, "gauge.1.kind", "mode-line"),
    (BENCH + '[[port]]\nname = "box"\nport = "COM7"\n' + MICROMETER, 6, "port.1.name",
     "no gauge has port = 'box'"),
    (BENCH + JOB.replace("D-0042", "../D") + MICROMETER, 7, "job.name",
     "found '../D', accepted: letters"),
    (BENCH + "colour = 3\n" + MICROMETER, 5, "bench.colour", "unknown key"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "line", "field", "words"), BAD, ids=lambda item: str(item)[:30])
def test_a_fault_is_named_with_file_line_and_field(
    text: str, line: int | None, field: str, words: str
):
    with pytest.raises(InputError) as fault:
        load(text)
    assert fault.value.file == "shop/bench.toml"
    assert fault.value.field == field, fault.value
    if line is not None:
        assert fault.value.line == line, fault.value
    assert words in fault.value.what


@pytest.mark.parametrize("name", ["con", "COM1", "nul.x", ".a", "a.", "a/b", "a\\b", "", "x" * 81])
def test_a_job_that_cannot_be_a_file_everywhere_is_refused(name: str):
    """The device names are those of the Windows file system (from memory)."""
    with pytest.raises(ValueError, match="the record is a file of this name"):
        benchfile.job_name(name)


def test_gauges_behind_one_multiplexer_have_one_driver():
    bench = TWO_BEHIND_ONE.replace('"mux-line"', '"mux-line-point"', 1)
    with pytest.raises(InputError, match="found 'mux-line', and M1 on line 7 has 'mux-line-point'"):
        load(bench)


ON_A_BRIDGE = TWO_BEHIND_ONE.replace("mux-line", "bcd52").replace('"01"', '"1"').replace(
    '"02"', '"2"'
)  # fmt: skip


def test_gauges_behind_a_bridge_may_have_each_their_own_driver():
    mixed = ON_A_BRIDGE.replace('"bcd52"', '"bcd28"', 1).replace('"micrometer"', '"caliper"', 1)
    [(_, gauges)] = load(mixed).by_place()
    assert [(item.driver.name, item.channel) for item in gauges] == [("bcd28", "1"), ("bcd52", "2")]
    with pytest.raises(InputError, match="found '02', accepted on a bridge: 1 to 9") as fault:
        load(ON_A_BRIDGE.replace('"2"', '"02"'))
    assert fault.value.field == "gauge.2.channel"


def test_the_channel_of_a_driver_file_for_a_bridge_holds_where_the_bench_file_names_none(
    tmp_path: Path,
):
    text, _ = content.read("drivers", "bcd52")
    assert text.count('kind = "serial"\n') == 1
    bridged = text.replace('kind = "serial"\n', 'kind = "bridge"\nchannel = 3\n')
    (tmp_path / "bridged.toml").write_text(bridged, "utf-8")
    file = str(tmp_path / "bench.toml")
    one = BENCH + MICROMETER.replace('"signed-line"', '"bridged.toml"')
    assert load(one, file).gauges[0].channel == "3"
    assert load(one + 'channel = "4"\n', file).gauges[0].channel == "4"


def test_gauges_behind_one_bridge_that_set_it_differently_are_refused(tmp_path: Path):
    text, _ = content.read("drivers", "bcd52")
    slow = text.replace("baud = 115200", "baud = 1200")
    assert slow != text
    (tmp_path / "slow.toml").write_text(slow, "utf-8")
    with pytest.raises(InputError, match="behind one port all are set alike"):
        load(ON_A_BRIDGE.replace('"bcd52"', '"slow.toml"', 1), str(tmp_path / "bench.toml"))


def test_a_gauge_is_overdue_from_the_day_after_its_date():
    gauges = [item.gauge for item in load(BENCH + MICROMETER).gauges]
    assert overdue(gauges, "2027-03-31") == []
    [words] = overdue(gauges, "2027-04-01")
    assert words.startswith("M1 (Outside micrometer 0-25 mm): its calibration was due on 2027-03-3")


def test_what_no_gauge_of_the_bench_can_measure_is_said_once_each():
    plan = plan_for(sheetfile.load(*content.read("sim/sheets", "demo-pump-engine")))
    bench = load(BENCH + MICROMETER + INDICATOR)
    said = not_measurable(plan, bench.gauges)
    assert said == [
        "guide bore cannot be measured: the bench has no bore gauge",
        "stand-down cannot be measured: the bench has no depth gauge",
        "installed spring height cannot be measured: the bench has no caliper",
        "spring free length cannot be measured: the bench has no caliper",
    ]
    pressed = load(BENCH + MICROMETER + INDICATOR.replace('"mode-line"', '"signed-line"'))
    assert (
        "guide clearance by rock cannot be measured: no indicator of the bench sends all the time"
    ) in not_measurable(plan, pressed.gauges)


def test_a_foot_pedal_has_a_port_of_its_own():
    pedal = '[pedal]\nport = "COM3"\nline = "cts"\n'
    bench = load(BENCH + pedal + MICROMETER)
    assert bench.pedal == benchfile.PedalAt("COM3", "cts", "accept")
    assert load(BENCH + MICROMETER).pedal is None
    with pytest.raises(InputError, match="found 'COM5', which has the gauge M1") as fault:
        load(BENCH + pedal.replace("COM3", "COM5") + MICROMETER)
    assert (fault.value.line, fault.value.field) == (6, "pedal.port")
    with pytest.raises(InputError, match="found 'rts'; input should be 'cts', 'dsr'"):
        load(BENCH + pedal.replace("cts", "rts") + MICROMETER)


def test_the_bench_file_that_ships_loads_and_can_measure_its_whole_sheet():
    text, file = content.read("sim/bench", "example")
    bench = benchfile.load(text, file)
    assert bench.job is not None
    assert bench.job.invented
    assert "invented" in text.splitlines()[0]
    assert [len(gauges) for _, gauges in bench.by_place()] == [1, 1, 2, 1]
    plan = plan_for(sheetfile.load(*content.read("sim/sheets", bench.job.sheet)))
    assert not_measurable(plan, bench.gauges) == []


def test_a_limit_that_a_gauge_is_too_coarse_for_is_named():
    """Every bound takes 1.645 u off (one-sided 95 % of the normal distribution, any table).

    The stems of the shipped sheet have 0.015 mm from new maximum to new minimum and more to where
    service ends; 1.645 times 0.1 mm is beyond all of it.
    """
    sheet = sheetfile.load(*content.read("sim/sheets", "demo-pump-engine"))
    fine = [item.gauge for item in load(BENCH + MICROMETER).gauges]
    coarse = [item.gauge for item in load(BENCH + MICROMETER.replace("0.0019", "0.1")).gauges]
    assert too_coarse(sheet, fine) == []
    [words] = too_coarse(sheet, coarse)
    assert words.startswith("stem diameter: the gauges of this bench cannot judge it")
    # Intake and exhaust have a room of 7.975 - 7.935 mm, less a little for the wider inch figure;
    # two bounds: 0.040 / (2 * 1.645) = 12.2 um.
    assert words.endswith("u is 100.0 um, and from 12.2 um on no value would be within")


HERE = [
    PresentPort("COM1"),
    PresentPort("\\\\.\\COM10", 0x0403, 0x6001, "A5069RR4", "1-2"),
    PresentPort("COM3", 0x1A86, 0x7523, "", "1-3"),
    PresentPort("COM4", 0x1A86, 0x7523, "", "1-4"),
    PresentPort("COM5", 0x10C4, 0xEA70, "0123ABC", "1-5:1.0"),
    PresentPort("COM6", 0x10C4, 0xEA70, "0123ABC", "1-5:1.1"),
    PresentPort("COM7", 0x10C4, 0xEA60, "0001", "1-6"),
]


@pytest.mark.parametrize("port", HERE, ids=lambda port: port.name)
def test_what_the_list_of_ports_says_for_a_bench_file_finds_the_same_port(port: PresentPort):
    line = bench_line(identity_of(port, HERE))
    where = load(BENCH + MICROMETER.replace('port = "COM5"', line)).gauges[0].where
    identity = where.identity or PortIdentity("given name", name=where.name)
    assert find(identity, HERE) == Found(port.name)


def test_repeatability_is_read_with_its_unit_and_may_be_left_out():
    told = MICROMETER.replace("cal", 'repeatability = "0.00003 in"\ncal')
    assert load(BENCH + MICROMETER).gauges[0].gauge.repeatability_pm is None
    assert load(BENCH + told).gauges[0].gauge.repeatability_pm == 762_000  # 0.03 thou
