"""The workpiece: cylinders, valves, the head's face, and what is measured where.

Valves are named by cylinder and kind, counted from the engine maker's first cylinder: ``3E`` is the
exhaust valve of the third cylinder, ``2I1`` the first of several intake valves of the second.
Directions: *along* the head (the crankshaft's axis) and *across* it. A station is a place along the
part, or a point of the face's grid.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, Literal, get_args

from gaugelink.errors import InputError

ValveKind = Literal["intake", "exhaust"]
Direction = Literal["", "along", "across"]
Method = Literal["", "rock", "direct"]
VALVE_KINDS: Final[tuple[ValveKind, ...]] = get_args(ValveKind)
DIRECTIONS: Final[tuple[Direction, ...]] = ("along", "across")

_LETTER: Final[dict[ValveKind, str]] = {"intake": "I", "exhaust": "E"}
_KIND_OF: Final[dict[str, ValveKind]] = {"I": "intake", "E": "exhaust"}
_VALVE = re.compile(r"([1-9][0-9]?)([IE])([1-9]?)")


@dataclass(frozen=True, slots=True)
class Valve:
    """A valve and its place. ``number`` is 0 where the cylinder has one of the kind."""

    cylinder: int
    kind: ValveKind
    number: int = 0

    @property
    def name(self) -> str:
        """The name as it is written everywhere, for example ``3E`` or ``2I1``."""
        return f"{self.cylinder}{_LETTER[self.kind]}{self.number or ''}"

    @property
    def words(self) -> str:
        """The name spoken, for example ``exhaust valve of cylinder 3``."""
        number = f" {self.number}" if self.number else ""
        return f"{self.kind} valve{number} of cylinder {self.cylinder}"


def parse_valve(text: str) -> Valve:
    """Read a valve's name.

    Raises:
        InputError: the text is no such name.

    >>> parse_valve("3E")
    Valve(cylinder=3, kind='exhaust', number=0)
    """
    match = _VALVE.fullmatch(text.strip().upper())
    if match is None:
        raise InputError(
            f"found the valve {text!r}, accepted: cylinder and kind, such as 3E, 1I or 2E1"
        )
    return Valve(int(match[1]), _KIND_OF[match[2]], int(match[3] or 0))


@dataclass(frozen=True, slots=True)
class Face:
    """The head's face as a grid of points: rows across the head, columns along it.

    Stations are named by row letter and column number, ``A1`` at the front on the intake side.
    """

    length_pm: int
    width_pm: int
    rows: int
    columns: int

    def points(self) -> dict[str, tuple[int, int]]:
        """Give each station's place as ``(along, across)`` in picometres from ``A1``.

        >>> list(Face(600, 100, 2, 3).points().items())[-1]
        ('B3', (600, 100))
        """
        return {
            f"{chr(ord('A') + row)}{column + 1}": (
                self.length_pm * column // (self.columns - 1),
                self.width_pm * row // (self.rows - 1),
            )
            for row in range(self.rows)
            for column in range(self.columns)
        }


@dataclass(frozen=True, slots=True)
class Head:
    """A cylinder head: how many cylinders, and which valves each has, in order from the front."""

    cylinders: int
    kinds: tuple[ValveKind, ...]
    face: Face | None = None

    def valves(self) -> tuple[Valve, ...]:
        """List the valves from the front of the head.

        >>> [v.name for v in Head(2, ("intake", "exhaust", "exhaust")).valves()]
        ['1I', '1E1', '1E2', '2I', '2E1', '2E2']
        """
        several = {kind: self.kinds.count(kind) > 1 for kind in VALVE_KINDS}
        found = []
        for cylinder in range(1, self.cylinders + 1):
            seen = dict.fromkeys(VALVE_KINDS, 0)
            for kind in self.kinds:
                seen[kind] += 1
                found.append(Valve(cylinder, kind, seen[kind] if several[kind] else 0))
        return tuple(found)


@dataclass(frozen=True, slots=True)
class Characteristic:
    """Something that is measured or reckoned on a head.

    Attributes:
        name: the trade's word, as limit sheets and files write it.
        of: whether there is one for each valve, for each cylinder, or one for the head.
        gauge: the kind of gauge that takes it; empty for what is reckoned from other readings.
        part: which line drawing shows the place.
        reckoned_from: the readings that it is reckoned from, where it is not read itself.
    """

    name: str
    of: Literal["valve", "cylinder", "head"]
    gauge: str
    part: str
    reckoned_from: tuple[str, ...] = ()


GAUGE_KINDS: Final = ("micrometer", "bore gauge", "depth gauge", "caliper", "indicator")

CHARACTERISTICS: Final[dict[str, Characteristic]] = {
    item.name: item
    for item in (
        # The order is the order of measuring: one gauge in the hand for as long as it can be used.
        Characteristic("stem diameter", "valve", "micrometer", "stem"),
        Characteristic("guide bore", "valve", "bore gauge", "guide"),
        Characteristic(
            "guide clearance", "valve", "indicator", "rock", ("stem diameter", "guide bore")
        ),
        Characteristic("stem runout", "valve", "indicator", "stem"),
        Characteristic("valve face runout", "valve", "indicator", "other"),
        Characteristic("seat runout", "valve", "indicator", "other"),
        Characteristic("stand-down", "valve", "depth gauge", "stand-down"),
        Characteristic("guide projection", "valve", "depth gauge", "guide"),
        Characteristic("tip height", "valve", "depth gauge", "stand-down"),
        Characteristic("installed spring height", "valve", "caliper", "spring"),
        Characteristic("retainer-to-seal", "valve", "caliper", "spring"),
        Characteristic("spring free length", "valve", "caliper", "spring"),
        Characteristic("spring squareness", "valve", "caliper", "spring"),
        Characteristic("valve length", "valve", "caliper", "stem"),
        Characteristic("margin", "valve", "caliper", "other"),
        Characteristic("seat width", "valve", "caliper", "other"),
        Characteristic("head thickness", "head", "micrometer", "face"),
        Characteristic("injector protrusion", "cylinder", "indicator", "face"),
        Characteristic("prechamber protrusion", "cylinder", "indicator", "face"),
        Characteristic("face height", "head", "indicator", "face"),
        Characteristic("head-face flatness", "head", "", "face", ("face height",)),
    )
}


ZERO_CHECK: Final = "zero check"
"""A reading that is no size of the head: what the gauge shows where its zero or master is known."""


_CYLINDER = re.compile(r"cylinder ([1-9][0-9]?)(?:, .+)?")


def cylinder_at(characteristic: str, station: str) -> int | None:
    """Tell at which cylinder a station of a characteristic is; None where it is of no cylinder.

    What a cylinder has one of is measured at stations named after it.

    >>> cylinder_at("injector protrusion", "cylinder 4"), cylinder_at("margin", "cylinder 4")
    (4, None)
    """
    known = CHARACTERISTICS.get(characteristic)
    if known is None or known.of != "cylinder":
        return None
    match = _CYLINDER.fullmatch(station)
    return None if match is None else int(match[1])


def part_of(characteristic: str) -> str:
    """Name the line drawing that shows where a characteristic is measured."""
    known = CHARACTERISTICS.get(characteristic)
    return known.part if known else "other"


@dataclass(frozen=True, slots=True)
class Position:
    """Where one reading belongs: valve, characteristic, station and direction.

    ``valve`` is empty for what belongs to a cylinder or to the head as a whole; the station then
    says where. `method`, `lift` and `valve_used` are part of the place, because a rock reading with
    another lift is another measurement.
    """

    valve: str
    characteristic: str
    station: str = ""
    direction: Direction = ""
    method: Method = ""
    lift: str = ""
    valve_used: Literal["", "new", "own"] = ""

    @property
    def cylinder(self) -> int | None:
        """The cylinder, counted from the first; None for the head as a whole.

        >>> Position("3E", "margin").cylinder, Position("", "head thickness").cylinder
        (3, None)
        >>> Position("", "prechamber protrusion", "cylinder 2, front").cylinder
        2
        """
        return parse_valve(self.valve).cylinder if self.valve else cylinder_at(
            self.characteristic, self.station
        )  # fmt: skip

    @property
    def words(self) -> str:
        """The place as it is shown and spoken.

        >>> Position("3E", "stem diameter", "middle", "across").words
        'Exhaust valve of cylinder 3: stem diameter, middle, across the head'
        >>> Position("", "prechamber protrusion", "cylinder 2, front").words
        'Cylinder 2: prechamber protrusion, front'
        >>> zero_check("depth gauge", "before", "stand-down").words
        'Zero check: depth gauge, before stand-down'
        """
        if self.characteristic == ZERO_CHECK:
            return f"Zero check: {self.station}"
        parts = [self.characteristic]
        if self.method == "rock":
            parts[0] += " by rock"
        owner, station = "head", self.station
        if self.valve:
            owner = parse_valve(self.valve).words
        elif self.cylinder is not None:
            owner, _, station = station.partition(", ")
        if station:
            parts.append(station)
        if self.direction:
            parts.append(f"{self.direction} the head")
        if self.lift:
            parts.append(f"{self.valve_used or 'the'} valve lifted {self.lift}")
        return f"{owner[0].upper()}{owner[1:]}: {', '.join(parts)}"


def zero_check(gauge_kind: str, when: Literal["before", "after"], characteristic: str) -> Position:
    """Make the place of a zero check, before or after the series of a characteristic.

    >>> zero_check("depth gauge", "after", "stand-down").station
    'depth gauge, after stand-down'
    """
    return Position("", ZERO_CHECK, f"{gauge_kind}, {when} {characteristic}")


def zero_check_of(position: Position) -> tuple[str, str] | None:
    """Tell which kind of gauge a zero check is of, and when; None where the place is none.

    >>> zero_check_of(zero_check("depth gauge", "after", "stand-down"))
    ('depth gauge', 'after')
    """
    if position.characteristic != ZERO_CHECK:
        return None
    kind, _, series = position.station.partition(", ")
    return kind, series.split(" ", 1)[0]
