# ruff: noqa: ANN001, ANN201, ANN202, ANN204, INP001  a file for the board: no package, no typing
"""The bridge line, as the bridge makes it: frames out of clocks, lines out of frames.

Nothing here knows a pin or a clock, so it runs under any Python: on the board, and in the tests.
The format is explained in docs/bridge-line.md. No type checker and no `typing` on the board, so
kinds stand in the docstrings.
"""

from array import array

FIRMWARE = "1.0.0"
MOST_BITS = 128
"""Clocks of one frame that are passed on; a longer one is cut and spoiled with an ``x``."""

MOST_DROPPED = 99_999
LONGEST_REQUEST = 48
ANSWER_US = 2_500_000
"""How long REQ is held low for a gauge that does not answer; hand gauges take up to 2 s."""

_NIBBLES = (
    0x0000, 0x1021, 0x2042, 0x3063, 0x4084, 0x50A5, 0x60C6, 0x70E7,
    0x8108, 0x9129, 0xA14A, 0xB16B, 0xC18C, 0xD1AD, 0xE1CE, 0xF1EF,
)  # fmt: skip


def crc16(data):
    """Reckon CRC-16/IBM-3740 (0x1021, begun with 0xFFFF, nothing turned round).

    >>> f"{crc16(b'123456789'):04X}"
    '29B1'
    """
    crc = 0xFFFF
    for byte in data:
        crc = (crc << 4 & 0xFFFF) ^ _NIBBLES[crc >> 12 ^ byte >> 4]
        crc = (crc << 4 & 0xFFFF) ^ _NIBBLES[crc >> 12 ^ byte & 15]
    return crc


def sealed(words):
    r"""Make a line of its words: start mark and version before them, the check after.

    >>> sealed("who")
    b'@1 who 505E\n'
    """
    body = b"@1 " + words.encode() + b" "
    return body + b"%04X\n" % crc16(body)


def bits_line(channel, sequence, us, bits):
    """Make the line of a frame: channel 1 to 9, sequence number, microseconds, text of bits."""
    return sealed(f"bits {channel} {sequence % 1000:03d} {us & 0xFFFFFFFF:010d} {bits}")


def hello_line(run, channels, us, *, started):
    """Make the line that says who is there; `channels` is a text such as ``"12"``."""
    state = "started" if started else "running"
    return sealed(f"hello {run:04X} {FIRMWARE} {channels} {state} {us & 0xFFFFFFFF:010d}")


def status_line(run, channel, sequence, dropped, supply, us):
    """Make the line that says how a channel is; `supply` is good, low or unknown."""
    lost = min(dropped, MOST_DROPPED)
    return sealed(
        f"status {run:04X} {channel} {sequence % 1000:03d} {lost:05d} supply-{supply} "
        f"{us & 0xFFFFFFFF:010d}"
    )


def note_line(channel, word, us):
    """Make the line that answers a request; channel 0 is the bridge itself."""
    return sealed(f"note {channel} {word} {us & 0xFFFFFFFF:010d}")


def read_request(line):
    """Read a line from the computer, without its line feed.

    Returns:
        ``("who",)``, ``("ask", channel)``, ``("set", channel, edge, pause_us, inverted)``, or None
        where it is none of these, or is damaged.
    """
    body, check = line[:-4], line[-4:]
    if body[:3] != b"@1 " or check != b"%04X" % crc16(body):
        return None
    words = body.decode().split(" ")[1:-1]
    if words == ["who"]:
        return ("who",)
    if len(words) < 2 or words[1] not in tuple("123456789"):
        return None
    channel = int(words[1])
    if words[0] == "ask" and len(words) == 2:
        return ("ask", channel)
    if words[0] != "set" or len(words) != 5:
        return None
    edge, pause, levels = words[2:]
    if edge not in ("rising", "falling") or levels not in ("plain", "inverted"):
        return None
    if len(pause) != 6 or not pause.isdigit() or int(pause) == 0:
        return None
    return ("set", channel, edge, int(pause), levels == "inverted")


class RequestReader:
    """Picks request lines out of the bytes that come from the computer."""

    def __init__(self):
        """Begin with nothing."""
        self.line = bytearray()

    def take(self, byte):
        """Take one byte (0 to 255); give a whole line without its line feed, or None."""
        if byte == 10:
            line = bytes(self.line)
            self.line = bytearray()
            return line
        if byte == ord("@") or len(self.line) >= LONGEST_REQUEST:
            self.line = bytearray()
        self.line.append(byte)
        return None


