"""The name of a port says what kind of port it is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.ports.identity import USB
from gaugelink.ports.page import PAGE, PagePort
from gaugelink.ports.replay import REPLAY, open_recording
from gaugelink.ports.rfc2217 import Rfc2217Port
from gaugelink.ports.serial import SerialPort
from gaugelink.ports.tcp import TcpPort

if TYPE_CHECKING:
    from collections.abc import Callable

    from gaugelink.ports.port import Port
    from gaugelink.ports.serial import Line


def port_for(name: str, line: Line, mono_ns: Callable[[], int]) -> Port:
    """Make the port of a name; opens nothing.

    Args:
        name: ``tcp://host:number``, ``rfc2217://host:number``, ``usb://maker:product`` for a gauge
            on USB, ``keyboard:/dev/input/...`` or ``page:`` for one that types,
            ``replay:FILE?speed=10`` for a recording, or a serial port of this machine.
        line: how a serial line is set; a plain connection has none.
        mono_ns: the monotonic clock of the bench.

    Raises:
        InputError: a recording cannot be read, or its speed is no number above 0; or the name of a
            keyboard says something else than a device and a layout.

    >>> from gaugelink.ports.serial import Line
    >>> [type(port_for(name, Line(), int)).__name__ for name in ("COM5", "tcp://box:1")]
    ['SerialPort', 'TcpPort']
    """
    if name.startswith("tcp://"):
        return TcpPort(name, mono_ns)
    if name.startswith(USB):
        from gaugelink.ports.usb import UsbPort  # noqa: PLC0415  only where there is such a gauge

        return UsbPort(name, mono_ns, interface=line.interface, endpoint=line.endpoint)
    if name.startswith("rfc2217://"):
        return Rfc2217Port(name, line, mono_ns)
    if name == PAGE:
        return PagePort(name, mono_ns)
    if name.startswith("keyboard:"):
        from gaugelink.ports.keyboard import KeyboardPort, read_name  # noqa: PLC0415  as above

        at = read_name(name)
        return KeyboardPort(name, at.device, at.layout or line.layout, mono_ns)
    if name.startswith(REPLAY):
        return open_recording(name, mono_ns)
    return SerialPort(name, line, mono_ns)
