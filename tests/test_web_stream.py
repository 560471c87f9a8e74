"""Every browser gets the newest state and figures, and a slow one never delays another."""

from __future__ import annotations

import asyncio
import json
import re
import socket
from typing import Any

import httpx
import pytest
from web_room import bench, client, until

from gaugelink.web import Hub
from gaugelink.web.hub import LIVE_MOST
from gaugelink.web.server import BROWSERS_MOST

pytestmark = pytest.mark.anyio


# -------------------------------------------------------------------------------------- stream


def events_in(text: str) -> list[tuple[str, Any]]:
    """Read an event stream as the HTML Standard says (section 9.2.6)."""
    found = []
    for block in text.split("\n\n"):
        fields = [line.split(": ", 1) for line in block.split("\n") if not line.startswith(":")]
        parts = dict(pair for pair in fields if len(pair) == 2)
        if "event" in parts:
            found.append((parts["event"], json.loads(parts["data"])))
    return found


async def read_until(stream: httpx.Response, enough: Any) -> str:
    text = ""
    async for piece in stream.aiter_text():
        text += piece
        if enough(text):
            break
    return text


async def test_a_new_browser_gets_the_current_state_at_once_and_then_what_is_new(tmp_path):
    async with bench(tmp_path) as at, client(at) as web:
        at.hub.publish_state({"version": 1})
        at.hub.publish_state({"version": 2, "words": "two\nlines\r\nevent: live"})
        async with web.stream("GET", "/events") as stream:
            assert stream.headers["content-type"] == "text/event-stream; charset=utf-8"
            assert stream.headers["cache-control"] == "no-store"
            pieces = stream.aiter_text()
            text = ""
            while "version" not in text:
                text += await anext(pieces)
            at.hub.publish_live({"text": "7.965"})
            at.hub.publish_state({"version": 3})
            while '"version":3' not in text:
                text += await anext(pieces)
        assert text.startswith("retry: ")
        assert events_in(text) == [
            ("state", {"version": 2, "words": "two\nlines\r\nevent: live"}),
            ("live", {"text": "7.965"}),
            ("state", {"version": 3}),
        ]


async def test_a_quiet_stream_shows_that_it_is_alive(tmp_path):
    async with (
        bench(tmp_path, beat_s=0.01) as at,
        client(at) as web,
        web.stream("GET", "/events") as stream,
    ):
        text = await read_until(stream, lambda got: got.count("event: beat") >= 2)
    assert ": still here\n" in text
    assert {name for name, _ in events_in(text)} == {"beat"}


async def test_a_stuck_browser_delays_nobody_and_is_given_the_newest_when_it_reads_again(tmp_path):
    """One browser opens the stream and does not read; another gets every state meanwhile."""
    pad = "x" * 200_000
    async with bench(tmp_path) as at, client(at) as web:
        stuck = socket.socket()
        stuck.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        stuck.setblocking(False)
        loop = asyncio.get_running_loop()
        await loop.sock_connect(stuck, ("127.0.0.1", httpx.URL(at.server.url).port))
        await loop.sock_sendall(stuck, b"GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n")
        async with web.stream("GET", "/events") as stream:
            pieces = stream.aiter_text()
            text = await anext(pieces)
            await until(lambda: len(at.hub) == 2)
            for version in range(100):  # 20 MB, more than the kernel keeps for the stuck one
                at.hub.publish_state({"version": version, "pad": pad})
                while f'"version":{version},' not in text:
                    text = text[-40:] + await anext(pieces)
        # Now the stuck one reads: some early states were on their way, then comes the last.
        got = b""
        while b'"version":99,' not in got:
            got += await loop.sock_recv(stuck, 1 << 20)
        versions = [int(v) for v in re.findall(rb'"version":(\d+),', got)]
        assert versions == sorted(set(versions))
        assert versions[-1] == 99
        assert len(versions) < 60, "the queue of a stuck browser is not bounded"
        stuck.close()


async def test_stopping_does_not_wait_for_a_browser_that_never_reads(tmp_path):
    stuck = socket.socket()
    stuck.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    stuck.setblocking(False)
    loop = asyncio.get_running_loop()
    async with bench(tmp_path) as at:
        await loop.sock_connect(stuck, ("127.0.0.1", httpx.URL(at.server.url).port))
        await loop.sock_sendall(stuck, b"GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n")
        await until(lambda: len(at.hub) == 1)
        (viewer,) = at.hub._viewers
        at.hub.publish_state({"pad": "x" * 20_000_000})
        await until(lambda: len(viewer) == 0)  # it is being sent, and will never have been
    stuck.close()


async def test_a_browser_that_leaves_is_forgotten(tmp_path):
    async with bench(tmp_path) as at, client(at) as web:
        async with web.stream("GET", "/events"):
            assert len(at.hub) == 1
        await until(lambda: len(at.hub) == 0)


async def test_the_stream_is_refused_to_pages_of_other_sites_and_beyond_a_number(tmp_path):
    async with bench(tmp_path) as at, client(at) as web:
        strange = await web.get("/events", headers={"sec-fetch-site": "cross-site"})
        assert strange.status_code == 403
        assert (await web.head("/events")).status_code == 405
        seats = [at.hub.join() for _ in range(BROWSERS_MOST)]
        full = await web.get("/events")
        assert (full.status_code, full.json()["ok"]) == (503, False)
        for seat in seats:
            at.hub.leave(seat)
        async with web.stream("GET", "/events") as stream:
            assert stream.status_code == 200


# ----------------------------------------------------------------------------------------- hub


async def drain(viewer: Any) -> list[tuple[str, Any]]:
    got = b""
    while len(viewer):
        got += await viewer.next_event(1)
    return events_in(got.decode())


async def test_the_newest_state_wins_and_keeps_the_order_of_the_figures():
    hub = Hub()
    viewer = hub.join()
    hub.publish_state({"version": 1})
    hub.publish_live({"text": "a"})
    hub.publish_state({"version": 2})
    assert await drain(viewer) == [("live", {"text": "a"}), ("state", {"version": 2})]


async def test_figures_of_a_browser_that_keeps_up_all_arrive_and_of_a_slow_one_only_the_newest():
    hub = Hub()
    quick, slow = hub.join(), hub.join()
    seen = []
    for n in range(LIVE_MOST * 3 + 1):
        hub.publish_live({"n": n})
        seen += await drain(quick)
        assert len(slow) <= LIVE_MOST
    assert [doc["n"] for _, doc in seen] == list(range(LIVE_MOST * 3 + 1))
    assert (await drain(slow))[-1] == ("live", {"n": LIVE_MOST * 3})


async def test_a_document_that_json_cannot_write_is_an_error_of_the_caller_and_sends_nothing():
    hub = Hub()
    viewer = hub.join()
    for publish in (hub.publish_state, hub.publish_live):
        with pytest.raises(ValueError, match="JSON"):
            publish({"value_mm": float("nan")})
    assert len(viewer) == 0


async def test_a_closed_stream_takes_nothing_more():
    hub = Hub()
    viewer = hub.join()
    hub.publish_live({"n": 1})
    hub.disconnect()
    viewer.offer("live", b"late")
    assert (len(viewer), viewer.closed, await viewer.next_event(1)) == (0, True, None)
