"""A gauge that types is read from its keyboard: right layout, right times, and nobody else's keys.

No machine here has a device to make keyboards of (``/dev/uinput``). What is real: the events go as
the kernel writes them (struct input_event) through a real pipe, and python-evdev's own reader takes
them apart. What is not: the device's answers to being taken, its lamps and its list of keys.
"""

from __future__ import annotations

import errno
import os
import struct
import sys
from itertools import pairwise

import pytest
from bench_kit import Clock
from cable_kit import Sink, nothing_left
from hypothesis import given, strategies as st

from gaugelink import content
from gaugelink.capture.cable import alone
from gaugelink.capture.channel import Channel
from gaugelink.capture.listening import score
from gaugelink.errors import InputError, PortError
from gaugelink.ports import keyboard, keyboard_elsewhere
from gaugelink.ports.identity import find, identity_of
from gaugelink.ports.keylayout import NOTHING_SENSIBLE, Keys, KeyTimes, strokes
from gaugelink.ports.naming import port_for
from gaugelink.ports.port import Chunk, Lost
from gaugelink.ports.serial import Line
from gaugelink.reading import Gauge
from gaugelink.wire.driver import load_driver

pytestmark = pytest.mark.usefixtures("nothing_left")
__all__ = ["nothing_left"]

MS = 1_000_000
LAYOUTS = ("us", "de", "fr")


def typed(layout: str, events, **locks: bool) -> str:
    keys = Keys(layout, **locks)
    return "".join(keys.feed(code, value) for code, value in events)


# ---- layouts ------------------------------------------------------------------------------------

# From the xkb layouts us, de and fr (xkb-data, file symbols): key, without shift, with shift. Keys
# are named by their places as there: AE01 is the 1 of the upper row, AB07 the M of a us keyboard.
PLACES = {"AE01": 2, "AE06": 7, "AE08": 9, "AE10": 11, "AE11": 12, "AE12": 13, "AD01": 16,
          "AD02": 17, "AD06": 21, "AD12": 27, "AC01": 30, "AC05": 34, "AC10": 39, "AB01": 44,
          "AB07": 50, "AB08": 51, "AB09": 52, "AB10": 53, "LSGT": 86}  # fmt: skip
XKB = {
    "us": {"AE01": "1!", "AE06": "6^", "AE08": "8*", "AE10": "0)", "AE11": "-_", "AE12": "=+",
           "AD01": "qQ", "AD02": "wW", "AD06": "yY", "AD12": "]}", "AC01": "aA", "AC05": "gG",
           "AC10": ";:", "AB01": "zZ", "AB07": "mM", "AB08": ",<", "AB09": ".>", "AB10": "/?"},
    "de": {"AE01": "1!", "AE06": "6&", "AE08": "8(", "AE10": "0=", "AE11": "ß?", "AD01": "qQ",
           "AD02": "wW", "AD06": "zZ", "AD12": "+*", "AC01": "aA", "AC05": "gG", "AC10": "öÖ",
           "AB01": "yY", "AB07": "mM", "AB08": ",;", "AB09": ".:", "AB10": "-_", "LSGT": "<>"},
    "fr": {"AE01": "&1", "AE06": "-6", "AE08": "_8", "AE10": "à0", "AE11": ")°", "AE12": "=+",
           "AD01": "aA", "AD02": "zZ", "AD06": "yY", "AD12": "$£", "AC01": "qQ", "AC05": "gG",
           "AC10": "mM", "AB01": "wW", "AB07": ",?", "AB08": ";.", "AB09": ":/", "AB10": "!§",
           "LSGT": "<>"},
}  # fmt: skip


@pytest.mark.parametrize(
    ("layout", "place", "pair"),
    [(layout, place, pair) for layout, rows in XKB.items() for place, pair in rows.items()],
)
def test_a_key_types_what_the_layout_has_at_its_place(layout, place, pair):
    code = PLACES[place]
    assert typed(layout, [(code, 1), (code, 0)]) == pair[0]
    for shift in (42, 54):
        assert typed(layout, [(shift, 1), (code, 1), (code, 0), (shift, 0)]) == pair[1]


