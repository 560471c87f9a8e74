"""The plots of a budget: what contributes how much, and what was drawn."""

from __future__ import annotations

from itertools import pairwise
from math import exp, pi, sqrt
from typing import TYPE_CHECKING, Any

from gaugelink.commands.figure import ACCENT, AXIS, INK, SHADES, write_figure

if TYPE_CHECKING:
    from pathlib import Path

    from gaugelink.metrology.montecarlo import Drawn


def write(path: Path, document: dict[str, Any], drawn: Drawn | None, scale: float) -> None:
    """Write the plots of a budget.

    Raises:
        InputError: the file cannot be written.
    """
    rows = sorted(document["budget"], key=lambda row: row["contribution"])
    unit = document["unit"]
    data: list[dict[str, Any]] = [{
        "type": "bar", "orientation": "h", "marker": {"color": ACCENT}, "showlegend": False,
        "x": [row["contribution"] for row in rows], "y": [row["name"] for row in rows],
    }]  # fmt: skip
    title = f"{document['value']:.8g} {unit}, U = {document['U']:.3g} {unit}".replace(" ,", ",")
    layout: dict[str, Any] = {
        "title": {"text": f"{title} (k = {document['k']:.2f})"},
        "xaxis": {**AXIS, "title": {"text": _with(unit, "contribution to u")}},
        "yaxis": {**AXIS, "type": "category"},
    }
    if drawn is not None:
        edges, counts = drawn.histogram
        # Away from the result, or all ticks would share their first digits.
        value, u = document["value"], document["u"]
        middles = [(a + b) / 2 / scale - value for a, b in pairwise(edges)]
        width = (edges[1] - edges[0]) / scale
        data.append({
            "type": "bar", "x": middles, "y": [n / drawn.trials / width for n in counts],
            "marker": {"color": SHADES[4]}, "name": "drawn", "xaxis": "x2", "yaxis": "y2",
            "width": width,
        })  # fmt: skip
        if u:
            data.append({
                "type": "scatter", "mode": "lines", "name": "budget, normal", "x": middles,
                "y": [exp(-x * x / (2 * u * u)) / (u * sqrt(2 * pi)) for x in middles],
                "line": {"color": INK, "width": 2}, "xaxis": "x2", "yaxis": "y2",
            })  # fmt: skip
        layout["grid"] = {"rows": 2, "columns": 1, "pattern": "independent", "ygap": 0.3}
        layout["xaxis2"] = {**AXIS, "title": {"text": _with(unit, f"away from {value:.9g}")}}
        layout["yaxis2"] = {**AXIS, "title": {"text": "density"}}
        layout["bargap"] = 0.3
    write_figure(path, data, layout)


def _with(unit: str, words: str) -> str:
    return f"{words}, {unit}" if unit else words
