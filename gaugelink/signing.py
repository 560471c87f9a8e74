"""Events of what people say and sign: inspections, deviations, the release.

A signature is a name that somebody gave, with a reason; nothing here proves who stood there.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.chamberfile import parse_volume
from gaugelink.errors import InputError, SessionError
from gaugelink.events import (
    ChamberFilled,
    DeviationSigned,
    HeadReleased,
    Inspected,
    SpringTested,
)
from gaugelink.force import parse_force
from gaugelink.head import parse_valve
from gaugelink.inspection import CHECKS
from gaugelink.release import blocks, signables, signed, valves_of

if TYPE_CHECKING:
    from gaugelink.course import Course
    from gaugelink.deeds import FillChamber, Inspect, Release, SignDeviation, TellSpring
    from gaugelink.reading import Stamp

NOBODY = "a name is needed; whoever signs is named in the record"
MEANWHILE = "something has gone on record meanwhile; look at the head again, then sign"


def decide_inspection(told: Inspect, stamp: Stamp, course: Course) -> Inspected:
    """Make the event of an inspection, from what a person says.

    Raises:
        SessionError: the valves do not go with the check, or it is not said what is wrong.
    """
    look, every = CHECKS[told.check], valves_of(course)
    if unknown := sorted(set(told.valves) - set(every)):
        raise SessionError(f"found the valve {unknown[0]!r}, accepted: {', '.join(every)}")
    if look.of == "head" and told.valves:
        raise SessionError(f"{told.check!r} concerns no single valve; leave the valves out")
    words = _one_line(told.words)
    if not told.sound and not words:
        raise SessionError("say what is wrong with it; it stays in the record")
    valves = tuple(valve for valve in every if valve in told.valves)
    by = _one_line(told.by) or stamp.operator
    return Inspected(stamp, told.check, valves, told.sound, words, by)


def decide_spring(told: TellSpring, stamp: Stamp, course: Course) -> SpringTested:
    """Make the event of a spring's load, from what a person says.

    Raises:
        SessionError: no such valve, the sheet has no limit of load for it, or the load is no force
            above 0 in N, lbf or kgf.
    """
    every = valves_of(course)
    if told.valve not in every:
        raise SessionError(f"found the valve {told.valve!r}, accepted: {', '.join(every)}")
    spring = course.sheet and course.sheet.spring_of(parse_valve(told.valve).kind)
    if not spring or not spring.load_limited:
        raise SessionError(f"the sheet has no limit of load for the spring of {told.valve}")
    load, u = _one_line(told.load), _one_line(told.u)
    try:
        if parse_force(load) <= 0:
            raise SessionError(f"found a load of {load}, accepted: above 0")
        if u and parse_force(u) <= 0:
            raise SessionError(f"found a standard uncertainty of {u}, accepted: above 0, or none")
    except InputError as fault:
        raise SessionError(fault.what) from None
    by = _one_line(told.by) or stamp.operator
    return SpringTested(stamp, told.valve, load, spring.height, by, u or None)


def decide_chamber(told: FillChamber, stamp: Stamp, course: Course) -> ChamberFilled:
    """Make the event of a chamber that was filled, from what a person says.

    Raises:
        SessionError: no such cylinder, the sheet says nothing of chambers, or it is no volume above
            0 in mm3, cm3, ml or in3.
    """
    if course.sheet is None or course.sheet.chamber is None:
        raise SessionError("the sheet says nothing of chambers; it needs a table [chamber]")
    cylinders = course.sheet.head.cylinders
    if not 1 <= told.cylinder <= cylinders:
        raise SessionError(f"found cylinder {told.cylinder}, accepted: 1 to {cylinders}")
    volume, u = _one_line(told.volume), _one_line(told.u)
    try:
        if parse_volume(volume) <= 0:
            raise SessionError(f"found a volume of {volume}, accepted: above 0")
        if u and parse_volume(u) <= 0:
            raise SessionError(f"found a standard uncertainty of {u}, accepted: above 0, or none")
    except InputError as fault:
        raise SessionError(fault.what) from None
    by = _one_line(told.by) or stamp.operator
    return ChamberFilled(stamp, told.cylinder, volume, by, u or None)


def decide_deviation(told: SignDeviation, stamp: Stamp, course: Course) -> DeviationSigned:
    """Make the event of a deviation that somebody signs.

    Raises:
        SessionError: no name, no reason, or a reading that it goes by counts no longer.
    """
    by, reason = _one_line(told.by), _one_line(told.reason)
    if not by:
        raise SessionError(NOBODY)
    if not reason:
        raise SessionError("a reason is needed; it stays in the record")
    tested = course.signoff.tested(course.work).values()
    chambers = course.signoff.filled(course.work).values()
    counting = {*course.filled.values(), *(one.place for one in tested if not one.void),
                *(one.place for one in chambers if not one.void)}  # fmt: skip
    if not told.places or not set(told.places) <= counting:
        raise SessionError("the readings of this verdict have changed meanwhile; look at it again")
    return DeviationSigned(stamp, told.valve, told.characteristic, told.method, told.limit,
                           told.value, by, reason, told.places)  # fmt: skip


def decide_release(told: Release, stamp: Stamp, course: Course) -> HeadReleased:
    """Make the event of a release.

    Raises:
        SessionError: no name, something stands against it, it is released already, or the verdicts
            are not those of now.
    """
    by = _one_line(told.by)
    if not by:
        raise SessionError(NOBODY)
    if course.sheet is None:
        raise SessionError("there is no limit sheet to release the head by")
    if told.seen != course.seen:
        raise SessionError(MEANWHILE)
    if course.signoff.released:
        raise SessionError("the head is released already")
    found = blocks(course, told.judgement, stamp.utc[:10])
    if found:
        rest = len(found) - 1
        more = f", and {rest} more" if rest else ""
        raise SessionError(f"the head cannot be released: {found[0].words}{more}")
    counts = told.judgement.counts()
    accepted = [signed(paper, course) for paper in signables(course, told.judgement)]
    return HeadReleased(
        stamp,
        by,
        _one_line(told.words),
        counts["within"],
        counts["outside"],
        counts["undecided"],
        tuple(sorted({item[0] for item in accepted if item is not None})),
    )


def _one_line(text: str) -> str:
    return " ".join(text.split())
