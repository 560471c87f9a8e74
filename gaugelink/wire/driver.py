r"""A driver file: how one kind of gauge output talks, checked before anything is opened.

A wrong terminator must not look like a time-out, nor a wrong name like silence: every fault is
refused at loading, with file, line, field, what was found and what is accepted, and a driver that
does not decode its own examples does not load.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Final, Literal

from pydantic import Field, PrivateAttr, create_model, field_validator

from gaugelink import tomlfile
from gaugelink.errors import InputError
from gaugelink.quantity import LengthUnit  # noqa: TC001  pydantic reads it
from gaugelink.wire.base import Item, Mode, Noise, Partial, Value, printable
from gaugelink.wire.bits import ClockedFrame
from gaugelink.wire.bridge import ThroughBridge
from gaugelink.wire.bridge_lines import ask_line
from gaugelink.wire.codecs import CODECS
from gaugelink.wire.settings import Fault, Frame, Model, femtoseconds

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gaugelink.wire.base import Decoder
    from gaugelink.wire.columns import Columns

GaugeKind = Literal["micrometer", "bore gauge", "depth gauge", "caliper", "indicator"]
Level = Literal["described", "replayed", "tried on hardware"]
"""How far a driver is proven: written from a description; decodes bytes that a real gauge sent;
a real gauge was connected, and its display agreed."""

Sends = Literal["when pressed", "when asked", "all the time"]
"""What makes the gauge send a value: its button or pedal, a request, or nothing at all."""

Layout = Literal["us", "de", "fr"]
"""The keyboard layout that a gauge types for."""

Zero = Literal["kept", "set when switched on"]
"""What becomes of the gauge's zero when it is switched off and on."""


USB_KEYS: Final = ("vid", "pid", "interface", "endpoint")
"""Keys of the ``[port]`` table that only a device on USB has."""


class About(Model):
    """The ``[driver]`` table: what it is, when it sends, and how far it is proven."""

    name: str = Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_\-]*$")
    title: str = Field(min_length=1)
    gauges: Annotated[tuple[GaugeKind, ...], Field(strict=False, min_length=1)]
    sends: Sends | None = None
    zero: Zero = "kept"
    level: Level = "described"
    reason: str = Field(default="the file does not say", min_length=1)


class Port(Model):
    """The ``[port]`` table: the kind of port, and how it is set before it is opened.

    A ``bridge`` is a serial port with a bridge at its other end (docs/bridge-line.md), and the
    gauge on one of its channels.
    """

    kind: Literal["serial", "tcp", "bridge", "usb-hid", "keyboard"]
    channel: int | None = Field(default=None, ge=1, le=9)
    baud: int = Field(default=9600, ge=50, le=4_000_000)
    bytesize: Literal[7, 8] = 8
    parity: Literal["none", "even", "odd", "mark", "space"] = "none"
    stopbits: Literal[1, 2] = 1
    flow: Literal["none", "rts/cts", "xon/xoff"] = "none"
    dtr: bool = True
    rts: bool = True
    edge: Literal["rising", "falling"] | None = None
    inverted: bool = False
    answer: str = "2.5 s"
    layout: Layout | None = None
    vid: int | None = Field(default=None, ge=0, le=0xFFFF)
    pid: int | None = Field(default=None, ge=0, le=0xFFFF)
    interface: int | None = Field(default=None, ge=0, le=31)
    endpoint: int | None = Field(default=None, ge=0x81, le=0x8F)

    @field_validator("answer")
    @classmethod
    def _answer_is_a_time(cls, answer: str) -> str:
        try:
            femtoseconds(answer)
        except InputError as fault:
            raise ValueError(fault.what) from None
        return answer

    def fault(self) -> Fault | None:
        """Find a setting that this kind of port does not have."""
        for name in type(self).model_fields:
            theirs = self.kind not in {"tcp", "usb-hid"} if name not in USB_KEYS else (
                self.kind == "usb-hid"
            )  # fmt: skip
            other = name not in {"kind", "channel", "edge", "inverted", "answer"}
            if other and name in self.model_fields_set and not theirs:
                return ("port", name), f"found this key, but a {self.kind} port has no such setting"
        if self.kind == "bridge" and self.channel is None:
            return ("port", "channel"), "missing; accepted: the gauge's channel on the bridge"
        if self.kind != "bridge" and self.channel is not None:
            return ("port", "channel"), f"found this key, but a {self.kind} port has no channels"
        for name in ("edge", "inverted"):
            if self.kind != "bridge" and name in self.model_fields_set:
                return ("port", name), "found this key, accepted: only with a bridge"
        if self.edge is None and self.inverted:
            return ("port", "edge"), "missing; accepted: the edge at the bridge's pin"
        if (self.vid is None) != (self.pid is None):
            return ("port", "vid"), "accepted: vid and pid, both or neither"
        return None


