"""A whole recording as columns: what came of it without an object a frame."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gaugelink.quantity import from_decimal
from gaugelink.wire.base import Noise, Partial, Value

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from gaugelink.quantity import LengthUnit
    from gaugelink.wire.base import Decoder, Item, Mode


@dataclass(frozen=True, slots=True)
class Said:
    """What a frame says beside its number.

    `places` is how many of its digits stand behind the decimal point, where it says so apart.
    """

    unit: LengthUnit
    mode: Mode = "actual"
    notes: tuple[str, ...] = ()
    channel: str = ""
    places: int | None = None


@dataclass(slots=True)
class Columns:
    """What is in a recording: the values in columns of one length, and everything else.

    Attributes:
        pm: the lengths in picometres.
        counts: the digits shown as whole numbers, with their sign: -12345 of -12.345.
        places: the decimal places shown: 3 of -12.345.
        said: unit, mode, notes and channel of each.
        raw: the bytes of each frame.
        others: noise and partial frames, each with the number of values that came before it.
    """

    pm: list[int] = field(default_factory=list)
    counts: list[int] = field(default_factory=list)
    places: list[int] = field(default_factory=list)
    said: list[Said] = field(default_factory=list)
    raw: list[bytes] = field(default_factory=list)
    others: list[tuple[int, Noise | Partial]] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.pm)

    @property
    def units(self) -> list[LengthUnit]:
        """The unit of each value."""
        return [said.unit for said in self.said]

    def take(self, items: Iterable[Item]) -> None:
        """Append items, in order."""
        for item in items:
            if isinstance(item, Value):
                shown = item.shown
                self.pm.append(shown.pm)
                self.counts.append(shown.pm // shown.step_pm)
                self.places.append(len(shown.text.partition(".")[2]))
                self.said.append(Said(shown.unit, item.mode, item.notes, item.channel))
                self.raw.append(item.raw)
            else:
                self.others.append((len(self.pm), item))

    def items(self) -> Iterator[Item]:
        """Give every item, in the order of the bytes, as the streaming decoder gives it."""
        others = iter(self.others)
        before, other = next(others, (-1, None))
        for place in range(len(self.pm) + 1):
            while other is not None and before == place:
                yield other
                before, other = next(others, (-1, None))
            if place < len(self.pm):
                said = self.said[place]
                shown = from_decimal(self.counts[place], self.places[place], said.unit)
                yield Value(shown, self.raw[place], said.mode, said.notes, said.channel)


def streamed(decoder: Decoder, data: bytes) -> Columns:
    """Decode a recording frame by frame, for the formats that have no quicker way."""
    found = Columns()
    found.take(decoder.feed(data))
    found.take(decoder.end())
    return found
