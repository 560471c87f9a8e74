"""Answer the browsers on this machine: pages, the stream of documents, and actions.

The names that other rooms rely on:

    make_app(hub: Hub, act: Act, folders: Sequence[Path], *, sweeps: Sweeps = ..., ask: Act = ...)
    Act = Callable[[dict[str, Any]], Awaitable[tuple[int, dict[str, Any]]]]
    Sweeps = Callable[[int], dict[str, Any] | None]

    server = Server(app, port=0)     # host 127.0.0.1, a free port
    await server.start()             # PortError if the port is taken
    server.url                       # "http://127.0.0.1:40123/"
    await server.stop()              # no task, socket or thread of ours is left

| request | answer |
|---|---|
| ``GET /events`` | server-sent events ``state`` and ``live`` from the `Hub`; ``beat`` if quiet |
| ``POST /act`` | one JSON document in, what `Act` says out: 200 done, 409 not done and why |
| ``POST /ask`` | the same for a question, which changes nothing |
| ``GET /sweep/88`` | the sweep at that place of the record, from ``sweeps``; or 404 |
| ``GET /paper/NAME`` | a file to keep or print, from ``papers``; or 404 |
| ``GET /lib/plotly.min.js`` | plotly.js of the installed ``plotly`` package |
| ``GET /lib/plotly-styles.json`` | see `gaugelink.web.files.style_marks` |
| ``GET /...`` | a file out of ``folders``, ``/`` is ``index.html`` |

Every answer carries the headers of `gaugelink.web.guard`; what is refused is refused in JSON,
``{"ok": false, "words": "..."}``.
"""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import json
import socket
import sys
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any, Final, Self

import uvicorn
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.responses import Response
from starlette.routing import Route

from gaugelink.errors import InputError, PortError
from gaugelink.web.files import send_file, send_plotly, send_style_marks
from gaugelink.web.guard import PAGE_HEADER, Guard, as_json, from_elsewhere, say

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from starlette.requests import Request
    from starlette.types import Receive, Scope, Send

    from gaugelink.web.hub import Hub

Act = Callable[[dict[str, Any]], Awaitable[tuple[int, dict[str, Any]]]]
"""Do what a page asks for, or answer its question: the document in, status and answer out."""

Sweeps = Callable[[int], dict[str, Any] | None]
"""Find the document of a sweep by its place in the record; None if no sweep is there."""


Papers = Callable[[str], Awaitable[tuple[str, bytes] | None]]
"""Write a file to keep or print, by its name: its type and its bytes; None if there is none."""


async def no_papers(_name: str) -> None:
    """Write none."""


def no_sweeps(_place: int) -> None:
    """Know of no sweep."""


async def no_answers(_question: dict[str, Any]) -> tuple[int, dict[str, Any]]:
    """Answer no question."""
    return 404, {"ok": False, "words": "nobody here answers questions"}


ACT_MOST: Final = 16 * 1024
"""Bytes that an action may have; the longest honest one is a reason of a few lines."""
PLACE_MOST: Final = 2**53
"""The largest place that a browser can name exactly."""
BROWSERS_MOST: Final = 32
"""Streams that may be open at a time, so that a forgotten script cannot use up the memory."""
RETRY_MS: Final = 1000
"""How long a browser waits before it connects again, milliseconds."""
BEAT_S: Final = 2.0
"""After how many quiet seconds a sign of life is sent."""
BEAT: Final = b": still here\nevent: beat\ndata: {}\n\n"
"""A comment keeps the line open; the event lets the page notice when this program hangs, which a
comment cannot: a browser never shows comments to a page."""


class _Events:
    """The stream of one browser, an ASGI answer."""

    def __init__(self, hub: Hub, beat_s: float) -> None:
        self._hub = hub
        self._beat_s = beat_s

    async def __call__(self, _scope: Scope, receive: Receive, send: Send) -> None:
        """Send events until the browser leaves or the hub ends the stream."""
        viewer = self._hub.join()

        async def watch() -> None:
            while (await receive())["type"] != "http.disconnect":
                pass
            viewer.close()

        head = {"content-type": "text/event-stream; charset=utf-8", "cache-control": "no-store"}
        pairs = [(name.encode(), text.encode()) for name, text in head.items()]
        try:
            async with asyncio.TaskGroup() as tasks:
                watcher = tasks.create_task(watch())
                await send({"type": "http.response.start", "status": 200, "headers": pairs})
                chunk: bytes = f"retry: {RETRY_MS}\n\n".encode()
                while not viewer.closed:
                    # While a slow browser does not take this, its queue drops what grows old.
                    await send({"type": "http.response.body", "body": chunk, "more_body": True})
                    chunk = await viewer.next_event(self._beat_s) or BEAT
                await send({"type": "http.response.body", "body": b"", "more_body": False})
                watcher.cancel()
        finally:
            self._hub.leave(viewer)


