"""The part of a limit sheet that says what the book wants of the chambers in the head.

Volumes are whole cubic micrometres, areas square millimetres, both from exact factors: an inch is
25.4 mm (NIST SP 811, appendix B).
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Final, TypeVar

from pydantic import BaseModel, ConfigDict

from gaugelink import tomlfile
from gaugelink.amount import parse_amount, quoted
from gaugelink.errors import InputError
from gaugelink.head import ValveKind  # noqa: TC001  pydantic looks it up at run time
from gaugelink.limits import ChamberLimits
from gaugelink.quantity import parse_length, parse_number

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from gaugelink.head import Head
    from gaugelink.limits import Limit

Found = TypeVar("Found")

_INCH: Final = Fraction("25.4")
VOLUMES: Final = {
    "mm3": Fraction(10**9),
    "cm3": Fraction(10**12),
    "ml": Fraction(10**12),
    "in3": _INCH**3 * 10**9,
}
"""By unit, cubic micrometres."""
AREAS: Final = {"mm2": Fraction(1), "cm2": Fraction(100), "in2": _INCH**2}
"""By unit, square millimetres."""


class ChamberEntry(BaseModel):
    """The table ``[chamber]`` of a sheet, as typed."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)

    volume: str
    thickness: str
    stand_down: dict[ValveKind, str]
    head_diameter: dict[ValveKind, str]
    area: str
    swept_volume: str | None = None
    beside: str | None = None
    max_spread: str | None = None
    volume_min: str | None = None
    volume_max: str | None = None
    compression_ratio_min: str | None = None
    compression_ratio_max: str | None = None
    source: str = ""


def parse_volume(text: str) -> int:
    """Read a volume that carries its unit.

    Args:
        text: for example ``"30.3 cm3"``, ``"30,3 ml"`` or ``"1.85 in3"``.

    Returns:
        Cubic micrometres, rounded half to even where there are smaller parts.

    Raises:
        InputError: no number, no unit, another unit, or not from 0 to a million cm3.

    >>> parse_volume("1.85 in3")
    30316068400000
    """
    found = parse_amount(text, VOLUMES, "30.3 cm3 or 1.85 in3")
    return round(_within(found, text, 10**18, "a million cm3"))


def parse_area(text: str) -> Fraction:
    """Read an area that carries its unit.

    Returns:
        Square millimetres, exact.

    Raises:
        InputError: no number, no unit, another unit, or not from 0 to 10000 cm2.

    >>> float(parse_area("2 in2"))
    1290.32
    """
    found = parse_amount(text, AREAS, "45 cm2 or 7 in2")
    return _within(found, text, 10**6, "10000 cm2")


def parse_ratio(text: str) -> Fraction:
    """Read a compression ratio.

    Args:
        text: for example ``"17.5"``.

    Raises:
        InputError: no plain decimal number, or not above 1 and up to 100.

    >>> parse_ratio("17.5")
    Fraction(35, 2)
    """
    try:
        digits, places = parse_number(text)
    except InputError:
        digits, places = 0, 0
    found = Fraction(digits, 10**places)
    if not 1 < found <= 100:
        raise InputError(f"found {text!r}, accepted: a ratio such as 17.5, above 1, up to 100")
    return found


def _within(found: Fraction, text: str, most: int, words: str) -> Fraction:
    if not 0 <= found <= most:
        raise InputError(f"found {quoted(text)}, accepted: 0 to {words}")
    return found


def read_chamber(
    entry: ChamberEntry | None, head: Head, limits: Sequence[Limit], text: str, file: str
) -> tuple[ChamberLimits | None, list[InputError]]:
    """Check what a sheet says of the chambers, and give it with every fault.

    Args:
        entry: as typed; None: the sheet has no such table.
        head: whose kinds of valves it is for.
        limits: of the sheet; what a volume is reckoned from has to be measured.
        text: the sheet, TOML.
        file: its name for messages.
    """
    if entry is None:
        return None, []
    reader = _Reader(entry, text, file)
    found = reader.read(head, limits)
    return (None if reader.faults else found), reader.faults


