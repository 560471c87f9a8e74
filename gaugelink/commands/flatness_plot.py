"""The map of a face: heights above the lower plane of the minimum zone, contact points marked."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gaugelink.commands.figure import ACCENT, AXIS, INK, write_figure

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from gaugelink.metrology.flatness import Point, Zone

SHADE = [[0.0, "#ffffff"], [1.0, ACCENT]]
FINE = 60
"""Points of the map on each side; between measured points it is drawn in straight lines."""

HAIR = 1e-3


def write(
    path: Path, points: Sequence[Point], zone: Zone, step_mm: float, document: Mapping[str, Any]
) -> None:
    """Write the map of a face.

    Raises:
        InputError: the file cannot be written.
    """
    import numpy as np  # noqa: PLC0415
    from scipy.interpolate import griddata  # noqa: PLC0415

    height = [zone.height(point) * step_mm * 1000 for point in points]
    plan = np.array([point[:2] for point in points], dtype=np.float64) * step_mm
    # A hair inside: a rim that is not quite straight would leave the outermost row empty.
    x, y = (
        np.linspace(axis.min() + HAIR * np.ptp(axis), axis.max() - HAIR * np.ptp(axis), FINE)
        for axis in plan.T
    )
    drawn = griddata(plan, height, tuple(np.meshgrid(x, y)), method="linear", rescale=True)
    data: list[dict[str, Any]] = [
        {"type": "contour", "x": x.tolist(), "y": y.tolist(), "colorscale": SHADE,
         "z": [[None if np.isnan(value) else float(value) for value in row] for row in drawn],
         "colorbar": {"title": {"text": "height, um"}}, "hoverinfo": "skip",
         "line": {"color": INK, "width": 0.5}, "contours": {"showlabels": True}},
        {"type": "scatter", "mode": "markers", "name": "measured", "x": plan[:, 0].tolist(),
         "y": plan[:, 1].tolist(), "marker": {"color": INK, "size": 5},
         "text": [f"point {at}: {value:.1f} um" for at, value in enumerate(height, 1)],
         "hoverinfo": "text"},
    ]  # fmt: skip
    for plane, sign in (("upper", "triangle-up"), ("lower", "triangle-down")):
        on = [row for row in document["contacts"] if row["plane"] == plane]
        if on:
            data.append({
                "type": "scatter", "mode": "markers+text", "name": f"on the {plane} plane",
                "x": [row["x_mm"] for row in on], "y": [row["y_mm"] for row in on],
                "text": [str(row["point"]) for row in on], "textposition": "top center",
                "cliponaxis": False, "hoverinfo": "skip",
                "marker": {"symbol": sign, "size": 16, "color": "#ffffff",
                           "line": {"color": INK, "width": 2}},
            })  # fmt: skip
    layout = {
        "title": {"text": f"Flatness: minimum zone {document['minimum_zone_mm']:.4f} mm, least "
                          f"squares {document['least_squares_mm']:.4f} mm"},
        "xaxis": {**AXIS, "title": {"text": "along, mm"}},
        "yaxis": {**AXIS, "title": {"text": "across, mm"}, "scaleanchor": "x"},
        "legend": {"orientation": "h", "y": -0.15},
    }  # fmt: skip
    write_figure(path, data, layout)
