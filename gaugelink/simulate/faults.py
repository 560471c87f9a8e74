"""What goes wrong between a gauge and the program: spoilt frames, stalls, bursts, pulled cables.

Faults are data of a scenario file. They strike every so many frames, and what is random in them
comes from the scenario's seed, so that the same file gives the same faults.

A flipped bit that turns a figure into another figure, or a unit's letter into another letter, is
not among them: none of these formats has a check, so no program can tell it from what was meant.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

if TYPE_CHECKING:
    import random
    from collections.abc import Sequence

STALLED = 3
"""Frames that a stall keeps back, to be sent at once behind it."""

BURST = 3
"""How often a burst sends the same frame."""

OTHERS_REQUEST = b"R\r"
"""What another program asks the gauge with; on a shared line everybody hears it."""

BATTERY_LOW = {"flag-line": b"B0\r\n"}
"""What a gauge sends when its battery is low, by the driver that understands it. All others fall
silent: the display blinks, and nothing is sent (source: a digital level maker's manual)."""

_ALIKE = (b"0123456789", b"+-", bytes(range(65, 91)) + bytes(range(97, 123)))


class Fault(BaseModel):
    """A ``[[fault]]``: what goes wrong with a gauge, and after how many frames each time."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    gauge: str
    what: Literal[
        "noise bytes", "half frame", "bit flip", "stall", "burst", "decimal comma", "two programs",
        "unit button", "low battery", "unplugged",
    ]  # fmt: skip
    every: Annotated[int, Field(ge=1, le=1_000_000)]


@dataclass(slots=True)
class Spoiler:
    """Spoils the frames of one gauge.

    Args:
        faults: those of this gauge.
        chance: what is random comes from here.
    """

    faults: Sequence[Fault]
    chance: random.Random
    frames: int = 0
    _kept_back: list[bytes] = field(default_factory=list)
    _stalled: bool = False

    def next_is(self, what: str) -> bool:
        """Tell whether a fault strikes the frame that comes next."""
        return any(
            fault.what == what and (self.frames + 1) % fault.every == 0 for fault in self.faults
        )

    def spoil(self, frame: bytes) -> bytes:
        """Give what comes down the cable instead of a frame; nothing while it is stalled."""
        self.frames += 1
        if not frame:
            return b""  # the cable is out: there is nothing to spoil
        for fault in self.faults:
            if self.frames % fault.every == 0:
                frame = self._struck(fault, frame)
        if not self._stalled:
            return frame
        self._kept_back.append(frame)
        if len(self._kept_back) <= STALLED:
            return b""
        bunch = b"".join(self._kept_back)
        self._kept_back.clear()
        self._stalled = False
        return bunch

    def _struck(self, fault: Fault, frame: bytes) -> bytes:
        match fault.what:
            case "noise bytes":
                return self.chance.randbytes(self.chance.randint(1, 4)) + frame
            case "half frame":
                cut = self.chance.randint(1, len(frame) - 1)
                return self.chance.choice([frame[:cut], frame[cut:]])
            case "bit flip":
                return self._flipped(frame)
            case "burst":
                return frame * BURST
            case "two programs":
                return OTHERS_REQUEST + frame + frame
            case "decimal comma":
                return frame.replace(b".", b",")
            case "stall":
                self._stalled = True
            case "unit button" | "low battery" | "unplugged":
                pass  # happens at the gauge, not in its frames
        return frame

    def _flipped(self, frame: bytes) -> bytes:
        while frame:
            place = self.chance.randrange(len(frame))
            flipped = frame[place] ^ 1 << self.chance.randrange(8)
            if not any(frame[place] in alike and flipped in alike for alike in _ALIKE):
                return frame[:place] + bytes([flipped]) + frame[place + 1 :]
        return frame
