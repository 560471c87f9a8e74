"""The command `ports` says which channels are behind a port, of a bridge or of a multiplexer."""

from __future__ import annotations

import json
import threading

import pytest
from bridge_kit import CAPTURED, PUBLISHED, chunks_of
from cable_kit import PATIENCE_S, TcpCable, TerminalCable, needs_terminals, nothing_left
from hypothesis import given, strategies as st

from gaugelink import content
from gaugelink.capture.bridge_listening import bridge_heard
from gaugelink.capture.listening import conclude, score
from gaugelink.commands.ports import Listener
from gaugelink.ports.port import Chunk
from gaugelink.simulate.bridge import SimulatedBridge
from gaugelink.simulate.encoders import ENCODERS, Display
from gaugelink.wire.driver import load_driver

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")

DRIVERS = [load_driver(*content.read("drivers", name)) for name in content.names("drivers")]
CALIPER = next(iter(CAPTURED))
MUX = b"".join(
    ENCODERS["mux-line"](Display(counts, 3, "mm", channel=channel))
    for counts, channel in ((7965, "01"), (4000, "12"), (7966, "01"))
)


def bridge_lines(*, hello: bool = True) -> list[bytes]:
    """A bridge with a caliper on 1, a projector's frames on 2, and nothing on 3."""
    bridge = SimulatedBridge([1, 2, 3], run=7)
    lines = [bridge.hello(0)] if hello else []
    lines += [bridge.frame(1, bits, 1000 * place) for place, bits in enumerate(CAPTURED)]
    lines += [bridge.frame(2, PUBLISHED, 9000), bridge.status(3, 10_000)]
    return lines


def heard(data: bytes):
    return bridge_heard([Chunk(data, 0)], DRIVERS)


def test_a_bridge_is_known_and_each_channel_has_its_drivers():
    """Frames of a real caliper, and the example in a measuring-projector maker's manual."""
    found = heard(b"".join(bridge_lines()))
    assert found.words == "a bridge is here, with 3 channels (1, 2, 3), firmware 1.0.0"
    one, two, three = (found.channels[number] for number in (1, 2, 3))
    assert (one.fits, one.frames) == (["scale24"], len(CAPTURED))
    assert one.words.startswith("scale24 fits: it read 0.00 mm, 0.50 mm, 10.00 mm")
    assert two.fits == ["bcd52", "bcd52-inch8"]
    assert "both fit, and read the same (-12.345 mm)" in two.words
    assert (three.fits, three.frames) == ([], 0)
    assert three.words == "no frame came; press the gauge's button, or look at its cable"


def test_a_bridge_that_says_no_hello_shows_by_its_status_and_its_frames():
    found = heard(b"".join(bridge_lines(hello=False)))
    assert found.words == "a bridge is here, with 3 channels (1, 2, 3)"


def test_lost_frames_missed_clocks_and_a_low_supply_are_said():
    bridge = SimulatedBridge([1], run=7)
    lines = [bridge.frame(1, CALIPER, 1000 * place) for place in range(4)]
    lines.append(bridge.status(1, 9000, dropped=12, supply="low"))
    found = heard(lines[0] + lines[2] + lines[3] + lines[4])
    assert found.words.endswith("its supply is low")
    channel = found.channels[1]
    assert (channel.frames, channel.lost, channel.dropped) == (3, 1, 12)
    assert "1 frame was lost on the way; the bridge itself missed clocks 12 times" in channel.words


def test_frames_that_no_driver_understands_are_said_to_be_so():
    found = heard(SimulatedBridge([4], run=7).frame(4, "0101", 0))
    assert found.channels[4].fits == []
    assert found.channels[4].words == "1 frame came, and no driver file understands it"


@given(data=st.binary(max_size=300))
def test_junk_is_no_bridge(data):
    assert heard(data) is None


@pytest.mark.parametrize("line", [b"@1 bits 2 017 0000004711 0101 3BAF\n", b"@1 hello\n", b"@\n"])
def test_a_line_that_fails_its_check_is_no_bridge(line):
    assert heard(line) is None


@given(cuts=st.lists(st.integers(0, 600), max_size=8))
def test_how_the_bytes_were_cut_changes_nothing(cuts):
    stream = b"tail of a line\n" + b"".join(bridge_lines())
    whole = heard(stream)
    cut = bridge_heard([Chunk(piece, 0) for piece in chunks_of(stream, cuts)], DRIVERS)
    assert cut == whole


