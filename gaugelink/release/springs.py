"""Springs as they stand: load at the installed height, and room before the coils touch.

A spring is tested at one height and works at another. What it has lost against a new one at the
test height it has lost at every height, so its load at the installed height
is a new spring's load there, less that loss.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Final, Literal

from gaugelink.force import force_text, parse_force
from gaugelink.metrology.conformity import verdict
from gaugelink.metrology.springs import combined_n, from_table, load_verdict
from gaugelink.planning.tired import at_test_height
from gaugelink.quantity import PM_PER_MM, rounded_text
from gaugelink.release.block import Block, Signable, readings, signed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gaugelink.course import Course
    from gaugelink.limits import Spring
    from gaugelink.metrology.conformity import VerdictWord
    from gaugelink.signoff import Loaded

LOAD: Final = "spring load"
COILS: Final = "coil-bind margin"
_HEIGHT: Final = "installed spring height"


@dataclass(frozen=True, slots=True)
class Sprung:
    """One spring, as far as it is known.

    Attributes:
        valve: whose.
        spring: what the book wants of it.
        told: the load on the tester, with its place in the record; None: nobody told one.
        heights_pm: smallest and largest reading of the installed height; None: not measured.
        step: the step of the plan where that is measured; None where there is none.
        load_n: at the installed height; None where that cannot be told.
        u_n: its standard uncertainty, 0 where none is stated.
        load: its verdict, and that of the tester; None where there is none.
        tired: whether it shows too little on the tester, or may do; no height mends that.
        room_pm: before the coils touch at full lift; None where that cannot be told.
        coils: its verdict.
        read: record places of the readings of the installed height.
    """

    valve: str
    spring: Spring
    told: Loaded | None
    heights_pm: tuple[int, int] | None
    step: int | None
    load_n: Fraction | None = None
    u_n: Fraction = Fraction(0)
    load: VerdictWord | None = None
    tired: bool = False
    room_pm: int | None = None
    coils: VerdictWord | None = None
    read: tuple[int, ...] = ()


def springs_in(course: Course) -> list[Sprung]:
    """List the springs that the sheet says something of, valve by valve from the front."""
    if course.sheet is None or not course.sheet.springs:
        return []
    told = course.signoff.tested(course.work)
    heights: dict[str, list[int]] = {}
    read_at: dict[str, list[int]] = {}
    u_pm: dict[str, int] = {}
    for number, read in readings(course):
        if read.position.characteristic == _HEIGHT and read.shown is not None:
            owner = read.position.valve
            heights.setdefault(owner, []).append(read.shown.pm)
            read_at.setdefault(owner, []).append(course.filled[number])
            u_pm[owner] = max(u_pm.get(owner, 0), course.gauges[read.gauge].u_pm)
    steps = {step.position.valve: number for number, step in reversed([*enumerate(course.plan)])
             if step.position.characteristic == _HEIGHT}  # fmt: skip
    found = []
    for valve in course.sheet.head.valves():
        spring = course.sheet.spring_of(valve.kind)
        if spring is not None:
            own = heights.get(valve.name, [])
            ends = (min(own), max(own)) if own else None
            one = _sprung(valve.name, spring, told.get(valve.name), ends,
                          u_pm.get(valve.name, 0), steps.get(valve.name))  # fmt: skip
            found.append(replace(one, read=tuple(sorted(read_at.get(valve.name, [])))))
    return found


def springs(course: Course) -> Iterator[Block]:
    """Go through what stands against a release because of a spring's load or its coils."""
    for one in springs_in(course):
        yield from _untested(one)
        for word, paper in _papers(one):
            if signed(paper, course):
                continue
            load = paper.characteristic == LOAD
            words = load_words(one) if load else coil_words(one)
            step = None if load and one.tired else one.step
            yield Block(word, one.valve, paper.characteristic, f"{word}, {words}", step,
                        sign=paper)  # fmt: skip


def spring_papers(course: Course) -> Iterator[Signable]:
    """Go through what is signed by whoever accepts a spring that is not within.

    A load leans on the tester and on the installed height, coils on the height alone.
    """
    for one in springs_in(course):
        yield from (paper for _, paper in _papers(one))


