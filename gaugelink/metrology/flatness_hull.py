"""Candidates for the minimum zone, from the convex hull of points.

Two parallel planes that hold all points and can come no closer touch them in one of two ways: three
points against one (*3-1*: a face of the hull against a corner), or two against two (*2-2*: an edge
against an edge). Both are counted up here from the hull, in floating point; `flatness` then settles
the best of them in whole numbers.

Which faces and edges lie opposite each other is read from the sphere of directions, on which a face
is a point (its outward normal), an edge the arc between the normals of its two faces, a corner the
patch between the arcs round it: an edge lies opposite another where its arc crosses the mirror
image of the other's arc.

Source: contact criteria of ISO/TS 12781-1; width of a convex polyhedron by its antipodal pairs:
Houle and Toussaint, Computing the width of a set, IEEE PAMI 10 (1988) 761 (from memory, confirmed
by the exhaustive search in the tests).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.spatial import ConvexHull, QhullError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Places = NDArray[np.intp]

AT_ONCE: Final = 2_000_000
"""Largest table of distances held at a time: 16 MB."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """Points that two planes may rest on: three and one, or two and two.

    Attributes:
        width: distance of the planes, in the unit of the points, in floating point.
        one: places of the points on one plane.
        other: places of those on the other plane.
    """

    width: float
    one: tuple[int, ...]
    other: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Axes:
    """Points seen along their own axes.

    Attributes:
        points: ``(n, 3)``, about their centre, turned: longest axis first.
        across: ``(3,)``, the direction of the least scatter, in the unturned frame.
        extent: ``(3,)``, how far the points reach along each axis.
    """

    points: Floats
    across: Floats
    extent: Floats


def axes(table: NDArray[np.int64]) -> Axes:
    """Turn points to the axes of their scatter.

    The last axis is the normal of the plane for which the sum of the squares of the distances
    square to it is least (orthogonal regression).

    Args:
        table: ``(n, 3)``, whole steps.
    """
    near = (table - table[0]).astype(np.float64)  # whole numbers are subtracted without loss
    near -= near.mean(axis=0)
    _, turn = np.linalg.eigh(near.T @ near)
    turned = near @ turn[:, ::-1]
    return Axes(turned, turn[:, 0], turned.max(axis=0) - turned.min(axis=0))


class _Hull:
    """The hull: faces with outward unit normals, and edges with the two faces of each."""

    def __init__(self, points: Floats, extent: Floats) -> None:
        # A hull stays a hull when it is stretched. Stretched to a cube, a face that is out of flat
        # by a ten thousandth of its length is as clear to the program as a solid.
        found = ConvexHull(points / extent)
        normal = found.equations[:, :3] / extent
        self.points = points
        self.normal: Floats = normal / np.linalg.norm(normal, axis=1, keepdims=True)
        self.face: Places = found.simplices.astype(np.intp)
        self.corner: Places = found.vertices.astype(np.intp)
        beside = found.neighbors
        each, at = np.nonzero(np.arange(len(beside))[:, None] < beside)
        self.sides: Places = np.stack([each, beside[each, at]], axis=1).astype(np.intp)
        self.edge: Places = np.stack(
            [self.face[each, (at + 1) % 3], self.face[each, (at + 2) % 3]], axis=1
        )


def candidates(turned: Axes) -> list[Candidate] | None:
    """Find all pairs of planes that may be the minimum zone, the narrowest first.

    Left out are directions in which two points are known to be farther apart than planes that have
    been found already.

    Returns:
        The candidates, or None where the points lie in one plane as far as can be told.
    """
    if turned.extent[2] <= 1e-13 * turned.extent[0]:
        return None
    try:
        hull = _Hull(turned.points, turned.extent)
    except QhullError:
        return None
    far = _far_apart(turned.points[hull.corner])
    upward = hull.normal[:, 2] > 0
    up, down = np.zeros((2, len(turned.points)), dtype=bool)
    up[hull.face[upward]] = True
    down[hull.face[~upward]] = True
    limit = float(turned.extent[2]) * (1 + 1e-9)
    open_faces = ~_closed(hull.normal @ far.T, limit)
    found = []
    for faces, corners in ((upward, down), (~upward, up)):
        found += _three_to_one(hull, np.nonzero(faces & open_faces)[0], np.nonzero(corners)[0])
    limit = min([limit, *(item.width for item in found)]) * (1 + 1e-9)
    found += _two_to_two(hull, upward, far, limit)
    return sorted(
        (item for item in found if item.width <= limit), key=lambda item: (item.width, item.one)
    )


def _far_apart(corners: Floats) -> Floats:
    """Give differences of corners that lie far apart, in a handful of directions."""
    angle = np.arange(8) * np.pi / 8
    along = np.stack([np.cos(angle), np.sin(angle)])
    reach = corners[:, :2] / np.ptp(corners[:, :2], axis=0) @ along
    apart: Floats = corners[reach.argmax(axis=0)] - corners[reach.argmin(axis=0)]
    return apart


def _closed(along: Floats, limit: float) -> NDArray[np.bool_]:
    """Tell which directions have two known points farther apart than the limit."""
    return np.asarray((np.abs(along) > limit).any(axis=1))


def _pieces(count: int, beside: int) -> Iterator[slice]:
    step = max(1, AT_ONCE // max(1, beside))
    for start in range(0, count, step):
        yield slice(start, start + step)


def _three_to_one(hull: _Hull, faces: Places, corners: Places) -> list[Candidate]:
    """Set each face against the corner that lies farthest behind it."""
    found = []
    across = hull.points[corners].T
    for piece in _pieces(len(faces), len(corners)):
        some = faces[piece]
        depth = hull.normal[some] @ across
        farthest = depth.argmin(axis=1)
        level = np.einsum("ij,ij->i", hull.normal[some], hull.points[hull.face[some, 0]])
        width = level - depth[np.arange(len(some)), farthest]
        for at, face in enumerate(some):
            a, b, c = hull.face[face].tolist()
            found.append(Candidate(float(width[at]), (a, b, c), (int(corners[farthest[at]]),)))
    return found


def _two_to_two(hull: _Hull, upward: NDArray[np.bool_], far: Floats, limit: float
                ) -> list[Candidate]:  # fmt: skip
    """Set edges against edges whose arc crosses theirs on the other side of the sphere."""
    along = (hull.normal @ far.T)[hull.sides]
    # Two directions on one side of a cone: so is the arc between them, for the cone is convex.
    closed = (along.min(axis=1) > limit).any(axis=1) | (along.max(axis=1) < -limit).any(axis=1)
    up = np.nonzero(~closed & upward[hull.sides].any(axis=1))[0]
    down = np.nonzero(~closed & ~upward[hull.sides].all(axis=1))[0]
    runs = hull.points[hull.edge[:, 1]] - hull.points[hull.edge[:, 0]]
    one, other = hull.normal[hull.sides[:, 0]], hull.normal[hull.sides[:, 1]]
    found = []
    for piece in _pieces(len(up), len(down)):
        some = up[piece]
        across = (runs[some] @ one[down].T) * (runs[some] @ other[down].T) < 0
        across &= (one[some] @ runs[down].T) * (other[some] @ runs[down].T) < 0
        above, below = np.nonzero(across)
        e, f = some[above], down[below]
        dot = np.einsum
        # Where the arc of e meets the circle of f, and the mirrored arc of f the circle of e.
        weight_one = np.abs(dot("ij,ij->i", runs[f], other[e]))[:, None]
        weight_other = np.abs(dot("ij,ij->i", runs[f], one[e]))[:, None]
        here = weight_one * one[e] + weight_other * other[e]
        weight_one = np.abs(dot("ij,ij->i", runs[e], other[f]))[:, None]
        weight_other = np.abs(dot("ij,ij->i", runs[e], one[f]))[:, None]
        there = weight_one * one[f] + weight_other * other[f]
        opposite = dot("ij,ij->i", here, there) < 0
        e, f = e[opposite], f[opposite]
        normal = np.cross(runs[e], runs[f])
        length = np.linalg.norm(normal, axis=1)
        aslant = length > 0  # parallel edges lie on no other planes than their faces do
        e, f, normal, length = e[aslant], f[aslant], normal[aslant], length[aslant]
        apart = hull.points[hull.edge[e, 0]] - hull.points[hull.edge[f, 0]]
        width = np.abs(dot("ij,ij->i", normal, apart)) / length
        for at in np.nonzero(width <= limit)[0]:
            (a, b), (c, d) = hull.edge[e[at]].tolist(), hull.edge[f[at]].tolist()
            found.append(Candidate(float(width[at]), (a, b), (c, d)))
    return found
