"""Files of valves and guides to be paired."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pydantic import BaseModel, ConfigDict, Field

from gaugelink import tomlfile
from gaugelink.errors import InputError
from gaugelink.planning.pairing import Band, Bore, Stem
from gaugelink.quantity import parse_length

if TYPE_CHECKING:
    from collections.abc import Sequence


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class _Rule(_Table):
    permitted: bool
    clearance_min: str | None = None
    clearance_max: str | None = None
    u: str | None = None


class _Valve(_Table):
    name: str = Field(min_length=1)
    stem: str | None = None
    stem_min: str | None = None
    stem_max: str | None = None
    guide: str = ""
    married: bool = False
    kind: str = ""


class _Guide(_Table):
    name: str = Field(min_length=1)
    bore: str | None = None
    bore_min: str | None = None
    bore_max: str | None = None
    kind: str = ""


class _File(_Table):
    pairing: _Rule
    valve: list[_Valve] = Field(min_length=1)
    guide: list[_Guide] = Field(min_length=1)


@dataclass(frozen=True, slots=True)
class Parts:
    """What is to be paired; where moves are not permitted, every valve counts as married."""

    stems: tuple[Stem, ...]
    bores: tuple[Bore, ...]
    band: Band


def load_parts(text: str, file: str) -> Parts:
    """Read a file of parts.

    Args:
        text: its content, TOML.
        file: its name, for messages.

    Raises:
        InputError: the first fault, with file, line and field.

    >>> found = load_parts('''
    ... [pairing]
    ... permitted = true
    ... clearance_max = "0.080 mm"
    ... [[valve]]
    ... name = "1I"
    ... stem = "6.945 mm"
    ... [[guide]]
    ... name = "1I"
    ... bore = "7.018 mm"
    ... ''', "parts.toml")
    >>> found.bores[0].largest_pm - found.stems[0].smallest_pm
    73000000
    """
    table = tomlfile.check(_File, text, file)

    def bad(what: str, *path: str | int) -> InputError:
        field = ".".join(str(part + 1) if isinstance(part, int) else part for part in path)
        return InputError(what, file=file, line=tomlfile.line_of(text, path), field=field)

    def length(given: str, *path: str | int) -> int:
        try:
            return parse_length(given).pm
        except InputError as fault:
            raise bad(fault.what, *path) from None

    def ends(item: _Valve | _Guide, of: str, place: int) -> tuple[int, int]:
        """Give the smallest and the largest reading of a part."""
        where = "valve" if of == "stem" else "guide"
        single, low, high = (getattr(item, name) for name in (of, f"{of}_min", f"{of}_max"))
        if (single is None) == (low is None and high is None) or (low is None) != (high is None):
            found = "neither" if single is None and low is None and high is None else "these"
            raise bad(f"found {found}, accepted: {of}, or {of}_min and {of}_max", where, place)
        if single is not None:
            pm = length(single, where, place, of)
            return pm, pm
        smallest = length(low, where, place, f"{of}_min")
        largest = length(high, where, place, f"{of}_max")
        if largest < smallest:
            what = f"found {high!r}, accepted: not below {of}_min"
            raise bad(what, where, place, f"{of}_max")
        return smallest, largest

    rule = table.pairing
    if rule.clearance_min is None and rule.clearance_max is None:
        raise bad("found no limit, accepted: clearance_min, clearance_max, or both", "pairing")
    lower = length(rule.clearance_min, "pairing", "clearance_min") if rule.clearance_min else None
    upper = length(rule.clearance_max, "pairing", "clearance_max") if rule.clearance_max else None
    u = length(rule.u, "pairing", "u") if rule.u else 0
    if u < 0:
        raise bad(f"found {rule.u!r}, accepted: 0 or more", "pairing", "u")
    if lower is not None and upper is not None and lower > upper:
        what = f"found {rule.clearance_min!r}, accepted: not above clearance_max"
        raise bad(what, "pairing", "clearance_min")
    if lower is not None and lower < 0:
        what = f"found {rule.clearance_min!r}, accepted: 0 or more"
        raise bad(what, "pairing", "clearance_min")
    guides = [item.name for item in table.guide]
    for where, names in (("valve", [item.name for item in table.valve]), ("guide", guides)):
        for place, name in enumerate(names):
            if not name.isprintable():
                what = f"found {name!r}, accepted: signs that can be shown"
                raise bad(what, where, place, "name")
            if name in names[:place]:
                raise bad(f"found {name!r} twice, accepted: once", where, place, "name")
    kinds = {item.name: item.kind for item in table.guide}
    for place, item in enumerate(table.valve):
        if item.guide and item.guide not in guides:
            what = f"found {item.guide!r}, accepted: {_listed(guides)}"
            raise bad(what, "valve", place, "guide")
        if item.guide and item.guide in [other.guide for other in table.valve[:place]]:
            what = f"found {item.guide!r} for a second valve, accepted: one valve in a guide"
            raise bad(what, "valve", place, "guide")
        if item.guide and item.kind != kinds[item.guide]:
            what = f"found {item.kind!r}, accepted: {kinds[item.guide]!r}, as of its guide"
            raise bad(what, "valve", place, "kind")
        if item.married and not item.guide:
            what = "found true without a guide, accepted: with the guide that it stays in"
            raise bad(what, "valve", place, "married")
    stems = tuple(
        Stem(item.name, *ends(item, "stem", place), item.guide,
             item.married or not rule.permitted, item.kind)
        for place, item in enumerate(table.valve)
    )  # fmt: skip
    bores = tuple(
        Bore(item.name, *ends(item, "bore", place), item.kind)
        for place, item in enumerate(table.guide)
    )
    return Parts(stems, bores, Band(lower, upper, u))


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names)