def _papers(one: Sprung) -> Iterator[tuple[Literal["outside", "undecided"], Signable]]:
    if one.load is not None and one.load != "within" and one.told is not None:
        places = tuple(sorted((*one.read, one.told.place)))
        yield one.load, Signable(one.valve, LOAD, "", one.spring.words, _load(one), places)
    if one.coils is not None and one.coils != "within":
        yield one.coils, Signable(one.valve, COILS, "", _least(one), _room(one), one.read)


def _untested(one: Sprung) -> Iterator[Block]:
    if not one.spring.load_limited:
        return
    if one.told is None:
        why = f"not tested yet at {one.spring.height}; tell its load"
        yield Block("not measured", one.valve, LOAD, why)
    elif one.told.void:
        why = f"stale after {one.told.void}; test the spring that is there now"
        yield Block("stale", one.valve, LOAD, why)


def load_words(one: Sprung) -> str:
    """Say the load at the installed height and its limit; empty where there is none to say."""
    if not _load(one):
        return ""
    words = f"{_load(one)}, against {one.spring.words}"
    return f"{words}; a shim brings back a height, never a tired spring" if one.tired else words


def coil_words(one: Sprung) -> str:
    """Say the room before the coils touch and its limit; empty where there is none to say."""
    return f"{_room(one)}, against {_least(one)}" if _room(one) and _least(one) else ""


def _load(one: Sprung) -> str:
    if one.load_n is None or one.heights_pm is None:
        return ""
    spring = one.spring
    here = f"{force_text(one.load_n, spring.force)} at {length(one, one.heights_pm[1])} installed"
    if one.tired and one.told is not None:
        return f"{one.told.event.load} at {spring.height} on the tester, {here}"
    return here


def _room(one: Sprung) -> str:
    return "" if one.room_pm is None else f"{length(one, one.room_pm)} at full lift"


def _least(one: Sprung) -> str:
    least = one.spring.bind_least_pm
    return "" if least is None else f"{length(one, least)} at least"


def length(one: Sprung, pm: int) -> str:
    """Write a length in the unit of the book, for display."""
    unit = one.spring.unit
    return f"{rounded_text(pm, unit, 2 if unit == 'mm' else 4)} {unit}"


def _sprung(
    valve: str, spring: Spring, told: Loaded | None, ends: tuple[int, int] | None, u_pm: int,
    step: int | None,
) -> Sprung:  # fmt: skip
    room: int | None = None
    coils: VerdictWord | None = None
    if ends is not None and spring.lift_pm is not None and spring.solid_pm is not None:
        room = ends[0] - spring.lift_pm - spring.solid_pm
        coils = verdict(room, u_pm, spring.bind_least_pm, None)
    if told is None or told.void or ends is None or spring.tested_at_pm is None:
        return Sprung(valve, spring, told, ends, step, room_pm=room, coils=coils)
    event, at = told.event, spring.tested_at_pm
    load, u, word, tired = _reckoned(
        spring.points, spring.load, at, event.load, event.u or "0 N", ends, u_pm
    )
    return Sprung(valve, spring, told, ends, step, load, u, word, tired, room, coils)


@lru_cache(maxsize=1024)  # asked with every reading of the job, and nearly always the same
def _reckoned(
    points: tuple[tuple[int, Fraction], ...], limits: tuple[Fraction | None, Fraction | None],
    tested_at_pm: int, told: str, told_u: str, ends: tuple[int, int], u_pm: int,
) -> tuple[Fraction, Fraction, VerdictWord, bool]:  # fmt: skip
    """Give the load at the installed height, its uncertainty, the verdict, and what is tired."""
    new = from_table([(Fraction(at, PM_PER_MM), force) for at, force in points])
    at, shown, u_shown = Fraction(tested_at_pm, PM_PER_MM), parse_force(told), parse_force(told_u)
    lost = new.load(at) - shown
    tested = at_test_height(new, at, shown, u_shown, limits[0])
    low, high = (Fraction(end, PM_PER_MM) for end in ends)
    load = new.load(high) - lost
    u = combined_n(u_shown, new.rate_at(high) * u_pm / PM_PER_MM)
    word = _worse(tested, load_verdict(load, u, limits[0], None),
                  load_verdict(new.load(low) - lost, u, None, limits[1]))  # fmt: skip
    return load, u, word, tested != "within"


def _worse(*words: VerdictWord) -> VerdictWord:
    return next(word for word in _ORDER if word in words)


_ORDER: Final[tuple[VerdictWord, ...]] = ("outside", "undecided", "within")