def test_the_places_have_the_numbers_that_the_kernel_gives_them():
    codes = pytest.importorskip("evdev", reason="needs the extra keyboard").ecodes
    names = {"AE01": "1", "AE06": "6", "AE08": "8", "AE10": "0", "AE11": "MINUS", "AE12": "EQUAL",
             "AD01": "Q", "AD02": "W", "AD06": "Y", "AD12": "RIGHTBRACE", "AC01": "A", "AC05": "G",
             "AC10": "SEMICOLON", "AB01": "Z", "AB07": "M", "AB08": "COMMA", "AB09": "DOT",
             "AB10": "SLASH", "LSGT": "102ND"}  # fmt: skip
    assert {place: codes.ecodes[f"KEY_{name}"] for place, name in names.items()} == PLACES
    pad = [codes.ecodes[f"KEY_KP{digit}"] for digit in range(10)]
    assert typed("us", [(code, 1) for code in pad]) == "0123456789"
    others = ["KPDOT", "KPMINUS", "KPPLUS", "KPENTER", "ENTER", "TAB", "SPACE"]
    events = [(codes.ecodes[f"KEY_{name}"], 1) for name in others]
    assert typed("us", events) == ".-+\n\n\t "
    assert typed("de", events)[0] == ","
    assert typed("fr", events)[0] == "."
    for name in ("LEFTCTRL", "RIGHTCTRL", "LEFTALT", "RIGHTALT", "LEFTMETA", "RIGHTMETA"):
        held = codes.ecodes[f"KEY_{name}"]
        assert typed("us", [(held, 1), (2, 1), (2, 0), (held, 0), (2, 1)]) == f"{NOTHING_SENSIBLE}1"
    assert typed("us", [(codes.ecodes["KEY_NUMLOCK"], 1), (pad[7], 1)]) == NOTHING_SENSIBLE
    assert typed("us", [(codes.ecodes["KEY_CAPSLOCK"], 1), (30, 1), (2, 1)]) == "A1"


@pytest.mark.parametrize("layout", LAYOUTS)
@given(text=st.text(alphabet="0123456789+-,. GmMinIN\n\t", max_size=30))
def test_everything_that_a_figure_is_made_of_can_be_typed_on_every_layout(layout, text):
    assert typed(layout, strokes(text, layout)) == text


@pytest.mark.parametrize("layout", LAYOUTS)
@given(events=st.lists(st.tuples(st.integers(0, 767), st.integers(0, 2)), max_size=60))
def test_any_keys_at_all_give_a_character_each_at_most(layout, events):
    keys = Keys(layout)
    for code, value in events:
        assert len(keys.feed(code, value)) <= 1


def test_a_wrong_layout_gives_noise_and_never_another_number():
    driver = load_driver(*content.read("drivers", "keys-line"))
    for typist in LAYOUTS:
        for reader in LAYOUTS:
            text = typed(reader, strokes("G-12.345\n", typist))
            items = driver.decoder().feed(text.encode())
            shown = [str(item.shown) for item in items if hasattr(item, "shown")]
            assert shown == (["-12.345 mm"] if typist == reader else [])


def test_the_keypad_without_its_lock_types_no_digits():
    assert typed("us", [(71, 1)], num_lock=False) == NOTHING_SENSIBLE
    assert typed("us", [(69, 1), (69, 0), (71, 1)], num_lock=False) == "7"
    assert typed("us", [(42, 1), (71, 1)]) == NOTHING_SENSIBLE


# ---- times --------------------------------------------------------------------------------------


@given(
    gaps=st.lists(st.integers(0, 3000), min_size=1, max_size=20),
    late=st.lists(st.integers(0, 900), min_size=21, max_size=21),
)
def test_keys_keep_their_distances_however_late_they_are_read(gaps, late):
    """The kernel's clock began at another time; reading is late by chance, several at once."""
    sent = [0]
    for gap in gaps:
        sent.append(sent[-1] + gap)
    reads: dict[int, list[int]] = {}
    now = 0
    for at, delay in zip(sent, late, strict=False):
        now = max(now, at + delay)
        reads.setdefault(now, []).append((10**6 + at) * MS)
    times, given_ns = KeyTimes(), []
    for now, events in reads.items():
        given_ns += times.date(events, now * MS)
    for gap, before, after in zip(gaps, given_ns, given_ns[1:], strict=False):
        assert after - before == gap * MS if gap < 1000 else after - before >= 1000 * MS
    for at, given_at in zip(sent, given_ns, strict=True):
        assert at * MS <= given_at


def test_a_clock_that_is_set_back_dates_anew_and_nothing_runs_back():
    times = KeyTimes()
    assert times.date([50_000 * MS], 100 * MS) == [100 * MS]
    assert times.date([20_000 * MS], 170 * MS) == [170 * MS]
    assert times.date([20_010 * MS], 300 * MS) == [180 * MS]
    assert times.date([90_000 * MS], 310 * MS) == [1180 * MS]
    assert times.date([10_000 * MS, 9_000 * MS], 2000 * MS) == [2000 * MS, 2000 * MS]


# ---- the port -----------------------------------------------------------------------------------


