"""Speed of the cheapest plan for large heads, and that it is proved to be the cheapest.

    python benchmarks/planning.py [VALVES...]

The heads are invented and worn at random; valves may change places within their kind, shims come
in three sizes, and the face needs a skim. "With more limits" adds those of seat width, the room
from retainer to seal, and injector and prechamber protrusion. "Whose places are tied" adds limits
of the spread of stand-down, of how far chambers lie apart, and of the compression ratio.
Each line gives the slowest of several heads, from the figures to the plan that was held against
its limits again; scipy has been imported before. Plan and alternatives have five minutes together,
and a line says of how many heads it was not proved that they are the cheapest alternatives.
"""

from __future__ import annotations

import sys
import time
from contextlib import contextmanager
from dataclasses import replace
from fractions import Fraction
from itertools import product
from random import Random
from typing import TYPE_CHECKING

from gaugelink.metrology.springs import from_table
from gaugelink.planning.budget import Budget
from gaugelink.planning.chamber import CUBIC_CM, Chamber, round_area
from gaugelink.planning.plan import Plan, alternatives, plan
from gaugelink.planning.task import (
    Cylinder,
    Offer,
    Oversize,
    Place,
    Range,
    Rules,
    Shim,
    Shop,
    Task,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

UM = 10**6
HEADS = 5
AIMS = {12: None, 24: 2, 48: 10}


def worn_head(valves: int, seed: int) -> Task:
    """Invent a worn head with two valves a cylinder."""
    draw = Random(seed)

    def about(middle_um: int, spread_um: int) -> int:
        return round(draw.gauss(middle_um, spread_um)) * UM

    limits = {
        "stem diameter": Range(7_935 * UM, None), "guide bore": Range(None, 8_040 * UM),
        "guide clearance": Range(25 * UM, 90 * UM), "seat runout": Range(None, 50 * UM),
        "valve face runout": Range(None, 30 * UM), "stand-down": Range(900 * UM, 1_400 * UM),
        "tip height": Range(36_000 * UM, 37_100 * UM),
        "installed spring height": Range(40_200 * UM, 41_200 * UM), "margin": Range(1_000 * UM),
        "valve length": Range(124_900 * UM),
    }  # fmt: skip
    u = {"stem diameter": 2 * UM, "guide bore": 3 * UM, "stand-down": 8 * UM, "tip height": 10 * UM,
         "installed spring height": 30 * UM, "margin": 15 * UM}  # fmt: skip
    book = Rules(
        limits, u, (7_955 * UM, 7_970 * UM), (8_000 * UM, 8_015 * UM),
        from_table([(Fraction(41), Fraction(300)), (Fraction(31), Fraction(640))]),
        (Fraction(285), None), 40_500 * UM, Fraction(2), 9_500 * UM, 28_000 * UM, 1_500 * UM,
    )  # fmt: skip
    places = []
    for number in range(valves):
        stem, bore = about(7_950, 8), about(8_020, 14)
        places.append(Place(
            f"{number // 2 + 1}{'IE'[number % 2]}", ("intake", "exhaust")[number % 2],
            (stem, stem + 4 * UM), (bore, bore + 6 * UM),
            {"stand-down": about(1_100, 130), "tip height": about(36_600, 150),
             "installed spring height": about(40_700, 200), "margin": about(1_300, 150),
             "valve length": about(125_300, 100), "seat runout": abs(about(30, 20)),
             "valve face runout": abs(about(15, 12))},
            Fraction(300 + draw.randint(-14, 10)), drop_pm=abs(about(20, 20)),
        ))  # fmt: skip
    kinds = ("intake", "exhaust")
    each = {"valve": 1850, "guide": 950, "insert": 1400, "spring": 800, "seal": 150}
    parts = {(kind, part): cents for kind in kinds for part, cents in each.items()}
    offers = {
        "replace guide": Offer(1600), "ream guide": Offer(900), "replace valve": Offer(200),
        "move valve": Offer(50), "reface valve": Offer(600, 20 * UM, 250 * UM),
        "grind tip": Offer(300, 10 * UM, 250 * UM), "fit insert": Offer(3500, 0, 1_000 * UM),
        "cut seat": Offer(1100, 30 * UM, 400 * UM), "skim": Offer(9000, 50 * UM, 300 * UM),
        "lap": Offer(250, 5 * UM), "replace spring": Offer(150), "shim": Offer(100),
    }  # fmt: skip
    sizes = tuple(Oversize("+0.1", kind, (8_100 * UM, 8_115 * UM), (8_055 * UM, 8_070 * UM), 2600)
                  for kind in kinds)  # fmt: skip
    shims = tuple(Shim(high * UM, 60) for high in (381, 762, 1524))
    return Task(
        "invented", tuple(places), {"intake": book, "exhaust": book},
        Shop("EUR", offers, parts, sizes, shims, 1_600 * UM), pairing=True,
        thickness_pm=120_400 * UM, flatness_pm=90 * UM, clean_up_pm=110 * UM,
        head={"head thickness": Range(119_900 * UM), "head-face flatness": Range(None, 80 * UM)},
        u_pm={"head thickness": 5 * UM, "head-face flatness": 4 * UM},
    )  # fmt: skip


def held_further(task: Task, seed: int) -> Task:
    """Add limits of seat width, retainer-to-seal, injector and prechamber protrusion."""
    draw = Random(seed)
    width, room = Range(1_200 * UM, 2_000 * UM), Range(1_300 * UM)
    rules = {
        kind: replace(book, width_per_cut=Fraction(3, 2), limits={
            **book.limits, "seat width": width, "retainer-to-seal": room})
        for kind, book in task.rules.items()
    }  # fmt: skip
    places = tuple(
        replace(place, readings={**place.readings,
                                 "seat width": round(draw.gauss(1_600, 150)) * UM,
                                 "retainer-to-seal": round(draw.gauss(1_600, 150)) * UM})
        for place in task.places
    )  # fmt: skip
    cylinders = tuple(
        Cylinder(f"cylinder {at // 2 + 1}", tuple(place.name for place in places[at : at + 2]),
                 {"injector protrusion": draw.randint(2_350, 2_600) * UM,
                  "prechamber protrusion": draw.randint(0, 30) * UM})
        for at in range(0, len(places), 2)
    )  # fmt: skip
    head = {**task.head, "injector protrusion": Range(2_200 * UM, 2_800 * UM),
            "prechamber protrusion": Range(0, 200 * UM)}  # fmt: skip
    return replace(task, rules=rules, places=places, cylinders=cylinders, head=head)


def held_together(task: Task, seed: int) -> Task:
    """Add limits that valves keep together: spread of stand-down, chambers, compression."""
    draw = Random(seed)
    rules = {kind: replace(book, spread_pm=200 * UM, head_area_mm2=round_area(40_000 * UM))
             for kind, book in task.rules.items()}  # fmt: skip
    cylinders = tuple(
        Cylinder(f"cylinder {at // 2 + 1}", tuple(one.name for one in task.places[at : at + 2]),
                 volume=round(draw.gauss(30.3, 0.15) * CUBIC_CM))
        for at in range(0, len(task.places), 2)
    )  # fmt: skip
    chamber = Chamber(Fraction(2_600), apart=CUBIC_CM, ratio=(Fraction(17), None),
                      swept=500 * CUBIC_CM, u=CUBIC_CM // 20)  # fmt: skip
    return replace(task, rules=rules, cylinders=cylinders, chamber=chamber)


class Watch:
    """The slowest of several runs, and the most that one took of the processor; seconds."""

    def __init__(self) -> None:
        self.wall = self.processor = 0.0

    @contextmanager
    def run(self) -> Iterator[None]:
        """Time one run."""
        wall, processor = time.perf_counter(), time.process_time()
        yield
        self.wall = max(self.wall, time.perf_counter() - wall)
        self.processor = max(self.processor, time.process_time() - processor)

    def __str__(self) -> str:
        return f"{self.wall:.2f} s ({self.processor:.2f} s of the processor)"


def main() -> None:
    """Print a line for each size of head, and of head that is held by more limits."""
    plan(worn_head(4, 0))  # imports scipy
    wanted = [int(word) for word in sys.argv[1:]] or list(AIMS)
    held: dict[str, Callable[[Task, int], Task]] = {
        "": lambda task, _: task, " with more limits": held_further,
        " whose places are tied": held_together}  # fmt: skip
    for valves, more in product(wanted, held):
        planned, further, cents, open_ = Watch(), Watch(), [], 0
        for seed in range(HEADS):
            task = worn_head(valves, seed)
            task = held[more](task, seed)
            budget = Budget(300, time.monotonic)
            with planned.run():
                found = plan(task, budget)
            assert isinstance(found, Plan), (seed, found)
            assert found.optimal, (seed, found.gap)
            cents.append(found.cents)
            with further.run():
                open_ += not alternatives(task, found, budget=budget).complete
        aim = f" (aim: {AIMS[valves]} s)" if AIMS.get(valves) else ""
        print(f"{valves} valves{more}, {HEADS} heads, proved the cheapest: {planned}{aim}; "
              f"three alternatives {further} more{f', not proved for {open_}' if open_ else ''}; "
              f"cost {min(cents) / 100:.2f} to {max(cents) / 100:.2f}")  # fmt: skip


if __name__ == "__main__":
    main()
