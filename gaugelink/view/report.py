"""A job as its report draws it."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Final

from gaugelink.events import JobJudged, Verdict
from gaugelink.metrology.conformity import RULE
from gaugelink.planning.chamber import CUBIC_CM
from gaugelink.planning.ties import VOLUME
from gaugelink.planning.together import RATIO
from gaugelink.quantity import exact_text, rounded_text
from gaugelink.release import beside, ends_words, signed
from gaugelink.view.faults import decider_documents, fault_documents
from gaugelink.view.forecast import forecast_documents
from gaugelink.view.order import order_document
from gaugelink.view.parts import Document, gauge_document, verdict_document
from gaugelink.view.release import release_document

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gaugelink.events import WorkDone
    from gaugelink.limits import Limit, Sheet, Spring
    from gaugelink.planning.amount import Unit
    from gaugelink.reading import Stamp
    from gaugelink.record import SignedHead
    from gaugelink.view.state import JobView

CAUTIONS: Final = (
    (
        "This report records and compares measurements. It does not replace the engine maker's "
        "manual, the machine maker's manual, local law or a qualified person's judgement; "
        "aviation, marine-class and rail parts need licensed release."
    ),
    (
        "A verdict is only as good as the limits, the gauge's zero and the position: a person "
        "releases the head, not this program."
    ),
    (
        "Valve springs under a compressor hold hundreds of newtons: guard face and hands, wear eye "
        "protection, see that the compressor is seated before reaching for the keepers."
    ),
    (
        "Never exceed the maker's limits for skimming, shimming or grinding, even where the "
        "arithmetic would save the part. Valve-to-piston clearance is outside this report."
    ),
    (
        "Disconnect gauge leads before starting a machine. Edges of machined faces cut; heads are "
        "heavy: hoist, and never reach under."
    ),
    "Sodium-filled exhaust valves must never be cut, ground through or melted.",
)
"""The usual cautions (common practice, no source)."""


def judged_event(view: JobView, stamp: Stamp) -> JobJudged:
    """Make the event that puts the verdicts on record."""
    return JobJudged(
        stamp,
        RULE,
        tuple(
            Verdict(
                item.valve,
                item.characteristic,
                item.method,
                exact_text(item.value_pm, item.unit),
                item.unit,
                item.u_pm or 0,
                item.verdict,
                item.limit,
                item.source,
                item.reason,
                item.places,
            )
            for item in view.judgement().verdicts
        ),
    )


def report_document(view: JobView, head: SignedHead, advice: Document | None = None) -> Document:
    """Write the whole report.

    Args:
        view: the job.
        head: the signed head that the report carries.
        advice: the cheapest plan for the head; None where nobody has given prices.
    """
    session = view.bench.session
    judgement = view.judgement()
    return {
        "job": view.job_document(),
        "head": view.head_document(),
        "gauges": _gauges(view),
        "verdicts": [verdict_document(item) for item in judgement.verdicts],
        "faults": fault_documents(view, judgement.verdicts),
        "deciders": decider_documents(view, judgement.verdicts),
        "not_measured": [
            {"valve": item.valve or None, "characteristic": item.characteristic,
             "method": item.method, "why": item.why}
            for item in judgement.missing
        ],
        "work": [_work(place, event) for place, event in session.work],
        "forecast": forecast_documents(session, judgement.travels, view.compared()),
        "sweeps": [view.sweep_at(item.place) for item in session.sweeps()],
        "readings": [
            view.entry(place)
            for place in sorted(session.history)
        ],
        "limits": [
            *(_limit(item) for item in (*view.sheet.limits, *view.sheet.oversizes)),
            *(row for item in view.sheet.springs for row in _spring_limits(item)),
            *_common_limits(view.sheet),
        ],
        "beside": [
            {"valve": paper.valve or None, "what": paper.characteristic, "value": paper.value,
             "accepted": signed(paper, session) is not None}
            for paper in beside(session, judgement)
        ],
        "counts": judgement.counts(),
        # By the day of the signed head: the same record gives the same report, whenever printed.
        "release": release_document(session, judgement, head.utc[:10], 200, view.compared()),
        "advice": advice,
        "order": order_document(session, view.compared()),
        "rule": RULE,
        "cautions": list(CAUTIONS),
        "record": {
            "size": head.size,
            "root": head.root.hex(),
            "log": head.log,
            "key": head.key.hex(),
            "utc": head.utc,
            "signature": head.signature.hex(),
        },
    }  # fmt: skip


def _gauges(view: JobView) -> list[Document]:
    """Write the gauges of the bench, and after them those of the record that are not on it now."""
    here = view.gauges()
    marks = {item["id"] for item in here}
    return here + [
        gauge_document(gauge, "", "not on the bench", "", "")
        for gauge in view.bench.session.gauges.values()
        if gauge.id not in marks
    ]


def _work(place: int, event: WorkDone) -> Document:
    detail = [str(event.depth)] if event.depth else []
    if event.size is not None:
        detail.append(f"size {event.size or 'standard'}")
    return {
        "place": place,
        "operation": event.operation,
        "valves": list(event.valves),
        "gauge": event.gauge or "",
        "detail": ", ".join(detail),
        "by": event.by,
        "utc": event.stamp.utc,
    }


def _limit(limit: Limit) -> Document:
    parts = []
    for word in ("new", "service"):
        low, high = limit.bounds.get(f"{word}_min"), limit.bounds.get(f"{word}_max")
        if low is not None and high is not None:
            parts.append(f"{word} {low} to {high}")
        elif low is not None:
            parts.append(f"{word} min {low}")
        elif high is not None:
            parts.append(f"{word} max {high}")
    details = [f"lift {limit.lift}", f"{limit.valve_used} valve"] if limit.lift else []
    if limit.guide_length is not None:
        details += [f"guide {limit.guide_length}", f"reach {limit.reach}", f"as {limit.figure}"]
    return {
        "characteristic": limit.characteristic + (f", size {limit.size}" if limit.size else ""),
        "valves": ", ".join(limit.kinds) if limit.valves else "head",
        "method": limit.method,
        "judge": limit.judge,
        "words": ", ".join([*parts, *details]),
        "source": limit.source,
    }


def _common_limits(sheet: Sheet) -> Iterator[Document]:
    """Write what the book wants of places together, as rows beside its other limits."""
    row = {"method": "", "judge": "all together"}
    for kind, spread in sheet.rebuild.spread_pm.items():
        yield {"characteristic": "spread of stand-down", **row, "valves": kind, "source": "",
               "words": f"max {rounded_text(spread, 'mm', 3)} mm"}  # fmt: skip
    book = sheet.chamber
    if book is None:
        return

    def cm3(end: int | None) -> Fraction | None:
        return None if end is None else Fraction(end, CUBIC_CM)

    held: tuple[tuple[str, Unit, tuple[Fraction | None, Fraction | None]], ...] = (
        (VOLUME, "cm3", (cm3(book.least), cm3(book.most))),
        (RATIO, "", book.ratio),
        (f"spread of {VOLUME}", "cm3", (None, cm3(book.apart))),
    )
    for name, unit, ends in held:
        if ends != (None, None):
            yield {"characteristic": name, **row, "valves": "", "source": book.source,
                   "words": ends_words(unit, *ends)}  # fmt: skip


def _spring_limits(spring: Spring) -> Iterator[Document]:
    """Write what the book wants of springs, as rows beside its other limits."""
    row = {"valves": ", ".join(spring.kinds), "method": "", "judge": "each",
           "source": spring.source}  # fmt: skip
    if spring.load_limited:
        words = f"{spring.words} installed; tested at {spring.height}"
        yield {"characteristic": "spring load", **row, "words": words}
    if spring.bind_least_pm is not None:
        places = 2 if spring.unit == "mm" else 4
        least, lift, solid = (
            f"{rounded_text(pm or 0, spring.unit, places)} {spring.unit}"
            for pm in (spring.bind_least_pm, spring.lift_pm, spring.solid_pm)
        )
        words = f"min {least}, lift {lift}, solid height {solid}"
        yield {"characteristic": "coil-bind margin", **row, "words": words}
