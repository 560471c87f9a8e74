"""The command `ports` says what is there, what binds it, and who understands it; no guesses."""

from __future__ import annotations

import json
import threading

import pytest
from bench_kit import rocked, spring, stem
from cable_kit import PATIENCE_S, TcpCable, TerminalCable, needs_terminals, nothing_left

from gaugelink import content
from gaugelink.capture.listening import conclude, score
from gaugelink.cli import main
from gaugelink.commands.ports import Listener
from gaugelink.ports.identity import PresentPort
from gaugelink.ports.port import Chunk
from gaugelink.ports.serial import Line, SerialPort
from gaugelink.wire.driver import load_driver

__all__ = ["nothing_left"]

pytestmark = pytest.mark.usefixtures("nothing_left")

BCD52 = b"1111111111111111000000000000111010010110101011000000\n"
"""7.965 mm: FFFF 0 007965 3 0, after a measuring-projector maker's manual."""


def scores(data: bytes, times: int = 3):
    """What every driver makes of some frames, a second apart."""
    chunks = [Chunk(data, 1_000_000_000 * (number + 1)) for number in range(times)]
    drivers = [load_driver(*content.read("drivers", name)) for name in content.names("drivers")]
    return [score(driver, chunks, 0) for driver in drivers], len(data) * times


@pytest.mark.parametrize(
    ("data", "fits"),
    [
        (stem("7.965"), ["signed-line"]),
        (rocked(123), ["mode-line"]),
        (spring(4790), ["scale24"]),
        (b" 8.105\r", ["plain-line", "plain-line-inch"]),
        (BCD52, ["bcd52", "bcd52-inch8"]),
    ],
)
def test_every_shipped_way_of_sending_is_understood_by_those_that_must_and_no_other(data, fits):
    found, heard = scores(data)
    ours = {one.driver: one for one in found}
    assert [name for name in conclude(found, heard)[0] if name in SHIPPED] == fits
    for name in fits:
        assert len(ours[name].values) == 3
        assert (ours[name].noise_bytes, ours[name].partial_frames) == (0, 0)


SHIPPED = {
    "bcd52", "bcd52-inch8", "mode-line", "plain-line", "plain-line-inch", "scale24", "signed-line",
}  # fmt: skip


def test_between_two_that_read_different_values_nobody_guesses():
    found, heard = scores(b" 8.105\r")
    words = conclude([one for one in found if one.driver.startswith("plain-line")], heard)[1]
    assert "(8.105 mm, 8.105 in)" in words
    assert "only the gauge's display can tell" in words


def test_between_two_that_read_the_same_nobody_guesses():
    found, heard = scores(BCD52)
    words = conclude([one for one in found if one.driver.startswith("bcd52")], heard)[1]
    assert "bcd52 and bcd52-inch8 both fit, and read the same" in words
    assert "what tells them apart was not sent" in words


def test_a_keyboard_is_listened_to_only_if_it_is_named(monkeypatch, capsys):
    """Taken without being asked, it would be the operator's own."""
    board = PresentPort("keyboard:/dev/input/event3", 1, 2, "", "1-2:input0", "a keyboard")
    monkeypatch.setattr("gaugelink.ports.listing.present_ports", lambda: [board])
    opened: list[str] = []

    def taken(_self, name: str):
        opened.append(name)
        return {"bytes": 0, "fits": [], "words": "nothing came", "drivers": [], "bridge": None,
                "opened": True}  # fmt: skip

    monkeypatch.setattr(Listener, "listen", taken)
    assert main(["ports", "--listen", "1"]) == 0
    assert opened == []
    assert "if it is the gauge's, name it with --port" in capsys.readouterr().out
    assert main(["ports", "--listen", "1", "--port", board.name]) == 1
    assert opened == [board.name]


def test_noise_is_understood_by_nobody_and_that_is_said():
    found, heard = scores(b"\x00\xffhello\r\n", 4)
    assert conclude(found, heard) == ([], "36 bytes came, and no driver file understands them")


def test_a_little_noise_does_not_hide_the_one_that_fits():
    found, heard = scores(stem("7.965") * 5 + b"+ \xff.1 MM\r")
    assert "signed-line" in conclude(found, heard)[0]
    assert next(one for one in found if one.driver == "signed-line").noise_bytes == 3 * 9


def test_silence_is_not_taken_for_a_driver():
    found, _ = scores(b"", 0)
    fits, words = conclude(found, 0)
    assert fits == []
    assert "nothing came" in words


