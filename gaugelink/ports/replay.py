"""A port that sends what was recorded, with its times, at any speed.

The times that it gives are those of the recording, whatever the speed, so that a sweep played ten
times as fast is the same sweep. When everything has been sent the port is lost, like a cable that
is pulled.
"""

from __future__ import annotations

import re
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from gaugelink import content
from gaugelink.errors import InputError
from gaugelink.ports.port import Port

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

REPLAY: Final = "replay:"
"""What the name of a port begins with that plays a recording."""

NS_PLACES: Final = 9
_SPEED = re.compile(r"(?=[^1-9]*[1-9])\d{1,6}(?:\.\d{1,6})?")
_LINE = re.compile(r"(?P<whole>\d{1,9})(?:\.(?P<part>\d{1,9}))?\s+(?P<hex>[0-9A-Fa-f \t]+)")


@dataclass(frozen=True, slots=True)
class Recorded:
    """Bytes that came, and when: nanoseconds since the recording began."""

    t_ns: int
    data: bytes


class ReplayPort(Port):
    """Sends a recording.

    Args:
        name: what people call it.
        recording: in order of time.
        mono_ns: the monotonic clock of the bench.
        speed: how many times as fast as it was recorded.
        wait: waits so many seconds, or less; the default ends at once when the port is closed.
    """

    def __init__(
        self,
        name: str,
        recording: Sequence[Recorded],
        mono_ns: Callable[[], int],
        *,
        speed: float = 1.0,
        wait: Callable[[float], object] | None = None,
    ) -> None:
        super().__init__(name, self._stamp_ns)
        if not speed > 0:
            raise InputError(f"found {speed:g}, accepted: more than 0", field="speed")
        self._recording = recording
        self._clock_ns = mono_ns
        self._speed = speed
        self._woken = threading.Event()
        self._wait = wait or self._woken.wait
        self._next = 0
        self._began_ns = 0
        self._last_ns = 0

    def _stamp_ns(self) -> int:
        return self._began_ns + self._last_ns

    def _open(self) -> None:
        self._woken.clear()
        self._next = self._last_ns = 0
        self._began_ns = self._clock_ns()

    def _read(self) -> bytes:
        if self._next == len(self._recording):
            raise OSError("the recording is over")
        item = self._recording[self._next]
        left_ns = item.t_ns / self._speed - (self._clock_ns() - self._began_ns)
        if left_ns > 0:
            self._wait(left_ns / 1e9)
            return b""
        self._next += 1
        self._last_ns = item.t_ns
        return item.data

    def _write(self, data: bytes) -> None:
        """What is sent to a recording goes nowhere: its answers are in it already."""

    def _wake(self) -> None:
        self._woken.set()

    def _close(self) -> None:
        """There is nothing to give back."""


def open_recording(name: str, mono_ns: Callable[[], int]) -> ReplayPort:
    """Make the port that plays the recording which its name says.

    Args:
        name: ``replay:FILE``, or ``replay:FILE?speed=10`` for ten times as fast.
        mono_ns: the monotonic clock of the bench.

    Raises:
        InputError: the file cannot be read or is no recording, or the speed is no number above 0.
    """
    file, marked, speed = name.removeprefix(REPLAY).partition("?speed=")
    if marked and not _SPEED.fullmatch(speed):
        raise InputError(
            f"found the speed {speed!r}, accepted: a number above 0, such as {REPLAY}FILE?speed=10",
            file=file,
        )
    recording = read_recording(content.read_text(Path(file)), file)
    return ReplayPort(name, recording, mono_ns, speed=float(speed or 1))


def read_recording(text: str, file: str) -> list[Recorded]:
    """Read a recording: a line for each portion of bytes, its time in seconds, then hexadecimal.

    Empty lines and what follows a ``#`` are left aside.

    Raises:
        InputError: a line of another shape, or a time before the one above it.

    >>> read_recording("0.25  2b 20 37  # a sign, a blank, a digit", "a.txt")
    [Recorded(t_ns=250000000, data=b'+ 7')]
    """
    found: list[Recorded] = []
    for number, whole in enumerate(text.splitlines(), 1):
        line = whole.partition("#")[0].strip()
        if not line:
            continue
        match = _LINE.fullmatch(line)
        digits = "".join(match["hex"].split()) if match else ""
        if match is None or len(digits) % 2:
            raise InputError(
                f"found {line[:40]!r}, accepted: seconds, then bytes as pairs of hexadecimal "
                "digits, such as: 1.250  2b 20 37 0d",
                file=file, line=number,
            )  # fmt: skip
        t_ns = int(match["whole"]) * 10**NS_PLACES + int(
            (match["part"] or "").ljust(NS_PLACES, "0")
        )
        if found and t_ns < found[-1].t_ns:
            before = seconds_text(found[-1].t_ns)
            raise InputError(
                f"found the time {line.split()[0]}, accepted: not before {before}, the time above",
                file=file, line=number,
            )  # fmt: skip
        found.append(Recorded(t_ns, bytes.fromhex(digits)))
    if not found:
        raise InputError("no bytes are recorded in it", file=file)
    return found


def write_recording(recording: Sequence[Recorded]) -> str:
    r"""Write a recording, so that `read_recording` gives the same again.

    >>> write_recording([Recorded(250_000_000, b"+ 7")])
    '0.250000000  2b 20 37\n'
    """
    return "".join(f"{seconds_text(item.t_ns)}  {item.data.hex(' ')}\n" for item in recording)


def seconds_text(t_ns: int) -> str:
    """Write nanoseconds as seconds, exactly.

    >>> seconds_text(1_000_000_001)
    '1.000000001'
    """
    return f"{t_ns // 10**NS_PLACES}.{t_ns % 10**NS_PLACES:0{NS_PLACES}d}"
