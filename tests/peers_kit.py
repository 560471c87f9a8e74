"""Programs of other people at the other end of a cable: socat and ser2net.

No time is waited for: a program is ready when it says so, or when it answers.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import threading
from typing import TYPE_CHECKING

import pytest
from cable_kit import PATIENCE_S

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


def program(name: str) -> str:
    """Find a program of this machine; skip where it is absent, unless nothing may be skipped."""
    found = shutil.which(name) or shutil.which(name, path="/usr/sbin")
    if found is None:
        if os.environ.get("GAUGELINK_NO_SKIP"):
            pytest.fail(f"{name} is not installed, and nothing may be skipped here")
        pytest.skip(f"{name} is not installed; on Debian: apt-get install {name}")
    return found


def started(words: list[str]) -> subprocess.Popen[str]:
    """Start socat, and wait until it says that both its ends are open."""
    process = subprocess.Popen(
        [program("socat"), "-d", "-d", *words],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stderr is not None
    heard = []
    for line in process.stderr:
        heard.append(line)
        if "starting data transfer" in line:
            return process
    ended(process)
    pytest.fail(f"socat ended: {''.join(heard)}")


def ended(process: subprocess.Popen[str]) -> None:
    """End a program that we started."""
    process.terminate()
    process.wait(PATIENCE_S)
    for stream in (process.stdin, process.stdout, process.stderr):
        if stream is not None:
            stream.close()


class Socat:
    """A pair of pseudo-terminals joined by socat: what goes into one end comes out of the other.

    Attributes:
        ours, theirs: the two ends, by name.
    """

    def __init__(self, folder: Path) -> None:
        self.ours, self.theirs = str(folder / "ours"), str(folder / "theirs")
        self._process = started([f"pty,raw,echo=0,link={end}" for end in (self.ours, self.theirs)])

    def send(self, data: bytes) -> None:
        """Send bytes out of their end, by another socat."""
        words = [program("socat"), "-u", "-", f"{self.theirs},raw,echo=0"]
        subprocess.run(words, input=data, check=True, timeout=PATIENCE_S)

    def hear(self, count: int) -> bytes:
        """Wait at their end for so many bytes, by another socat."""
        words = [program("socat"), "-u", f"{self.theirs},raw,echo=0,readbytes={count}", "-"]
        return subprocess.run(words, capture_output=True, check=True, timeout=PATIENCE_S).stdout

    def end(self) -> None:
        """Pull the cable: both terminals are gone."""
        ended(self._process)


class Ser2net:
    """An access server (ser2net 4) in front of one end of a pair of terminals.

    Attributes:
        rfc2217: the name of its port that speaks RFC 2217.
        tcp: the name of its port that passes bytes on as they are.
    """

    def __init__(self, folder: Path, device: str) -> None:
        told, plain, ready = _free_numbers(3)
        self.rfc2217 = f"rfc2217://127.0.0.1:{told}"
        self.tcp = f"tcp://127.0.0.1:{plain}"
        accepters = {"telnet(rfc2217)": told, "tcp": plain}
        lines = [
            f"connection: &gauge{number}\n  accepter: {how},tcp,127.0.0.1,{number}\n".replace(
                "tcp,tcp,", "tcp,"
            )
            + f"  connector: serialdev,{device},9600n81,local\n"
            for how, number in accepters.items()
        ]
        # Connections are opened in order: when the last one answers, so do the others.
        lines.append(f"connection: &ready\n  accepter: tcp,127.0.0.1,{ready}\n  connector: echo\n")
        file = folder / "ser2net.yaml"
        file.write_text("".join(lines), encoding="utf-8")
        self._process = subprocess.Popen(
            [program("ser2net"), "-n", "-d", "-u", "-c", str(file)],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, text=True,
        )  # fmt: skip
        self._until_it_answers(ready)

    def _until_it_answers(self, number: int) -> None:
        between = threading.Event()
        for _ in range(round(PATIENCE_S / 0.01)):
            try:
                socket.create_connection(("127.0.0.1", number)).close()
            except OSError:
                between.wait(0.01)
                assert self._process.poll() is None, "ser2net ended"
            else:
                return
        self.end()
        pytest.fail("ser2net does not answer")

    def end(self) -> None:
        """Switch the access server off."""
        ended(self._process)


def _free_numbers(count: int) -> list[int]:
    listeners = [socket.create_server(("127.0.0.1", 0)) for _ in range(count)]
    numbers = [listener.getsockname()[1] for listener in listeners]
    for listener in listeners:
        listener.close()
    return numbers


@pytest.fixture
def socat(tmp_path: Path) -> Iterator[Socat]:
    """A pair of terminals; skips where there is no socat."""
    if sys.platform == "win32":
        pytest.skip("this system has no pseudo-terminals")
    pair = Socat(tmp_path)
    yield pair
    pair.end()


@pytest.fixture
def ser2net(tmp_path: Path, socat: Socat) -> Iterator[Ser2net]:
    """An access server before the pair of terminals; skips where there is no ser2net."""
    server = Ser2net(tmp_path, socat.ours)
    yield server
    server.end()
