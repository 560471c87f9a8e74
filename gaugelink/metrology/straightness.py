"""What a straightedge tells of a face: gaps along lines, in any length of them, and feeler blades.

Six lines make a face: its four edges and both diagonals. A twist shows along the diagonals alone,
and where it meets a bow along one of them only. Heights are taken straight up, which for the
slopes of a head on a plate differs from the distance square to the edge by some millionths of it.

Source: geometry; the six lines are common practice (workshop manuals name "four sides and two
diagonals").
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from gaugelink.metrology.conformity import VerdictWord
    from gaugelink.metrology.flatness import Point

BESIDE: Final = Fraction(1, 100)
"""A point belongs to a line that it lies beside by no more than this part of the shorter side."""

Profile = list[tuple[int, int]]
"""Places along a line with heights, in whole steps; by rising place."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of a line.

    Attributes:
        size: its straightness, in steps, exact.
        first: place of its first point among the points of the face.
        last: place of its last point.
    """

    size: Fraction
    first: int
    last: int


def six_lines(points: Sequence[Point]) -> dict[str, tuple[int, ...]]:
    """Find the points along the edges and diagonals of a face.

    Args:
        points: ``(x, y, z)`` in whole steps; x along the head, y across it.

    Returns:
        Places of the points of each line, from end to end; lines with fewer than three are left
        out, for nothing can be said of them.

    >>> grid = [(x, y, 0) for x in (0, 50, 100) for y in (0, 20, 40)]
    >>> six_lines(grid)["rising diagonal"]
    (0, 4, 8)
    """
    low_x, high_x = min(p[0] for p in points), max(p[0] for p in points)
    low_y, high_y = min(p[1] for p in points), max(p[1] for p in points)
    ends = {
        "edge along, y lowest": ((low_x, low_y), (high_x, low_y)),
        "edge along, y highest": ((low_x, high_y), (high_x, high_y)),
        "edge across, x lowest": ((low_x, low_y), (low_x, high_y)),
        "edge across, x highest": ((high_x, low_y), (high_x, high_y)),
        "rising diagonal": ((low_x, low_y), (high_x, high_y)),
        "falling diagonal": ((low_x, high_y), (high_x, low_y)),
    }
    beside = BESIDE * min(high_x - low_x, high_y - low_y)
    lines = {}
    for name, ((x, y), (x_end, y_end)) in ends.items():
        run_x, run_y = x_end - x, y_end - y
        reach = beside * beside * (run_x * run_x + run_y * run_y)
        on = [
            (run_x * (p[0] - x) + run_y * (p[1] - y), place)
            for place, p in enumerate(points)
            if (run_x * (p[1] - y) - run_y * (p[0] - x)) ** 2 <= reach
        ]
        if len(on) >= 3:
            lines[name] = tuple(place for _, place in sorted(on))
    return lines


def profile(points: Sequence[Point], places: Iterable[int]) -> Profile:
    """Lay points of a line out along it, by their coordinate on the line's longer side."""
    some = [points[place] for place in places]
    reach = [max(p[axis] for p in some) - min(p[axis] for p in some) for axis in (0, 1)]
    axis = 0 if reach[0] >= reach[1] else 1
    return sorted((p[axis], p[2]) for p in some)


def straightedge(line: Profile) -> Fraction:
    """Give the largest gap under a straightedge that rests on the high spots.

    Args:
        line: places with heights; at least two.

    Returns:
        The gap in steps, exact: how far the profile lies below its upper convex hull. On a hump
        the edge rocks about one high spot; the gap there is that with the edge on the hump and an
        end, and `straightness` tells of the hump.

    >>> straightedge([(0, 0), (100, -40), (200, 0)])  # a hollow
    Fraction(40, 1)
    >>> straightedge([(0, 0), (100, 40), (200, 0)])  # a hump: the edge rocks on it; one side
    Fraction(0, 1)
    """
    return max((_below(line, a, b) for a, b in pairwise(_hull(line))), default=Fraction(0))


def _below(line: Profile, a: tuple[int, int], b: tuple[int, int]) -> Fraction:
    """Largest depth under the chord from a to b, between its ends."""
    return max(
        Fraction(a[1] * (b[0] - s) + b[1] * (s - a[0]), b[0] - a[0]) - z
        for s, z in line
        if a[0] <= s <= b[0]
    )


