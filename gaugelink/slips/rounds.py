"""What the same place gave in the round before: as received, after cutting, after lapping.

Between two rounds a part changes only by what was done to it. Work that changes a size on purpose
makes the comparison void, and so does a part that was replaced; who knows of it leaves those
readings out (`comparable`). What is left may change a little, and one way more than the other.
"""

from __future__ import annotations

from math import isqrt
from typing import TYPE_CHECKING, Final, Literal

from gaugelink.quantity import PM_PER_UM, micrometres_text
from gaugelink.slips.suspicion import Suspicion

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from gaugelink.head import Position
    from gaugelink.quantity import Displayed
    from gaugelink.reading import Gauge, Reading
    from gaugelink.slips.suspicion import Taken

Part = Literal["valve", "guide", "seat", "spring", "face"]

MADE_OF: Final[dict[str, tuple[Part, ...]]] = {
    "stem diameter": ("valve",),
    "guide bore": ("guide",),
    "stand-down": ("valve", "seat", "face"),
    "guide projection": ("guide",),
    "tip height": ("valve", "seat"),
    "installed spring height": ("valve", "seat"),
    "spring free length": ("spring",),
    "valve length": ("valve",),
    "head thickness": ("face",),
}
"""Which parts, replaced or machined, give a characteristic another size."""
MAY_CHANGE_UM: Final[dict[str, tuple[int, int]]] = {
    "stem diameter": (0, 10),
    "guide bore": (10, 0),
    "stand-down": (20, 0),
    "guide projection": (10, 10),
    "tip height": (20, 0),
    "installed spring height": (20, 0),
    "spring free length": (0, 10),
    "valve length": (0, 10),
    "head thickness": (0, 10),
}
"""How far sizes go up and down between rounds by cleaning and lapping alone: lapping sinks a valve
by a few um to 20 (from memory); carbon comes off a stem and out of a bore; nothing makes a stem
thicker, a bore narrower or a spring longer (common practice, no source)."""
LEAST_PLACES: Final = 4
SURE: Final = 3
"""Standard uncertainties: about 1 of 1000 by scatter alone (normal distribution)."""


def comparable(earlier: Iterable[Reading], changed: Collection[tuple[str, Part]]) -> list[Reading]:
    """Leave out the readings of an earlier round whose parts were replaced or machined since.

    Args:
        earlier: the readings.
        changed: valve and part; the valve is empty for the face, whose facing concerns every valve.
    """
    return [
        item
        for item in earlier
        if not any(
            (item.tag.position.valve, part) in changed or (part == "face" and ("", part) in changed)
            for part in MADE_OF.get(item.tag.position.characteristic, ())
        )
    ]


def since_last_round(
    position: Position,
    shown: Displayed,
    gauge: Gauge,
    taken: Sequence[Taken],
    earlier: Mapping[Position, Displayed],
) -> Suspicion | None:
    """Ask about a size that is another than in the round before.

    Args:
        position: the place.
        shown: the value.
        gauge: the gauge that sent it.
        taken: the readings of this round, without this place.
        earlier: what each place gave in the round before, as far as it can be compared.
    """
    before, limits = earlier.get(position), MAY_CHANGE_UM.get(position.characteristic)
    if before is None or limits is None:
        return None
    series = [
        item
        for item in taken
        if item.gauge == gauge.id and item.position.characteristic == position.characteristic
    ]
    change = shown.pm - before.pm
    both = [item for item in series if item.position in earlier]
    changes = [item.shown.pm - earlier[item.position].pm for item in both]
    kept_changes = [one for one, item in zip(changes, both, strict=True) if item.kept]
    if not kept_changes and (common := _common([*changes, change], limits, gauge.u_pm)):
        return Suspicion(
            "zero",
            f"{_by(common)} than in the round before, in the middle of {len(changes) + 1} places; "
            f"check {gauge.title} on its master, set the zero, and measure again",
        )
    # Two readings, each with its uncertainty and half a display step of rounding.
    room = SURE * isqrt(2 * gauge.u_pm**2) + max(shown.step_pm, before.step_pm)
    if any(abs(change - other) <= room for other in kept_changes):
        return None  # a person has kept as great a change
    if abs(_past(change, limits)) > room:
        return Suspicion(
            "last round",
            f"{shown} here, and {before} in the round before; see whether it is the same part and "
            "place, and measure again",
        )
    return None


def _common(changes: list[int], limits: tuple[int, int], u_pm: int) -> int:
    """Tell by how much most of the changes go beyond what cleaning and lapping do; 0: they do not.

    The median has 1.2533 times the scatter of a mean (normal distribution). Below twice the
    standard uncertainty two settings of the zero may differ.
    """
    if len(changes) < LEAST_PLACES:
        return 0
    middle = _median(changes)
    spread = _median([abs(item - middle) for item in changes])
    scatter = SURE * 12533 * 14826 * spread // (10**8 * isqrt(len(changes)))
    past = _past(middle, limits)
    return middle if abs(past) > max(2 * u_pm, scatter) else 0


def _past(change: int, limits: tuple[int, int]) -> int:
    up, down = (um * PM_PER_UM for um in limits)
    return max(0, change - up) + min(0, change + down)


def _median(values: list[int]) -> int:
    ordered = sorted(values)
    count = len(ordered)
    return (ordered[(count - 1) // 2] + ordered[count // 2]) // 2


def _by(change: int) -> str:
    return f"{micrometres_text(abs(change))} um {'more' if change > 0 else 'less'}"
