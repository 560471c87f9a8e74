"""A driver file that says: through a bridge, on this channel."""

from __future__ import annotations

import json

import pytest
from bridge_kit import CAPTURED, PUBLISHED, chunks_of, run
from hypothesis import given, strategies as st

from gaugelink import cli, content
from gaugelink.errors import InputError
from gaugelink.simulate.bridge import SimulatedBridge, checked
from gaugelink.wire.base import Noise, Partial, Value
from gaugelink.wire.driver import load_driver


@pytest.fixture(autouse=True)
def _no_folder_of_the_user(monkeypatch):
    monkeypatch.delenv("GAUGELINK_CONTENT", raising=False)


def bridged(name, port='kind = "bridge"\nchannel = 2', **changes):
    """A driver that ships, put behind a bridge."""
    text, _ = content.read("drivers", name)
    before, _, after = text.partition("[port]")
    _, _, rest = after.partition("\n\n")
    text = f"{before}[port]\n{port}\n\n{rest}"
    for old, new in changes.values():
        assert old in text
        text = text.replace(old, new)
    return text


def stream_of_two_gauges():
    bridge = SimulatedBridge([1, 2], run=3)
    stream = bridge.hello(0)
    for place, bits in enumerate(CAPTURED):
        stream += bridge.frame(2, bits, 100 * place) + bridge.frame(1, PUBLISHED, 100 * place)
    return stream + bridge.status(2, 10**6, dropped=1, supply="low") + bridge.note(2, "busy", 10**6)


def test_a_driver_behind_a_bridge_reads_its_own_channel_and_says_what_the_rest_is():
    driver = load_driver(bridged("scale24"), "shop.toml")
    items = run(driver.decoder(), stream_of_two_gauges())
    values = [item for item in items if isinstance(item, Value)]
    assert [str(value.shown) for value in values] == list(CAPTURED.values())
    assert {value.notes for value in values} == {()}
    assert values[0].raw.startswith(b"@1 bits 2 000 ")
    others = [item.why for item in items if isinstance(item, Noise)]
    assert others[0] == "the bridge has started: firmware 1.0.0, channels 1, 2"
    assert others[1] == "channel 1 has no gauge here"
    assert others[-2:] == [
        "the bridge on channel 2: clocks missed 1 times, supply low",
        "the bridge on channel 2: busy",
    ]


def test_lost_frames_and_a_restart_are_noted_beside_the_next_value():
    driver = load_driver(bridged("scale24"), "shop.toml")
    bridge, again = SimulatedBridge([2], run=3), SimulatedBridge([2], run=4)
    zero = "0" * 24
    stream = bridge.hello(0)
    for _ in range(2):
        bridge.frame(2, zero, 0)
    stream += bridge.frame(2, zero, 1) + bridge.frame(2, zero, 2)
    bridge.frame(2, zero, 3)
    stream += bridge.status(2, 4) + again.hello(0) + again.frame(2, zero, 5)
    hello, late, value, status, _, after = run(driver.decoder(), stream)
    assert "started" in hello.why
    assert late.notes == ("2 frames were lost before this",)
    assert value.notes == ()
    assert status.why.endswith("supply good; 1 frame was lost before this")
    assert after.notes == ("the bridge has started again",)


@given(cuts=st.lists(st.integers(0, 1200)), joined=st.booleans(), skip=st.integers(0, 200))
def test_cutting_never_changes_the_items_of_a_bridged_driver(cuts, joined, skip):
    driver = load_driver(bridged("scale24"), "shop.toml")
    stream = stream_of_two_gauges()[skip:]
    whole = run(driver.decoder(joined_midstream=joined), stream)
    assert run(driver.decoder(joined_midstream=joined), *chunks_of(stream, cuts)) == whole
    assert b"".join(item.raw for item in whole) == stream


def test_a_pause_on_the_port_breaks_a_line_off():
    decoder = load_driver(bridged("scale24"), "shop.toml").decoder()
    assert decoder.feed(b"@1 bits 2 0") == []
    assert decoder.gap() == [Partial(b"@1 bits 2 0", "a pause inside the line")]


def test_a_gauge_behind_a_bridge_is_asked_through_its_request_wire():
    asked = ('sends = "when pressed"', 'sends = "when asked"')
    driver = load_driver(bridged("bcd52", asked=asked), "shop.toml")
    assert driver.request == checked(b"@1 ask 2 ")
    assert load_driver(bridged("bcd52"), "shop.toml").request is None


@pytest.mark.parametrize(
    ("name", "port", "field", "what"),
    [
        ("scale24", 'kind = "bridge"', "port.channel", "missing; accepted: the gauge's channel"),
        ("scale24", 'kind = "bridge"\nchannel = 0', "port.channel", "greater than or equal to 1"),
        ("scale24", 'kind = "serial"\nchannel = 2', "port.channel", "a serial port has no channel"),
        ("scale24", 'kind = "tcp"\nchannel = 2', "port.channel", "a tcp port has no channels"),
        ("signed-line", 'kind = "bridge"\nchannel = 2', "port.kind", "not that of a clocked gauge"),
    ],
)
def test_a_port_that_cannot_be_is_refused_in_one_sentence(name, port, field, what):
    with pytest.raises(InputError, match=what) as refused:
        load_driver(bridged(name, port), "shop.toml")
    assert refused.value.field == field


def test_the_command_decode_reads_a_recording_of_a_bridge(tmp_path, capsys):
    (tmp_path / "scale24.toml").write_text(bridged("scale24"), encoding="utf-8")
    recording = tmp_path / "recorded.bin"
    recording.write_bytes(stream_of_two_gauges())
    driver = str(tmp_path / "scale24.toml")
    assert cli.main(["decode", "--json", "--driver", driver, str(recording)]) == 0
    *rows, summary = map(json.loads, capsys.readouterr().out.splitlines())
    assert [f"{row['value']} {row['unit']}" for row in rows] == list(CAPTURED.values())
    assert rows[1]["raw"].startswith("@1 bits 2 001 0000000100 010011")
    assert summary["frames"] == 7


def test_a_logic_capture_of_the_gauge_itself_needs_no_bridge(tmp_path, capsys):
    (tmp_path / "scale24.toml").write_text(bridged("scale24"), encoding="utf-8")
    capture = "$timescale 1 us $end $var wire 1 c CLK $end $var wire 1 d DATA $end $enddefinitions"
    capture += " $end #0 0c 0d\n" + "".join(
        f"#{100 * place} {bit}d #{100 * place + 40} 1c #{100 * place + 90} 0c\n"
        for place, bit in enumerate("001001100000000000001000", 1)
    )
    (tmp_path / "wires.vcd").write_text(capture + "#9000\n", encoding="utf-8")
    driver = str(tmp_path / "scale24.toml")
    assert cli.main(["decode", "--json", "--driver", driver, str(tmp_path / "wires.vcd")]) == 0
    first, _ = map(json.loads, capsys.readouterr().out.splitlines())
    assert (first["value"], first["raw"]) == ("-1.00", "001001100000000000001000")