def test_the_channels_of_a_multiplexer_are_named():
    driver = next(one for one in DRIVERS if one.name == "mux-line")
    one = score(driver, [Chunk(MUX, 10**9)], 0)
    assert one.channels == ("01", "12")
    words = conclude([one], len(MUX))[1]
    assert words == "mux-line fits: it read 7.965 mm, 4.000 mm, 7.966 mm from channels 01, 12"


def hang_up(cable: TcpCable) -> None:
    """End the connection, and wait until the port has given out what came before."""
    cable.forget()
    for thread in threading.enumerate():
        if thread.name == f"port {cable.name}":
            thread.join(PATIENCE_S)


def listen(data: bytes):
    """Listen to a connection that sends this and then ends; it must be sent nothing."""
    cable = TcpCable()

    def wait(_seconds):
        cable.send(data)
        cable.line.setblocking(False)
        with pytest.raises(BlockingIOError):
            cable.line.recv(1)
        hang_up(cable)

    found = Listener(1.0, wait=wait).listen(cable.name)
    cable.pull()
    return found


def test_a_bridge_in_the_network_is_known_and_nothing_is_sent_to_it():
    found = listen(b"".join(bridge_lines()))
    assert found["opened"]
    assert found["words"] == "a bridge is here, with 3 channels (1, 2, 3), firmware 1.0.0"
    assert [one["fits"] for one in found["bridge"]["channels"]] == [
        ["scale24"], ["bcd52", "bcd52-inch8"], [],
    ]  # fmt: skip
    assert found["bridge"]["channels"][0]["drivers"][0]["first"] == "0.00 mm"
    assert (found["fits"], found["drivers"]) == ([], [])


def test_a_multiplexer_in_the_network_has_its_channels_named():
    found = listen(MUX)
    assert found["bridge"] is None
    mux = next(one for one in found["drivers"] if one["driver"] == "mux-line")
    assert (mux["fits"], mux["channels"]) == (True, ["01", "12"])


def test_a_bridge_is_asked_who_it_is_and_for_the_gauge_on_each_channel():
    """Requests as in docs/bridge-line.md; only with `ask`, and only once it was heard."""
    cable = TcpCable()
    bridge = SimulatedBridge([1, 2], run=7)
    sent: list[bytes] = []
    came = threading.Event()

    def mono_ns():
        if threading.current_thread().name.startswith("port"):
            came.set()
        return 0

    def wait(_seconds):
        sent.append(cable.line.recv(256))
        if len(sent) == 1:
            cable.send(bridge.status(1, 0) + bridge.status(2, 0))
            assert came.wait(PATIENCE_S)
        if sent[-1] == b"@1 ask 2 4720\n":
            cable.send(bridge.frame(2, CALIPER, 0))
            hang_up(cable)

    found = Listener(1.0, ask=True, wait=wait, mono_ns=mono_ns).listen(cable.name)
    cable.pull()
    assert sent[-3] == b"@1 who 505E\n"
    assert sent[-2].startswith(b"@1 ask 1 ")
    assert not any(one.startswith(b"@") for one in sent[:-3])
    assert [one["fits"] for one in found["bridge"]["channels"]] == [[], ["scale24"]]


@needs_terminals
def test_the_command_says_it_for_a_port_of_this_machine(run_cli):
    cable = TerminalCable()
    over = threading.Event()
    bridge = SimulatedBridge([2], run=7)

    def press_again_and_again():
        while not over.wait(0.02):
            cable.send(bridge.frame(2, CALIPER, 0))

    gauge = threading.Thread(target=press_again_and_again)
    gauge.start()
    words = ["ports", "--listen", "0.3", "--port", cable.name]
    status, out, _ = run_cli(*words, "--json")
    in_words = run_cli(*words)
    over.set()
    gauge.join()
    cable.pull()
    [port] = json.loads(out)["ports"]
    [channel] = port["heard"]["bridge"]["channels"]
    assert (channel["channel"], channel["fits"], status) == (2, ["scale24"], 0)
    assert in_words[0] == 0
    assert "a bridge is here, with 1 channel (2)" in in_words[1]
    assert "    channel 2: scale24 fits: it read 0.00 mm" in in_words[1]
