"""Flatness of a face from heights on a grid.

*Minimum zone*: the least distance between two parallel planes that hold all points between them
(the definition of ISO 1101 for flatness). Heights are taken straight up, which for the slopes of a
head on a surface plate (a few tenths of a millimetre over its length) differs from the distance
square to the planes by less than one part in a million.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

Point = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Zone:
    """The minimum zone: its width in picometres, and which points touch its two planes."""

    width_pm: int
    contacts: tuple[int, ...]


def minimum_zone(points: Sequence[Point]) -> Zone:
    """Find the minimum zone of points.

    Least t subject to ``|z - (a x + b y + c)| <= t`` for all points: a linear programme in a, b, c
    and t; the width is 2 t.

    Args:
        points: ``(x, y, z)`` in picometres, at least four, not all on one line in x and y.

    Raises:
        ValueError: fewer than four points, or all on one line.

    >>> minimum_zone([(0, 0, 0), (9, 0, 0), (0, 9, 0), (9, 9, 40)]).width_pm  # a twisted square
    20
    """
    import numpy as np  # noqa: PLC0415  only this calculation needs the solver
    from scipy.optimize import linprog  # noqa: PLC0415

    if len(points) < 4:
        raise ValueError(f"found {len(points)} points, needed: at least four")
    table = np.array(points, dtype=np.float64)
    plan = table[:, :2] - table[:, :2].mean(axis=0)
    spread = np.linalg.svd(plan, compute_uv=False)
    # Places in whole picometres are never quite in line: a millionth across is no breadth.
    if spread[1] <= 1e-6 * spread[0]:
        raise ValueError("all points lie on one line, needed: points spread over the face")
    plan /= np.abs(plan).max()
    # Heights enter as differences, scaled, so that the solver's tolerances mean picometres.
    height = table[:, 2] - table[:, 2].mean()
    scale = float(np.abs(height).max()) or 1.0
    height /= scale
    ones = np.ones((len(points), 1))
    base = np.hstack([plan, ones])
    rows = np.vstack([np.hstack([-base, -ones]), np.hstack([base, -ones])])
    found = linprog(
        [0.0, 0.0, 0.0, 1.0],
        A_ub=rows,
        b_ub=np.concatenate([-height, height]),
        bounds=[(None, None)] * 3 + [(0.0, None)],
        method="highs",
    )
    assert found.success, found.message
    half = float(found.x[3])
    error = np.abs(height - base @ found.x[:3])
    contacts = tuple(int(place) for place in np.nonzero(error >= half - 1e-7)[0])
    return Zone(round(2 * half * scale), contacts)
