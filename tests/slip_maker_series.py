"""More slips for the figures of docs/slips.md: zero checks, the round before, hold modes, faces.

What is drawn at random is stated there too; common practice without a source.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from slip_maker import SCENARIO, SHEET_TEXT, Caught, Head, Sent, show

from gaugelink import sheetfile
from gaugelink.head import zero_check
from gaugelink.quantity import from_decimal

if TYPE_CHECKING:
    from collections.abc import Callable

    from gaugelink.slips import Suspicion

# ---- the check of the zero ---------------------------------------------------------------------


def check(head: Head, name: str, when: str, off_um: float) -> Suspicion | None:
    """Check the zero of the gauge that takes a characteristic, and see what is asked."""
    like = head.series[name][0 if when == "before" else -1]
    master = SCENARIO.sizes.masters.get(like.gauge.kind, 0.0)
    position = zero_check(like.gauge.kind, "before" if when == "before" else "after", name)
    later_ns = -5 * 10**9 if when == "before" else 5 * 10**9
    size = master + off_um + head.chance.gauss(0, like.noise)
    sent = replace(like.again(size), position=position, mono_ns=like.mono_ns + later_ns)
    found = head.look(sent, [] if when == "before" else head.taken[name])
    return found[0] if found else None


def checked_zero(head: Head, name: str, offset: tuple[float, float], *, from_start: bool) -> Caught:
    """A zero that is off, with the checks of the plan done before and after the series.

    A zero that is asked about before its series is set, and no reading of the series is off. One
    that changes in mid-series is found with the readings, or else by the check after them.
    """
    series = head.series[name]
    off = drawn(head, offset)
    if from_start:
        found = check(head, name, "before", off)
        if found is not None:
            return -1, found
    at = 0 if from_start else head.chance.randrange(1, len(series))
    caught = head.first_asked(name, at, [sent.again(sent.size_um + off) for sent in series[at:]])
    if caught is not None:
        return caught
    found = check(head, name, "after", off)
    return (len(series) - at, found) if found is not None else None


def drawn(head: Head, offset: tuple[float, float]) -> float:
    """Draw an amount evenly on a scale of ratios, and its sign."""
    return math.exp(head.chance.uniform(*map(math.log, offset))) * head.chance.choice((-1, 1))


# ---- the round before --------------------------------------------------------------------------

CHANGE_UM: dict[str, tuple[float, float]] = {
    "stem diameter": (-4, 0),
    "guide bore": (0, 5),
    "stand-down": (0, 20),
    "spring free length": (-4, 0),
}
"""What cleaning and lapping do to each place, evenly distributed."""


def second_round(head: Head) -> Head:
    """Measure a head again after lapping, with the readings of the round before at hand."""
    earlier = {sent.position: sent.shown for series in head.series.values() for sent in series}
    series = {}
    for name, before in head.series.items():
        lapped = {sent.position.valve: head.chance.uniform(*CHANGE_UM[name]) for sent in before}
        series[name] = [_measured_again(head, sent, lapped[sent.position.valve]) for sent in before]
    again = Head(head.sheet, series, head.chance, earlier)
    again.measure()
    return again


def _measured_again(head: Head, sent: Sent, change: float) -> Sent:
    true_um = sent.true_um + change
    size = true_um + head.chance.gauss(0, sent.noise)
    return replace(sent.again(size), true_um=true_um)


def neighbour(head: Head, name: str) -> Caught:
    """All places of one valve measured at the next valve of the same kind."""
    series = head.series[name]
    valves = list(dict.fromkeys(sent.position.valve for sent in series))
    valve = head.chance.choice(valves[:-2])
    other = valves[valves.index(valve) + 2]
    at = next(number for number, sent in enumerate(series) if sent.position.valve == valve)
    sizes = [sent.true_um for sent in series if sent.position.valve == other]
    slipped = [
        sent.again(size + head.chance.gauss(0, sent.noise))
        for sent, size in zip(series[at:], sizes, strict=False)
    ]
    return head.first_asked(name, at, slipped)


# ---- modes that a gauge does not tell ----------------------------------------------------------


def extreme(
    head: Head,
    name: str,
    pick: Callable[[float, float], float],
    least_left: int,
    *,
    checks: bool = False,
) -> Caught:
    """A gauge left showing the largest or smallest size since a reading on, and not telling it.

    With `checks` the check of the zero after the series is done, in the same mode.
    """
    series = head.series[name]
    at = head.chance.randrange(1, len(series) - least_left)
    shown = series[at - 1].size_um
    slipped = []
    for sent in series[at:]:
        shown = pick(shown, sent.size_um)
        slipped.append(sent.again(shown))
    caught = head.first_asked(name, at, slipped)
    if caught is not None or not checks:
        return caught
    master = SCENARIO.sizes.masters.get(series[0].gauge.kind, 0.0)
    found = check(head, name, "after", pick(shown, master) - master)
    return (len(slipped), found) if found is not None else None


# ---- another characteristic --------------------------------------------------------------------

OTHERS: dict[str, dict[str, tuple[float, float]]] = {
    "stand-down": {"guide projection": (13_750, 14_250), "tip height": (35_300, 36_920)},
    "spring free length": {
        "installed spring height": (41_200, 42_700),
        "valve length": (124_900, 126_000),
        "margin": (1_000, 1_400),
        "seat width": (1_400, 1_800),
    },
}
"""What else the depth gauge and the caliper measure: new ranges, invented, of usual magnitudes."""


def with_others() -> sheetfile.Sheet:
    """Give the demonstration's sheet with limits for these."""
    text = SHEET_TEXT
    for found in OTHERS.values():
        for name, (low, high) in found.items():
            text += (
                f'\n[[limit]]\ncharacteristic = "{name}"\nnew_min = "{low / 1000:.3f} mm"\n'
                f'new_max = "{high / 1000:.3f} mm"\nsource = "invented"\n'
            )
    return sheetfile.load(text, "sheet.toml")


