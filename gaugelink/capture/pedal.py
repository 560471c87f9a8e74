"""A foot pedal: from a contact that bounces to presses, and from presses to what the bench does.

A foot is heavy and slow. Its contact bounces, it comes down twice, it rests on the pedal. So a
press is short or long, and nothing counts for a moment after one. `Pedal` is pure; times are pushed
in. `PedalWatcher` runs it over a port.
"""

from __future__ import annotations

import asyncio
import contextlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, Literal

from gaugelink.capture.actions import act
from gaugelink.errors import PortError
from gaugelink.ports.pedal import CLOSED, PedalPort
from gaugelink.ports.port import Lost

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from gaugelink.capture.bench import Bench
    from gaugelink.ports.pedal import PedalLine
    from gaugelink.ports.port import Chunk, Port

Press = Literal["", "short", "long"]
"""What a pedal says; empty: nothing yet."""

PedalAction = Literal["accept", "redo"]
"""What a short press means. A long one always means redo."""

EVERY_S: Final = 1.0
"""Seconds between two tries to open a pedal's port that is not there."""

REASON: Final = "foot pedal"
"""The reason that the record keeps for a reading that was taken again by pedal."""


@dataclass(slots=True)
class Pedal:
    """Tells presses from the level of a contact.

    A short press is told when the foot leaves the pedal, for only then is it known to be short; a
    long one while the foot is still down. A contact that is closed at the beginning is a foot that
    rests there, or a wire in the wrong place, and does not count until it has been open.

    Attributes:
        debounce_ns: how long the contact has to keep a level (common practice 20 to 50 ms, no
            source).
        lockout_ns: how long nothing counts after a press has ended (common practice 300 to 800 ms,
            no source).
        long_ns: how long a press has to be held to be a long one (no source; well above a step).

    >>> pedal = Pedal()
    >>> level = [(0, 0), (0, 40), (1, 200), (1, 240), (0, 400), (0, 440)]
    >>> [pedal.feed(closed == 1, ms * 1_000_000) for closed, ms in level]
    ['', '', '', '', '', 'short']
    """

    debounce_ns: int = 30_000_000
    lockout_ns: int = 500_000_000
    long_ns: int = 900_000_000
    _level: bool | None = None
    _level_ns: int = 0
    _down: bool = True
    _down_ns: int = 0
    _free_ns: int | None = None
    _press: Literal["ignored", "counts", "told"] = "ignored"

    def feed(self, closed: bool, mono_ns: int) -> Press:
        """Take in the contact's level.

        Args:
            closed: whether the contact is closed.
            mono_ns: when, nanoseconds of the bench clock, never running back. While the contact
                is closed, or has changed only just now, it has to be told again and again.
        """
        if closed is not self._level:
            self._level, self._level_ns = closed, mono_ns
        if closed != self._down and mono_ns - self._level_ns >= self.debounce_ns:
            self._down = closed
            if not closed:
                return self._lifted(mono_ns)
            self._down_ns = self._level_ns
            free = self._free_ns is None or self._down_ns >= self._free_ns
            self._press = "counts" if free else "ignored"
        held_ns = mono_ns - self._down_ns
        if self._down and self._press == "counts" and held_ns >= self.long_ns:
            self._press = "told"
            return "long"
        return ""

    def _lifted(self, mono_ns: int) -> Press:
        press, self._press = self._press, "ignored"
        if press != "ignored":
            self._free_ns = mono_ns + self.lockout_ns
        return "short" if press == "counts" else ""


@dataclass(slots=True)
class PedalWatcher:
    """Lets a foot pedal on a handshake line of a serial port work the bench.

    Args:
        bench: the bench.
        port_name: the serial port, such as ``COM3``.
        line: the handshake line that the contact is wired to (hardware_notes/foot-pedal.md).
        sleep: waits by the bench's clock, seconds.
        action: what a short press means: ``"accept"`` takes the reading that is asked for, or
            starts or stops the sweep; ``"redo"`` asks for the last one again. A long one is redo.
        port_for: makes the port.
    """

    bench: Bench
    port_name: str
    line: PedalLine
    sleep: Callable[[float], Awaitable[None]]
    action: PedalAction = "accept"
    port_for: Callable[[str, PedalLine, Callable[[], int]], Port] = PedalPort
    _said: str = field(default="")

    async def run(self) -> None:
        """Watch the pedal for ever. Trouble is said once, and that it is over is said once."""
        loop = asyncio.get_running_loop()
        while True:
            came: asyncio.Queue[Chunk | Lost] = asyncio.Queue()

            def sink(item: Chunk | Lost, came: asyncio.Queue[Chunk | Lost] = came) -> None:
                with contextlib.suppress(RuntimeError):  # the loop is closed: nobody is left
                    loop.call_soon_threadsafe(came.put_nowait, item)

            port = self.port_for(self.port_name, self.line, self.bench.clock.mono_ns)
            try:
                port.open(sink)
            except PortError as fault:
                self._say_once(f"the foot pedal does nothing: {fault}")
            else:
                try:
                    if self._said:
                        self._said = ""
                        self.bench.audience.say("note", "the foot pedal works again")
                    why = await self._follow(came)
                finally:
                    port.close()
                self._say_once(f"the foot pedal is lost: {why}")
            await self.sleep(EVERY_S)

    async def _follow(self, came: asyncio.Queue[Chunk | Lost]) -> str:
        pedal = Pedal()
        while True:
            item = await came.get()
            if isinstance(item, Lost):
                return item.why
            press = pedal.feed(item.data == CLOSED, item.mono_ns)
            if press:
                await self._pressed(press)

    async def _pressed(self, press: Press) -> None:
        wanted = self._wanted(press)
        if isinstance(wanted, str):
            self.bench.audience.say("warning", f"foot pedal: {wanted}")
            return
        status, answer = await act(self.bench, wanted)
        level = "note" if status == 200 else "warning"
        self.bench.audience.say(level, f"foot pedal: {answer['words']}")

    def _wanted(self, press: Press) -> dict[str, Any] | str:
        """Say what a press asks the bench for, in the words of a page; or why it cannot."""
        bench = self.bench
        if press == "long" or self.action == "redo":
            if bench.recorder is not None:
                return "a sweep is running; stop it with a short press"
            return {"do": "retake", "reason": REASON}
        if bench.recorder is not None:
            return {"do": "sweep-stop"}
        step = bench.session.step
        if step is None:
            return "nothing is asked for any more"
        if step.sweep:
            return {"do": "sweep-start"}
        for mark, channel in bench.channels.items():
            if channel.gauge.kind == step.gauge_kind:
                return {"do": "take", "gauge": mark}
        return f"the bench has no {step.gauge_kind}"

    def _say_once(self, words: str) -> None:
        if self._said != words:
            self._said = words
            self.bench.audience.say("warning", words)
