"""Know an adapter again whatever the system calls its port today.

The system numbers ports in the order in which it finds them, so a gauge that was unplugged may come
back as ``COM7`` or ``/dev/ttyUSB1``, and another one may have taken its old name. What stays is the
adapter's USB serial number or, where that tells nothing, the socket that it sits in. Pure: no port
is opened here and nothing is asked of the system.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

if TYPE_CHECKING:
    from collections.abc import Sequence

NETWORK: Final = ("tcp://", "rfc2217://")
"""Ports whose name is an address; the address is what they are known by, and no list has them."""

USB: Final = "usb://"
"""What the name of a gauge on USB begins with that is no serial port."""

Binds = Literal["serial number", "path", "name", "given name"]
"""What an adapter is known by: its serial number, the socket it sits in, or the port's name. A
given name is one that a person wrote down: whatever has it is meant, listed or not."""


@dataclass(frozen=True, slots=True)
class PresentPort:
    """A port as the system describes it now.

    Attributes:
        name: what to open.
        vid, pid: maker and product of the USB adapter; None where it is not one.
        serial_number: the adapter's; empty where it has none.
        path: the socket, hub by hub, as the system writes it (``1-2.3:1.0``); empty if unknown.
        description: the system's words.
    """

    name: str
    vid: int | None = None
    pid: int | None = None
    serial_number: str = ""
    path: str = ""
    description: str = ""

    @property
    def part(self) -> str:
        """Which port of an adapter that has several: what stands behind the colon of its path."""
        return self.path.partition(":")[2]


@dataclass(frozen=True, slots=True)
class PortIdentity:
    """What an adapter is known by. ``binds`` says which of the fields decides; the rest must fit.

    A port that is built into the machine, or is an address in the network, keeps its name.
    """

    binds: Binds
    vid: int | None = None
    pid: int | None = None
    serial_number: str = ""
    path: str = ""
    name: str = ""

    @property
    def part(self) -> str:
        """Which port of an adapter that has several."""
        return self.path.partition(":")[2]

    @property
    def words(self) -> str:
        """Say it to a person."""
        adapter = f"USB adapter {usb_text(self.vid, self.pid)}"
        match self.binds:
            case "serial number":
                part = f", its port {self.part}" if self.part else ""
                return f"{adapter} with the serial number {self.serial_number}{part}"
            case "path":
                return f"{adapter} in the socket {self.path}"
            case "name" | "given name":
                return f"the port {self.name}"


@dataclass(frozen=True, slots=True)
class Found:
    """The adapter is here, under this name."""

    name: str


@dataclass(frozen=True, slots=True)
class NotFound:
    """The adapter is not here, or cannot be told from another; the sentence says which."""

    reason: str
    ambiguous: bool = False


def usb_text(vid: int | None, pid: int | None) -> str:
    """Write maker and product as they are commonly written.

    >>> usb_text(0x1A86, 0x7523)
    '1a86:7523'
    """
    return f"{vid or 0:04x}:{pid or 0:04x}"


def tells(serial_number: str) -> bool:
    """Tell whether a serial number tells one adapter from another of its make.

    Some makes leave the works with the same one in all of them, a row of like digits or a count
    (from memory): fewer than three different characters, or digits in their natural order.

    >>> tells("A5069RR4"), tells(""), tells("0001"), tells("0123456789")
    (True, False, False, False)
    """
    text = serial_number.strip()
    return len(set(text)) >= 3 and text not in "01234567890123456789"


def identity_of(port: PresentPort, present: Sequence[PresentPort]) -> PortIdentity:
    """Say what a port that is here is to be known by.

    Args:
        port: the port.
        present: all that are here, for a serial number counts only if no other has it.

    >>> one = PresentPort("COM5", 0x0403, 0x6001, "A5069RR4", "1-2")
    >>> identity_of(one, [one]).binds
    'serial number'
    >>> twin = PresentPort("COM6", 0x0403, 0x6001, "A5069RR4", "1-3")
    >>> identity_of(one, [one, twin]).binds
    'path'
    """
    if port.vid is None:
        return PortIdentity("name", name=port.name)
    alone = not any(other != port and _same_adapter(port, other) for other in present)
    binds: Binds = "path" if port.path else "name"
    if tells(port.serial_number) and alone:
        binds = "serial number"
    return PortIdentity(
        binds, port.vid, port.pid, port.serial_number, port.path,
        port.name if binds == "name" else "",
    )  # fmt: skip


def bench_line(identity: PortIdentity) -> str:
    """Write what a bench file says of a gauge that is plugged in there, ready to be copied.

    >>> bench_line(PortIdentity("serial number", 0x0403, 0x6001, "A5069RR4", "1-2"))
    'bind = { usb = "0403:6001", serial_number = "A5069RR4" }'
    >>> bench_line(PortIdentity("name", name="COM1"))
    'port = "COM1"'
    """
    if identity.binds in {"name", "given name"}:
        return f"port = {_quoted(identity.name)}"
    keys = {"usb": usb_text(identity.vid, identity.pid), "serial_number": identity.serial_number}
    if identity.binds == "path":
        keys["path"] = identity.path
    elif identity.part:
        keys["part"] = identity.part
    pairs = ", ".join(f"{key} = {_quoted(text)}" for key, text in keys.items() if text)
    return f"bind = {{ {pairs} }}"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)  # a basic string of TOML is written alike


def find(identity: PortIdentity, present: Sequence[PresentPort]) -> Found | NotFound:
    """Look for an adapter among the ports that are here. Never guess between two.

    >>> known = PortIdentity("serial number", 0x0403, 0x6001, "A5069RR4", "1-2")
    >>> find(known, [PresentPort("COM7", 0x0403, 0x6001, "A5069RR4", "1-3")])
    Found(name='COM7')
    >>> find(known, []).reason
    'USB adapter 0403:6001 with the serial number A5069RR4 is not plugged in'
    >>> find(PortIdentity("given name", name="COM9"), [])
    Found(name='COM9')
    """
    match identity.binds:
        case "serial number":
            return _by_serial_number(identity, present)
        case "path":
            return _by_path(identity, present)
        case "name":
            return _by_name(identity, present)
        case "given name":
            return Found(identity.name)  # whether anything is there shows when it is opened


def _by_serial_number(identity: PortIdentity, present: Sequence[PresentPort]) -> Found | NotFound:
    same = [port for port in present if _same_adapter(identity, port)]
    if len(same) == 1:
        return Found(same[0].name)
    if not same:
        return NotFound(f"{identity.words} is not plugged in")
    names = " and ".join(port.name for port in same)
    return NotFound(
        f"{names} both have the serial number {identity.serial_number}, so nobody can tell which "
        "is the right one; unplug the other one",
        ambiguous=True,
    )


def _by_path(identity: PortIdentity, present: Sequence[PresentPort]) -> Found | NotFound:
    there = [port for port in present if port.path == identity.path]
    if len(there) > 1:
        names = " and ".join(port.name for port in there)
        return NotFound(
            f"{names} are both said to sit in the socket {identity.path}", ambiguous=True
        )
    if there:
        if _same_make(identity, there[0]) and identity.serial_number == there[0].serial_number:
            return Found(there[0].name)
        other = usb_text(there[0].vid, there[0].pid)
        number = there[0].serial_number or "none"
        return NotFound(
            f"in the socket {identity.path} sits another adapter ({other}, serial number {number}) "
            f"on {there[0].name}"
        )
    like = [port.name for port in present if _same_make(identity, port)]
    if like:
        return NotFound(
            f"nothing is in the socket {identity.path}; an adapter of the same make is on "
            f"{' and on '.join(like)}, but such adapters cannot be told apart: plug the gauge in "
            "where it was",
            ambiguous=True,
        )
    return NotFound(f"{identity.words} is not plugged in")


def _by_name(identity: PortIdentity, present: Sequence[PresentPort]) -> Found | NotFound:
    if identity.name.startswith(NETWORK):
        return Found(identity.name)  # whether it answers shows when it is opened
    for port in present:
        if port.name == identity.name:
            if (port.vid, port.pid) == (identity.vid, identity.pid):
                return Found(port.name)
            return NotFound(f"{port.name} is another adapter now ({usb_text(port.vid, port.pid)})")
    return NotFound(f"{identity.words} is not there")


def _same_make(one: PortIdentity | PresentPort, other: PresentPort) -> bool:
    return (one.vid, one.pid) == (other.vid, other.pid)


def _same_adapter(one: PortIdentity | PresentPort, other: PresentPort) -> bool:
    return (
        _same_make(one, other)
        and one.serial_number == other.serial_number
        and one.part == other.part
    )
