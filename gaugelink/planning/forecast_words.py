"""Forecasts and surprises in plain words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.planning.forecast import STEP_OF
from gaugelink.quantity import PM_PER, exact_text, rounded_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gaugelink.events import WorkDone
    from gaugelink.head import Position
    from gaugelink.planning.forecast import Compared, Forecast
    from gaugelink.quantity import Displayed, LengthUnit


def place_words(position: Position) -> str:
    """Name a place shortly.

    >>> from gaugelink.head import Position
    >>> place_words(Position("3E", "stem diameter", "top", "along"))
    '3E stem diameter, top, along'
    """
    return f"{position.valve or 'head'} {part_words(position)}"


def part_words(position: Position) -> str:
    """Name a place without its valve.

    >>> from gaugelink.head import Position
    >>> part_words(Position("3E", "guide bore", "top", "across"))
    'guide bore, top, across'
    """
    by_rock = " by rock" if position.method == "rock" else ""
    parts = [position.characteristic + by_rock, position.station, position.direction]
    return ", ".join(part for part in parts if part)


def told_words(work: Sequence[WorkDone]) -> str:
    """Name the work with its depths and sizes: ``seat cut 0.15 mm and face skimmed``."""
    return " and ".join(
        one.operation
        + (f" {one.depth}" if one.depth else "")
        + (f" (size {one.size or 'standard'})" if one.size is not None else "")
        for one in work
    )


def size_words(forecast: Forecast) -> str:
    """Write the size or the range that is foretold, with its unit; empty where none is."""
    if forecast.why_not:
        return ""
    if forecast.is_size and forecast.before is not None and forecast.low_pm is not None:
        unit = forecast.before.shown.unit
        shown = [forecast.before.shown, *(one.depth for one in forecast.because if one.depth)]
        places = max(_places(one) for one in shown if one.unit == unit)
        return f"{rounded_text(forecast.low_pm, unit, places)} {unit}"
    if forecast.position.method == "rock":
        ends = [rounded_text(pm or 0, "mm", 3) for pm in (forecast.low_pm, forecast.high_pm)]
        return f"travel {' to '.join(dict.fromkeys(ends))} mm"
    unit = forecast.before.shown.unit if forecast.before else "mm"
    low, high = _ends((forecast.low_pm, forecast.high_pm), unit)
    if low is None:
        return f"at most {high} {unit}"
    return f"at least {low} {unit}" if high is None else f"{low} to {high} {unit}"


def _ends(ends: Sequence[int | None], unit: LengthUnit) -> Iterator[str | None]:
    """Write both ends of a range with as many places, as a drawing does: ``8.100`` beside 8.115."""
    exact = {pm: exact_text(pm, unit, most_places=5) for pm in ends if pm is not None}
    places = max(len(text.rstrip(".").partition(".")[2]) for text in exact.values())
    for pm in ends:
        if pm is None:
            yield None
        else:
            # Where the decimal does not end, the exact text says so.
            yield exact[pm] if exact[pm].endswith("...") else rounded_text(pm, unit, places)


def expected_words(forecast: Forecast) -> str:
    """Say what to expect: ``expected 1.23 mm after seat cut 0.15 mm``."""
    if forecast.why_not:
        return f"not foretold: {forecast.why_not}"
    return f"expected {size_words(forecast)} after {told_words(forecast.because)}"


def compared_words(found: Compared) -> str:
    """Say what was told and what was found.

    A whole sentence for a person, such as ``3E stand-down: seat cut 0.15 mm was told, it moved by
    0.31 mm``.
    """
    return f"{place_words(found.forecast.position)}: {moved_words(found)}"


def moved_words(found: Compared) -> str:
    """Say the same without the place: ``seat cut 0.15 mm was told, it moved by 0.31 mm``."""
    forecast, shown = found.forecast, found.found.shown
    were = "was" if len(forecast.because) == 1 else "were"
    told = f"{told_words(forecast.because)} {were} told"
    if forecast.why_not:
        return f"{told}, {shown} was found; not foretold: {forecast.why_not}"
    moves = forecast.because[0].operation in STEP_OF
    if not moves or forecast.before is None or forecast.low_pm is None or not forecast.is_size:
        return f"{told}, expected {size_words(forecast)}, found {shown}"
    moved = shown.pm - forecast.before.shown.pm
    wanted = forecast.low_pm - forecast.before.shown.pm
    by = f"it moved by {_by(abs(moved), shown)}"
    if len(forecast.because) == 1 and wanted:
        return f"{told}, {by}{', the other way' if moved * wanted < 0 else ''}"
    together = f"together {_by(abs(wanted), shown)} {_way(wanted)}"
    return f"{told}, {together}; {by} {_way(moved)}"


def surprise_words(found: Compared) -> str:
    """Say a surprise, and what it can mean."""
    *first, last = found.meanings
    return f"{compared_words(found)}. It can be that {', '.join(first)}, or {last}"


def difference_words(found: Compared) -> str:
    """Write how far a reading lies from what was foretold, with a sign; empty where nothing was."""
    if found.forecast.why_not:
        return ""
    sign = "+" if found.difference_pm > 0 else ""
    return f"{sign}{_by(found.difference_pm, found.found.shown)}"


def uncertainty_words(u_pm: int, unit: LengthUnit) -> str:
    """Write twice a standard uncertainty, as a report shows it."""
    return f"{rounded_text(2 * u_pm, unit, 3 if unit == 'mm' else 4)} {unit}"


def _places(shown: Displayed) -> int:
    return len(str(PM_PER[shown.unit] // shown.step_pm)) - 1


def _by(pm: int, shown: Displayed) -> str:
    return f"{rounded_text(pm, shown.unit, _places(shown))} {shown.unit}"


def _way(pm: int) -> str:
    return "more" if pm > 0 else "less" if pm < 0 else "in all"