class PipedKeyboard:
    """python-evdev's reader over a pipe that is written to as the kernel would."""

    def __init__(self, lamps=(0,), fault: int = 0) -> None:
        eventio = pytest.importorskip("evdev.eventio", reason="needs the extra keyboard")
        self.fd, self._write = os.pipe()
        os.set_blocking(self.fd, False)
        self._io = eventio.EventIO()
        self._io.fd = self.fd
        self._lamps, self._fault = lamps, fault
        self.taken = self.closed = False

    def fileno(self) -> int:
        return self.fd

    def read(self):
        return self._io.read()

    def grab(self) -> None:
        if self._fault:
            raise OSError(self._fault, os.strerror(self._fault))
        self.taken = True

    def leds(self):
        return self._lamps

    def capabilities(self):
        return {17: [0, 1]}

    def close(self) -> None:
        self.closed = True
        os.close(self.fd)

    def event(self, kind: int, code: int, value: int, ms: int) -> bytes:
        return struct.pack("llHHi", 1_700_000_000 + ms // 1000, ms % 1000 * 1000, kind, code, value)

    def type(self, text: str, ms: int, every_ms: int = 4, layout: str = "us") -> int:
        """Type, all in one write; give the time at the end."""
        data = b""
        for code, value in strokes(text, layout):
            data += self.event(4, 4, 0x70000, ms) + self.event(1, code, value, ms)
            data += self.event(0, 0, 0, ms)
            ms += every_ms if value == 0 else 0
        os.write(self._write, data)
        return ms

    def send(self, *data: bytes) -> None:
        os.write(self._write, b"".join(data))

    def unplug(self) -> None:
        os.close(self._write)


def port_over(device: PipedKeyboard, clock: Clock, layout: str = "us"):
    linux = pytest.importorskip("gaugelink.ports.keyboard_linux", reason="only on Linux")

    class Over(linux.KeyboardPort):
        def _connect(self):
            return device

    return Over("keyboard:event3", "/dev/input/event3", layout, clock.mono_ns)


def hear(sink: Sink, count: int) -> list[Chunk]:
    return [sink.next() for _ in range(count)]


def test_what_a_keyboard_types_comes_a_key_a_chunk_with_the_distances_of_the_keys():
    device, clock, sink = PipedKeyboard(), Clock(), Sink()
    port = port_over(device, clock)
    port.open(sink)
    assert device.taken
    clock.pass_s(5)
    device.type("G7.965\n", 1000, every_ms=8)
    chunks = hear(sink, 7)
    assert b"".join(chunk.data for chunk in chunks) == b"G7.965\n"
    # Read all at once: the last one is dated now, for it cannot have come later.
    assert [clock.now_ns - chunk.mono_ns for chunk in chunks] == [
        ms * MS
        for ms in (56, 40, 32, 24, 16, 8, 0)  # the G needs shift, that is two keys
    ]
    port.close()
    assert device.closed
    device.unplug()


def test_a_person_read_late_is_still_a_person_and_a_gauge_a_gauge():
    """The program was held up for a second; what it then reads at once was typed 80 ms apart."""
    driver = load_driver(*content.read("drivers", "keys-line"))
    for every_ms, values in [(8, ("7.965 mm",)), (80, ())]:
        device, clock, sink = PipedKeyboard(), Clock(), Sink()
        port = port_over(device, clock)
        port.open(sink)
        device.type("\n", 1000)
        hear(sink, 1)
        clock.pass_s(1)
        device.type("G7.965\n", 1300, every_ms=every_ms)
        chunks = hear(sink, 7)
        port.close()
        device.unplug()
        gaps = [after.mono_ns - before.mono_ns
                for before, after in pairwise(chunks)]  # fmt: skip
        assert gaps == [2 * every_ms * MS] + [every_ms * MS] * 5  # the G is two keys
        assert score(driver, chunks, 0).values == values


def test_a_keyboard_that_is_unplugged_is_lost_once():
    device, sink = PipedKeyboard(), Sink()
    port = port_over(device, Clock())
    port.open(sink)
    device.type("G7", 1000)
    device.unplug()
    *keys, lost = hear(sink, 3)
    assert [key.data for key in keys] == [b"G", b"7"]
    assert isinstance(lost, Lost)
    assert lost.why == "the keyboard was unplugged"
    port.close()
    assert sink.rest() == []


def test_keys_that_the_system_lost_spoil_the_value_they_belong_to():
    device, sink = PipedKeyboard(), Sink()
    port = port_over(device, Clock())
    port.open(sink)
    device.type("G1", 1000)
    device.send(device.event(0, 3, 0, 1010))
    device.type("2.5\nG7.965\n", 1015)
    text = b"".join(chunk.data for chunk in hear(sink, 14)).decode()
    port.close()
    device.unplug()
    assert text == f"G1{NOTHING_SENSIBLE}2.5\nG7.965\n"
    driver = load_driver(*content.read("drivers", "keys-line"))
    items = driver.decoder().feed(text.encode())
    assert [str(item.shown) for item in items if hasattr(item, "shown")] == ["7.965 mm"]


def test_the_lamps_say_whether_the_keypad_types_digits():
    for lamps, text in [((0,), b"7"), ((), NOTHING_SENSIBLE.encode())]:
        device, sink = PipedKeyboard(lamps), Sink()
        port = port_over(device, Clock())
        port.open(sink)
        device.send(device.event(1, 71, 1, 1000))
        assert sink.next().data == text
        port.close()
        device.unplug()


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (errno.EBUSY, "is held by another program; close that program"),
        (errno.EACCES, "may not be read by this user; on Linux the group input"),
        (errno.ENODEV, "does not exist; plug the gauge in"),
        (errno.EIO, "could not be opened"),
    ],
)
def test_a_keyboard_that_cannot_be_taken_is_refused_in_one_sentence(fault, words):
    device = PipedKeyboard(fault=fault)
    port = port_over(device, Clock())
    with pytest.raises(PortError, match=words):
        port.open(Sink())
    assert device.closed
    device.unplug()


