"""Small heads drawn at random, and a plain search through everything that could be done to them.

The search shares no arithmetic with the program: it tries every depth on a grid. All sizes are
whole numbers of one grid step, so that a best plan with whole depths exists. The uncertainty is
chosen so that its guard band, 1.645 u, is one step.
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from fractions import Fraction
from random import Random

from gaugelink.metrology.springs import from_rate
from gaugelink.planning.chamber import Chamber
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

STEP = 16_450_000
"""One grid step, picometres; a standard uncertainty of 0.010 mm asks for exactly one."""
U = 10_000_000


def steps(count: int) -> int:
    return count * STEP


def small_head(seed: int) -> Task:
    """Draw a head of two or three places."""
    draw = Random(seed)
    one = draw.randint

    def maybe(value: int, chance: float = 0.9) -> int | None:
        return value if draw.random() < chance else None

    def rng(low: int, high: int, chance: float = 0.8) -> Range:
        bottom = maybe(low, chance)
        top = maybe(max(high, low), chance)
        return Range(None if bottom is None else steps(bottom), None if top is None else steps(top))

    limits = {
        "guide clearance": rng(2, 6), "stand-down": rng(8, 8 + one(2, 6)),
        "tip height": rng(98, 98 + one(2, 6)), "installed spring height": rng(198, 200 + one(1, 5)),
        "margin": rng(4, 99), "stem diameter": rng(598, 699), "guide bore": rng(500, 606),
        "seat runout": Range(None, steps(3)),
    }  # fmt: skip
    rules = Rules(
        limits,
        {name: U for name in limits if draw.random() < 0.3},
        (steps(600), steps(600)) if draw.random() < 0.9 else None,
        (steps(603), steps(604)) if draw.random() < 0.9 else None,
        from_rate(Fraction(10), Fraction(steps(240), 10**9)),
        (Fraction(10) * Fraction(steps(36), 10**9), None) if draw.random() < 0.5 else (None, None),
        steps(200),
        lift_pm=steps(50), solid_pm=steps(140), bind_least_pm=steps(one(4, 9)),
    )  # fmt: skip
    places = tuple(
        Place(
            f"{number + 1}I", "intake",
            (steps(stem := one(597, 600)), steps(stem + one(0, 1))),
            (steps(bore := one(602, 606)), steps(bore + one(0, 1))),
            {"stand-down": steps(one(6, 13)), "tip height": steps(one(97, 104)),
             "installed spring height": steps(one(197, 203)), "margin": steps(one(4, 8)),
             "seat runout": steps(one(0, 4))},
            Fraction(10) * Fraction(steps(one(37, 41)), 10**9),
            steps(one(0, 1)), steps(one(0, 2)), steps(one(0, 1)),
            "burnt" if draw.random() < 0.1 else "", draw.random() < 0.2,
            "loose in the head" if draw.random() < 0.1 else "",
            "out of square" if draw.random() < 0.1 else "",
            # Drawn apart, so that everything else of a head stays what it was.
            seat_scrap="pitted" if Random(f"{seed}, {number}").random() < 0.1 else "",
        )
        for number in range(2 if draw.random() < 0.8 else 3)
    )  # fmt: skip
    offers = {
        "replace guide": Offer(one(5, 40)), "ream guide": Offer(one(5, 40)),
        "replace valve": Offer(one(0, 40)), "move valve": Offer(one(0, 3)),
        "reface valve": Offer(one(5, 20), steps(1), steps(2)),
        "grind tip": Offer(one(2, 10), steps(1), steps(2)),
        "fit insert": Offer(one(20, 60), steps(0), steps(3)),
        "cut seat": Offer(one(5, 20), steps(1), steps(2)),
        "skim": Offer(one(10, 60), steps(1), steps(3)),
        "lap": Offer(one(1, 5), steps(one(0, 1)), 0),
        "replace spring": Offer(one(3, 10)), "shim": Offer(one(1, 3)),
    }  # fmt: skip
    offers = {name: offer for name, offer in offers.items() if draw.random() < 0.85}
    wide = one(604, 607)
    size = Oversize("+", "intake", (steps(wide),) * 2, (steps(wide - 4),) * 2, one(5, 9))
    shop = Shop(
        "EUR", offers,
        {("intake", part): one(0, 9) for part in ("valve", "guide", "insert", "spring", "seal")},
        (size,), (Shim(steps(1), 1), Shim(steps(3), 2)), steps(4),
    )  # fmt: skip
    return Task(
        "drawn", places, {"intake": rules}, shop, draw.random() < 0.5, draw.random() < 0.3,
        steps(700), steps(one(0, 4)), steps(one(0, 2)),
        {"head thickness": Range(steps(one(697, 699)), None),
         "head-face flatness": Range(None, steps(3))},
    )  # fmt: skip


def with_more_limits(task: Task, seed: int) -> Task:
    """Add what else a head can be held by: retainer, seat width, injector, prechamber."""
    draw = Random(seed)
    one = draw.randint
    book = task.rules["intake"]
    limits = dict(book.limits)
    if draw.random() < 0.7:
        limits["retainer-to-seal"] = Range(steps(20), steps(20 + one(3, 9)))
    if draw.random() < 0.7:
        limits["seat width"] = Range(steps(one(10, 12)), steps(13 + one(0, 3)))
    u = dict(book.u_pm) | {name: U for name in ("retainer-to-seal", "seat width")
                           if draw.random() < 0.3}  # fmt: skip
    per_cut = draw.choice([None, Fraction(1), Fraction(3, 2), Fraction(2)])
    places = tuple(
        replace(place, readings={**place.readings, "retainer-to-seal": steps(one(19, 25)),
                                 "seat width": steps(one(9, 15))})
        for place in task.places
    )  # fmt: skip
    head = dict(task.head)
    if draw.random() < 0.6:
        head["injector protrusion"] = Range(
            steps(10) if draw.random() < 0.5 else None, steps(13 + one(0, 2)))  # fmt: skip
    if draw.random() < 0.3:
        head["prechamber protrusion"] = Range(steps(0), steps(one(1, 4)))
    cylinders = tuple(
        Cylinder(f"cylinder {place.name[0]}", (place.name,),
                 {"injector protrusion": steps(one(9, 13)),
                  "prechamber protrusion": steps(one(-1, 2))})
        for place in places
    )  # fmt: skip
    u_head = {"injector protrusion": U} if draw.random() < 0.3 else {}
    rules = replace(book, limits=limits, u_pm=u, width_per_cut=per_cut)
    return replace(task, places=places, rules={"intake": rules}, head=head, cylinders=cylinders,
                   u_pm=u_head)  # fmt: skip


def tip_keeps(task: Task, here: Place, used: Place | None, top: int) -> bool:
    """Tell whether a tip keeps its limits; its valve may be longer or shorter than the last one.

    Three readings make the height then, each with its uncertainty; held squared, as clearances are.
    """
    rules = task.rules["intake"]
    square = rules.u_pm.get("tip height", 0) ** 2
    if used is not None and used is not here:
        lengths = [one.readings.get("valve length") for one in (used, here)]
        if None not in lengths:
            top += lengths[0] - lengths[1]
            square += 2 * rules.u_pm.get("valve length", 0) ** 2
    limit = rules.limits["tip height"]
    rooms = ([top - limit.lower] if limit.lower is not None else []) + (
        [limit.upper - top] if limit.upper is not None else [])  # fmt: skip
    return all(room >= 0 and room**2 * 1000**2 >= 1645**2 * square for room in rooms)


def width_after(task: Task, here: Place, seat: str, depth: int) -> Fraction | None:
    """Give a seat's width once it is worked; None: whatever the shop wants."""
    per_cut = task.rules["intake"].width_per_cut
    if seat == "insert" or (seat == "cut" and per_cut is None):
        return None
    width = here.readings.get("seat width")
    return None if width is None else width + (per_cut * depth if seat == "cut" else 0)


