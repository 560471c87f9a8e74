"""The pieces that the page and the report share."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gaugelink.events import (
    PositionSkipped,
    ReadingAssigned,
    ReadingParked,
    ReadingRefused,
    ReadingTaken,
    SweepParked,
    SweepTaken,
)
from gaugelink.metrology.conformity import verdict
from gaugelink.quantity import PM_PER_MM, micrometres_text
from gaugelink.wire.base import printable

if TYPE_CHECKING:
    from fractions import Fraction

    from gaugelink.head import Position
    from gaugelink.history import Entry
    from gaugelink.judging import Judged
    from gaugelink.limits import Limit, Sheet
    from gaugelink.reading import Gauge
    from gaugelink.session import Session

Document = dict[str, Any]

SCALE_JUDGES = ("each", "smallest", "largest")
"""Limits that can be held against one reading by itself, as an early hint."""


def mm(pm: int | Fraction | None) -> float | None:
    """Give a length as a number to draw with, millimetres."""
    return None if pm is None else float(pm) / PM_PER_MM


def um(pm: int | Fraction | None) -> float | None:
    """Give a length as a number to draw with, micrometres."""
    return None if pm is None else float(pm) / 1e6


def u_text(u_pm: int | None) -> str:
    """Write a standard uncertainty; empty where there is none."""
    return f"{micrometres_text(u_pm)} um" if u_pm else ""


def scale(
    value_pm: int | Fraction | None,
    u_pm: int | None,
    lower_pm: int | None,
    upper_pm: int | None,
    word: str | None,
) -> Document:
    """Give what a limit scale is drawn from."""
    return {
        "lower_mm": mm(lower_pm),
        "upper_mm": mm(upper_pm),
        "value_mm": mm(value_pm),
        "u_mm": mm(u_pm),
        "verdict": word,
    }


def verdict_document(item: Judged) -> Document:
    """Write a verdict for drawing."""
    return {
        "valve": item.valve or None,
        "characteristic": item.characteristic,
        "method": item.method,
        "text": item.text,
        "unit": item.unit,
        "u_text": u_text(item.u_pm),
        "verdict": item.verdict,
        "probability": item.probability,
        "limit": item.limit,
        "source": item.source,
        "reason": item.reason,
        "places": list(item.places),
        "scale": scale(item.value_pm, item.u_pm, item.lower_pm, item.upper_pm, item.verdict),
    }


def gauge_document(
    gauge: Gauge, port: str, state: str, text: str, unit: str, link: str = ""
) -> Document:
    """Write a gauge for drawing; the link says how much of what comes is noise, if any is."""
    return {
        "id": gauge.id,
        "kind": gauge.kind,
        "title": gauge.title,
        "serial": gauge.serial,
        "driver": gauge.driver,
        "port": port,
        "state": state,
        "link": link,
        "text": text,
        "unit": unit,
        "u_text": u_text(gauge.u_pm),
        "calibration_due": gauge.calibration_due,
    }


def limit_for_reading(sheet: Sheet, position: Position) -> Limit | None:
    """Find the limit that a single reading at a position can be held against at once."""
    for limit in sheet.of(position.characteristic, position.valve):
        if (
            limit.judge in SCALE_JUDGES
            and limit.method == position.method
            and limit.takes(position.station, position.direction)
        ):
            return limit
    return None


def reading_scale(sheet: Sheet, position: Position, value_pm: int, u_pm: int) -> Document | None:
    """Hold one reading against its limit by itself; None where no limit fits a single reading.

    It is a hint while measuring: of a limit on the smallest stem diameter only the lower side, of
    one on the largest bore only the upper side can be told from one reading.
    """
    limit = limit_for_reading(sheet, position)
    if limit is None or position.method:
        return None
    lower = limit.lower.pm if limit.lower and limit.judge != "largest" else None
    upper = limit.upper.pm if limit.upper and limit.judge != "smallest" else None
    return scale(value_pm, u_pm, lower, upper, verdict(value_pm, u_pm, lower, upper))


def entry_document(session: Session, sheet: Sheet, entry: Entry) -> Document:
    """Write one line of the history for drawing."""
    event = entry.event
    found: Document = {
        "place": entry.place,
        "valve": None,
        "characteristic": "",
        "station": "",
        "direction": "",
        "text": "",
        "unit": "",
        "gauge": "",
        "operator": event.stamp.operator,
        "utc": event.stamp.utc,
        "raw": "",
        "state": "good",
        "reason": "",
        "doubt": "",
        "scale": None,
    }
    position: Position | None = None
    match event:
        case ReadingTaken(tag=tag, shown=shown, raw=raw):
            position = tag.position
            u_pm = session.gauges[tag.gauge].u_pm
            found |= {"kind": "reading", "gauge": tag.gauge, "text": shown.text,
                      "unit": shown.unit, "raw": printable(raw),
                      "scale": reading_scale(sheet, position, shown.pm, u_pm)}  # fmt: skip
        case ReadingAssigned(tag=tag, parked=parked, reason=reason):
            position = tag.position
            source = session.history[parked].event
            assert isinstance(source, ReadingParked)
            u_pm = session.gauges[tag.gauge].u_pm
            found |= {"kind": "reading", "gauge": tag.gauge, "text": source.shown.text,
                      "unit": source.shown.unit, "raw": printable(source.raw),
                      "scale": reading_scale(sheet, position, source.shown.pm, u_pm),
                      "reason": f"from the tray ({parked}): {reason}"}  # fmt: skip
        case SweepTaken(tag=tag, usable=usable, flags=flags, raw=raw, trace=trace):
            position = tag.position
            found |= {"kind": "sweep", "gauge": tag.gauge, "unit": trace.unit,
                      "text": f"{len(trace.t_us)} samples", "raw": f"{len(raw)} bytes"}  # fmt: skip
            if not usable:
                found |= {"state": "not usable", "reason": "; ".join(flags)}
        case ReadingParked(gauge=gauge, shown=shown, raw=raw, why=why):
            found |= {"kind": "parked", "gauge": gauge, "text": shown.text, "unit": shown.unit,
                      "raw": printable(raw), "state": "unassigned", "reason": why}  # fmt: skip
            if entry.step is not None:
                position = session.plan[entry.step].position
                found |= {"state": "good", "reason": "assigned by a person"}
        case SweepParked(gauge=gauge, raw=raw, trace=trace, flags=flags, why=why):
            found |= {"kind": "parked", "gauge": gauge, "state": "not usable",
                      "text": f"{len(trace.t_us)} samples", "raw": f"{len(raw)} bytes",
                      "reason": "; ".join(("a sweep that counts nowhere", why, *flags)),
                      }  # fmt: skip
        case ReadingRefused(gauge=gauge, shown=shown, raw=raw, why=why):
            found |= {"kind": "refused", "gauge": gauge, "text": shown.text, "unit": shown.unit,
                      "raw": printable(raw), "state": "refused", "reason": why}  # fmt: skip
        case PositionSkipped(position=skipped, reason=reason):
            position = skipped
            found |= {"kind": "skipped", "state": "skipped", "reason": reason}
    if entry.stale:
        words = [f"stale: {entry.stale}", found["reason"]]
        found |= {"state": "stale", "reason": "; ".join(filter(None, words)), "scale": None}
    if entry.struck:
        found |= {"state": "struck out", "reason": entry.struck}
    if position is not None:
        found |= {
            "valve": position.valve or None,
            "characteristic": position.characteristic,
            "station": position.station,
            "direction": position.direction,
        }
    return found
