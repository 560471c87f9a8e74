"""Serial ports behind a network: RFC 2217, the COM port option of Telnet, through pyserial.

An access server (a box with serial sockets and a network plug, or another computer) sets its own
line as it is told, so baud rate and parity of the driver file hold there too. Nothing on the way is
encrypted or asks who is there: only for a network of the shop's own.
"""

from __future__ import annotations

import queue
import re
import warnings
from typing import TYPE_CHECKING, Final

from serial import SerialException, rfc2217

from gaugelink.errors import PortError
from gaugelink.ports.serial import SerialPort, settings

if TYPE_CHECKING:
    from collections.abc import Callable

    from gaugelink.ports.serial import Line

LAST_NUMBER: Final = 65535

CONTROL_S: Final = 1.0
"""How long an access server may take to say that DTR or RTS is set."""

_DTR_AND_RTS: Final = frozenset(
    (
        rfc2217.SET_CONTROL_DTR_ON,
        rfc2217.SET_CONTROL_DTR_OFF,
        rfc2217.SET_CONTROL_RTS_ON,
        rfc2217.SET_CONTROL_RTS_OFF,
    )
)

_ADDRESS = re.compile(r"rfc2217://(?:\[[0-9A-Fa-f:.]+\]|[^:/?\[\]\s]+):(?P<number>[0-9]{1,5})")


class _AccessServer(rfc2217.Serial):
    """The library's client, for access servers of which some have no control lines."""

    _network_timeout: float

    def rfc2217_set_control(self, value: bytes) -> None:
        """Set a control line; one that is not there is not waited for a second time.

        Some servers answer nothing then. Most gauges send all the same; of one that draws its
        supply from such a line, nothing comes.
        """
        if value not in _DTR_AND_RTS:
            super().rfc2217_set_control(value)
            return
        patience, self._network_timeout = self._network_timeout, CONTROL_S
        try:
            super().rfc2217_set_control(value)
        except SerialException:
            self._ignore_set_control_answer = True
        finally:
            self._network_timeout = patience


class Rfc2217Port(SerialPort):
    """A serial port of an access server, named ``rfc2217://host:number``."""

    def __init__(self, name: str, line: Line, mono_ns: Callable[[], int]) -> None:
        super().__init__(name, line, mono_ns)

    def _make(self) -> rfc2217.Serial:
        # The library refuses a time limit for writing, and an access server has its own lock.
        return _AccessServer(None, **settings(self._line))

    def _open(self) -> None:
        match = _ADDRESS.fullmatch(self.name)
        if match is None or not 0 < int(match["number"]) <= LAST_NUMBER:
            raise PortError(
                f"found the port {self.name!r}, accepted: rfc2217://host:number, with a number "
                f"from 1 to {LAST_NUMBER}"
            )
        with warnings.catch_warnings():
            # The library still names its thread in a way that newer Pythons warn of.
            warnings.simplefilter("ignore", DeprecationWarning)
            super()._open()

    def _read(self) -> bytes:
        try:
            return super()._read()
        except OSError:
            # When the connection ends, the library no longer gives out what had come before.
            left = self._left()
            if left:
                return left
            raise OSError("the connection to the access server ended") from None

    def _left(self) -> bytes:
        waiting = getattr(self._device, "_read_buffer", None)
        found = b""
        while isinstance(waiting, queue.Queue):
            try:
                found += waiting.get_nowait() or b""
            except queue.Empty:
                break
        return found

    def _why_not_open(self, fault: Exception) -> str:
        text = str(fault)
        if "does not seem to support" in text:
            return (
                f"{self.name} answers, but not as an access server (RFC 2217); if it sends the "
                f"gauge's bytes as they are, name it tcp://{self.name.removeprefix('rfc2217://')}"
            )
        if "does not accept parameter change" in text:
            line = self._line
            return (
                f"the access server {self.name} refuses the settings of the line ({line.baud} "
                f"baud, {line.bytesize} bits, parity {line.parity}, {line.stopbits} stop bits)"
            )
        cause = text.rpartition(": ")[2]
        return (
            f"{self.name} does not answer ({cause}); look whether the access server is switched on "
            "and the number is right"
        )
