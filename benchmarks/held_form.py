"""Published values of form: faces, turns, bores that foretell a rock."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
from held_kit import MOST, Row, Values, digits, worst

from gaugelink.metrology.counts import counts_of
from gaugelink.metrology.flatness import least_squares, minimum_zone
from gaugelink.metrology.flatness_uncertainty import least_squares_weight, minimum_zone_weight
from gaugelink.metrology.rock_bore import foretell
from gaugelink.metrology.runout import even_angles, runout

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

Point = tuple[int, int, int]


def flatness(values: Values) -> Iterator[Row]:
    """Go through faces."""
    solids = {"tetrahedron": 0.5**0.5, "cube": 1.0, "octahedron": (2 / 3) ** 0.5}
    reached = MOST
    for name, width in solids.items():
        points, step = places(values.rows(f"flatness_solid_{name}.csv"))
        reached = min(reached, digits(minimum_zone(points).width * step, width))
    yield "minimum zone: tetrahedron, cube, octahedron in any pose", "textbook geometry", reached
    reached = MOST
    for kind, zone, squares in (
        ("deck_35pt_3-1", 0.040999975, 0.043268734),
        ("deck_35pt_2-2", 0.027500016, 0.031324521),
        ("five_points", 0.067262058, 0.072097300),
    ):
        points, step = places(values.rows(f"flatness_{kind}.csv"))
        reached = min(
            reached,
            worst(
                [(minimum_zone(points).width * step, zone), (least_squares(points) * step, squares)]
            ),
        )
    yield (
        "minimum zone and least squares, two built faces and five points (nine places)",
        "ISO 1101, ISO/TS 12781-1: by the contact criteria",
        reached,
    )
    zones, weights, squares = [], [], []
    for seed in range(5):
        face = rough(seed)
        width, weight = by_programme(face)
        zone = minimum_zone(face)
        zones.append((zone.width, width))
        weights.append((minimum_zone_weight(face, zone), weight))
        squares.append((least_squares_weight(face), by_projection(face)))
    yield "minimum zone, five faces that lie level", "scipy, a linear programme", worst(zones)
    yield "its weight in the uncertainty", "the programme's shadow prices", worst(weights)
    yield "the weight of least squares flatness", "numpy, the projection matrix", worst(squares)


def rough(seed: int) -> list[Point]:
    """Make a face without symmetry, rough by some nanometres over 400 mm."""
    lots = np.random.default_rng(seed).integers(-30_000, 30_000, 15).tolist()
    plan = [(x, y) for y in (0, 75, 150) for x in (0, 100, 200, 300, 400)]
    return [(x * 10**9, y * 10**9, z) for (x, y), z in zip(plan, lots, strict=True)]


def by_programme(face: list[Point]) -> tuple[float, float]:
    """Solve the zone as a linear programme; its prices tell what each height weighs."""
    from scipy.optimize import linprog  # noqa: PLC0415

    table = np.array(face, dtype=np.float64)
    plan, heights = table[:, :2] / 1e11, table[:, 2] / 1e4
    ones = np.ones((len(face), 1))
    base = np.hstack([plan, ones])
    found = linprog(
        [0, 0, 0, 1],
        A_ub=np.vstack([np.hstack([base, -ones]), np.hstack([-base, -ones])]),
        b_ub=np.concatenate([heights, -heights]),
        bounds=[(None, None)] * 3 + [(0, None)],
    )
    price: NDArray[np.float64] = found.ineqlin.marginals
    weight = 2 * (price[: len(face)] - price[len(face) :])
    return 2e4 * float(found.fun), float(np.sqrt(np.sum(weight**2)))


def by_projection(face: list[Point]) -> float:
    """Tell what the heights weigh in the range of the rests about the fitted plane."""
    table = np.array(face, dtype=np.float64)
    design = np.column_stack([table[:, :2] / 1e11, np.ones(len(face))])
    rest = np.eye(len(face)) - design @ np.linalg.pinv(design)
    found = rest @ table[:, 2]
    return float(np.linalg.norm(rest[found.argmax()] - rest[found.argmin()]))


def round_parts(_: Values) -> Iterator[Row]:
    """Go through runout and the bore that foretells a rock."""
    from scipy.optimize import curve_fit, linprog  # noqa: PLC0415

    lots, pairs = np.random.default_rng(1), []
    for count in range(4, 40):
        turn = lots.uniform(-100, 100, count).tolist()
        first = np.fft.rfft(turn)[1] * 2 / count
        pairs.append((runout(turn, even_angles(count)).eccentricity, abs(first)))
    yield "eccentricity of even turns, 4 to 39 readings", "numpy, Fourier transform", worst(pairs)
    angles = [0.0, 20.0, 50.0, 95.0, 130.0, 200.0, 220.0, 290.0, 330.0]
    turn = [12.0, 11.0, 8.5, 2.0, -4.5, -9.0, -8.0, 3.5, 9.5]

    def cosine(angle: NDArray[np.float64], level: float, across: float, along: float) -> Any:
        return level + across * np.cos(np.radians(angle)) + along * np.sin(np.radians(angle))

    best, spread = curve_fit(cosine, angles, turn, sigma=np.ones(9), absolute_sigma=True)
    found, off = runout(turn, angles), math.hypot(best[1], best[2])
    slope = np.array([best[1], best[2]]) / off
    yield (
        "eccentricity of an uneven turn, and its weight",
        "scipy, curve_fit",
        worst(
            [
                (found.eccentricity, off),
                (found.weight, math.sqrt(float(slope @ spread[1:, 1:] @ slope))),
            ]
        ),
    )
    depth, pairs = np.arange(51), []
    for _ in range(30):
        stations = {int(at): int(lots.integers(20, 150)) for at in lots.choice(51, 4, False)}
        known = sorted(stations)
        half = np.interp(depth, known, [stations[at] for at in known]) / 2
        rows = np.stack([np.ones(51), depth], axis=1)
        programme = linprog(
            [-1, 25],
            A_ub=np.vstack([rows, -rows]),
            b_ub=[*half, *half],
            bounds=[(None, None)] * 2,
            method="highs",
        )
        pairs.append((float(foretell(stations, 50, 25).travel_pm), -2 * programme.fun))
    yield "travel foretold from 30 worn bores", "scipy, a linear programme", worst(pairs)


def places(rows: list[dict[str, str]]) -> tuple[list[Point], float]:
    """Give points as whole counts of the finest decimal place, and the size of one."""
    counts = counts_of(row[axis] for row in rows for axis in ("x", "y", "z"))
    flat = counts.values
    points = [(flat[at], flat[at + 1], flat[at + 2]) for at in range(0, len(flat), 3)]
    return points, float(counts.step)


PARTS = (flatness, round_parts)
