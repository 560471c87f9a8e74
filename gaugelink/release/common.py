"""What valves and cylinders have in common, as the head stands: a release holds it to the sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

from gaugelink.judging import Measured
from gaugelink.metrology.conformity import verdict
from gaugelink.planning.survey import survey
from gaugelink.planning.task import Shop
from gaugelink.planning.together import shown, together
from gaugelink.release.block import Block, Signable, readings, signed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gaugelink.course import Course
    from gaugelink.judging import Judgement
    from gaugelink.metrology.conformity import VerdictWord
    from gaugelink.planning.together import Common

_READ: Final = ("stand-down", "head thickness")
_NOTHING: Final = Shop("", {})
_PARTS: Final = 10**9
"""Figures are judged in whole parts of their unit, as lengths are in picometres of a millimetre."""


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
    given = [
        Measured(at.valve, at.characteristic, at.station, at.direction, one.shown.pm,
                 one.shown.text, one.shown.unit, course.gauges[one.gauge].u_pm, one.place)
        for _, one in readings(course)
        if (at := one.position).characteristic in _READ and one.shown is not None
    ]  # fmt: skip
    task = survey(sheet, given, judgement, _NOTHING).task
    return tuple(one for one in together(task, {}, 0) if one.whole)


def verdict_of(one: Common) -> VerdictWord:
    """Judge a figure with its guard band."""
    value, u = round(one.value * _PARTS), round(one.u * _PARTS)
    lower, upper = (None if end is None else round(end * _PARTS) for end in (one.lower, one.upper))
    return verdict(value, u, lower, upper)


def commons(course: Course, judgement: Judgement) -> Iterator[Block]:
    """Go through what stands against a release because places do not go together."""
    for word, paper in common_papers(course, judgement):
        if not signed(paper, course):
            why = f"{word}, {paper.value} against {paper.limit}"
            yield Block(word, "", paper.characteristic, why, sign=paper)


def common_papers(
    course: Course, judgement: Judgement
) -> Iterator[tuple[Literal["outside", "undecided"], Signable]]:
    """Go through the figures that are not within, with what is signed by whoever accepts one."""
    for one in commons_in(course, judgement):
        word = verdict_of(one)
        if word != "within":
            yield word, Signable("", one.name, "", limit_words(one), shown(one),
                                 _places(course, one))  # fmt: skip


def limit_words(one: Common) -> str:
    """Write the limits of a figure.

    >>> from gaugelink.planning.together import Common
    >>> from fractions import Fraction
    >>> one = Common("compression ratio of cylinder 2", "", Fraction(17), Fraction(0),
    ...              Fraction("15.5"), Fraction(17))
    >>> limit_words(one)
    'min 15.50 to max 17.00'
    """
    ends = (("min", one.lower), ("max", one.upper))
    return " to ".join(f"{name} {shown(one, end)}" for name, end in ends if end is not None)


def _places(course: Course, one: Common) -> tuple[int, ...]:
    """Give the record places of the readings that a figure is told from."""
    assert course.sheet is not None
    names = [valve.name for valve in course.sheet.head.valves()]
    leans = {("stand-down", names[at]) for at in one.at}
    if one.thick:
        leans.add(("head thickness", ""))
    return tuple(sorted(
        course.filled[number] for number, read in readings(course)
        if (read.position.characteristic, read.position.valve) in leans
    ))  # fmt: skip