class Microseconds:
    """Counts microseconds modulo 2**32 from ticks that wrap much sooner.

    Args:
        ticks: the tick now.
        diff: gives the signed difference of two ticks, later one first.
    """

    def __init__(self, ticks, diff):
        """Begin at 0."""
        self.us = 0
        self.ticks = ticks
        self.diff = diff

    def advance(self, ticks):
        """Go on to a tick; to be called at least once in half a wrap of the ticks."""
        self.us = (self.us + self.diff(ticks, self.ticks)) & 0xFFFFFFFF
        self.ticks = ticks
        return self.us

    def at(self, ticks):
        """Tell the microseconds of a tick near the last one."""
        return (self.us + self.diff(ticks, self.ticks)) & 0xFFFFFFFF


class Channel:
    """One gauge: a ring that the interrupt fills, and the frames made of it.

    Args:
        number: 1 to 9.
        pause_us: microseconds without a clock that end a frame.
        diff: gives the signed difference of two ticks, later one first.
        room: clocks that the ring holds while the main loop is busy.
        inverted: the level shifter turns high and low round.
    """

    def __init__(self, number, pause_us, diff, room=1024, *, inverted=False):
        """Begin with nothing heard."""
        self.number = number
        self.pause_us = pause_us
        self.inverted = inverted
        self.diff = diff
        self.sequence = 0
        self.dropped = 0
        self.heard = False
        self._room = room
        self._ticks = array("I", [0] * room)
        self._levels = bytearray(room)
        self._head = 0
        self._tail = 0
        self._full = False
        self._bits = bytearray()
        self._first = 0
        self._last = 0

    def clock(self, ticks, level):
        """Keep a clock. Called from the interrupt: nothing may be allocated here.

        The interrupt alone moves the head, the main loop alone the tail, so no lock is needed.
        When there is no room nothing more is kept until the main loop has taken note of it.
        """
        self.heard = True
        if self._full:
            return
        head = self._head
        following = head + 1
        if following == self._room:
            following = 0
        if following == self._tail:
            self._full = True
            return
        self._ticks[head] = ticks
        self._levels[head] = level
        self._head = following

    @property
    def in_frame(self):
        """Whether a frame has begun and not ended."""
        return len(self._bits) > 0

    def take(self, now):
        """Give the frames that are over, as pairs of first tick and text of bits.

        Args:
            now: the tick, read before this call, so that no clock before it can be missed.
        """
        frames = []
        while self._tail != self._head:
            place = self._tail
            ticks, level = self._ticks[place], self._levels[place]
            self._tail = 0 if place + 1 == self._room else place + 1
            if self._bits and self.diff(ticks, self._last) >= self.pause_us:
                self._close(frames)
            self._add(ticks, ord("1") if bool(level) != self.inverted else ord("0"))
        if self._full:
            # Clocks are missing: spoil what was begun, and what may be the rest of a frame.
            self.dropped += 1
            if self._bits:
                self._bits.append(ord("x"))
                self._close(frames)
            self._add(now, ord("x"))
            self._full = False
        elif self._bits and self.diff(now, self._last) >= self.pause_us:
            self._close(frames)
        return frames

    def line(self, us, bits):
        """Make the line of the next frame."""
        line = bits_line(self.number, self.sequence, us, bits)
        self.sequence = (self.sequence + 1) % 1000
        return line

    def _add(self, ticks, bit):
        if not self._bits:
            self._first = ticks
        if len(self._bits) < MOST_BITS:
            self._bits.append(bit)
        elif len(self._bits) == MOST_BITS:
            self._bits.append(ord("x"))
        self._last = ticks

    def _close(self, frames):
        frames.append((self._first, self._bits.decode()))
        self._bits = bytearray()


class Asking:
    """Holds REQ low from a request until the gauge clocks, or until it has been silent too long.

    Args:
        channel: the channel whose gauge is asked.
        pull: called with True to pull REQ low, with False to let go.
        diff: gives the signed difference of two ticks, later one first.
    """

    def __init__(self, channel, pull, diff):
        """Begin with REQ let go."""
        self._channel = channel
        self._pull = pull
        self._diff = diff
        self._since = None

    def ask(self, ticks):
        """Ask, unless an answer is still awaited or arriving; give the word of the note."""
        if self._since is not None or self._channel.in_frame:
            return "busy"
        self._since = ticks
        self._channel.heard = False
        self._pull(True)
        return "asked"

    def watch(self, ticks):
        """Let go when it is time; give ``"silent"`` if the gauge never clocked, else None."""
        if self._since is None:
            return None
        silent = self._diff(ticks, self._since) >= ANSWER_US
        if not (self._channel.heard or silent):
            return None
        self._pull(False)
        self._since = None
        return None if self._channel.heard else "silent"
