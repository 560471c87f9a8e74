"""A rock sweep as it is drawn: its trace, its plateaus, and what they mean in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from gaugelink.capture.measured import rock_limits
from gaugelink.capture.sweeping import clearance_for
from gaugelink.metrology.conformity import verdict
from gaugelink.quantity import micrometres_text, rounded_text
from gaugelink.view.parts import Document, scale, um

if TYPE_CHECKING:
    from fractions import Fraction

    from gaugelink.head import Position
    from gaugelink.limits import Bound, Limit, Sheet
    from gaugelink.metrology.conformity import VerdictWord
    from gaugelink.metrology.rock import Clearance
    from gaugelink.metrology.sweep_result import Sweep as Analysis
    from gaugelink.reading import Trace

MOST_POINTS = 2000


@dataclass(frozen=True, slots=True)
class SweepView:
    """Everything about one sweep that a drawing needs.

    Attributes:
        place: its place in the record; None while it runs.
        usable: what the record says; None while it runs.
        spoilt: what the record says against it.
    """

    position: Position
    gauge: str
    trace: Trace
    analysis: Analysis
    place: int | None = None
    usable: bool | None = None
    spoilt: tuple[str, ...] = ()

    @property
    def running(self) -> bool:
        """Whether it is being recorded now."""
        return self.place is None

    def flags(self) -> list[tuple[str, str]]:
        """Give code and sentence of everything that was found.

        The mode of the gauge is not the analysis's business; the record has it all the same.
        """
        found = [(flag.code, flag.text) for flag in self.analysis.flags]
        known = {text for _, text in found}
        return [("mode", text) for text in self.spoilt if text not in known] + found


@dataclass(frozen=True, slots=True)
class _Held:
    """A sweep held against the limit that it was taken for."""

    limit: Limit | None
    reckoned: Clearance | None
    value_pm: int | Fraction
    u_pm: int
    word: VerdictWord | None

    @property
    def upper(self) -> Bound | None:
        return self.limit.upper if self.limit else None

    @property
    def by_travel(self) -> bool:
        return self.limit is not None and self.limit.figure == "travel"


def _held(sheet: Sheet, view: SweepView) -> _Held:
    analysis = view.analysis
    limit = next(iter(rock_limits(sheet, view.position)), None)
    reckoned = clearance_for(analysis, limit) if limit else None
    value_pm: int | Fraction = analysis.travel_pm
    u_pm = analysis.travel_u_pm
    if reckoned is not None and limit is not None and limit.figure == "clearance":
        value_pm, u_pm = reckoned.clearance_pm, reckoned.clearance_u_pm
    word = None
    usable = analysis.usable if view.usable is None else view.usable
    if value_pm and limit is not None and limit.upper is not None and usable:
        word = verdict(value_pm, u_pm, None, limit.upper.pm)
    return _Held(limit, reckoned, value_pm, u_pm, word)


def sweep_headline(sheet: Sheet, view: SweepView) -> Document:
    """Give a sweep's figure as a table shows it: text, unit and limit scale.

    The figure is the one that the sheet limits, clearance or travel, rounded for reading.
    """
    held = _held(sheet, view)
    if not held.value_pm:
        return {}
    return {
        "text": rounded_text(held.value_pm, "mm", 4),
        "unit": "mm",
        "scale": scale(
            held.value_pm, held.u_pm, None, held.upper.pm if held.upper else None, held.word
        ),
    }


def sweep_document(sheet: Sheet, view: SweepView) -> Document:
    """Write a sweep for drawing."""
    position, trace, analysis = view.position, view.trace, view.analysis
    held = _held(sheet, view)
    limit, reckoned, upper, by_travel = held.limit, held.reckoned, held.upper, held.by_travel
    skip = -(-len(trace.t_us) // MOST_POINTS)
    return {
        "place": view.place,
        "valve": position.valve,
        "direction": position.direction,
        "gauge": view.gauge,
        "running": view.running,
        "unit": trace.unit,
        "points": [
            [t / 1e6, value / 1e6]
            for t, value in zip(trace.t_us[::skip], trace.value_pm[::skip], strict=True)
        ],
        "plateaus": [
            {
                "t0_s": trace.t_us[item.start] / 1e6,
                "t1_s": trace.t_us[item.end] / 1e6,
                "level_um": um(item.level_pm),
                "side": item.side,
                "used": item.used,
                "why": item.why,
            }
            for item in analysis.plateaus
        ],
        "travel_um": um(analysis.travel_pm or None),
        "travel_u_um": um(analysis.travel_u_pm) if analysis.travel_pm else None,
        "factor": f"{float(reckoned.factor):.2f}" if reckoned else "",
        "clearance_um": um(reckoned.clearance_pm) if reckoned else None,
        "clearance_u_um": um(reckoned.clearance_u_pm) if reckoned else None,
        "limit_um": um(upper.pm) if upper else None,
        "limit_of": "travel" if by_travel else "clearance",
        "limit_words": limit.words if limit else "",
        "verdict": held.word,
        "lift": position.lift,
        "valve_used": position.valve_used,
        "full_rocks": analysis.full_rocks,
        "usable": view.usable,
        "flags": [{"code": code, "words": words} for code, words in view.flags()],
        "words": _words(analysis, limit),
    }


def _words(analysis: Analysis, limit: Limit | None) -> list[str]:
    """Explain the number, sentence by sentence."""
    rocks = analysis.full_rocks
    words = [f"{rocks} full {'rock' if rocks == 1 else 'rocks'} so far counted."]
    if not analysis.travel_pm:
        return [*words, "The travel shows after the first full rocks."]
    words.append(
        "The travel is the distance between the high and the low plateaus; all of them are "
        "fitted at once with the base's creep, which takes the creep out."
    )
    words.append(
        f"Travel {micrometres_text(analysis.travel_pm)} um"
        + (f" (u {micrometres_text(analysis.travel_u_pm)} um)." if analysis.travel_u_pm else ".")
    )
    reckoned = clearance_for(analysis, limit) if limit else None
    if limit is not None and reckoned is not None:
        words.append(
            f"Guide {limit.guide_length}, reach {limit.reach}: the travel is "
            f"{float(reckoned.factor):.2f} times the clearance, which so is "
            f"{micrometres_text(reckoned.clearance_pm)} um."
        )
    return words
