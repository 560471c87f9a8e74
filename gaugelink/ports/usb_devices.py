"""What pyusb shows of the devices on USB, in the words of the other ports.

Whatever a device does not tell, or does not let this user read, is left out; nobody guesses.
"""

from __future__ import annotations

import re
import urllib.parse
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, Final

import usb.backend.libusb1
import usb.core
import usb.util

from gaugelink.errors import PortError
from gaugelink.ports.identity import USB, usb_text

if TYPE_CHECKING:
    from collections.abc import Iterator

HID: Final = 3
"""Class of an interface for human interface devices (USB HID 1.11, 4.1; from memory)."""

BOOT: Final = 1
"""Subclass of keyboards and mice that work before a system has started (4.2; from memory)."""

_ACCEPTED: Final = (
    "accepted: usb://maker:product such as usb://1209:0001, with ?serial=... or ?path=1-2.3 where "
    "there are several, and &interface=1 where a device has several"
)
_NAME = re.compile(
    r"usb://(?P<vid>[0-9a-f]{1,4}):(?P<pid>[0-9a-f]{1,4})(?:\?(?P<more>.+))?", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class UsbName:
    """The name of a gauge on USB, taken apart.

    Attributes:
        vid, pid: maker and product.
        serial_number: the gauge's; empty: any.
        path: the socket, hub by hub (``1-2.3``); empty: any.
        interface: the interface's number; None: the first that fits.
    """

    vid: int
    pid: int
    serial_number: str = ""
    path: str = ""
    interface: int | None = None

    @classmethod
    def parse(cls, name: str) -> UsbName:
        """Take a name apart.

        Raises:
            PortError: it is none; the sentence says what is accepted.

        >>> UsbName.parse("usb://1209:0001?path=1-2.3").path
        '1-2.3'
        """
        match = _NAME.fullmatch(name)
        if match is None:
            raise PortError(f"found the port {name!r}, {_ACCEPTED}")
        pairs = urllib.parse.parse_qsl(match["more"] or "", keep_blank_values=True)
        more = dict(pairs)
        if (
            len(more) != len(pairs)
            or (match["more"] and not more)
            or not more.keys() <= {"serial", "path", "interface"}
            or "" in more.values()
            or not re.fullmatch(r"\d{0,2}", more.get("interface", ""), re.ASCII)
        ):
            raise PortError(f"found the port {name!r}, {_ACCEPTED}")
        number = more.get("interface")
        return cls(
            int(match["vid"], 16), int(match["pid"], 16), more.get("serial", ""),
            more.get("path", ""), None if number is None else int(number),
        )  # fmt: skip

    def __str__(self) -> str:
        """Write the name, so that `parse` gives the same again.

        >>> str(UsbName(0x1209, 1, "A 5", interface=1))
        'usb://1209:0001?serial=A+5&interface=1'
        """
        more: dict[str, str] = {}
        if self.serial_number:
            more["serial"] = self.serial_number
        if self.path:
            more["path"] = self.path
        if self.interface is not None:
            more["interface"] = str(self.interface)
        query = f"?{urllib.parse.urlencode(more)}" if more else ""
        return f"{USB}{usb_text(self.vid, self.pid)}{query}"


@cache
def system_backend() -> Any | None:
    """Give what speaks to this machine's USB; None where libusb is not on the machine.

    Looked for once: the search may start other programs, and the list is looked at every second.
    """
    return usb.backend.libusb1.get_backend()


def path_of(device: Any) -> str:
    """Name the socket that a device sits in, hub by hub; empty if the system does not tell."""
    if device.bus is None or not device.port_numbers:
        return ""
    return f"{device.bus}-{'.'.join(map(str, device.port_numbers))}"


def text_of(device: Any, field: str) -> str | None:
    """Read a text of a device, such as its ``serial_number``; None if it may not be read."""
    try:
        return getattr(device, field) or ""
    except (usb.core.USBError, ValueError, NotImplementedError):
        return None


def gauge_interfaces(device: Any) -> Iterator[Any]:
    """Give the interfaces that can be a gauge's: HID, neither keyboard nor mouse, with reports."""
    try:
        for interface in device[0]:
            boot = interface.bInterfaceSubClass == BOOT and interface.bInterfaceProtocol != 0
            if interface.bInterfaceClass != HID or boot or interface.bAlternateSetting != 0:
                continue
            if report_endpoint(interface) is not None:
                yield interface
    except (usb.core.USBError, IndexError, NotImplementedError):
        return


def report_endpoint(interface: Any, address: int | None = None, *, out: bool = False) -> Any | None:
    """Find the interrupt endpoint of an interface; with `address` that one only."""
    way = usb.util.ENDPOINT_OUT if out else usb.util.ENDPOINT_IN
    for endpoint in interface:
        if (
            usb.util.endpoint_type(endpoint.bmAttributes) == usb.util.ENDPOINT_TYPE_INTR
            and usb.util.endpoint_direction(endpoint.bEndpointAddress) == way
            and address in {None, endpoint.bEndpointAddress}
        ):
            return endpoint
    return None


def numbers_its_reports(descriptor: bytes) -> bool:
    """Tell from a report descriptor whether each report begins with an identifier.

    Items are one byte of size, type and tag, then 0, 1, 2 or 4 bytes; long ones begin with FE
    (USB HID 1.11, 6.2.2.2 and 6.2.2.3; from memory). The item with the tag of 84 is an identifier.

    >>> numbers_its_reports(bytes.fromhex("06 00 ff 09 01 a1 01 85 51 c0"))
    True
    >>> numbers_its_reports(bytes.fromhex("06 00 ff 09 01 a1 01 26 85 00 c0"))
    False
    """
    at = 0
    while at < len(descriptor):
        item = descriptor[at]
        if item & 0xFC == 0x84:
            return True
        long = item == 0xFE and at + 1 < len(descriptor)
        at += 3 + descriptor[at + 1] if long else 1 + (0, 1, 2, 4)[item & 3]
    return False
