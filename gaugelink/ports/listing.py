"""The ports of this machine, and what each is best known by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gaugelink.ports.identity import PortIdentity, PresentPort, identity_of, tells

if TYPE_CHECKING:
    from collections.abc import Sequence

TOUCH = "touch a gauge and see which one lights up"


@dataclass(frozen=True, slots=True)
class Advice:
    """What binds a port for good.

    Attributes:
        port: the port.
        identity: what it is to be known by.
        words: why, and what to look out for.
        swap_risk: it can be taken for another one, so a person has to look once.
    """

    port: PresentPort
    identity: PortIdentity
    words: str
    swap_risk: bool


def present_ports() -> list[PresentPort]:
    """List the serial ports, gauges on USB and keyboards that this machine has, sorted by name.

    Takes none of them; of the gauges on USB the texts are read. Without libusb there are no gauges
    on USB, without evdev no keyboards.
    """
    from gaugelink.ports.keyboard import keyboards  # noqa: PLC0415  only wanted here
    from gaugelink.ports.usb_listing import present_usb  # noqa: PLC0415  only wanted here

    return sorted([*serial_ports(), *present_usb(), *keyboards()], key=lambda port: port.name)


def serial_ports() -> list[PresentPort]:
    """List the serial ports that this machine has now, sorted by name. Opens none of them."""
    from serial.tools import list_ports  # noqa: PLC0415  slow, and only wanted here

    return sorted(
        (
            PresentPort(
                item.device, item.vid, item.pid, item.serial_number or "", item.location or "",
                "" if item.description in {None, "n/a"} else item.description,
            )
            for item in list_ports.comports()
        ),
        key=lambda port: port.name,
    )  # fmt: skip


def advise(present: Sequence[PresentPort]) -> list[Advice]:
    """Suggest for each port what it is to be known by.

    >>> twins = [PresentPort(f"COM{n}", 0x1A86, 0x7523, "", f"1-{n}") for n in (3, 4)]
    >>> print(advise(twins)[0].words)
    it has no serial number, so the socket counts: leave it plugged in there. COM4 is of the same \
make: after any change of cables touch a gauge and see which one lights up
    """
    return [_advice(port, present) for port in present]


def _advice(port: PresentPort, present: Sequence[PresentPort]) -> Advice:
    identity = identity_of(port, present)
    if identity.vid is None:
        words = "built in: it keeps its name"
        return Advice(port, identity, words, swap_risk=False)
    if identity.binds == "serial number":
        words = "its serial number: it may be plugged in anywhere"
        return Advice(port, identity, words, swap_risk=False)
    like = [
        other.name
        for other in present
        if other != port
        and (other.vid, other.pid) == (port.vid, port.pid)
        and (other.serial_number == port.serial_number or not tells(other.serial_number))
    ]
    if not port.serial_number:
        why = "it has no serial number"
    elif any(other != port and other.serial_number == port.serial_number for other in present):
        why = f"another one has the same serial number ({port.serial_number})"
    else:
        why = f"its serial number ({port.serial_number}) is one that many have"
    if identity.binds == "path":
        words = f"{why}, so the socket counts: leave it plugged in there"
    else:
        words = f"{why}, and the system does not tell the socket: only its name is left"
    if like:
        words += f". {', '.join(like)} is of the same make: after any change of cables {TOUCH}"
    else:
        words += f". If a second one of its make comes, {TOUCH}"
    return Advice(port, identity, words, swap_risk=True)
