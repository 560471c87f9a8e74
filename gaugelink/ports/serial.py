"""Serial ports, real and virtual, through pyserial."""

from __future__ import annotations

import errno
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import serial

from gaugelink.errors import PortError
from gaugelink.ports.port import READ_SIZE, Port

if TYPE_CHECKING:
    from collections.abc import Callable

    from serial.rfc2217 import Serial as RemoteSerial

    from gaugelink.ports.keylayout import Layout

POLL_S: Final = 0.1
"""How long a read waits before it looks whether the port is being closed."""

_PARITY: Final = {
    "none": serial.PARITY_NONE,
    "even": serial.PARITY_EVEN,
    "odd": serial.PARITY_ODD,
    "mark": serial.PARITY_MARK,
    "space": serial.PARITY_SPACE,
}


@dataclass(frozen=True, slots=True)
class Line:
    """The settings of a port, as a driver file states them.

    The last two are those of a gauge on USB: its interface, and the address of its input endpoint.
    """

    baud: int = 9600
    bytesize: int = 8
    parity: str = "none"
    stopbits: int = 1
    flow: str = "none"
    dtr: bool = True
    rts: bool = True
    interface: int | None = None
    endpoint: int | None = None
    layout: Layout = "us"


def settings(line: Line) -> dict[str, Any]:
    """Give the settings of a line as pyserial takes them."""
    return {
        "baudrate": line.baud,
        "bytesize": line.bytesize,
        "parity": _PARITY[line.parity],
        "stopbits": line.stopbits,
        "timeout": POLL_S,
        "rtscts": line.flow == "rts/cts",
        "xonxoff": line.flow == "xon/xoff",
    }


class SerialPort(Port):
    """A serial port of this machine."""

    def __init__(self, name: str, line: Line, mono_ns: Callable[[], int]) -> None:
        super().__init__(name, mono_ns)
        self._line = line
        self._device: serial.Serial | RemoteSerial | None = None

    def _make(self) -> serial.Serial | RemoteSerial:
        """Make the device, set but not opened."""
        return serial.Serial(**settings(self._line), write_timeout=1.0, exclusive=True)

    def _open(self) -> None:
        line = self._line
        try:
            device = self._make()
            # The lines are set before opening: some interfaces draw their supply from them, others
            # are reset by a change.
            device.dtr, device.rts = line.dtr, line.rts
            device.port = self.name
            device.open()
            self._device = device
        except Exception as fault:  # noqa: BLE001  the system's refusals of a setting share no class
            raise PortError(self._why_not_open(fault)) from None

    def _why_not_open(self, fault: Exception) -> str:
        return _why_not_open(self.name, fault)

    def _read(self) -> bytes:
        device = self._device
        assert device is not None
        try:
            first: bytes = device.read(1)
        except serial.SerialException as fault:
            # What pyserial says then is about select and read, not about a cable.
            words = "the device is gone, or another program reads the same port"
            raise OSError(fault.errno, fault.strerror or words) from None
        if not first:
            return b""
        try:
            waiting = min(device.in_waiting, READ_SIZE - 1)
            rest: bytes = device.read(waiting) if waiting else b""
        except OSError:
            return first  # it came; that the port is gone since is for the next read to say
        return first + rest

    def _write(self, data: bytes) -> None:
        try:
            if self._device is None:
                raise OSError("the port was closed")
            self._device.write(data)
        except TypeError:
            # pyserial's own fields vanish under a call when another thread closes the port.
            raise OSError("the port was closed") from None

    def _wake(self) -> None:
        if isinstance(self._device, serial.Serial):
            self._device.cancel_read()

    def _close(self) -> None:
        if self._device is not None:
            self._device.close()
            self._device = None


def _why_not_open(name: str, fault: Exception) -> str:
    number = getattr(fault, "errno", None)
    text = str(fault).lower()
    if number in {errno.EBUSY, errno.EAGAIN} or "exclusively lock" in text:
        return f"{name} is in use by another program; close that program, then try again"
    if number == errno.EACCES or "access is denied" in text or "permission" in text:
        return (
            f"{name} may not be opened: it is in use by another program, or this user lacks the "
            "right to it (on Linux: the group dialout)"
        )
    if number == errno.ENOENT or "filenotfound" in text or "no such file" in text:
        return f"{name} does not exist; plug the gauge in, or look which ports there are"
    if "configure" in text:
        return f"{name} is not a serial port, or nothing is connected to it ({fault})"
    return f"{name} could not be opened ({fault})"
