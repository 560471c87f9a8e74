"""Hold readings against a limit sheet.

Which readings a limit uses, how they combine, and by which method they must have been taken, is
the limit's own business; this module only carries it out. Rock is never held against a direct
limit, nor the other way round. Values stay exact (integers or fractions of picometres) until the
verdict is given.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import isqrt
from typing import TYPE_CHECKING, Final

from gaugelink.head import CHARACTERISTICS, DIRECTIONS, Direction, Method, cylinder_at
from gaugelink.metrology.conformity import VerdictWord, probability_within, verdict
from gaugelink.metrology.flatness import minimum_zone
from gaugelink.quantity import (
    PM_PER_UM,
    LengthUnit,
    exact_text,
    micrometres_text,
    rounded_text,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from gaugelink.limits import Figure, Limit, Sheet

_PLACES: Final[dict[LengthUnit, int]] = {"mm": 4, "in": 6}
"""Places shown of a value that was reckoned; the verdict uses all of it."""
_BOTH: Final = ("lower", "upper")
ACROSS: Final = "the uncertainty reaches across the limit"
"""What a verdict says that is undecided for no other reason."""


@dataclass(frozen=True, slots=True)
class Measured:
    """A value in its place, as judging needs it.

    Attributes:
        value_pm: the value, picometres, exact.
        text: the digits as shown.
        unit: the unit as shown.
        u_pm: standard uncertainty, picometres; None where nobody stated one.
        place: its number in the record, or its line in the file.
        lift_pm: lift of the valve for rock; None where not stated.
        figure: whether a rock value is clearance or the indicator's travel.
    """

    valve: str
    characteristic: str
    station: str
    direction: Direction
    value_pm: int | Fraction
    text: str
    unit: LengthUnit
    u_pm: int | None
    place: int
    method: Method = ""
    lift_pm: int | None = None
    valve_used: str = ""
    figure: Figure = "clearance"

    @property
    def where(self) -> str:
        """Station and direction in words; empty where there is neither."""
        return ", ".join(part for part in (self.station, self.direction) if part)


@dataclass(frozen=True, slots=True)
class Judged:
    """One verdict: what was held against which limit, and why it came out as it did.

    Attributes:
        line: of the limit, in its sheet.
    """

    valve: str
    characteristic: str
    method: Method
    value_pm: int | Fraction
    text: str
    unit: LengthUnit
    u_pm: int | None
    verdict: VerdictWord
    lower_pm: int | None
    upper_pm: int | None
    limit: str
    source: str
    reason: str
    places: tuple[int, ...]
    missing: tuple[str, ...] = ()
    """Stations and directions of the limit that nobody has measured."""
    line: int = 0

    @property
    def probability(self) -> float | None:
        """The probability that the true value lies within; None without an uncertainty."""
        if not self.u_pm:
            return None
        return probability_within(self.value_pm, self.u_pm, self.lower_pm, self.upper_pm)


@dataclass(frozen=True, slots=True)
class Missing:
    """A limit for which something was not measured: everything, or what `why` names."""

    valve: str
    characteristic: str
    method: Method
    why: str = ""


@dataclass(slots=True)
class Judgement:
    """What judging gave: verdicts in the order of the sheet, and what is left over.

    ``travels`` are those of the sweeps of a session, usable or not, with their standard
    uncertainty, picometres, by record place; whoever judges a session adds them.
    """

    verdicts: list[Judged] = field(default_factory=list)
    missing: list[Missing] = field(default_factory=list)
    unused: list[Measured] = field(default_factory=list)
    travels: dict[int, tuple[int, int]] = field(default_factory=dict)

    def counts(self) -> dict[str, int]:
        """Count the verdicts by word; words that did not occur count 0."""
        words = [item.verdict for item in self.verdicts]
        return {word: words.count(word) for word in ("within", "outside", "undecided")}


def judge(sheet: Sheet, measured: Sequence[Measured]) -> Judgement:
    """Hold everything that was measured against every limit of a sheet."""
    found = Judgement()
    used: set[int] = set()
    by_name: dict[tuple[str, str], list[Measured]] = {}
    for item in measured:
        by_name.setdefault((item.valve, item.characteristic), []).append(item)
    for limit in _by_cylinder(sheet.limits):
        for valve in limit.valves or ("",):
            given = {
                name: [item for item in by_name.get((valve, name), []) if limit.takes(
                    item.station, item.direction)]
                for name in (limit.characteristic,
                             *CHARACTERISTICS[limit.characteristic].reckoned_from)
            }  # fmt: skip
            one = _Question(sheet, limit, valve, given)
            verdicts, why = one.answer()
            at = cylinder_at(limit.characteristic, next(iter(limit.stations), ""))
            if at is not None and not verdicts:
                why = why or f"cylinder {at}"
            elif at is not None and limit.judge != "each":
                verdicts = [replace(item, reason=f"cylinder {at}: {item.reason}")
                            for item in verdicts]  # fmt: skip
            if why or not verdicts:
                found.missing.append(Missing(valve, limit.characteristic, limit.method, why))
            found.verdicts.extend(verdicts)
            used.update(place for item in verdicts for place in item.places)
    found.unused = [item for item in measured if item.place not in used]
    return found


def _by_cylinder(limits: Iterable[Limit]) -> Iterator[Limit]:
    """Part limits of what a cylinder has one of: readings of two cylinders are never combined."""
    for limit in limits:
        at = dict.fromkeys(cylinder_at(limit.characteristic, one) for one in limit.stations)
        for cylinder in at or (None,):
            own = tuple(one for one in limit.stations
                        if cylinder_at(limit.characteristic, one) == cylinder)  # fmt: skip
            yield limit if cylinder is None else replace(limit, stations=own)


@dataclass(frozen=True, slots=True)
class _Question:
    """One limit held against one valve."""

    sheet: Sheet
    limit: Limit
    valve: str
    given: dict[str, list[Measured]]

    def answer(self) -> tuple[list[Judged], str]:
        """Give the verdicts, and what is missing for the limit where no verdict says so."""
        if self.limit.characteristic == "head-face flatness":
            return self._flatness()
        if self.limit.method == "direct":
            return self._direct()
        values = self.given[self.limit.characteristic]
        if self.limit.method == "rock":
            return self._rock(values)
        return self._combine(values)

    def _combine(self, values: list[Measured]) -> tuple[list[Judged], str]:
        """Judge values that are read, each for itself or all as one."""
        if not values:
            return [], ""
        if self.limit.judge != "each":
            return [self._combined(values)], ""
        each = [self._one(item.value_pm, item.u_pm, item.where, [item], item) for item in values]
        # Every reading has its verdict; a place without a reading must not pass for judged.
        return each, ", ".join(self._missing(values))

    def _combined(self, values: list[Measured]) -> Judged:
        limit = self.limit
        missing = self._missing(values)
        alone = len(values) == 1
        if limit.judge in {"smallest", "largest"}:
            pick = (min if limit.judge == "smallest" else max)(values, key=lambda v: v.value_pm)
            where = f": {pick.where}" if pick.where else ""
            words = "the only reading" if alone else f"{limit.judge} of {len(values)} readings"
            return self._one(pick.value_pm, pick.u_pm, words + where, values, pick, missing)
        if limit.judge == "mean":
            mean = Fraction(sum(item.value_pm for item in values), len(values))
            # Instrument errors are common to all readings of a gauge, so a mean is not credited
            # with less uncertainty than one reading.
            u_pm = _largest_u(values)
            words = "the only reading" if alone else f"mean of {len(values)} readings"
            return self._one(mean, u_pm, words, values, missing=missing)
        low = min(item.value_pm for item in values)
        high = max(item.value_pm for item in values)
        u_pm = _root_sum(_largest_u(values), _largest_u(values))
        words = f"range of {len(values)} readings"
        if alone:
            words, missing = "a range needs two readings", missing or ["a second reading"]
        return self._one(high - low, u_pm, words, values, missing=missing)

    def _missing(self, values: Iterable[Measured]) -> list[str]:
        have = {(item.station, item.direction) for item in values}
        limit = self.limit
        wanted = limit.wanted()
        if limit.method == "rock" and not limit.directions and ("", "") not in have:
            # The plan asks for both, so one of them is not enough here either. A value without a
            # direction is somebody's result for the guide as a whole.
            wanted = [("", direction) for direction in DIRECTIONS]
        elif not limit.stations and not limit.directions:
            return []
        if not limit.stations:
            have = {("", direction) for _, direction in have}
        elif not limit.directions:
            have = {(station, "") for station, _ in have}
        return [" ".join(part for part in place if part) for place in wanted if place not in have]

    def _rock(self, values: list[Measured]) -> tuple[list[Judged], str]:
        limit = self.limit
        fitting: list[Measured] = []
        others: list[Measured] = []
        for item in values:
            method = item.method or self._only_method()
            if method == "rock" and item.figure == limit.figure:
                (others if self._differs(item) else fitting).append(item)
        if fitting:
            return self._combine(fitting)
        return [
            self._one(item.value_pm, item.u_pm, self._differs(item), [item], item, undecided=True)
            for item in others
        ], ""

    def _only_method(self) -> Method:
        """The method meant by a value that states none: the sheet's, where it has only one."""
        methods = {item.method for item in self.sheet.of("guide clearance", self.valve)}
        return methods.pop() if len(methods) == 1 else ""

    def _differs(self, item: Measured) -> str:
        limit = self.limit
        if item.lift_pm is not None and limit.lift is not None and item.lift_pm != limit.lift.pm:
            lift = exact_text(item.lift_pm, limit.lift.unit, most_places=6)
            return f"taken with a lift of {lift} {limit.lift.unit}, the limit is for {limit.lift}"
        if item.valve_used and limit.valve_used and item.valve_used != limit.valve_used:
            return (
                f"taken with the {item.valve_used} valve, the limit is for a {limit.valve_used} one"
            )
        return ""

    def _direct(self) -> tuple[list[Judged], str]:
        limit = self.limit
        stems, bores = self.given["stem diameter"], self.given["guide bore"]
        ready = [
            item
            for item in self.given["guide clearance"]
            if (item.method or self._only_method()) == "direct"
        ]
        if ready:
            return self._combine(ready)
        if not stems or not bores:
            return [], "guide bore" if stems else "stem diameter" if bores else ""
        missing = [f"stem {place}" for place in self._missing(stems)]
        missing += [f"bore {place}" for place in self._missing(bores)]
        u_pm = _root_sum(_largest_u(stems), _largest_u(bores))
        values = [*stems, *bores]

        def least(items: list[Measured]) -> Measured:
            return min(items, key=lambda item: item.value_pm)

        def most(items: list[Measured]) -> Measured:
            return max(items, key=lambda item: item.value_pm)

        if limit.judge == "mean":
            clearance = Fraction(sum(item.value_pm for item in bores), len(bores)) - Fraction(
                sum(item.value_pm for item in stems), len(stems)
            )
            words = "mean bore less mean stem"
            return [self._one(clearance, u_pm, words, values, None, missing)], ""
        results = []
        # "each" holds the widest clearance against the upper bound and the tightest against the
        # lower one; a limit that names one of the two holds that one against both.
        every = limit.judge == "each"
        if limit.judge == "largest" or (every and limit.upper is not None):
            bore, stem = most(bores), least(stems)
            words = f"largest bore {_shown(bore)} less smallest stem {_shown(stem)}"
            results.append(self._one(bore.value_pm - stem.value_pm, u_pm, words, values, None,
                                     missing, sides=("upper",) if every else _BOTH))  # fmt: skip
        if limit.judge == "smallest" or (every and limit.lower is not None):
            bore, stem = least(bores), most(stems)
            words = f"smallest bore {_shown(bore)} less largest stem {_shown(stem)}"
            results.append(self._one(bore.value_pm - stem.value_pm, u_pm, words, values, None,
                                     missing, sides=("lower",) if every else _BOTH))  # fmt: skip
        return results, ""

    def _flatness(self) -> tuple[list[Judged], str]:
        ready = self.given["head-face flatness"]
        if ready:
            return self._combine(ready)
        heights = self.given["face height"]
        if not heights:
            return [], ""
        assert self.sheet.head.face is not None
        places = self.sheet.head.face.points()
        known = [item for item in heights if item.station in places]
        have = {item.station for item in known}
        missing = [place for place in places if place not in have]
        points = [(*places[item.station], int(item.value_pm)) for item in known]
        u_pm = _root_sum(_largest_u(known), _largest_u(known))
        try:
            zone = minimum_zone(points)
        except ValueError as fault:
            return [], f"{fault}"
        contacts = ", ".join(known[place].station for place in zone.contacts)
        words = f"minimum zone of {len(known)} points, touched at {contacts}"
        flat = self._one(zone.width_pm, u_pm, words, known, None, missing, sides=("upper",))
        return [flat], ""

    def _one(
        self,
        value_pm: int | Fraction,
        u_pm: int | None,
        words: str,
        values: Sequence[Measured],
        shown: Measured | None = None,
        missing: Sequence[str] = (),
        *,
        sides: tuple[str, ...] = _BOTH,
        undecided: bool = False,
    ) -> Judged:
        limit = self.limit
        lower = limit.lower.pm if limit.lower and "lower" in sides else None
        upper = limit.upper.pm if limit.upper and "upper" in sides else None
        word: VerdictWord = "undecided" if undecided else verdict(value_pm, u_pm, lower, upper)
        reason = [words] if words else []
        if missing and not self._stays(word, value_pm, lower, upper):
            word = "undecided"
        if apart := _apart(value_pm, lower, upper):
            reason.append(apart)
        if missing:
            reason.append("missing: " + ", ".join(missing))
        if word == "undecided" and not missing and not undecided:
            reason.append(ACROSS)
        unit = shown.unit if shown else limit.unit
        text = shown.text if shown else rounded_text(value_pm, unit, _PLACES[unit])
        return Judged(
            self.valve, limit.characteristic, limit.method, value_pm, text, unit, u_pm, word,
            lower, upper, limit.words, limit.source, "; ".join(reason),
            tuple(item.place for item in values), tuple(missing), limit.line,
        )  # fmt: skip

    def _stays(
        self, word: VerdictWord, value_pm: int | Fraction, lower: int | None, upper: int | None
    ) -> bool:
        """Tell whether the readings that are missing can no longer change the verdict.

        More readings only lower the smallest and raise the largest, the range and the flatness:
        what is outside on that side stays outside. A mean can still move either way.
        """
        if word != "outside":
            return False
        below = lower is not None and value_pm < lower
        above = upper is not None and value_pm > upper
        judge = self.limit.judge
        if self.limit.characteristic == "head-face flatness" or judge == "range":
            return above
        if judge == "each":  # a direct clearance, the widest and the tightest judged apart
            return True
        return (judge == "smallest" and below) or (judge == "largest" and above)


def _shown(item: Measured) -> str:
    return f"{item.text} {item.unit}"


def _apart(value_pm: int | Fraction, lower: int | None, upper: int | None) -> str:
    for gap, words in (
        (0 if lower is None else lower - value_pm, "below the lower limit"),
        (0 if upper is None else value_pm - upper, "above the upper limit"),
    ):
        if gap > 0:
            return f"{micrometres_text(gap, 1 if gap >= PM_PER_UM else 3)} um {words}"
    return ""


def _largest_u(values: Sequence[Measured]) -> int | None:
    known = [item.u_pm for item in values if item.u_pm is not None]
    return max(known) if known else None


def _root_sum(one: int | None, other: int | None) -> int | None:
    """Combine two independent standard uncertainties (JCGM 100:2008, 5.1.2, sensitivities 1)."""
    if one is None or other is None:
        return one if other is None else other
    return isqrt(one * one + other * other)
