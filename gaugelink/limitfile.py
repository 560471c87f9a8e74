"""The limits of a limit sheet: read one by one, every fault of each collected.

Where the book prints millimetres and inches, both are held against each other exactly.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints

from gaugelink import tomlfile
from gaugelink.errors import InputError
from gaugelink.head import CHARACTERISTICS, ValveKind
from gaugelink.limits import BOUNDS, Bound, Disagreement, Figure, Judge, Limit
from gaugelink.quantity import Displayed, LengthUnit, agree_within_rounding, parse_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelink.head import Characteristic, Head


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


SIZED = ("guide bore", "stem diameter")
"""What an oversize has limits of its own for."""


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class _Resolution(_Strict):
    keep: LengthUnit
    reason: Words
    by: Words


class LimitEntry(_Strict):
    """One ``[[limit]]`` of a sheet, as typed."""

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
    size: Words | None = None
    resolved: dict[str, _Resolution] = {}


def same_question(one: Limit, other: Limit) -> bool:
    """Tell whether two limits hold the same thing of one valve, so that one of them must go."""
    return (
        one.characteristic == other.characteristic
        and one.judge == other.judge
        and (one.method, one.figure) == (other.method, other.figure)
        and (one.valve_used, one.size) == (other.valve_used, other.size)
        and (not one.valves or bool(set(one.valves) & set(other.valves)))
        and _meet(one.stations, other.stations)
        and _meet(one.directions, other.directions)
    )


def contradiction(limit: Limit, earlier: Limit) -> tuple[str, str] | None:
    """Find bounds of two limits of one size that no readings are within together.

    Of readings that both use the smallest is never above the mean, and the mean never above the
    largest. So a smallest stem of 7.95 mm at least and a largest of 7.94 mm at most exclude each
    other; a largest of at least 7.95 mm and a smallest of at most 7.94 mm do not.

    Returns:
        The key of the bound in the one, and the bound of the other in words; None: there is none.
    """
    for lower, upper in ((limit, earlier), (earlier, limit)):
        low, high = _deciding(lower, "min"), _deciding(upper, "max")
        if not low or not high or lower.bounds[low].pm <= upper.bounds[high].pm:
            continue
        if _one_size(lower, upper) and _never_above(lower, upper):
            own, other = (low, high) if lower is limit else (high, low)
            return own, f"{other} {earlier.bounds[other]}"
    return None


def _deciding(limit: Limit, side: str) -> str:
    """The key of the bound that decides on a side; empty: none does."""
    keys = (f"service_{side}", f"new_{side}")
    return next((key for key in keys if key in limit.bounds), "")


def _one_size(one: Limit, other: Limit) -> bool:
    """Whether the readings of two limits are of one size of one valve, or of the head."""
    same = all(
        getattr(one, name) == getattr(other, name)
        for name in ("characteristic", "method", "figure", "valve_used", "size", "lift",
                     "guide_length", "reach")
    )  # fmt: skip
    return same and (not one.valves or bool(set(one.valves) & set(other.valves)))


def _never_above(lower: Limit, upper: Limit) -> bool:
    """Whether what a lower bound is held against is never above what an upper one is."""
    if "range" in {lower.judge, upper.judge}:
        return False
    rank = {"smallest": 0, "mean": 1, "largest": 2}
    below, above = rank.get(lower.judge, 0), rank.get(upper.judge, 2)  # each: all of them
    if (below, above) == (0, 2):
        return _meet(lower.stations, upper.stations) and _meet(lower.directions, upper.directions)
    return (
        below <= above
        and (above == 2 or _covers(lower, upper))
        and (below == 0 or _covers(upper, lower))
    )


def _covers(one: Limit, other: Limit) -> bool:
    """Whether one limit uses every reading that the other uses."""
    return all(
        not some or (bool(others) and set(others) <= set(some))
        for some, others in ((one.stations, other.stations), (one.directions, other.directions))
    )


def _meet(some: Sequence[str], others: Sequence[str]) -> bool:
    """Whether two lists of places have one in common; an empty list means every place."""
    return not some or not others or bool(set(some) & set(others))


class LimitReader:
    """Reads one ``[[limit]]``, collecting every fault in it."""

    def __init__(
        self,
        entry: LimitEntry,
        number: int,
        head: Head,
        text: str,
        file: str,
        errors: list[InputError],
        disagreements: list[Disagreement],
    ) -> None:
        self.entry = entry
        self.number = number
        self.head = head
        self.text = text
        self.file = file
        self.errors, self.disagreements = errors, disagreements
        self.before = len(errors)

    def _line(self, key: str = "") -> int:
        path: list[str | int] = ["limit", self.number, *(key.split(".") if key else [])]
        return tomlfile.line_of(self.text, path) or 1

    def fault(self, key: str, what: str) -> InputError:
        """Make a fault of this limit, with file, line and field."""
        return InputError(
            what, file=self.file, line=self._line(key), field=f"limit.{self.number + 1}.{key}"
        )

    def _bad(self, key: str, what: str) -> None:
        self.errors.append(self.fault(key, what))

    def _length(self, key: str) -> Displayed | None:
        value: Any = getattr(self.entry, key)
        if value is None:
            return None
        try:
            length = parse_length(value)
        except InputError as fault:
            self._bad(key, fault.what)
            return None
        if length.pm <= 0:
            self._bad(key, f"found {value!r}, accepted: a length above 0")
        return length

    def read(self) -> Limit | None:
        """Read it; None where something is wrong with it, which is among the errors then."""
        entry = self.entry
        name = entry.characteristic
        what = CHARACTERISTICS.get(name)
        if what is None:
            self._bad("characteristic", f"found {name!r}, accepted: {', '.join(CHARACTERISTICS)}")
            return None
        kinds, valves = self._valves() if what.of == "valve" else ((), ())
        if what.of == "head" and entry.valves is not None:
            self._bad("valves", f"{name!r} belongs to the head as a whole, so it takes no valves")
        for key in ("stations", "directions"):
            items = getattr(entry, key)
            if len(set(items)) < len(items):
                self._bad(key, f"found {items!r}, in which one stands twice")
        if name == "head-face flatness" and self.head.face is None:
            self._bad("characteristic", "the sheet needs [head.face] with length, width, rows, "
                     "columns to say where the face is measured")  # fmt: skip
        if what.of == "cylinder" and entry.valves is not None:
            self._bad("valves", f"{name!r} belongs to a cylinder, so it takes no valves")
        self._method()
        self._size()
        bounds = self._bounds()
        lift, guide, reach = (self._length(key) for key in ("lift", "guide_length", "reach"))
        if len(self.errors) > self.before:
            return None
        return Limit(
            name, kinds, valves, self._stations(what), tuple(entry.directions), entry.judge,
            bounds, entry.source, self._line(), entry.method or "", lift, entry.valve_used or "",
            guide, reach, entry.figure or "clearance", entry.size or "",
        )  # fmt: skip

    def _stations(self, what: Characteristic) -> tuple[str, ...]:
        """The stations; of what a cylinder has one of they are named after every cylinder."""
        named = self.entry.stations
        if what.of != "cylinder":
            return tuple(named)
        return tuple(f"cylinder {number}{f', {station}' if station else ''}"
                     for number in range(1, self.head.cylinders + 1)
                     for station in named or ("",))  # fmt: skip

    def _valves(self) -> tuple[tuple[ValveKind, ...], tuple[str, ...]]:
        """The kinds a limit is for, and the valves by name; a limit may name either."""
        every = self.head.valves()
        wanted = self.entry.valves
        if wanted is None:
            return tuple(dict.fromkeys(self.head.kinds)), tuple(valve.name for valve in every)
        if not wanted:
            self._bad("valves", "found an empty list, accepted: kinds or names of valves")
        for item in wanted:
            if not any(item in {valve.kind, valve.name} for valve in every):
                names = ", ".join([*dict.fromkeys(self.head.kinds), every[0].name, "..."])
                self._bad("valves", f"found {item!r}, accepted on this head: {names}")
        chosen = [valve for valve in every if valve.kind in wanted or valve.name in wanted]
        kinds = tuple(dict.fromkeys(valve.kind for valve in chosen))
        return kinds, tuple(valve.name for valve in chosen)

    def _method(self) -> None:
        """Method, lift and kind of valve belong to guide clearance, and only to it."""
        entry = self.entry
        if entry.characteristic != "guide clearance":
            for key in ("method", "lift", "valve_used", "guide_length", "reach", "figure"):
                if getattr(entry, key) is not None:
                    self._bad(key, f"belongs to guide clearance, not to {entry.characteristic!r}")
        elif entry.method is None:
            self._bad(
                "method",
                'guide clearance needs method = "rock" or "direct"; a limit for one is never used '
                "for the other",
            )
        elif entry.method == "rock":
            for key, example in (("lift", '"8 mm"'), ("valve_used", '"new"')):
                if getattr(entry, key) is None:
                    self._bad(key, f"a limit by rock needs it, for example {key} = {example}")
            if (entry.guide_length is None) != (entry.reach is None):
                key = "reach" if entry.reach is None else "guide_length"
                self._bad(key, "guide_length and reach belong together; one of them is missing")
            if entry.stations:
                self._bad("stations", "rock has directions, not stations")
        else:
            for key in ("lift", "valve_used", "guide_length", "reach", "figure"):
                if getattr(entry, key) is not None:
                    self._bad(key, "belongs to a limit by rock, not to a direct one")
            if entry.judge == "range":
                self._bad("judge", "found 'range', accepted for direct clearance: each, smallest, "
                         "largest, mean")  # fmt: skip

    def _size(self) -> None:
        """An oversize is one of guide or stem, and told by what a new one measures."""
        entry = self.entry
        if entry.size is None:
            return
        if entry.characteristic not in SIZED:
            self._bad("size", f"belongs to {' or '.join(SIZED)}, not to {entry.characteristic!r}")
        elif entry.new_min is None or entry.new_max is None:
            self._bad("size", f"found {entry.size!r}, needed with it: new_min and new_max of a "
                     "part of that size")  # fmt: skip

    def _bounds(self) -> dict[str, Bound]:
        found: dict[str, Bound] = {}
        for key in BOUNDS:
            texts: list[str] | None = getattr(self.entry, key)
            if texts is None:
                continue
            try:
                printed = tuple(parse_length(text) for text in texts)
            except InputError as fault:
                self._bad(key, fault.what)
                continue
            if len(printed) == 2 and printed[0].unit == printed[1].unit:
                self._bad(key, f"found two figures in {printed[0].unit}, accepted: mm and in")
                continue
            governing = self._agreed(key, printed)
            pick = min if key.endswith("_min") else max
            found[key] = Bound(governing, pick(item.pm for item in governing))
        if not found and not any(getattr(self.entry, key) for key in BOUNDS):
            self._bad(
                "characteristic", f"the limit has no figure; needed: any of {', '.join(BOUNDS)}"
            )
        for low, high in itertools.pairwise(found):
            # Two roundings of one figure stand for it alike: only what no rounding explains is
            # out of order.
            if min(item.pm for item in found[low].printed) > max(
                item.pm for item in found[high].printed
            ):
                self._bad(high, f"found {high} {found[high]} below {low} {found[low]}; "
                         "the order is service_min, new_min, new_max, service_max")  # fmt: skip
        for key in self.entry.resolved:
            if key not in BOUNDS or len(getattr(self.entry, key) or []) < 2:
                self._bad(f"resolved.{key}", f"{key!r} has no pair of figures to resolve")
        return found

    def _agreed(self, key: str, printed: tuple[Displayed, ...]) -> tuple[Displayed, ...]:
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
        self.disagreements.append(
            Disagreement(self._line(key), f"limit.{self.number + 1}.{key}", words, bool(resolution))
        )
        return printed
