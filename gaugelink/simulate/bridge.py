"""A simulated bridge: frames of several gauges in, bridge lines out.

Written from docs/bridge-line.md, and sharing no code with the decoder nor with the program for the
board, so that joining them proves something.
"""

from __future__ import annotations

from typing import Final

_POLYNOMIAL: Final = 0x1021


def checked(body: bytes) -> bytes:
    r"""Put the check and the line feed behind what comes before them, the last blank included.

    CRC-16/IBM-3740, bit by bit.

    >>> checked(b"@1 note 2 busy 0000000000 ")
    b'@1 note 2 busy 0000000000 278F\n'
    """
    register = 0xFFFF
    for byte in body:
        for place in range(7, -1, -1):
            out = register >> 15 ^ byte >> place & 1
            register = register << 1 & 0xFFFF ^ (_POLYNOMIAL if out else 0)
    return body + f"{register:04X}\n".encode("ascii")


class SimulatedBridge:
    r"""Numbers and times the frames of its channels as a bridge does.

    Args:
        channels: those that it has, 1 to 9.
        run: the number drawn at this start, 0 to 65535.

    >>> bridge = SimulatedBridge([1], run=7)
    >>> bridge.frame(1, "0101", us=4711)
    b'@1 bits 1 000 0000004711 0101 A144\n'
    """

    def __init__(self, channels: list[int], run: int) -> None:
        self._sent = dict.fromkeys(channels, 0)
        self._run = run

    def hello(self, us: int, *, started: bool = True) -> bytes:
        """Say hello; `us` is microseconds since the start."""
        channels = "".join(map(str, self._sent))
        state = "started" if started else "running"
        return self._line("hello", f"{self._run:04X}", "1.0.0", channels, state, _time(us))

    def frame(self, channel: int, bits: str, us: int) -> bytes:
        """Forward a frame: its bits as text, the time of its first clock in microseconds."""
        number = self._sent[channel] % 1000
        self._sent[channel] += 1
        return self._line("bits", str(channel), f"{number:03d}", _time(us), bits)

    def status(self, channel: int, us: int, *, dropped: int = 0, supply: str = "good") -> bytes:
        """Say how a channel is: clocks missed so often, the supply good, low or unknown."""
        number = f"{self._sent[channel] % 1000:03d}"
        run, lost = f"{self._run:04X}", f"{dropped:05d}"
        return self._line("status", run, str(channel), number, lost, f"supply-{supply}", _time(us))

    def note(self, channel: int, word: str, us: int) -> bytes:
        """Answer a request: asked, silent, busy, set or refused."""
        return self._line("note", str(channel), word, _time(us))

    @staticmethod
    def _line(*words: str) -> bytes:
        return checked(" ".join(("@1", *words, "")).encode("ascii"))


def _time(us: int) -> str:
    return f"{us % (1 << 32):010d}"
