"""Limits that several places keep together: the spread of stand-down, chambers, compression.

What each place brings to them is one figure: how far its valve has sunk since it was measured,
along its axis. A tie is a sum over such figures and the skim. That it depends on them in straight
lines is what lets a programme choose and a proof be had.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import isqrt
from typing import TYPE_CHECKING, Final, Literal

from gaugelink.planning.bounds import guard_pm
from gaugelink.planning.chamber import room_at

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping

    from gaugelink.planning.task import Cylinder, Task

VOLUME: Final = "chamber volume"


@dataclass(frozen=True, slots=True)
class Sum:
    """A figure that places and skim make together.

    Attributes:
        name: such as ``stand-down of 3E``.
        start: before any work; picometres, or cubic micrometres of a volume.
        rates: by number of place, what it grows by where that valve sinks by a picometre.
        skim: what a skim of a picometre takes off it.
    """

    name: str
    start: int
    rates: Mapping[int, Fraction]
    skim: Fraction

    def at(self, sunk: Mapping[int, int], skim: int) -> Fraction:
        """Give its value.

        >>> one = Sum("stand-down of 3E", 950, {4: Fraction(1)}, Fraction(1))
        >>> int(one.at({4: 200}, 100))
        1050
        """
        return self.start + sum(rate * sunk[at] for at, rate in self.rates.items()) - (
            self.skim * skim)  # fmt: skip

    @property
    def scale(self) -> Fraction:
        """What turns it into a length: the largest of its rates."""
        return max((abs(rate) for rate in (*self.rates.values(), self.skim)), default=Fraction(1))


@dataclass(frozen=True, slots=True)
class Held:
    """One side of a limit on one sum, its guard band taken off."""

    where: str
    name: str
    sum: Sum
    side: Literal["lower", "upper"]
    limit: Fraction

    def keeps(self, sunk: Mapping[int, int], skim: int) -> bool:
        """Tell whether it is kept."""
        value = self.sum.at(sunk, skim)
        return value >= self.limit if self.side == "lower" else value <= self.limit


@dataclass(frozen=True, slots=True)
class Apart:
    """How far sums may lie apart, the largest from the smallest, its guard band taken off."""

    where: str
    name: str
    sums: tuple[Sum, ...]
    limit: Fraction

    def keeps(self, sunk: Mapping[int, int], skim: int) -> bool:
        """Tell whether it is kept."""
        values = [one.at(sunk, skim) for one in self.sums]
        return max(values) - min(values) <= self.limit


Tie = Held | Apart


def spread_name(kind: str) -> str:
    """Give what the spread of stand-down of one kind of valve is called.

    >>> spread_name("intake")
    'spread of stand-down, intake'
    """
    return f"spread of stand-down, {kind}"


def ties(task: Task, without: Collection[tuple[str, str]] = ()) -> tuple[Tie, ...]:
    """List the ties of a head.

    Args:
        task: the head.
        without: limits that are left out, as ``(where, name)``.

    Returns:
        Those that can be reckoned: what was not measured ties nothing (`unmeasured`).
    """
    return tuple(one for one in (*_spreads(task), *_chambers(task))
                 if (one.where, one.name) not in without)  # fmt: skip


def unmeasured(task: Task) -> Iterator[tuple[str, str]]:
    """Name the readings without which ties are open, as ``(place or cylinder, what)``."""
    for place in task.places:
        if task.rules[place.kind].spread_pm is not None and "stand-down" not in place.readings:
            yield place.name, "stand-down"
    if task.chamber is not None and task.chamber.limited:
        yield from ((one.name, VOLUME) for one in task.cylinders if one.volume is None)
        if task.chamber.apart is not None and mixed(task):
            yield from ((one.name, VOLUME) for one in task.cylinders
                        if one.volume is not None and not one.filled)  # fmt: skip


def mixed(task: Task) -> bool:
    """Tell whether some chambers were filled and others are only reckoned.

    What a book's figures are off by is common to all that are reckoned, so that how far chambers
    lie apart can be told of those, or of measured ones, but not of both together.
    """
    return len({one.filled for one in task.cylinders if one.volume is not None}) > 1


def volume_u(task: Task, cylinder: Cylinder) -> int:
    """Give the standard uncertainty of a chamber's volume, cubic micrometres."""
    if cylinder.u is not None:
        return cylinder.u
    return task.chamber.u if task.chamber is not None else 0


