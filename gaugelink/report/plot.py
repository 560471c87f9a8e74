"""Work out the drawings of the report: a rock sweep's trace, and the heights of the head's face.

Everything comes out as places between 0 and 1 of the drawing's box (x from the left, y from the
bottom) and as texts; the template only draws. The record keeps every sample; a drawing that is
85 mm wide cannot show more than a few hundred, so a long trace is thinned for print, and its
extremes are kept.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from itertools import pairwise
from statistics import median
from typing import Any, Final, TypeAlias

from gaugelink.report.rows import items, label, whole
from gaugelink.report.scale import Axes, axis_of, common_axes, limit_scale, verdict_word
from gaugelink.report.text import micrometres, number, printable

Point: TypeAlias = tuple[float, float]
_MOST_COLUMNS: Final = 170
"""Two samples a column, on about 70 mm: finer than a printed line."""


def thin(points: Sequence[Point], columns: int = _MOST_COLUMNS) -> list[Point]:
    """Thin a trace for print: of each column's samples the first, last, lowest and highest stay.

    Args:
        points: (time, value), oldest first.
        columns: how many columns of equal time the trace is cut into.

    >>> thin([(t, 100.0 if t == 500 else 0.0) for t in range(1000)], 4)[2:5]
    [(250, 0.0), (499, 0.0), (500, 100.0)]
    """
    if len(points) <= 4 * columns:
        return list(points)
    first, last = points[0][0], points[-1][0]
    width = (last - first) / columns or 1.0
    columns_of: dict[int, list[Point]] = {}
    for point in points:
        columns_of.setdefault(min(int((point[0] - first) / width), columns - 1), []).append(point)
    kept: list[Point] = []
    for inside in columns_of.values():
        places = {0, len(inside) - 1}
        places.add(min(range(len(inside)), key=lambda at: inside[at][1]))
        places.add(max(range(len(inside)), key=lambda at: inside[at][1]))
        kept.extend(inside[at] for at in sorted(places))
    return kept


def ticks(first: float, last: float, most: int) -> list[float]:
    """Choose round figures for an axis, 1, 2 or 5 times a power of ten apart.

    >>> ticks(903.0, 1120.0, 5)
    [950.0, 1000.0, 1050.0, 1100.0]
    """
    span = last - first
    if not span > 0:
        return []
    rough = span / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(factor * power for factor in (1, 2, 5, 10) if factor * power >= rough * 0.999)
    start = math.ceil(first / step - 1e-9)
    return [round(at * step, 9) for at in range(start, math.floor(last / step + 1e-9) + 1)]


def common_words(sweeps: Sequence[Mapping[str, Any]]) -> list[str]:
    """Give the words that stand with every sweep alike, to be printed once; none for one sweep.

    >>> common_words([{"words": ["Five.", "Drift is cleared."]}, {"words": ["Drift is cleared."]}])
    ['Drift is cleared.']
    """
    every = [[printable(words, 200) for words in items(sweep.get("words"))] for sweep in sweeps]
    if len(every) < 2:
        return []
    return [words for words in dict.fromkeys(every[0]) if all(words in own for own in every)]


def sweep_axes(sweeps: Sequence[Mapping[str, Any]]) -> Axes:
    """Give the sweeps against one and the same limit one axis for their limit scales."""
    return common_axes(_judged(sweep) for sweep in sweeps)


def sweep_drawing(
    sweep: Mapping[str, Any],
    axes: Axes | None = None,
    common: Collection[str] = (),
    listed: Collection[int] = (),
) -> dict[str, object]:
    """Lay out one rock sweep: trace, plateaus, travel, limit and the words beneath.

    Args:
        sweep: the sweep of the report document.
        axes: the axes that sweeps share, from `sweep_axes`.
        common: words that are printed once for all sweeps and not again here.
        listed: the record places that the list of readings shows.
    """
    points, place = _points(sweep.get("points")), whole(sweep.get("place"))
    plateaus = [p for p in items(sweep.get("plateaus")) if isinstance(p, Mapping)]
    travel, limit = number(sweep.get("travel_um")), _travel_limit(sweep)
    levels = [at for p in plateaus if (at := number(p.get("level_um"))) is not None]
    low = _middle_level(plateaus, "low")
    base = low if low is not None else (min(levels) if levels else None)
    ground = [y for _, y in points] + levels
    core = _without_far_ones(ground, levels)
    wanted = list(core)
    if base is not None and travel is not None:
        wanted.append(base + travel)
    if base is not None and limit is not None and wanted and _is_near(base + limit, wanted):
        wanted.append(base + limit)
    bottom, top = (min(wanted), max(wanted)) if wanted else (0.0, 1.0)
    margin = 0.07 * (top - bottom) or 1.0
    bottom, top = bottom - margin, top + margin
    begin, end = (points[0][0], points[-1][0]) if points else (0.0, 1.0)
    end = end if end > begin else begin + 1.0

    def x(at: float) -> float:
        return round(min(max((at - begin) / (end - begin), 0.0), 1.0), 4)

    def y(at: float) -> float:
        return round(min(max((at - bottom) / (top - bottom), 0.0), 1.0), 4)

    clipped = sum(not bottom <= value <= top for _, value in points)
    dimension = None
    if base is not None and travel is not None:
        dimension = {
            "from": y(base),
            "to": y(base + travel),
            "from_x": x(_last_time(plateaus, "low", end)),
            "to_x": x(_last_time(plateaus, "high", end)),
            "text": micrometres(travel),
        }
    mark = None
    if base is not None and limit is not None and bottom <= base + limit <= top:
        above = travel is None or travel <= limit * 1.04
        mark = {"y": y(base + limit), "text": f"limit {micrometres(limit)}", "above": above}
    return {
        "place": printable(place, 12),
        "to": label(place) if place is not None and place in listed else None,
        "valve": printable(sweep.get("valve"), 12, unbroken=6) or "no valve",
        "direction": printable(sweep.get("direction"), 16),
        "gauge": printable(sweep.get("gauge"), 12),
        "lines": [[(x(t), y(v)) for t, v in thin(part)] for part in _parts(points)],
        "plateaus": [
            {
                "x0": x(t0),
                "x1": x(t1),
                "y": y(level),
                "used": p.get("used") is True,
                "why": printable(p.get("why"), 80),
            }
            for p in plateaus
            if (t0 := number(p.get("t0_s"))) is not None
            and (t1 := number(p.get("t1_s"))) is not None
            and (level := number(p.get("level_um"))) is not None
        ],
        "x_ticks": [(x(at), f"{at - begin:g}") for at in _from_begin(begin, end)] if points else [],
        "y_ticks": [(y(at), f"{at:g}") for at in ticks(bottom, top, 5)] if points else [],
        "dimension": dimension,
        "limit_mark": mark,
        "clipped": clipped,
        "figures": _figures(sweep),
        "setting": _setting(sweep),
        "scale": limit_scale(_judged(sweep)["scale"], None, axis_of(_judged(sweep), axes or {})),
        "verdict": verdict_word(sweep.get("verdict")),
        "limit_words": printable(sweep.get("limit_words"), 80),
        "usable": sweep.get("usable") is not False,
        "flags": [
            printable(flag.get("words") or flag.get("code"), 160)
            for flag in items(sweep.get("flags"))
            if isinstance(flag, Mapping)
        ],
        "words": [
            shown
            for words in items(sweep.get("words"))
            if (shown := printable(words, 200)) not in common
        ][:8],
    }


def face_drawing(face: object) -> dict[str, object] | None:
    """Lay out the heights of the face's grid; None where no height was taken.

    ``size`` is the height's share of the largest one from zero, with its sign.
    """
    if not isinstance(face, Mapping):
        return None
    taken = []
    for point in items(face.get("points")):
        if not isinstance(point, Mapping):
            continue
        x, y = number(point.get("x_mm")), number(point.get("y_mm"))
        if x is not None and y is not None:
            station = printable(point.get("station"), 6, unbroken=6)
            taken.append((station, x, y, number(point.get("value_um"))))
    heights = [height for *_, height in taken if height is not None]
    if not heights:
        return None
    left, low = min(x for _, x, _, _ in taken), min(y for _, _, y, _ in taken)
    length = max(x for _, x, _, _ in taken) - left or 1.0
    width = max(y for _, _, y, _ in taken) - low or 1.0
    most = max(abs(height) for height in heights) or 1.0
    highest = next(station for station, _, _, height in taken if height == max(heights))
    lowest = next(station for station, _, _, height in taken if height == min(heights))
    return {
        "ratio": round(min(max(width / length, 0.12), 0.6), 4),
        "points": [
            {
                "station": station,
                "x": round((x - left) / length, 4),
                "y": round((y - low) / width, 4),
                "text": "" if height is None else f"{height:+g}".replace("-", "\u2212"),
                "size": 0.0 if height is None else round(height / most, 4),
                "taken": height is not None,
            }
            for station, x, y, height in taken
        ],
        "highest": f"{highest} ({max(heights):+g} µm)".replace("-", "\u2212"),
        "lowest": f"{lowest} ({min(heights):+g} µm)".replace("-", "\u2212"),
        "range": f"{max(heights) - min(heights):g} µm",
        "missing": sum(height is None for *_, height in taken),
        "size_words": " by ".join(
            f"{side:g} mm"
            for key in ("length_mm", "width_mm")
            if (side := number(face.get(key))) is not None
        ),
    }


def _points(value: object) -> list[Point]:
    pairs = [p for p in items(value) if isinstance(p, (list, tuple)) and len(p) == 2]
    return [
        (t, v) for p in pairs if (t := number(p[0])) is not None and (v := number(p[1])) is not None
    ]


def _parts(points: list[Point]) -> list[list[Point]]:
    """Part a trace where samples are missing, so that no line is drawn across a gap."""
    if len(points) < 2:
        return [points] if points else []
    steps = [after[0] - before[0] for before, after in pairwise(points)]
    gap = max(1.0, 6 * median(steps))
    parts = [[points[0]]]
    for point, step in zip(points[1:], steps, strict=True):
        if step > gap:
            parts.append([])
        parts[-1].append(point)
    return parts


def _middle_level(plateaus: list[Mapping[str, Any]], side: str) -> float | None:
    levels = [
        level
        for p in plateaus
        if p.get("side") == side
        and p.get("used") is True
        and (level := number(p.get("level_um"))) is not None
    ]
    return median(levels) if levels else None


def _last_time(plateaus: list[Mapping[str, Any]], side: str, end: float) -> float:
    times = [
        t1
        for p in plateaus
        if p.get("side") == side
        and p.get("used") is True
        and (t1 := number(p.get("t1_s"))) is not None
    ]
    return max(times) if times else end


def _without_far_ones(values: list[float], levels: list[float]) -> list[float]:
    """Leave out what lies so far off that it would flatten the trace; the drawing counts it."""
    if len(levels) < 2 or max(levels) <= min(levels):
        return values
    span = max(levels) - min(levels)
    return [v for v in values if min(levels) - 1.5 * span <= v <= max(levels) + 1.5 * span]


def _is_near(at: float, values: list[float]) -> bool:
    span = max(values) - min(values)
    return min(values) - 0.6 * span <= at <= max(values) + 0.6 * span


def _from_begin(begin: float, end: float) -> list[float]:
    return [begin + at for at in ticks(0.0, end - begin, 6)]


def _travel_limit(sweep: Mapping[str, Any]) -> float | None:
    """Give the upper limit as travel, µm: a limit of clearance times the geometry factor."""
    limit, factor = number(sweep.get("limit_um")), _factor(sweep)
    if limit is None or sweep.get("limit_of") == "travel":
        return limit
    return None if factor is None else limit * factor


def _factor(sweep: Mapping[str, Any]) -> float | None:
    try:
        factor = number(float(str(sweep.get("factor"))))
    except ValueError:
        return None
    return factor if factor is not None and factor > 0 else None


def _figures(sweep: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Pair each figure of the sweep with its name, expanded uncertainty (k = 2) included."""
    made = []
    for name in ("travel", "clearance"):
        value, u = number(sweep.get(f"{name}_um")), number(sweep.get(f"{name}_u_um"))
        text = "none" if value is None else micrometres(value)
        if value is not None and u is not None:
            text += f" \u00b1 {micrometres(2 * u)}"
        made.append((name, text if value is None else f"{text} µm"))
    made.insert(1, ("factor", printable(sweep.get("factor"), 12) or "none"))
    return made


def _setting(sweep: Mapping[str, Any]) -> str:
    """Say how the valve was held and how often it was rocked, as far as that is known."""
    parts = []
    if lift := printable(sweep.get("lift"), 16):
        parts.append(f"lift {lift}")
    if used := printable(sweep.get("valve_used"), 16):
        parts.append(f"{used} valve")
    rocks = whole(sweep.get("full_rocks"))
    if rocks is not None:
        parts.append(f"{rocks} full {'rock' if rocks == 1 else 'rocks'}")
    text = ", ".join(parts)
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def _judged(sweep: Mapping[str, Any]) -> dict[str, object]:
    """Make what the limit scale shows of a sweep, mm: the quantity that its limit is a limit of."""
    name = "travel" if sweep.get("limit_of") == "travel" else "clearance"

    def mm(key: str) -> float | None:
        taken = number(sweep.get(key))
        return None if taken is None else taken / 1000

    return {
        "characteristic": name,
        "method": "rock",
        "scale": {
            "lower_mm": None,
            "upper_mm": mm("limit_um"),
            "value_mm": mm(f"{name}_um"),
            "u_mm": mm(f"{name}_u_um"),
            "verdict": sweep.get("verdict"),
        },
    }
