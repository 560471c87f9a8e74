"""Work out the limit scale: where on a thin axis the allowed band, the mark and its whisker stand.

The limit scale is GaugeLink's picture of a verdict, the same on screens and on paper: a thin axis,
the allowed band as a thick bar that runs off dashed where the limit is one-sided, the reading's
mark, and a whisker of two standard uncertainties to either side.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from statistics import median
from typing import Final, TypeAlias, TypedDict

from gaugelink.report.text import micrometres, number

VERDICTS: Final = ("outside", "undecided", "within")
"""The worst first."""
_MOST_BANDS_AWAY: Final = 3.0
"""A value further from a two-sided band than this many band widths is drawn at the axis's end."""
_NANOMETRE_MM: Final = 1e-6
"""The figures come as fractions of a millimetre; a nanometre is below anything that is shown."""


Axes: TypeAlias = dict[tuple[str, str, float], float]
"""Half the length of the axis, mm, of everything with one characteristic, method and limit."""


class Scale(TypedDict):
    """Places along the axis, 0 at its left end and 1 at its right; None where there is nothing.

    ``beyond`` is -1 or 1 where the value lies off the axis's left or right end.
    """

    lower: float | None
    upper: float | None
    value: float | None
    left: float | None
    right: float | None
    beyond: int
    verdict: str


def verdict_word(value: object) -> str:
    """Take one of the three verdict words; empty for everything else."""
    return value if isinstance(value, str) and value in VERDICTS else ""


def common_axes(verdicts: Iterable[Mapping[str, object]]) -> Axes:
    """Give all verdicts against one and the same one-sided limit one axis.

    Only so do the scales of different valves show which is nearer to the limit. One value that lies
    far from all the others does not press them together: it is drawn at the axis's end.
    """
    found: dict[tuple[str, str, float], list[tuple[float, float]]] = {}
    for verdict in verdicts:
        key, scale = _axis_key(verdict), verdict.get("scale")
        if key is None or not isinstance(scale, Mapping):
            continue
        value, u = number(scale.get("value_mm")), number(scale.get("u_mm"))
        if value is not None:
            found.setdefault(key, []).append((abs(value - key[2]), abs(u or 0.0)))
    axes = {}
    for key, pairs in found.items():
        u = max(u for _, u in pairs)
        most = max(away for away, _ in pairs)
        usual = median(away for away, _ in pairs)
        axes[key] = 1.4 * max(min(most, max(6 * usual, 12 * u)), 4 * u) or 1.0
    return axes


def axis_of(verdict: Mapping[str, object], axes: Axes) -> float | None:
    """Give half the length of the axis that this verdict shares with others; None if none."""
    key = _axis_key(verdict)
    return None if key is None else axes.get(key)


def _axis_key(verdict: Mapping[str, object]) -> tuple[str, str, float] | None:
    scale = verdict.get("scale")
    if not isinstance(scale, Mapping):
        return None
    lower, upper = number(scale.get("lower_mm")), number(scale.get("upper_mm"))
    if (lower is None) == (upper is None):
        return None
    edge = lower if lower is not None else upper
    assert edge is not None
    return str(verdict.get("characteristic")), str(verdict.get("method")), edge


def limit_scale(scale: object, verdict: object = None, half_mm: float | None = None) -> Scale:
    """Lay a limit scale out.

    A two-sided band takes the middle of the axis; a one-sided limit stands at its middle.

    Args:
        scale: ``lower_mm``, ``upper_mm``, ``value_mm``, ``u_mm``, ``verdict``, each may be None.
        verdict: the word to use where the scale has none.
        half_mm: half the length of the axis of a one-sided limit; None: long enough for the value.

    >>> laid = limit_scale({"upper_mm": 0.1, "value_mm": 0.05, "u_mm": 0.0025}, half_mm=0.1)
    >>> laid["upper"], laid["value"], laid["left"], laid["right"]
    (0.5, 0.25, 0.225, 0.275)
    """
    given: Mapping[str, object] = scale if isinstance(scale, Mapping) else {}
    word = verdict_word(given.get("verdict")) or verdict_word(verdict)
    lower, upper = number(given.get("lower_mm")), number(given.get("upper_mm"))
    value, u = number(given.get("value_mm")), number(given.get("u_mm"))
    reach = 2 * abs(u) if u is not None else 0.0
    if lower is not None and upper is not None:
        lower, upper = min(lower, upper), max(lower, upper)
        band = (upper - lower) or 4 * reach or 1.0
        first, last = lower - 0.4 * band, upper + 0.4 * band
        if value is not None:
            first = max(min(first, value - 1.2 * reach), lower - _MOST_BANDS_AWAY * band)
            last = min(max(last, value + 1.2 * reach), upper + _MOST_BANDS_AWAY * band)
    else:
        edge = lower if lower is not None else upper
        center = edge if edge is not None else (value or 0.0)
        away = abs(value - center) if value is not None else 0.0
        half = half_mm or 1.4 * max(away, 2 * reach) or 1.0
        first, last = center - half, center + half
    # Two ends that a float cannot tell apart leave nothing to draw between.
    span = (last - first) or 1.0

    def place(at: float) -> float:
        return round(min(max((at - first) / span, 0.0), 1.0), 4)

    return {
        "lower": None if lower is None else place(lower),
        "upper": None if upper is None else place(upper),
        "value": None if value is None else place(value),
        "left": place(value - reach) if value is not None and reach else None,
        "right": place(value + reach) if value is not None and reach else None,
        "beyond": 0 if value is None else (value > last) - (value < first),
        "verdict": word,
    }


def expanded_um(scale: object) -> float | None:
    """Give the expanded uncertainty, twice the standard one, in micrometres.

    >>> expanded_um({"u_mm": 0.0019})
    3.8
    """
    u = number(scale.get("u_mm")) if isinstance(scale, Mapping) else None
    return None if u is None else round(2000 * u, 4)


def _gaps(scale: object) -> list[tuple[float, str, str]]:
    """Give the distance inward from each limit, mm, with the limit's side and the word for past."""
    if not isinstance(scale, Mapping) or (value := number(scale.get("value_mm"))) is None:
        return []
    lower, upper = number(scale.get("lower_mm")), number(scale.get("upper_mm"))
    gaps = []
    if lower is not None:
        gaps.append((value - lower, "lower", "below"))
    if upper is not None:
        gaps.append((upper - value, "upper", "above"))
    return gaps


def is_nearer_than(scale: object, distance_um: float | None) -> bool:
    """Tell whether the value lies nearer to a limit than a distance, end included, µm.

    >>> is_nearer_than({"upper_mm": 0.1, "value_mm": 0.0985}, 5.0)
    True
    """
    gaps = _gaps(scale)
    if distance_um is None or not gaps:
        return False
    return min(abs(gap) for gap, _, _ in gaps) * 1000 <= distance_um + _NANOMETRE_MM * 1000


def where_it_lies(scale: object) -> str:
    """Say in words how far the value is from the limit that matters, in micrometres.

    >>> where_it_lies({"lower_mm": 7.935, "upper_mm": None, "value_mm": 7.931})
    '4.0 µm below the lower limit'
    >>> where_it_lies({"lower_mm": None, "upper_mm": 0.1, "value_mm": 0.0985})
    '1.5 µm inside the upper limit'
    """
    gaps = _gaps(scale)
    if not gaps:
        return ""
    gap, side, past = min(gaps)
    if abs(gap) < _NANOMETRE_MM:
        return f"exactly at the {side} limit"
    return f"{micrometres(abs(gap) * 1000)} µm {past if gap < 0 else 'inside'} the {side} limit"
