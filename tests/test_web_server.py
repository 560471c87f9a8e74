"""The web room answers its own pages on this machine, and refuses everything else in words."""

from __future__ import annotations

import asyncio
import json
import logging
import os
import re
import socket
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING, Any

import httpx
import pytest

from gaugelink.errors import InputError, PortError
from gaugelink.web import Hub, Server, make_app
from gaugelink.web.files import KINDS, find_file, plotly_file, style_marks
from gaugelink.web.guard import HEADERS, host_name
from gaugelink.web.hub import LIVE_MOST
from gaugelink.web.server import ACT_MOST, BROWSERS_MOST

if TYPE_CHECKING:
    from collections.abc import AsyncIterator
    from pathlib import Path

pytestmark = pytest.mark.anyio

PAGE = {"x-gaugelink-page": "1"}


@pytest.fixture(scope="module")
def anyio_backend() -> str:
    return "asyncio"


class Bench:
    """A server with a folder of its own, and what its pages asked for."""

    def __init__(self, server: Server, hub: Hub, asked: list[dict[str, Any]], folder: Path) -> None:
        self.server = server
        self.hub = hub
        self.asked = asked
        self.folder = folder


@asynccontextmanager
async def bench(tmp_path: Path, **more: Any) -> AsyncIterator[Bench]:
    folder = tmp_path / "pages"
    folder.mkdir()
    (folder / "index.html").write_text("<!doctype html><title>x</title>", encoding="utf-8")
    (folder / "part.js").write_text("export {};", encoding="utf-8")
    (tmp_path / "secret.html").write_text("secret", encoding="utf-8")
    asked: list[dict[str, Any]] = []

    async def act(doc: dict[str, Any]) -> tuple[int, dict[str, Any]]:
        asked.append(doc)
        if doc["do"] == "break":
            raise RuntimeError("on purpose")
        done = doc["do"] == "take"
        return (200 if done else 409), {"ok": done, "words": "as asked" if done else "no gauge"}

    hub = Hub()
    before = asyncio.all_tasks()
    async with Server(make_app(hub, act, [folder], **more)) as server:
        yield Bench(server, hub, asked, folder)
    runner = "TestRunner"  # the test tool's own
    left = [task for task in asyncio.all_tasks() - before if runner not in repr(task)]
    assert not left, "the server left a task behind"
    assert len(hub) == 0


@pytest.fixture(scope="module")
async def common(anyio_backend, tmp_path_factory) -> AsyncIterator[Bench]:
    """One server for the many small refusals: starting and stopping is what takes time."""
    async with bench(tmp_path_factory.mktemp("common")) as at:
        yield at


@asynccontextmanager
async def client(at: Bench) -> AsyncIterator[httpx.AsyncClient]:
    async with httpx.AsyncClient(base_url=at.server.url, trust_env=False, timeout=10) as web:
        yield web


async def until(true: Any) -> None:
    """Let the loop go round until something is so; pytest's own time limit ends a vain wait."""
    while not true():  # noqa: ASYNC110 - what is waited for happens in the server, unannounced
        await asyncio.sleep(0)


async def raw(at: Bench, request: bytes) -> bytes:
    """Send bytes as they are: httpx would tidy the path up before sending it."""
    port = httpx.URL(at.server.url).port
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.write(request)
    answer = await reader.read()
    writer.close()
    await writer.wait_closed()
    return answer


# ------------------------------------------------------------------------------- every answer


async def test_every_answer_carries_the_policy_and_its_companions(tmp_path):
    """Pages, errors, refusals, the stream and plotly.js alike."""
    async with bench(tmp_path) as at, client(at) as web:
        answers = [
            await web.get("/"),
            await web.get("/nowhere.html"),
            await web.put("/act"),
            await web.post("/act", json={"do": "take"}),
            await web.post("/act", json={"do": "take"}, headers=PAGE),
            await web.post("/act", json={"do": "break"}, headers=PAGE),
            await web.get("/", headers={"host": "elsewhere.example"}),
            await web.get("/lib/plotly.min.js"),
            await web.get("/lib/plotly-styles.json"),
        ]
        async with web.stream("GET", "/events") as stream:
            answers.append(stream)
        assert [a.status_code for a in answers] == [
            200,
            404,
            405,
            403,
            200,
            500,
            403,
            200,
            200,
            200,
        ]
        for answer in answers:
            for name, text in HEADERS.items():
                assert answer.headers.get_list(name) == [text], answer.request.url


def test_the_policy_lets_nothing_in_from_elsewhere_and_no_inline_code():
    """Only 'self', 'none' and data: images appear (W3C CSP Level 3, 6.7.2: no host, no scheme)."""
    rules = dict(
        (rule.strip().split(" ", 1)) for rule in HEADERS["content-security-policy"].split(";")
    )
    for need in ("default-src", "base-uri", "form-action", "frame-ancestors"):
        assert rules[need] == "'none'"
    assert rules["script-src"] == rules["style-src"] == rules["connect-src"] == "'self'"
    assert set(" ".join(rules.values()).split()) == {"'self'", "'none'", "data:"}