def stands_out(task: Task, skim: int) -> bool:
    """Tell whether injectors and prechambers keep their limits after a skim."""
    for cylinder in task.cylinders:
        for name, reading in cylinder.readings.items():
            limit = task.head.get(name, Range())
            off = STEP if name in task.u_pm else 0
            if limit.lower is not None and reading + skim - off < limit.lower:
                return False
            if limit.upper is not None and reading + skim + off > limit.upper:
                return False
    return True


def keeps(task: Task, name: str, low: int, high: int, *, sure: bool = False) -> bool:
    """Tell whether two ends keep a limit, one grid step inside where the reading has an u."""
    rules = task.rules["intake"]
    limit = rules.limits.get(name, Range())
    off = 0 if sure or name not in rules.u_pm else STEP
    return (limit.lower is None or low - off >= limit.lower) and (
        limit.upper is None or high + off <= limit.upper)  # fmt: skip


def clearance_keeps(task, stem, bore, u_stem, u_bore) -> bool:
    limit = task.rules["intake"].limits["guide clearance"]
    square = u_stem**2 + u_bore**2
    # Held squared, so that no root is rounded: room >= 1.645 u.
    ok = True
    for room in ([bore[0] - stem[1] - limit.lower] if limit.lower is not None else []) + (
        [limit.upper - (bore[1] - stem[0])] if limit.upper is not None else []
    ):
        ok = ok and room >= 0 and room**2 * 1000**2 >= 1645**2 * square
    return ok


