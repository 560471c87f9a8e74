"""Limits and limit sheets: what the workshop manual allows, ready for use.

A limit stays in the unit in which the book prints it, and a reading is converted to it, exactly.
Which readings a limit uses and how they combine belongs to the limit, and so do method, lift and
kind of valve for guide clearance. `gaugelink.sheetfile` reads and cross-checks the files.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final, Literal

from gaugelink.work import WORK, Operation, whole_row

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from fractions import Fraction

    from gaugelink.head import Direction, Head, Method, ValveKind
    from gaugelink.quantity import Displayed, LengthUnit

Judge = Literal["each", "smallest", "largest", "mean", "range"]
Figure = Literal["clearance", "travel"]
BOUNDS: Final = ("service_min", "new_min", "new_max", "service_max")
"""The bounds of a limit, in the order in which their values must stand."""


@dataclass(frozen=True, slots=True)
class Bound:
    """One figure of a limit as printed, in one unit or in two, and what is compared.

    A book's pair is two roundings of one figure, and a printed figure itself is within. So of a
    pair the wider one is compared: a reading of exactly 7.935 mm and one of exactly 0.3124 in are
    both within a minimum printed "7.935 mm (0.3124 in)", and no verdict depends on the unit of the
    reading. The two differ by rounding only; where they did not and a person has chosen between
    them, the figure that was dropped is not here: nobody is shown a limit that does not decide.
    """

    printed: tuple[Displayed, ...]
    pm: int

    def __str__(self) -> str:
        first, *rest = map(str, self.printed)
        return f"{first} ({rest[0]})" if rest else first


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of a sheet. Lengths that do not apply are None, texts are empty.

    `size` names the oversize that it is for; empty: the standard size.
    """

    characteristic: str
    kinds: tuple[ValveKind, ...]
    valves: tuple[str, ...]
    stations: tuple[str, ...]
    directions: tuple[Direction, ...]
    judge: Judge
    bounds: dict[str, Bound]
    source: str
    line: int
    method: Method = ""
    lift: Displayed | None = None
    valve_used: Literal["", "new", "own"] = ""
    guide_length: Displayed | None = None
    reach: Displayed | None = None
    figure: Figure = "clearance"
    size: str = ""

    def _side(self, side: Literal["min", "max"]) -> tuple[str, Bound] | None:
        """The bound that decides on a side: the service limit where there is one, else the new."""
        for period in ("service", "new"):
            bound = self.bounds.get(f"{period}_{side}")
            if bound is not None:
                return f"{period} {side}", bound
        return None

    @property
    def lower(self) -> Bound | None:
        """The bound that decides below."""
        side = self._side("min")
        return side[1] if side else None

    @property
    def upper(self) -> Bound | None:
        """The bound that decides above."""
        side = self._side("max")
        return side[1] if side else None

    @property
    def words(self) -> str:
        """The deciding bounds, as shown: ``service min 7.935 mm (0.3124 in), new max 7.975 mm``.

        Those of an oversize name it: ``service max 8.160 mm, size +0.1``.
        """
        sides = [side for side in (self._side("min"), self._side("max")) if side]
        size = [f"size {self.size}"] if self.size else []
        return ", ".join([*(f"{name} {bound}" for name, bound in sides), *size])

    @property
    def unit(self) -> LengthUnit:
        """The unit in which the book prints this limit."""
        return next(iter(self.bounds.values())).printed[0].unit

    def takes(self, station: str, direction: str) -> bool:
        """Tell whether a reading at this station and direction is one that the limit uses."""
        return (not self.stations or station in self.stations) and (
            not self.directions or direction in self.directions
        )

    def wanted(self) -> list[tuple[str, Direction]]:
        """List the stations and directions that the limit needs, in order of measuring."""
        directions: tuple[Direction, ...] = self.directions or ("",)
        return [(station, way) for station in self.stations or ("",) for way in directions]


@dataclass(frozen=True, slots=True)
class Zero:
    """Where the zero of a kind of gauge is known, and what the gauge has to show there.

    ``on`` says it in words: on the head's face, in the setting ring, or closed.
    """

    gauge: str
    on: str
    shows: Displayed


@dataclass(frozen=True, slots=True)
class StaleChange:
    """Where an engine differs from `gaugelink.work`: what an operation makes stale, and what not.

    Attributes:
        operation: which.
        added: characteristics that it makes stale as well.
        removed: characteristics that it leaves alone.
        reason: why, as the sheet says.
    """

    operation: Operation
    added: tuple[str, ...]
    removed: tuple[str, ...]
    reason: str


