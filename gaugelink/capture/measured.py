"""What a session has measured, as judging takes it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.capture.sweeping import clearance_for
from gaugelink.judging import Judgement, Measured, judge
from gaugelink.quantity import parse_length, rounded_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from fractions import Fraction

    from gaugelink.head import Position
    from gaugelink.limits import Limit, Sheet
    from gaugelink.metrology.sweep_result import Sweep as Analysis
    from gaugelink.session import Session


def judge_session(sheet: Sheet, session: Session, analyses: Mapping[int, Analysis]) -> Judgement:
    """Judge what counts in a session.

    Args:
        sheet: the limits.
        session: the readings and sweeps.
        analyses: the analysis of each sweep by its place in the record.
    """
    sized = sheet.sized(session.sizes)
    found = judge(sized, measured_in(sized, session, analyses))
    found.travels.update(travels_of(analyses))
    return found


def travels_of(analyses: Mapping[int, Analysis]) -> dict[int, tuple[int, int]]:
    """Give the travel of every sweep that has one, with its standard uncertainty, by place."""
    return {place: (one.travel_pm, one.travel_u_pm) for place, one in analyses.items()
            if one.travel_pm}  # fmt: skip


def measured_in(sheet: Sheet, session: Session, analyses: Mapping[int, Analysis]) -> list[Measured]:
    """List what counts in a session: single readings, and sweeps as travel and as clearance."""
    return [*_readings(session), *_sweeps(sheet, session, analyses)]


def rock_limits(sheet: Sheet, position: Position) -> list[Limit]:
    """List the limits that a sweep at a position was taken for.

    A valve may have one limit for each direction, with another lift and reach: only that of the
    sweep's own direction, lift and kind of valve turns its travel into clearance.
    """
    lift_pm = parse_length(position.lift).pm if position.lift else None
    return [
        limit
        for limit in sheet.of("guide clearance", position.valve)
        if limit.method == "rock"
        and limit.takes(position.station, position.direction)
        and (limit.lift.pm if limit.lift else None) == lift_pm
        and limit.valve_used == position.valve_used
    ]


def _readings(session: Session) -> Iterator[Measured]:
    for item in session.readings():
        position = item.tag.position
        yield Measured(
            position.valve, position.characteristic, position.station, position.direction,
            item.shown.pm, item.shown.text, item.shown.unit,
            session.gauges[item.tag.gauge].u_pm, item.place,
        )  # fmt: skip


def _sweeps(sheet: Sheet, session: Session, analyses: Mapping[int, Analysis]) -> Iterator[Measured]:
    """Give each sweep once as travel, and once as clearance for each limit that asks for it."""
    for item in session.sweeps():
        analysis = analyses[item.place]
        if not analysis.travel_pm:
            continue
        position = item.tag.position
        figures: list[tuple[str, int | Fraction, int]] = [
            ("travel", analysis.travel_pm, analysis.travel_u_pm)
        ]
        for limit in rock_limits(sheet, position):
            reckoned = clearance_for(analysis, limit)
            if reckoned is not None:
                figures.append(("clearance", reckoned.clearance_pm, reckoned.clearance_u_pm))
                break
        for figure, value_pm, u_pm in figures:
            yield Measured(
                position.valve, position.characteristic, "", position.direction,
                value_pm, rounded_text(value_pm, "mm", 4), "mm", u_pm, item.place, "rock",
                parse_length(position.lift).pm if position.lift else None, position.valve_used,
                "travel" if figure == "travel" else "clearance",
            )  # fmt: skip