def other_characteristic(head: Head, name: str, sheet: sheetfile.Sheet) -> Caught:
    """One reading of something else that the same gauge measures."""
    series = head.series[name]
    at = head.chance.randrange(len(series))
    low, high = OTHERS[name][head.chance.choice(list(OTHERS[name]))]
    slipped = series[at].again(head.chance.uniform(low, high))
    richer = replace(head, sheet=sheet)
    return richer.first_asked(name, at, [slipped])


# ---- single readings of one characteristic -----------------------------------------------------


def one_sign(head: Head, name: str) -> Caught:
    """One reading with the wrong sign."""
    at = head.chance.randrange(len(head.series[name]))
    sent = head.series[name][at]
    return head.first_asked(name, at, [sent.again(-sent.size_um)])


def one_decimal(head: Head, name: str) -> Caught:
    """One reading with its decimal sign one or two places off."""
    at = head.chance.randrange(len(head.series[name]))
    sent = head.series[name][at]
    digits = round(sent.size_um / 1000 * 10**sent.places)
    ways = [way for way in (-2, -1, 1, 2) if sent.places + way >= 0]
    shown = from_decimal(digits, sent.places + head.chance.choice(ways), "mm")
    return head.first_asked(name, at, [replace(sent, shown=shown)])


def one_in_inches(head: Head, name: str) -> Caught:
    """One reading in inches from a gauge that does not tell its unit."""
    at = head.chance.randrange(len(head.series[name]))
    sent = head.series[name][at]
    shown = show(sent.size_um / 25.4, sent.places + 2)
    return head.first_asked(name, at, [replace(sent, shown=shown)])


def jumped(head: Head, name: str, offset: tuple[float, float]) -> Caught:
    """A base that slipped: from a reading on, all heights are off."""
    series = head.series[name]
    at = head.chance.randrange(1, len(series))
    off = drawn(head, offset)
    return head.first_asked(name, at, [sent.again(sent.size_um + off) for sent in series[at:]])
