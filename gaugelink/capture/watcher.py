"""Looks for gauges that are lost, and takes them back under whatever name their port has now.

Only the same adapter is taken back, known by what binds it (`gaugelink.ports.identity`). Where two
cannot be told apart the reason is said once, and a person has to put it right.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from gaugelink.errors import PortError, RecordError
from gaugelink.ports.identity import NotFound, find

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Sequence

    from gaugelink.capture.bench import Bench
    from gaugelink.capture.cable import Cable
    from gaugelink.ports.identity import PresentPort

EVERY_S: Final = 1.0
"""Seconds between two looks at the list of ports; a person takes longer to push a plug in."""


@dataclass(slots=True)
class Watcher:
    """Looks for lost gauges while there are any.

    Args:
        bench: the bench whose gauges are looked for.
        listing: lists the ports that are here now; may be slow, it is called in a thread.
        sleep: waits by the bench's clock, seconds.
        every_s: seconds between two looks.
    """

    bench: Bench
    listing: Callable[[], Sequence[PresentPort]]
    sleep: Callable[[float], Awaitable[None]]
    every_s: float = EVERY_S
    _said: dict[Cable, str] = field(default_factory=dict)

    async def run(self) -> None:
        """Look for lost gauges for ever; waits without looking while none is lost."""
        while True:
            seen = self.bench.version
            if self._missing():
                await self.look()
                await self.sleep(self.every_s)
            else:
                await self.bench.next_change(seen)

    async def look(self) -> list[str]:
        """Look once.

        Returns:
            The marks of the gauges that are back.
        """
        missing = self._missing()
        if not missing:
            return []
        present = await asyncio.to_thread(self.listing)
        taken = [item.port.name for item in self.bench.cables if item.here]
        free = [port for port in present if port.name not in taken]
        return [
            channel.gauge.id
            for cable in missing
            if await self._try(cable, free)
            for channel in cable.channels.values()
        ]

    def _missing(self) -> list[Cable]:
        lost = self.bench.session.lost
        return [
            cable
            for cable in self.bench.cables
            if all(channel.gauge.id in lost for channel in cable.channels.values())
            and not cable.here
            and cable.identity is not None
            and cable.plug is not None
        ]

    async def _try(self, cable: Cable, free: Sequence[PresentPort]) -> bool:
        assert cable.identity is not None
        found = find(cable.identity, free)
        if isinstance(found, NotFound):
            # That it is not plugged in has been said when it was lost.
            if found.ambiguous:
                self._say(cable, found.reason)
            return False
        try:
            await self.bench.found(cable, found.name)
        except (PortError, RecordError) as fault:
            self._say(cable, str(fault))
            return False
        self._said.pop(cable, None)
        return True

    def _say(self, cable: Cable, reason: str) -> None:
        """Say why a cable cannot be taken back; the same reason only once."""
        if self._said.get(cable) != reason:
            self._said[cable] = reason
            are = "are" if cable.several else "is"
            words = f"{cable.titles} {are} looked for and not taken back: {reason}"
            self.bench.audience.say("warning", words)
