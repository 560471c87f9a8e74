"""What a deviation can be signed for now, and why one that was signed holds no longer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.release.block import EXPECTED, signable
from gaugelink.release.common import common_papers
from gaugelink.release.springs import spring_papers
from gaugelink.release.surprises import surprises_in

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelink.course import Course
    from gaugelink.events import DeviationSigned
    from gaugelink.judging import Judgement
    from gaugelink.planning.forecast import Compared
    from gaugelink.release.block import Signable


def signables(
    course: Course, judgement: Judgement, compared: Sequence[Compared] | None = None
) -> list[Signable]:
    """List what a deviation can be signed for now: what is not within, and what surprised.

    Verdicts on readings, on springs, and on what several places have in common.
    """
    return [
        *(signable(item) for item in judgement.verdicts if item.verdict != "within"),
        *beside(course, judgement),
        *(one.paper for one in surprises_in(course, judgement.travels, compared)),
    ]


def beside(course: Course, judgement: Judgement) -> list[Signable]:
    """List what is not within beside the verdicts on readings: springs, and what places share."""
    return [*spring_papers(course), *common_papers(course, judgement)]


def lapsed_words(event: DeviationSigned, papers: Sequence[Signable]) -> str:
    """Say why a deviation that fits nothing any more holds no longer.

    Args:
        event: the deviation.
        papers: what can be signed for now.

    >>> from gaugelink.events import DeviationSigned
    >>> from gaugelink.reading import Stamp
    >>> from gaugelink.release.block import Signable
    >>> event = DeviationSigned(Stamp("2026-01-02T00:00:00.000000Z", 0, "A. N.", "bench 1"), "3E",
    ...     "stand-down", "", "max 1.60 mm", "1.62 mm", "C. D.", "agreed", (17,))
    >>> lapsed_words(event, [Signable("3E", "stand-down", "", "max 1.60 mm", "1.66 mm", (40,))])
    'it was signed for 1.62 mm, and is 1.66 mm now'
    """
    now = [paper for paper in papers
           if (paper.valve, paper.characteristic, paper.method)
           == (event.valve, event.characteristic, event.method)
           and paper.limit.startswith(EXPECTED) == event.limit.startswith(EXPECTED)]  # fmt: skip
    if not now:
        return "what it was signed for is within now, or waits to be measured"
    if (other := next((paper for paper in now if paper.limit == event.limit), None)) is None:
        return f"it was signed against {event.limit}, and the limit is {now[0].limit} now"
    if other.value != event.value:
        return f"it was signed for {event.value}, and is {other.value} now"
    return "it was signed for readings that other ones of the same size have replaced"
