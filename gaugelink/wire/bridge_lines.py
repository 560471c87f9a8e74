r"""The lines of a bridge, one by one: what each says, and whether it came whole.

A bridge is a small controller that passes frames of clocked gauges on (docs/bridge-line.md). Its
lines are printable ASCII in one spelling only, from the start mark ``@`` to the line feed, with a
CRC-16 over all of it, so that a changed byte shows and the next ``@`` is a beginning.
"""

from __future__ import annotations

import re
from binascii import crc_hqx
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from gaugelink.errors import InputError
from gaugelink.wire.base import Noise, Partial

if TYPE_CHECKING:
    from collections.abc import Iterator

LONGEST: Final = 168
"""The most bytes a line may have, its end included: 128 bits and an ``x`` make 160."""

SEQUENCES: Final = 1000
MICROSECONDS: Final = 1 << 32

_TOKEN = re.compile(rb"@|\n|[^@\n]+")
_SHAPES: Final = (
    rb"(?P<kind>bits) (?P<channel>[1-9]) (?P<sequence>\d{3}) (?P<us>\d{10}) (?P<bits>[01x]{1,129})",
    (
        rb"(?P<kind>hello) (?P<run>[0-9A-F]{4}) (?P<firmware>\d+\.\d+\.\d+) (?P<channels>[1-9]+)"
        rb" (?P<state>started|running) (?P<us>\d{10})"
    ),
    (
        rb"(?P<kind>status) (?P<run>[0-9A-F]{4}) (?P<channel>[1-9]) (?P<sequence>\d{3})"
        rb" (?P<dropped>\d{5}) supply-(?P<supply>good|low|unknown) (?P<us>\d{10})"
    ),
    rb"(?P<kind>note) (?P<channel>\d) (?P<word>asked|silent|busy|set|refused) (?P<us>\d{10})",
)
_LINES: Final = tuple(re.compile(rb"@1 " + shape + rb" [0-9A-F]{4}") for shape in _SHAPES)

Supply = Literal["good", "low", "unknown"]
Word = Literal["asked", "silent", "busy", "set", "refused"]


@dataclass(frozen=True, slots=True)
class Bits:
    """A frame, as the bridge sampled it.

    Attributes:
        channel: 1 to 9.
        sequence: counts the frames of this channel, modulo 1000.
        us: the time of its first clock, microseconds since the bridge started, modulo 2**32.
        bits: one character a clock, ``0``, ``1``, or ``x`` where clocks were missed.
        raw: the line.
    """

    channel: int
    sequence: int
    us: int
    bits: bytes
    raw: bytes


@dataclass(frozen=True, slots=True)
class Hello:
    """The bridge says who it is.

    Attributes:
        run: a number drawn at each start, four hexadecimal digits.
        firmware: its version.
        channels: those that it has.
        started: it has just started, and counts every channel from 0; else it was asked.
        us: its time.
        raw: the line.
    """

    run: str
    firmware: str
    channels: tuple[int, ...]
    started: bool
    us: int
    raw: bytes


@dataclass(frozen=True, slots=True)
class Status:
    """The bridge says how a channel is, once a second.

    Attributes:
        run: as in its hello.
        channel: 1 to 9.
        sequence: the number that the next frame of this channel will have.
        dropped: how often clocks were missed since the start, at most 99999.
        supply: of the bridge.
        us: its time.
        raw: the line.
    """

    run: str
    channel: int
    sequence: int
    dropped: int
    supply: Supply
    us: int
    raw: bytes


@dataclass(frozen=True, slots=True)
class Note:
    """The bridge answers a request.

    Attributes:
        channel: the channel that was spoken of; 0: none that could be made out.
        word: asked (REQ is low), silent (no clock came, REQ was let go), busy (it was asked before
            and its answer is not through), set (the settings are taken), refused.
        us: its time.
        raw: the line.
    """

    channel: int
    word: Word
    us: int
    raw: bytes


Line = Bits | Hello | Status | Note | Noise | Partial


class BridgeLines:
    """Turns the bytes of a bridge into its lines. The ``raw`` of all items, joined, is the stream.

    Args:
        joined_midstream: the first bytes may be the tail of a line; they are then called so. A
            line that begins with its mark and passes its check is whole, and never dropped.
    """

    def __init__(self, *, joined_midstream: bool = False) -> None:
        self._line = bytearray()
        self._joining = joined_midstream

    def feed(self, data: bytes) -> list[Line]:
        """Take the next bytes; give the items that they complete."""
        items: list[Line] = []
        for token in _TOKEN.findall(data):
            if token == b"@" and self._line:
                items.append(self._give_up("the line has no end"))
            for piece in self._pieces(token):
                self._line += piece
                if len(self._line) >= LONGEST and not self._line.endswith(b"\n"):
                    items.append(self._give_up(f"more than {LONGEST} bytes without an end"))
            if token == b"\n":
                items.append(self._whole())
        return items

    def gap(self) -> list[Line]:
        """Take note of a pause on the port: a line that has begun is broken off."""
        return self._broken("a pause inside the line")

    def end(self) -> list[Line]:
        """Take note of the end of the stream."""
        return self._broken("the stream ended inside the line")

    def _pieces(self, token: bytes) -> Iterator[bytes]:
        """Cut a run of bytes where the longest line ends, wherever the chunks ended."""
        while token:
            room = LONGEST - len(self._line)
            yield token[:room]
            token = token[room:]

    def _whole(self) -> Line:
        raw = self._take()
        if not raw.startswith(b"@"):
            return self._fragment(raw, "no start mark")
        self._joining = False
        return read_line(raw)

    def _give_up(self, why: str) -> Line:
        raw = self._take()
        return Noise(raw, why) if raw.startswith(b"@") else self._fragment(raw, "no start mark")

    def _broken(self, why: str) -> list[Line]:
        if not self._line:
            self._joining = False
            return []
        raw = self._take()
        return [Partial(raw, why) if raw.startswith(b"@") else self._fragment(raw, "no start mark")]

    def _fragment(self, raw: bytes, why: str) -> Line:
        """Make the item of bytes before the first start mark, or after a line was given up."""
        if self._joining:
            self._joining = raw[-1:] != b"\n"
            return Partial(raw, "joined inside a line; dropped up to its end")
        return Noise(raw, why)

    def _take(self) -> bytes:
        raw = bytes(self._line)
        self._line.clear()
        return raw


