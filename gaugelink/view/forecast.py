"""What was foretold after work, and what was found, as page and report draw it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.capture.foretold import expected_at, preview
from gaugelink.deeds import DoWork
from gaugelink.planning.depth import parse_depth
from gaugelink.planning.forecast_words import (
    compared_words,
    difference_words,
    expected_words,
    size_words,
    told_words,
    uncertainty_words,
)
from gaugelink.release import surprises_in
from gaugelink.release.block import named

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gaugelink.planning.compared import Travels
    from gaugelink.planning.forecast import Compared
    from gaugelink.reading import Stamp
    from gaugelink.session import Session
    from gaugelink.view.parts import Document
    from gaugelink.work import Operation


def forecast_documents(
    session: Session, travels: Travels, compared: Sequence[Compared]
) -> list[Document]:
    """Write what was read and swept after work beside what was foretold, oldest first.

    Args:
        session: where it stands.
        travels: of its sweeps.
        compared: what it was held against (`gaugelink.planning.compared.compared_in`).
    """
    surprises = surprises_in(session, travels, compared)
    answers = {one.compared.found.placed.place: one.answer for one in surprises}
    return [_row(item, answers) for item in compared]


def next_expected(session: Session) -> str:
    """Say what the place that is asked for should read after work; empty where none touched it."""
    found = expected_at(session, session.step.position) if session.step else None
    return expected_words(found) if found else ""


def preview_lines(
    session: Session,
    operation: Operation,
    valves: tuple[str, ...],
    depth: str,
    stamp: Stamp,
    size: str | None = None,
) -> list[str]:
    """Say what work would foretell if it were told, a line for each place.

    Raises:
        InputError: the depth is no length.
        SessionError: the work makes no sense as it is.
    """
    told = parse_depth(depth) if depth.strip() else None
    return preview(session, DoWork(operation, valves, told, size=size), stamp)


def _row(item: Compared, answers: Mapping[int, str]) -> Document:
    forecast, found = item.forecast, item.found.shown
    position = forecast.position
    size = size_words(forecast)
    return {
        "place": item.found.placed.place,
        "valve": position.valve or None,
        "characteristic": named(position.characteristic, position.method),
        "station": position.station,
        "direction": position.direction,
        "before": str(forecast.before.shown) if forecast.before else "",
        "work": told_words(forecast.because),
        "expected": size,
        "u_text": uncertainty_words(item.u_pm, found.unit) if size else "",
        "found": str(found),
        "difference": difference_words(item),
        "word": item.word,
        "words": compared_words(item) if item.surprise else forecast.why_not,
        "answer": answers.get(item.found.placed.place, ""),
        "meanings": list(item.meanings) if item.surprise else [],
    }
