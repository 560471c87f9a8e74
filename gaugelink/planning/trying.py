"""Trying one step at one place: every figure, load and limit that follows from it.

A step is told from all sides at once: what it moves, what it makes true, which limits stay broken
because no depth mends them, and whether shop and stock can do it as it was asked.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Final, get_args

from gaugelink.planning.allowances import Allowance, Step, allowances
from gaugelink.planning.elsewhere import OF_ALL, OF_CYLINDER, elsewhere, left_of_skim
from gaugelink.planning.held import as_found
from gaugelink.planning.means import PROTRUSIONS, stacks
from gaugelink.planning.standing import WHOLE, Standing, Trial, clean_up_pm
from gaugelink.planning.task import FITS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from gaugelink.planning.allowances import Seated
    from gaugelink.planning.amount import Amount
    from gaugelink.planning.task import Deed, Task

_MM: Final = 10**9
_OF_HEAD: Final = (*OF_ALL, "head-face flatness", "head face")


@dataclass(frozen=True, slots=True)
class Change:
    """One figure before and after; None where it is not there, or has to be measured first."""

    name: str
    before: Amount | None
    after: Amount | None
    moves: bool

    @property
    def by(self) -> Fraction:
        """What it changes by; 0 where one of them is not known."""
        if self.before is None or self.after is None:
            return Fraction(0)
        return self.after.value - self.before.value


@dataclass(frozen=True, slots=True)
class Tried:
    """What follows from one step.

    Attributes:
        figures: of the place, its cylinder and the head; those that the step moves first.
        broken: limits that were kept and are no longer.
        mended: limits that were not kept and are now, or will be once that is measured.
        beyond: every limit of the place that is not kept then, broken ones elsewhere too.
        cannot: why shop or maker cannot do it so, as words.
        then: what else has to follow, as words.
        unmeasured: figures with a limit, and no reading, that the step moves.
        left: what is left of every step afterwards, each alone.
        most_pm: the deepest at once; None where nobody says.
        cents: what it costs with its part; None where the shop does not offer it.
    """

    figures: tuple[Change, ...]
    broken: tuple[str, ...]
    mended: tuple[str, ...]
    beyond: tuple[str, ...]
    cannot: tuple[str, ...]
    then: tuple[str, ...]
    unmeasured: tuple[str, ...]
    left: Mapping[Step, Allowance]
    most_pm: int | None
    cents: int | None

    @property
    def good(self) -> bool:
        """Whether it can be done, and every limit of the place is kept then."""
        return not (self.beyond or self.unmeasured or self.cannot)


def try_step(task: Task, place: int, step: Trial, depth_pm: int) -> Tried:
    """Try one step at one place.

    Args:
        task: the head as it was measured.
        place: number of the place; a skim is of the whole face, and told from there.
        step: the step.
        depth_pm: its depth, picometres: of an insert how far it lifts the valve, of shims how thick
            they are; below 0 for shims taken out. 0 for steps that have none.

    Raises:
        ValueError: a new part is tried whose sizes nobody has told.
    """
    before = Standing.found(task, place)
    after = before.with_step(step, depth_pm)
    was, now = before.beyond(), after.beyond()
    moving: Step | None = "cut seat" if step == "fit insert" else _as_step(step)
    deep = -depth_pm if step == "fit insert" else depth_pm
    broken = [name for name in now if name not in was]
    # A new guide makes no seat true, whatever the old one said of it.
    mended = [name for name in was if name not in now
              and not (step == "replace guide" and name.startswith("seat "))]  # fmt: skip
    more: tuple[tuple[str, ...], tuple[str, ...]] = ((), ())
    left = allowances(after.seated)
    if moving is not None:
        more = elsewhere(task, place, moving, deep)
    left |= {"skim": left_of_skim(task, place, moving or "lap", deep, left["skim"])}
    return Tried(
        tuple(_changes(before, after, step)),
        (*broken, *more[0]),
        (*mended, *more[1]),
        (*now, *more[0]),
        tuple(_cannot(task, place, step, depth_pm)),
        tuple(_then(after, step)),
        tuple(_unmeasured(after, moving)),
        left,
        _most(before.seated, task, step),
        _cents(task, place, step, depth_pm),
    )


def try_skim(task: Task, depth_pm: int) -> Tried:
    """Try one skim of the face, which is one for all valves and cylinders.

    Args:
        task: the head as it was measured.
        depth_pm: its depth, picometres.

    Returns:
        What follows: the stand-down of every valve, what stands out at every cylinder, the head's
        own figures and what is kept together; limits with their valve or cylinder.
    """
    each = [try_step(task, place, "skim", depth_pm) for place in range(len(task.places))]
    figures: dict[str, Change] = {}
    for place, one in zip(task.places, each, strict=True):
        cylinder = next((some.name for some in task.cylinders if place.name in some.valves), "")
        for change in one.figures:
            if not change.moves:
                continue
            where = place.name if change.name == "stand-down" else (
                cylinder if change.name in PROTRUSIONS else "")  # fmt: skip
            name = f"{change.name} of {where}" if where else change.name
            figures.setdefault(name, replace(change, name=name))
    broken, mended = elsewhere(task, None, "skim", depth_pm)
    own = [[name for name in names if name.startswith(_OF_HEAD)]
           for names in (each[0].broken, each[0].mended)]  # fmt: skip
    beyond = (_at(task, place, name) for place, one in enumerate(each) for name in one.beyond
              if " at " not in name)  # fmt: skip
    nothing = Allowance("skim", 0, None, "", "")
    return replace(
        each[0],
        figures=tuple(sorted(figures.values(), key=lambda one: _rank(one.name))),
        broken=(*own[0], *broken),
        mended=(*own[1], *mended),
        beyond=tuple(dict.fromkeys(name for name in (*beyond, *broken) if name)),
        unmeasured=tuple(dict.fromkeys(name for one in each for name in one.unmeasured)),
        left={"skim": left_of_skim(task, None, "skim", depth_pm, nothing)},
    )


def _at(task: Task, place: int, limit: str) -> str:
    """Say where a limit is not kept after a skim; empty where a skim has nothing to do with it."""
    name = task.places[place].name
    cylinder = next((one.name for one in task.cylinders if name in one.valves), name)
    where = cylinder if limit.startswith(OF_CYLINDER) else name
    if limit.startswith(_OF_HEAD):
        return limit
    return f"{limit} at {where}" if limit.startswith(("stand-down", *OF_CYLINDER)) else ""


def _rank(name: str) -> int:
    """Put the face first, then valves, cylinders, and what is kept together."""
    order = ("head", "stand-down", *PROTRUSIONS, "spread of stand-down", "chamber volume")
    return next((at for at, start in enumerate(order) if name.startswith(start)), len(order))


def _as_step(step: Trial) -> Step | None:
    return next((one for one in get_args(Step) if one == step), None)


def _changes(before: Standing, after: Standing, step: Trial) -> Iterator[Change]:
    """Go through the figures, what the step can move first, so that none jumps with its depth."""
    was = {one.name: one for one in before.amounts()}
    now = {one.name: one for one in after.amounts()}
    probe = before if step in WHOLE else before.with_step(step, _MM // 10)
    there = after if step in WHOLE else probe
    moved = {one.name: one.value for one in there.amounts()}
    names = dict.fromkeys([*was, *now])
    found = [
        Change(name, was.get(name), now.get(name),
               name not in was or was[name].value != moved.get(name))
        for name in names
    ]  # fmt: skip
    yield from (one for one in found if one.moves)
    yield from (one for one in found if not one.moves)


def _most(seated: Seated, task: Task, step: Trial) -> int | None:
    if step == "fit insert":
        offer = task.shop.offers.get("fit insert")
        return offer.most_pm if offer else None
    moving = _as_step(step)
    return seated.most.get(moving) if moving else None


def _deed(step: Trial) -> Deed:
    return step


def _cannot(task: Task, place: int, step: Trial, depth_pm: int) -> Iterator[str]:
    """Say why shop or maker cannot do a step as it was asked."""
    shop = task.shop
    offer = shop.offered(task.places[place].kind).get(_deed(step))
    if shop.offers and offer is None:
        yield "it has no price" if _deed(step) in shop.offers else "the shop does not offer it"
    if step in WHOLE or not depth_pm:
        return
    most = _most(as_found(task, place), task, step)
    if most is not None and depth_pm > most:
        yield f"deeper than shop or maker allow at once, {_mm(most)}"
    elif offer is not None and step not in {"lap", "shim"} and depth_pm < offer.least_pm:
        yield f"less than the machine takes at once, {_mm(offer.least_pm)}"
    if 0 < depth_pm < (clean := clean_up_pm(task, place, step)):
        what = {"cut seat": "seat", "reface valve": "valve face", "skim": "head face"}[step]
        yield f"the {what} is clean only after {_mm(clean)}"
    if step == "shim" and offer is not None and depth_pm > 0:
        made = [one.thickness for one in stacks(shop)]
        if depth_pm not in made and (most is None or depth_pm <= most):
            near = sorted(sorted(made, key=lambda pm: abs(pm - depth_pm))[:2])
            yield "no stack of the shims in stock is that thick; near it: " + " and ".join(
                _mm(pm) if pm else "none" for pm in near)  # fmt: skip


def _then(after: Standing, step: Trial) -> Iterator[str]:
    """Say what has to follow a step."""
    if step == "replace guide":
        yield "the seat is cut or gets an insert: a new guide has an axis of its own"
        yield "the guide bore is measured before the seat is cut"
    if step == "replace valve":
        yield "seat and valve are lapped together, where the shop laps"
    if after.task.shop.offers and step == "fit insert":
        yield "the new insert is cut until the valve sits there"


def _unmeasured(after: Standing, moving: Step | None) -> Iterator[str]:
    if moving is not None:
        moved = after.seated.moved(moving)
        yield from (name for name in after.seated.unmeasured() if moved.get(name))


def _cents(task: Task, place: int, step: Trial, depth_pm: int) -> int | None:
    """Give what a step costs with its part, nothing of what it makes needful."""
    kind = task.places[place].kind
    offer = task.shop.offered(kind).get(_deed(step))
    if offer is None:
        return None
    part = FITS.get(step, "")
    cents = offer.cents + (task.shop.part(kind, part) if part else 0)
    if step == "shim":
        made = {one.thickness: one.cents for one in stacks(task.shop)}
        return cents + made[depth_pm] if depth_pm in made else None
    return cents


def _mm(pm: int) -> str:
    return f"{pm / _MM:.3f} mm"
