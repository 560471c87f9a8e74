"""Recording a rock sweep, and what the analysis makes of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from gaugelink.metrology.rock import Clearance, clearance
from gaugelink.metrology.sweep import measure_travel
from gaugelink.reading import Trace

if TYPE_CHECKING:
    from gaugelink.limits import Limit
    from gaugelink.metrology.sweep_result import Sweep as Analysis
    from gaugelink.wire.base import Value


@dataclass(slots=True)
class SweepRecorder:
    """Collects the samples of one gauge while a sweep is running.

    Attributes:
        gauge: the gauge's mark.
        step: the step of the plan that the sweep is for.
        t_ns, values: the samples with the times of their arrival.
        gaps: what is known to be missing between them.
    """

    gauge: str
    step: int
    t_ns: list[int] = field(default_factory=list)
    values: list[Value] = field(default_factory=list)
    gaps: list[str] = field(default_factory=list)

    def add(self, value: Value, mono_ns: int) -> None:
        """Take in a sample with the time of its arrival."""
        self.t_ns.append(mono_ns)
        self.values.append(value)

    def trace(self) -> Trace:
        """Give the samples as the record keeps them. There must be at least one."""
        first = self.values[0].shown
        return Trace(
            first.unit,
            first.step_pm,
            tuple((t - self.t_ns[0]) // 1000 for t in self.t_ns),
            tuple(value.shown.pm for value in self.values),
            tuple(
                value.shown.text if value.shown.unit == first.unit else str(value.shown)
                for value in self.values
            ),
        )

    def raw(self) -> bytes:
        """Give the bytes of all samples, in order."""
        return b"".join(value.raw for value in self.values)

    def wrong_mode(self) -> str:
        """Tell the first mode in the sweep that is not the actual value; empty if there is none."""
        return next((value.mode for value in self.values if value.mode != "actual"), "")


def analyse_trace(trace: Trace, u_instrument_pm: int) -> Analysis:
    """Run the sweep analysis on what the record keeps."""
    units = [text.rpartition(" ")[2] if " " in text else trace.unit for text in trace.texts]
    return measure_travel(
        np.array(trace.t_us, dtype=np.int64) * 1000,
        np.array(trace.value_pm, dtype=np.int64),
        trace.step_pm,
        units=units,
        u_instrument_pm=u_instrument_pm,
    )


def clearance_for(analysis: Analysis, limit: Limit) -> Clearance | None:
    """Turn travel into clearance with the geometry of a limit; None where it states none."""
    if limit.guide_length is None or limit.reach is None or not analysis.travel_pm:
        return None
    return clearance(
        analysis.travel_pm,
        guide_length_pm=limit.guide_length.pm,
        reach_pm=limit.reach.pm,
        travel_u_pm=analysis.travel_u_pm,
    )
