"""What valves and cylinders have in common, as the head stands: a release holds it to the sheet."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Final

from gaugelink.chamberfile import parse_volume
from gaugelink.judging import Measured
from gaugelink.planning.amount import Amount, shown
from gaugelink.planning.survey import Findings, survey
from gaugelink.planning.task import Shop
from gaugelink.planning.ties import VOLUME
from gaugelink.planning.together import RATIO, Common, together
from gaugelink.release.block import Block, Signable, readings, signed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gaugelink.course import Course
    from gaugelink.judging import Judgement
    from gaugelink.limits import Sheet
    from gaugelink.planning.amount import Unit
    from gaugelink.planning.task import Task
    from gaugelink.signoff import Filled

_READ: Final = ("stand-down", "head thickness")
_NOTHING: Final = Shop("", {})


def commons_in(course: Course, judgement: Judgement) -> tuple[Common, ...]:
    """Reckon what the sheet limits for several places at once, from the readings that count.

    A figure whose readings are not all there is left out: those are asked for by themselves.

    Args:
        course: where the session stands, with its sheet and gauges.
        judgement: what counts in it, held against the sheet.
    """
    sheet = course.sheet
    if sheet is None or (sheet.chamber is None and not sheet.rebuild.spread_pm):
        return ()
    return tuple(one for one in together(_task(course, sheet, judgement), {}, 0) if one.whole)


def volumes_in(course: Course) -> dict[int, tuple[int, int]]:
    """Give the chamber volumes that were measured and still count.

    Returns:
        By cylinder the volume and its standard uncertainty or 0, cubic micrometres.
    """
    return {
        cylinder: (parse_volume(told.event.volume), parse_volume(told.event.u or "0 cm3"))
        for cylinder, told in course.signoff.filled(course.work).items()
        if not told.void
    }


def _task(course: Course, sheet: Sheet, judgement: Judgement) -> Task:
    given = [
        Measured(at.valve, at.characteristic, at.station, at.direction, one.shown.pm,
                 one.shown.text, one.shown.unit, course.gauges[one.gauge].u_pm, one.place)
        for _, one in readings(course)
        if (at := one.position).characteristic in _READ and one.shown is not None
    ]  # fmt: skip
    findings = Findings(volumes=volumes_in(course))
    return survey(sheet, given, judgement, _NOTHING, findings).task


def commons(course: Course, judgement: Judgement) -> Iterator[Block]:
    """Go through what stands against a release because places do not go together."""
    for one in commons_in(course, judgement):
        word, paper = one.verdict, _paper(course, one)
        if (
            word is not None
            and word != "within"
            and paper is not None
            and not signed(paper, course)
        ):
            how = " (measured)" if one.filled else " (reckoned)" if one.thick else ""
            why = f"{word}, {paper.value}{how} against {paper.limit}"
            yield Block(word, "", one.name, why, sign=paper)
    yield from _mixed(course)


def _mixed(course: Course) -> Iterator[Block]:
    """Ask for the other chambers where some were filled and the book limits their spread."""
    book = course.sheet.chamber if course.sheet is not None else None
    if book is None or book.apart is None or course.sheet is None:
        return
    filled, every = volumes_in(course), range(1, course.sheet.head.cylinders + 1)
    lacking = [str(number) for number in every if number not in filled]
    if filled and lacking:
        which = f"cylinder{'s' if len(lacking) > 1 else ''} {', '.join(lacking)}"
        why = (f"measured at some and only reckoned at {which}; fill these too, the book limits "
               "how far chambers lie apart")  # fmt: skip
        yield Block("not measured", "", VOLUME, why)


def common_papers(course: Course, judgement: Judgement) -> Iterator[Signable]:
    """Go through what is signed by whoever accepts a figure that is not within."""
    for one in commons_in(course, judgement):
        paper = _paper(course, one)
        if paper is not None:
            yield paper


def _paper(course: Course, one: Common) -> Signable | None:
    if one.verdict == "within":
        return None
    return Signable("", one.name, "", limit_words(one), shown(one), _places(course, one))


def limit_words(one: Common) -> str:
    """Write the limits of a figure.

    >>> from fractions import Fraction
    >>> from gaugelink.planning.together import Common
    >>> one = Common("compression ratio of cylinder 2", "", Fraction(17), Fraction(0),
    ...              Fraction("15.5"), Fraction(17))
    >>> limit_words(one)
    'min 15.50 to max 17.00'
    """
    return ends_words(one.unit, one.lower, one.upper)


def ends_words(unit: Unit, lower: Fraction | None, upper: Fraction | None) -> str:
    """Write limits of a figure in its own unit.

    >>> from fractions import Fraction
    >>> ends_words("cm3", None, Fraction(32))
    'max 32.00 cm3'
    """
    like = Amount("", unit, Fraction(0), Fraction(0), None, None)
    ends = (("min", lower), ("max", upper))
    return " to ".join(f"{name} {shown(like, end)}" for name, end in ends if end is not None)


def _places(course: Course, one: Common) -> tuple[int, ...]:
    """Give the record places of the readings that a figure is told from."""
    assert course.sheet is not None
    names = [valve.name for valve in course.sheet.head.valves()]
    leans = {("stand-down", names[at]) for at in one.at}
    if one.thick:
        leans.add(("head thickness", ""))
    told = [last.place for cylinder, last in course.signoff.filled(course.work).items()
            if f"cylinder {cylinder}" in one.filled]  # fmt: skip
    return tuple(sorted((
        *told,
        *(course.filled[number] for number, read in readings(course)
          if (read.position.characteristic, read.position.valve) in leans),
    )))  # fmt: skip


@dataclass(frozen=True, slots=True)
class ChamberNow:
    """The chamber of one cylinder, as far as it is known.

    Attributes:
        cylinder: counted from the first.
        told: the volume that was measured last, with its place in the record; None: none was.
        volume: what counts now, measured or reckoned, cubic micrometres; None: not known.
        room, ratio: volume and compression ratio, as far as the sheet limits them.
    """

    cylinder: int
    told: Filled | None
    volume: int | None
    room: Common | None = None
    ratio: Common | None = None


def chambers_in(course: Course, judgement: Judgement) -> list[ChamberNow]:
    """List the chambers of a head; none where the sheet says nothing of them."""
    sheet = course.sheet
    if sheet is None or sheet.chamber is None:
        return []
    task = _task(course, sheet, judgement)
    of = {one.name: one for one in together(task, {}, 0)}
    told = course.signoff.filled(course.work)
    return [
        ChamberNow(number, told.get(number), one.volume, of.get(f"{VOLUME} of {one.name}"),
                   of.get(f"{RATIO} of {one.name}"))
        for number, one in enumerate(task.cylinders, 1)
    ]  # fmt: skip