async def _read_action(request: Request, key: str) -> dict[str, Any] | Response:
    """Read the body of an action or a question, or say what is wrong with it."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/json":
        return say(400, f"found content of type {kind!r}, accepted: application/json")
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > ACT_MOST:
            return say(413, f"found more than {ACT_MOST} bytes, accepted: at most {ACT_MOST}")
    try:
        doc = json.loads(body.decode("utf-8"), parse_constant=_refuse_constant)
    except (ValueError, RecursionError) as fault:
        return say(400, f"found something that is not JSON ({fault}), accepted: one JSON document")
    if not isinstance(doc, dict) or not isinstance(doc.get(key), str):
        example = {"do": "take", "about": "plan"}[key]
        return say(400, f'found no "{key}" with a text in it, accepted: {{"{key}": "{example}"...')
    return doc


def _refuse_constant(name: str) -> float:
    raise ValueError(f"{name} is no JSON number")


def make_app(
    hub: Hub,
    act: Act,
    folders: Sequence[Path],
    *,
    sweeps: Sweeps = no_sweeps,
    ask: Act = no_answers,
    papers: Papers = no_papers,
    beat_s: float = BEAT_S,
) -> Starlette:
    """Make the application that answers the browsers.

    Args:
        hub: where the documents come from.
        act: does what a page asks for. Called once for each accepted ``POST /act``, in the loop;
            two may run at a time if two browsers ask at a time.
        folders: where the pages lie; the first that has a file wins.
        sweeps: finds a sweep on record, for a page that was opened after it and has its row
            touched. Without it a page shows only the sweeps which it has seen.
        ask: answers questions, and changes nothing; called like ``act``.
        papers: writes files to keep or print, such as a work order.
        beat_s: after how many quiet seconds a sign of life is sent.
    """
    places = list(folders)

    async def events(request: Request) -> Response | _Events:
        if request.method != "GET":
            return say(405, f"found {request.method} '/events', accepted there: GET")
        if why := from_elsewhere(request):
            return say(403, f"the stream is for our own pages: {why}")
        if len(hub) >= BROWSERS_MOST:
            return say(503, f"found {len(hub)} browsers watching, that is the most; close some")
        return _Events(hub, beat_s)

    def answering(use: Act, key: str, noun: str) -> Callable[[Request], Awaitable[Response]]:
        async def answer(request: Request) -> Response:
            if why := from_elsewhere(request):
                return say(403, f"{noun} may be asked for by our own pages only: {why}")
            if PAGE_HEADER not in request.headers:
                what = f"found no header {PAGE_HEADER!r}, accepted: any value, from our pages"
                return say(403, what)
            doc = await _read_action(request, key)
            if isinstance(doc, Response):
                return doc
            status, found = await use(doc)
            return as_json(status, found)

        return answer

    async def sweep(request: Request) -> Response:
        if why := from_elsewhere(request):
            return say(403, f"sweeps are for our own pages: {why}")
        place = request.path_params["place"]
        found = sweeps(place) if place <= PLACE_MOST else None
        if found is None:
            return say(404, f"found no sweep at place {place} of the record")
        return as_json(200, found)

    async def paper(request: Request) -> Response:
        if why := from_elsewhere(request):
            return say(403, f"papers are for our own pages: {why}")
        name = request.path_params["name"]
        found = await papers(name)
        if found is None:
            return say(404, f"found no paper {name!r} now")
        kind, content = found
        headers = {"content-disposition": f'attachment; filename="{name}"',
                   "cache-control": "no-store"}  # fmt: skip
        return Response(content, media_type=kind, headers=headers)

    async def page(request: Request) -> Response:
        return await send_file(request, places)

    async def wrong_method(request: Request, _fault: Exception) -> Response:
        accepted = "POST" if request.url.path in {"/act", "/ask"} else "GET"
        found = f"{request.method} {request.url.path!r}"
        return say(405, f"found {found}, accepted there: {accepted}")

    app = Starlette(
        routes=[
            Route("/events", events),
            Route("/act", answering(act, "do", "an action"), methods=["POST"]),
            Route("/ask", answering(ask, "about", "an answer"), methods=["POST"]),
            Route("/sweep/{place:int}", sweep),
            Route("/paper/{name}", paper),
            Route("/lib/plotly.min.js", send_plotly),
            Route("/lib/plotly-styles.json", send_style_marks),
            Route("/{path:path}", page),
        ],
        middleware=[Middleware(Guard)],
        exception_handlers={405: wrong_method},
    )
    app.state.hub = hub
    return app


class _Uvicorn(uvicorn.Server):
    """uvicorn that leaves the program's signals alone: what Ctrl+C means is for `cli` to say."""

    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.ready = asyncio.Event()

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets=sockets)
        self.ready.set()

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