def tied(all_ties: Collection[Tie]) -> frozenset[int]:
    """Give the numbers of the places that ties hold."""
    return frozenset(
        place for one in all_ties for part in sums_of(one) for place in part.rates
    )  # fmt: skip


def sums_of(tie: Tie) -> tuple[Sum, ...]:
    """Give the sums that a tie holds."""
    return tie.sums if isinstance(tie, Apart) else (tie.sum,)


def _spreads(task: Task) -> Iterator[Apart]:
    for kind, rules in task.rules.items():
        sums = tuple(
            Sum(f"stand-down of {place.name}", place.readings["stand-down"],
                {at: Fraction(1)}, Fraction(1))
            for at, place in enumerate(task.places)
            if place.kind == kind and "stand-down" in place.readings
        )  # fmt: skip
        if rules.spread_pm is not None and len(sums) > 1:
            # Two readings, each with its uncertainty: a difference has the root of two of it.
            guard = guard_pm(_of_two(*[rules.u_pm.get("stand-down", 0)] * 2))
            yield Apart("", f"{spread_name(kind)} max", sums, Fraction(rules.spread_pm - guard))


def chamber_sum(task: Task, cylinder: Cylinder) -> Sum | None:
    """Give the volume of a cylinder's chamber as a sum; None where it was not measured."""
    if task.chamber is None or cylinder.volume is None:
        return None
    numbers = {place.name: at for at, place in enumerate(task.places)}
    rates = {
        numbers[name]: area
        for name in cylinder.valves
        if (area := task.rules[task.places[numbers[name]].kind].head_area_mm2) is not None
    }
    return Sum(f"{VOLUME} of {cylinder.name}", cylinder.volume, rates, task.chamber.area_mm2)


def _chambers(task: Task) -> Iterator[Tie]:
    chamber = task.chamber
    if chamber is None:
        return
    found = [(one, total) for one in task.cylinders
             if (total := chamber_sum(task, one)) is not None]  # fmt: skip
    for cylinder, total in found:
        guard = guard_pm(volume_u(task, cylinder))
        for name, side, limit in chamber_ends(task):
            inside = limit + guard if side == "lower" else limit - guard
            yield Held(cylinder.name, name, total, side, inside)
    if chamber.apart is not None and len(found) > 1 and not mixed(task):
        limit = Fraction(chamber.apart - guard_pm(apart_u(task)))
        yield Apart("", f"spread of {VOLUME} max", tuple(total for _, total in found), limit)


def chamber_ends(task: Task) -> Iterator[tuple[str, Literal["lower", "upper"], Fraction]]:
    """Give every limit of a chamber's volume, those of the compression ratio among them.

    A ratio that must not be below a figure is a volume that must not be above one.
    """
    chamber = task.chamber
    if chamber is None:
        return
    if chamber.least is not None:
        yield f"{VOLUME} min", "lower", Fraction(chamber.least)
    if chamber.most is not None:
        yield f"{VOLUME} max", "upper", Fraction(chamber.most)
    if chamber.swept is not None:
        least, most = chamber.ratio
        if least is not None:
            yield "compression ratio min", "upper", room_at(chamber.swept, least) - chamber.beside
        if most is not None:
            yield "compression ratio max", "lower", room_at(chamber.swept, most) - chamber.beside


def apart_u(task: Task) -> int:
    """Give the standard uncertainty of how far two chambers lie apart: of the least certain two."""
    known = sorted(volume_u(task, one) for one in task.cylinders if one.volume is not None)
    return _of_two(*known[-2:]) if len(known) > 1 else 0


def _of_two(one: int, other: int) -> int:
    """Give the standard uncertainty of a difference of two readings, rounded up.

    >>> guard_pm(_of_two(10_000_000, 10_000_000))  # 1.645 * 1.41421356... * 0.010 mm
    23263814
    """
    square = one * one + other * other
    return isqrt(square - 1) + 1 if square else 0
