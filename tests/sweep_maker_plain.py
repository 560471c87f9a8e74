"""A second maker of rock sweeps, written apart from `sweep_maker` and sharing none of its code.

It draws the motion reading by reading instead of on a fine grid, from a list of pieces; its hand is
impatient at slow gauges, its spikes are never gentle. What it shares is the shape of the answer.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from sweep_maker import Made

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

Kind = Literal[
    "good",
    "recoverable slip",
    "one short end",
    "short ends",
    "too few rocks",
    "frozen",
    "unit change",
    "slips",
    "clipped",
]
RATES: Final = (3.0, 5.0, 8.0, 10.0, 16.0, 25.0, 50.0)
_Piece = tuple[str, float, float, float]


def make_plain(rng: np.random.Generator, kind: Kind = "good") -> Made:
    """Make a sweep of a 1 um indicator."""
    travel = float(rng.uniform(20, 500))
    rate = float(rng.choice(RATES))
    rocks = int(rng.integers(1, 3) if kind == "too few rocks" else rng.integers(3, 9))
    if kind == "one short end":
        rocks = 5
    pieces = _pieces(rng, travel, rocks, kind)
    length = sum(piece[1] for piece in pieces)
    t = np.arange(0, length, 1 / rate)
    t = np.sort(t + rng.uniform(0, 0.3 / rate, len(t)))
    x = _motion(t, pieces)
    if rng.random() < 0.6:
        x = x + rng.uniform(-1, 1) * min(30.0, 1.5 * travel) * t / length
    slips = int(kind == "recoverable slip" or (kind == "good" and rng.random() < 0.1))
    if kind == "slips":
        slips = int(rng.integers(3, 6))
    for number in range(slips):
        share = 0.5 if slips == 1 else 0.2 + 0.6 * number / (slips - 1)
        size = rng.choice([-1, 1]) * rng.uniform(0.15, 0.5) * travel
        x = x + size * (t > (share + rng.uniform(-0.1, 0.1)) * length)
    base = rng.uniform(500, 5000)
    x = x + rng.normal(0, rng.uniform(0.1, 0.6), len(t)) + base
    if kind == "clipped":
        cut = rng.uniform(0.1, 0.4) * travel
        if rng.random() < 0.5:
            x = np.minimum(x, base + travel - cut)
        else:
            x = np.maximum(x, base + cut) - base - cut
    for place in np.flatnonzero(rng.random(len(t)) < 0.01):
        x[place : place + int(rng.integers(1, 3))] += rng.choice([-1, 1]) * rng.uniform(50, 2000)
    value_pm = np.round(x).astype(np.int64) * 1_000_000
    if kind == "frozen":
        start = rng.uniform(0.25, 0.55) * length
        held = (t >= start) & (t < start + rng.uniform(2.5, 5))
        value_pm[held] = value_pm[np.argmax(held)]
    units = None
    if kind == "unit change":
        turn = int(rng.uniform(0.3, 0.7) * len(t))
        units = ["mm"] * turn + ["in"] * (len(t) - turn)
    return Made(
        t_ns=np.round(t * 1e9).astype(np.int64),
        value_pm=value_pm,
        step_pm=1_000_000,
        travel_pm=round(travel * 1_000_000),
        rocks=rocks,
        units=units,
        story={"hand": "plain", "rate": rate, "kind": kind},
    )


def _pieces(rng: np.random.Generator, travel: float, rocks: int, kind: Kind) -> list[_Piece]:
    ends = 2 * rocks
    short: set[int] = set()
    if kind == "one short end":
        short = {int(rng.integers(2, ends - 2))}
    elif kind == "short ends":
        count = max(2, round(ends * rng.uniform(0.3, 0.5)))
        short = set(rng.choice(ends, count, replace=False).tolist())
    begin = str(rng.choice(["low", "high", "middle"]))
    at = {"low": 0.0, "high": travel, "middle": travel * rng.uniform(0.3, 0.7)}[begin]
    side = {"low": 1, "high": -1, "middle": int(rng.choice([-1, 1]))}[begin]
    pieces: list[_Piece] = [("rest", rng.uniform(0.5, 2.0), at, at)]
    for number in range(ends):
        goal = (travel if side > 0 else 0.0) + rng.normal(0, 0.3)
        if number in short:
            goal -= side * travel * rng.uniform(0.18, 0.5)
        way = rng.uniform(0.25, 0.7)
        if rng.random() < 0.15:
            shelf = at + (goal - at) * rng.uniform(0.3, 0.7)
            pieces += [
                ("straight", way / 2, at, shelf),
                ("rest", rng.uniform(0.1, 0.3), shelf, shelf),
                ("straight", way / 2, shelf, goal),
            ]
        else:
            pieces.append((str(rng.choice(["straight", "cosine", "jerk", "lag"])), way, at, goal))
        stay, luck = rng.uniform(0.4, 1.0), rng.random()
        if luck < 0.2:
            pieces.append(("peak", stay, goal, side * rng.uniform(0.03, 0.12) * travel))
        elif luck < 0.45:
            pieces.append(("creep", stay, goal, side * rng.uniform(0, min(2.0, 0.01 * travel))))
        else:
            pieces.append(("rest", stay, goal, goal))
        at, side = goal, -side
    if rng.random() < 0.5:
        middle = travel * rng.uniform(0.3, 0.7)
        pieces.append(("cosine", 0.5, at, middle))
        at = middle
    pieces.append(("rest", rng.uniform(0.5, 2.0), at, at))
    return pieces


def _motion(t: Floats, pieces: list[_Piece]) -> Floats:
    x = np.full(len(t), pieces[-1][3])
    begin = 0.0
    for shape, seconds, a, b in pieces:
        here = (t >= begin) & (t < begin + seconds)
        u = (t[here] - begin) / seconds
        if shape == "peak":
            x[here] = a + b * np.exp(-u * seconds / 0.06)
        elif shape == "creep":
            x[here] = a - b * np.exp(-u * seconds / 0.15)
        else:
            share = {
                "rest": u,
                "straight": u,
                "cosine": (1 - np.cos(np.pi * u)) / 2,
                "jerk": u**3 * (10 - 15 * u + 6 * u * u),
                "lag": (1 - np.exp(-5 * u)) / (1 - np.exp(-5)),
            }[shape]
            x[here] = a + (b - a) * share
        begin += seconds
    return x
