"""Asks gauges that wait to be asked, again and again, while somebody is to see what they show.

Only the gauge that is asked for by the step is asked, and only while it is watched or a sweep is
recorded with it: others keep their batteries. What comes of it is a live figure, and is taken only
when it has come to rest or somebody takes it.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from gaugelink.errors import PortError

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from gaugelink.capture.bench import Bench
    from gaugelink.capture.channel import Channel

FASTEST_NS: Final = 20_000_000
"""Time between two requests at least: fifty a second is the most that such a gauge does (from
memory), and a simulated one would answer at once for ever."""


@dataclass(slots=True)
class Poller:
    """Asks again as soon as the answer is in, or the time that the driver file gives has passed.

    Args:
        bench: the bench whose gauges are asked.
        sleep: waits by the bench's clock, seconds.
    """

    bench: Bench
    sleep: Callable[[float], Awaitable[None]]
    _asked: dict[str, tuple[int, int]] = field(default_factory=dict)
    _silent: set[str] = field(default_factory=set)

    async def run(self) -> None:
        """Ask for ever; waits without asking while no such gauge is to be seen."""
        while True:
            seen = self.bench.version
            self.bench.answered.clear()
            gauges = self.bench.to_poll()
            if not gauges:
                await self.bench.next_change(seen)
                continue
            for channel in gauges:
                if self._due_ns(channel) <= self.bench.clock.mono_ns():
                    self._ask(channel)
            due_ns = min(self._due_ns(channel) for channel in gauges)
            await self._wait((due_ns - self.bench.clock.mono_ns()) / 1e9)

    def _due_ns(self, channel: Channel) -> int:
        """Tell when a gauge may be asked; a moment that has passed means now."""
        asked_ns, values = self._asked.get(channel.gauge.id, (None, 0))
        if channel.asked_ns is not None:  # by whomever
            return channel.asked_ns + channel.driver.answer_ns
        if asked_ns is None:
            return 0
        answered = channel.values > values
        return asked_ns + (FASTEST_NS if answered else channel.driver.answer_ns)

    def _ask(self, channel: Channel) -> None:
        mark, title = channel.gauge.id, channel.gauge.title
        last = self._asked.get(mark)
        if last is None or channel.values > last[1]:
            self._silent.discard(mark)
        elif mark not in self._silent:
            self._silent.add(mark)
            self.bench.audience.say(
                "warning", f"{title} is asked and does not answer; look whether it is switched on"
            )
        self._asked[mark] = self.bench.clock.mono_ns(), channel.values
        try:
            self.bench.poll(mark)
        except PortError as fault:
            # If the port is gone that is told as a loss; if it is stuck, only here.
            self.bench.audience.say("warning", f"{title} could not be asked: {fault}")

    async def _wait(self, seconds: float) -> None:
        waits = [
            asyncio.ensure_future(self.sleep(max(0.0, seconds))),
            asyncio.ensure_future(self.bench.answered.wait()),
        ]
        try:
            await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for wait in waits:
                wait.cancel()
            await asyncio.gather(*waits, return_exceptions=True)
