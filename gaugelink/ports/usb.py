"""Gauges on USB that send HID reports, through pyusb and libusb.

Each report that comes is handed on as it is. The system's own HID driver is put aside while the
port is open, where the system has a way to do that, and gets the gauge back afterwards.
"""

from __future__ import annotations

import contextlib
import errno
import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import usb.core
import usb.util

from gaugelink.errors import PortError
from gaugelink.ports.port import Port
from gaugelink.ports.usb_devices import (
    UsbName,
    gauge_interfaces,
    numbers_its_reports,
    path_of,
    report_endpoint,
    system_backend,
    text_of,
)

if TYPE_CHECKING:
    from collections.abc import Callable

POLL_MS: Final = 100
"""How long a read waits before it looks whether the port is being closed."""

WRITE_MS: Final = 1000

SET_REPORT: Final = 0x09
GET_DESCRIPTOR: Final = 0x06
OUTPUT_REPORT: Final = 0x0200
REPORT_DESCRIPTOR: Final = 0x2200
"""Requests of the class and their values (USB HID 1.11, 7.1.1 and 7.2.2; from memory)."""

NO_LIBRARY: Final = (
    "the library libusb is not on this machine; install it (Debian: apt install libusb-1.0-0; "
    "Windows: libusb-1.0.dll in the path), then try again"
)

_PASSING: Final = frozenset({errno.EINTR, errno.EAGAIN})
_UNPLUGGED: Final = frozenset({errno.ENODEV, errno.ENOENT, errno.ENXIO})


@dataclass(slots=True)
class _Taken:
    """A gauge that this port has for itself."""

    device: Any
    interface: int
    endpoint: int
    size: int
    out: int | None
    put_aside: bool
    numbered: bool | None = None


