"""What a bench lacks for a job, said before it begins: it runs all the same."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.fitness import WORDS, fitness
from gaugelink.head import ZERO_CHECK
from gaugelink.quantity import micrometres_text

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gaugelink.benchfile import Placed
    from gaugelink.limits import Sheet
    from gaugelink.plan import Step
    from gaugelink.reading import Gauge


def overdue(gauges: Iterable[Gauge], today: str) -> list[str]:
    """Say of each gauge whose calibration was due before today that it was.

    Args:
        gauges: the gauges.
        today: the date, ISO 8601; a gauge that is due today is not overdue.

    >>> from gaugelink.reading import Gauge
    >>> old = Gauge("M1", "micrometer", "Micrometer", "1", "line", 1, "2026-01-31")
    >>> overdue([old], "2026-02-01")[0][:52]
    'M1 (Micrometer): its calibration was due on 2026-01-'
    """
    return [
        f"{gauge.id} ({gauge.title}): its calibration was due on {gauge.calibration_due}; its "
        "readings prove less than they say"
        for gauge in gauges
        if gauge.calibration_due < today
    ]


def not_measurable(plan: Iterable[Step], gauges: Iterable[Placed]) -> list[str]:
    """Say which characteristics of a plan no gauge of the bench can measure.

    A rock sweep needs a gauge that sends all the time.
    """
    gauges = list(gauges)
    kinds = {item.gauge.kind for item in gauges}
    swept = {item.gauge.kind for item in gauges if item.driver.sends == "all the time"}
    found: dict[str, None] = {}
    for step in plan:
        if step.position.characteristic == ZERO_CHECK:
            continue  # it belongs to the readings of the same gauge, and they are named
        name = step.position.characteristic + (" by rock" if step.sweep else "")
        if step.gauge_kind not in kinds:
            found[f"{name} cannot be measured: the bench has no {step.gauge_kind}"] = None
        elif step.sweep and step.gauge_kind not in swept:
            found[
                f"{name} cannot be measured: no {step.gauge_kind} of the bench sends all the time"
            ] = None
    return list(found)


def too_coarse(sheet: Sheet, gauges: Iterable[Gauge]) -> list[str]:
    """Say which limits of a sheet nothing can be within, because the gauges are too coarse."""
    found = {
        f"{item.limit.characteristic}{' by rock' if item.limit.method == 'rock' else ''}: the "
        f"gauges of this bench {WORDS[item.word]}; u is {micrometres_text(item.u_pm)} um, and from "
        f"{micrometres_text(item.u_most_pm)} um on no value would be within": None
        for item in fitness(sheet, gauges)
        if item.word == "cannot"
    }
    return list(found)