Work = frozenset[str]
"""What is done at a place, but for moving valves and lapping; or to the face."""


def cheapest_at(
    task: Task, number: int, valve: int | None, skim: int, spring: bool | None, grid: int = STEP
) -> dict[int, int]:
    """Try everything at one place with one valve and one skim: the cheapest by how far it sinks."""
    found: dict[int, int] = {}
    tried = everything_at(task, number, valve, skim, spring, grid, whatever=True)
    for (_, drop), total in tried.items():
        found[drop] = min(total, found.get(drop, total))
    return found


def everything_at(
    task: Task, number: int, valve: int | None, skim: int, spring: bool | None, grid: int = STEP,
    *, whatever: bool = False,
) -> dict[tuple[Work, int], int]:  # fmt: skip
    """Try everything at one place with one valve and one skim.

    Args:
        task: the head.
        number: of the place.
        valve: the place whose used valve it is; None: a new one.
        skim: of the face, picometres.
        spring: is it new; None: either.
        grid: how finely depths are tried, picometres.
        whatever: do not tell apart what is done.

    Returns:
        The cheapest by what is done and how far the valve sinks.
    """
    here, rules, offers = task.places[number], task.rules["intake"], task.shop.offers
    used = None if valve is None else task.places[valve]
    part = {name: task.shop.part("intake", name) for name in ("valve", "guide", "insert", "spring")}
    found: dict[tuple[Work, int], int] = {}
    guides = [("keep", here.bore)]
    if "replace guide" in offers and rules.new_bore:
        guides.append(("replace guide", rules.new_bore))
    if "ream guide" in offers and used is None:
        guides += [("ream guide", size.bore) for size in task.shop.oversizes
                   if here.bore[1] <= size.bore[0]]  # fmt: skip
    for guide, bore in guides:
        stem = used.stem if used else rules.new_stem
        cents = 0
        if used is None:
            if "replace valve" not in offers or rules.new_stem is None:
                return {}
            cents += offers["replace valve"].cents + part["valve"]
            if guide == "ream guide":
                size = task.shop.oversizes[0]
                stem, cents = size.stem, offers["replace valve"].cents + size.valve_cents
        elif used.scrap or not keeps(task, "stem diameter", *stem):
            return {}
        elif valve != number:
            cents += offers["move valve"].cents if "move valve" in offers else 0
        if guide == "keep" and (here.guide_scrap or not keeps(task, "guide bore", *bore)):
            continue
        u_stem = rules.u_pm.get("stem diameter", 0) if used else 0
        u_bore = rules.u_pm.get("guide bore", 0) if guide == "keep" else 0
        if not clearance_keeps(task, stem, bore, u_stem, u_bore):
            continue
        if guide != "keep":
            cents += offers[guide].cents + (part["guide"] if guide == "replace guide" else 0)
        seats = [("none", 0, 0)] if guide == "keep" and not here.seat_scrap and keeps(
            task, "seat runout", *[here.readings["seat runout"]] * 2) else []  # fmt: skip
        if "cut seat" in offers:
            offer = offers["cut seat"]
            seats += [
                ("cut", depth, offer.cents)
                for depth in range(max(offer.least_pm, here.seat_least_pm), offer.most_pm + 1, grid)
            ]
        if "fit insert" in offers:
            offer = offers["fit insert"]
            seats += [("insert", -depth, offer.cents + part["insert"])
                      for depth in range(offer.least_pm, offer.most_pm + 1, grid)]  # fmt: skip
        faces, tips = [(0, 0)], [(0, 0)]
        if used and (offer := offers.get("reface valve")):
            faces += [
                (depth, offer.cents)
                for depth in range(max(offer.least_pm, used.face_least_pm), offer.most_pm + 1, grid)
            ]
        if offer := offers.get("grind tip"):
            tips += [(depth, offer.cents)
                     for depth in range(offer.least_pm, offer.most_pm + 1, grid)]  # fmt: skip
        stacks = {(0, 0)}
        if "shim" in offers:
            for count in (1, 2, 3):
                for some in itertools.combinations_with_replacement(task.shop.shims, count):
                    high = sum(shim.thickness_pm for shim in some)
                    if high <= task.shop.most_shims_pm:
                        price = sum(shim.cents for shim in some) + offers["shim"].cents
                        stacks.add((high, price))
        springs = [False] + ([True] if "replace spring" in offers else [])
        sunk = (used.drop_pm if used else 0) - here.drop_pm
        for (seat, depth, c_seat), (face, c_face) in itertools.product(seats, faces):
            worked = seat != "none" or face or used is None or valve != number
            lap = offers["lap"] if worked and "lap" in offers else Offer(0)
            drop = sunk + depth + face + lap.least_pm
            down = here.readings["stand-down"] + drop - skim
            if not keeps(task, "stand-down", down, down):
                continue
            width = width_after(task, here, seat, depth)
            if width is not None and not keeps(task, "seat width", width, width):
                continue
            room = here.readings.get("retainer-to-seal")
            if room is not None and not keeps(task, "retainer-to-seal", *[room + drop] * 2):
                continue
            if used and not keeps(task, "margin", *[used.readings["margin"] - face] * 2):
                continue
            for (tip, c_tip), (shim, c_shim), new in itertools.product(tips, stacks, springs):
                if (spring is not None and new != spring) or (here.spring_scrap and not new):
                    continue
                total = cents + c_seat + c_face + c_tip + c_shim + lap.cents
                total += offers["replace spring"].cents + part["spring"] if new else 0
                done = () if whatever else (
                    "replace valve" if used is None else "",
                    "" if guide == "keep" else guide, "to +" if guide == "ream guide" else "",
                    {"none": "", "cut": "cut seat", "insert": "fit insert"}[seat],
                    "reface valve" if face else "", "grind tip" if tip else "",
                    "shim" if shim else "", "replace spring" if new else "")  # fmt: skip
                work = frozenset(done) - {""}
                if total >= found.get((work, drop), total + 1):
                    continue
                top = here.readings["tip height"] + drop - tip
                high = here.readings["installed spring height"] + drop - shim
                long = used.readings.get("valve length") if used else None
                if long is not None and not keeps(task, "valve length", *[long - tip] * 2):
                    continue
                if not (tip_keeps(task, here, used, top)
                        and keeps(task, "installed spring height", high, high)):  # fmt: skip
                    continue
                u = STEP if "installed spring height" in rules.u_pm else 0
                if high - u - rules.lift_pm - rules.solid_pm < rules.bind_least_pm:
                    continue
                if rules.load[0] is not None:
                    lost = (
                        0
                        if new
                        else (rules.spring.load(Fraction(steps(200), 10**9)) - here.spring_load_n)
                    )
                    if rules.spring.load(Fraction(high + u, 10**9)) - lost < rules.load[0]:
                        continue
                found[work, drop] = total
    return found


