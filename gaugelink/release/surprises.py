"""Readings that came out otherwise than the work let expect, and whether somebody has explained it.

A verdict of *within* says that the head is as the book wants it; a surprise says that something on
the way there was not as it was told. It is answered by measuring once more with the same result, or
by a person who accepts it by name and with a reason. Else it stands against a release.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from gaugelink.planning.compared import before_it, compared_in, counting, repeats
from gaugelink.planning.forecast_words import moved_words, part_words, size_words, told_words
from gaugelink.quantity import exact_text
from gaugelink.release.block import EXPECTED, Block, Signable, signed

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gaugelink.course import Course
    from gaugelink.judging import Judgement
    from gaugelink.planning.compared import Travels
    from gaugelink.planning.forecast import Compared, Sized

TO_DO: Final = "measure it once more, or have it accepted by name with a reason"


@dataclass(frozen=True, slots=True)
class Surprise:
    """A reading that counts and surprised.

    Attributes:
        compared: the reading beside what was foretold.
        step: the step of the plan where it is measured.
        paper: what is signed by whoever accepts it.
        before: the reading that it took the place of; None where it is the first since the work.
        answer: what has explained it; empty: nothing yet.
    """

    compared: Compared
    step: int
    paper: Signable
    before: Sized | None
    answer: str

    @property
    def why(self) -> str:
        """What is the matter, and what to do."""
        words = moved_words(self.compared)
        if self.before is not None:
            words += f"; {self.before.shown} before that, which is another size"
        return f"{words}; {TO_DO}"


def surprises_in(
    course: Course, travels: Travels, compared: Sequence[Compared] | None = None
) -> list[Surprise]:
    """List the readings and sweeps that count and surprised, in order of measuring.

    Args:
        course: where the session stands.
        travels: of its sweeps (`gaugelink.judging.Judgement.travels`).
        compared: what `compared_in` gives for them; None: it is reckoned here.
    """
    if compared is None:
        compared = compared_in(course, travels)
    at = {measured: (number, place)
          for number, place, measured in counting(course, course.filled)}  # fmt: skip
    found = [
        _surprise(course, item, travels, *at[item.found.placed.place])
        for item in compared
        if item.surprise and item.found.placed.place in at
    ]
    return sorted(found, key=lambda one: one.step)


def surprises(
    course: Course, judgement: Judgement, compared: Sequence[Compared] | None
) -> Iterator[Block]:
    """Go through the surprises that nothing has explained yet."""
    for one in surprises_in(course, judgement.travels, compared):
        if not one.answer:
            position = one.compared.forecast.position
            yield Block("surprise", position.valve, part_words(position), one.why, one.step,
                        sign=one.paper)  # fmt: skip


def _surprise(
    course: Course, item: Compared, travels: Travels, number: int, place: int
) -> Surprise:
    shown, position = item.found.shown, item.forecast.position
    paper = Signable(
        position.valve,
        position.characteristic,
        position.method,
        f"{EXPECTED}{size_words(item.forecast)} after {told_words(item.forecast.because)}",
        f"{exact_text(shown.pm, shown.unit)} {shown.unit}",
        (place,),
    )
    before = before_it(course, item.found, travels)
    answer = ""
    if before is not None and repeats(course, before, item.found):
        answer = f"measured once more, and it is the same: {before.shown}, {shown}"
    elif (found := signed(paper, course)) is not None:
        answer = f"accepted by {found[1].by}: {found[1].reason}"
    return Surprise(item, number, paper, before, answer)
