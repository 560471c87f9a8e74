"""Limit sheets as files: typed once, cross-checked, and refused with the line of every fault.

Where the book prints millimetres and inches, both are entered and held against each other exactly;
a disagreement beyond rounding has to be resolved by a person, with a reason, before the sheet can
be used.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated

from pydantic import BaseModel, ConfigDict, Field

from gaugelink import plausible, tomlfile
from gaugelink.chamberfile import ChamberEntry, read_chamber
from gaugelink.errors import InputError
from gaugelink.head import GAUGE_KINDS, Face, Head, ValveKind
from gaugelink.limitfile import LimitEntry, LimitReader, Words, contradiction, same_question
from gaugelink.limits import Disagreement, Limit, Rebuild, Sheet, Zero
from gaugelink.quantity import parse_length
from gaugelink.springfile import SpringEntry, read_springs
from gaugelink.stalefile import StaleEntry, read_changes

if TYPE_CHECKING:
    from collections.abc import Iterator


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


class _Zero(_Strict):
    gauge: str
    on: Words
    shows: str


class _Rebuild(_Strict):
    pairing: bool = False
    springs_as_set: bool = False
    clean_up: str | None = None
    stand_down_spread: dict[ValveKind, str] = {}


class _Sheet(_Strict):
    sheet: _Title
    head: _Head
    rebuild: _Rebuild = _Rebuild()
    spring: list[SpringEntry] = []
    chamber: ChamberEntry | None = None
    zero: list[_Zero] = []
    stale: list[StaleEntry] = []
    limit: Annotated[list[LimitEntry], Field(min_length=1)]


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
        reader = LimitReader(entry, number, head, text, file, found.errors, found.disagreements)
        limit = reader.read()
        if limit is None:
            continue
        limits.append(limit)
        found.warnings.extend(
            reader.fault(doubt.field or "", doubt.what) for doubt in plausible.doubts(limit)
        )
        for earlier in limits[:-1]:
            if same_question(earlier, limit):
                found.errors.append(
                    reader.fault(
                        "characteristic",
                        f"{limit.characteristic!r} has such a limit already, on line "
                        f"{earlier.line}; one of the two must go, or differ in valves, stations, "
                        "directions, judge, method or valve_used",
                    )
                )
                break
            if excluding := contradiction(limit, earlier):
                key, other = excluding
                found.errors.append(
                    reader.fault(
                        key,
                        f"found {key} {limit.bounds[key]}, and the limit on line {earlier.line} "
                        f"has {other} for the same readings; none can be within both",
                    )
                )
                break
    found.limits = len(model.limit)
    zeros = _zeros(model.zero, text, file, found)
    changes, faults = read_changes(model.stale, text, file)
    springs, wrong, unusual = read_springs(model.spring, head, text, file)
    found.warnings.extend(unusual)
    found.errors.extend(_spread_faults(rebuild, limits, head, text, file))
    chamber, bad = read_chamber(model.chamber, head, limits, text, file)
    found.errors.extend([*faults, *wrong, *bad])
    if not found.errors:
        title = model.sheet
        found.sheet = Sheet(title.name, title.edition, title.source, title.invented, head,
                            tuple(limit for limit in limits if not limit.size), text, file, zeros,
                            changes, rebuild, springs, chamber,
                            tuple(limit for limit in limits if limit.size))  # fmt: skip
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
        clean_up = _length(entry.clean_up, text, file, "rebuild", "clean_up")
    spread: dict[str, int] = {
        kind: _length(given, text, file, "rebuild", "stand_down_spread", kind)
        for kind, given in entry.stand_down_spread.items()
    }
    return Rebuild(entry.pairing, entry.springs_as_set, clean_up, spread)


def _length(given: str, text: str, file: str, *path: str) -> int:
    """Read a length of 0 or more, picometres."""
    line = tomlfile.line_of(text, path)
    try:
        found = parse_length(given).pm
    except InputError as fault:
        raise fault.in_file(file, line, ".".join(path)) from None
    if found < 0:
        raise InputError(f"found {given!r}, accepted: 0 or more", file=file, line=line,
                         field=".".join(path))  # fmt: skip
    return found


def _spread_faults(
    rebuild: Rebuild, limits: list[Limit], head: Head, text: str, file: str
) -> Iterator[InputError]:
    """Ask for the limits without which nobody would measure what a spread is told from."""
    asked = {valve for limit in limits if limit.characteristic == "stand-down"
             for valve in limit.valves}  # fmt: skip
    for kind in rebuild.spread_pm:
        path = ("rebuild", "stand_down_spread", kind)
        wanted = {valve.name for valve in head.valves() if valve.kind == kind}
        if not wanted <= asked or len(wanted) < 2:
            what = f"found a spread of {kind} valves, needed with it: "
            what += "two of them at least, and a [[limit]] of stand-down for every one"
            yield InputError(what, file=file, line=tomlfile.line_of(text, path),
                             field=".".join(path))  # fmt: skip


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
