"""Programs of other people at the other end of a cable: socat and ser2net.

Nothing here sleeps: a program is ready when it says so, or when it answers.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

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


class Socat:
    """A pair of pseudo-terminals joined by socat: what goes into one end comes out of the other.

    Attributes:
        ours, theirs: the two ends, by name.
    """

    def __init__(self, folder: Path) -> None:
        self.ours, self.theirs = str(folder / "ours"), str(folder / "theirs")
        ends = (f"pty,raw,echo=0,link={end}" for end in (self.ours, self.theirs))
        self._process = subprocess.Popen(
            [program("socat"), "-d", "-d", *ends], stderr=subprocess.PIPE, text=True
        )
        assert self._process.stderr is not None
        heard = []
        for line in self._process.stderr:
            heard.append(line)
            if "starting data transfer" in line:
                return
        self.end()
        pytest.fail(f"socat ended: {''.join(heard)}")

    def end(self) -> None:
        """Pull the cable: both terminals are gone."""
        self._process.terminate()
        self._process.wait()
        assert self._process.stderr is not None
        self._process.stderr.close()


@pytest.fixture
def socat(tmp_path: Path) -> Iterator[Socat]:
    """A pair of terminals; skips where there is no socat."""
    if sys.platform == "win32":
        pytest.skip("this system has no pseudo-terminals")
    pair = Socat(tmp_path)
    yield pair
    pair.end()
