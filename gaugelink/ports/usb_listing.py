"""The gauges on USB that this machine has now."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING, Any

import usb.core
import usb.util

from gaugelink.ports.identity import PresentPort
from gaugelink.ports.usb_devices import (
    UsbName,
    gauge_interfaces,
    path_of,
    system_backend,
    text_of,
)

if TYPE_CHECKING:
    from collections.abc import Iterator


def present_usb(backend: Any | None = None) -> list[PresentPort]:
    """List the HID devices that are neither keyboard nor mouse, sorted by name.

    Their texts are read, nothing else: no interface is claimed, so a gauge that is in use goes on.

    Args:
        backend: what speaks to USB; None: this machine's. Without libusb there is nothing to list.
    """
    backend = backend or system_backend()
    if backend is None:
        return []
    found: list[PresentPort] = []
    try:
        for device in usb.core.find(find_all=True, backend=backend):
            found += _ports_of(device)
    except usb.core.USBError:
        # What is here may change while it is looked at; the next look shows it.
        pass
    return sorted(found, key=lambda port: port.name)


def _ports_of(device: Any) -> Iterator[PresentPort]:
    interfaces = list(gauge_interfaces(device))
    if not interfaces:
        return
    try:
        serial_number, product = text_of(device, "serial_number"), text_of(device, "product")
        path, configuration = path_of(device), device[0].bConfigurationValue
    finally:
        with contextlib.suppress(usb.core.USBError):
            usb.util.dispose_resources(device)
    several = len(interfaces) > 1
    for interface in interfaces:
        number = interface.bInterfaceNumber
        name = UsbName(
            device.idVendor, device.idProduct, "" if path else serial_number or "", path,
            number if several else None,
        )  # fmt: skip
        words = product or "USB gauge or other HID device"
        if serial_number is None:
            words += ", whose serial number this user may not read"
        yield PresentPort(
            str(name), device.idVendor, device.idProduct, serial_number or "",
            f"{path}:{configuration}.{number}" if path and several else path, words,
        )  # fmt: skip