# ------------------------------------------------------------------------------------- actions


async def test_an_action_reaches_the_bench_and_its_words_come_back(tmp_path):
    async with bench(tmp_path) as at, client(at) as web:
        done = await web.post("/act", json={"do": "take", "gauge": "C1"}, headers=PAGE)
        assert (done.status_code, done.json()) == (200, {"ok": True, "words": "as asked"})
        not_done = await web.post("/act", json={"do": "back"}, headers=PAGE)
        assert (not_done.status_code, not_done.json()["words"]) == (409, "no gauge")
        assert at.asked == [{"do": "take", "gauge": "C1"}, {"do": "back"}]


@pytest.mark.parametrize(
    ("status", "headers", "word"),
    [
        (403, {"x-gaugelink-page": ""} | {"origin": "https://evil.example"}, "evil.example"),
        (403, PAGE | {"origin": "null"}, "null"),
        (403, PAGE | {"origin": "http://127.0.0.1:1"}, "pages"),
        (403, PAGE | {"sec-fetch-site": "cross-site"}, "another site"),
        (403, PAGE | {"sec-fetch-site": "same-site"}, "another site"),
        (403, PAGE | {"host": "evil.example"}, "evil.example"),
        (403, PAGE | {"host": "127.0.0.1.evil.example"}, "evil.example"),
        (403, {}, "x-gaugelink-page"),
        (400, PAGE | {"content-type": "text/plain"}, "text/plain"),
        (400, PAGE | {"content-type": "application/x-www-form-urlencoded"}, "form"),
    ],
)
async def test_a_request_that_is_not_from_our_pages_is_refused(common, status, headers, word):
    common.asked.clear()
    async with client(common) as web:
        sent = {"content-type": "application/json"} | headers
        answer = await web.post("/act", content=b'{"do":"take"}', headers=sent)
        assert answer.status_code == status
        assert answer.json()["ok"] is False
        assert word in answer.json()["words"]
        assert common.asked == []


async def test_our_own_origin_is_let_in(tmp_path):
    async with bench(tmp_path) as at, client(at) as web:
        own = PAGE | {"origin": at.server.url.rstrip("/"), "sec-fetch-site": "same-origin"}
        assert (await web.post("/act", json={"do": "take"}, headers=own)).status_code == 200


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"[1]",
        b'"take"',
        b'{"do": 3}',
        b"{}",
        b'{"do":"take","n":NaN}',
        b"\xff\xfe",
        b"[" * 9000,
    ],
)
async def test_a_body_that_is_not_an_action_is_refused(common, body):
    common.asked.clear()
    async with client(common) as web:
        sent = PAGE | {"content-type": "application/json"}
        answer = await web.post("/act", content=body, headers=sent)
        assert (answer.status_code, answer.json()["ok"]) == (400, False)
        assert "accepted" in answer.json()["words"]
        assert common.asked == []


async def test_a_body_is_read_to_its_limit_and_no_further(tmp_path):
    """Exactly at the limit passes, one byte more is refused, also when no length is announced."""
    fits = b'{"do":"take","pad":"' + b"x" * (ACT_MOST - 22) + b'"}'
    assert len(fits) == ACT_MOST
    sent = PAGE | {"content-type": "application/json"}

    async def in_pieces() -> AsyncIterator[bytes]:
        for _ in range(40):
            yield b" " * 1024

    async with bench(tmp_path) as at, client(at) as web:
        assert (await web.post("/act", content=fits, headers=sent)).status_code == 200
        for body in (fits + b" ", in_pieces()):
            answer = await web.post("/act", content=body, headers=sent)
            assert (answer.status_code, answer.json()["ok"]) == (413, False)
        assert len(at.asked) == 1


async def test_a_fault_inside_the_program_is_answered_in_words_and_logged(tmp_path, caplog):
    async with bench(tmp_path) as at, client(at) as web:
        with caplog.at_level(logging.ERROR, "gaugelink.web.guard"):
            answer = await web.post("/act", json={"do": "break"}, headers=PAGE)
        assert (answer.status_code, answer.json()["ok"]) == (500, False)
        assert "on purpose" not in answer.text
        assert "on purpose" in caplog.text


@pytest.mark.parametrize(
    ("header", "name"),
    [("[::1]", "[::1]"), ("[::1]:80", "[::1]"), ("localhost", "localhost"), ("a:1:2", "a:1")],
)
def test_the_port_is_taken_off_a_host(header, name):
    assert host_name(header) == name


# --------------------------------------------------------------------------------------- files


