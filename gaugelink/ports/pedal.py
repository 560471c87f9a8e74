"""A contact between two handshake lines of a serial port, looked at by a thread of its own.

No byte ever comes from such a pedal. DTR and RTS, switched on, supply the contact; the line that it
is wired to is looked at every few milliseconds. What the level means is for
`gaugelink.capture.pedal` to say.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, Literal

import serial

from gaugelink.errors import PortError
from gaugelink.ports.serial import Line, SerialPort

if TYPE_CHECKING:
    from collections.abc import Callable

PedalLine = Literal["cts", "dsr", "ri", "dcd"]
"""A line on which a serial port listens: clear to send, data set ready, ring, carrier detect."""

LINES: Final[dict[PedalLine, str]] = {"cts": "cts", "dsr": "dsr", "ri": "ri", "dcd": "cd"}
"""What pyserial calls each."""

CLOSED: Final = b"1"
OPEN: Final = b"0"

EVERY_S: Final = 0.005
"""Seconds between two looks: several within the shortest time that a contact takes to settle."""

SETTLED: Final = 40
"""Looks after which a contact that stays open has nothing more to tell."""


class PedalPort(SerialPort):
    """A pedal on a handshake line of a serial port.

    A chunk is `CLOSED` or `OPEN`. It comes at every look while the contact is closed or has opened
    only just now, and not at all while it stays open.

    Args:
        name: the serial port.
        line: the handshake line.
        mono_ns: the monotonic clock of the bench.
    """

    def __init__(self, name: str, line: PedalLine, mono_ns: Callable[[], int]) -> None:
        super().__init__(name, Line(), mono_ns)
        self._pin = LINES[line]
        self._pin_words = line.upper()
        self._quiet = 0

    def _open(self) -> None:
        super()._open()
        self._quiet = 0
        try:
            self._level()
        except OSError:
            self._close()
            raise PortError(
                f"{self.name} has no line {self._pin_words}; a foot pedal needs a serial port with "
                "handshake lines, and one that no gauge uses"
            ) from None

    def _read(self) -> bytes:
        self._closing.wait(EVERY_S)
        try:
            closed = self._level()
        except serial.SerialException:
            raise OSError("the port was closed") from None
        except OSError as fault:
            raise OSError(fault.errno, "the device is gone") from None
        self._quiet = 0 if closed else self._quiet + 1
        if self._quiet > SETTLED:
            return b""
        return CLOSED if closed else OPEN

    def _level(self) -> bool:
        device: Any = self._device
        return bool(getattr(device, self._pin))