class Example(Model):
    """An ``[[example]]``: bytes, and the one item that they are to give.

    Attributes:
        text: the bytes as text, UTF-8 (key ``bytes``); or
        hexadecimal: the bytes in hexadecimal, for those that are no text (key ``hex``).
        value, unit, mode, notes, channel: what the frame says; or
        noise: a part of the reason for which it is refused; or
        partial: a part of the reason why it is no whole frame.
    """

    text: str | None = Field(default=None, alias="bytes", min_length=1)
    hexadecimal: str | None = Field(default=None, alias="hex", pattern=r"^\s*([0-9A-Fa-f]{2}\s*)+$")
    value: str | None = None
    unit: LengthUnit | None = None
    mode: Mode = "actual"
    notes: Annotated[tuple[str, ...], Field(strict=False)] = ()
    channel: str = ""
    noise: str | None = Field(default=None, min_length=1)
    partial: str | None = Field(default=None, min_length=1)

    @property
    def data(self) -> bytes:
        """The bytes."""
        if self.hexadecimal is not None:
            return bytes.fromhex(self.hexadecimal)
        return (self.text or "").encode()

    def fault(self, place: int) -> Fault | None:
        """Find keys that do not go together; `place` counts the examples from 0."""
        here = ("example", str(place))
        if (self.text is None) == (self.hexadecimal is None):
            return here, "accepted: the bytes of the example, as bytes = or as hex =, not both"
        outcomes = [
            name for name in ("value", "noise", "partial") if getattr(self, name) is not None
        ]
        if len(outcomes) != 1:
            found = " and ".join(outcomes) or "none of them"
            return here, f"found {found}, accepted: one of value, noise, partial"
        if (self.unit is None) == (outcomes == ["value"]):
            return here, "accepted: a unit beside a value, and only there"
        if outcomes != ["value"] and self.model_fields_set & {"mode", "notes", "channel"}:
            return here, "found mode or notes or channel, accepted: only beside a value"
        return None

    def promise(self) -> str:
        """Say in words what the bytes are to give."""
        if self.value is not None:
            notes = f", {', '.join(self.notes)}" if self.notes else ""
            where = f" on channel {self.channel}" if self.channel else ""
            return f"the value {self.value} {self.unit} ({self.mode}{notes}){where}"
        if self.noise is not None:
            return f"noise because of {self.noise!r}"
        return f"a partial frame because of {self.partial!r}"

    def is_kept_by(self, items: list[Item]) -> bool:
        """Tell whether these items are the one that the example promises."""
        if len(items) != 1 or items[0].raw != self.data:
            return False
        match items[0]:
            case Value(shown, _, mode, notes, channel):
                given = (shown.text, shown.unit, mode, notes, channel)
                return given == (self.value, self.unit, self.mode, self.notes, self.channel)
            case Noise(_, why):
                return self.noise is not None and self.noise in why
            case Partial(_, why):
                return self.partial is not None and self.partial in why


