"""A web server with a folder of its own, for the tests of the web room."""

from __future__ import annotations

import asyncio
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING, Any

import httpx

from gaugelink.web import Hub, Server, make_app

if TYPE_CHECKING:
    from collections.abc import AsyncIterator
    from pathlib import Path

PAGE = {"x-gaugelink-page": "1"}


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

    def sweeps(place: int) -> dict[str, Any] | None:
        return {"place": place, "points": []} if place == 88 else None

    hub = Hub()
    before = asyncio.all_tasks()
    async with Server(make_app(hub, act, [folder], sweeps=sweeps, **more)) as server:
        yield Bench(server, hub, asked, folder)
    runner = "TestRunner"  # the test tool's own
    left = [task for task in asyncio.all_tasks() - before if runner not in repr(task)]
    assert not left, "the server left a task behind"
    assert len(hub) == 0


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
