"""The plots of a control chart: values above, their spread below."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gaugelink.commands.figure import ACCENT, AXIS, INK, write_figure

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

SPREADS = {"individuals": "Moving range", "xbar-r": "Range", "xbar-s": "Standard deviation"}


def write(path: Path, document: dict[str, Any], limits: Sequence[float | None]) -> None:
    """Write the charts of a document.

    Raises:
        InputError: the file cannot be written.
    """
    unit, points = document["unit"], document["points"]
    names = [point["subgroup"] for point in points]
    told = {(one["subgroup"], one["chart"]): one["what"] for one in document["signals"]}
    data: list[dict[str, Any]] = []
    shapes: list[dict[str, Any]] = []
    for axis, key, mark in (("", "value", ""), ("2", "spread", "spread_")):
        on = "values" if key == "value" else "spread"
        odd = [(name, on) in told for name in names]
        data.append({
            "type": "scatter", "mode": "lines+markers", "x": names, "showlegend": False,
            "y": [point[key] for point in points], "line": {"color": ACCENT, "width": 1.5},
            "marker": {"color": ACCENT, "size": [13 if here else 7 for here in odd],
                       "symbol": ["diamond-open" if here else "circle" for here in odd],
                       "line": {"width": 2}},
            "text": [told.get((name, on), "") for name in names],
            "xaxis": f"x{axis}", "yaxis": f"y{axis}",
        })  # fmt: skip
        for name, dash in (("lower", "dash"), ("center", "solid"), ("upper", "dash")):
            shapes.append(_line(document[f"{mark}{name}"], axis, dash, INK))
    shapes += [_line(limit, "", "dot", ACCENT) for limit in limits if limit is not None]
    what = "Reading" if document["kind"] == "individuals" else "Mean of the subgroup"
    write_figure(path, data, {
        "title": {"text": "Control chart<br><sup>dashed: three standard deviations from the "
                          "centre; open diamonds: what chance seldom does</sup>"},
        "shapes": shapes,
        "grid": {"rows": 2, "columns": 1, "pattern": "independent", "ygap": 0.25},
        "xaxis": {**AXIS, "type": "category"},
        "xaxis2": {**AXIS, "type": "category", "title": {"text": "subgroup"}, "matches": "x"},
        "yaxis": {**AXIS, "title": {"text": f"{what}, {unit}"}},
        "yaxis2": {**AXIS, "title": {"text": f"{SPREADS[document['kind']]}, {unit}"}},
    })  # fmt: skip


def _line(height: float, axis: str, dash: str, color: str) -> dict[str, Any]:
    return {
        "type": "line", "xref": f"x{axis} domain", "yref": f"y{axis}", "x0": 0, "x1": 1,
        "y0": height, "y1": height, "line": {"color": color, "dash": dash, "width": 1},
    }  # fmt: skip