class Driver(Model):
    """A checked driver file. Made by `load_driver`.

    Attributes:
        about: the ``[driver]`` table.
        port: the ``[port]`` table.
        frame: the ``[frame]`` table, of the model that its codec has.
        examples: the ``[[example]]`` tables.
    """

    about: About = Field(alias="driver")
    port: Port
    frame: Frame
    examples: Annotated[tuple[Example, ...], Field(strict=False, alias="example", min_length=1)]

    _file: str = PrivateAttr(default="")
    _text: str = PrivateAttr(default="")

    @property
    def name(self) -> str:
        """The driver's name."""
        return self.about.name

    @property
    def file(self) -> str:
        """The file that it came from, as given to `load_driver`."""
        return self._file

    @property
    def request(self) -> bytes | None:
        """The bytes that ask the gauge for a value; None: it speaks by itself."""
        if self.port.channel is not None and self.about.sends == "when asked":
            return ask_line(self.port.channel)
        return self.frame.request_bytes

    @property
    def sends(self) -> Sends:
        """When the gauge sends."""
        if self.about.sends is not None:
            return self.about.sends
        return "when asked" if self.request else "when pressed"

    @property
    def pause_ns(self) -> int:
        """The silence on the port, in nanoseconds, after which to call `Decoder.gap`."""
        return self.frame.silence_ns

    @property
    def answer_ns(self) -> int:
        """How long a gauge that was asked may take to answer, nanoseconds; not asked again before.

        Left out of the file it is 2.5 s: hand gauges may take 2 s.
        """
        return femtoseconds(self.port.answer) // 10**6

    def decoder(self, *, joined_midstream: bool = False) -> Decoder:
        """Make a fresh decoder.

        Args:
            joined_midstream: the stream is joined at an unknown place, as after opening a port:
                what comes up to the first end of a frame is dropped. A file is whole.
        """
        if self.port.channel is not None:
            assert isinstance(self.frame, ClockedFrame)
            return ThroughBridge(self.frame, self.port.channel, joined_midstream=joined_midstream)
        return self.frame.decoder(joined_midstream=joined_midstream)

    def decode_all(self, data: bytes) -> Columns:
        """Decode a whole recording at once: the same items, in columns, several times quicker.

        Args:
            data: the recording, from its first byte to its last; nothing is known of pauses.
        """
        return self.frame.decode_all(data, self.decoder())


_MODELS: Final[Mapping[str, type[Driver]]] = {
    codec: create_model("Driver", __base__=Driver, frame=(frame, ...))
    for codec, frame in CODECS.items()
}
"""One model a codec, so that a fault in ``[frame]`` is named by the keys which that codec has."""


def load_driver(text: str, file: str) -> Driver:
    r"""Read a driver file, and check it together with its examples.

    Args:
        text: the content of the file.
        file: its name, for messages.

    Raises:
        InputError: the first fault, with file, line and field.

    >>> driver = load_driver('''
    ... [driver]
    ... name = "example"
    ... title = "A number and its unit"
    ... gauges = ["caliper"]
    ... [port]
    ... kind = "serial"
    ... [frame]
    ... codec = "line"
    ... ends_with = "\\r"
    ... pattern = '(?P<digits>\\d+\\.\\d+) (?P<unit>mm|in)'
    ... [[example]]
    ... bytes = "2.1380 mm\\r"
    ... value = "2.1380"
    ... unit = "mm"
    ... ''', "example.toml")
    >>> str(driver.decoder().feed(b"7.965 mm\r")[0].shown)
    '7.965 mm'
    """
    driver = tomlfile.check(_model_for(text, file), text, file)
    driver._file, driver._text = file, text  # noqa: SLF001  ours; made here and nowhere else
    for fault in (
        driver.port.fault(),
        driver.frame.fault(),
        _fault_of_bridge(driver),
        _fault_of_keyboard(driver),
        _fault_of_request(driver),
        *(example.fault(place) for place, example in enumerate(driver.examples)),
    ):
        if fault:
            raise _placed(driver, *fault)
    check_examples(driver)
    return driver


