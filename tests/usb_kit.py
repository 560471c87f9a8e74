"""A simulated USB for tests: pyusb's own code runs against it, down to the calls into libusb.

Devices are plugged in and pulled out; a gauge sends reports, stalls, or refuses. A read waits
until something comes or its time is over, but never long: no time is measured here.
"""
# ruff: noqa: D102, N803  the names are those of pyusb and of the USB standard

from __future__ import annotations

import errno
import queue
from collections import deque
from dataclasses import dataclass, field
from types import SimpleNamespace

import usb.backend
from cable_kit import PATIENCE_S
from usb.core import USBError, USBTimeoutError

IN, OUT = 0x81, 0x02
REPORT_DESCRIPTOR = bytes.fromhex("06 00 ff 09 01 a1 01 75 08 95 08 81 02 c0")
"""A vendor page, an application collection, eight input bytes; without identifiers."""

NUMBERED = bytes.fromhex("06 00 ff 09 01 a1 01 85 51 75 08 95 07 81 02 c0")
"""The same with the identifier 51."""

SHORTLY_S = 0.01


@dataclass(frozen=True)
class Interface:
    """An interface: class, subclass, protocol, and the addresses of its endpoints."""

    number: int = 0
    kind: tuple[int, int, int] = (3, 0, 0)
    endpoints: tuple[int, ...] = (IN,)
    descriptor: bytes = REPORT_DESCRIPTOR


@dataclass(eq=False)
class UsbGauge:
    """A gauge with its plug in its hand."""

    vid: int = 0x1209
    pid: int = 0x0001
    serial_number: str = ""
    product: str = "Simulated gauge"
    interfaces: tuple[Interface, ...] = (Interface(),)
    configuration: int = 1
    refused: int | None = None  # the number of the error with which opening is refused
    driver_active: bool = True  # the system's own driver has it
    heard: list[tuple[str, int, bytes]] = field(default_factory=list)
    claimed: set[int] = field(default_factory=set)
    detached: int = 0
    cleared: int = 0
    _waits: queue.Queue[None] = field(default_factory=queue.Queue)
    _sent: queue.Queue[bytes | USBError] = field(default_factory=queue.Queue)

    def send(self, report: bytes) -> None:
        """Send a report."""
        self._sent.put(report)

    def fail(self, number: int, words: str = "simulated") -> None:
        """Let the next read fail."""
        self._sent.put(USBError(words, None, number))

    def waited(self, times: int) -> None:
        """Wait until so many reads were over before anything came."""
        for _ in range(times):
            self._waits.get(timeout=PATIENCE_S)

    def next_report(self, timeout_ms: int) -> bytes:
        try:
            item = self._sent.get(timeout=min(timeout_ms / 1000, SHORTLY_S))
        except queue.Empty:
            self._waits.put(None)
            raise USBTimeoutError("Operation timed out", -7, errno.ETIMEDOUT) from None
        if isinstance(item, USBError):
            raise item
        return item

    def text(self, index: int) -> str:
        return {1: self.product, 2: self.serial_number}[index]


@dataclass(eq=False)
class Socket:
    """A device in a socket, at the address that it got when it was plugged in."""

    gauge: UsbGauge
    bus: int
    ports: tuple[int, ...] | None
    address: int
    plugged: bool = True
    handles: int = 0


