"""What several test files share: the command line, the check files, pages in a browser."""

from __future__ import annotations

import csv
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import pytest
from hypothesis import settings
from web_browser import open_bench, start_browser

from gaugelink.cli import entry

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable

    from playwright.async_api import Browser
    from web_browser import Bench

# Nothing here is timed, and every run tries the same examples: a failure can be had again.
settings.register_profile("gaugelink", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("gaugelink")

SHARED = Path(__file__).resolve().parents[2] / "shared"
"""Figures from outside, beside the project's top folder; not part of the project."""


class RunCli(Protocol):
    """Runs a command and gives its exit status, standard output and standard error."""

    def __call__(self, *words: str | Path) -> tuple[int, str, str]:
        """Run ``gaugelink`` with these words."""


@pytest.fixture
def run_cli(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> RunCli:
    """Run the command line in this process, the way the operating system starts it."""

    def run(*words: str | Path) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["gaugelink", *map(str, words)])
        capsys.readouterr()
        with pytest.raises(SystemExit) as end:
            entry()
        out, err = capsys.readouterr()
        status = end.value.code
        assert status is None or isinstance(status, int)
        return status or 0, out, err

    return run


@pytest.fixture(scope="session")
def shared() -> Path:
    """Give the shared folder; skip where it is absent."""
    if not SHARED.is_dir():
        pytest.skip(f"the shared folder {SHARED} is absent")
    return SHARED


@pytest.fixture(scope="session")
def check_file(shared: Path) -> Callable[[str], Path]:
    """Find a check file by name; skip where it is absent."""

    def find(name: str) -> Path:
        path = shared / "checks" / name
        if not path.is_file():
            pytest.skip(f"the check file {path} is absent")
        return path

    return find


@pytest.fixture(scope="session")
def check_rows(check_file: Callable[[str], Path]) -> Callable[[str], list[dict[str, str]]]:
    """Read a CSV check file; lines that begin with ``#`` are its remarks."""

    def read(name: str) -> list[dict[str, str]]:
        lines = check_file(name).read_text(encoding="utf-8").splitlines()
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))

    return read


@pytest.fixture(scope="session")
def check_json(check_file: Callable[[str], Path]) -> Callable[[str], Any]:
    """Read a JSON check file."""

    def read(name: str) -> Any:
        return json.loads(check_file(name).read_text(encoding="utf-8"))

    return read


# ------------------------------------------------------------------------------ pages in a browser


@pytest.fixture(scope="module")
def anyio_backend() -> str:
    """Run what is asynchronous in asyncio, as the program does."""
    return "asyncio"


@pytest.fixture(scope="module")
async def browser(anyio_backend: str) -> AsyncIterator[Browser]:
    """Start a browser once for the tests of a file."""
    async with start_browser() as running:
        yield running


@pytest.fixture
async def at(browser: Browser) -> AsyncIterator[Bench]:
    """Open the bench page; it is clean at the end of every test."""
    async with open_bench(browser) as opened:
        yield opened
        await opened.check_clean()
