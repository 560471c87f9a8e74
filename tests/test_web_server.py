"""The web room answers its own pages on this machine, and refuses everything else in words."""

from __future__ import annotations

import logging
import os
import re
from typing import TYPE_CHECKING, Any

import httpx
import pytest
from web_room import PAGE, Bench, bench, client, raw

from gaugelink.errors import InputError, PortError
from gaugelink.web import Hub, Server, make_app
from gaugelink.web.files import KINDS, find_file, plotly_file, style_marks
from gaugelink.web.guard import HEADERS, host_name
from gaugelink.web.server import ACT_MOST

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

pytestmark = pytest.mark.anyio


@pytest.fixture(scope="module")
async def common(anyio_backend, tmp_path_factory) -> AsyncIterator[Bench]:
    """One server for the many small refusals: starting and stopping is what takes time."""
    async with bench(tmp_path_factory.mktemp("common")) as at:
        yield at


@pytest.fixture
async def at(common) -> Bench:
    """Give the common server, with nothing asked of it yet."""
    common.asked.clear()
    return common


# ------------------------------------------------------------------------------- every answer


async def test_every_answer_carries_the_policy_and_its_companions(at):
    """Pages, errors, refusals, the stream and plotly.js alike."""
    async with client(at) as web:
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


async def test_an_action_reaches_the_bench_and_its_words_come_back(at):
    async with client(at) as web:
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
async def test_a_request_that_is_not_from_our_pages_is_refused(at, status, headers, word):
    async with client(at) as web:
        sent = {"content-type": "application/json"} | headers
        answer = await web.post("/act", content=b'{"do":"take"}', headers=sent)
        assert answer.status_code == status
        assert answer.json()["ok"] is False
        assert word in answer.json()["words"]
        assert at.asked == []


async def test_a_question_is_answered_to_our_own_pages_and_asks_nothing_of_the_bench(tmp_path):
    async def answer(question: dict[str, Any]) -> tuple[int, dict[str, Any]]:
        return (200, question) if question["about"] == "plan" else (409, {"ok": False})

    async with bench(tmp_path, ask=answer) as at, client(at) as web:
        good = await web.post("/ask", json={"about": "plan"}, headers=PAGE)
        assert (good.status_code, good.json()) == (200, {"about": "plan"})
        assert (await web.post("/ask", json={"about": "x"}, headers=PAGE)).status_code == 409
        assert (await web.post("/ask", json={"about": "plan"})).status_code == 403
        for body in ({"do": "take"}, {"about": 1}, []):
            bad = await web.post("/ask", json=body, headers=PAGE)
            assert bad.status_code == 400
            assert '"about"' in bad.json()["words"]
        wrong = await web.put("/ask")
        assert (wrong.status_code, "POST" in wrong.json()["words"]) == (405, True)
        elsewhere = PAGE | {"origin": "https://evil.example"}
        assert (
            await web.post("/ask", json={"about": "plan"}, headers=elsewhere)
        ).status_code == 403
        assert at.asked == []


async def test_a_paper_is_given_to_keep_and_to_our_own_pages_only(tmp_path):
    async def papers(name: str) -> tuple[str, bytes] | None:
        return ("text/csv", b"valve,what\n") if name == "order.csv" else None

    async with bench(tmp_path, papers=papers) as at, client(at) as web:
        good = await web.get("/paper/order.csv")
        assert (good.status_code, good.content) == (200, b"valve,what\n")
        assert good.headers["content-type"].startswith("text/csv")
        assert good.headers["content-disposition"] == 'attachment; filename="order.csv"'
        assert good.headers["cache-control"] == "no-store"
        missing = await web.get("/paper/other.pdf")
        assert (missing.status_code, "other.pdf" in missing.json()["words"]) == (404, True)
        assert (await web.get("/paper/order.csv", headers={"origin": "null"})).status_code == 403
        assert (await web.get("/paper/..%2Forder.csv")).status_code == 404
        assert (await web.post("/paper/order.csv")).status_code == 405


async def test_a_server_that_answers_no_questions_says_so(at):
    async with client(at) as web:
        answer = await web.post("/ask", json={"about": "plan"}, headers=PAGE)
        assert (answer.status_code, answer.json()["ok"]) == (404, False)


async def test_a_sweep_on_record_is_given_by_its_place_and_to_our_own_pages_only(at):
    async with client(at) as web:
        found = await web.get("/sweep/88")
        assert (found.status_code, found.json()) == (200, {"place": 88, "points": []})
        for path in ("/sweep/89", "/sweep/x", "/sweep/-1", f"/sweep/{'9' * 400}"):
            missing = await web.get(path)
            assert (missing.status_code, missing.json()["ok"]) == (404, False)
        strange = await web.get("/sweep/88", headers={"sec-fetch-site": "cross-site"})
        assert strange.status_code == 403


async def test_our_own_origin_is_let_in(at):
    async with client(at) as web:
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
async def test_a_body_that_is_not_an_action_is_refused(at, body):
    async with client(at) as web:
        sent = PAGE | {"content-type": "application/json"}
        answer = await web.post("/act", content=body, headers=sent)
        assert (answer.status_code, answer.json()["ok"]) == (400, False)
        assert "accepted" in answer.json()["words"]
        assert at.asked == []


async def test_a_body_is_read_to_its_limit_and_no_further(at):
    """Exactly at the limit passes, one byte more is refused, also when no length is announced."""
    fits = b'{"do":"take","pad":"' + b"x" * (ACT_MOST - 22) + b'"}'
    assert len(fits) == ACT_MOST
    sent = PAGE | {"content-type": "application/json"}

    async def in_pieces() -> AsyncIterator[bytes]:
        for _ in range(40):
            yield b" " * 1024

    async with client(at) as web:
        assert (await web.post("/act", content=fits, headers=sent)).status_code == 200
        for body in (fits + b" ", in_pieces()):
            answer = await web.post("/act", content=body, headers=sent)
            assert (answer.status_code, answer.json()["ok"]) == (413, False)
        assert len(at.asked) == 1


async def test_a_fault_inside_the_program_is_answered_in_words_and_logged(at, caplog):
    async with client(at) as web:
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


async def test_a_page_and_a_module_come_with_their_own_type(at):
    async with client(at) as web:
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
async def test_nothing_outside_the_folders_can_be_reached(at, path):
    """The path goes over the wire exactly as written here."""
    (at.folder / ".hidden.js").write_text("secret", encoding="utf-8")
    (at.folder / "notes.txt").write_text("secret", encoding="utf-8")
    link = at.folder / "link.html"
    try:
        link.unlink(missing_ok=True)
        link.symlink_to(at.folder.parent / "secret.html")
    except OSError:  # Windows without the right to make links: the name is simply not there
        assert os.name == "nt"
    ask = f"GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"
    answer = await raw(at, ask.encode())
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


async def test_plotly_comes_from_the_installed_package_and_is_kept_by_the_browser(at):
    async with client(at) as web:
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
