"""Serve the dashboards' own files, and plotly.js out of the installed ``plotly`` package.

A page is a file ``NAME.html`` in one of the folders, a module a ``.js`` beside it. The first folder
that has a file wins, so that a shop can put its own page, or its own version of ours, in front.
Nothing else can be reached: a path is taken apart into plain names before it touches the disk.
"""

from __future__ import annotations

import hashlib
import re
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

import anyio
from starlette.responses import FileResponse, Response

from gaugelink.web.guard import as_json, say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from starlette.requests import Request

KINDS: Final = {
    # Written down, not asked of the machine: Windows keeps its own list, in which .js is often
    # text/plain, and with "nosniff" a browser would then refuse every module.
    ".css": "text/css; charset=utf-8",
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".png": "image/png",
    ".svg": "image/svg+xml",
    ".woff2": "font/woff2",
}
"""What may be served, by the ending of its name."""

_NAME = re.compile(
    r"[A-Za-z0-9_][A-Za-z0-9_-]*(\.[A-Za-z0-9_-]+)*"
)  # no dot first, no "..", no ":"
_STYLE_MARK = re.compile(rb"""getElementById\(["']([0-9a-f]{64})["']\)""")


def find_file(folders: Sequence[Path], path: str) -> Path | None:
    """Find the file that a web address means, or None.

    Args:
        folders: where to look; the first that has the file wins.
        path: the address's path, ``/`` first, already decoded once.

    >>> find_file([Path("dashboards")], "/../pyproject.toml") is None
    True
    """
    names = path.removeprefix("/").split("/")
    if not names[-1]:
        names[-1] = "index.html"
    if not all(_NAME.fullmatch(name) for name in names) or Path(names[-1]).suffix not in KINDS:
        return None
    for folder in folders:
        root = folder.resolve()
        file = root.joinpath(*names)
        # A link inside the folder may point out of it; what it leads to is what counts.
        if file.is_file() and file.resolve().is_relative_to(root):
            return file
    return None


def etag_matches(request: Request, etag: str) -> bool:
    """Say whether the browser already holds this version (RFC 9110, section 13.1.2)."""
    asked = request.headers.get("if-none-match", "")
    return asked.strip() == "*" or etag in {
        part.strip().removeprefix("W/") for part in asked.split(",")
    }


async def send_file(request: Request, folders: Sequence[Path]) -> Response:
    """Answer with a file of the dashboards; the browser asks again each time and is told
    "not modified" if so: after an update no page is left with half of its modules old.
    """  # noqa: D205 - one sentence
    file = await anyio.to_thread.run_sync(find_file, folders, request.url.path)
    if file is None:
        return say(404, f"found no page or file {request.url.path!r}; the bench page is at /")
    body = await anyio.Path(file).read_bytes()
    etag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    headers = {"etag": etag, "cache-control": "no-cache"}
    if etag_matches(request, etag):
        return Response(None, 304, headers)
    return Response(body, 200, headers, KINDS[file.suffix])


@cache
def plotly_file() -> Path:
    """Find plotly.min.js in the installed ``plotly`` package."""
    import plotly  # noqa: PLC0415 - slow to import, and needed only by pages that plot

    return Path(plotly.__file__).parent / "package_data" / "plotly.min.js"


@cache
def style_marks(file: Path) -> tuple[str, ...]:
    """List the ids of the style elements that plotly.js would put into the page as it loads.

    The bundle brings the style sheet of its map plots along and adds it unless an element with a
    certain id is there. Our policy forbids such a sheet, and no page draws maps: a page that
    puts an empty element with each of these ids in place first loads plotly without a complaint.
    The ids change with plotly's version; so they are read out of the installed file.
    """
    return tuple(sorted({mark.decode() for mark in _STYLE_MARK.findall(file.read_bytes())}))


async def send_plotly(request: Request) -> Response:
    """Answer with plotly.min.js; it is 5 MB, so the browser keeps it and asks by ETag."""
    file = await anyio.to_thread.run_sync(plotly_file)
    found = await anyio.Path(file).stat()
    headers = {"etag": f'"{found.st_mtime_ns:x}-{found.st_size:x}"', "cache-control": "no-cache"}
    if etag_matches(request, headers["etag"]):
        return Response(None, 304, headers)
    return FileResponse(file, 200, headers, KINDS[".js"])


async def send_style_marks(request: Request) -> Response:  # noqa: ARG001 - the router's shape
    """Answer with `style_marks` of the installed plotly.js."""
    file = await anyio.to_thread.run_sync(plotly_file)
    ids = await anyio.to_thread.run_sync(style_marks, file)
    return as_json(200, {"ids": list(ids)})
