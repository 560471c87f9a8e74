"""Flatness of a face: least squares, and the exact minimum zone with the points that prove it.

*Minimum zone*: the least distance between two parallel planes that hold all points between them
(the definition of ISO 1101 for flatness), distances square to the planes. *Least squares*: the
distance of the two points that lie farthest to either side of the least squares reference plane of
ISO/TS 12781-1, distances again square to it (orthogonal regression). It is never less than the
minimum zone.

Points are whole numbers of one step, picometres wherever the project has picometres. The hull and
the search are in floating point, the zone itself is settled in whole numbers: the planes are those
through the contact points, and their distance is that of all points, exactly.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import combinations
from math import isqrt
from typing import TYPE_CHECKING, Final, Literal

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

    from gaugelink.metrology.flatness_hull import Axes, Candidate

    Places = NDArray[np.int64]

Point = tuple[int, int, int]
Contact = Literal["3-1", "2-2", "plane"]

TRIED: Final = 12
"""Touching points on either plane among which a proof is looked for."""

LARGEST: Final = 2**60
"""Coordinates stay below this many steps, so that their differences are exact."""


@dataclass(frozen=True, slots=True)
class Zone:
    """The minimum zone.

    Attributes:
        square: the square of its width, in squared steps, exact.
        kind: how the points touch the planes: three against one, two against two, or all in one
            plane.
        upper: places of the contact points on the plane with the larger z.
        lower: places of those on the other plane.
        normal: a direction square to the planes, whole numbers, pointing up.
        level: ``normal . point`` of the lower plane.
    """

    square: Fraction
    kind: Contact
    upper: tuple[int, ...]
    lower: tuple[int, ...]
    normal: Point
    level: int

    @property
    def contacts(self) -> tuple[int, ...]:
        """Places of all contact points, in their order."""
        return tuple(sorted((*self.upper, *self.lower)))

    @property
    def width(self) -> float:
        """The width in steps, as near as a double comes."""
        fine = isqrt(self.square.numerator * 2**128 // self.square.denominator)
        return float(Fraction(fine, 2**64))

    @property
    def width_pm(self) -> int:
        """The width in whole steps: picometres, where the points are in picometres."""
        return round(self.width)

    def height(self, point: Point) -> float:
        """Give how far a point lies above the lower plane, in steps, square to it."""
        length = sum(part * part for part in self.normal)
        above = _dot(self.normal, point) - self.level
        fine = isqrt(above * above * 2**128 // length)
        return float(Fraction(fine, 2**64)) * (1 if above >= 0 else -1)


def minimum_zone(points: Sequence[Point] | Places) -> Zone:
    """Find the minimum zone of points, with its contact points.

    Of all pairs of planes that touch three and one or two and two points of the convex hull, the
    closest. The contact points are a proof that anybody can repeat (ISO/TS 12781-1): seen square to
    the planes the one lies within the triangle of the three, or the lines between two and two
    cross; then no pair of planes near this one is closer, and those far from it were looked at.

    Args:
        points: ``(x, y, z)`` in whole steps, or an array ``(n, 3)`` of them; at least four, not all
            on one line seen from above.

    Raises:
        ValueError: fewer than four points (or different ones, where they lie in one plane), all on
            one line, or coordinates from `LARGEST` on.

    >>> mm = 10**9
    >>> corners = [(0, 0, 0), (400, 0, 0), (0, 150, 0), (400, 150, 1)]  # one corner 1 mm high
    >>> zone = minimum_zone([(x * mm, y * mm, z * mm) for x, y, z in corners])
    >>> zone.kind, zone.contacts, zone.width_pm  # upright 0.5 mm; the planes lean by 1 in 280
    ('2-2', (0, 1, 2, 3), 499996832)
    """
    from gaugelink.metrology import flatness_hull  # noqa: PLC0415  scipy is slow to start

    table = table_of(points)
    turned = flatness_hull.axes(table)
    found = flatness_hull.candidates(turned)
    if found is None:
        return _one_plane(table, turned)
    # What the search may be wrong by: rounding of the turned coordinates, and of a quotient.
    slack = 1e-14 * float(turned.extent[0])
    best: _Settled | None = None
    for item in found:
        if best is not None and item.width > best.zone.width + slack:
            break
        settled = _settle(table, item)
        if settled is None:
            continue
        if settled.proved and settled.zone.width <= found[0].width * (1 + 1e-12) + slack:
            return settled.zone
        if best is None or settled.zone.square < best.zone.square:
            best = settled
    assert best is not None
    return best.zone if best.proved else _prove(table, best)


def least_squares(points: Sequence[Point] | Places) -> float:
    """Give the flatness about the least squares plane, in steps.

    The plane makes the sum of the squares of the distances square to it least (orthogonal
    regression; the least squares reference plane of ISO/TS 12781-1). The result is the distance
    from the lowest to the highest point, square to it.

    Raises:
        ValueError: as for `minimum_zone`.

    >>> mm = 10**9
    >>> level = [(x * mm, y * mm, 0) for x in (0, 100) for y in (0, 100)]
    >>> middle = (50 * mm, 50 * mm, 40_000_000)  # 0.04 mm high
    >>> round(least_squares([*level, middle]))
    40000000
    """
    from gaugelink.metrology import flatness_hull  # noqa: PLC0415

    return float(flatness_hull.axes(table_of(points)).extent[2])


@dataclass(frozen=True, slots=True)
class CleanUp:
    """The smallest cut that machines the whole face.

    Attributes:
        depth: from the highest point down to the lowest, square to the cutter's plane, in steps.
        highest: place of the point that the cutter meets first.
        lowest: place of the point that it reaches last.
    """

    depth: float
    highest: int
    lowest: int


def clean_up(points: Sequence[Point], level_on: tuple[int, int, int] | None = None) -> CleanUp:
    """Reckon the smallest cut that machines the whole face, without allowance.

    The cutter's plane is parallel to the set-up: to a plane through three points on which the head
    was levelled, or, at best, to the planes of the minimum zone. No set-up needs less than the
    minimum zone. Shops add 0.02 to 0.05 mm so that the last spot cleans up (common practice, no
    source).

    Args:
        points: ``(x, y, z)`` in whole steps, as for `minimum_zone`.
        level_on: places of the three points; None for the best set-up there is.

    Raises:
        ValueError: as for `minimum_zone`, or the three lie on one line.

    >>> mm = 10**9
    >>> face = [(0, 0, 0), (400 * mm, 0, 0), (0, 150 * mm, 0), (400 * mm, 150 * mm, 40_000_000)]
    >>> round(clean_up(face).depth), round(clean_up(face, (0, 1, 2)).depth)
    (20000000, 40000000)
    """
    zone = minimum_zone(points)
    normal = zone.normal
    if level_on is not None:
        a, b, c = (points[place] for place in level_on)
        normal = _upward(_cross(_less(b, a), _less(c, a)))
        if not any(normal):
            raise ValueError("the three points to level on lie on one line, needed: a triangle")
    heights = [_dot(normal, point) for point in points]
    high, low = max(heights), min(heights)
    zone = Zone(Fraction((high - low) ** 2, _dot(normal, normal)), "plane", (), (), normal, low)
    return CleanUp(zone.width, heights.index(high), heights.index(low))


def table_of(points: Sequence[Point] | Places) -> Places:
    """Hold points as a table; refuse what has no flatness."""
    import numpy as np  # noqa: PLC0415

    if len(points) < 4:
        raise ValueError(f"found {len(points)} points, needed: at least four")
    try:
        table = np.asarray(points, dtype=np.int64)
    except OverflowError:
        table = np.array([[LARGEST] * 3])
    if table.max() >= LARGEST or table.min() <= -LARGEST:
        raise ValueError("found coordinates of more than 18 digits, needed: fewer")
    plan = (table[:, :2] - table[0, :2]).astype(np.float64)
    plan -= plan.mean(axis=0)
    spread = np.linalg.eigvalsh(plan.T @ plan)
    # Places in whole steps are never quite in line: a millionth across is no breadth.
    if spread[0] <= 1e-12 * spread[1]:
        raise ValueError("all points lie on one line, needed: points spread over the face")
    return table


def _point(table: Places, place: int) -> Point:
    x, y, z = table[place].tolist()
    return x, y, z


@dataclass(frozen=True, slots=True)
class _Settled:
    """A candidate settled in whole numbers.

    Attributes:
        zone: its zone, over all points.
        proved: whether its own contact points prove that no zone near it is narrower.
        top: places of all points on the upper plane.
        bottom: places of those on the lower plane.
    """

    zone: Zone
    proved: bool
    top: tuple[int, ...]
    bottom: tuple[int, ...]


def _settle(table: Places, item: Candidate) -> _Settled | None:
    """Make a zone of a candidate, exactly; None where its points span no plane."""
    import numpy as np  # noqa: PLC0415

    one = [_point(table, place) for place in item.one]
    other = [_point(table, place) for place in item.other]
    if len(one) == 3:
        normal = _cross(_less(one[1], one[0]), _less(one[2], one[0]))
    else:
        normal = _cross(_less(one[1], one[0]), _less(other[1], other[0]))
    if not any(normal):
        return None
    normal = _upward(normal)
    # The highest and lowest of all points: first in doubles, those in question in whole numbers.
    unit = np.array(normal, dtype=np.float64)
    unit /= np.linalg.norm(unit)
    near = (table - table[0]).astype(np.float64)
    height = near @ unit
    margin = 1e-14 * float(np.abs(near).max())
    top = np.nonzero(height >= height.max() - margin)[0]
    bottom = np.nonzero(height <= height.min() + margin)[0]
    tops = {place: _dot(normal, _point(table, place)) for place in top.tolist()}
    bottoms = {place: _dot(normal, _point(table, place)) for place in bottom.tolist()}
    high, low = max(tops.values()), min(bottoms.values())
    square = Fraction((high - low) ** 2, _dot(normal, normal))
    swap = _dot(normal, one[0]) < _dot(normal, other[0])
    upper, lower = (item.other, item.one) if swap else (item.one, item.other)
    kind: Contact = "3-1" if len(one) == 3 else "2-2"
    zone = Zone(square, kind, tuple(sorted(upper)), tuple(sorted(lower)), normal, low)
    proved = high - low == abs(_dot(normal, _less(one[0], other[0])))
    return _Settled(
        zone,
        proved and _crossed(one, other, normal),
        tuple(place for place, level in tops.items() if level == high),
        tuple(place for place, level in bottoms.items() if level == low),
    )


def _prove(table: Places, settled: _Settled) -> Zone:
    """Look for a proof among all points that touch, where a face or an edge lies on a plane.

    The width needs none of this. Of very many touching points the first are tried; where these
    prove nothing, the contacts stay those that gave the planes.
    """
    zone = settled.zone
    top, bottom = (
        list({_point(table, place): place for place in reversed(places)}.items())[::-1][:TRIED]
        for places in (settled.top, settled.bottom)
    )
    for one, other, three in ((top, bottom, 3), (bottom, top, 3), (top, bottom, 2)):
        for some in combinations(one, three):
            for rest in combinations(other, 4 - three):
                corners = [point for point, _ in some]
                if three == 3 and not _spans(corners, zone.normal):
                    continue
                if _crossed(corners, [point for point, _ in rest], zone.normal):
                    on_one = tuple(sorted(place for _, place in some))
                    on_other = tuple(sorted(place for _, place in rest))
                    upper, lower = (on_one, on_other) if one is top else (on_other, on_one)
                    return replace(zone, kind="3-1" if three == 3 else "2-2", upper=upper,
                                   lower=lower)  # fmt: skip
    return zone


def _spans(corners: list[Point], normal: Point) -> bool:
    """Tell whether three points, seen along the normal, are a triangle."""
    a, b, c = corners
    return _dot(normal, _cross(_less(b, a), _less(c, a))) != 0


def _crossed(one: list[Point], other: list[Point], normal: Point) -> bool:
    """Tell whether, seen along the normal, the contacts of the two planes overlap."""
    if len(one) == 3:
        turns = [
            _dot(normal, _cross(_less(one[(at + 1) % 3], one[at]), _less(other[0], one[at])))
            for at in range(3)
        ]
        return min(turns) >= 0 or max(turns) <= 0
    first, second = _less(one[1], one[0]), _less(other[1], other[0])
    apart = _less(other[0], one[0])
    whole = _dot(_cross(first, second), normal)
    along = (_dot(_cross(apart, second), normal), _dot(_cross(apart, first), normal))
    if whole < 0:
        whole, along = -whole, (-along[0], -along[1])
    return whole > 0 and all(0 <= part <= whole for part in along)


def _one_plane(table: Places, turned: Axes) -> Zone:
    """Make the zone of points that lie in one plane: three that span it, and nothing between."""
    import numpy as np  # noqa: PLC0415

    distinct = len(np.unique(table, axis=0))
    if distinct < 4:
        raise ValueError(f"found {distinct} different points, needed: at least four")
    along = turned.points[:, 0]
    a, b = int(along.argmin()), int(along.argmax())
    run = turned.points[b] - turned.points[a]
    away = np.linalg.norm(np.cross(turned.points - turned.points[a], run), axis=1)
    c = int(away.argmax())
    corner = _point(table, a)
    normal = _upward(_cross(_less(_point(table, b), corner), _less(_point(table, c), corner)))
    heights = [_dot(normal, _point(table, place)) for place in range(len(table))]
    low = min(heights)
    square = Fraction((max(heights) - low) ** 2, _dot(normal, normal))
    return Zone(square, "plane", (), tuple(sorted((a, b, c))), normal, low)


def _upward(normal: Point) -> Point:
    x, y, z = normal
    return (-x, -y, -z) if (z, y, x) < (0, 0, 0) else normal


def _less(p: Point, q: Point) -> Point:
    return p[0] - q[0], p[1] - q[1], p[2] - q[2]


def _dot(p: Point, q: Point) -> int:
    return p[0] * q[0] + p[1] * q[1] + p[2] * q[2]


def _cross(p: Point, q: Point) -> Point:
    return (
        p[1] * q[2] - p[2] * q[1],
        p[2] * q[0] - p[0] * q[2],
        p[0] * q[1] - p[1] * q[0],
    )
