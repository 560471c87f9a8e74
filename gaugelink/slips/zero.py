"""What a zero check shows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from gaugelink.slips.suspicion import Suspicion

if TYPE_CHECKING:
    from gaugelink.limits import Zero
    from gaugelink.quantity import Displayed
    from gaugelink.reading import Gauge

CHECK_STEPS: Final = 2
CHECK_U: Final = 2
"""A zero check may be off by two display steps (common practice, no source), or by the expanded
uncertainty with k = 2 where that is more: a coarse gauge cannot be told to be off by less."""


def zero_off(shown: Displayed, gauge: Gauge, zero: Zero | None, when: str) -> Suspicion | None:
    """Ask about a zero that its check shows to be off.

    Args:
        shown: what the gauge shows.
        gauge: the gauge.
        zero: where it is checked and what it has to show there; None: nothing is known.
        when: "before" or "after" a series.

    >>> from gaugelink.limits import Zero
    >>> from gaugelink.quantity import parse_length
    >>> from gaugelink.reading import Gauge
    >>> depth = Gauge("D1", "depth gauge", "Depth gauge", "", "plain-line", 8_500_000, "")
    >>> plate = Zero("depth gauge", "on the head's face", parse_length("0.00 mm"))
    >>> found = zero_off(parse_length("0.05 mm"), depth, plate, "before")
    >>> found.words
    "0.05 mm where 0.00 mm is due, on the head's face; clean both faces, set the zero, press again"
    >>> zero_off(parse_length("-0.02 mm"), depth, plate, "before") is None
    True
    """
    room = max(CHECK_STEPS * shown.step_pm, CHECK_U * gauge.u_pm)
    if zero is None or abs(shown.pm - zero.shows.pm) <= room:
        return None
    words = f"{shown} where {zero.shows} is due, {zero.on}; "
    words += "clean both faces, set the zero, press again"
    if when == "after":
        words += (
            ", and measure again what was measured since the check before: it may be off as much"
        )
    return Suspicion("zero", words, strong=True)