@needs_terminals
class TestPorts:
    """On real terminals."""

    def test_a_port_that_another_program_has_is_named_and_not_tried_again(self, run_cli):
        """The other program is this one."""
        cable = TerminalCable()
        other = SerialPort(cable.name, Line(), lambda: 0)
        other.open(lambda _item: None)
        status, out, err = run_cli("ports", "--listen", "5", "--port", cable.name, "--json")
        other.close()
        cable.pull()
        assert status == 1
        assert err.count(cable.name) == 1, "the other settings are not tried"
        [port] = json.loads(out)["ports"]
        assert port["heard"]["opened"] is False
        assert f"{cable.name} is in use by another program" in port["heard"]["words"]

    def test_before_each_wait_it_says_which_port_and_setting_and_how_long_it_still_takes(self):
        """Somebody stands there with a gauge in the hand; no wait goes beyond what was said."""
        cables = [TerminalCable(), TerminalCable()]
        said: list[str | float] = []
        listener = Listener(4.0, wait=said.append, tell=said.append)
        listener.expect([cable.name for cable in cables])
        for cable in cables:
            listener.listen(cable.name)
            cable.pull()
        settings = len(listener._groups(cables[0].name))
        first, *rest = said
        assert str(first).startswith(
            f"Listening to 2 ports, once with each of up to {settings} settings of the line, "
            "4 s at a time: up to "
        )
        told, waits = rest[::2], rest[1::2]
        assert waits == [4.0] * 2 * settings
        for number, words in enumerate(told):
            name = cables[number // settings].name
            place = number % settings + 1
            assert str(words).startswith(f"{name}: setting {place} of {settings}, ")
            left_s = int(str(words).rsplit("up to ", 1)[1].removesuffix(" s left"))
            assert 0 <= left_s - sum(waits[number:]) <= 0.25 * (len(waits) - number) + 1
        assert any("9600 baud, 8 data bits, parity none, stop bits 1" in str(one) for one in told)

    def test_a_port_that_does_not_open_is_not_waited_for(self):
        said: list[str] = []
        listener = Listener(4.0, wait=lambda _s: pytest.fail("it waited"), tell=said.append)
        listener.expect(["/dev/pts/nobody", "/dev/pts/neither"])
        for name in ("/dev/pts/nobody", "/dev/pts/neither"):
            listener.listen(name)
        settings = len(listener._groups("/dev/pts/nobody"))
        assert said[-1].endswith(f"up to {-(-settings * 17 // 4)} s left")

    def test_the_driver_that_understands_a_gauge_is_told(self, run_cli):
        cable = TerminalCable()
        over = threading.Event()

        def press_again_and_again():
            while not over.wait(0.02):
                cable.send(stem("7.965"))

        gauge = threading.Thread(target=press_again_and_again)
        gauge.start()
        status, out, _err = run_cli("ports", "--listen", "0.3", "--port", cable.name, "--json")
        over.set()
        gauge.join()
        cable.pull()
        [port] = json.loads(out)["ports"]
        assert port["bind"]["by"] == "name"
        fits = port["heard"]["fits"]
        assert "signed-line" in fits
        assert SHIPPED.isdisjoint(set(fits) - {"signed-line"})
        assert status == (0 if len(fits) == 1 else 1)
        assert port["heard"]["drivers"][0]["driver"] == "signed-line"
        assert port["heard"]["drivers"][0]["first"] == "7.965 mm"


def test_a_gauge_that_waits_is_asked_only_when_that_is_wanted():
    for ask in (True, False):
        cable = TcpCable()
        asked: list[bytes] = []
        waited: list[float] = []
        kept = []

        def wait(seconds, cable=cable, ask=ask, asked=asked, waited=waited, kept=kept):
            waited.append(seconds)
            if ask:
                asked.append(cable.line.recv(256))
                cable.line.setblocking(False)
                with pytest.raises(BlockingIOError):  # one request a connection
                    cable.line.recv(1)
                kept.append(cable.line)
                cable._line = None
            else:
                cable.line.setblocking(False)
                with pytest.raises(BlockingIOError):
                    cable.line.recv(1)

        heard = Listener(1.0, ask=ask, wait=wait).listen(cable.name)
        assert heard["opened"]
        assert heard["fits"] == []
        assert (b"R\r" in asked) == ask
        assert sum(waited) == pytest.approx(1.0)
        for line in kept:
            line.close()
        cable.pull()


def test_a_counter_in_the_network_is_found_by_asking_and_only_its_driver_fits():
    """The other end hangs up on every request but its own, as a careful server may."""
    cable = TcpCable()
    mine = load_driver(*content.read("drivers", "modbus-tcp"))

    def wait(_seconds):
        if cable.line.recv(256) == mine.request:
            cable.send(mine.examples[0].data)
        cable.forget()
        for thread in threading.enumerate():
            if thread.name == f"port {cable.name}":
                thread.join(PATIENCE_S)

    heard = Listener(1.0, ask=True, wait=wait).listen(cable.name)
    cable.pull()
    assert heard["fits"] == ["modbus-tcp"]
    assert heard["words"] == "modbus-tcp fits: it read 7.965 mm"


def test_the_listing_alone_opens_nothing_and_is_one_document(run_cli):
    status, out, err = run_cli("ports", "--json")
    assert (status, err) == (0, "")
    assert isinstance(json.loads(out)["ports"], list)


def test_an_address_is_said_to_keep_its_name(run_cli):
    status, out, err = run_cli("ports", "--port", "tcp://127.0.0.1:9")
    assert (status, err) == (0, "")
    assert "known by name: not in the system's list; it keeps its name" in out
    assert "in a bench file: port = " in out


@pytest.mark.parametrize("seconds", ["0", "-1", "601", "nan"])
def test_a_bad_time_is_refused(run_cli, seconds):
    status, out, err = run_cli("ports", "--listen", seconds)
    assert (status, out) == (2, "")
    assert "accepted: more than 0, up to 600 seconds" in err


def test_asking_without_listening_is_refused(run_cli):
    status, out, err = run_cli("ports", "--ask")
    assert (status, out) == (2, "")
    assert "together with --listen" in err