@pytest.mark.skipif(sys.platform != "linux", reason="only on Linux")
def test_the_real_library_is_asked_and_what_is_no_keyboard_is_refused(tmp_path, monkeypatch):
    pytest.importorskip("evdev", reason="needs the extra keyboard")
    with pytest.raises(PortError, match="does not exist; plug the gauge in"):
        port_for(f"keyboard:{tmp_path}/event0", Line(), int).open(Sink())
    (tmp_path / "event1").write_bytes(b"")
    with pytest.raises(PortError, match="could not be opened"):
        port_for(f"keyboard:{tmp_path}/event1", Line(), int).open(Sink())
    monkeypatch.setitem(sys.modules, "evdev", None)
    with pytest.raises(PortError, match=r"pip install 'gaugelink\[keyboard\]'"):
        port_for("keyboard:event0", Line(), int).open(Sink())
    assert keyboard.keyboards() == []


def test_elsewhere_one_sentence_says_what_to_use_instead():
    port = keyboard_elsewhere.KeyboardPort("keyboard:event3", "/dev/input/event3", "us", int)
    with pytest.raises(PortError, match="name the port page: instead"):
        port.open(Sink())
    assert keyboard_elsewhere.list_keyboards("keyboard:") == []


@pytest.mark.parametrize("name", ["keyboard:", "keyboard:event3?layout=dvorak", "keyboard:a?b=c"])
def test_a_name_that_says_nothing_is_refused(name):
    with pytest.raises(InputError, match="accepted: keyboard:/dev/input"):
        port_for(name, Line(), int)


@pytest.mark.skipif(sys.platform != "linux", reason="only on Linux")
def test_the_layout_is_that_of_the_name_or_else_of_the_driver_file():
    assert port_for("keyboard:event3?layout=fr", Line(layout="de"), int)._layout == "fr"
    assert port_for("keyboard:event3", Line(layout="de"), int)._layout == "de"


@pytest.mark.skipif(sys.platform != "linux", reason="only on Linux")
def test_a_keyboard_that_is_back_under_another_name_is_known_by_its_socket():
    from gaugelink.ports.keyboard_linux import present  # noqa: PLC0415  only there

    args = (0x1A2C, 0x0E24, "", "usb-0000:00:14.0-1.2/input0", "a keyboard")
    was = present("keyboard:/dev/input/event3", *args)
    other = present("keyboard:/dev/input/event4", *args[:3], "usb-0000:00:14.0-1.3/input0", "b")
    known = identity_of(was, [was, other])
    assert known.binds == "path"
    now = present("keyboard:/dev/input/event9", *args)
    assert find(known, [other, now]).name == "keyboard:/dev/input/event9"


def test_a_person_at_the_gauges_keyboard_is_told_of_loudly_once_and_takes_nothing():
    driver = load_driver(*content.read("drivers", "keys-line"))
    gauge = Gauge("M1", "micrometer", "Micrometer", "no. 1", "keys-line", 1, "2030-01-01")
    device, clock = PipedKeyboard(), Clock()
    cable = alone(port_over(device, clock), Channel(gauge, driver))
    cable.restart(clock.now_ns)
    found = []
    for _ in range(2):
        for key in b"G7.965\n":
            clock.pass_s(0.08)
            found += cable.feed(bytes([key]), clock.now_ns)
    clock.pass_s(1)
    assert [item.words.partition(":")[0] for item in found] == ["Micrometer"] * 2
    assert all("keys came that are no value (typed by a person" in item.words for item in found)
    (arrived,) = cable.feed(b"G7.965\n", clock.now_ns)
    assert str(arrived.value.shown) == "7.965 mm"
    device.close()
    device.unplug()
