"""What places have in common, before and after work: spreads, chambers, compression ratios."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, floor, sqrt
from typing import TYPE_CHECKING, Final

from gaugelink.planning.amount import Amount
from gaugelink.planning.bounds import Bound
from gaugelink.planning.chamber import CUBIC_CM, ratio
from gaugelink.planning.ties import (
    VOLUME,
    Apart,
    Held,
    apart_u,
    chamber_sum,
    mixed,
    spread_name,
    ties,
    volume_u,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from gaugelink.planning.allowances import Figure, Seated, Step
    from gaugelink.planning.task import Cylinder, Task
    from gaugelink.planning.ties import Sum

SINKS: Final[tuple[Step, ...]] = ("cut seat", "lap", "reface valve")
"""Steps that let a valve sink by their depth."""
RATIO: Final = "compression ratio"
_MM: Final = 10**9


@dataclass(frozen=True, slots=True)
class Common(Amount):
    """A figure that several places make together.

    Attributes:
        whole: whether every reading that it is told from is there.
        at: numbers of the places whose stand-down it is told from.
        thick: whether it is told from the head's thickness too.
        filled: names of the cylinders whose chambers were measured for it by filling them.
    """

    whole: bool = True
    at: tuple[int, ...] = ()
    thick: bool = False
    filled: tuple[str, ...] = ()


def together(task: Task, sunk: Mapping[int, int], skim: int) -> tuple[Common, ...]:
    """Reckon everything that the book limits for several places at once.

    Args:
        task: the head.
        sunk: by number of place how far its valve has sunk since it was measured, picometres;
            absent: not at all.
        skim: of the face, picometres.
    """
    by = {at: sunk.get(at, 0) for at in range(len(task.places))}
    return (*_spreads(task, by, skim), *_chambers(task, by, skim))


def _spreads(task: Task, by: Mapping[int, int], skim: int) -> Iterator[Common]:
    for kind, rules in task.rules.items():
        if rules.spread_pm is None:
            continue
        at = tuple(number for number, place in enumerate(task.places)
                   if place.kind == kind and "stand-down" in place.readings)  # fmt: skip
        stands = [task.places[number].readings["stand-down"] + by[number] - skim for number in at]
        whole = len(stands) == sum(place.kind == kind for place in task.places)
        if len(stands) > 1:
            u = Fraction(rules.u_pm.get("stand-down", 0)) * Fraction(sqrt(2)) / _MM
            yield Common(spread_name(kind), "mm", Fraction(max(stands) - min(stands), _MM), u,
                         None, Fraction(rules.spread_pm, _MM), whole, at)  # fmt: skip


def _chambers(task: Task, by: Mapping[int, int], skim: int) -> Iterator[Common]:
    chamber = task.chamber
    if chamber is None or not chamber.limited:
        return
    numbers = {place.name: at for at, place in enumerate(task.places)}
    found = [(one, total.at(by, skim)) for one in task.cylinders
             if (total := chamber_sum(task, one)) is not None]  # fmt: skip

    def cm3(value: int | None) -> Fraction | None:
        return None if value is None else Fraction(value, CUBIC_CM)

    def leaning(common: Common, *cylinders: Cylinder) -> Common:
        own = [one for one in cylinders if not one.filled]
        return replace(common, at=tuple(numbers[name] for one in own for name in one.valves),
                       thick=bool(own),
                       filled=tuple(one.name for one in cylinders if one.filled))  # fmt: skip

    for one, volume in found:
        u = Fraction(volume_u(task, one))
        if chamber.least is not None or chamber.most is not None:
            yield leaning(Common(f"{VOLUME} of {one.name}", "cm3", volume / CUBIC_CM, u / CUBIC_CM,
                                 cm3(chamber.least), cm3(chamber.most)), one)  # fmt: skip
        room = volume + chamber.beside
        if chamber.swept is not None and chamber.ratio != (None, None) and room > 0:
            yield leaning(Common(f"{RATIO} of {one.name}", "", ratio(chamber.swept, room),
                                 chamber.swept * u / room**2, *chamber.ratio), one)  # fmt: skip
    if chamber.apart is not None and len(found) > 1 and not mixed(task):
        volumes = [volume for _, volume in found]
        yield leaning(
            Common(f"spread of {VOLUME}", "cm3", (max(volumes) - min(volumes)) / CUBIC_CM,
                   Fraction(apart_u(task), CUBIC_CM), None, cm3(chamber.apart),
                   len(found) == len(task.cylinders)),
            *(one for one, _ in found),
        )  # fmt: skip


def joined(task: Task, place: int) -> tuple[dict[Figure, int], tuple[Bound, ...]]:
    """Give what the other places, as they are, leave to one: two figures and what holds them.

    The drop begins at 0; the chamber volume is in cubic micrometres.
    """
    figures: dict[Figure, int] = {}
    held: list[Bound] = []
    for tie in ties(task):
        if isinstance(tie, Held) and place in tie.sum.rates:
            figures["chamber volume"] = tie.sum.start
            inside = ceil(tie.limit) if tie.side == "lower" else floor(tie.limit)
            held.append(Bound(tie.name, "chamber volume", tie.side, inside))
        elif isinstance(tie, Apart):
            mine = [one for one in tie.sums if place in one.rates]
            others = [one.start for one in tie.sums if place not in one.rates]
            if mine and others:
                figures["drop"] = 0
                held += _beside(tie, mine[0], others, place)
    return figures, tuple(held)


def _beside(tie: Apart, mine: Sum, others: Sequence[int], place: int) -> Iterator[Bound]:
    """Hold a drop so that one sum stays beside all others."""
    rate = mine.rates[place]
    least, most = max(others) - tie.limit, min(others) + tie.limit
    yield Bound(tie.name, "drop", "lower", ceil((least - mine.start) / rate))
    yield Bound(tie.name, "drop", "upper", floor((most - mine.start) / rate))


def rates_of(task: Task, place: int) -> dict[Step, dict[Figure, Fraction]]:
    """Give what the steps change of the chamber's volume at one place."""
    area = task.rules[task.places[place].kind].head_area_mm2
    found: dict[Step, dict[Figure, Fraction]] = {}
    if task.chamber is not None:
        found["skim"] = {"chamber volume": -task.chamber.area_mm2}
        if area is not None:
            found |= {step: {"chamber volume": area} for step in SINKS}
    return found


def tried(task: Task, place: int, step: Step, depth_pm: int) -> tuple[tuple[Common, Common], ...]:
    """Give what several places have in common before and after one step."""
    sunk = {place: depth_pm} if step in SINKS else {}
    skim = depth_pm if step == "skim" else 0
    return tuple(zip(together(task, {}, 0), together(task, sunk, skim), strict=True))


def with_others(task: Task, place: int, seated: Seated) -> Seated:
    """Let the other places hold a place too."""
    figures, held = joined(task, place)
    rates = {step: {**seated.rates.get(step, {}), **more}
             for step, more in rates_of(task, place).items()} if held else {}  # fmt: skip
    return replace(seated, figures={**seated.figures, **figures}, held=(*seated.held, *held),
                   rates={**seated.rates, **rates})  # fmt: skip
