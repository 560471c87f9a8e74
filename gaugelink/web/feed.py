"""Between a bench and its pages: live figures at once, the state ten times a second at most."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from gaugelink.web.hub import Hub

STATE_PERIOD_S = 0.1


class Feed:
    """Publishes to a hub.

    Args:
        hub: where the browsers are.
        state: makes the state document; called only when something changed and somebody may look.
        sleep: waits for so many seconds.
    """

    def __init__(
        self,
        hub: Hub,
        state: Callable[[], dict[str, Any]],
        *,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ) -> None:
        self._hub = hub
        self._state = state
        self._sleep = sleep
        self._changed = asyncio.Event()
        self._task: asyncio.Task[None] | None = None

    def changed(self) -> None:
        """Note that the state is not what was published last."""
        self._changed.set()

    def live(self, document: dict[str, Any]) -> None:
        """Publish a live figure."""
        self._hub.publish_live(document)

    def start(self) -> None:
        """Publish from now on."""
        self._changed.set()
        self._task = asyncio.create_task(self._run(), name="feed")

    async def stop(self) -> None:
        """Publish the last state and stop."""
        if self._task is not None:
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)
            self._task = None
            self._hub.publish_state(self._state())

    async def _run(self) -> None:
        while True:
            await self._changed.wait()
            self._changed.clear()
            try:
                self._hub.publish_state(self._state())
            except Exception as fault:  # noqa: BLE001  one bad document must not freeze the page
                asyncio.get_running_loop().call_exception_handler(
                    {"message": "the state could not be published", "exception": fault}
                )
            await self._sleep(STATE_PERIOD_S)