@dataclass(frozen=True, slots=True)
class Rebuild:
    """What the book says of work on the head.

    Attributes:
        pairing: whether valves may change places within their kind.
        springs_as_set: whether one new spring asks for all of them.
        clean_up_pm: a skim takes off at least this much, picometres.
        spread_pm: by kind, how far the stand-down of two valves may lie apart, picometres.
    """

    pairing: bool = False
    springs_as_set: bool = False
    clean_up_pm: int = 0
    spread_pm: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Spring:
    """What the book wants of the springs of some kinds of valves. What it does not say is None.

    Attributes:
        kinds: of valves.
        points: ``(height in picometres, load in newtons)`` of a new spring, the greatest height
            first; straight between, and beyond the ends as between the nearest two. None: empty.
        load: smallest and largest load at the installed height, newtons.
        tested_at_pm: the height at which a used spring is tested.
        lift_pm, solid_pm, bind_least_pm: full lift, height at which the coils touch, and the least
            room before they do; all three or none.
        source: where the book says so.
        line: of the table in the sheet.
        height: the test height as printed; empty where there is none.
        words: the limits of load as printed: ``min 285 N``.
        unit, force: in which the book prints lengths and loads.
    """

    kinds: tuple[ValveKind, ...]
    points: tuple[tuple[int, Fraction], ...] = ()
    load: tuple[Fraction | None, Fraction | None] = (None, None)
    tested_at_pm: int | None = None
    lift_pm: int | None = None
    solid_pm: int | None = None
    bind_least_pm: int | None = None
    source: str = ""
    line: int = 0
    height: str = ""
    words: str = ""
    unit: LengthUnit = "mm"
    force: str = "N"

    @property
    def load_limited(self) -> bool:
        """Whether a used spring has to be tested."""
        return self.load != (None, None)


@dataclass(frozen=True, slots=True)
class ChamberLimits:
    """What the book says of the chambers in the head. Volumes are cubic micrometres.

    Attributes:
        volume: of a chamber of a head as new, of this thickness, its valves at these stand-downs.
        thickness_pm: of that head, picometres.
        stand_down_pm, diameter_pm: by kind of valve, its stand-down there and its head's diameter.
        area_mm2: of a chamber where it opens into the face.
        least, most, apart: limits of a volume, and of how far two may lie apart.
        ratio: smallest and largest compression ratio.
        swept, beside: what a piston sweeps, and what is left over it beside the chamber.
        source: where the book says so.
        line: of the table in the sheet.
    """

    volume: int
    thickness_pm: int
    stand_down_pm: Mapping[ValveKind, int]
    diameter_pm: Mapping[ValveKind, int]
    area_mm2: Fraction
    least: int | None = None
    most: int | None = None
    apart: int | None = None
    ratio: tuple[Fraction | None, Fraction | None] = (None, None)
    swept: int | None = None
    beside: int = 0
    source: str = ""
    line: int = 0


@dataclass(frozen=True, slots=True)
class Disagreement:
    """A pair of printed figures that cannot be roundings of one value."""

    line: int
    field: str
    words: str
    resolved: bool


@dataclass(frozen=True, slots=True)
class Sheet:
    """A limit sheet, whole. `text` and `sha256` are what the record keeps of it."""

    name: str
    edition: str
    source: str
    invented: bool
    head: Head
    limits: tuple[Limit, ...]
    text: str
    file: str
    zeros: tuple[Zero, ...] = ()
    changes: tuple[StaleChange, ...] = ()
    rebuild: Rebuild = Rebuild()
    springs: tuple[Spring, ...] = ()
    chamber: ChamberLimits | None = None
    oversizes: tuple[Limit, ...] = ()

    def sized(self, sizes: Mapping[tuple[str, str], str]) -> Sheet:
        """Give the sheet for a head of which some guides or valves are of another size.

        Args:
            sizes: by valve and characteristic the name of the size. One that the sheet has no
                limits of counts as the standard size.
        """
        found: list[Limit] = []
        held: set[tuple[str, str]] = set()
        for limit in self.oversizes:
            valves = tuple(valve for valve in limit.valves
                           if sizes.get((valve, limit.characteristic)) == limit.size)  # fmt: skip
            if valves:
                found.append(replace(limit, valves=valves))
                held |= {(valve, limit.characteristic) for valve in valves}
        if not held:
            return self
        for limit in self.limits:
            # How far readings of one part lie apart is no matter of its size.
            left = tuple(valve for valve in limit.valves if limit.judge == "range"
                         or (valve, limit.characteristic) not in held)  # fmt: skip
            if left or not limit.valves:
                found.append(replace(limit, valves=left))
        return replace(self, limits=tuple(sorted(found, key=lambda limit: limit.line)))

    def spring_of(self, kind: ValveKind) -> Spring | None:
        """Give what the book wants of the springs of a kind of valve; None: nothing."""
        return next((spring for spring in self.springs if kind in spring.kinds), None)

    def stale_after(self, operation: Operation) -> tuple[str, ...]:
        """List the characteristics that an operation makes stale on this engine."""
        names = set(WORK[operation].stale)
        for change in self.changes:
            if change.operation == operation:
                names = names.union(change.added).difference(change.removed)
        return whole_row(names)

    def zero_of(self, gauge_kind: str) -> Zero | None:
        """Give where the zero of a kind of gauge is checked; None where none is wanted."""
        return next((zero for zero in self.zeros if zero.gauge == gauge_kind), None)

    @property
    def sha256(self) -> str:
        """SHA-256 of the sheet's text in UTF-8, hexadecimal."""
        return hashlib.sha256(self.text.encode()).hexdigest()

    def of(self, characteristic: str, valve: str) -> Iterator[Limit]:
        """Go through the limits for a characteristic of a valve (empty: of the head)."""
        for limit in self.limits:
            if limit.characteristic == characteristic and (not valve or valve in limit.valves):
                yield limit
