"""A keyboard of Linux, taken for this program alone, through python-evdev.

While it is open, what is typed on it reaches no window, no console and no other program: that is
the point, and the reason to be sure that it is the gauge's and not the operator's.
"""

from __future__ import annotations

import contextlib
import errno
import os
import re
import select
from collections import deque
from typing import TYPE_CHECKING, Final, Protocol

from gaugelink.errors import PortError
from gaugelink.ports.identity import PresentPort
from gaugelink.ports.keylayout import NOTHING_SENSIBLE, Keys, KeyTimes
from gaugelink.ports.port import Port

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

    from gaugelink.ports.keylayout import Layout

POLL_S: Final = 0.1
EV_SYN, EV_KEY, EV_LED = 0, 1, 17
SYN_DROPPED: Final = 3
LED_NUM_LOCK, LED_CAPS_LOCK = 0, 1
_MUST_HAVE: Final = frozenset({*range(2, 12), 28})
"""Digits and Enter: without them it is a power button or a mouse, which are event devices too."""

_SOCKET = re.compile(r"usb-[0-9a-f:.]+-(?P<path>[0-9.]+)/input(?P<part>\d+)")

HOW_TO_GET_IT: Final = (
    "reading a keyboard needs the library evdev; install it with: "
    "python -m pip install 'gaugelink[keyboard]'"
)


class Event(Protocol):
    """An event as evdev gives it."""

    sec: int
    usec: int
    type: int
    code: int
    value: int


class Device(Protocol):
    """What of an event device is used; `evdev.InputDevice` is one."""

    def fileno(self) -> int:
        """Give the open file."""
        ...

    def read(self) -> Iterator[Event]:
        """Give the events that wait."""
        ...

    def grab(self) -> None:
        """Take it for this program alone."""
        ...

    def capabilities(self) -> Mapping[int, Iterable[int]]:
        """Give the codes that it has, by kind of event."""
        ...

    def leds(self) -> Iterable[int]:
        """Give the lamps that are on."""
        ...

    def close(self) -> None:
        """Let it go."""
        ...


