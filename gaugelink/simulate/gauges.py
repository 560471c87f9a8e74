"""Simulated gauges: each shows a figure, and sends it in its own wire format on its own stream."""

from __future__ import annotations

import asyncio
from collections import deque
from typing import TYPE_CHECKING, Literal

from gaugelink.simulate.encoders import ENCODERS, Display
from gaugelink.simulate.faults import BATTERY_LOW
from gaugelink.simulate.stream import Endpoint, open_endpoint

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from gaugelink.simulate.faults import Spoiler
    from gaugelink.simulate.pace import Pace
    from gaugelink.simulate.scenario import SimulatedGauge

UNPLUGGED_S = 2.0
"""How long a cable stays out when a fault pulls it."""

_UM_PER = {"mm": 1000.0, "in": 25400.0}


class BenchGauge:
    """One gauge: what its spindle touches, what its display shows, and its cable.

    Args:
        about: the gauge as the scenario file describes it.
        pace: how time passes.
        spoiler: what goes wrong on the way; None: nothing does.

    Attributes:
        plugged_in: is told the port's name when the cable is back after a fault.
    """

    def __init__(self, about: SimulatedGauge, pace: Pace, spoiler: Spoiler | None = None) -> None:
        self.about = about
        self.endpoint: Endpoint | None = None
        self.mode = "actual"
        self.unit: Literal["mm", "in"] = about.unit
        self.sent = 0
        self.plugged_in: Callable[[str], None] = lambda _name: None
        self._spoiler = spoiler
        self._plugging: asyncio.Task[str] | None = None
        self._pace = pace
        self._in_hand = asyncio.Event()
        self._um = 0.0
        self._path: deque[float] = deque()
        self._path_done = asyncio.Event()
        self._task: asyncio.Task[None] | None = None

    async def connect(self, *, tcp: bool | None = None) -> str:
        """Plug the gauge in.

        Returns:
            The name of the port to open.
        """
        self.endpoint = await (
            open_endpoint(self._heard) if tcp is None else open_endpoint(self._heard, tcp=tcp)
        )
        return self.endpoint.name

    @property
    def troubles(self) -> list[str]:
        """What goes wrong with it, in words: ``noise bytes at every 5th frame``."""
        faults = self._spoiler.faults if self._spoiler is not None else ()
        return [f"{fault.what} at every {_ordinal(fault.every)} frame" for fault in faults]

    def switch_on(self) -> None:
        """Switch the gauge on; one that sends all the time does so whenever it is in the hand."""
        if self.about.speaks == "all the time":
            self._task = asyncio.create_task(self._speak(), name=f"gauge {self.about.id}")

    def pick_up(self) -> None:
        """Take the gauge in the hand."""
        self._in_hand.set()

    def lay_down(self) -> None:
        """Lay the gauge down; it goes to sleep until it is picked up again."""
        self._in_hand.clear()

    async def unplug(self) -> None:
        """Pull the cable."""
        for task in (self._task, self._plugging):
            if task is not None:
                task.cancel()
                await asyncio.gather(task, return_exceptions=True)
        self._task = self._plugging = None
        self._path.clear()
        self._path_done.set()
        if self.endpoint is not None:
            self.endpoint.close()
            self.endpoint = None

    def touch(self, um: float) -> None:
        """Set the gauge on something of this size, micrometres, scatter already in it."""
        self._um = um

    async def follow(self, path_um: Iterable[float]) -> None:
        """Let the spindle follow a path, one sample a position, and wait for its end."""
        self._path_done.clear()
        self._path.extend(path_um)
        await self._path_done.wait()

    def press(self) -> None:
        """Press the data button."""
        self._send()

    def display(self) -> Display:
        """Tell what the display shows now."""
        places = self.about.places
        step = 5 if self.about.driver == "scale24" and self.unit == "in" else 1
        if self.unit != self.about.unit:
            # Set over at the gauge: 0.001 mm goes with 0.00005 in, 0.01 mm with 0.0005 in.
            places, step = (places + 2, 5) if self.unit == "in" else (max(0, places - 2), 1)
        counts = round(self._um * 10**places / _UM_PER[self.unit] / step) * step
        return Display(counts, places, self.unit, self.mode)

    def change_unit(self) -> None:
        """Press the unit button."""
        self.unit = "mm" if self.unit == "in" else "in"

    def _send(self) -> None:
        if self._spoiler is not None:
            if self._spoiler.next_is("unit button"):
                self.change_unit()
            if self._spoiler.next_is("unplugged"):
                self._spoiler.spoil(b"")
                self._unplugged()
        if self.endpoint is not None:
            data = ENCODERS[self.about.driver](self.display())
            if self._spoiler is not None:
                if self._spoiler.next_is("low battery"):
                    words = BATTERY_LOW.get(self.about.driver, b"")
                    data = words + data if words else b""
                data = self._spoiler.spoil(data)
            self.sent += len(data)
            self.endpoint.write(data)

    def _unplugged(self) -> None:
        """Lose the cable, and get it back a while later under another name."""
        if self.endpoint is not None:
            old, self.endpoint = self.endpoint, None
            old.close()
            self._plugging = asyncio.create_task(self._plug_in(), name=f"plug {self.about.id}")

    async def _plug_in(self) -> str:
        await self._pace.sleep(UNPLUGGED_S)
        name = await self.connect()
        self.plugged_in(name)
        return name

    def _heard(self, data: bytes) -> None:
        if self.about.speaks == "when asked" and b"R" in data:
            self._send()

    async def _speak(self) -> None:
        """Send for ever at the gauge's own rate, by schedule, so that pauses do not add up."""
        period_ns = 1e9 / self.about.per_second
        while True:
            await self._in_hand.wait()
            begun_ns = self._pace.mono_ns()
            sent = 0
            while self._in_hand.is_set():
                if self._path:
                    self._um = self._path.popleft()
                self._send()
                sent += 1
                due_ns = begun_ns + sent * period_ns
                await self._pace.sleep((due_ns - self._pace.mono_ns()) / 1e9)
                if not self._path:
                    self._path_done.set()


def _ordinal(number: int) -> str:
    """Write a number as people count.

    >>> [_ordinal(number) for number in (1, 2, 3, 11, 22, 40)]
    ['1st', '2nd', '3rd', '11th', '22nd', '40th']
    """
    teens = number % 100 in {11, 12, 13}
    return f"{number}{'th' if teens else {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th')}"
