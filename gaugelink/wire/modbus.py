"""Modbus frames around a request for registers and its answer: RTU on a line, or TCP.

RTU: address, function, data, CRC with its low byte first. Source: MODBUS over Serial Line
Specification and Implementation Guide V1.02, section 6.2.2. TCP: transaction, protocol 0, length,
unit, then function and data without a CRC, since the network has a check of its own. Source: MODBUS
Messaging on TCP/IP Implementation Guide V1.0b, section 3.1.3, from memory. Both are held against a
Modbus server of other people in the tests.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping

Framing = Literal["rtu", "tcp"]

REQUEST_SIZE: Final = 8
"""Bytes of a request for registers in an RTU frame."""

TRANSACTION: Final = 0x474C
"""Names our requests. It never changes: there is one request at a time, and one connection a
program, so nobody else's answer comes down it."""

EXCEPTIONS: Final[Mapping[int, str]] = {
    1: "it does not know this function",
    2: "it has no such register",
    3: "it cannot give so many registers",
    4: "it has failed",
    5: "it needs more time",
    6: "it is busy",
    8: "its memory is damaged",
    10: "the gateway has no way to it",
    11: "it did not answer the gateway",
}
"""What a device says instead of an answer.

Source: MODBUS Application Protocol Specification V1.1b3, section 7, from memory."""

_POLYNOMIAL: Final = 0xA001
_PROTOCOL: Final = 0


def around(framing: Framing) -> int:
    """Count the bytes of an answer that are no registers."""
    return {"rtu": 5, "tcp": 9}[framing]


def enclose(framing: Framing, address: int, message: bytes) -> bytes:
    """Put the frame around a message, which begins with the function.

    Example of the Modbus guides: three holding registers from 0x6B of device 17.

    >>> enclose("rtu", 17, bytes.fromhex("03 00 6B 00 03")).hex(" ")
    '11 03 00 6b 00 03 76 87'
    >>> enclose("tcp", 17, bytes.fromhex("03 00 6B 00 03")).hex(" ")
    '47 4c 00 00 00 06 11 03 00 6b 00 03'
    """
    if framing == "tcp":
        return opening(framing, address, len(message)) + message
    whole = bytes([address]) + message
    return whole + crc16(whole).to_bytes(2, "little")


def opening(framing: Framing, address: int, size: int) -> bytes:
    """Give what stands before a message of so many bytes."""
    if framing == "rtu":
        return bytes([address])
    numbers = (TRANSACTION, _PROTOCOL, size + 1)
    return b"".join(number.to_bytes(2, "big") for number in numbers) + bytes([address])


def fault_of_check(framing: Framing, raw: bytes) -> str:
    """Say what is wrong with the CRC of a frame; empty where it is right, or there is none."""
    if framing == "tcp":
        return ""
    sent, made = int.from_bytes(raw[-2:], "little"), crc16(raw[:-2])
    return "" if sent == made else f"the CRC is {sent:04X}, the bytes give {made:04X}"


def exception_words(code: int) -> str:
    """Say what an exception means.

    >>> exception_words(2)
    'exception 2, it has no such register'
    """
    meaning = EXCEPTIONS.get(code)
    return f"exception {code}, {meaning}" if meaning else f"exception {code}"


def crc16(data: bytes) -> int:
    """Compute the CRC-16 of Modbus RTU: x^16 + x^15 + x^2 + 1 reflected, from FFFF.

    >>> f"{crc16(b'123456789'):04X}"
    '4B37'
    """
    register = 0xFFFF
    for byte in data:
        register ^= byte
        for _ in range(8):
            register = register >> 1 ^ (_POLYNOMIAL if register & 1 else 0)
    return register