def straightness(line: Profile) -> Fraction:
    """Give the least distance, straight up, of two parallel lines that hold a profile.

    One of the two rests on an edge of the hull, or they could come closer (ISO 12780-1, minimum
    zone; the criterion is geometry).

    Args:
        line: places with heights; at least two.

    Returns:
        The distance in steps, exact.

    >>> straightness([(0, 0), (100, 40), (200, 0)]), straightness([(0, 0), (100, 5), (200, 40)])
    (Fraction(40, 1), Fraction(15, 1))
    """
    upper = _hull(line)
    lower = [(s, -z) for s, z in _hull([(s, -z) for s, z in line])]
    corners = [*upper, *lower]
    best: Fraction | None = None
    for edges in (upper, lower):
        for a, b in pairwise(edges):
            rise, run = b[1] - a[1], b[0] - a[0]
            tilted = [z * run - rise * s for s, z in corners]
            size = Fraction(max(tilted) - min(tilted), run)
            best = size if best is None else min(best, size)
    if best is None:  # all in one place
        heights = [z for _, z in line]
        return Fraction(max(heights) - min(heights))
    return best


def _hull(line: Profile) -> Profile:
    """Give the corners of the upper hull, by rising place."""
    top: dict[int, int] = {}
    for s, z in line:
        top[s] = max(z, top.get(s, z))
    corners: Profile = []
    for s, z in sorted(top.items()):
        while len(corners) > 1:
            (s1, z1), (s2, z2) = corners[-2:]
            if (z2 - z1) * (s - s1) > (z - z1) * (s2 - s1):
                break
            corners.pop()
        corners.append((s, z))
    return corners


def in_any_length(points: Sequence[Point], places: Sequence[int], length: int) -> Stretch:
    """Give the worst straightness within any length of a line ("0.05 in any 150 mm").

    Every window of this length that begins at a point is looked at; a window that begins elsewhere
    holds no other points than one of these. What lies between the points nobody knows.

    Args:
        points: ``(x, y, z)`` in whole steps.
        places: the line's points, from end to end.
        length: the length, ends included, in the same steps.

    Raises:
        ValueError: no window holds three points.

    >>> face = [(0, 0, 0), (50, 0, 2), (100, 0, 1), (150, 0, 9), (200, 0, 0)]
    >>> in_any_length(face, range(5), 100)
    Stretch(size=Fraction(17, 2), first=2, last=4)
    """
    worst: Stretch | None = None
    for at, first in enumerate(places):
        x, y, _ = points[first]
        window = [
            place for place in places[at:]
            if (points[place][0] - x) ** 2 + (points[place][1] - y) ** 2 <= length * length
        ]  # fmt: skip
        if len(window) < 3:
            continue
        size = straightness(profile(points, window))
        if worst is None or size > worst.size:
            worst = Stretch(size, first, window[-1])
    if worst is None:
        raise ValueError(
            "found fewer than three points in every window of this length, needed: points closer "
            "together, or a greater length"
        )
    return worst


@dataclass(frozen=True, slots=True)
class Feeler:
    """What feeler blades told of a gap: never a figure, only two bounds.

    Attributes:
        goes_pm: the thickest blade that went in; the gap is at least this. 0 where none did.
        stops_pm: the thinnest blade that did not; the gap is less. None where all went in.
    """

    goes_pm: int
    stops_pm: int | None

    def __post_init__(self) -> None:
        if self.goes_pm < 0 or (self.stops_pm is not None and self.stops_pm <= self.goes_pm):
            raise ValueError(
                f"found a blade of {self.goes_pm} pm that went in and one of {self.stops_pm} pm "
                "that did not, needed: the second thicker than the first, neither below 0"
            )


def largest_gap(lines: Mapping[str, Feeler]) -> Feeler:
    """Join the blades of several lines: what is known of the largest of their gaps.

    Raises:
        ValueError: no line.

    >>> largest_gap({"edge": Feeler(30, 40), "diagonal": Feeler(50, 60)})
    Feeler(goes_pm=50, stops_pm=60)
    """
    if not lines:
        raise ValueError("found no line, needed: at least one")
    stops = [one.stops_pm for one in lines.values()]
    known = [one for one in stops if one is not None]
    return Feeler(
        max(one.goes_pm for one in lines.values()), max(known) if len(known) == len(stops) else None
    )


def feeler_verdict(gap: Feeler, limit_pm: int) -> VerdictWord:
    """Hold what blades told against the largest gap allowed, itself within.

    Args:
        gap: the two bounds.
        limit_pm: the limit, picometres.

    >>> gap = Feeler(50_000_000, 60_000_000)  # 0.05 mm goes, 0.06 mm does not
    >>> [feeler_verdict(gap, limit * 10**6) for limit in (40, 50, 55, 60)]
    ['outside', 'undecided', 'undecided', 'within']
    """
    if gap.goes_pm > limit_pm:
        return "outside"
    if gap.stops_pm is not None and gap.stops_pm <= limit_pm:
        return "within"
    return "undecided"
