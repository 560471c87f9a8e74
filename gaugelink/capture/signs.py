"""Signs of trouble in what a gauge sends: a low battery, a zero set in use, values in a bunch.

They show only in how values follow each other, so they are looked for here and not in a decoder.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from gaugelink.capture.triggers import ZeroPressed
from gaugelink.wire.base import BATTERY_GOOD, BATTERY_LOW

if TYPE_CHECKING:
    from gaugelink.wire.base import Value

BUNCH: Final = 3
"""So many values of one gauge in one portion of bytes came late, all but the last."""

LATE_NS: Final = 250_000_000
"""A silence before them that is shorter is the load of the computer, and does no harm."""

ENOUGH_BYTES: Final = 200
"""Before so many, the half line at the start alone would be a bad link."""


@dataclass(frozen=True, slots=True)
class BatterySaid:
    """A gauge says how its battery is."""

    gauge: str
    low: bool
    words: str


@dataclass(slots=True)
class Signs:
    """What has been seen of one gauge since its port was opened.

    Attributes:
        bunches: how often its values came in a bunch.
    """

    gauge: str
    bunches: int = 0
    _flags_battery: bool = False
    _zero: ZeroPressed = field(default_factory=ZeroPressed)

    def battery_of_value(self, value: Value) -> BatterySaid | None:
        """Tell what a value says of the battery; a gauge that flags it says good without."""
        low = next((note for note in value.notes if note.startswith(BATTERY_LOW)), "")
        if low:
            self._flags_battery = True
            return BatterySaid(self.gauge, True, low)
        return BatterySaid(self.gauge, False, BATTERY_GOOD) if self._flags_battery else None

    def battery_of_words(self, why: str) -> BatterySaid | None:
        """Tell what a line without a number says of the battery, as the decoder words it."""
        for words, low in ((BATTERY_LOW, True), (BATTERY_GOOD, False)):
            if words in why:
                return BatterySaid(self.gauge, low, why)
        return None

    def zero_is_set(self, value: Value, mono_ns: int) -> bool:
        """Tell whether its zero was set just before this value."""
        return self._zero.feed(value.shown.pm, value.shown.step_pm, mono_ns)

    def in_a_bunch(self, count: int, silence_ns: int) -> bool:
        """Take note of so many values in one portion after a silence; True if they came late."""
        late = count >= BUNCH and silence_ns >= LATE_NS
        self.bunches += late
        return late


def bunch_words(title: str, count: int, silence_ns: int) -> str:
    """Say that values came in a bunch.

    >>> bunch_words("Indicator", 5, 2_300_000_000)
    'Indicator: 5 values came at once after 2.3 s; see that computer and USB do not save power'
    """
    return (
        f"{title}: {count} values came at once after {silence_ns / 1e9:.1f} s; "
        "see that computer and USB do not save power"
    )


def link_words(bytes_in: int, noise_bytes: int) -> str:
    """Say how good a link is, once enough has come; nothing where it is clean.

    >>> link_words(100_000, 90), link_words(1000, 31), link_words(1000, 0)
    ('under 1 % noise', '3 % noise', '')
    """
    if bytes_in < ENOUGH_BYTES or not noise_bytes:
        return ""
    percent = round(100 * noise_bytes / bytes_in)
    return f"{percent} % noise" if percent else "under 1 % noise"