class UsbPort(Port):
    """A gauge on USB, named ``usb://maker:product``.

    Args:
        name: with ``?serial=...`` or ``?path=...`` where there are several of its make.
        mono_ns: the monotonic clock of the bench.
        interface: the interface that the driver file names; one in the name goes before it.
        endpoint: the address of the input endpoint that the driver file names.
        backend: what speaks to USB; None: this machine's, looked for at opening.
    """

    def __init__(
        self,
        name: str,
        mono_ns: Callable[[], int],
        *,
        interface: int | None = None,
        endpoint: int | None = None,
        backend: Any | None = None,
    ) -> None:
        super().__init__(name, mono_ns)
        self._interface = interface
        self._endpoint = endpoint
        self._backend = backend
        self._taken: _Taken | None = None
        self._stalled = False
        self._turn_to_write = threading.Lock()

    def _open(self) -> None:
        wanted = UsbName.parse(self.name)
        backend = self._backend or system_backend()
        if backend is None:
            raise PortError(f"{self.name} cannot be opened: {NO_LIBRARY}")
        try:
            device = self._find(wanted, backend)
            try:
                self._taken = self._take(device, wanted)
            except BaseException:
                with contextlib.suppress(usb.core.USBError):
                    usb.util.dispose_resources(device)
                raise
        except (usb.core.USBError, NotImplementedError) as fault:
            raise PortError(self._why_not_open(fault)) from None
        self._stalled = False

    def _find(self, wanted: UsbName, backend: Any) -> Any:
        like = list(
            usb.core.find(find_all=True, backend=backend, idVendor=wanted.vid, idProduct=wanted.pid)
        )
        there = [one for one in like if not wanted.path or path_of(one) == wanted.path]
        unread = False
        if wanted.serial_number:
            numbers = [text_of(one, "serial_number") for one in there]
            unread = None in numbers
            there = [
                one
                for one, number in zip(there, numbers, strict=True)
                if number == wanted.serial_number
            ]
        for one in like:
            if len(there) != 1 or one is not there[0]:
                with contextlib.suppress(usb.core.USBError):
                    usb.util.dispose_resources(one)
        if len(there) == 1:
            return there[0]
        if there:
            where = " and ".join(path_of(one) or "a socket without a name" for one in there)
            raise PortError(
                f"{self.name} is there {len(there)} times, in the sockets {where}; say which with "
                "?serial=... or ?path=..., as `gaugelink ports` shows them"
            )
        if unread:
            raise PortError(f"{self.name}: {_NO_RIGHT}")
        if like:
            where = " and ".join(path_of(one) or "a socket without a name" for one in like)
            raise PortError(f"{self.name} is not plugged in there; one of its make is in {where}")
        raise PortError(
            f"{self.name} is not plugged in; plug the gauge in, or look which ports there are"
        )

    def _take(self, device: Any, wanted: UsbName) -> _Taken:
        number = wanted.interface if wanted.interface is not None else self._interface
        try:
            configuration = device.get_active_configuration()
        except usb.core.USBError as fault:
            if fault.errno is not None:
                raise
            device.set_configuration()  # nobody had set one yet
            configuration = device.get_active_configuration()
        if number is None:
            candidates = list(gauge_interfaces(device))
        else:
            candidates = [
                one
                for one in configuration
                if (one.bInterfaceNumber, one.bAlternateSetting) == (number, 0)
            ]
        for interface in candidates:
            endpoint = report_endpoint(interface, self._endpoint)
            if endpoint is not None:
                break
        else:
            place = "" if number is None else f" on its interface {number}"
            which = "" if self._endpoint is None else f" {self._endpoint:02X}"
            raise PortError(
                f"{self.name} has no input endpoint{which} for reports{place}; look at interface "
                "and endpoint in the driver file"
            )
        number = interface.bInterfaceNumber
        put_aside = _put_driver_aside(device, number)
        try:
            usb.util.claim_interface(device, number)
        except usb.core.USBError:
            if put_aside:
                _give_back(device, number)
            raise
        out = report_endpoint(interface, out=True)
        return _Taken(
            device, number, endpoint.bEndpointAddress, endpoint.wMaxPacketSize,
            None if out is None else out.bEndpointAddress, put_aside,
        )  # fmt: skip

    def _why_not_open(self, fault: Exception) -> str:
        number = getattr(fault, "errno", None)
        if number == errno.EACCES:
            return f"{self.name}: {_NO_RIGHT}"
        if number == errno.EBUSY:
            return f"{self.name} is in use by another program; close that program, then try again"
        if number in _UNPLUGGED:
            return f"{self.name} was unplugged, or the system lets no program have it as it is"
        if number == errno.ENOSYS or isinstance(fault, NotImplementedError):
            return (
                f"{self.name}: this system keeps the gauge to its own driver; on Windows give its "
                "interface the driver WinUSB (see hardware_notes/hid-report.md)"
            )
        return f"{self.name} could not be opened ({getattr(fault, 'strerror', None) or fault})"

    def _read(self) -> bytes:
        taken = self._taken
        if taken is None:
            raise OSError("the port was closed")
        try:
            data = taken.device.read(taken.endpoint, taken.size, POLL_MS)
        except usb.core.USBTimeoutError:
            return b""
        except usb.core.USBError as fault:
            if fault.errno in _PASSING:
                return b""
            if fault.errno == errno.EPIPE and not self._stalled:
                # A gauge may stall once and go on when told to; twice with nothing between is over.
                self._stalled = True
                self._clear(taken)
                return b""
            raise OSError(fault.errno, _why_lost(fault)) from None
        self._stalled = False
        return bytes(data)

    def _clear(self, taken: _Taken) -> None:
        try:
            taken.device.clear_halt(taken.endpoint)
        except usb.core.USBError as fault:
            raise OSError(fault.errno, _why_lost(fault)) from None

    def _write(self, data: bytes) -> None:
        # pyusb would open a device again that is written to after it was given back.
        with self._turn_to_write:
            self._send(data)

    def _send(self, data: bytes) -> None:
        taken = self._taken
        if taken is None:
            raise OSError("the port was closed")
        if taken.out is not None:
            taken.device.write(taken.out, data, WRITE_MS)
            return
        if taken.numbered is None:
            descriptor = taken.device.ctrl_transfer(
                usb.util.CTRL_IN | usb.util.CTRL_RECIPIENT_INTERFACE, GET_DESCRIPTOR,
                REPORT_DESCRIPTOR, taken.interface, 4096, WRITE_MS,
            )  # fmt: skip
            taken.numbered = numbers_its_reports(bytes(descriptor))
        identifier = data[0] if taken.numbered else 0
        taken.device.ctrl_transfer(
            usb.util.CTRL_TYPE_CLASS | usb.util.CTRL_RECIPIENT_INTERFACE, SET_REPORT,
            OUTPUT_REPORT | identifier, taken.interface, data, WRITE_MS,
        )  # fmt: skip

    def _close(self) -> None:
        with self._turn_to_write:
            taken, self._taken = self._taken, None
        if taken is None:
            return
        try:
            if taken.put_aside:
                with contextlib.suppress(usb.core.USBError):
                    usb.util.release_interface(taken.device, taken.interface)
                _give_back(taken.device, taken.interface)
        finally:
            usb.util.dispose_resources(taken.device)


_NO_RIGHT: Final = (
    "this user lacks the right to the gauge; on Linux add a udev rule, on Windows the driver "
    "WinUSB (both stand in hardware_notes/hid-report.md), then plug the gauge out and in"
)


def _put_driver_aside(device: Any, interface: int) -> bool:
    """Take an interface from the system's own driver; tell whether that was needed."""
    try:
        if not device.is_kernel_driver_active(interface):
            return False
    except (usb.core.USBError, NotImplementedError) as fault:
        if getattr(fault, "errno", None) not in {errno.ENOSYS, errno.ENOENT, None}:
            raise
        return False  # this system has no way to ask; claiming shows whether it must be
    device.detach_kernel_driver(interface)
    return True


def _give_back(device: Any, interface: int) -> None:
    """Let the system's own driver have the interface again, if the device is still there."""
    with contextlib.suppress(usb.core.USBError, NotImplementedError):
        device.attach_kernel_driver(interface)


def _why_lost(fault: Any) -> str:
    if fault.errno in _UNPLUGGED:
        return "the gauge was unplugged"
    if fault.errno == errno.EPIPE:
        return "the gauge refuses to be read (it stalls); unplug it and plug it in again"
    if fault.errno == errno.EOVERFLOW:
        return "the gauge sent more than it had announced"
    return f"the gauge does not answer any more ({fault.strerror or fault})"
