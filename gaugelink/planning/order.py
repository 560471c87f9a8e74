"""The work order of a plan: what to do in the order of the trade, what to order, what to measure.

Guides come first, because seats are cut on their axis; then valves, seats, the face, lapping, and
springs with their shims last, whose heights follow everything before. A line says what the head
should measure once it is done, the steps before it done as set: a forecast, never a reading.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from itertools import groupby
from typing import TYPE_CHECKING, Final

from gaugelink.head import CHARACTERISTICS
from gaugelink.planning.barred import barred, face_caution
from gaugelink.planning.held import fitted
from gaugelink.planning.order_shape import (
    FACE,
    NO_LIMIT,
    Again,
    Expected,
    PartLine,
    Section,
    ShimLine,
    WorkLine,
    WorkOrder,
    limit_words,
    sections,
    told,
)
from gaugelink.planning.order_words import CAUTIONS, MAKER, PART_OF, TO_DO
from gaugelink.planning.reasons import Reasons
from gaugelink.planning.setting import Setting, settings
from gaugelink.planning.task import DEEDS, DONE, SPRING_LOAD
from gaugelink.planning.walk import in_series
from gaugelink.quantity import exact_text
from gaugelink.work import WORK

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gaugelink.planning.allowances import Seated, Step
    from gaugelink.planning.plan import Plan, Put
    from gaugelink.planning.setting import Settings
    from gaugelink.planning.task import Deed, Rules, Span, Task

__all__ = [
    "FACE",
    "SECTION_OF",
    "Again",
    "Expected",
    "PartLine",
    "Section",
    "ShimLine",
    "WorkLine",
    "WorkOrder",
    "limit_words",
    "sections",
    "told",
    "work_order",
]

SECTION_OF: Final[dict[Deed, Section]] = {
    "replace guide": "guides",
    "ream guide": "guides",
    "replace valve": "valves",
    "move valve": "valves",
    "reface valve": "valves",
    "grind tip": "valves",
    "fit insert": "seats",
    "cut seat": "seats",
    "skim": "face",
    "lap": "lapping",
    "replace spring": "springs",
    "shim": "springs",
}
"""Where a step belongs."""

_STEP_OF: Final[dict[Deed, Step]] = {
    "reface valve": "reface valve",
    "grind tip": "grind tip",
    "fit insert": "cut seat",
    "cut seat": "cut seat",
    "lap": "lap",
    "shim": "shim",
}
_NUMBER: Final = re.compile("[0-9]+")
_SHOWN: Final = ("stand-down", "tip height", "installed spring height", "retainer-to-seal",
                 "margin", "valve length", "seat width")  # fmt: skip
_SIZES: Final = ("guide bore", "stem diameter")
_BEFORE_SEATS: Final = "guide bore"
"""A bore closes as its guide is pressed in, and the seat is cut on its axis (common practice, no
source): it is measured before any seat work."""
_SELDOM: Final = ("valve face runout", "retainer-to-seal")
"""Asked for again only where the job measures them."""


def work_order(task: Task, plan: Plan) -> WorkOrder:
    """Make the work order of a plan.

    Args:
        task: the head.
        plan: its plan, the cheapest or another.

    Returns:
        The order. Depths are rounded to what a dial shows where the limits bear it
        (`gaugelink.planning.setting`), so that they may differ from the plan's by that much.
    """
    writer = _Writer(task, plan, settings(task, plan))
    lines = writer.lines()
    again = [one for one in writer.again(lines)
             if task.measured is None or one.characteristic in task.measured]  # fmt: skip
    used = list(dict.fromkeys(line.deed for line in lines))
    return WorkOrder(
        task.name, task.shop.currency, plan.cents, plan.optimal, plan.gap, lines,
        tuple(_parts(task, plan)), tuple(writer.shims()), tuple(_walked(task, again)),
        plan.unproved,
        tuple(task.places[put.way.place].name for put in plan.puts
              if not put.way.deeds and not put.way.unproved),
        (MAKER, *face_caution(task),
         *dict.fromkeys(CAUTIONS[deed] for deed in used if deed in CAUTIONS)),
        barred(task), task.shop.unpriced,
        bool(plan.unproved) or any(
            (place.kind, "seal") in task.shop.no_price for place in task.places),
    )  # fmt: skip


class _Writer:
    """Walks a plan in the order of the trade, and keeps where every valve then stands."""

    def __init__(self, task: Task, plan: Plan, chosen: Settings) -> None:
        self._task, self._plan, self._chosen = task, plan, chosen
        self._why = Reasons(task, plan, chosen)
        self.now: list[Seated] = [fitted(task, put.way) for put in plan.puts]

    def lines(self) -> tuple[WorkLine, ...]:
        found: list[WorkLine] = []
        for deed in DEEDS:
            if deed == "skim":
                found += self._skim(len(found) + 1)
                continue
            for at, put in enumerate(self._plan.puts):
                if deed in put.way.deeds:
                    found.append(self._line(len(found) + 1, deed, at, put))
        return tuple(_settled(found))

    def _line(self, number: int, deed: Deed, at: int, put: Put) -> WorkLine:
        way, place = put.way, self._task.places[put.way.place]
        section, operation = SECTION_OF[deed], DONE[deed]
        step = _STEP_OF.get(deed)
        setting = self._chosen.places[at].get(step) if step else None
        depth = setting.pm if setting else way.lap_pm if deed == "lap" else (
            way.stack.thickness if deed == "shim" else 0)  # fmt: skip
        expected = list(self._fits(deed, put))
        if step:
            before = self.now[at].figures
            self.now[at] = self.now[at].after(step, depth)
            expected += [self._expect(put, name, pm) for name, pm in self.now[at].figures.items()
                         if name in _SHOWN and pm != before[name]]  # fmt: skip
        width = self._rules(put).limits.get("seat width", NO_LIMIT)
        if section == "seats" and width != NO_LIMIT and "seat width" not in self.now[at].figures:
            expected.append(Expected("seat width", None, None, width))
        words = TO_DO[deed]
        if deed == "move valve":
            words += f" of {self._task.places[way.valve].name}"
        elif way.oversize and deed in ("ream guide", "replace valve"):
            words += f", size {way.oversize.name}"
        elif deed == "shim":
            words += f" {' + '.join(exact_text(pm, 'mm') for pm in way.stack.pieces)} mm"
        if deed == "fit insert" and setting:
            setting = Setting(-setting.pm, -setting.most_pm, -setting.least_pm)
        part = PART_OF.get(deed, "")
        if part == "valve" and way.oversize:
            part = f"valve {way.oversize.name}"
        return WorkLine(
            number, section, deed, operation, place.name, words, setting,
            depth if deed in ("lap", "shim") and depth else None, tuple(expected), part,
            len(way.stack.pieces) if deed == "shim" else int(bool(part)), CAUTIONS.get(deed, ""),
            self._why.of(at, deed),
        )  # fmt: skip

    def _skim(self, number: int) -> Iterator[WorkLine]:
        skim = self._chosen.skim
        if skim is None:
            return
        task = self._task
        self.now = [seated.after("skim", skim.pm) for seated in self.now]
        expected = tuple(
            replace(one, figure=f"{where} {one.figure}") if where != FACE else one
            for where, one in _of_head(task, skim.pm)
        )
        yield WorkLine(number, SECTION_OF["skim"], "skim", DONE["skim"], FACE, TO_DO["skim"], skim,
                       expected=expected, caution=CAUTIONS["skim"],
                       why=self._why.of_skim())  # fmt: skip

    def _fits(self, deed: Deed, put: Put) -> Iterator[Expected]:
        """Foretell sizes of new and other parts, and the clearance once the pair is together."""
        rules, way = self._rules(put), put.way
        if SECTION_OF[deed] == "guides":
            yield self._sized("guide bore", put)
        if deed in ("replace valve", "move valve"):
            yield self._sized("stem diameter", put)
        pairing = [one for one in way.deeds if one in ("replace guide", "ream guide",
                                                       "replace valve", "move valve")]  # fmt: skip
        if pairing and deed == max(pairing, key=DEEDS.index):
            yield _between("guide clearance", self._clearance(put), rules)

    def _rules(self, put: Put) -> Rules:
        return self._task.rules[self._task.places[put.way.place].kind]

    def _bore(self, put: Put) -> Span | None:
        if put.way.oversize:
            return put.way.oversize.bore
        if "replace guide" in put.way.deeds:
            return self._rules(put).new_bore
        return self._task.places[put.way.place].bore

    def _stem(self, put: Put) -> Span | None:
        if put.way.valve >= 0:
            return self._task.places[put.way.valve].stem
        return put.way.oversize.stem if put.way.oversize else self._rules(put).new_stem

    def _sized(self, name: str, put: Put) -> Expected:
        """Foretell a size; the book's limits are those of the standard size, of no other."""
        span = self._bore(put) if name == "guide bore" else self._stem(put)
        found = _between(name, span, self._rules(put))
        return replace(found, limit=NO_LIMIT) if put.way.oversize else found

    def _clearance(self, put: Put) -> Span | None:
        bore, stem = self._bore(put), self._stem(put)
        return (bore[0] - stem[1], bore[1] - stem[0]) if bore and stem else None

    def _expect(self, put: Put, name: str, pm: int) -> Expected:
        return Expected(name, pm, pm, self._rules(put).limits.get(name, NO_LIMIT))

    def shims(self) -> Iterator[ShimLine]:
        """List the shims, once all lines are walked."""
        for put, seated in zip(self._plan.puts, self.now, strict=True):
            high = seated.figures.get("installed spring height")
            if put.way.stack.pieces:
                yield ShimLine(
                    self._task.places[put.way.place].name, put.way.stack.pieces,
                    None if high is None else self._expect(put, "installed spring height", high),
                )  # fmt: skip

    def again(self, lines: Sequence[WorkLine]) -> Iterator[Again]:
        """List what the work makes stale, once all lines are walked; the first of it is named."""
        skimmed = DONE["skim"]
        head = WORK[skimmed].stale if self._chosen.skim else ()
        for put, seated in zip(self._plan.puts, self.now, strict=True):
            place = self._task.places[put.way.place]
            own = [line for line in lines if not line.place or line.place == place.name]
            done = {line.operation: line.deed for line in own}
            because = {name: line.operation for line in reversed(own)
                       for name in WORK[line.operation].stale}  # fmt: skip
            known: dict[str, Span | None] = {
                name: (pm, pm) for name, pm in seated.figures.items()}  # fmt: skip
            known["guide clearance"] = self._clearance(put)
            wanted = [name for name, one in CHARACTERISTICS.items() if one.of == "valve"
                      and (name not in _SELDOM or name in place.readings
                           or name in (self._task.measured or ()))]  # fmt: skip
            if "replace spring" in put.way.deeds and self._rules(put).load != (None, None):
                because[SPRING_LOAD] = DONE["replace spring"]
                wanted.append(SPRING_LOAD)
            yield from (
                Again(
                    place.name,
                    self._sized(name, put) if name in _SIZES
                    else _between(name, known.get(name), self._rules(put)),
                    because[name],
                    name == _BEFORE_SEATS and SECTION_OF[done[because[name]]] == "guides",
                )
                for name in wanted if name in because
            )  # fmt: skip
        if self._chosen.skim:
            told = {one.figure: one for where, one in _of_head(self._task, self._chosen.skim.pm)
                    if where == FACE}  # fmt: skip
            yield from (
                Again(where, one, skimmed)
                for where, one in _of_head(self._task, self._chosen.skim.pm) if where != FACE
            )  # fmt: skip
            yield from (
                Again(FACE, told.get(name, Expected(name, None, None)), skimmed)
                for name in head if CHARACTERISTICS[name].of == "head"
            )  # fmt: skip