class _Reader:
    """Reads ``[chamber]``, collecting every fault in it."""

    def __init__(self, entry: ChamberEntry, text: str, file: str) -> None:
        self._entry, self._text, self._file = entry, text, file
        self.faults: list[InputError] = []

    def read(self, head: Head, limits: Sequence[Limit]) -> ChamberLimits:
        entry = self._entry
        kinds = tuple(dict.fromkeys(head.kinds))
        for key in ("stand_down", "head_diameter"):
            table: dict[ValveKind, str] = getattr(entry, key)
            for kind in kinds:
                if kind not in table:
                    self._bad(key, f"{kind} is missing, needed: a figure for each kind of valve")
            for kind in table:
                if kind not in kinds:
                    self._bad(f"{key}.{kind}", f"found {kind!r}, accepted on this head: "
                              f"{', '.join(kinds)}")  # fmt: skip
        ratio = (self._given(entry.compression_ratio_min, "compression_ratio_min", parse_ratio),
                 self._given(entry.compression_ratio_max, "compression_ratio_max", parse_ratio)
                 )  # fmt: skip
        room = self._volume("volume_min"), self._volume("volume_max")
        swept, beside = self._volume("swept_volume"), self._volume("beside") or 0
        if ratio != (None, None) and not swept:
            self._bad("swept_volume", "a limit of the compression ratio needs it, above 0")
        for key, low, high in (("volume_max", *room), ("compression_ratio_max", *ratio)):
            if low is not None and high is not None and low > high:
                given = getattr(entry, key)
                self._bad(key, f"found {given!r}, accepted: not below {key[:-3]}min")
        for end, wanted in zip(("min", "max"), ratio, strict=True):
            if wanted is not None and swept and Fraction(swept) / (wanted - 1) <= beside:
                self._bad(f"compression_ratio_{end}", "found a ratio at which nothing is left for "
                          "the chamber beside 'beside'")  # fmt: skip
        apart = self._volume("max_spread")
        if all(one is None for one in (*room, *ratio, apart)):
            self._bad("", "the table limits nothing; needed: max_spread, volume_min, volume_max, "
                      "compression_ratio_min or compression_ratio_max")  # fmt: skip
        self._measured(head, limits)
        volume, area = self._volume("volume"), self._given(entry.area, "area", parse_area)
        if volume == 0:
            self._bad("volume", f"found {entry.volume!r}, accepted: above 0")
        return ChamberLimits(
            volume or 0, self._length(entry.thickness, "thickness"),
            {kind: self._length(given, f"stand_down.{kind}", signed=True)
             for kind, given in entry.stand_down.items()},
            {kind: self._length(given, f"head_diameter.{kind}")
             for kind, given in entry.head_diameter.items()},
            area or Fraction(0), *room, apart, ratio, swept, beside, entry.source,
            tomlfile.line_of(self._text, ("chamber",)) or 1,
        )  # fmt: skip

    def _measured(self, head: Head, limits: Sequence[Limit]) -> None:
        """Refuse a sheet by which nobody measures what the volume is reckoned from."""
        sunk = {name for limit in limits if limit.characteristic == "stand-down"
                for name in limit.valves}  # fmt: skip
        thick = any(limit.characteristic == "head thickness" for limit in limits)
        if not thick or any(valve.name not in sunk for valve in head.valves()):
            self._bad("", "the volume is reckoned from stand-down and head thickness; needed: a "
                      "[[limit]] of stand-down for every valve and one of head thickness"
                      )  # fmt: skip

    def _volume(self, key: str) -> int | None:
        return self._given(getattr(self._entry, key), key, parse_volume)

    def _length(self, given: str, key: str, *, signed: bool = False) -> int:
        found = self._given(given, key, parse_length)
        if found is None:
            return 0
        if found.pm <= 0 and not signed:
            self._bad(key, f"found {given!r}, accepted: above 0")
        return found.pm

    def _given(self, given: str | None, key: str, parse: Callable[[str], Found]) -> Found | None:
        if given is None:
            return None
        try:
            return parse(given)
        except InputError as fault:
            self._bad(key, fault.what)
            return None

    def _bad(self, key: str, what: str) -> None:
        line = tomlfile.line_of(self._text, ("chamber", *(key.split(".") if key else ())))
        field = f"chamber.{key}" if key else "chamber"
        self.faults.append(InputError(what, file=self._file, line=line, field=field))
