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


@dataclass(slots=True)
class Signs:
    """What has been seen of one gauge since its port was opened."""

    _flags_battery: bool = False
    _zero: ZeroPressed = field(default_factory=ZeroPressed)

    def battery(self, value: Value) -> tuple[bool, str] | None:
        """Tell what a value says of the battery: whether it is low, in which words; or nothing.

        A gauge that flags a low battery with its values says good by leaving the flag out.
        """
        low = next((note for note in value.notes if note.startswith(BATTERY_LOW)), "")
        if low:
            self._flags_battery = True
            return True, low
        return (False, BATTERY_GOOD) if self._flags_battery else None

    def zero_is_set(self, value: Value, mono_ns: int) -> bool:
        """Tell whether its zero was set just before this value."""
        return self._zero.feed(value.shown.pm, value.shown.step_pm, mono_ns)


def battery_reply(why: str) -> tuple[bool, str] | None:
    """Tell what a line without a number says of the battery, as the decoder words it.

    >>> battery_reply("the gauge reports: battery low (B0)")
    (True, 'battery low (B0)')
    """
    for words, low in ((BATTERY_LOW, True), (BATTERY_GOOD, False)):
        if words in why:
            return low, why[why.index(words) :]
    return None


def came_late(count: int, silence_ns: int) -> bool:
    """Tell whether so many values of a gauge in one portion, after a silence, came late.

    >>> came_late(4, 300_000_000), came_late(2, 300_000_000), came_late(4, 60_000_000)
    (True, False, False)
    """
    return count >= BUNCH and silence_ns >= LATE_NS


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
