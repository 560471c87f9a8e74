"""The part of a limit sheet that says what the book wants of valve springs.

The keys are those of a job file of `gaugelink plan`; a unit stands with every figure.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Annotated, Final, TypeVar

from pydantic import BaseModel, ConfigDict, Field

from gaugelink import tomlfile
from gaugelink.errors import InputError
from gaugelink.force import force_text, force_unit, parse_force, parse_rate
from gaugelink.head import ValveKind  # noqa: TC001  pydantic looks it up at run time
from gaugelink.limits import Spring
from gaugelink.quantity import PM_PER_MM, parse_length

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from fractions import Fraction

    from gaugelink.head import Head
    from gaugelink.quantity import LengthUnit

Found = TypeVar("Found")

_STEP_PM: Final = 254_000_000
"""How far below its free length a spring of one rate gets its second point: a whole number of
picometres, at which a rate in N/mm, lbf/in or kgf/mm gives a load with a last digit."""

_COILS: Final = ("lift", "solid_height", "bind_margin_min")


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class _Ends(_Strict):
    min: str | None = None
    max: str | None = None


Pair = Annotated[list[str], Field(min_length=2, max_length=2)]


class SpringEntry(_Strict):
    """One ``[[spring]]`` of a sheet, as typed."""

    valves: Annotated[list[ValveKind], Field(min_length=1)] | None = None
    spring: list[Pair] = []
    rate: str | None = None
    free_length: str | None = None
    spring_load: _Ends = _Ends()
    spring_tested_at: str | None = None
    lift: str | None = None
    solid_height: str | None = None
    bind_margin_min: str | None = None
    source: str = ""


def read_springs(
    entries: Sequence[SpringEntry], head: Head, text: str, file: str
) -> tuple[tuple[Spring, ...], list[InputError], list[InputError]]:
    """Check what a sheet says of springs, and give it with every fault, and what is unusual.

    Args:
        entries: as typed.
        head: whose kinds of valves they are for.
        text: the sheet, TOML.
        file: its name for messages.
    """
    faults: list[InputError] = []
    doubts: list[InputError] = []
    found: list[Spring] = []
    for number, entry in enumerate(entries):
        before = len(faults)
        reader = _Reader(entry, number, head, text, file, faults)
        spring = reader.read()
        for kind in spring.kinds:
            if any(kind in earlier.kinds for earlier in found):
                what = f"found {kind!r} a second time; accepted: one table for each kind"
                _fault(faults, text, file, number, "valves", what)
        if len(faults) == before:
            found.append(spring)
            for key, what in reader.unusual(spring):
                _fault(doubts, text, file, number, key, what)
    return tuple(found), faults, doubts


def _fault(
    faults: list[InputError], text: str, file: str, number: int, key: str, what: str
) -> None:
    line = tomlfile.line_of(text, ("spring", number, *key.split(".")))
    faults.append(InputError(what, file=file, line=line, field=f"spring.{number + 1}.{key}"))


def _about(points: Sequence[tuple[int, Fraction]], at_pm: int) -> Sequence[tuple[int, Fraction]]:
    """Give the two neighbouring points whose line holds at a height."""
    for pair in pairwise(points):
        if at_pm >= pair[1][0]:
            return pair
    return points[-2:]


class _Reader:
    """Reads one ``[[spring]]``, collecting every fault in it."""

    def __init__(
        self, entry: SpringEntry, number: int, head: Head, text: str, file: str,
        faults: list[InputError],
    ) -> None:  # fmt: skip
        self._entry, self._number, self._head = entry, number, head
        self._text, self._file, self._faults = text, file, faults

    def read(self) -> Spring:
        entry = self._entry
        kinds = tuple(dict.fromkeys(entry.valves or self._head.kinds))
        for kind in kinds:
            if kind not in self._head.kinds:
                known = ", ".join(dict.fromkeys(self._head.kinds))
                self._bad("valves", f"found {kind!r}, accepted on this head: {known}")
        points = self._points()
        load = (self._force(entry.spring_load.min, "spring_load.min"),
                self._force(entry.spring_load.max, "spring_load.max"))  # fmt: skip
        low, high = load
        if low is not None and high is not None and low > high:
            self._bad("spring_load", f"found {entry.spring_load.min!r} to "
                      f"{entry.spring_load.max!r}, accepted: min not above max")  # fmt: skip
        tested = self._length("spring_tested_at")
        limited = entry.spring_load.min is not None or entry.spring_load.max is not None
        given = bool(entry.spring) or entry.rate is not None
        if limited and (not given or entry.spring_tested_at is None):
            self._bad("spring_load", "found a limit of load, needed with it: spring (or rate and "
                      "free_length) and spring_tested_at")  # fmt: skip
        if entry.spring_tested_at is not None and not limited:
            self._bad("spring_tested_at", "found it, needed with it: spring_load")
        lift, solid = self._length("lift"), self._length("solid_height")
        least = self._length("bind_margin_min", zero=True)
        coils = [key for key in _COILS if getattr(entry, key) is not None]
        if 0 < len(coils) < len(_COILS):
            self._bad(coils[0], f"found a part, accepted: {_COILS[0]}, {_COILS[1]} and {_COILS[2]} "
                      "together")  # fmt: skip
        if not limited and not coils:
            self._bad("", "the table limits nothing; needed: spring_load, or lift, solid_height "
                      "and bind_margin_min")  # fmt: skip
        self._loose(points, tested)
        line = tomlfile.line_of(self._text, ("spring", self._number)) or 1
        return Spring(kinds, points, load, tested, lift, solid, least, entry.source, line,
                      entry.spring_tested_at or "", self._words(), *self._units())  # fmt: skip

    def _words(self) -> str:
        ends = self._entry.spring_load
        told = [f"{name} {text.strip()}" for name, text in (("min", ends.min), ("max", ends.max))
                if text is not None]  # fmt: skip
        return ", ".join(told)

    def _units(self) -> tuple[LengthUnit, str]:
        """Give the units in which what is reckoned is shown: those of the book."""
        entry, ends = self._entry, self._entry.spring_load
        length, load = entry.spring_tested_at or entry.lift, ends.min or ends.max
        try:
            return (parse_length(length).unit if length else "mm",
                    force_unit(load) if load and parse_force(load) else "N")  # fmt: skip
        except InputError:  # told already
            return "mm", "N"

    def _loose(self, points: Sequence[tuple[int, Fraction]], tested: int | None) -> None:
        """Refuse a test height at which a new spring has no load: it would say nothing."""
        if len(points) < 2 or tested is None:
            return
        (high, less), (low, more) = points[0], points[1]
        free = high + less * (high - low) / (more - less)
        if tested >= free:
            given, most = self._entry.spring_tested_at, float(free) / PM_PER_MM
            self._bad("spring_tested_at", f"found {given!r}, at which a new spring is loose; "
                      f"accepted: below {most:.2f} mm")  # fmt: skip

    def unusual(self, spring: Spring) -> Iterator[tuple[str, str]]:
        """Go through what is unusual about a table that can be used: key and words.

        Orders of magnitude (common practice, no source): a worn spring is allowed down to about
        seven eighths of a new one's load, and never more than a new one has.
        """
        least, tested = spring.load[0], spring.tested_at_pm
        if least is not None and tested is not None and spring.points:
            (high, less), (low, more) = _about(spring.points, tested)
            new = less + (more - less) * (high - tested) / (high - low)
            if not new / 2 <= least <= new:
                shown = force_text(new, spring.force)
                what = (
                    f"found {self._entry.spring_load.min!r}, and a new spring has {shown} at "
                    f"{spring.height}; usual: half of that to all of it; see its unit in the book"
                )
                yield "spring_load.min", what
        coils = spring.lift_pm, spring.solid_pm
        if tested is not None and coils[0] is not None and coils[1] is not None:
            room = tested - coils[0] - coils[1]
            if room < 0:
                what = (
                    f"found {self._entry.lift!r}, and from {spring.height} the coils touch before "
                    "full lift; look at lift, solid_height and spring_tested_at in the book"
                )
                yield "lift", what

    def _points(self) -> tuple[tuple[int, Fraction], ...]:
        """Give loads at heights, the greatest height first; none where something is wrong."""
        entry = self._entry
        if entry.rate is not None or entry.free_length is not None:
            return self._of_rate()
        points: list[tuple[int, Fraction]] = []
        for height, load in entry.spring:
            at, force = self._read(height, "spring", parse_length), self._force(load, "spring")
            if at is None or force is None:
                return ()
            points.append((at.pm, force))
        points.sort(reverse=True)
        for (high, less), (low, more) in pairwise(points):
            if low == high or more <= less:
                self._bad("spring", "found loads that do not rise as the height falls, or a height "
                          "twice; accepted: a larger load at every smaller height")  # fmt: skip
                return ()
        if len(points) == 1:
            self._bad("spring", "found a load at one height, accepted: at two or more, or rate and "
                      "free_length")  # fmt: skip
            return ()
        if any(at <= 0 for at, _ in points):
            self._bad("spring", "found a height that is not above 0, accepted: above 0")
            return ()
        return tuple(points)

    def _of_rate(self) -> tuple[tuple[int, Fraction], ...]:
        entry = self._entry
        if entry.spring:
            self._bad("spring", "found it beside rate or free_length, accepted: one of the two")
        if entry.rate is None or entry.free_length is None:
            key = "free_length" if entry.rate is None else "rate"
            self._bad(key, "found a part, accepted: rate and free_length together")
            return ()
        rate = self._read(entry.rate, "rate", parse_rate)
        free = self._length("free_length")
        if rate is not None and rate <= 0:
            self._bad("rate", f"found {entry.rate!r}, accepted: above 0")
            return ()
        if rate is None or free is None:
            return ()
        if free <= _STEP_PM:
            self._bad("free_length", f"found {entry.free_length!r}, accepted: above 0.254 mm")
            return ()
        return ((free, 0 * rate), (free - _STEP_PM, rate * _STEP_PM / PM_PER_MM))

    def _length(self, key: str, *, zero: bool = False) -> int | None:
        given: str | None = getattr(self._entry, key)
        found = None if given is None else self._read(given, key, parse_length)
        if found is None:
            return None
        if found.pm < 0 or (found.pm == 0 and not zero):
            self._bad(key, f"found {given!r}, accepted: {'0 or more' if zero else 'above 0'}")
            return None
        return found.pm

    def _force(self, given: str | None, key: str) -> Fraction | None:
        found = None if given is None else self._read(given, key, parse_force)
        if found is not None and found < 0:
            self._bad(key, f"found {given!r}, accepted: 0 or more")
            return None
        return found

    def _read(self, given: str, key: str, parse: Callable[[str], Found]) -> Found | None:
        try:
            return parse(given)
        except InputError as fault:
            self._bad(key, fault.what)
            return None

    def _bad(self, key: str, what: str) -> None:
        _fault(self._faults, self._text, self._file, self._number, key, what)