class Server:
    """Run an application on a loopback port, inside the asyncio loop that is running.

    Args:
        app: made by `make_app`.
        host: an address of this machine's loopback. Others are refused: the pages have no log-in,
            and who can reach them can strike out readings.
        port: 0 takes a free one; `url` says which.
        grace_s: how many whole seconds `stop` waits for browsers that read too slowly to be told.

    Raises:
        InputError: the host is not a loopback address.
    """

    def __init__(
        self, app: Starlette, *, host: str = "127.0.0.1", port: int = 0, grace_s: int = 1
    ) -> None:
        name = "127.0.0.1" if host == "localhost" else host
        try:
            loopback = ipaddress.ip_address(name).is_loopback
        except ValueError:
            loopback = False
        if not loopback:
            raise InputError(
                f"found {host!r}, accepted: 127.0.0.1, ::1 or localhost; the pages have no log-in "
                "and are for this machine only",
                field="host",
            )
        self._app = app
        self._host = name
        self._port = port
        self._grace_s = grace_s
        self._uvicorn: _Uvicorn | None = None
        self._task: asyncio.Task[None] | None = None
        self._url: str | None = None

    @property
    def url(self) -> str:
        """The address of the bench page, known while the server runs."""
        assert self._url is not None, "the server is not running"
        return self._url

    async def start(self) -> None:
        """Open the port and begin to answer; on return browsers may connect.

        Raises:
            PortError: the port is taken or may not be opened; another number, or 0, would do.
        """
        assert self._task is None, "the server is running already"
        listener = self._open()
        config = uvicorn.Config(
            self._app,
            http="h11",
            ws="none",
            lifespan="off",
            loop="none",
            log_config=None,
            access_log=False,
            server_header=False,
            proxy_headers=False,
            timeout_graceful_shutdown=self._grace_s,
        )
        self._uvicorn = running = _Uvicorn(config)
        ready = asyncio.create_task(running.ready.wait())
        self._task = task = asyncio.create_task(self._uvicorn.serve(sockets=[listener]))
        try:
            await asyncio.wait({ready, task}, return_when=asyncio.FIRST_COMPLETED)
            if task.done():
                task.result()
        except BaseException:
            await self.stop()
            listener.close()
            raise
        finally:
            ready.cancel()
            await asyncio.gather(ready, return_exceptions=True)
        name = f"[{self._host}]" if ":" in self._host else self._host
        self._url = f"http://{name}:{listener.getsockname()[1]}/"

    async def stop(self) -> None:
        """End every stream, close the port and wait until nothing is left; twice does no harm."""
        if self._uvicorn is None or self._task is None:
            return
        running, task = self._uvicorn, self._task
        self._uvicorn = self._task = self._url = None
        running.should_exit = True
        self._app.state.hub.disconnect()
        await task
        # A browser that never reads keeps its line open for ever; break it off.
        for line in list(running.server_state.connections):
            if line.transport is not None:
                line.transport.abort()
        await asyncio.gather(*running.server_state.tasks, return_exceptions=True)

    async def __aenter__(self) -> Self:
        """Start."""
        await self.start()
        return self

    async def __aexit__(self, *_: object) -> None:
        """Stop."""
        await self.stop()

    def _open(self) -> socket.socket:
        family = socket.AF_INET6 if ":" in self._host else socket.AF_INET
        listener = socket.socket(family, socket.SOCK_STREAM)
        try:
            if sys.platform == "win32":  # there SO_REUSEADDR would let two programs share a port
                listener.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
            else:
                listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listener.bind((self._host, self._port))
            listener.setblocking(False)
        except (OSError, OverflowError) as fault:
            listener.close()
            raise PortError(
                f"the dashboards cannot use port {self._port} of {self._host} ({fault}): another "
                "program, perhaps a bench that is running already, has it or it is reserved; end "
                "that program, or choose another port, 0 for any free one"
            ) from fault
        return listener
