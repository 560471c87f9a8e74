"""A place before or after a step: the figures that depths move, and those of its parts."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from math import isqrt
from typing import TYPE_CHECKING, Final, Literal, get_args

from gaugelink.metrology.springs import combined_n
from gaugelink.planning.allowances import COMMON, FIGURES, Step
from gaugelink.planning.amount import Amount
from gaugelink.planning.chamber import CUBIC_CM
from gaugelink.planning.held import as_found
from gaugelink.planning.task import Range
from gaugelink.planning.ties import VOLUME, chamber_sum, volume_u
from gaugelink.planning.together import SINKS, together

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from gaugelink.metrology.springs import Loads
    from gaugelink.planning.allowances import Figure, Seated
    from gaugelink.planning.task import Place, Rules, Span, Task

Renewal = Literal["replace guide", "replace valve", "replace spring"]
Trial = Literal[Step, "fit insert", Renewal]
TRIALS: Final[tuple[Trial, ...]] = (
    "cut seat", "fit insert", "lap", "reface valve", "grind tip", "skim", "shim",
    "replace guide", "replace valve", "replace spring",
)  # fmt: skip
"""Steps that can be tried. The depth of an insert is how far it lifts the valve."""
WHOLE: Final[frozenset[Trial]] = frozenset(get_args(Renewal))
"""Those that have no depth."""
_MM: Final = 10**9
PARTS: Final[dict[str, str]] = {
    "valve": "fit for use", "guide": "guide fit for use", "seat": "seat fit for use",
    "spring": "spring fit for use", "face": "head face fit for use",
}  # fmt: skip
"""What stands among limits for a part that cannot stay."""


@dataclass(frozen=True, slots=True)
class Standing:
    """A place before or after a step: the figures that depths move, and those of its parts.

    Attributes:
        drop: how far its valve has sunk since it was measured.
        skim: what came off the face.
        stem, bore: smallest and largest, each with its standard uncertainty.
        readings: of seat, valve face, spring and fire face, picometres; absent: not measured, or to
            be measured again.
        scrap: why parts cannot stay, by part.
        spring: curve of a new one.
        tested: whether the load of its spring was measured.
        lost: what the spring has lost against a new one, N; None: it is new, or nobody knows.
        u_n: standard uncertainty of the loads, N.
    """

    task: Task
    place: int
    seated: Seated
    drop: int
    skim: int
    stem: tuple[Span, int] | None
    bore: tuple[Span, int] | None
    readings: Mapping[str, int]
    scrap: Mapping[str, str]
    spring: Loads | None
    tested: bool
    lost: Fraction | None
    u_n: Fraction

    @classmethod
    def found(cls, task: Task, place: int) -> Standing:
        """Take a place as it was measured."""
        here, rules = task.places[place], task.rules[task.places[place].kind]
        names = ("seat runout", "valve face runout", "spring free length")
        readings = {name: here.readings[name] for name in names if name in here.readings}
        if task.flatness_pm is not None:
            readings["head-face flatness"] = task.flatness_pm
        scrap = {"valve": here.scrap, "guide": here.guide_scrap, "seat": here.seat_scrap,
                 "spring": here.spring_scrap, "face": task.face_scrap}  # fmt: skip
        lost: Fraction | None = None
        if None not in {rules.spring, here.spring_load_n, rules.tested_at_pm}:
            assert rules.spring is not None
            assert here.spring_load_n is not None
            assert rules.tested_at_pm is not None
            lost = rules.spring.load(Fraction(rules.tested_at_pm, _MM)) - here.spring_load_n
        u_pm = rules.u_pm
        return cls(
            task, place, as_found(task, place), 0, 0,
            (here.stem, u_pm.get("stem diameter", 0)) if here.stem else None,
            (here.bore, u_pm.get("guide bore", 0)) if here.bore else None,
            readings, {part: why for part, why in scrap.items() if why}, rules.spring,
            lost is not None, lost,
            (rules.u_load_n or Fraction(0)) if lost is not None else Fraction(0),
        )  # fmt: skip

    @property
    def here(self) -> Place:
        """The place."""
        return self.task.places[self.place]

    @property
    def rules(self) -> Rules:
        """What holds for its kind of valve."""
        return self.task.rules[self.here.kind]

    def with_step(self, step: Trial, depth_pm: int) -> Standing:
        """Give the place after a step."""
        if step == "replace guide":
            return self._new_guide()
        if step == "replace valve":
            return self._new_valve()
        if step == "replace spring":
            seated = as_found(self.task, self.place, new_spring=True)
            return replace(self._without(["spring free length"], ["spring"]), seated=seated,
                           lost=None, u_n=Fraction(0))  # fmt: skip
        if step == "fit insert":
            seated = as_found(self.task, self.place, deeds=["fit insert"])
            return replace(self._without(["seat runout"], ["seat"]), drop=-depth_pm,
                           seated=seated.after("cut seat", -depth_pm))  # fmt: skip
        seated, done = self.seated, self
        if step == "cut seat" and depth_pm:
            seated = as_found(self.task, self.place, deeds=["cut seat"])
        after = seated.after(step, depth_pm)
        if depth_pm and depth_pm >= clean_up_pm(self.task, self.place, step):
            true = {"cut seat": (["seat runout"], ["seat"]),
                    "reface valve": (["valve face runout"], []),
                    "skim": (["head-face flatness"], ["face"])}  # fmt: skip
            done = self._without(*true.get(step, ([], [])))
        return replace(done, seated=after, drop=depth_pm if step in SINKS else 0,
                       skim=depth_pm if step == "skim" else 0)  # fmt: skip

    def _without(self, readings: Iterable[str], parts: Iterable[str]) -> Standing:
        """Give the place with some readings gone and parts sound."""
        kept = {name: pm for name, pm in self.readings.items() if name not in readings}
        scrap = {part: why for part, why in self.scrap.items() if part not in parts}
        return replace(self, readings=kept, scrap=scrap)

    def _new_guide(self) -> Standing:
        size = self.rules.new_bore
        if size is None:
            raise ValueError(f"found no sizes of new {self.here.kind} guides, accepted: a job or "
                             "sheet that tells them")  # fmt: skip
        return replace(self._without(["seat runout"], ["guide"]), bore=(size, 0))

    def _new_valve(self) -> Standing:
        size = self.rules.new_stem
        if size is None:
            raise ValueError(f"found no sizes of new {self.here.kind} valves, accepted: a job or "
                             "sheet that tells them")  # fmt: skip
        seated = as_found(self.task, self.place, new_valve=True)
        sunk = -self.here.drop_pm
        figures: dict[Figure, int] = dict(seated.figures)
        for name in COMMON:
            if name in figures:
                figures[name] += int(seated.moved("lap").get(name, 0) * sunk)
        return replace(self._without(["valve face runout"], ["valve"]), stem=(size, 0), drop=sunk,
                       seated=replace(seated, figures=figures))  # fmt: skip

    def beyond(self) -> tuple[str, ...]:
        """Name every limit that is not kept; what has to be measured first is none."""
        parts = [PARTS[part] for part in self.scrap]
        own = [name for one in self.parts() for name in one.broken()]
        return tuple(dict.fromkeys([*self.seated.beyond(), *own, *parts]))

    def amounts(self) -> Iterator[Amount]:
        """Go through every figure: heights, spring, parts, head, and what is kept together."""
        yield from self._lengths()
        yield from self._sprung()
        yield from self.parts()
        yield from self._shared()

    def _lengths(self) -> Iterator[Amount]:
        for name in FIGURES:
            if name in self.seated.figures and name not in COMMON:
                limit = self.rules.limits.get(name) or self.task.head.get(name) or Range()
                u_pm = self.rules.u_pm.get(name) or self.task.u_pm.get(name) or 0
                yield _length(name, self.seated.figures[name], u_pm, limit)

    def _sprung(self) -> Iterator[Amount]:
        rules, height = self.rules, self.seated.figures.get("installed spring height")
        if height is None:
            return
        u_mm = Fraction(rules.u_pm.get("installed spring height", 0), _MM)
        at = Fraction(height, _MM)
        if self.spring is not None:
            u = combined_n(self.u_n, self.spring.rate_at(at) * u_mm)
            yield Amount(f"spring load{'' if self.tested else ', new spring'}", "N",
                         self.spring.load(at) - (self.lost or 0), u, *rules.load)  # fmt: skip
        if None not in {rules.lift_pm, rules.solid_pm}:
            closed = Fraction((rules.lift_pm or 0) + (rules.solid_pm or 0), _MM)
            least = rules.bind_least_pm
            yield Amount("coil-bind margin", "mm", at - closed, u_mm,
                         None if least is None else Fraction(least, _MM), None)  # fmt: skip

    def parts(self) -> Iterator[Amount]:
        """Go through what belongs to parts, and no depth moves."""
        limits, u_pm = self.rules.limits, self.rules.u_pm
        for name, size in (("stem diameter", self.stem), ("guide bore", self.bore)):
            limit = limits.get(name, Range())
            if size is not None and limit != Range():
                yield from _ends(name, size[0], size[1], limit)
        limit = limits.get("guide clearance", Range())
        if self.stem is not None and self.bore is not None and limit != Range():
            (stem, u_stem), (bore, u_bore) = self.stem, self.bore
            square = u_stem**2 + u_bore**2
            u = isqrt(square - 1) + 1 if square else 0
            # Where the book prints no least clearance, a stem has to go into its guide.
            yield from _ends("guide clearance", (bore[0] - stem[1], bore[1] - stem[0]), u,
                             Range(limit.lower or 0, limit.upper))  # fmt: skip
        for name, pm in self.readings.items():
            limit = limits.get(name) or self.task.head.get(name) or Range()
            yield _length(name, pm, u_pm.get(name) or self.task.u_pm.get(name) or 0, limit)

    def _shared(self) -> Iterator[Amount]:
        found = together(self.task, {self.place: self.drop}, self.skim)
        told = {one.name for one in found}
        for cylinder in self.task.cylinders:
            total = chamber_sum(self.task, cylinder)
            if total is None or self.here.name not in cylinder.valves or total.name in told:
                continue
            drops = dict.fromkeys(total.rates, 0) | {self.place: self.drop}
            yield Amount(f"{VOLUME} of {cylinder.name}", "cm3",
                         total.at(drops, self.skim) / CUBIC_CM,
                         Fraction(volume_u(self.task, cylinder), CUBIC_CM), None, None)  # fmt: skip
        yield from found


def _length(name: str, pm: int, u_pm: int, limit: Range) -> Amount:
    ends = (None if end is None else Fraction(end, _MM) for end in (limit.lower, limit.upper))
    return Amount(name, "mm", Fraction(pm, _MM), Fraction(u_pm, _MM), *ends)


def _ends(name: str, span: Span, u_pm: int, limit: Range) -> Iterator[Amount]:
    """Hold the smallest size against the lower limit, and the largest against the upper one."""
    if limit.lower is not None:
        yield _length(f"{name}, smallest", span[0], u_pm, Range(limit.lower))
    if limit.upper is not None:
        yield _length(f"{name}, largest", span[1], u_pm, Range(None, limit.upper))


def clean_up_pm(task: Task, place: int, step: Trial) -> int:
    """Give the depth from which on a step has made its surface clean and true."""
    here = task.places[place]
    return {"cut seat": here.seat_least_pm, "reface valve": here.face_least_pm,
            "skim": task.clean_up_pm}.get(step, 0)  # fmt: skip