def _walked(task: Task, again: Sequence[Again]) -> Iterator[Again]:
    """Go from gauge to gauge, and along the head as far as need be; guides come before seats."""
    order = {name: number for number, name in enumerate(CHARACTERISTICS)}
    places = {place.name: number for number, place in enumerate(task.places, start=1)}

    def cylinder(one: Again) -> int | None:
        number = _NUMBER.search(one.place)
        return int(number[0]) if number else places.get(one.place)

    def series(one: Again) -> tuple[bool, bool, int]:
        at = order.get(one.characteristic, len(order))
        return not one.before_seats, one.place not in places, at

    blocks = groupby(sorted(again, key=series), key=series)
    yield from in_series([[(one, cylinder(one)) for one in block] for _, block in blocks])


def _between(name: str, span: Span | None, rules: Rules) -> Expected:
    low, high = span or (None, None)
    return Expected(name, low, high, rules.limits.get(name, NO_LIMIT))


def _of_head(task: Task, skim: int) -> Iterator[tuple[str, Expected]]:
    """Foretell what a skim changes beside the valves, with the cylinder or `FACE`."""
    thick = task.thickness_pm - skim if task.thickness_pm is not None else None
    for name, pm in (("head thickness", thick), ("head-face flatness", None)):
        limit = task.head.get(name, NO_LIMIT)
        if pm is not None or limit != NO_LIMIT:
            yield FACE, Expected(name, pm, pm, limit)
    for cylinder in task.cylinders:
        for name, pm in cylinder.readings.items():
            yield cylinder.name, Expected(name, pm + skim, pm + skim,
                                          task.head.get(name, NO_LIMIT))  # fmt: skip