def tied_well(task: Task, sunk: tuple[int, ...], skim: int) -> bool:
    """Tell whether the limits that places keep together are kept, in plain arithmetic."""
    rules, chamber = task.rules["intake"], task.chamber
    if rules.spread_pm is not None:
        stands = [place.readings["stand-down"] + by - skim
                  for place, by in zip(task.places, sunk, strict=True)]  # fmt: skip
        room = rules.spread_pm - (max(stands) - min(stands))
        u = rules.u_pm.get("stand-down", 0)
        if room < 0 or room**2 * 1000**2 < 2 * 1645**2 * u**2:
            return False
    if chamber is None:
        return True
    names = [place.name for place in task.places]
    volumes = []
    for cylinder in task.cylinders:
        by = sum(sunk[names.index(name)] for name in cylinder.valves)
        volumes.append(cylinder.volume + rules.head_area_mm2 * by - chamber.area_mm2 * skim)
    for volume in volumes:
        if chamber.least is not None and volume < chamber.least:
            return False
        if chamber.most is not None and volume > chamber.most:
            return False
        if chamber.swept is not None:
            squeeze = (chamber.swept + volume + chamber.beside) / (volume + chamber.beside)
            least, most = chamber.ratio
            if (least is not None and squeeze < least) or (most is not None and squeeze > most):
                return False
    return chamber.apart is None or max(volumes) - min(volumes) <= chamber.apart


