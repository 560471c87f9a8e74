"""Limit sheets as files: typed once, cross-checked, and refused with the line of every fault.

Where the book prints millimetres and inches, both are entered and held against each other exactly;
a disagreement beyond rounding has to be resolved by a person, with a reason, before the sheet can
be used.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints

from gaugelink import plausible, tomlfile
from gaugelink.errors import InputError
from gaugelink.head import CHARACTERISTICS, GAUGE_KINDS, Face, Head, ValveKind
from gaugelink.limits import BOUNDS, Bound, Disagreement, Figure, Judge, Limit, Rebuild, Sheet, Zero
from gaugelink.quantity import Displayed, LengthUnit, agree_within_rounding, parse_length
from gaugelink.springfile import SpringEntry, read_springs
from gaugelink.stalefile import StaleEntry, read_changes

if TYPE_CHECKING:
    from collections.abc import Sequence


def _texts(value: object) -> object:
    """Let one text stand for a list of one; say what a bare number lacks."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        raise ValueError(  # noqa: TRY004  pydantic collects ValueError
            f'found {value} without a unit, accepted: text such as "{value} mm"'
        )
    return [value] if isinstance(value, str) else value


Words = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1)]
"""A text that says something: blanks alone are none."""
Texts = Annotated[list[str], BeforeValidator(_texts), Field(min_length=1, max_length=2)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class _Title(_Strict):
    name: Words
    edition: Words
    source: Words
    invented: bool = False


class _Face(_Strict):
    length: str
    width: str
    rows: Annotated[int, Field(ge=2, le=26)]
    columns: Annotated[int, Field(ge=2, le=99)]


class _Head(_Strict):
    cylinders: Annotated[int, Field(ge=1, le=24)]
    valves: Annotated[list[ValveKind], Field(min_length=1, max_length=6)]
    face: _Face | None = None


class _Resolution(_Strict):
    keep: LengthUnit
    reason: Words
    by: Words


class _Limit(_Strict):
    characteristic: str
    valves: list[str] | None = None
    stations: list[Words] = []
    directions: list[Literal["along", "across"]] = []
    judge: Judge = "each"
    new_min: Texts | None = None
    new_max: Texts | None = None
    service_min: Texts | None = None
    service_max: Texts | None = None
    source: str = ""
    method: Literal["rock", "direct"] | None = None
    lift: str | None = None
    valve_used: Literal["new", "own"] | None = None
    guide_length: str | None = None
    reach: str | None = None
    figure: Figure | None = None
    resolved: dict[str, _Resolution] = {}


class _Zero(_Strict):
    gauge: str
    on: Words
    shows: str


class _Rebuild(_Strict):
    pairing: bool = False
    springs_as_set: bool = False
    clean_up: str | None = None


class _Sheet(_Strict):
    sheet: _Title
    head: _Head
    rebuild: _Rebuild = _Rebuild()
    spring: list[SpringEntry] = []
    zero: list[_Zero] = []
    stale: list[StaleEntry] = []
    limit: Annotated[list[_Limit], Field(min_length=1)]


@dataclass(slots=True)
class Checked:
    """What a check of a sheet found. `sheet` is None where there are errors.

    `warnings` are unusual figures (`gaugelink.plausible`): the sheet can be used with them.
    """

    sheet: Sheet | None = None
    limits: int = 0
    disagreements: list[Disagreement] = field(default_factory=list)
    warnings: list[InputError] = field(default_factory=list)
    errors: list[InputError] = field(default_factory=list)


def check(text: str, file: str) -> Checked:
    """Check a sheet and report everything that is wrong with it, not only the first fault.

    Args:
        text: the sheet, TOML.
        file: its name for messages.
    """
    found = Checked()
    try:
        model = tomlfile.check(_Sheet, text, file)
        head = _head(model.head, text, file)
        rebuild = _rebuild(model.rebuild, text, file)
    except InputError as fault:
        found.errors.append(fault)
        return found
    limits: list[Limit] = []
    for number, entry in enumerate(model.limit):
        reader = _LimitReader(entry, number, head, text, file, found)
        limit = reader.read()
        if limit is None:
            continue
        limits.append(limit)
        found.warnings.extend(
            reader.fault(doubt.field or "", doubt.what) for doubt in plausible.doubts(limit)
        )
        for earlier in limits[:-1]:
            if _same_question(earlier, limit):
                found.errors.append(
                    reader.fault(
                        "characteristic",
                        f"{limit.characteristic!r} has such a limit already, on line "
                        f"{earlier.line}; one of the two must go, or differ in valves, stations, "
                        "directions, judge, method or valve_used",
                    )
                )
                break
    found.limits = len(model.limit)
    zeros = _zeros(model.zero, text, file, found)
    changes, faults = read_changes(model.stale, text, file)
    springs, wrong, unusual = read_springs(model.spring, head, text, file)
    found.warnings.extend(unusual)
    found.errors.extend([*faults, *wrong])
    if not found.errors:
        title = model.sheet
        found.sheet = Sheet(title.name, title.edition, title.source, title.invented, head,
                            tuple(limits), text, file, zeros, changes, rebuild,
                            springs)  # fmt: skip
    return found


def load(text: str, file: str) -> Sheet:
    """Load a sheet for use.

    Raises:
        InputError: the first error, or the first disagreement that nobody has resolved.
    """
    found = check(text, file)
    if found.errors:
        raise found.errors[0]
    for item in found.disagreements:
        if not item.resolved:
            raise InputError(item.words, file=file, line=item.line, field=item.field)
    assert found.sheet is not None
    return found.sheet


def _head(entry: _Head, text: str, file: str) -> Head:
    if entry.face is None:
        return Head(entry.cylinders, tuple(entry.valves))
    sides = []
    for key, value in (("length", entry.face.length), ("width", entry.face.width)):
        line = tomlfile.line_of(text, ("head", "face", key))
        try:
            side = parse_length(value)
        except InputError as fault:
            raise fault.in_file(file, line, f"head.face.{key}") from None
        if side.pm <= 0:
            raise InputError(
                f"found {value!r}, accepted: a length above 0",
                file=file, line=line, field=f"head.face.{key}",
            )  # fmt: skip
        sides.append(side.pm)
    face = Face(sides[0], sides[1], entry.face.rows, entry.face.columns)
    return Head(entry.cylinders, tuple(entry.valves), face)


def _rebuild(entry: _Rebuild, text: str, file: str) -> Rebuild:
    clean_up = 0
    if entry.clean_up is not None:
        line = tomlfile.line_of(text, ("rebuild", "clean_up"))
        try:
            clean_up = parse_length(entry.clean_up).pm
        except InputError as fault:
            raise fault.in_file(file, line, "rebuild.clean_up") from None
        if clean_up < 0:
            raise InputError(
                f"found {entry.clean_up!r}, accepted: 0 or more",
                file=file, line=line, field="rebuild.clean_up",
            )  # fmt: skip
    return Rebuild(entry.pairing, entry.springs_as_set, clean_up)


def _zeros(entries: list[_Zero], text: str, file: str, found: Checked) -> tuple[Zero, ...]:
    zeros: list[Zero] = []

    def bad(number: int, key: str, what: str) -> None:
        line = tomlfile.line_of(text, ("zero", number, key))
        field = f"zero.{number + 1}.{key}"
        found.errors.append(InputError(what, file=file, line=line, field=field))

    for number, entry in enumerate(entries):
        if entry.gauge not in GAUGE_KINDS:
            bad(number, "gauge", f"found {entry.gauge!r}, accepted: {', '.join(GAUGE_KINDS)}")
        elif entry.gauge in [zero.gauge for zero in zeros]:
            bad(number, "gauge", f"found {entry.gauge!r} a second time; accepted: one check each")
        try:
            zeros.append(Zero(entry.gauge, entry.on, parse_length(entry.shows)))
        except InputError as fault:
            bad(number, "shows", fault.what)
    return tuple(zeros)


def _same_question(one: Limit, other: Limit) -> bool:
    return (
        one.characteristic == other.characteristic
        and one.judge == other.judge
        and (one.method, one.figure) == (other.method, other.figure)
        and one.valve_used == other.valve_used
        and (not one.valves or bool(set(one.valves) & set(other.valves)))
        and _meet(one.stations, other.stations)
        and _meet(one.directions, other.directions)
    )


def _meet(some: Sequence[str], others: Sequence[str]) -> bool:
    """Whether two lists of places have one in common; an empty list means every place."""
    return not some or not others or bool(set(some) & set(others))


class _LimitReader:
    """Reads one ``[[limit]]``, collecting every fault in it."""

    def __init__(
        self, entry: _Limit, number: int, head: Head, text: str, file: str, found: Checked
    ) -> None:
        self.entry = entry
        self.number = number
        self.head = head
        self.text = text
        self.file = file
        self.found = found
        self.before = len(found.errors)

    def line(self, key: str = "") -> int:
        path: list[str | int] = ["limit", self.number, *(key.split(".") if key else [])]
        return tomlfile.line_of(self.text, path) or 1

    def fault(self, key: str, what: str) -> InputError:
        return InputError(
            what, file=self.file, line=self.line(key), field=f"limit.{self.number + 1}.{key}"
        )

    def bad(self, key: str, what: str) -> None:
        self.found.errors.append(self.fault(key, what))

    def length(self, key: str) -> Displayed | None:
        value: Any = getattr(self.entry, key)
        if value is None:
            return None
        try:
            length = parse_length(value)
        except InputError as fault:
            self.bad(key, fault.what)
            return None
        if length.pm <= 0:
            self.bad(key, f"found {value!r}, accepted: a length above 0")
        return length

    def read(self) -> Limit | None:
        entry = self.entry
        name = entry.characteristic
        what = CHARACTERISTICS.get(name)
        if what is None:
            self.bad("characteristic", f"found {name!r}, accepted: {', '.join(CHARACTERISTICS)}")
            return None
        kinds, valves = self.valves() if what.of == "valve" else ((), ())
        if what.of == "head" and entry.valves is not None:
            self.bad("valves", f"{name!r} belongs to the head as a whole, so it takes no valves")
        for key in ("stations", "directions"):
            items = getattr(entry, key)
            if len(set(items)) < len(items):
                self.bad(key, f"found {items!r}, in which one stands twice")
        if name == "head-face flatness" and self.head.face is None:
            self.bad("characteristic", "the sheet needs [head.face] with length, width, rows, "
                     "columns to say where the face is measured")  # fmt: skip
        self.method()
        bounds = self.bounds()
        lift, guide, reach = (self.length(key) for key in ("lift", "guide_length", "reach"))
        if len(self.found.errors) > self.before:
            return None
        return Limit(
            name, kinds, valves, tuple(entry.stations), tuple(entry.directions), entry.judge,
            bounds, entry.source, self.line(), entry.method or "", lift, entry.valve_used or "",
            guide, reach, entry.figure or "clearance",
        )  # fmt: skip

    def valves(self) -> tuple[tuple[ValveKind, ...], tuple[str, ...]]:
        """The kinds a limit is for, and the valves by name; a limit may name either."""
        every = self.head.valves()
        wanted = self.entry.valves
        if wanted is None:
            return tuple(dict.fromkeys(self.head.kinds)), tuple(valve.name for valve in every)
        if not wanted:
            self.bad("valves", "found an empty list, accepted: kinds or names of valves")
        for item in wanted:
            if not any(item in {valve.kind, valve.name} for valve in every):
                names = ", ".join([*dict.fromkeys(self.head.kinds), every[0].name, "..."])
                self.bad("valves", f"found {item!r}, accepted on this head: {names}")
        chosen = [valve for valve in every if valve.kind in wanted or valve.name in wanted]
        kinds = tuple(dict.fromkeys(valve.kind for valve in chosen))
        return kinds, tuple(valve.name for valve in chosen)

    def method(self) -> None:
        """Method, lift and kind of valve belong to guide clearance, and only to it."""
        entry = self.entry
        if entry.characteristic != "guide clearance":
            for key in ("method", "lift", "valve_used", "guide_length", "reach", "figure"):
                if getattr(entry, key) is not None:
                    self.bad(key, f"belongs to guide clearance, not to {entry.characteristic!r}")
        elif entry.method is None:
            self.bad("method", 'guide clearance needs method = "rock" or "direct"; a limit for one '
                     "is never used for the other")  # fmt: skip
        elif entry.method == "rock":
            for key, example in (("lift", '"8 mm"'), ("valve_used", '"new"')):
                if getattr(entry, key) is None:
                    self.bad(key, f"a limit by rock needs it, for example {key} = {example}")
            if (entry.guide_length is None) != (entry.reach is None):
                key = "reach" if entry.reach is None else "guide_length"
                self.bad(key, "guide_length and reach belong together; one of them is missing")
            if entry.stations:
                self.bad("stations", "rock has directions, not stations")
        else:
            for key in ("lift", "valve_used", "guide_length", "reach", "figure"):
                if getattr(entry, key) is not None:
                    self.bad(key, "belongs to a limit by rock, not to a direct one")
            if entry.judge == "range":
                self.bad("judge", "found 'range', accepted for direct clearance: each, smallest, "
                         "largest, mean")  # fmt: skip

    def bounds(self) -> dict[str, Bound]:
        found: dict[str, Bound] = {}
        for key in BOUNDS:
            texts: list[str] | None = getattr(self.entry, key)
            if texts is None:
                continue
            try:
                printed = tuple(parse_length(text) for text in texts)
            except InputError as fault:
                self.bad(key, fault.what)
                continue
            if len(printed) == 2 and printed[0].unit == printed[1].unit:
                self.bad(key, f"found two figures in {printed[0].unit}, accepted: mm and in")
                continue
            governing = self.agreed(key, printed)
            pick = min if key.endswith("_min") else max
            found[key] = Bound(governing, pick(item.pm for item in governing))
        if not found and not any(getattr(self.entry, key) for key in BOUNDS):
            self.bad(
                "characteristic", f"the limit has no figure; needed: any of {', '.join(BOUNDS)}"
            )
        for low, high in itertools.pairwise(found):
            # Two roundings of one figure stand for it alike: only what no rounding explains is
            # out of order.
            if min(item.pm for item in found[low].printed) > max(
                item.pm for item in found[high].printed
            ):
                self.bad(high, f"found {high} {found[high]} below {low} {found[low]}; "
                         "the order is service_min, new_min, new_max, service_max")  # fmt: skip
        for key in self.entry.resolved:
            if key not in BOUNDS or len(getattr(self.entry, key) or []) < 2:
                self.bad(f"resolved.{key}", f"{key!r} has no pair of figures to resolve")
        return found

    def agreed(self, key: str, printed: tuple[Displayed, ...]) -> tuple[Displayed, ...]:
        """Give the figures that govern, and note a pair that disagrees."""
        if len(printed) < 2 or agree_within_rounding(*printed):
            return printed
        resolution = self.entry.resolved.get(key)
        apart = abs(printed[0].pm - printed[1].pm)
        words = (
            f"{printed[0]} and {printed[1]} differ by {apart / 1e6:.1f} um, more than rounding "
            "explains; look at the book again"
        )
        if resolution is None:
            words += (
                f', then correct one or add resolved.{key} = {{ keep = "mm" or "in", reason = '
                '"...", by = "..." }'
            )
        else:
            words += f"; {resolution.by} keeps {resolution.keep}: {resolution.reason}"
            printed = tuple(item for item in printed if item.unit == resolution.keep)
        self.found.disagreements.append(
            Disagreement(self.line(key), f"limit.{self.number + 1}.{key}", words, bool(resolution))
        )
        return printed