def _settled(lines: Sequence[WorkLine]) -> Iterator[WorkLine]:
    """Mark what a later line changes; its limit holds only after that."""
    for at, line in enumerate(lines):
        later = {one.figure for other in lines[at + 1 :] if other.place == line.place
                 for one in other.expected}  # fmt: skip
        if any(other.place == FACE for other in lines[at + 1 :]):
            later.add("stand-down")
        yield replace(line, expected=tuple(
            replace(one, settled=one.figure not in later) for one in line.expected))  # fmt: skip


def _parts(task: Task, plan: Plan) -> Iterator[PartLine]:
    """Count the parts; seals are new after every dismantling, springs may go as a set."""
    shop = task.shop
    where: dict[tuple[str, str, int], list[str]] = {}
    shims: Counter[int] = Counter()
    under: dict[int, list[str]] = {}
    for put in plan.puts:
        way, place = put.way, task.places[put.way.place]
        for deed, part in PART_OF.items():
            if deed not in way.deeds or deed == "shim":
                continue
            over = way.oversize if part == "valve" else None
            named, cents = (f"{part} {over.name}", over.valve_cents) if over else (
                part, shop.part(place.kind, part))  # fmt: skip
            where.setdefault((named, place.kind, cents), []).append(place.name)
        for pm in way.stack.pieces:
            shims[pm] += 1
            if place.name not in under.setdefault(pm, []):
                under[pm].append(place.name)
        cents = shop.part(place.kind, "seal")
        where.setdefault(("stem seal", place.kind, cents), []).append(place.name)
    for (part, kind, cents), places in sorted(where.items()):
        note = "always new" if part == "stem seal" else (
            "as a set" if part == "spring" and task.springs_as_set else "")  # fmt: skip
        yield PartLine(part, kind, len(places), tuple(places), cents, note)
    prices = {one.thickness_pm: one.cents for one in shop.shims}
    for pm in sorted(shims):
        yield PartLine(f"shim {exact_text(pm, 'mm')} mm", "", shims[pm], tuple(under[pm]),
                       prices.get(pm, 0))  # fmt: skip
