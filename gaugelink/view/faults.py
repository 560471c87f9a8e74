"""Whose fault a clearance is, for pages and the report."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.capture.measured import measured_in
from gaugelink.planning.attribution import attributions

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelink.judging import Judged
    from gaugelink.planning.attribution import Finding
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
