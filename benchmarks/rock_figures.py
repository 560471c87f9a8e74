"""How well the rock sweep analysis does on sweeps whose truth is known.

    python benchmarks/rock_figures.py [--sweeps N] [--seed S]

Two makers of sweeps that share no code are used (tests/sweep_maker.py with three hands,
tests/sweep_maker_plain.py). Both were looked at while the analysis was written, so the figures say
how it does on sweeps of that kind, not on every sweep. The tables are those of docs/rock.md.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from sweep_maker import HANDS, SPOILT, UM, Made, Spoilt, Wish, make, spoil
from sweep_maker_plain import make_plain

from gaugelink.metrology.sweep import Sweep, measure_travel

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

SEED: Final = 20_260_301
FLAG_OF: Final[dict[Spoilt, str]] = {
    "short ends": "short end",
    "too few rocks": "too few rocks",
    "frozen": "frozen",
    "unit change": "unit change",
    "slips": "slip",
    "clipped": "clipped",
}
STEPS: Final = {
    "0.0001 mm": 100_000,
    "0.001 mm": 1_000_000,
    "0.00005 in": 1_270_000,
    "0.0001 in": 2_540_000,
    "0.01 mm": 10_000_000,
    "0.0005 in": 12_700_000,
}
Pair = tuple[Made, Sweep]


def measured(made: Made) -> Pair:
    """Measure a made sweep."""
    sweep = measure_travel(made.t_ns, made.value_pm, made.step_pm, units=made.units)
    return made, sweep


def error_um(pair: Pair) -> float:
    """Travel found less travel made."""
    return (pair[1].travel_pm - pair[0].travel_pm) / UM


def within(pair: Pair) -> bool:
    """Whether the travel is within 1.5 um or 1 % of the truth, whichever is more."""
    return abs(error_um(pair)) <= max(1.5, 0.01 * pair[0].travel_pm / UM)


def caught(pair: Pair, kind: Spoilt) -> bool:
    """Whether a spoilt sweep is refused, or at least carries the flag of what spoilt it."""
    sweep = pair[1]
    return not sweep.usable or any(flag.code == FLAG_OF[kind] for flag in sweep.flags)


def share(truths: Iterable[bool]) -> str:
    """Write a share in per cent."""
    listed = list(truths)
    return f"{100 * sum(listed) / len(listed):.1f} %"


def rngs(seed: int, table: int, count: int) -> list[np.random.Generator]:
    """Give a generator of its own to every sweep, so that any of them can be made again alone."""
    return [np.random.default_rng([seed, table, number]) for number in range(count)]


def good_line(name: str, pairs: list[Pair]) -> str:
    """Write a line of the table of good sweeps."""
    errors = np.abs([error_um(pair) for pair in pairs])
    return (
        f"| {name} | {len(pairs)} | {share(map(within, pairs))} "
        f"| {share(not pair[1].usable for pair in pairs)} "
        f"| {share(pair[1].usable and not within(pair) for pair in pairs)} "
        f"| {np.median(errors):.2f} | {np.quantile(errors, 0.97):.2f} |"
    )


def good_table(seed: int, count: int) -> None:
    """Print how good sweeps come out."""
    print(
        "| sweeps | count | within | refused | usable but not within | median | 97 of 100 below |"
    )
    print("|---|---|---|---|---|---|---|")
    pairs = [measured(make(rng)) for rng in rngs(seed, 1, count)]
    plain = [measured(make_plain(rng)) for rng in rngs(seed, 2, count)]
    for hand in HANDS:
        of_hand = [pair for pair in pairs if pair[0].story["hand"] == hand]
        print(good_line(f"first maker, hand `{hand}`", of_hand))
    slow = [pair for pair in pairs if float(str(pair[0].story["rate"])) < 6]
    few = [pair for pair in pairs if pair[0].rocks == 3]
    slipped = [pair for pair in pairs if pair[0].story["slips_um"]]
    print(good_line("first maker, 3 to 6 readings a second", slow))
    print(good_line("first maker, 3 rocks", few))
    print(good_line("first maker, base slipped once", slipped))
    print(good_line("first maker, all", pairs))
    print(good_line("second maker, all", plain))


def spoilt_table(seed: int, count: int) -> None:
    """Print how spoilt sweeps come out."""
    print("| spoilt by | first maker: refused | flagged | second maker: refused | flagged |")
    print("|---|---|---|---|---|")
    every: dict[str, list[bool]] = {"first": [], "second": []}
    for place, kind in enumerate(SPOILT):
        first = [measured(spoil(rng, kind)) for rng in rngs(seed, 10 + place, count)]
        second = [measured(make_plain(rng, kind)) for rng in rngs(seed, 20 + place, count)]
        every["first"] += [caught(pair, kind) for pair in first]
        every["second"] += [caught(pair, kind) for pair in second]
        print(
            f"| {kind} | {share(not pair[1].usable for pair in first)} "
            f"| {share(caught(pair, kind) for pair in first)} "
            f"| {share(not pair[1].usable for pair in second)} "
            f"| {share(caught(pair, kind) for pair in second)} |"
        )
    print(f"| all | | {share(every['first'])} | | {share(every['second'])} |")


def short_table(seed: int, count: int) -> None:
    """Print how sweeps with one short end among five rocks come out."""

    def one_short(rng: np.random.Generator) -> Made:
        place, missing = int(rng.integers(2, 8)), float(rng.uniform(0.1, 0.45))
        return make(rng, Wish(rocks=5, short={place: missing}, slips_um=[]))

    def with_slip(rng: np.random.Generator) -> Made:
        place, missing = int(rng.integers(2, 8)), float(rng.uniform(0.1, 0.45))
        slip = float(rng.choice([-1, 1]) * rng.uniform(20, 60))
        return make(rng, Wish(rocks=5, short={place: missing}, slips_um=[slip]))

    def plain(rng: np.random.Generator) -> Made:
        return make_plain(rng, "one short end")

    print("| maker | count | usable and within | flagged as short |")
    print("|---|---|---|---|")
    makers: list[tuple[str, Callable[[np.random.Generator], Made]]] = [
        ("first", one_short),
        ("first, and the base slipped once as well", with_slip),
        ("second", plain),
    ]
    for place, (name, maker) in enumerate(makers):
        pairs = [measured(maker(rng)) for rng in rngs(seed, 30 + place, count)]
        flagged = share(any(flag.code == "short end" for flag in sweep.flags) for _, sweep in pairs)
        recovered = share(pair[1].usable and within(pair) for pair in pairs)
        print(f"| {name} | {count} | {recovered} | {flagged} |")


def step_table(seed: int, count: int) -> None:
    """Print how displays of other steps do, and whether the uncertainty covers the error."""
    print("| display step | usable | error, 97 of 100 below | within u | within 2 u |")
    print("|---|---|---|---|---|")
    for place, (name, step_pm) in enumerate(STEPS.items()):
        pairs = []
        for rng in rngs(seed, 40 + place, count):
            least = max(20.0, 5 * step_pm / UM)
            travel_um = float(np.exp(rng.uniform(np.log(least), np.log(500))))
            pairs.append(measured(make(rng, Wish(step_pm=step_pm, travel_um=travel_um))))
        usable = [pair for pair in pairs if pair[1].usable]
        errors = np.abs([error_um(pair) for pair in usable])
        u = np.array([pair[1].travel_u_pm / UM for pair in usable])
        print(
            f"| {name} | {share(pair[1].usable for pair in pairs)} "
            f"| {np.quantile(errors, 0.97):.2f} um | {share(errors <= u)} "
            f"| {share(errors <= 2 * u)} |"
        )


def estimator_table(seed: int, count: int) -> None:
    """Compare three ways to read a travel of 200 um out of five rocks at 10 readings a second."""
    print("| disturbance | highest less lowest | 95th less 5th percentile | this analysis |")
    print("|---|---|---|---|")
    quiet = {"drift_um": 0.0, "spikes": 0.0}
    troubles: dict[str, dict[str, object]] = {
        "none": {},
        "drift 30 um": {"drift_um": 30.0},
        "1 % spikes": {"spikes": 0.01},
        "base slip 60 um": {"slips_um": [60.0]},
        "one end in ten short by 25 %": {"short": {4: 0.25}},
        "drift, spikes and a short end": {"drift_um": 30.0, "spikes": 0.01, "short": {4: 0.25}},
    }
    for place, (name, trouble) in enumerate(troubles.items()):
        rows = []
        for rng in rngs(seed, 60 + place, count):
            wish = Wish(travel_um=200.0, rocks=5, rate=10.0, slips_um=[])
            for key, value in (quiet | trouble).items():
                setattr(wish, key, value)
            made, sweep = measured(make(rng, wish))
            low, high = np.percentile(made.value_pm, [5, 95])
            spans = (np.ptp(made.value_pm), high - low, sweep.travel_pm)
            rows.append([(float(span) - made.travel_pm) / UM for span in spans])
        cells = [f"{np.mean(column):+.1f} ({np.std(column):.1f})" for column in np.array(rows).T]
        print(f"| {name} | {' | '.join(cells)} |")


def speed(seed: int) -> None:
    """Print the time that one sweep of about 500 readings takes."""
    made = [make(rng, Wish(rate=30.0)) for rng in rngs(seed, 70, 60)]
    for each in made:
        measured(each)
    begin = time.perf_counter()
    for each in made:
        measured(each)
    took = (time.perf_counter() - begin) / len(made)
    readings = sum(len(each.t_ns) for each in made) / len(made)
    print(f"{1000 * took:.1f} ms a sweep of {readings:.0f} readings, on this machine")


def main() -> None:
    """Print all tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sweeps", type=int, default=2000, help="good sweeps of each maker")
    parser.add_argument("--seed", type=int, default=SEED)
    args = parser.parse_args()
    count = max(args.sweeps // 4, 1)
    print(f"Seed {args.seed}; {args.sweeps} good sweeps of each maker, {count} of each other kind.")
    print("\nGood sweeps, indicator of 0.001 mm; errors in um:\n")
    good_table(args.seed, args.sweeps)
    print("\nSpoilt sweeps:\n")
    spoilt_table(args.seed, count)
    print("\nOne short end among five rocks:\n")
    short_table(args.seed, count)
    print("\nOther displays, travel at least 5 steps, no uncertainty of the instrument:\n")
    step_table(args.seed, count)
    print("\nThree ways to read the travel; bias (standard deviation) in um:\n")
    estimator_table(args.seed, count)
    print()
    speed(args.seed)


if __name__ == "__main__":
    main()
