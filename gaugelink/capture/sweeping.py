"""Recording a rock sweep, and what the analysis makes of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from gaugelink.metrology.rock import Clearance, clearance
from gaugelink.metrology.sweep import measure_travel
from gaugelink.metrology.sweep_live import LiveSweep
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
        live: the analysis while the sweep runs; None before the first sample.
    """

    gauge: str
    step: int
    t_ns: list[int] = field(default_factory=list)
    values: list[Value] = field(default_factory=list)
    gaps: list[str] = field(default_factory=list)
    live: LiveSweep | None = None
    _drawn: Trace | None = None

    def add(self, value: Value, mono_ns: int) -> None:
        """Take in a sample with the time of its arrival, unless the sweep is full already."""
        shown = value.shown
        if self.live is None:
            self.live = LiveSweep(shown.step_pm)
        first_ns = self.t_ns[0] if self.t_ns else mono_ns
        # In whole microseconds, as the record keeps them.
        if self.live.add((mono_ns - first_ns) // 1000 * 1000, shown.pm, shown.unit):
            self.t_ns.append(mono_ns)
            self.values.append(value)
        elif self.live.left_out == 1:
            self.gaps.append(
                f"the sweep was longer than {self.live.most} readings; what came after is not in it"
            )

    def trace(self, count: int | None = None) -> Trace:
        """Give the first samples, or all, as the record keeps them. There must be at least one."""
        first, t_ns, values = self.values[0].shown, self.t_ns[:count], self.values[:count]
        return Trace(
            first.unit,
            first.step_pm,
            tuple((t - self.t_ns[0]) // 1000 for t in t_ns),
            tuple(value.shown.pm for value in values),
            tuple(
                value.shown.text if value.shown.unit == first.unit else str(value.shown)
                for value in values
            ),
        )

    def so_far(self, u_instrument_pm: int) -> tuple[Trace, Analysis]:
        """Give what came so far and what the analysis makes of it, for the live plot.

        A long sweep is gone through anew only when it has grown by a good part (`LiveSweep`).
        There must be at least one sample.
        """
        assert self.live is not None
        analysis = self.live.so_far(u_instrument_pm)
        if self._drawn is None or len(self._drawn.t_us) != self.live.seen:
            self._drawn = self.trace(self.live.seen)
        return self._drawn, analysis

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
