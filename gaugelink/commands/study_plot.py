"""The plots of a gauge study: shares, ranges by operator, readings by part, means by operator."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gaugelink.commands.figure import ACCENT, AXIS, SHADES, write_figure

if TYPE_CHECKING:
    from pathlib import Path

    from gaugelink.metrology.study import Crossed

SIGNS = ("circle", "diamond", "square", "triangle-up", "cross", "x", "triangle-down", "star")


def write(path: Path, study: Crossed, document: dict[str, Any], step: float) -> None:
    """Write the plots of a study.

    Raises:
        InputError: the file cannot be written.
    """
    unit = document["unit"]
    names = {"rr": "measuring", "repeatability": "gauge", "reproducibility": "people",
             "part": "parts"}  # fmt: skip
    data: list[dict[str, Any]] = [
        {"type": "bar", "x": [*names.values()], "showlegend": False, "marker": {"color": ACCENT},
         "y": [document["percent_of_total"][name] for name in names]},
    ]  # fmt: skip
    if document["percent_of_tolerance"]:
        data[0].update(name="of total", showlegend=True)
        data.append({
            "type": "bar", "name": "of tolerance", "x": [*names.values()],
            "y": [document["percent_of_tolerance"][name] for name in names],
            "marker": {"color": SHADES[1], "pattern": {"shape": "/"}},
        })  # fmt: skip
    for place, one in enumerate(study.operators):
        look = {"color": SHADES[place % len(SHADES)], "symbol": SIGNS[place % len(SIGNS)]}
        cells = [study.cells[part, one] for part in study.parts]
        data += [
            {"type": "scatter", "mode": "lines+markers", "name": one, "legendgroup": one,
             "x": [*study.parts], "y": [(max(cell) - min(cell)) * step for cell in cells],
             "marker": look, "line": {"color": look["color"]}, "xaxis": "x2", "yaxis": "y2"},
            {"type": "scatter", "mode": "markers", "name": one, "legendgroup": one,
             "showlegend": False, "marker": look, "xaxis": "x3", "yaxis": "y3",
             "x": [part for part in study.parts for _ in range(study.trials)],
             "y": [value * step for cell in cells for value in cell]},
            {"type": "scatter", "mode": "lines+markers", "name": one, "legendgroup": one,
             "showlegend": False, "marker": look, "line": {"color": look["color"]},
             "xaxis": "x4", "yaxis": "y4", "x": [*study.parts],
             "y": [sum(cell) / study.trials * step for cell in cells]},
        ]  # fmt: skip
    titles = ("Share of the spread, per cent", f"Range of a cell, {unit}",
              f"Every reading, {unit}", f"Mean of each operator, {unit}")  # fmt: skip
    layout: dict[str, Any] = {
        "grid": {"rows": 2, "columns": 2, "pattern": "independent", "ygap": 0.3, "xgap": 0.24},
        "title": {"text": f"Gauge study: {document['parts']} parts, {document['operators']} "
                          f"operators, {document['trials']} trials"},
        "barmode": "group",
    }  # fmt: skip
    for number, title in enumerate(titles, 1):
        mark = "" if number == 1 else str(number)
        layout[f"yaxis{mark}"] = {**AXIS, "title": {"text": title}}
        layout[f"xaxis{mark}"] = {**AXIS, "title": {"text": "part" if number > 1 else ""},
                                  "type": "category"}  # fmt: skip
    layout["yaxis2"]["rangemode"] = "tozero"
    write_figure(path, data, layout)