class KeyboardPort(Port):
    """A keyboard, one character a chunk, dated as the keyboard sent it.

    Args:
        name: what people call the port.
        device: the path of the event device.
        layout: what the gauge is set to type for.
        mono_ns: the monotonic clock of the bench.
    """

    def __init__(self, name: str, device: str, layout: Layout, mono_ns: Callable[[], int]) -> None:
        super().__init__(name, self._stamp_ns)
        self._path = device
        self._layout = layout
        self._clock_ns = mono_ns
        self._device: Device | None = None
        self._keys = Keys(layout)
        self._times = KeyTimes()
        self._waiting: deque[tuple[str, int]] = deque()
        self._last_ns: int | None = None
        self._wake_read = self._wake_write = -1

    def _stamp_ns(self) -> int:
        return self._clock_ns() if self._last_ns is None else self._last_ns

    def _connect(self) -> Device:
        """Open the event device.

        Raises:
            PortError: it is no keyboard, or the library is missing.
            OSError: the system refuses.
        """
        try:
            import evdev  # noqa: PLC0415  an optional library
        except ImportError:
            raise PortError(f"{self.name} cannot be opened: {HOW_TO_GET_IT}") from None
        device = evdev.InputDevice(self._path)
        if not set(device.capabilities().get(EV_KEY, ())) >= _MUST_HAVE:
            device.close()
            raise PortError(f"{self.name} is no keyboard: it has no digits, or no Enter")
        return device  # type: ignore[no-any-return,unused-ignore]  # it ships no types everywhere

    def _open(self) -> None:
        try:
            self._device = device = self._connect()
            device.grab()
        except OSError as fault:
            self._close()
            raise PortError(_why_not_open(self.name, fault)) from None
        lamps = set(device.leds())
        # A keyboard without the lamp has no such lock: its keypad is digits.
        no_lock = LED_NUM_LOCK not in device.capabilities().get(EV_LED, ())
        self._keys = Keys(
            self._layout,
            num_lock=no_lock or LED_NUM_LOCK in lamps,
            caps_lock=LED_CAPS_LOCK in lamps,
        )
        self._times = KeyTimes()
        self._waiting.clear()
        self._last_ns = None
        self._wake_read, self._wake_write = os.pipe()

    def _read(self) -> bytes:
        assert self._device is not None
        if not self._waiting:
            number = self._device.fileno()
            here, _, _ = select.select([number, self._wake_read], [], [], POLL_S)
            if number in here:
                self._take()
        if not self._waiting:
            return b""
        text, self._last_ns = self._waiting.popleft()
        return text.encode()

    def _take(self) -> None:
        assert self._device is not None
        now_ns = self._clock_ns()
        try:
            events = list(self._device.read())
        except BlockingIOError:
            return
        except OSError as fault:
            raise OSError(fault.errno, "the keyboard was unplugged") from None
        if not events:
            raise OSError("the keyboard was unplugged")
        texts, times_ns = [], []
        for event in events:
            typed = ""
            if event.type == EV_KEY:
                typed = self._keys.feed(event.code, event.value)
            elif event.type == EV_SYN and event.code == SYN_DROPPED:
                typed = NOTHING_SENSIBLE  # the system has lost keys; what is left must be no value
            if typed:
                texts.append(typed)
                times_ns.append(event.sec * 10**9 + event.usec * 1000)
        self._waiting.extend(zip(texts, self._times.date(times_ns, now_ns), strict=True))

    def _write(self, data: bytes) -> None:  # noqa: ARG002
        raise OSError("nothing can be sent to a keyboard")

    def _wake(self) -> None:
        if self._wake_write >= 0:
            os.write(self._wake_write, b"!")

    def _close(self) -> None:
        device, self._device = self._device, None
        if device is not None:
            with contextlib.suppress(OSError):  # it may be gone; closing lets the grab go as well
                device.close()
        for end in (self._wake_read, self._wake_write):
            if end >= 0:
                os.close(end)
        self._wake_read = self._wake_write = -1


def list_keyboards(prefix: str) -> list[PresentPort]:
    """List the keyboards that this user may read. Without the library none is known."""
    try:
        import evdev  # noqa: PLC0415  an optional library
    except ImportError:
        return []
    found = []
    for path in evdev.list_devices():
        with contextlib.suppress(OSError):  # unplugged between listing and looking
            device = evdev.InputDevice(path)
            if set(device.capabilities().get(EV_KEY, ())) >= _MUST_HAVE:
                found.append(
                    present(
                        f"{prefix}{path}", device.info.vendor, device.info.product,
                        device.uniq or "", device.phys or "", device.name or "",
                    )
                )  # fmt: skip
            device.close()
    return sorted(found, key=lambda port: port.name)


def present(name: str, vid: int, pid: int, uniq: str, phys: str, description: str) -> PresentPort:
    """Describe a keyboard as other ports are described.

    >>> present("keyboard:a", 0x1A2C, 0x0E24, "", "usb-0000:00:14.0-1.2/input0", "Gauge").path
    '1.2:input0'
    """
    match = _SOCKET.fullmatch(phys)
    path = f"{match['path']}:input{match['part']}" if match else phys
    return PresentPort(name, vid or None, pid if vid else None, uniq, path, description)


def _why_not_open(name: str, fault: OSError) -> str:
    if fault.errno == errno.EBUSY:
        return f"{name} is held by another program; close that program, then try again"
    if fault.errno in {errno.EACCES, errno.EPERM}:
        return f"{name} may not be read by this user; on Linux the group input has the right to it"
    if fault.errno in {errno.ENOENT, errno.ENODEV}:
        return f"{name} does not exist; plug the gauge in, or look which keyboards there are"
    return f"{name} could not be opened ({fault.strerror or fault})"
