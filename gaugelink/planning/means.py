"""What the shop's stock and machine allow for the whole head: stacks of shims, depths of a skim."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement
from typing import TYPE_CHECKING, Final

from gaugelink.metrology.springs import MOST_PIECES
from gaugelink.planning.allowances import guard_pm
from gaugelink.planning.task import Range

if TYPE_CHECKING:
    from gaugelink.planning.task import Shop, Task

HEAD_LIMITS: Final = ("head-face flatness max", "head thickness min")


@dataclass(frozen=True, slots=True)
class Stack:
    """Shims under one spring."""

    pieces: tuple[int, ...]
    cents: int

    @property
    def thickness(self) -> int:
        """Of all of them, picometres."""
        return sum(self.pieces)


def skims(task: Task, without: frozenset[str] = frozenset()) -> tuple[bool, int, int]:
    """Say whether the face has to be skimmed, and between which depths it can be.

    Args:
        task: the head.
        without: limits that are left out.

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
    if offer is None:
        return must, 1, 0
    most = offer.most_pm
    if task.thickness_pm is not None and thick.lower is not None and HEAD_LIMITS[1] not in without:
        guard = guard_pm(task.u_pm.get("head thickness", 0))
        most = min(most, task.thickness_pm - guard - thick.lower)
    return must, max(offer.least_pm, task.clean_up_pm, 1), most


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
