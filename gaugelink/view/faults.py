"""What helps: whose fault a clearance is, and what would decide a verdict."""

from __future__ import annotations

from math import isqrt
from typing import TYPE_CHECKING

from gaugelink.capture.measured import measured_in
from gaugelink.planning.attribution import attributions
from gaugelink.planning.deciding import Register, deciders
from gaugelink.view.parts import um

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelink.judging import Judged
    from gaugelink.planning.attribution import Finding
    from gaugelink.planning.deciding import Decider
    from gaugelink.view.parts import Document
    from gaugelink.view.state import JobView


def fault_documents(view: JobView, judged: Sequence[Judged]) -> list[Document]:
    """Write whose fault each clearance over its limit is.

    Args:
        view: the job.
        judged: the verdicts that are drawn beside them; `verdict` counts in these.
    """
    if not any(item.characteristic == "guide clearance" for item in judged):
        return []
    bench = view.bench
    measured = measured_in(view.sheet, bench.session, bench.analyses)
    numbers = {id(item): number for number, item in enumerate(judged)}
    return [
        fault_document(one) | {"verdict": numbers[id(one.judged)]}
        for one in attributions(view.sheet, measured, judged)
    ]


def fault_document(one: Finding) -> Document:
    """Write one finding."""
    answer = one.answer
    return {
        "valve": one.judged.valve,
        "method": one.judged.method,
        "by": one.by,
        "answer": answer.word if answer else None,
        "probability": answer.right if answer else None,
        "probabilities": dict(answer.probabilities) if answer else None,
        "sure": one.sure,
        "words": one.words,
        "remarks": list(one.remarks),
    }


def decider_documents(view: JobView, judged: Sequence[Judged]) -> list[Document]:
    """Write what would decide the verdicts that only their uncertainty keeps undecided.

    Args:
        view: the job.
        judged: the verdicts that are drawn beside them; `verdict` counts in these.
    """
    if all(item.verdict != "undecided" for item in judged):
        return []
    session = view.bench.session
    gauges = session.gauges
    taken_with = {item.place: gauges[item.tag.gauge] for item in session.readings()}
    scatter_pm = {}
    for sweep in session.sweeps():
        # What the display's step and the instrument leave of the travel's uncertainty (rock.md).
        taken_with[sweep.place] = gauges[sweep.tag.gauge]
        square = view.bench.analyses[sweep.place].travel_u_pm ** 2
        square -= sweep.trace.step_pm**2 // 6 + taken_with[sweep.place].u_pm ** 2
        scatter_pm[sweep.place] = isqrt(max(0, square))
    register = Register(tuple(session.gauges.values()), taken_with, scatter_pm)
    numbers = {id(item): number for number, item in enumerate(judged)}
    return [
        decider_document(one) | {"verdict": numbers[id(one.judged)]}
        for one in deciders(view.sheet, judged, register)
    ]


def decider_document(one: Decider) -> Document:
    """Write what would decide one verdict."""
    return {
        "valve": one.judged.valve or None,
        "characteristic": one.judged.characteristic,
        "method": one.judged.method,
        "more": one.more,
        "u_needed_um": um(one.u_needed_pm),
        "gauges": list(one.gauges),
        "words": one.words,
    }
