"""Makes rock sweeps whose truth is known, and spoils them in named ways.

Three hands that share no code for their motion, so that an analysis cannot lean on one shape:

* ``segments``: ramps (straight, cosine, exponential, smooth-step) and dwells, with shelves,
  back-steps, peaks at the wall and creep;
* ``clamped``: a sine of wandering speed pressed against the walls, with a little flex;
* ``chase``: the stem follows the hand's push with a lag, and the wall stops it.

Shapes and magnitudes are common practice without a source, and invented where practice says
nothing. All lengths inside are micrometres; what comes out is whole picometres.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal, cast

import numpy as np
from sweep_maker_gauge import arrival, display, noise, sample_times, spikes

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

UM: Final = 1_000_000
GRID: Final = 500
"""Points a second of the motion before the gauge looks at it."""

Hand = Literal["segments", "clamped", "chase"]
HANDS: Final[tuple[Hand, ...]] = ("segments", "clamped", "chase")
Spoilt = Literal["short ends", "too few rocks", "frozen", "unit change", "slips", "clipped"]
SPOILT: Final[tuple[Spoilt, ...]] = (
    "short ends",
    "too few rocks",
    "frozen",
    "unit change",
    "slips",
    "clipped",
)


@dataclass
class Made:
    """A sweep and the truth behind it."""

    t_ns: NDArray[np.int64]
    value_pm: NDArray[np.int64]
    step_pm: int
    travel_pm: int
    rocks: int
    units: list[str] | None = None
    story: dict[str, object] = field(default_factory=dict)


@dataclass
class Wish:
    """What a sweep shall be like; None leaves it to chance."""

    hand: Hand | None = None
    travel_um: float | None = None
    rocks: int | None = None
    rate: float | None = None
    step_pm: int = UM
    noise_um: float | None = None
    drift_um: float | None = None
    slips_um: list[float] | None = None
    spikes: float | None = None
    short: dict[int, float] | None = None
    """End number, counted from 0, to the share of the travel that it misses."""
    bunched: bool | None = None
    patient: bool = True
    """At slow gauges the hand waits at each wall for a new reading."""
    hand_um: float | None = None
    lead: str | None = None


def make(rng: np.random.Generator, wish: Wish | None = None) -> Made:
    """Make a good sweep, apart from what the wish asks for."""
    wish = wish or Wish()
    travel = wish.travel_um or float(np.exp(rng.uniform(np.log(20.0), np.log(500.0))))
    rocks = wish.rocks if wish.rocks is not None else int(rng.integers(3, 9))
    rate = wish.rate or float(np.exp(rng.uniform(np.log(3.0), np.log(50.0))))
    hand = wish.hand or HANDS[int(rng.integers(3))]
    lead = wish.lead or str(rng.choice(["mid", "wall", "none"], p=[0.4, 0.4, 0.2]))
    ends = 2 * rocks + int(rng.random() < 0.5)
    side = int(rng.choice([-1, 1]))
    sides = [side * (-1) ** number for number in range(ends)]
    hand_um = wish.hand_um if wish.hand_um is not None else _slight(rng, travel)
    short = wish.short or {}
    walls = [
        s * travel / 2 * (1 - 2 * short.get(number, 0.0)) + rng.normal(0, hand_um)
        for number, s in enumerate(sides)
    ]
    slowest = 1.3 / rate if wish.patient else 0.0
    motion: Callable[..., Floats] = {"segments": _segments, "clamped": _clamped, "chase": _chase}[
        hand
    ]
    x = motion(rng, walls, sides, travel, slowest, short)
    moving = (0, len(x))
    if lead != "none":
        before = rng.uniform(0.2, 3.0)
        after = rng.uniform(0.2, 3.0)
        x, moving = _rests(rng, x, travel, lead, before, after)
    t = np.arange(len(x)) / GRID
    length = t[-1]
    drift = wish.drift_um if wish.drift_um is not None else _drift_size(rng, travel)
    x = x + drift * _drift_shape(rng, t / length)
    slips = wish.slips_um
    if slips is None:
        slips = []
        if rng.random() < 0.15:
            slips = [float(rng.choice([-1, 1]) * rng.uniform(0.06, 0.6) * max(travel, 60.0))]
    first, last = moving[0] / GRID, moving[1] / GRID
    spans = np.linspace(0.25, 0.75, len(slips) + 1)
    for number, size in enumerate(slips):
        share = rng.uniform(spans[number], spans[number + 1])
        x = x + size * (t > first + share * (last - first))
    times = sample_times(rng, rate, length)
    seen = np.interp(times, t, x)
    noise_um = wish.noise_um if wish.noise_um is not None else float(rng.uniform(0.0, 0.7))
    seen = seen + noise(rng, len(seen), noise_um)
    base = float(rng.uniform(-3000, 6000))
    seen = seen + base
    chance = wish.spikes if wish.spikes is not None else float(rng.choice([0.0, 0.005, 0.01]))
    seen, spiked = spikes(rng, seen, chance, travel)
    counts = display(rng, seen * UM / wish.step_pm)
    bunched = wish.bunched if wish.bunched is not None else bool(rng.random() < 0.25)
    arrived = arrival(rng, times, rate, bunched=bunched)
    return Made(
        t_ns=np.round(arrived * 1e9).astype(np.int64) + int(rng.integers(10**12)),
        value_pm=counts.astype(np.int64) * wish.step_pm,
        step_pm=wish.step_pm,
        travel_pm=round(travel * UM),
        rocks=rocks,
        story={
            "hand": hand,
            "rate": rate,
            "travel_um": travel,
            "rocks": rocks,
            "ends": ends,
            "lead": lead,
            "drift_um": drift,
            "slips_um": slips,
            "noise_um": noise_um,
            "spiked": spiked,
            "hand_um": hand_um,
            "short": short,
            "bunched": bunched,
            "moving_s": (first, last),
            "base_um": base,
            "taken_s": times,
        },
    )


def spoil(rng: np.random.Generator, kind: Spoilt, wish: Wish | None = None) -> Made:
    """Make a sweep that must not be trusted."""
    wish = wish or Wish()
    if kind == "too few rocks":
        wish.rocks = int(rng.integers(1, 3))
        return make(rng, wish)
    if kind == "short ends":
        wish.rocks = wish.rocks or int(rng.integers(3, 9))
        ends = 2 * wish.rocks
        count = max(2, round(ends * rng.uniform(0.25, 0.6)))
        places = rng.choice(np.arange(1, ends - 1), size=min(count, ends - 2), replace=False)
        wish.short = {int(place): float(rng.uniform(0.1, 0.45)) for place in places}
        return make(rng, wish)
    if kind == "slips":
        wish.travel_um = wish.travel_um or float(np.exp(rng.uniform(np.log(20.0), np.log(500.0))))
        size = max(wish.travel_um, 40.0)
        sign = rng.choice([-1, 1])
        wish.slips_um = [
            float((sign if rng.random() < 0.7 else -sign) * rng.uniform(0.15, 0.8) * size)
            for _ in range(int(rng.integers(2, 5)))
        ]
        return make(rng, wish)
    made = make(rng, wish)
    if kind == "clipped":
        return _clip(rng, made)
    if kind == "unit change":
        turn = int(rng.integers(len(made.t_ns) // 4, 3 * len(made.t_ns) // 4))
        made.units = ["mm" if n < turn else "in" for n in range(len(made.t_ns))]
        if rng.random() < 0.5:
            made.units = ["in" if unit == "mm" else "mm" for unit in made.units]
        return made
    first, last = cast("tuple[float, float]", made.story["moving_s"])
    seconds = (made.t_ns - made.t_ns[0]) / 1e9
    start = rng.uniform(first + 0.2 * (last - first), first + 0.6 * (last - first))
    stop = start + rng.uniform(2.5, 6.0) if rng.random() < 0.6 else seconds[-1] + 1
    held = (seconds >= start) & (seconds < stop)
    if held.any():
        made.value_pm[held] = made.value_pm[np.argmax(held)]
    made.story["held_s"] = (start, stop)
    return made


def _slight(rng: np.random.Generator, travel: float) -> float:
    return float(rng.uniform(0.0, 0.4) + rng.uniform(0.0, 0.004) * travel)


def _drift_size(rng: np.random.Generator, travel: float) -> float:
    return float(rng.choice([0.0, 1.0]) * rng.uniform(-1, 1) * min(40.0, travel))


def _drift_shape(rng: np.random.Generator, u: Floats) -> Floats:
    kind = int(rng.integers(4))
    if kind == 0:
        return u
    if kind == 1:
        return 1 - np.exp(-3 * u)
    if kind == 2:
        return u**2
    return np.asarray(np.sin(rng.uniform(1.0, 3.0) * u + rng.uniform(0, 3.0)))


def _dwell(rng: np.random.Generator, law: int, slowest: float) -> float:
    if law == 0:
        value = rng.uniform(0.4, 1.0)
    elif law == 1:
        value = 0.35 + rng.gamma(2.0, 0.15)
    elif law == 2:
        value = float(np.clip(rng.lognormal(-0.5, 0.35), 0.35, 1.6))
    else:
        value = float(rng.choice([0.45, 0.9]))
    return max(float(value), slowest)


def _ramp(rng: np.random.Generator, points: int, shape: int) -> Floats:
    u = np.arange(1, points + 1) / points
    if shape == 0:
        return u
    if shape == 1:
        return np.asarray((1 - np.cos(np.pi * u)) / 2)
    if shape == 2:
        k = rng.uniform(2.5, 5.0)
        return np.asarray((1 - np.exp(-k * u)) / (1 - np.exp(-k)))
    return u * u * (3 - 2 * u)


def _segments(
    rng: np.random.Generator,
    walls: list[float],
    sides: list[int],
    travel: float,
    slowest: float,
    short: dict[int, float],
) -> Floats:
    law, shape = int(rng.integers(4)), int(rng.integers(4))
    peaks = rng.random() < 0.3
    creeps = rng.uniform(0, min(3.0, 0.02 * travel)) if rng.random() < 0.4 else 0.0
    pieces: list[Floats] = []
    at = -walls[0] * rng.uniform(-0.7, 0.7)
    for number, wall in enumerate(walls):
        points = int(GRID * rng.uniform(0.3, 0.7))
        ramp = at + (wall - at) * _ramp(rng, points, shape)
        trouble = rng.random()
        if trouble < 0.2:
            cut = int(points * rng.uniform(0.2, 0.85))
            shelf = np.full(int(GRID * rng.uniform(0.1, 0.35)), ramp[cut])
            ramp = np.concatenate([ramp[:cut], shelf, ramp[cut:]])
        elif trouble < 0.3:
            cut = int(points * rng.uniform(0.3, 0.8))
            back = ramp[cut] - sides[number] * travel * rng.uniform(0.03, 0.12)
            there = np.linspace(ramp[cut], back, int(0.08 * GRID))
            ramp = np.concatenate([ramp[:cut], there, there[::-1], ramp[cut:]])
        hold = np.full(int(GRID * _dwell(rng, law, slowest)), wall)
        since = np.arange(len(hold)) / GRID
        if peaks and number not in short and rng.random() < 0.7:
            height = sides[number] * rng.uniform(0.02, 0.15) * travel
            hold = hold + height * np.exp(-since / rng.uniform(0.015, 0.05))
        if creeps:
            hold = hold - sides[number] * creeps * np.exp(-since / rng.uniform(0.05, 0.2))
        pieces += [ramp, hold]
        at = float(hold[-1])
    return np.concatenate(pieces)


def _clamped(
    rng: np.random.Generator,
    walls: list[float],
    sides: list[int],
    travel: float,
    slowest: float,
    short: dict[int, float],
) -> Floats:
    push = rng.uniform(1.5, 4.0)
    flex = rng.uniform(0.0, 0.3)
    pieces: list[Floats] = []
    for number, wall in enumerate(walls):
        swing = np.pi - 2 * np.arcsin(1 / push)
        seconds = max(rng.uniform(0.7, 1.5), slowest * np.pi / swing)
        u = np.arange(int(GRID * seconds)) / (GRID * seconds)
        wave = np.sin(np.pi * u)
        if number in short:
            pieces.append(wall * wave if wall * sides[number] > 0 else wall * wave**4)
            continue
        pressed = np.clip(abs(wall) * push * wave, 0, abs(wall))
        over = np.clip(push * wave - 1, 0, None) / push
        pieces.append(sides[number] * (pressed + flex * over))
    return np.concatenate(pieces)


def _chase(
    rng: np.random.Generator,
    walls: list[float],
    sides: list[int],
    travel: float,
    slowest: float,
    short: dict[int, float],
) -> Floats:
    lag = rng.uniform(0.08, 0.22)
    push = rng.uniform(1.15, 2.5)
    x = -sides[0] * rng.uniform(0, 0.6) * travel / 2
    out = []
    for number, wall in enumerate(walls):
        target = wall if number in short else sides[number] * push * travel / 2
        reach = lag * np.log((abs(target - x)) / max(abs(target - wall), 0.02 * travel))
        steps = int(GRID * (reach + max(rng.uniform(0.4, 1.1), slowest)))
        for _ in range(steps):
            x += (target - x) / (lag * GRID)
            x = min(x, wall) if sides[number] > 0 else max(x, wall)
            out.append(x)
    return np.asarray(out)


def _rests(
    rng: np.random.Generator, x: Floats, travel: float, lead: str, before: float, after: float
) -> tuple[Floats, tuple[int, int]]:
    if lead == "wall":
        head, tail = np.full(int(before * GRID), x[0]), np.full(int(after * GRID), x[-1])
        return np.concatenate([head, x, tail]), (len(head), len(head) + len(x))
    pieces = []
    level = rng.uniform(-0.6, 0.6) * travel / 2
    glide = _ramp(rng, int(0.4 * GRID), 1)
    pieces.append(np.full(int(before * GRID), level))
    pieces.append(level + (x[0] - level) * glide)
    begin = sum(map(len, pieces))
    pieces.append(x)
    level = rng.uniform(-0.6, 0.6) * travel / 2
    pieces.append(x[-1] + (level - x[-1]) * glide)
    pieces.append(np.full(int(after * GRID), level))
    return np.concatenate(pieces), (begin, begin + len(x))


def _clip(rng: np.random.Generator, made: Made) -> Made:
    story = made.story
    cut = rng.uniform(0.08, 0.5) * cast("float", story["travel_um"])
    values = made.value_pm
    low, high = np.percentile(values, [8, 92])
    if rng.random() < 0.6:
        floor = round((low + cut * UM) / made.step_pm) * made.step_pm
        made.value_pm = np.maximum(values, floor)
        if rng.random() < 0.7:
            made.value_pm = made.value_pm - floor
    else:
        made.value_pm = np.minimum(values, round((high - cut * UM) / made.step_pm) * made.step_pm)
    return made
