"""What a measured head gives a plan to work with.

The sheet says what is allowed and what new parts measure, the readings say how the head is, and
verdicts say which valve, guide or spring cannot stay as it is. A plan takes a limit as kept only
where the verdict is *within*: an undecided reading is mended, or measured better.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import ceil
from typing import TYPE_CHECKING, Final

from gaugelink.head import CHARACTERISTICS, cylinder_at
from gaugelink.metrology.springs import from_table
from gaugelink.planning.chamber import round_area
from gaugelink.planning.means import PROTRUSIONS
from gaugelink.planning.reckoned import chamber_of, cylinders_of
from gaugelink.planning.task import SPRING_LOAD, Cylinder, Place, Range, Rules, Task
from gaugelink.planning.tired import at_test_height
from gaugelink.quantity import PM_PER_MM

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from gaugelink.head import Valve, ValveKind
    from gaugelink.inspection import Check
    from gaugelink.judging import Judged, Judgement, Measured
    from gaugelink.limits import Limit, Sheet, Spring
    from gaugelink.metrology.springs import Loads
    from gaugelink.planning.allowances import Figure
    from gaugelink.planning.task import Shop, Span

REMOVABLE: Final = (
    *("stand-down", "tip height", "installed spring height", "margin", "valve length"),
    *("seat runout", "seat width", "valve face runout", "retainer-to-seal"),
)
"""Characteristics that work on seat, valve face, tip, fire face and shims changes: figures."""

PART_OF: Final = {
    "stem diameter": "valve",
    "stem runout": "valve",
    "guide bore": "guide",
    "guide clearance": "guide",
    "guide projection": "guide",
    "spring free length": "spring",
    "spring squareness": "spring",
}
"""Whose matter a limit is that only another part can mend. Clearance stands here by rock only."""

_NO_LOWER: Final = frozenset({"seat runout", "valve face runout"})
_NO_UPPER: Final = frozenset({"margin", "valve length"})

HEAD: Final = ("head thickness", "head-face flatness")


@dataclass(frozen=True, slots=True)
class Survey:
    """A head ready to be planned.

    Attributes:
        task: the head.
        left_out: limits of the sheet that no plan can reckon with, as words.
    """

    task: Task
    left_out: tuple[str, ...] = ()


@dataclass(slots=True)
class Findings:
    """What people have said of the head beside its readings.

    Attributes:
        condemned: why a part cannot stay as it is, by valve and part (``valve``, ``guide``,
            ``seat``, ``spring``); of the head as a whole, valve "", by check.
        married: valves that were lapped into their seats.
        loads: what springs showed on a spring tester, with its standard uncertainty or 0, newtons,
            by valve.
        volumes: of chambers that were filled, with its standard uncertainty or 0, cubic
            micrometres, by cylinder.
    """

    condemned: Mapping[tuple[str, str], str] = field(default_factory=dict)
    married: Collection[str] = ()
    loads: Mapping[str, tuple[Fraction, Fraction]] = field(default_factory=dict)
    volumes: Mapping[int, tuple[int, int]] = field(default_factory=dict)


def survey(
    sheet: Sheet,
    measured: Sequence[Measured],
    judgement: Judgement,
    shop: Shop,
    findings: Findings | None = None,
    name: str = "",
    sizes: Mapping[tuple[str, str], str] | None = None,
) -> Survey:
    """Make the task of a head from what was measured on it.

    Args:
        sheet: the limits, with what the book says of work.
        measured: every reading that counts.
        judgement: the readings held against the sheet.
        shop: what is offered, and its prices.
        findings: what people have said of it.
        name: of the job.
        sizes: where guides or valves are of another size (`gaugelink.limits.Sheet.sized`).

    Returns:
        The task, and the limits that no plan can reckon with. What was not measured is left open,
        and the plan asks for it where it matters.
    """
    surveyor = _Surveyor(sheet, measured, judgement, findings or Findings(), sizes or {})
    rebuild = sheet.rebuild
    thickness, flatness = surveyor.head()
    places = tuple(surveyor.place(valve) for valve in sheet.head.valves())
    rules: dict[str, Rules] = {
        kind: surveyor.rules(kind) for kind in dict.fromkeys(sheet.head.kinds)
    }
    protrusions = tuple(name for name in PROTRUSIONS if any(sheet.of(name, "")))
    u_pm = {name: surveyor.u("", name) for name in (*HEAD, *protrusions)}
    return Survey(
        Task(
            name,
            places,
            rules,
            shop,
            rebuild.pairing,
            rebuild.springs_as_set,
            thickness,
            flatness,
            rebuild.clean_up_pm,
            {name: surveyor.range("", name) for name in (*HEAD, *protrusions)},
            u_pm,
            surveyor.cylinders(
                cylinders_of(sheet, places, thickness, findings.volumes if findings else None),
                protrusions,
            ),
            chamber=chamber_of(sheet, rules, u_pm["head thickness"]),
            measured=_measured(sheet),
            face_scrap=surveyor.looked("head face"),
            cracked=surveyor.looked("crack test"),
        ),
        tuple(surveyor.left_out()),
    )


def _measured(sheet: Sheet) -> frozenset[str]:
    """Name what a job with this sheet measures."""
    names = {name for limit in sheet.limits for name in (
        limit.characteristic, *CHARACTERISTICS[limit.characteristic].reckoned_from)}  # fmt: skip
    if sheet.springs:
        names.add("installed spring height")
    if any(spring.load_limited for spring in sheet.springs):
        names.add(SPRING_LOAD)
    return frozenset(names)


class _Surveyor:
    def __init__(
        self,
        sheet: Sheet,
        measured: Sequence[Measured],
        judgement: Judgement,
        findings: Findings,
        sizes: Mapping[tuple[str, str], str],
    ) -> None:
        self._sized = sheet.sized(sizes)
        self._sheet, self._judgement, self._findings = sheet, judgement, findings
        self._by: dict[tuple[str, str], list[Measured]] = {}
        for item in measured:
            self._by.setdefault((item.valve, item.characteristic), []).append(item)

    # ---- one place ------------------------------------------------------------------------------

    def place(self, valve: Valve) -> Place:
        """Give a valve's place with everything that is known of it."""
        name, condemned = valve.name, self._findings.condemned
        scrap, still_open = self._verdicts(name)
        return Place(
            name,
            valve.kind,
            self._span(name, "stem diameter"),
            self._span(name, "guide bore"),
            {
                what: ceil(value)
                for what in REMOVABLE
                if (value := self._reading(name, what)) is not None
            },
            scrap=condemned.get((name, "valve"), scrap.get("valve", "")),
            guide_scrap=condemned.get((name, "guide"), scrap.get("guide", "")),
            spring_scrap=condemned.get((name, "spring"), scrap.get("spring") or self._tired(valve)),
            seat_scrap=condemned.get((name, "seat"), ""),
            spring_load_n=self._findings.loads.get(name, (None,))[0],
            married=name in self._findings.married,
            open={part: tuple(dict.fromkeys(what)) for part, what in still_open.items()},
        )

    def _tired(self, valve: Valve) -> str:
        """Say why a spring's load on the tester condemns it; empty where it does not."""
        spring, told = self._sheet.spring_of(valve.kind), self._findings.loads.get(valve.name)
        if spring is None or told is None or spring.tested_at_pm is None:
            return ""
        word = at_test_height(_new(spring), Fraction(spring.tested_at_pm, PM_PER_MM), *told,
                              spring.load[0])  # fmt: skip
        return {"within": "", "outside": SPRING_LOAD}.get(word, f"{SPRING_LOAD} {word}")

    def _verdicts(self, valve: str) -> tuple[dict[str, str], dict[str, list[str]]]:
        """Say of each part why it cannot stay, and which of its limits nobody can tell yet."""
        scrap: dict[str, str] = {}
        still_open: dict[str, list[str]] = {}
        for limit in self._part_limits(valve):
            part, words = PART_OF[limit.characteristic], _named(limit)
            found = self._judged(valve, limit)
            told = {item.verdict for item in found}
            if "outside" in told:
                scrap.setdefault(part, words)
            elif not found or any(item.missing for item in found):
                still_open.setdefault(part, []).append(words)
            elif "undecided" in told:
                scrap.setdefault(part, f"{words} undecided")
        for limit in self._sheet.of("guide clearance", valve):
            if limit.method != "direct":
                continue
            # Its sizes are those of stem and bore: a place that is missing may be the worst.
            missing = [place for item in self._judged(valve, limit) for place in item.missing]
            for part, first, words in (
                ("valve", "stem ", "stem diameter"),
                ("guide", "bore ", "guide bore"),
            ):
                if any(place.startswith(first) for place in missing):
                    still_open.setdefault(part, []).append(words)
        return scrap, still_open

    def _judged(self, valve: str, limit: Limit) -> list[Judged]:
        asked = (valve, limit.characteristic, limit.method, limit.words)
        return [
            item
            for item in self._judgement.verdicts
            if (item.valve, item.characteristic, item.method, item.limit) == asked
        ]

    def _part_limits(self, valve: str) -> Iterable[Limit]:
        both = all(self._span(valve, name) for name in ("stem diameter", "guide bore"))
        for limit in self._sized.limits:
            if valve not in limit.valves or limit.characteristic not in PART_OF:
                continue
            if limit.characteristic == "guide clearance":
                # With the valve's own stem, rock says the same as the sizes, and not whose fault.
                explained = limit.valve_used != "new" and both
                if limit.method != "rock" or explained:
                    continue
            yield limit

    def _span(self, valve: str, name: str) -> Span | None:
        values = [ceil(item.value_pm) for item in self._by.get((valve, name), [])]
        return (min(values), max(values)) if values else None

    def _reading(self, valve: str, name: str, cylinder: int | None = None) -> int | Fraction | None:
        """Pick the one value that says most about its limits; the only one, as a rule."""
        values = [item.value_pm for item in self._by.get((valve, name), [])
                  if cylinder_at(name, item.station) == cylinder]  # fmt: skip
        if not values:
            return None
        limit = self.range(valve, name)

        def room(value: int | Fraction) -> int | Fraction:
            rooms = [value - limit.lower] if limit.lower is not None else []
            rooms += [limit.upper - value] if limit.upper is not None else []
            return min(rooms, default=0)

        return min(values, key=room)

    # ---- what holds -----------------------------------------------------------------------------

    def rules(self, kind: ValveKind) -> Rules:
        """Give what holds for a kind of valve."""
        names = [valve.name for valve in self._sheet.head.valves() if valve.kind == kind]
        limits = {name: found for name in (*REMOVABLE, "guide clearance")
                  if (found := self.range(names[0], name)) != Range()}  # fmt: skip
        measured = (*REMOVABLE, "stem diameter", "guide bore")
        u_pm = {name: max(self.u(valve, name) for valve in names) for name in measured}
        rules = Rules(
            limits,
            {name: u for name, u in u_pm.items() if u},
            self._new(names[0], "stem diameter"),
            self._new(names[0], "guide bore"),
            spread_pm=self._sheet.rebuild.spread_pm.get(kind),
            head_area_mm2=(None if self._sheet.chamber is None else
                           round_area(self._sheet.chamber.diameter_pm[kind])),
        )  # fmt: skip
        spring = self._sheet.spring_of(kind)
        if spring is None:
            return rules
        return replace(
            rules, spring=_new(spring) if spring.points else None, load=spring.load,
            tested_at_pm=spring.tested_at_pm, lift_pm=spring.lift_pm, solid_pm=spring.solid_pm,
            bind_least_pm=spring.bind_least_pm,
            # One tester tests them all; where two were used, the worse one counts.
            u_load_n=max((u for _, u in self._findings.loads.values()), default=None) or None,
        )  # fmt: skip

    def range(self, valve: str, name: str) -> Range:
        """Give the tightest that the limits of a figure leave; of clearance, the direct ones."""
        low: list[int] = []
        high: list[int] = []
        for limit in self._sheet.of(name, valve):
            if limit.judge != "range" and limit.method != "rock":
                low += [limit.lower.pm] if limit.lower else []
                high += [limit.upper.pm] if limit.upper else []
        # Nobody cuts a seat because it runs too true, or grinds a valve because it is too long.
        if name in _NO_LOWER:
            low.clear()
        if name in _NO_UPPER:
            high.clear()
        return Range(max(low, default=None), min(high, default=None))

    def u(self, valve: str, name: str) -> int:
        """Give the largest standard uncertainty of what was measured, 0 where none is stated."""
        if name == "head-face flatness":
            return max((item.u_pm or 0 for item in self._judgement.verdicts
                        if item.characteristic == name), default=0)  # fmt: skip
        return max((item.u_pm or 0 for item in self._by.get((valve, name), [])), default=0)

    def _new(self, valve: str, name: str) -> Span | None:
        """Give the sizes of a new part, where the sheet has both ends."""
        for limit in self._sheet.of(name, valve):
            ends = [limit.bounds.get(end) for end in ("new_min", "new_max")]
            if ends[0] is not None and ends[1] is not None:
                return ends[0].pm, ends[1].pm
        return None

    # ---- cylinders and the head -----------------------------------------------------------------

    def cylinders(
        self, reckoned: tuple[Cylinder, ...], protrusions: Sequence[Figure]
    ) -> tuple[Cylinder, ...]:
        """Say how far injector and prechamber stand out, beside what is reckoned of cylinders."""
        if not protrusions:
            return reckoned
        numbers = range(1, self._sheet.head.cylinders + 1)
        every = reckoned or tuple(
            Cylinder(f"cylinder {number}", tuple(
                valve.name for valve in self._sheet.head.valves() if valve.cylinder == number
            ))
            for number in numbers
        )  # fmt: skip
        return tuple(
            replace(one, readings={
                name: ceil(value) for name in protrusions
                if (value := self._reading("", name, number)) is not None
            })
            for number, one in zip(numbers, every, strict=True)
        )  # fmt: skip

    def looked(self, check: Check) -> str:
        """Say why the head was condemned by looking at it; empty where it was not."""
        words = self._findings.condemned.get(("", check))
        return "" if words is None else words or "condemned"

    def head(self) -> tuple[int | None, int | None]:
        """Give thickness and flatness of the head; None where they were not measured whole."""
        thick = [item.value_pm for item in self._by.get(("", "head thickness"), [])]
        flat = [item for item in self._judgement.verdicts
                if item.characteristic == "head-face flatness"]  # fmt: skip
        # Points that are missing can only make it less flat.
        known = [ceil(item.value_pm) for item in flat
                 if not item.missing or item.verdict == "outside"]  # fmt: skip
        return (int(min(thick)) if thick else None), max(known, default=None)

    def left_out(self) -> Iterable[str]:
        """Name the limits that no plan reckons with."""
        known = {*REMOVABLE, *PART_OF, *HEAD, *PROTRUSIONS}
        seen: set[str] = set()
        for limit in self._sheet.limits:
            strange = limit.characteristic not in known
            figure = limit.characteristic in {*REMOVABLE, *PROTRUSIONS}
            spread = figure and limit.judge == "range"
            words = _named(limit)
            if (strange or spread) and words not in seen:
                seen.add(words)
                yield words


def _new(spring: Spring) -> Loads:
    return from_table([(Fraction(at, PM_PER_MM), load) for at, load in spring.points])


def _named(limit: Limit) -> str:
    words = limit.characteristic
    if limit.method == "rock":
        words += " by rock"
    return f"{words} (range)" if limit.judge == "range" else words