async def test_a_page_and_a_module_come_with_their_own_type(tmp_path):
    async with bench(tmp_path) as at, client(at) as web:
        for path, kind in [
            ("/", "text/html"),
            ("/index.html", "text/html"),
            ("/part.js", "text/javascript"),
        ]:
            answer = await web.get(path)
            assert answer.headers["content-type"] == f"{kind}; charset=utf-8"
        again = await web.get("/part.js", headers={"if-none-match": answer.headers["etag"]})
        assert (again.status_code, again.content) == (304, b"")
        (at.folder / "part.js").write_text("export let a = 1;", encoding="utf-8")
        new = await web.get("/part.js", headers={"if-none-match": answer.headers["etag"]})
        assert (new.status_code, new.text) == (200, "export let a = 1;")


@pytest.mark.parametrize(
    "path",
    [
        "/../secret.html",
        "/..%2fsecret.html",
        "/%2e%2e/secret.html",
        "/..\\secret.html",
        "/..%5csecret.html",
        "/.hidden.js",
        "/part.js/",
        "/part.js%00.html",
        "//etc/passwd",
        "/C:/Windows/win.ini",
        "/part",
        "/notes.txt",
        "/a/../part.js",
        "/./part.js",
        "/link.html",
    ],
)
async def test_nothing_outside_the_folders_can_be_reached(common, path):
    """The path goes over the wire exactly as written here."""
    (common.folder / ".hidden.js").write_text("secret", encoding="utf-8")
    (common.folder / "notes.txt").write_text("secret", encoding="utf-8")
    link = common.folder / "link.html"
    try:
        link.unlink(missing_ok=True)
        link.symlink_to(common.folder.parent / "secret.html")
    except OSError:  # Windows without the right to make links: the name is simply not there
        assert os.name == "nt"
    ask = f"GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"
    answer = await raw(common, ask.encode())
    assert answer.startswith(b"HTTP/1.1 404")
    assert b'"ok": false' in answer
    assert not answer.endswith(b"secret")


def test_the_first_folder_wins(tmp_path):
    shop, shipped = tmp_path / "shop", tmp_path / "shipped"
    for folder, names in ((shop, ["a.html"]), (shipped, ["a.html", "b.html"])):
        folder.mkdir()
        for name in names:
            (folder / name).touch()
    assert find_file([shop, shipped], "/a.html") == shop / "a.html"
    assert find_file([shop, shipped], "/b.html") == shipped / "b.html"
    assert find_file([shop, shipped], "/c.html") is None
    assert find_file([shop, shipped], "/") is None


def test_no_served_kind_is_a_program_or_a_record():
    assert not set(KINDS) & {".toml", ".py", ".db", ".sqlite", ".key", ".pem", ".txt", ""}


async def test_plotly_comes_from_the_installed_package_and_is_kept_by_the_browser(tmp_path):
    async with bench(tmp_path) as at, client(at) as web:
        first = await web.get("/lib/plotly.min.js")
        assert first.content == plotly_file().read_bytes()
        assert first.headers["content-type"].startswith("text/javascript")
        again = await web.get(
            "/lib/plotly.min.js", headers={"if-none-match": first.headers["etag"]}
        )
        assert (again.status_code, again.content) == (304, b"")
        marks = (await web.get("/lib/plotly-styles.json")).json()["ids"]
        assert marks == list(style_marks(plotly_file()))
        assert all(re.fullmatch("[0-9a-f]{64}", mark) for mark in marks)


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


# -------------------------------------------------------------------------------------- server


async def test_a_port_in_use_is_told_in_one_sentence_with_what_to_do(tmp_path):
    async with bench(tmp_path) as at:
        port = httpx.URL(at.server.url).port
        second = Server(make_app(at.hub, lambda doc: None, [at.folder]), port=port)  # type: ignore[arg-type]
        with pytest.raises(PortError, match=f"port {port} of 127.0.0.1 .*choose another port"):
            await second.start()
        await second.stop()


async def test_a_server_can_be_started_again(tmp_path):
    async with bench(tmp_path) as at, client(at) as web:
        port = httpx.URL(at.server.url).port
        await at.server.stop()
        await at.server.stop()
        with pytest.raises(httpx.ConnectError):
            await web.get("/")
        await at.server.start()
        async with client(at) as again:
            assert (await again.get("/")).status_code == 200
        assert port is not None


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.1.5", "::", "example.org", ""])
async def test_a_host_that_others_could_reach_is_refused(host):
    with pytest.raises(InputError, match=r"host: found .*accepted: 127\.0\.0\.1"):
        Server(make_app(Hub(), lambda doc: None, []), host=host)  # type: ignore[arg-type]


@pytest.mark.parametrize("port", [-1, 70_000])
async def test_a_port_that_does_not_exist_is_refused(port):
    with pytest.raises(PortError, match="cannot use port"):
        await Server(make_app(Hub(), lambda doc: None, []), port=port).start()  # type: ignore[arg-type]