def with_ties(task: Task, seed: int, *, together: bool = False) -> Task:
    """Add limits that places keep together, a third of a step beside the grid where volumes are.

    Args:
        task: a small head.
        seed: of the drawing.
        together: all valves belong to one cylinder; else each has its own.
    """
    draw = Random(f"{seed} ties")
    one = draw.randint
    area = Fraction(one(800, 1300))

    def volume(count: int, more: Fraction = Fraction(0)) -> int:
        return int(area * STEP * (count + more))

    rules = task.rules["intake"]
    third = Fraction(1, 3)
    u = {**rules.u_pm, "stand-down": U} if draw.random() < 0.2 else dict(rules.u_pm)
    # A guard band of two readings is the root of two of a step: no limit lies on the grid then.
    spread = steps(one(0, 3)) if draw.random() < 0.8 or together else None
    rules = replace(rules, spread_pm=None if together else spread, head_area_mm2=area, u_pm=u)
    groups = [task.places] if together else [(place,) for place in task.places]
    cylinders = tuple(
        Cylinder(f"cylinder {at + 1}", tuple(place.name for place in some),
                 volume=volume(200 + one(0, 4)))
        for at, some in enumerate(groups)
    )  # fmt: skip
    swept, beside = volume(4000), volume(one(56, 60))
    over = volume(one(201, 206), third) + beside
    chamber = Chamber(
        area * draw.choice([0, 1]),
        least=volume(one(198, 202), -third) if draw.random() < 0.4 else None,
        most=volume(one(201, 206), third) if draw.random() < 0.4 else None,
        apart=volume(one(1, 3), third) if draw.random() < 0.5 and not together else None,
        ratio=(Fraction(swept + over, over) if draw.random() < 0.5 else None, None),
        swept=swept,
        beside=beside,
    )
    return replace(task, rules={"intake": rules}, cylinders=cylinders,
                   chamber=chamber if together or draw.random() < 0.7 else None)  # fmt: skip


