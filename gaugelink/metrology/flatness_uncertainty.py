"""How sure the flatness of a face is, from how sure one height is.

First order (JCGM 100:2008, 5.1.2): where every height may be wrong by itself with the same standard
uncertainty, that of a flatness is the root of the sum of the squares of what each height weighs in
it. Near a result both kinds of flatness are straight-line functions of the heights, with weights
that geometry gives; so nothing is drawn by lot. What is wrong with all heights alike, such as a
plate that is not flat, is not in it.

The face must be out of flat by several times the uncertainty of a height: on a better one the
errors themselves make a hill and a hollow, and the flatness found is too large.
"""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelink.metrology.flatness import Point, Zone


def minimum_zone_weight(points: Sequence[Point], zone: Zone) -> float:
    """Give the standard uncertainty of the minimum zone over that of one height.

    Only the contact points weigh in it: moved by little, they carry the planes along. Their weights
    are 1 in all on the upper plane, -1 on the lower, and balance about every axis in the planes.

    Args:
        points: as `minimum_zone` had them.
        zone: what it found.

    Returns:
        1 to the root of 2.

    Raises:
        ValueError: all points lie in one plane; nothing can be said to first order.

    >>> from gaugelink.metrology.flatness import minimum_zone
    >>> face = [(0, 0, 0), (100, 0, 0), (0, 100, 0), (100, 100, 4)]  # 2-2: each weighs a half
    >>> round(minimum_zone_weight(face, minimum_zone(face)), 3)
    1.0
    """
    import numpy as np  # noqa: PLC0415

    places = (*zone.upper, *zone.lower)
    if zone.kind == "plane" or len(places) != 4:
        raise ValueError("all points lie in one plane, needed: a face that is out of flat")
    near = np.array([[a - b for a, b in zip(points[place], points[places[0]], strict=True)]
                     for place in places], dtype=np.float64)  # fmt: skip
    near /= np.abs(near).max()
    normal = np.array(zone.normal, dtype=np.float64)
    # The rows below the first of a full turn that begins with the normal span the planes.
    across = np.linalg.svd(normal[None, :] / np.linalg.norm(normal))[2][1:]
    upper = np.array([place in zone.upper for place in places])
    balance = np.vstack([upper, ~upper, (near @ across.T).T])
    weights = np.linalg.lstsq(balance, np.array([1.0, -1.0, 0.0, 0.0]), rcond=None)[0]
    return float(np.linalg.norm(weights))


def least_squares_weight(points: Sequence[Point]) -> float:
    """Give the standard uncertainty of least squares flatness over that of one height.

    The highest and the lowest point weigh 1 and -1, less what all points give by the plane that
    follows them: with d their distance along an axis of the plane, and S the sum of the squares of
    all points along it, the square is 2 - d1^2/S1 - d2^2/S2.

    Args:
        points: as `least_squares` had them.

    Raises:
        ValueError: as for `minimum_zone`.

    >>> level = [(0, 0, 0), (100, 0, 0), (0, 100, 0), (100, 100, 0), (50, 50, 4)]
    >>> round(least_squares_weight(level) ** 2, 2)  # 2 - 50^2/10000 - 50^2/10000
    1.5
    """
    import numpy as np  # noqa: PLC0415

    from gaugelink.metrology import flatness_hull  # noqa: PLC0415
    from gaugelink.metrology.flatness import table_of  # noqa: PLC0415

    turned = flatness_hull.axes(table_of(points)).points
    high, low = turned[:, 2].argmax(), turned[:, 2].argmin()
    apart = turned[high, :2] - turned[low, :2]
    return sqrt(max(0.0, 2.0 - float(np.sum(apart**2 / np.sum(turned[:, :2] ** 2, axis=0)))))