class SimulatedUsb(usb.backend.IBackend):
    """What pyusb takes for libusb."""

    def __init__(self, *, kernel_drivers: bool = True) -> None:
        self.sockets: list[Socket] = []
        self.kernel_drivers = kernel_drivers
        self.gone = deque[int](
            [errno.ENODEV]
        )  # how reading a pulled gauge fails; the last one stays
        self._addresses = 1

    def plug(self, gauge: UsbGauge, *ports: int, bus: int = 1) -> Socket:
        """Plug a gauge in; it gets an address that none has had before."""
        self._addresses += 1
        socket = Socket(gauge, bus, ports or None, self._addresses)
        self.sockets.append(socket)
        return socket

    def pull(self, gauge: UsbGauge) -> None:
        """Pull the plug of a gauge out."""
        [socket] = [one for one in self.sockets if one.gauge is gauge]
        self.sockets.remove(socket)
        socket.plugged = False
        gauge.claimed.clear()
        gauge.driver_active = True

    @property
    def handles(self) -> int:
        """How many handles of devices that are plugged in are open."""
        return sum(one.handles for one in self.sockets)

    # What pyusb calls.

    def enumerate_devices(self):
        return iter(list(self.sockets))

    def get_device_descriptor(self, dev):
        gauge = dev.gauge
        return SimpleNamespace(
            bLength=18, bDescriptorType=1, bcdUSB=0x200, bDeviceClass=0, bDeviceSubClass=0,
            bDeviceProtocol=0, bMaxPacketSize0=64, idVendor=gauge.vid, idProduct=gauge.pid,
            bcdDevice=0x100, iManufacturer=0, iProduct=1 if gauge.product else 0,
            iSerialNumber=2 if gauge.serial_number else 0, bNumConfigurations=1,
            address=dev.address, bus=dev.bus, port_number=dev.ports and dev.ports[-1],
            port_numbers=dev.ports, speed=2,
        )  # fmt: skip

    def get_configuration_descriptor(self, dev, config):
        if config != 0:
            raise IndexError(config)
        return SimpleNamespace(
            bLength=9, bDescriptorType=2, wTotalLength=34,
            bNumInterfaces=len(dev.gauge.interfaces), bConfigurationValue=1, iConfiguration=0,
            bmAttributes=0x80, bMaxPower=50, extra_descriptors=[],
        )  # fmt: skip

    def get_interface_descriptor(self, dev, intf, alt, config):
        if alt != 0:
            raise IndexError(alt)
        found = dev.gauge.interfaces[intf]
        kind, subclass, protocol = found.kind
        return SimpleNamespace(
            bLength=9, bDescriptorType=4, bInterfaceNumber=found.number, bAlternateSetting=0,
            bNumEndpoints=len(found.endpoints), bInterfaceClass=kind, bInterfaceSubClass=subclass,
            bInterfaceProtocol=protocol, iInterface=0, extra_descriptors=[],
        )  # fmt: skip

    def get_endpoint_descriptor(self, dev, ep, intf, alt, config):
        address = dev.gauge.interfaces[intf].endpoints[ep]
        return SimpleNamespace(
            bLength=7, bDescriptorType=5, bEndpointAddress=address, bmAttributes=3,
            wMaxPacketSize=64, bInterval=10, bRefresh=0, bSynchAddress=0, extra_descriptors=[],
        )  # fmt: skip

    def open_device(self, dev):
        self._there(dev)
        if dev.gauge.refused is not None:
            raise USBError("simulated refusal", -3, dev.gauge.refused)
        dev.handles += 1
        return SimpleNamespace(socket=dev, claimed=set())

    def close_device(self, dev_handle):
        dev_handle.socket.handles -= 1
        dev_handle.socket.gauge.claimed -= dev_handle.claimed

    def set_configuration(self, dev_handle, config_value):
        self._there(dev_handle.socket)
        dev_handle.socket.gauge.configuration = config_value

    def get_configuration(self, dev_handle):
        self._there(dev_handle.socket)
        return dev_handle.socket.gauge.configuration

    def claim_interface(self, dev_handle, intf):
        gauge = self._there(dev_handle.socket)
        if intf in gauge.claimed or (gauge.driver_active and self.kernel_drivers):
            raise USBError("Resource busy", -6, errno.EBUSY)
        gauge.claimed.add(intf)
        dev_handle.claimed.add(intf)

    def release_interface(self, dev_handle, intf):
        self._there(dev_handle.socket).claimed.discard(intf)
        dev_handle.claimed.discard(intf)

    def intr_read(self, dev_handle, ep, intf, size, timeout):
        socket = dev_handle.socket
        assert intf in dev_handle.claimed
        if socket.plugged:
            try:
                report = socket.gauge.next_report(timeout)
            except USBTimeoutError:
                if socket.plugged:
                    raise
            else:
                assert len(report) <= len(size)
                size[: len(report)] = type(size)("B", report)
                return len(report)
        number = self.gone[0] if len(self.gone) == 1 else self.gone.popleft()
        raise USBError("simulated loss", None, number)

    def intr_write(self, dev_handle, ep, intf, data, timeout):
        self._there(dev_handle.socket).heard.append(("out", ep, data.tobytes()))
        return len(data)

    def ctrl_transfer(self, dev_handle, bmRequestType, bRequest, wValue, wIndex, data, timeout):
        gauge = self._there(dev_handle.socket)
        match bmRequestType, bRequest, wValue >> 8:
            case 0x80, 6, 3:
                index = wValue & 255
                text = "\u0409" if index == 0 else gauge.text(index)
                answer = text.encode("utf-16-le")
                answer = bytes([len(answer) + 2, 3]) + answer
            case 0x81, 6, 0x22:
                answer = next(one for one in gauge.interfaces if one.number == wIndex).descriptor
            case 0x21, 9, 2:
                gauge.heard.append(("set report", wValue & 255, data.tobytes()))
                return len(data)
            case _:
                raise USBError("Pipe error", -9, errno.EPIPE)
        size = min(len(answer), len(data))
        data[:size] = type(data)("B", answer[:size])
        return size

    def clear_halt(self, dev_handle, ep):
        self._there(dev_handle.socket).cleared += 1

    def is_kernel_driver_active(self, dev_handle, intf):
        gauge = self._there(dev_handle.socket)
        if not self.kernel_drivers:
            raise USBError("not supported", -12, errno.ENOSYS)
        return gauge.driver_active

    def detach_kernel_driver(self, dev_handle, intf):
        gauge = self._there(dev_handle.socket)
        gauge.driver_active = False
        gauge.detached += 1

    def attach_kernel_driver(self, dev_handle, intf):
        self._there(dev_handle.socket).driver_active = True

    def _there(self, socket: Socket) -> UsbGauge:
        if not socket.plugged:
            raise USBError("No such device (it may have been disconnected)", -4, errno.ENODEV)
        return socket.gauge
