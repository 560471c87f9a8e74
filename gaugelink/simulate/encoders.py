"""Wire formats as a gauge makes them: shown digits in, bytes out.

Written from the descriptions in ``hardware_notes/``, and sharing no code with the decoders, so that
joining the two proves something. The bit line is the text form of a clocked output: one character a
clock, a line end for the pause.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from functools import partial, reduce
from operator import xor
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Callable


@dataclass(frozen=True, slots=True)
class Display:
    """What a gauge shows: signed counts of its last place, how many places, and the unit.

    ``Display(-12345, 3, "mm")`` shows -12.345 mm. The channel is that of a gauge among several
    behind one port, or of a display among several of one gauge.
    """

    counts: int
    places: int
    unit: str
    mode: str = "actual"
    channel: str = ""

    @property
    def digits(self) -> str:
        """The digits without the sign."""
        text = f"{abs(self.counts):0{self.places + 1}d}"
        return f"{text[: -self.places]}.{text[-self.places :]}" if self.places else text


def signed_line(shown: Display) -> bytes:
    r"""Sign, digits set to the right, unit in capitals, CR.

    >>> signed_line(Display(21380, 4, "mm"))
    b'+  2.1380 MM\r'
    """
    sign = "-" if shown.counts < 0 else "+"
    return f"{sign}{shown.digits:>8} {shown.unit.upper()}\r".encode("ascii")


def plain_line(shown: Display) -> bytes:
    r"""Sign or blank, digits, CR; the unit is not sent.

    >>> plain_line(Display(-102, 2, "mm"))
    b'-1.02\r'
    """
    sign = "-" if shown.counts < 0 else " "
    return f"{sign}{shown.digits}\r".encode("ascii")


_MODE_LETTER: Final = {"actual": "a", "max": "m", "min": "l", "tir": "t"}


def mode_line(shown: Display) -> bytes:
    r"""Mode letter, sign, digits, unit letter, tolerance mark, blank, LF.

    >>> mode_line(Display(123, 3, "mm"))
    b'a+0.123M= \n'
    """
    sign = "-" if shown.counts < 0 else "+"
    unit = "I" if shown.unit == "in" else "M"
    return f"{_MODE_LETTER[shown.mode]}{sign}{shown.digits}{unit}= \n".encode("ascii")


def mux_line(shown: Display) -> bytes:
    r"""Channel, the letter A, sign, eight digits without a point, CR; neither unit nor places.

    Raises:
        ValueError: more digits than the format has.

    >>> mux_line(Display(7965, 3, "mm", channel="12"))
    b'12A+00007965\r'
    """
    if abs(shown.counts) > 99_999_999:
        raise ValueError(
            f"found {shown.digits}, which is more than the eight digits of this format"
        )
    sign = "-" if shown.counts < 0 else "+"
    return f"{shown.channel or '01'}A{sign}{abs(shown.counts):08d}\r".encode("ascii")


def mux_line_point(shown: Display) -> bytes:
    r"""Channel, the letter A, sign, seven digits with the point among them, CR; no unit.

    Raises:
        ValueError: more digits than the format has.

    >>> mux_line_point(Display(-31, 4, "in", channel="04"))
    b'04A-000.0031\r'
    """
    if abs(shown.counts) > 9_999_999:
        raise ValueError(
            f"found {shown.digits}, which is more than the seven digits of this format"
        )
    sign = "-" if shown.counts < 0 else "+"
    return f"{shown.channel or '01'}A{sign}{shown.digits:0>8}\r".encode("ascii")


def fixed_word(shown: Display) -> bytes:
    r"""STX, constant 4, display, unit, polarity, places, eight digits, CR: sixteen bytes.

    Raises:
        ValueError: more digits than the format has.

    >>> fixed_word(Display(-3136, 4, "in", channel="2"))
    b'\x0242021400003136\r'
    """
    if abs(shown.counts) > 99_999_999:
        raise ValueError(
            f"found {shown.digits}, which is more than the eight digits of this format"
        )
    unit = {"mm": "01", "in": "02"}[shown.unit]
    polarity = "1" if shown.counts < 0 else "0"
    fields = f"4{shown.channel or '1'}{unit}{polarity}{shown.places}{abs(shown.counts):08d}"
    return b"\x02" + fields.encode("ascii") + b"\r"


def flag_line(shown: Display) -> bytes:
    r"""Sign, digits, blank, unit, tolerance flag, CR LF.

    >>> flag_line(Display(7965, 3, "mm"))
    b'+7.965 mm=\r\n'
    """
    sign = "-" if shown.counts < 0 else "+"
    return f"{sign}{shown.digits} {shown.unit}=\r\n".encode("ascii")


def keys_line(shown: Display) -> bytes:
    r"""Type the letter G, a minus if there is one, digits with a point, Enter; no unit.

    >>> keys_line(Display(-12, 3, "mm"))
    b'G-0.012\n'
    """
    sign = "-" if shown.counts < 0 else ""
    return f"G{sign}{shown.digits}\n".encode("ascii")


def keys_line_comma(shown: Display) -> bytes:
    r"""Type the letter G, a minus if there is one, digits with a comma, the unit, Enter.

    >>> keys_line_comma(Display(7965, 3, "mm"))
    b'G7,965mm\n'
    """
    sign = "-" if shown.counts < 0 else ""
    return f"G{sign}{shown.digits.replace('.', ',')}{shown.unit}\n".encode("ascii")


def bcd52(shown: Display, inch_code: int = 1) -> bytes:
    """Thirteen digits of four bits, each least significant bit first, as a bit line.

    Published example: FFFF 8 012345 3 0 is -12.345 mm.

    Raises:
        ValueError: more digits than the format has.

    >>> bcd52(Display(-12345, 3, "mm"))[:20]
    b'11111111111111110001'
    """
    if abs(shown.counts) > 999_999:
        raise ValueError(f"found {shown.digits}, which is more than the six digits of this format")
    digits = [15, 15, 15, 15, 8 if shown.counts < 0 else 0]
    digits += [int(digit) for digit in f"{abs(shown.counts):06d}"]
    digits += [shown.places, inch_code if shown.unit == "in" else 0]
    bits = "".join(format(digit, "04b")[::-1] for digit in digits)
    return f"{bits}\n".encode("ascii")


def scale24(shown: Display) -> bytes:
    r"""Twenty bits of magnitude, sign, two zeros, inch; least significant bit first; a bit line.

    One count is 0.01 mm or 0.0005 in, so in inches the display must be a multiple of 0.0005.

    Raises:
        ValueError: more counts than the format has bits for.

    >>> scale24(Display(-100, 2, "mm"))
    b'001001100000000000001000\n'
    """
    counts = abs(shown.counts) // 5 if shown.unit == "in" else abs(shown.counts)
    if counts >= 1 << 20:
        raise ValueError(f"found {shown.digits}, which is more than 20 bits can count")
    word = counts | (shown.counts < 0) << 20 | (shown.unit == "in") << 23
    return f"{format(word, '024b')[::-1]}\n".encode("ascii")


_POWERED_ON_AT: Final = 1_000


def scale48(shown: Display, from_power_on: bool = False) -> bytes:
    r"""Two words of 24 bits, least significant bit first: since power-on, since zero.

    To the nearest of 20480 counts in an inch; it was switched on 1000 counts below its zero. The
    display shows the word since zero, or, `from_power_on`, the other one.

    >>> scale48(Display(254000, 4, "mm"))[24:]
    b'000000000000101000000000\n'
    >>> scale48(Display(254000, 4, "mm"), from_power_on=True)[:24]
    b'000000000000101000000000'
    """
    inches = shown.counts / {"mm": 25.4, "in": 1.0}[shown.unit] / 10**shown.places
    counts = round(20480 * inches)
    since_power_on = counts if from_power_on else counts + _POWERED_ON_AT
    words = [word % (1 << 24) for word in (since_power_on, since_power_on - _POWERED_ON_AT)]
    return "".join(f"{word:024b}"[::-1] for word in words).encode("ascii") + b"\n"


def bcd28(shown: Display) -> bytes:
    r"""Six digits, the last one first, then the flags: none, metric, half thousandth, minus.

    Raises:
        ValueError: more digits than the format has.

    >>> bcd28(Display(5, 4, "in"))
    b'0000000000000000000000000010\n'
    """
    inch = shown.unit == "in"
    count = abs(shown.counts) // 10 if inch else abs(shown.counts)
    if count > 999_999:
        raise ValueError(f"found {shown.digits}, which is more than the six digits of this format")
    half = inch and abs(shown.counts) % 10 == 5
    nibbles = [int(digit) for digit in reversed(f"{count:06d}")]
    nibbles.append((not inch) << 1 | half << 2 | (shown.counts < 0) << 3)
    return "".join(f"{nibble:04b}"[::-1] for nibble in nibbles).encode("ascii") + b"\n"


def _check(data: bytes) -> bytes:
    """Compute the CRC-16 of a frame by long division, bit by bit as they are sent; low byte first.

    Shared with nobody, so that a fault of the decoder's arithmetic shows.
    """
    bits = [int(bit) for byte in data for bit in f"{byte:08b}"[::-1]] + [0] * 16
    bits[:16] = [1 - bit for bit in bits[:16]]
    for place in range(len(bits) - 16):
        if bits[place]:
            for power in (0, 1, 14, 16):  # x^16 + x^15 + x^2 + 1
                bits[place + power] ^= 1
    left = "".join(map(str, bits[-16:]))
    return bytes(int(left[at : at + 8][::-1], 2) for at in (0, 8))


def registers(shown: Display, low_word_first: bool = False) -> bytes:
    """Response of a counter at address 1: value in two registers, places, unit; CRC.

    >>> registers(Display(-12345, 3, "mm")).hex(" ")
    '01 03 08 ff ff cf c7 00 03 00 00 81 f2'
    """
    value = (shown.counts % (1 << 32)).to_bytes(4, "big")
    if low_word_first:
        value = value[2:] + value[:2]
    rest = bytes([0, shown.places, 0, 1 if shown.unit == "in" else 0])
    frame = bytes([1, 3, 8]) + value + rest
    return frame + _check(frame)


def registers_tcp(shown: Display) -> bytes:
    """Response of a counter in the network: transaction 474C, protocol 0, 11 bytes, unit 1.

    >>> registers_tcp(Display(-12345, 3, "mm")).hex(" ")
    '47 4c 00 00 00 0b 01 03 08 ff ff cf c7 00 03 00 00'
    """
    unit = 1 if shown.unit == "in" else 0
    fields = (0x474C, 0, 11, 1, 3, 8, shown.counts, shown.places, unit)
    return struct.pack(">HHHBBBiHH", *fields)


_FLAG: Final = {"actual": 0, "hold": 2, "max": 4, "min": 8, "tir": 16}


def hid_report(shown: Display) -> bytes:
    """Identifier 51, count of four bytes, unit and places in one, flags, sum of all before.

    Raises:
        ValueError: more digits than four bytes can count.

    >>> hid_report(Display(-12345, 3, "mm")).hex(" ")
    '51 c7 cf ff ff 13 00 f8'
    """
    if abs(shown.counts) >= 1 << 31:
        raise ValueError(f"found {shown.digits}, which is more than four bytes can count")
    fields = {"mm": 0x10, "in": 0x20}[shown.unit] + shown.places
    report = struct.pack("<BiBB", 0x51, shown.counts, fields, _FLAG[shown.mode])
    return report + (sum(report) & 255).to_bytes(1, "big")


def hid_report_24(shown: Display) -> bytes:
    """Two constants, count of three bytes, unit and hold in one, nothing, exclusive or.

    Raises:
        ValueError: more digits than three bytes can count.

    >>> hid_report_24(Display(79650, 4, "mm")).hex(" ")
    '47 4c 01 37 22 00 00 1f'
    """
    if abs(shown.counts) >= 1 << 23:
        raise ValueError(f"found {shown.digits}, which is more than three bytes can count")
    flags = (shown.unit == "in") + {"actual": 0, "hold": 4}[shown.mode]
    report = b"GL" + struct.pack(">i", shown.counts)[1:] + bytes([flags, 0])
    return report + reduce(xor, report).to_bytes(1, "big")


ENCODERS: Final[dict[str, Callable[[Display], bytes]]] = {
    "signed-line": signed_line,
    "plain-line": plain_line,
    "plain-line-inch": plain_line,
    "mode-line": mode_line,
    "mux-line": mux_line,
    "mux-line-point": mux_line_point,
    "fixed-word": fixed_word,
    "flag-line": flag_line,
    "keys-line": keys_line,
    "keys-line-comma": keys_line_comma,
    "bcd52": bcd52,
    "bcd52-inch8": partial(bcd52, inch_code=8),
    "scale24": scale24,
    "scale48": scale48,
    "scale48-absolute": partial(scale48, from_power_on=True),
    "bcd28": bcd28,
    "modbus-registers": registers,
    "modbus-registers-low": partial(registers, low_word_first=True),
    "modbus-tcp": registers_tcp,
    "hid-report": hid_report,
    "hid-report-24": hid_report_24,
}
"""By the name of the driver file that understands them."""
