"""Everything that could be done at one place of the head, with the skims that it bears.

The fire face is the one thing that all valves share. Each way to put a place right (which valve,
which guide, seat cut or insert, ground face and tip, spring, shims) keeps every limit of the place
for skims between two depths, and these two come out in whole picometres. So the choice of depths
is settled here, exactly, and what is left to choose between are whole ways.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import product
from math import isqrt
from typing import TYPE_CHECKING

from gaugelink.planning.allowances import HEIGHTS, OF_VALVE, Seated, allowance, drop_ends
from gaugelink.planning.bounds import bind_bound, bounds, guard_pm, load_bounds
from gaugelink.planning.means import stacks
from gaugelink.planning.task import FITS, Range
from gaugelink.planning.way import FAR, NEW, Way

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from gaugelink.planning.allowances import Figure, Step
    from gaugelink.planning.bounds import Bound
    from gaugelink.planning.means import Stack
    from gaugelink.planning.task import Deed, Oversize, Span, Task


class Ways:
    """Finds the ways of the places of one head.

    Args:
        task: the head.
        skim: the range of skims that can come up, 0 included, picometres.
    """

    def __init__(self, task: Task, skim: tuple[bool, int, int]) -> None:
        self._task, self._shop = task, task.shop
        self._must, self._least, self._most = skim
        self._stacks = stacks(task.shop)

    def at(self, place: int, without: frozenset[str] = frozenset()) -> list[Way]:
        """List every way of a place that keeps its limits, those left out in `without`."""
        here = self._task.places[place]
        valves = [NEW] if "replace valve" in self._shop.offered(here.kind) else []
        for number, other in enumerate(self._task.places):
            own = number == place
            free = self._task.pairing and not other.married and not here.married
            if other.kind == here.kind and (own or free):
                valves.append(number)
        return [way for valve in valves for way in Fitting(self, place, valve, without).ways()]

    def bears(self, low: int, high: int) -> Span | None:
        """Cut a range of skims down to what can come up; None where nothing is left."""
        low, high = max(low, 0), min(high, max(self._most, 0))
        zero = low == 0 and not self._must
        some = self._least <= self._most and low <= high and high >= self._least
        return (low, high) if low <= high and (zero or some) else None


class Fitting:
    """One valve, used or new, at one place.

    Args:
        ways: of the head.
        place: number of the place.
        valve: number of the place whose used valve it is, or `NEW`.
        without: limits that are left out.
    """

    def __init__(self, ways: Ways, place: int, valve: int, without: frozenset[str]) -> None:
        self._ways, self._place, self._valve, self._without = ways, place, valve, without
        task = ways._task  # noqa: SLF001  the same room
        self._shop = task.shop
        self._here = task.places[place]
        self._offers = task.shop.offered(self._here.kind)
        self._used = None if valve == NEW else task.places[valve]
        self._rules = task.rules[self._here.kind]
        self._known: dict[tuple[bool, bool], tuple[Seated, dict[Figure, Span]]] = {}

    def _range(self, name: str) -> Range:
        found = self._rules.limits.get(name, Range())
        lower = None if f"{name} min" in self._without else found.lower
        upper = None if f"{name} max" in self._without else found.upper
        return Range(lower, upper)

    def _u(self, name: str) -> int:
        return self._rules.u_pm.get(name, 0)

    def _keeps(self, name: str, low: int | None, high: int | None) -> bool | None:
        """Tell whether a reading keeps its limit; None where it was not measured."""
        limit, guard = self._range(name), guard_pm(self._u(name))
        if limit == Range():
            return True
        if low is None or high is None:
            return None
        return (limit.lower is None or low - guard >= limit.lower) and (
            limit.upper is None or high + guard <= limit.upper
        )

    def ways(self) -> Iterator[Way]:
        """Give every way, guides first."""
        used, offers = self._used, self._offers
        if used is not None and used.scrap and "fit for use" not in self._without:
            return
        stem: Span | None = self._rules.new_stem
        unproved: list[str] = []
        if used is not None:
            stem = used.stem
            kept = self._keeps("stem diameter", *(stem or (None, None)))
            if kept is False:
                return
            unproved += ["stem diameter"] * (kept is None)
            unproved += used.open.get("valve", ())
        elif stem is None:
            return
        bore = self._here.bore
        kept = self._keeps("guide bore", *(bore or (None, None)))
        scrap = self._here.guide_scrap and "guide fit for use" not in self._without
        if kept is not False and not scrap:
            fits = self._fits(stem, bore, self._u("guide bore"))
            if fits is not False:
                parts = [] if fits is not None else [
                    name for name, there in (("stem diameter", stem), ("guide bore", bore))
                    if there is None]  # fmt: skip
                more = ["guide bore"] * (kept is None) + [*self._here.open.get("guide", ())]
                yield from self._seats(None, (), dict.fromkeys([*unproved, *more, *parts]))
        new = self._rules.new_bore
        if "replace guide" in offers and new is not None:
            fits = self._fits(stem, new, 0)
            if fits is not False:
                missing = [] if fits is not None else ["stem diameter"]
                yield from self._seats(None, ("replace guide",),
                                       dict.fromkeys([*unproved, *missing]))  # fmt: skip
        if "ream guide" in offers and used is None:
            for size in self._shop.oversizes:
                # The bore to come is known; that it cleans up is what the wide end says.
                cleans = bore is None or bore[1] <= size.bore[0]
                if size.kind == self._here.kind and cleans and self._fits(size.stem, size.bore, 0):
                    missing = ["guide bore"] if bore is None else []
                    yield from self._seats(size, ("ream guide",), dict.fromkeys(missing))

    def _fits(self, stem: Span | None, bore: Span | None, u_bore: int) -> bool | None:
        limit = self._range("guide clearance")
        if stem is None or bore is None:
            return True if limit == Range() else None
        u_stem = self._u("stem diameter") if self._used is not None else 0
        square = u_stem**2 + u_bore**2
        guard = guard_pm(isqrt(square - 1) + 1 if square else 0)
        # Where the book prints no least clearance too, a stem has to go into its guide.
        return bore[0] - stem[1] - guard >= (limit.lower or 0) and (
            limit.upper is None or bore[1] - stem[0] + guard <= limit.upper
        )

    def _seats(
        self, size: Oversize | None, guide: tuple[Deed, ...], unproved: Iterable[str]
    ) -> Iterator[Way]:
        offers, here, used = self._offers, self._here, self._used
        sound = self._keeps("seat runout", *[here.readings.get("seat runout")] * 2)
        seats: list[tuple[tuple[Deed, ...], Span]] = []
        # A new guide has a new axis: the old seat is not square to it.
        scrap = here.seat_scrap and "seat fit for use" not in self._without
        if sound is not False and not guide and not scrap:
            seats.append(((), (0, 0)))
        if (cut := offers.get("cut seat")) is not None:
            seats.append((("cut seat",), (max(cut.least_pm, here.seat_least_pm), cut.most_pm)))
        if (insert := offers.get("fit insert")) is not None:
            seats.append((("fit insert",), (-insert.most_pm, -insert.least_pm)))
        faces: list[tuple[tuple[Deed, ...], Span]] = []
        true = True
        if used is not None:
            kept = self._keeps("valve face runout", *[used.readings.get("valve face runout")] * 2)
            true = kept is not None
            if kept is not False:
                faces.append(((), (0, 0)))
            if (grind := offers.get("reface valve")) is not None:
                span = (max(grind.least_pm, used.face_least_pm), grind.most_pm)
                faces.append((("reface valve",), span))
        else:
            faces.append(((), (0, 0)))
        tips: list[tuple[tuple[Deed, ...], Span]] = [((), (0, 0))]
        if (grind := offers.get("grind tip")) is not None:
            tips.append((("grind tip",), (grind.least_pm, grind.most_pm)))
        for seat, face, tip, spring in product(seats, faces, tips, self.springs()):
            missing = dict.fromkeys(unproved)
            if sound is None and not seat[0]:
                missing["seat runout"] = None
            if not true and not face[0]:
                missing["valve face runout"] = None
            deeds = (*guide, *self._valve_deed(), *face[0], *tip[0], *seat[0])
            yield from self._heights(size, deeds, seat[1], face[1], tip[1], spring, missing)

    def _valve_deed(self) -> tuple[Deed, ...]:
        if self._valve == NEW:
            return ("replace valve",)
        return ("move valve",) if self._valve != self._place else ()

    def springs(
        self, *, new: bool = False
    ) -> list[tuple[bool, tuple[Bound, ...], tuple[str, ...]]]:
        """List the old spring, where it is good, and a new one; with what each wants of height.

        Args:
            new: list a new one even where the shop offers none.
        """
        rules, here = self._rules, self._here
        lowest, highest = (
            None if f"spring load {end}" in self._without else value
            for end, value in zip(("min", "max"), rules.load, strict=True)
        )
        limited = rules.spring is not None and (lowest is not None or highest is not None)
        u_pm = self._u("installed spring height")
        found: list[tuple[bool, tuple[Bound, ...], tuple[str, ...]]] = []
        free = here.readings.get("spring free length")
        kept = self._keeps("spring free length", free, free)
        if here.spring_scrap and "spring fit for use" not in self._without:
            kept = False
        missing: tuple[str, ...] = ("spring free length",) if kept is None else ()
        missing += here.open.get("spring", ())
        lost = Fraction(0)
        if limited and rules.spring is not None:
            if here.spring_load_n is None or rules.tested_at_pm is None:
                missing = (*missing, "spring load")
            else:
                lost = rules.spring.load(Fraction(rules.tested_at_pm, 10**9)) - here.spring_load_n

        def held(lost: Fraction, u_n: Fraction) -> tuple[Bound, ...]:
            if not limited or rules.spring is None:
                return ()
            return load_bounds(rules.spring, lowest, highest, lost_n=lost, u_n=u_n, u_pm=u_pm)

        if kept is not False:
            open_ = "spring load" in missing
            found.append((False, () if open_ else held(lost, rules.u_load_n or Fraction(0)),
                          missing))  # fmt: skip
        if new or "replace spring" in self._offers:
            found.append((True, held(Fraction(0), Fraction(0)), ()))
        return found

    def held(self, spring: tuple[Bound, ...]) -> tuple[Bound, ...]:
        """Give all bounds of this valve at this place."""
        found = list(spring)
        names: tuple[Figure, ...] = (*HEIGHTS, *OF_VALVE, "seat width")
        for name in names:
            limit = self._range(name)
            u_pm = self._u_tip() if name == "tip height" else self._u(name)
            found += bounds(name, name, limit.lower, limit.upper, u_pm)
        rules = self._rules
        if rules.lift_pm is not None and rules.solid_pm is not None and (
            rules.bind_least_pm is not None and "coil-bind margin min" not in self._without
        ):  # fmt: skip
            found.append(bind_bound(rules.lift_pm, rules.solid_pm, rules.bind_least_pm,
                                    self._u("installed spring height")))  # fmt: skip
        return tuple(found)

    @property
    def sunk(self) -> int:
        """How much deeper this valve sits than the one that was measured here."""
        return (self._used.drop_pm if self._used else 0) - self._here.drop_pm

    @property
    def _longer(self) -> int | None:
        """How much longer this valve is than the one measured here; None where nobody knows."""
        if self._used is None or self._used is self._here:
            return None
        own, other = (one.readings.get("valve length") for one in (self._here, self._used))
        return None if own is None or other is None else other - own

    def _u_tip(self) -> int:
        """Give the uncertainty of the tip's height: of one reading, or of that and two lengths."""
        u_pm = self._u("tip height")
        if self._longer is None:
            return u_pm
        square = u_pm**2 + 2 * self._u("valve length") ** 2
        return isqrt(square - 1) + 1 if square else 0

    def seated(self, spring: tuple[Bound, ...], *, deeds: Sequence[Deed] = ()) -> Seated:
        """Give the place with this valve in it before any work.

        Its tip stands higher by what it sinks and by what it is longer than the valve that was
        measured here: refacing sinks a valve without making it shorter.
        Where the deeds bring the seat to its width (an insert does, and a cut unless the book says
        how much wider it makes a seat), what the width was holds nothing any longer.
        """
        now, used, per_cut = self._here.readings, self._used, self._rules.width_per_cut
        figures: dict[Figure, int] = {name: now[name] + self.sunk for name in HEIGHTS
                                      if name in now}  # fmt: skip
        if "tip height" in figures:
            figures["tip height"] += self._longer or 0
        if "seat width" in now:
            figures["seat width"] = now["seat width"]
        rates: dict[Step, dict[Figure, Fraction]] = {}
        if per_cut is not None:
            rates["cut seat"] = {"seat width": per_cut}
        if used is not None:
            figures |= {name: used.readings[name] for name in OF_VALVE if name in used.readings}
        found = Seated(figures, self.held(spring), rates=rates)
        if used is None:  # the maker's part: its margin and length are the maker's matter
            found = found.without(*OF_VALVE)
        if self._freed(deeds):
            found = found.without("seat width")
        return found

    def _heights(
        self, size: Oversize | None, deeds: tuple[Deed, ...], seat: Span, face: Span, tip: Span,
        spring: tuple[bool, tuple[Bound, ...], tuple[str, ...]], missing: dict[str, None],
    ) -> Iterator[Way]:  # fmt: skip
        """Reckon the depths that keep the heights, for every stack of shims."""
        new_spring, load, untested = spring
        seated, room = self._room(new_spring, load, deeds)
        # What comes off face, tip and seat, by margin, length and width.
        face = _by_itself(seated, face, "margin", "reface valve", deeds)
        tip = _by_itself(seated, tip, "valve length", "grind tip", deeds)
        seat = _by_itself(seated, seat, "seat width", "cut seat", deeds)
        if seat[0] > seat[1] or face[0] > face[1] or tip[0] > tip[1]:
            return
        offers = self._offers
        seat_work = {"cut seat", "fit insert", "reface valve", "replace valve", "move valve"}
        lap = offers.get("lap") if seat_work & set(deeds) else None
        lap_pm = lap.least_pm if lap else 0
        tip_low, tip_high = room["tip height"]
        up, down = room["stand-down"]
        if up > down or tip_low > tip_high:  # a range that its guard bands close: nothing keeps it
            return
        lowest = max(seat[0] + face[0] + lap_pm, tip_low + tip[0], room["retainer-to-seal"][0])
        highest = min(seat[1] + face[1] + lap_pm, tip_high + tip[1], room["retainer-to-seal"][1])
        more: tuple[Deed, ...] = (*(("lap",) if lap else ()),
                                  *(("replace spring",) if new_spring else ()))  # fmt: skip
        unproved = tuple(dict.fromkeys([*missing, *untested, *seated.unmeasured()]))
        for stack in self._ways._stacks:  # noqa: SLF001  the same room
            low = max(lowest, room["installed spring height"][0] + stack.thickness)
            high = min(highest, room["installed spring height"][1] + stack.thickness)
            if low > high:
                continue
            skim = self._ways.bears(low - down, high - up)
            if skim is None:
                continue
            done: tuple[Deed, ...] = (*deeds, *more, *(("shim",) if stack.pieces else ()))
            yield Way(self._place, self._valve, done, size, stack, self._cents(done, size, stack),
                      skim, seat, face, tip, lap_pm, (low, high), (up, down), self.sunk,
                      unproved)  # fmt: skip

    def _room(
        self, new_spring: bool, load: tuple[Bound, ...], deeds: Sequence[Deed]
    ) -> tuple[Seated, dict[Figure, Span]]:
        """Give the place before any work, and how far each height lets the valve drop."""
        # The same for most of the ways, so it is reckoned once.
        key = new_spring, self._freed(deeds)
        if key not in self._known:
            seated = self.seated(load, deeds=deeds)
            room = {name: _ends(drop_ends(seated, [name])) for name in HEIGHTS}
            self._known[key] = seated, room
        return self._known[key]

    def _freed(self, deeds: Sequence[Deed]) -> bool:
        """Tell whether the deeds bring the seat to its width, whatever that was."""
        cut = "cut seat" in deeds and self._rules.width_per_cut is None
        return cut or "fit insert" in deeds

    def _cents(self, deeds: Sequence[Deed], size: Oversize | None, stack: Stack) -> int:
        kind, shop = self._here.kind, self._shop
        total = sum(shop.offers[deed].cents for deed in deeds if deed in shop.offers) + stack.cents
        for deed, part in FITS.items():
            if deed in deeds:
                total += size.valve_cents if size and part == "valve" else shop.part(kind, part)
        return total


def _ends(found: tuple[int | None, int | None]) -> Span:
    low, high = found
    return (-FAR if low is None else low, FAR if high is None else high)


def _by_itself(seated: Seated, span: Span, name: Figure, step: Step, deeds: Sequence[Deed]) -> Span:
    """Cut the depths of a step down to what one figure bears; none where it asks for the step."""
    held = [one for one in seated.held if one.figure == name]
    if not held:
        return span
    alone = replace(seated, held=held)
    if step not in deeds:  # an insert brings a width of its own, and its depths stay
        return span if not alone.beyond() else (1, 0)
    found = allowance(alone, step)
    most = span[1] if found.most_pm is None else min(span[1], found.most_pm)
    return max(span[0], found.least_pm), most
