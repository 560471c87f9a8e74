"""A port that also writes down what comes, in the format in which recordings are played back."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from gaugelink.ports.port import Chunk, Lost, Port
from gaugelink.ports.replay import Recorded, write_recording

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

MOST_BYTES = 64 * 1024 * 1024
"""A recording ends at this length: a gauge that sends all day must not fill the disk."""


class Recording:
    """A file that grows as bytes come, flushed with every portion; safe to be cut off anywhere.

    The times are those of the bench clock since the first opening, so a cable that was out shows as
    a pause. What cannot be written is told once, and the gauge is read on.

    Args:
        path: the file; made when the first bytes come.
        title: a remark for its first line.
        tell: is told in one sentence why nothing more is written; called by a port's thread.
        most: bytes after which it ends.
    """

    def __init__(
        self, path: Path, title: str, tell: Callable[[str], None], *, most: int = MOST_BYTES
    ) -> None:
        self.path = path
        self._title = title
        self._tell = tell
        self._most = most
        self._began_ns: int | None = None
        self._over = False

    def add(self, item: Chunk | Lost) -> None:
        """Write down what came. Never fails."""
        if self._over:
            return
        if self._began_ns is None:
            self._began_ns = item.mono_ns
        try:
            self._write(self._text(item, item.mono_ns - self._began_ns))
        except OSError as fault:
            self._end(
                f"no more is recorded in {self.path} ({fault.strerror}); the gauge is read on"
            )

    def _text(self, item: Chunk | Lost, t_ns: int) -> str:
        if isinstance(item, Lost):
            return f"# lost: {' '.join(item.why.split())}\n"
        return write_recording([Recorded(t_ns, item.data)])

    def _write(self, text: str) -> None:
        self.path.parent.mkdir(parents=True, exist_ok=True)
        # Opened for each portion: nothing is left open whatever ends the program.
        with self.path.open("a", encoding="utf-8", newline="\n") as file:
            if file.tell() == 0:
                file.write(f"# {self._title}\n")
            file.write(text)
            length = file.tell()
        if length >= self._most:
            self._end(f"{self.path} has reached {length} bytes, and no more is recorded in it")

    def _end(self, words: str) -> None:
        self._over = True
        self._tell(words)


class KeepingPort(Port):
    """Another port, with everything that comes from it written down before it is passed on."""

    def __init__(self, port: Port, recording: Recording) -> None:
        super().__init__(port.name, lambda: 0)
        self._port = port
        self._recording = recording

    @property
    def kept(self) -> Port:
        """The other port."""
        return self._port

    def open(self, sink: Callable[[Chunk | Lost], None]) -> None:
        """Open the other port."""

        def keep(item: Chunk | Lost) -> None:
            self._recording.add(item)
            sink(item)

        self._port.open(keep)

    def write(self, data: bytes) -> None:
        """Send through the other port; what is sent is not recorded."""
        self._port.write(data)

    def close(self) -> None:
        """Close the other port."""
        self._port.close()

    # The other port has a thread of its own; this one never starts one.

    def _open(self) -> None:
        raise NotImplementedError

    def _read(self) -> bytes:
        raise NotImplementedError

    def _write(self, data: bytes) -> None:
        raise NotImplementedError

    def _close(self) -> None:
        raise NotImplementedError


def file_name(words: str) -> str:
    """Make a file's name, good on every system, of a port's or a gauge's.

    >>> file_name("tcp://127.0.0.1:5000")
    'tcp-127.0.0.1-5000'
    """
    return re.sub(r"[^A-Za-z0-9._]+", "-", words).strip("-.") or "port"