def read_line(raw: bytes) -> Line:
    r"""Read one line, from its start mark to its end. CRLF is taken for LF.

    >>> read_line(b"@1 bits 2 017 0000004711 0101 3BAF\n")
    Noise(raw=b'@1 bits 2 017 0000004711 0101 3BAF\n', why='the check is 3BAF, reckoned 39E6')
    """
    body = raw.removesuffix(b"\n").removesuffix(b"\r")
    for shape in _LINES:
        if match := shape.fullmatch(body):
            break
    else:
        return Noise(raw, "not a line of a bridge in version 1")
    check, found = crc16(body[:-4]), body[-4:].decode("ascii")
    if found != check:
        return Noise(raw, f"the check is {found}, reckoned {check}")
    said = {key: value.decode("ascii") for key, value in match.groupdict().items()}
    us = int(said["us"])
    if us >= MICROSECONDS:
        return Noise(raw, f"the time is {us}, accepted: below 2**32")
    return _line_of(said, us, raw)


def _line_of(said: dict[str, str], us: int, raw: bytes) -> Line:
    kind = said["kind"]
    if kind == "hello":
        channels = tuple(int(digit) for digit in said["channels"])
        started = said["state"] == "started"
        return Hello(said["run"], said["firmware"], channels, started, us, raw)
    channel = int(said["channel"])
    if kind == "bits":
        return Bits(channel, int(said["sequence"]), us, said["bits"].encode("ascii"), raw)
    if kind == "status":
        supply: dict[str, Supply] = {"good": "good", "low": "low", "unknown": "unknown"}
        return Status(
            said["run"], channel, int(said["sequence"]), int(said["dropped"]),
            supply[said["supply"]], us, raw,
        )  # fmt: skip
    words: dict[str, Word] = {
        "asked": "asked", "silent": "silent", "busy": "busy", "set": "set", "refused": "refused",
    }  # fmt: skip
    return Note(channel, words[said["word"]], us, raw)


def crc16(data: bytes) -> str:
    """Reckon the check of a line, CRC-16/IBM-3740, as four hexadecimal digits.

    Source: catalogue of parametrised CRC algorithms (polynomial 0x1021, begun with 0xFFFF, nothing
    reflected, nothing added; check value 29B1).

    >>> crc16(b"123456789")
    '29B1'
    """
    return f"{crc_hqx(data, 0xFFFF):04X}"


def ask_line(channel: int) -> bytes:
    r"""Make the request for a reading: the bridge pulls REQ of this channel low.

    Raises:
        InputError: no such channel.

    >>> ask_line(2)
    b'@1 ask 2 4720\n'
    """
    return _request(f"ask {_channel(channel)}")


def set_line(
    channel: int, edge: Literal["rising", "falling"], pause_us: int, *, inverted: bool = False
) -> bytes:
    r"""Make the request to sample a channel in another way, until the bridge starts again.

    Args:
        channel: 1 to 9.
        edge: the clock edge at which DATA is sampled, as seen at the bridge's pin.
        pause_us: microseconds without a clock that end a frame, 1 to 999999.
        inverted: high and low of DATA are turned round.

    Raises:
        InputError: no such channel or pause.

    >>> set_line(2, "falling", 10_000)
    b'@1 set 2 falling 010000 plain AEA3\n'
    """
    if not 1 <= pause_us <= 999_999:
        raise InputError(f"found a pause of {pause_us} us, accepted: 1 to 999999")
    levels = "inverted" if inverted else "plain"
    return _request(f"set {_channel(channel)} {edge} {pause_us:06d} {levels}")


def who_line() -> bytes:
    r"""Make the request to say hello.

    >>> who_line()
    b'@1 who 505E\n'
    """
    return _request("who")


def _channel(channel: int) -> int:
    if not 1 <= channel <= 9:
        raise InputError(f"found channel {channel} of a bridge, accepted: 1 to 9")
    return channel


def _request(words: str) -> bytes:
    body = f"@1 {words} ".encode("ascii")
    return body + f"{crc16(body)}\n".encode("ascii")
