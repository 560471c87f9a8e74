"""The plot of one turn: readings and the cosine of the eccentricity above, what is left below."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from gaugelink.commands.figure import ACCENT, AXIS, INK, SHADES, write_figure
from gaugelink.quantity import PM_PER_MM, PM_PER_UM

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from gaugelink.metrology.runout import Runout

UM: Final = PM_PER_MM // PM_PER_UM
FINE: Final = 3
"""Degrees between the points of the drawn cosine."""


def write(
    path: Path, angles_deg: Sequence[float], found: Runout, document: Mapping[str, Any]
) -> None:
    """Write the plot of a turn, micrometres from the middle of the cosine.

    Args:
        path: the file, ending in .html.
        angles_deg: of the readings, in their order; those of another turn are drawn in this one.
        found: the turn, in millimetres.
        document: what the command tells of it.

    Raises:
        InputError: the file cannot be written.
    """
    turn = sorted(zip((angle % 360.0 for angle in angles_deg), found.left, strict=True))
    # To a picometre: of a true circle nothing shall be left, not the last bits of a float.
    at, left = [angle for angle, _ in turn], [round(UM * one, 6) for _, one in turn]
    circle = [float(angle) for angle in range(0, 361, FINE)]
    smooth, there = (
        [UM * (found.cosine(angle) - found.middle) for angle in some] for some in (circle, at)
    )
    data: list[dict[str, Any]] = [
        {"type": "scatter", "mode": "lines", "name": "eccentricity", "x": circle, "y": smooth,
         "line": {"color": SHADES[4], "width": 3}},
        {"type": "scatter", "mode": "lines+markers", "name": "readings", "x": at,
         "y": [a + b for a, b in zip(there, left, strict=True)],
         "marker": {"color": ACCENT, "size": 8}, "line": {"color": ACCENT, "width": 1}},
        {"type": "scatter", "mode": "lines+markers", "name": "what is left", "x": at, "y": left,
         "marker": {"color": INK, "size": 8, "symbol": "diamond-open", "line": {"width": 2}},
         "line": {"color": INK, "width": 1}, "xaxis": "x2", "yaxis": "y2"},
    ]  # fmt: skip
    off = document["eccentricity_mm"]
    words = f"eccentricity {off:.4f} mm"
    shapes: list[dict[str, Any]] = []
    if off > 2 * document["eccentricity_u_mm"]:  # else it has no direction
        toward = document["direction_deg"]
        words += f" at {toward:.0f}°"
        shapes = [{"type": "line", "xref": f"x{axis}", "yref": f"y{axis} domain", "x0": toward,
                   "x1": toward, "y0": 0, "y1": 1, "line": {"color": INK, "dash": "dot",
                                                           "width": 1}}
                  for axis in ("", "2")]  # fmt: skip
    degrees = {**AXIS, "range": [-6, 366], "tick0": 0, "dtick": 45, "ticksuffix": "°"}
    zero = {**AXIS, "zeroline": True, "zerolinecolor": INK, "zerolinewidth": 1}
    write_figure(path, data, {
        "title": {"text": f"Runout: total reading {document['total_mm']:.4f} mm<br>"
                          f"{words}, form {document['form_mm']:.4f} mm", "font": {"size": 16}},
        "shapes": shapes,
        "grid": {"rows": 2, "columns": 1, "pattern": "independent", "ygap": 0.2},
        "xaxis": degrees,
        "xaxis2": {**degrees, "title": {"text": "angle of the turn"}, "matches": "x"},
        "yaxis": {**zero, "title": {"text": "from the middle, um"}},
        "yaxis2": {**zero, "title": {"text": "what is left, um"}},
        "legend": {"orientation": "h", "y": -0.15},
    })  # fmt: skip
