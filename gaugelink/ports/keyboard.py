"""Gauges that type, read from the keyboard itself, so that nothing they type goes elsewhere.

Where the system allows one program to have a keyboard to itself (Linux), the port takes it. Where
it does not, the gauge types into the capture field of the bench page (`gaugelink.ports.page`).
"""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, get_args

from gaugelink.errors import InputError
from gaugelink.ports.keylayout import Layout

if TYPE_CHECKING:
    from gaugelink.ports.identity import PresentPort

if sys.platform == "linux":
    from gaugelink.ports.keyboard_linux import KeyboardPort, list_keyboards
else:
    from gaugelink.ports.keyboard_elsewhere import KeyboardPort, list_keyboards

__all__ = ["KEYBOARD", "KeyboardName", "KeyboardPort", "keyboards", "read_name"]

KEYBOARD: Final = "keyboard:"
"""What the name of a keyboard's port begins with."""

_NAME = re.compile(r"keyboard:(?P<device>[^?]+)(?:\?layout=(?P<layout>[a-z]+))?")
_LAYOUTS: Final = {str(layout): layout for layout in get_args(Layout)}


@dataclass(frozen=True, slots=True)
class KeyboardName:
    """What the name of a port says.

    Attributes:
        device: the event device, such as ``/dev/input/by-id/usb-...-event-kbd``.
        layout: the layout that it names; None: that of the driver file.
    """

    device: str
    layout: Layout | None


def read_name(name: str) -> KeyboardName:
    """Take the name of a port apart.

    Raises:
        InputError: it is none of a keyboard.

    >>> read_name("keyboard:event3?layout=fr")
    KeyboardName(device='/dev/input/event3', layout='fr')
    """
    match = _NAME.fullmatch(name)
    layout = match["layout"] if match else None
    if match is None or (layout is not None and layout not in _LAYOUTS):
        raise InputError(
            f"found the port {name!r}, accepted: keyboard:/dev/input/..., and if need be "
            f"?layout= with one of {', '.join(_LAYOUTS)}"
        )
    device = match["device"]
    return KeyboardName(
        device if device.startswith("/") else f"/dev/input/{device}",
        _LAYOUTS[layout] if layout else None,
    )


def keyboards() -> list[PresentPort]:
    """List the keyboards that this user may read; none where the system has no such thing."""
    return list_keyboards(KEYBOARD)
