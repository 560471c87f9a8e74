"""Stand between the network and the pages: who may ask, and what every answer carries.

The server listens on loopback only, but a browser on this machine also runs pages of strangers.
Three of their ways in are closed here:

- *A stranger's page posts to us.* Refused by ``Origin`` and ``Sec-Fetch-Site`` (W3C Fetch Metadata
  Request Headers, section 2), and by a header that a plain form cannot send.
- *A stranger's name is pointed at 127.0.0.1* (DNS rebinding), so that the browser takes us for the
  stranger's own site. Refused by ``Host``: only names of this machine are answered.
- *A hostile text in a gauge's answer becomes a script.* The pages write text only as text, and the
  content security policy (W3C Content Security Policy Level 3) forbids every script and style that
  is not a file of ours.
"""

from __future__ import annotations

import json
import logging
from typing import TYPE_CHECKING, Any, Final

from starlette.responses import Response

if TYPE_CHECKING:
    from collections.abc import Collection

    from starlette.requests import Request
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

LOOPBACK_NAMES: Final = frozenset({"127.0.0.1", "localhost", "[::1]"})
"""The names by which a browser on this machine calls us."""

PAGE_HEADER: Final = "x-gaugelink-page"
"""A request header that our pages send with each action; a form of another site cannot."""

POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
    "img-src 'self' data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)

HEADERS: Final = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
}

_log = logging.getLogger(__name__)


def say(status: int, words: str) -> Response:
    """Answer that something was not done, in words that the page shows as they are."""
    return as_json(status, {"ok": False, "words": words})


def as_json(status: int, doc: dict[str, Any]) -> Response:
    """Answer with a JSON document that no cache keeps."""
    body = json.dumps(doc, ensure_ascii=False, allow_nan=False).encode("utf-8", "replace")
    return Response(body, status, {"cache-control": "no-store"}, "application/json")


def host_name(host: str) -> str:
    """Take the port off a ``Host`` header.

    >>> host_name("127.0.0.1:8080"), host_name("[::1]:8080"), host_name("LocalHost")
    ('127.0.0.1', '[::1]', 'localhost')
    """
    end = host.rfind(":")
    return (host if end < host.rfind("]") + 1 or end < 0 else host[:end]).lower()


def from_elsewhere(request: Request) -> str | None:
    """Say why a request does not come from one of our own pages, or None if nothing speaks
    against it.

    A program that is no browser sends neither ``Origin`` nor ``Sec-Fetch-Site``; it runs as a
    user of this machine already, and is let through.
    """  # noqa: D205 - one sentence
    site = request.headers.get("sec-fetch-site")
    if site is not None and site != "same-origin":
        return f"the browser says that it comes from another site (Sec-Fetch-Site: {site!r})"
    origin = request.headers.get("origin")
    own = f"{request.url.scheme}://{request.headers.get('host', '')}"
    if origin is not None and origin.lower() != own.lower():
        return f"it comes from a page of {origin!r}, and only pages of {own!r} may do that"
    return None


class Guard:
    """Check the ``Host`` of every request, and put `HEADERS` on every answer, errors included."""

    def __init__(self, app: ASGIApp, names: Collection[str] = LOOPBACK_NAMES) -> None:
        self._app = app
        self._names = frozenset(name.lower() for name in names)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":  # no web sockets; the server runs no lifespan
            return
        started = False

        async def send_guarded(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                ours = [(name.encode(), text.encode()) for name, text in HEADERS.items()]
                taken = set(HEADERS)
                theirs = [pair for pair in message["headers"] if pair[0].decode() not in taken]
                message = {**message, "headers": [*theirs, *ours]}
            await send(message)

        hosts = [text.decode("latin-1") for name, text in scope["headers"] if name == b"host"]
        if len(hosts) != 1 or host_name(hosts[0]) not in self._names:
            found = ", ".join(map(repr, hosts)) or "nothing"
            known = ", ".join(sorted(self._names))
            words = f"found {found} as the host's name, accepted: {known}; use the address shown"
            await say(403, f"{words} when the bench was started")(scope, receive, send_guarded)
            return
        try:
            await self._app(scope, receive, send_guarded)
        except Exception:
            _log.exception("a request could not be answered: %s", scope["path"])
            if started:  # half an answer is out; only breaking it off tells the browser
                raise
            words = "that went wrong inside the program; nothing is known to have been done"
            await say(500, f"{words}; its log says what happened")(scope, receive, send_guarded)
