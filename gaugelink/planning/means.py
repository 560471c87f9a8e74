"""What the shop's stock and machine allow for the whole head: stacks of shims, depths of a skim."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement
from typing import TYPE_CHECKING, Final

from gaugelink.metrology.springs import MOST_PIECES
from gaugelink.planning.bounds import bounds, guard_pm
from gaugelink.planning.task import Range

if TYPE_CHECKING:
    from gaugelink.planning.allowances import Figure
    from gaugelink.planning.bounds import Bound
    from gaugelink.planning.task import Shop, Task

HEAD_LIMITS: Final = ("head-face flatness max", "head thickness min", "head face fit for use")
PROTRUSIONS: Final[tuple[Figure, ...]] = ("injector protrusion", "prechamber protrusion")
"""They stand out further by as much as the face is skimmed."""


@dataclass(frozen=True, slots=True)
class Stack:
    """Shims under one spring."""

    pieces: tuple[int, ...]
    cents: int

    @property
    def thickness(self) -> int:
        """Of all of them, picometres."""
        return sum(self.pieces)


def skims(
    task: Task,
    without: frozenset[str] = frozenset(),
    cylinders: frozenset[tuple[str, str]] = frozenset(),
) -> tuple[bool, int, int]:
    """Say whether the face has to be skimmed, and between which depths it can be.

    Args:
        task: the head.
        without: limits of the head that are left out.
        cylinders: limits of cylinders that are left out, with the cylinder's name.

    Returns:
        Must it be; least and most, picometres. A most below the least: it cannot be.
    """
    offer = task.shop.offers.get("skim")
    flat, thick = (task.head.get(name, Range()) for name in ("head-face flatness",
                                                             "head thickness"))  # fmt: skip
    must = (
        task.flatness_pm is not None and flat.upper is not None and HEAD_LIMITS[0] not in without
        and task.flatness_pm > flat.upper - guard_pm(task.u_pm.get("head-face flatness", 0))
    )  # fmt: skip
    least, most = 0, 10**15
    for cylinder in task.cylinders:
        for one in protruding(task):
            if (cylinder.name, one.name) in cylinders or one.figure not in cylinder.readings:
                continue
            room = one.room_pm(cylinder.readings[one.figure])
            least, most = (max(least, -room), most) if one.side == "lower" else (
                least, min(most, room))  # fmt: skip
    must = must or (bool(task.face_scrap) and HEAD_LIMITS[2] not in without)
    must = must or least > 0 or most < 0  # a skim does not help what stands out too far: none is
    if offer is None:
        return must, 1, 0
    most = min(most, offer.most_pm)
    if task.thickness_pm is not None and thick.lower is not None and HEAD_LIMITS[1] not in without:
        guard = guard_pm(task.u_pm.get("head thickness", 0))
        most = min(most, task.thickness_pm - guard - thick.lower)
    return must, max(offer.least_pm, task.clean_up_pm, least, 1), most


def protruding(task: Task) -> tuple[Bound, ...]:
    """Give what holds injectors and prechambers, the same at every cylinder."""
    found: list[Bound] = []
    for name in PROTRUSIONS:
        limit = task.head.get(name, Range())
        found += bounds(name, name, limit.lower, limit.upper, task.u_pm.get(name, 0))
    return tuple(found)


def stacks(shop: Shop) -> tuple[Stack, ...]:
    """List the stacks that the shims in stock can make, none first; of each height the cheapest."""
    found = {0: Stack((), 0)}
    if "shim" in shop.offers:
        for count in range(1, MOST_PIECES + 1):
            for shims in combinations_with_replacement(shop.shims, count):
                made = Stack(tuple(sorted((one.thickness_pm for one in shims), reverse=True)),
                             sum(one.cents for one in shims))  # fmt: skip
                high = made.thickness
                if shop.most_shims_pm is not None and high > shop.most_shims_pm:
                    continue
                if high not in found or made.cents < found[high].cents:
                    found[high] = made
    return tuple(found[high] for high in sorted(found))