def check_examples(driver: Driver) -> None:
    """Hold a driver against the examples in its own file.

    Raises:
        InputError: an example that does not give exactly the one item that it promises, or no
            example that promises a value.
    """
    if all(example.value is None for example in driver.examples):
        raise _placed(
            driver, ("example",), "no example gives a value; accepted: one or more that do"
        )
    for place, example in enumerate(driver.examples):
        # A bridge forwards frames as they are, so an example is a frame with it and without it.
        decoder = driver.frame.decoder()
        items = decoder.feed(example.data) + decoder.end()
        if not example.is_kept_by(items):
            found = "; ".join(map(_in_words, items))
            what = f"found {found}; the example promises {example.promise()}"
            raise _placed(driver, ("example", str(place)), what)


def _fault_of_bridge(driver: Driver) -> Fault | None:
    """Find a gauge without a clock behind a bridge."""
    if driver.port.kind == "bridge" and not isinstance(driver.frame, ClockedFrame):
        what = f"found 'bridge', but codec {driver.frame.codec!r} is not that of a clocked gauge"
        return ("port", "kind"), what
    return None


def _fault_of_keyboard(driver: Driver) -> Fault | None:
    """Find keys that come from no keyboard, a keyboard without them, or a setting it lacks."""
    kind, codec = driver.port.kind, driver.frame.codec
    if (kind == "keyboard") != (codec == "keystrokes"):
        what = f"found {kind!r} and codec {codec!r}; keyboard and keystrokes go together"
        return ("port", "kind"), what
    for name in driver.port.model_fields_set - {"kind", "layout"}:
        if kind == "keyboard":
            return ("port", name), "found this key, but a keyboard has no such setting"
    if kind != "keyboard" and driver.port.layout is not None:
        return ("port", "layout"), f"found this key, but a {kind} port has no layout"
    return None


def _fault_of_request(driver: Driver) -> Fault | None:
    """Find a line gauge that waits to be asked, and nothing to ask it with, or the reverse."""
    asked, sends = driver.request is not None, driver.about.sends
    if sends == "when asked" and not asked and not driver.frame.clocked:
        return ("driver", "sends"), "found 'when asked', but [frame] has no request to ask with"
    if sends == "when pressed" and asked:
        return ("frame", "request"), "found a request, but the gauge sends 'when pressed'"
    return None


def _model_for(text: str, file: str) -> type[Driver]:
    frame = tomlfile.parse(text, file).get("frame")
    codec = frame.get("codec") if isinstance(frame, dict) else None
    if codec is None:
        # Left to the model, which says what is missing; any codec's model says the same.
        return _MODELS["line"]
    if not isinstance(codec, str) or codec not in _MODELS:
        line = tomlfile.line_of(text, ("frame", "codec"))
        what = f"found {codec!r}, accepted: {', '.join(_MODELS)}"
        raise InputError(what, file=file, line=line, field="frame.codec")
    return _MODELS[codec]


def _placed(driver: Driver, path: tuple[str, ...], what: str) -> InputError:
    places = [int(part) if part.isdecimal() else part for part in path]
    field = ".".join(str(part + 1) if isinstance(part, int) else part for part in places)
    line = tomlfile.line_of(driver._text, places)  # noqa: SLF001  kept for this very message
    return InputError(what, file=driver.file, line=line, field=field)


def _in_words(item: Item) -> str:
    match item:
        case Value(shown, _, mode, notes, channel):
            more = f", {', '.join(notes)}" if notes else ""
            where = f" on channel {channel}" if channel else ""
            return f"the value {shown} ({mode}{more}){where}"
        case Noise(raw, why):
            return f"noise '{printable(raw)}' ({why})"
        case Partial(raw, why):
            return f"a partial frame '{printable(raw)}' ({why})"
