"""Job files of `gaugelink plan`, and price files: the task that they make."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING

from gaugelink import tomlfile
from gaugelink.commands import plan_chamber
from gaugelink.commands.amounts import Amounts
from gaugelink.commands.plan_keys import (
    HEAD,
    LIMITED,
    ONE_SIDED,
    PROTRUDING,
    READ,
    JobFile,
    PartKeys,
    PriceFile,
    RangeKeys,
)
from gaugelink.errors import InputError
from gaugelink.metrology.springs import from_table
from gaugelink.planning.task import (
    DEEDS,
    FITS,
    WITH_DEPTH,
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
from gaugelink.quantity import parse_length, parse_number

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gaugelink.commands.plan_keys import (
        CylinderKeys,
        Ends,
        KindKeys,
        PriceKeys,
        StepKeys,
        ValveKeys,
    )
    from gaugelink.metrology.springs import Loads
    from gaugelink.planning.task import Deed, Span


class Reader:
    """Reads texts of one file, and knows where they stand."""

    def __init__(self, text: str, file: str) -> None:
        self.text, self.file = text, file
        self._amounts: Amounts | None = None

    def bad(self, what: str, *path: str | int) -> InputError:
        """Name a fault by the file, the line and the field it stands in."""
        field = ".".join(str(part + 1) if isinstance(part, int) else part for part in path)
        return InputError(what, file=self.file, line=tomlfile.line_of(self.text, path), field=field)

    def length(self, given: str, *path: str | int, least: int | None = 0) -> int:
        """Read a length, picometres."""
        try:
            found = parse_length(given).pm
        except InputError as fault:
            raise self.bad(fault.what, *path) from None
        if least is not None and found < least:
            raise self.bad(f"found {given!r}, accepted: 0 or more", *path)
        return found

    def maybe(self, given: str | None, *path: str | int, least: int | None = 0) -> int | None:
        """Read a length that may be absent."""
        return None if given is None else self.length(given, *path, least=least)

    def span(self, given: Ends | None, *path: str | int) -> Span | None:
        """Read a smallest and a largest length, or one that is both."""
        if given is None:
            return None
        low, high = (given, given) if isinstance(given, str) else given
        found = self.length(low, *path), self.length(high, *path)
        if found[0] > found[1]:
            raise self.bad(f"found {low!r} and {high!r}, accepted: the smallest first", *path)
        return found

    def range(self, given: RangeKeys, *path: str | int) -> Range:
        """Read a limit of a length."""
        found = Range(self.maybe(given.min, *path, "min", least=None),
                      self.maybe(given.max, *path, "max", least=None))  # fmt: skip
        if found.lower is not None and found.upper is not None and found.lower > found.upper:
            raise self.bad(f"found {given.min!r} to {given.max!r}, accepted: min not above max",
                           *path)  # fmt: skip
        key = path[-1]
        wrong = ONE_SIDED.get(key) if isinstance(key, str) else None
        if wrong is not None and getattr(given, wrong) is not None:
            raise self.bad(f"found {wrong}, accepted: {'min' if wrong == 'max' else 'max'} alone",
                           *path)  # fmt: skip
        return found

    def newtons(self, given: str | None, *path: str | int) -> Fraction | None:
        """Read a force that may be absent."""
        if given is None:
            return None
        self._amounts = self._amounts or Amounts()
        try:
            found = self._amounts.read(given, "N", "362 N or 81.4 lbf")
        except InputError as fault:
            raise self.bad(fault.what, *path) from None
        if found < 0:
            raise self.bad(f"found {given!r}, accepted: 0 or more", *path)
        return found

    def cents(self, given: str, *path: str | int) -> int:
        """Read a price."""
        try:
            digits, places = parse_number(given)
        except InputError:
            digits, places = -1, 0
        if digits < 0 or places > 2 or digits > 10**6 * 10**places:
            raise self.bad(
                f"found {given!r}, accepted: a price such as 18.50, up to a million", *path
            )
        return int(digits * 10 ** (2 - places))


def load_task(text: str, file: str, prices: tuple[str, str] | None = None) -> Task:
    """Read a job file.

    Args:
        text: its content, TOML.
        file: its name, for messages.
        prices: content and name of a price file, where the job has no prices of its own.

    Raises:
        InputError: the first fault, with file, line and field.
    """
    table = tomlfile.check(JobFile, text, file)
    read = Reader(text, file)
    if (table.prices is None) == (prices is None):
        found = "neither" if prices is None else "both"
        raise read.bad(f"found {found}, accepted: a table [prices], or --prices FILE", "prices")
    kinds = tuple(table.kind)
    if table.prices is not None:
        shop = _shop(read, table.prices, kinds)
    else:
        assert prices is not None
        shop = _shop(Reader(*prices), tomlfile.check(PriceFile, *prices).prices, kinds)
    keys = {**LIMITED, **HEAD, **PROTRUDING}
    u = {name: read.length(given, "u", key) for key, name in keys.items()
         if (given := getattr(table.u, key, None)) is not None}  # fmt: skip
    u_load = read.newtons(table.u.spring_load, "u", "spring_load")
    names = [valve.name for valve in table.valve]
    for number, valve in enumerate(table.valve):
        if valve.name in names[:number]:
            raise read.bad(f"found {valve.name!r} twice, accepted: once", "valve", number, "name")
        if valve.kind not in kinds:
            what = f"found {valve.kind!r}, accepted: {', '.join(kinds)}"
            raise read.bad(what, "valve", number, "kind")
    numbers = [one.number for one in table.cylinder]
    for at, one in enumerate(numbers):
        if one in numbers[:at]:
            raise read.bad(f"found {one} twice, accepted: once", "cylinder", at, "number")
    head = table.head
    for key in PROTRUDING:
        if getattr(head, key) != RangeKeys() and not numbers:
            what = "found a limit, needed with it: a table [[cylinder]] for every cylinder"
            raise read.bad(what, "head", key)
    return Task(
        table.job.name,
        tuple(_place(read, valve, number) for number, valve in enumerate(table.valve)),
        {name: _rules(read, kind, name, u, u_load) for name, kind in table.kind.items()},
        shop, table.job.pairing, table.job.springs_as_set,
        read.maybe(head.thickness, "head", "thickness"),
        read.maybe(head.flatness, "head", "flatness"),
        read.maybe(head.clean_up, "head", "clean_up") or 0,
        {"head thickness": Range(read.maybe(head.thickness_min, "head", "thickness_min")),
         "head-face flatness": Range(None, read.maybe(head.flatness_max, "head", "flatness_max")),
         **{words: read.range(getattr(head, key), "head", key)
            for key, words in PROTRUDING.items()}},
        u,
        tuple(_cylinder(read, one, number, [valve.name for valve in table.valve])
              for number, one in enumerate(table.cylinder)),
        None if table.job.measured is None else frozenset(table.job.measured),
        face_scrap=table.head.face_scrap, cracked=table.head.cracked,
        chamber=plan_chamber.chamber(read, table),
    )  # fmt: skip


def load_prices(text: str, file: str, kinds: tuple[str, ...]) -> Shop:
    """Read a price file.

    Args:
        text: its content, TOML.
        file: its name, for messages.
        kinds: of valves on the head.

    Raises:
        InputError: the first fault, with file, line and field.
    """
    return _shop(Reader(text, file), tomlfile.check(PriceFile, text, file).prices, kinds)


def _rules(
    read: Reader, kind: KindKeys, name: str, u: Mapping[str, int], u_load: Fraction | None
) -> Rules:
    at = ("kind", name)
    limits = {words: found for key, words in LIMITED.items()
              if (found := read.range(getattr(kind, key), *at, key)) != Range()}  # fmt: skip
    load = (read.newtons(kind.spring_load.min, *at, "spring_load"),
            read.newtons(kind.spring_load.max, *at, "spring_load"))  # fmt: skip
    spring: Loads | None = None
    if kind.spring:
        pairs = [(Fraction(read.length(height, *at, "spring"), 10**9),
                  read.newtons(force, *at, "spring") or Fraction(0))
                 for height, force in kind.spring]  # fmt: skip
        try:
            spring = from_table(pairs)
        except ValueError as fault:
            raise read.bad(str(fault), *at, "spring") from None
    if load != (None, None) and (spring is None or kind.spring_tested_at is None):
        what = "found a limit of load, needed with it: spring and spring_tested_at"
        raise read.bad(what, *at, "spring_load")
    coils = [getattr(kind, key) is None for key in ("lift", "solid_height", "bind_margin_min")]
    if any(coils) and not all(coils):
        what = "found a part, accepted: lift, solid_height and bind_margin_min together"
        raise read.bad(what, *at)
    return Rules(
        limits, u, read.span(kind.new_stem, *at, "new_stem"),
        read.span(kind.new_bore, *at, "new_bore"), spring, load,
        read.maybe(kind.spring_tested_at, *at, "spring_tested_at"), u_load,
        read.maybe(kind.lift, *at, "lift"), read.maybe(kind.solid_height, *at, "solid_height"),
        read.maybe(kind.bind_margin_min, *at, "bind_margin_min"),
        None if kind.seat_width_per_cut is None else Fraction(str(kind.seat_width_per_cut)),
        read.maybe(kind.stand_down_spread, *at, "stand_down_spread"),
        plan_chamber.head_area(read, kind.head_diameter, *at, "head_diameter"),
    )  # fmt: skip


def _place(read: Reader, valve: ValveKeys, number: int) -> Place:
    at = ("valve", number)
    readings = {LIMITED[key]: read.length(given, *at, key, least=None)
                for key in READ if (given := getattr(valve, key)) is not None}  # fmt: skip
    return Place(
        valve.name, valve.kind, read.span(valve.stem, *at, "stem"),
        read.span(valve.bore, *at, "bore"), readings,
        read.newtons(valve.spring_load, *at, "spring_load"),
        read.maybe(valve.drop, *at, "drop") or 0,
        read.maybe(valve.seat_clean_up, *at, "seat_clean_up") or 0,
        read.maybe(valve.face_clean_up, *at, "face_clean_up") or 0,
        valve.scrap, valve.married, valve.guide_scrap, valve.spring_scrap,
        {part: tuple(names) for part, names in valve.open.items()}, valve.seat_scrap,
    )  # fmt: skip


def _cylinder(read: Reader, keys: CylinderKeys, number: int, valves: Sequence[str]) -> Cylinder:
    at = ("cylinder", number)
    # A valve's name begins with the number of its cylinder: 3E, 1I, 2E1.
    mine = tuple(name for name in valves if re.match(rf"{keys.number}(?!\d)", name))
    if not mine:
        what = f"found {keys.number}, accepted: a cylinder that a valve's name begins with"
        raise read.bad(what, *at, "number")
    readings = {words: read.length(given, *at, key, least=None)
                for key, words in PROTRUDING.items()
                if (given := getattr(keys, key)) is not None}  # fmt: skip
    room = plan_chamber.volume(read, keys.chamber_volume, *at, "chamber_volume")
    return Cylinder(f"cylinder {keys.number}", mine, readings, room)


def _cents(read: Reader, step: StepKeys, hour: int, *at: str) -> int:
    """Give what doing a step once costs, its minutes rounded to a cent."""
    time = Fraction(str(step.minutes or 0)) * hour / 60
    price = 0 if step.price is None else read.cents(step.price, *at, "price")
    return price + int(time + Fraction(1, 2))


def _shop(read: Reader, table: PriceKeys, kinds: tuple[str, ...]) -> Shop:
    hour = None if table.hour is None else read.cents(table.hour, "prices", "hour")
    keys: dict[str, Deed] = {deed.replace(" ", "_"): deed for deed in DEEDS}
    offers: dict[Deed, Offer] = {}
    without: dict[str, list[str]] = {}
    for key, step in table.step.items():
        at = ("prices", "step", key)
        if key not in keys:
            raise read.bad(f"unknown step, accepted: {', '.join(keys)}", *at)
        deed = keys[key]
        if deed in WITH_DEPTH and step.most is None:
            raise read.bad("most is missing; the deepest that is possible must be given", *at)
        if (deed != "lap" and step.takes is not None) or (
            deed not in WITH_DEPTH and (step.least or step.most) is not None
        ):
            what = "found a depth, accepted: takes with lap; least and most with "
            raise read.bad(what + ", ".join(sorted(WITH_DEPTH)), *at)
        least = read.maybe(step.least or step.takes, *at) or 0
        most = read.maybe(step.most, *at, "most") or 0
        if deed in WITH_DEPTH and least > most:
            raise read.bad(f"found {step.least!r} to {step.most!r}, accepted: least first", *at)
        if step.price is None and step.minutes is None:
            without.setdefault(f"prices.step.{key}", []).append(deed)
        elif step.minutes and hour is None:
            without.setdefault("prices.hour", []).append(deed)
        else:
            offers[deed] = Offer(_cents(read, step, hour or 0, *at), least, most)
    unpriced = [f"{where}; left out: {', '.join(deeds)}" for where, deeds in without.items()]
    for number, size in enumerate(table.oversize):
        if size.kind not in kinds:
            what = f"found {size.kind!r}, accepted: {', '.join(kinds)}"
            raise read.bad(what, "prices", "oversize", number, "kind")
    parts = {(kind, part): read.cents(given, "prices", "part", kind, part)
             for kind, some in table.part.items() for part in PartKeys.model_fields
             if (given := getattr(some, part)) is not None}  # fmt: skip
    no_price = {(kind, part) for kind in kinds for part in PartKeys.model_fields
                if (kind, part) not in parts}  # fmt: skip
    for kind in kinds:
        unpriced += [f"prices.part.{kind}.{part}; left out there: {deed}"
                     for deed, part in FITS.items()
                     if deed in offers and (kind, part) in no_price]  # fmt: skip
        if (kind, "seal") in no_price:
            unpriced.append(f"prices.part.{kind}.seal; the cost is without seals")
    sizes = []
    for number, size in enumerate(table.oversize):
        at_size = ("prices", "oversize", number)
        bore, stem = read.span(size.bore, *at_size, "bore"), read.span(size.stem, *at_size, "stem")
        assert bore is not None
        assert stem is not None
        if size.valve is None:
            unpriced.append(f"prices.oversize.{size.name}.valve; left out: the size")
            continue
        sizes.append(Oversize(size.name, size.kind, bore, stem,
                              read.cents(size.valve, *at_size, "valve")))  # fmt: skip
    shims = []
    for number, shim in enumerate(table.shim):
        at_shim = ("prices", "shim", number)
        thick = read.length(shim.thickness, *at_shim, "thickness", least=1)
        if shim.price is None:
            unpriced.append(f"prices.shim.{shim.thickness}; left out: the shim")
            continue
        shims.append(Shim(thick, read.cents(shim.price, *at_shim, "price")))
    most_shims = read.maybe(table.most_shims, "prices", "most_shims")
    return Shop(table.currency, offers, parts, tuple(sizes), tuple(shims), most_shims,
                frozenset(no_price), tuple(unpriced))  # fmt: skip