def cheapest(task: Task, grid: int = STEP) -> int | None:
    """Try everything; None where nothing works.

    Args:
        task: the head.
        grid: how finely depths are tried, picometres.
    """
    best = None
    tied = is_tied(task)
    for skim, table, valves, more in _settings(task, grid, cheapest_at):
        choices = [table.get(at, {}) for at in enumerate(valves)]
        if not all(choices):
            continue
        if not tied:
            choices = [{0: min(some.values())} for some in choices]
        for some in itertools.product(*(choice.items() for choice in choices)):
            total = sum(price for _, price in some) + more
            if best is not None and total >= best:
                continue
            if not tied or tied_well(task, tuple(by for by, _ in some), skim):
                best = total
    return best


def is_tied(task: Task) -> bool:
    return task.chamber is not None or task.rules["intake"].spread_pm is not None


def every_work(
    task: Task, ceiling: int, grid: int = STEP
) -> dict[tuple[Work, ...], set[tuple[int, int]]]:
    """Try everything: what can be done for no more than a ceiling, and what it costs.

    Args:
        task: the head.
        ceiling: cents.
        grid: how finely depths are tried, picometres.

    Returns:
        By what is done at each place and, last, to the face: every cost at which it keeps all
        limits, the cheapest for each choice of valves and of how far they sink, with how many used
        valves change places.
    """
    found: dict[tuple[Work, ...], set[tuple[int, int]]] = {}
    tied = is_tied(task)
    for skim, table, valves, more in _settings(task, grid, everything_at):
        choices = [table.get(at, {}) for at in enumerate(valves)]
        if not all(choices):
            continue
        spare = ceiling - more - sum(min(choice.values()) for choice in choices)
        choices = [{at: price for at, price in choice.items()
                    if price - min(choice.values()) <= spare} for choice in choices]  # fmt: skip
        face = frozenset({"skim"} if skim else ())
        moves = sum(valve not in {None, at} for at, valve in enumerate(valves))
        for some in itertools.product(*(choice.items() for choice in choices)):
            total = sum(price for _, price in some) + more
            if total > ceiling:
                continue
            kind = (*(work for (work, _), _ in some), face)
            if (total, moves) in found.get(kind, ()):
                continue
            if not tied or tied_well(task, tuple(by for (_, by), _ in some), skim):
                found.setdefault(kind, set()).add((total, moves))
    return found


def _settings(task: Task, grid: int, at):
    """Give each skim with what can be done at each place, each choice of valves, what is common."""
    offer = task.shop.offers.get("skim")
    must = task.flatness_pm > task.head["head-face flatness"].upper
    skims = [] if must else [(0, 0)]
    if offer is not None:
        skims += [
            (depth, offer.cents)
            for depth in range(max(offer.least_pm, task.clean_up_pm, STEP), offer.most_pm + 1, grid)
            if task.thickness_pm - depth >= task.head["head thickness"].lower
        ]
    skims = [(depth, cents) for depth, cents in skims if stands_out(task, depth)]
    seals = len(task.places) * task.shop.part("intake", "seal")
    numbers = range(len(task.places))
    for (skim, cents), spring in itertools.product(
        skims, (False, True) if task.springs_as_set else (None,)
    ):
        table = {}
        for number in numbers:
            for valve in (None, *numbers):
                if (
                    valve is not None
                    and valve != number
                    and (
                        not task.pairing
                        or task.places[valve].married
                        or task.places[number].married
                    )
                ):
                    continue
                table[number, valve] = at(task, number, valve, skim, spring, grid)
        for valves in itertools.product((None, *numbers), repeat=len(numbers)):
            taken = [valve for valve in valves if valve is not None]
            if len(set(taken)) == len(taken):
                yield skim, table, valves, cents + seals


def without_offer(task: Task, deed: str) -> Task:
    offers = {name: offer for name, offer in task.shop.offers.items() if name != deed}
    return replace(task, shop=replace(task.shop, offers=offers))
