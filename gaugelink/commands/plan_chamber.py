"""The chambers in job files of `gaugelink plan`, read and written."""

from __future__ import annotations

import re
from fractions import Fraction
from math import isqrt
from typing import TYPE_CHECKING, Final

from gaugelink.commands.amounts import Amounts
from gaugelink.errors import InputError
from gaugelink.planning.chamber import CUBIC_MM, Chamber, room_at, round_area
from gaugelink.quantity import exact_text, parse_number

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gaugelink.commands.plan_file import Reader
    from gaugelink.commands.plan_keys import JobFile
    from gaugelink.planning.task import Rules, Task

_POWER: Final = re.compile(r"(?<=[a-z])([23])(?=\s*$)")
_MOST_CM3: Final = 10**6


def volume(read: Reader, given: str | None, *path: str | int, least: int = 0) -> int | None:
    """Read a volume, such as ``30.3 cm3``, as whole cubic micrometres."""
    if given is None:
        return None
    found = _amount(read, given, "mm**3", "30.3 cm3 or 1.85 in3", *path)
    if not least <= found <= _MOST_CM3 * 1000:
        raise read.bad(f"found {given!r}, accepted: 0 to a million cm3", *path)
    return round(found * CUBIC_MM)


def _amount(read: Reader, given: str, unit: str, example: str, *path: str | int) -> Fraction:
    try:
        return Amounts().read(_POWER.sub(r"**\1", given), unit, example)
    except InputError as fault:
        raise read.bad(fault.what, *path) from None


def chamber(read: Reader, table: JobFile) -> Chamber | None:
    """Read what the book says of the chambers; None where it says nothing.

    Raises:
        InputError: a fault, or something is missing that a limit needs.
    """
    keys = table.chamber
    if keys is None:
        return None
    at = ("chamber",)
    area = _amount(read, keys.area, "mm**2", "45 cm2 or 7 in2", *at, "area")
    if not 0 <= area <= 10**6:
        raise read.bad(f"found {keys.area!r}, accepted: 0 to 10000 cm2", *at, "area")
    swept = volume(read, keys.swept_volume, *at, "swept_volume")
    ratio = (_ratio(read, keys.compression_ratio.min), _ratio(read, keys.compression_ratio.max))
    low, high = ratio
    if low is not None and high is not None and low > high:
        raise read.bad("found min above max, accepted: min not above max", *at, "compression_ratio")
    if ratio != (None, None) and not swept:
        what = "found a limit, needed with it: swept_volume, above 0"
        raise read.bad(what, *at, "compression_ratio")
    least, most = (volume(read, getattr(keys.volume, end), *at, "volume", end)
                   for end in ("min", "max"))  # fmt: skip
    if least is not None and most is not None and least > most:
        raise read.bad("found min above max, accepted: min not above max", *at, "volume")
    found = Chamber(
        area, least, most, volume(read, keys.max_spread, *at, "max_spread"), ratio, swept,
        volume(read, keys.beside, *at, "beside") or 0,
        volume(read, table.u.chamber_volume, "u", "chamber_volume") or 0,
    )  # fmt: skip
    if found.swept is not None:
        for end, wanted in zip(("min", "max"), ratio, strict=True):
            if wanted is not None and room_at(found.swept, wanted) <= found.beside:
                what = "found a ratio at which nothing is left for the chamber beside 'beside'"
                raise read.bad(what, *at, "compression_ratio", end)
    if found.limited and not table.cylinder:
        what = "found limits, needed with them: a table [[cylinder]] for every cylinder"
        raise read.bad(what, "chamber")
    for name, kind in table.kind.items():
        if found.limited and kind.head_diameter is None:
            what = "head_diameter is missing; limits of [chamber] need it for every kind"
            raise read.bad(what, "kind", name)
    return found


def _ratio(read: Reader, given: str | None) -> Fraction | None:
    if given is None:
        return None
    try:
        digits, places = parse_number(given)
    except InputError:
        digits, places = 0, 0
    found = Fraction(digits, 10**places)
    if not 1 < found <= 100:
        raise read.bad(f"found {given!r}, accepted: a ratio such as 17.5, above 1", "chamber",
                       "compression_ratio")  # fmt: skip
    return found


def head_area(read: Reader, given: str | None, *path: str | int) -> Fraction | None:
    """Read the diameter of a valve's head, and give its area in square millimetres."""
    return None if given is None else round_area(read.length(given, *path))


def written(task: Task) -> Iterator[str]:
    """Write the table of a job file again."""
    found = task.chamber
    if found is None:
        return
    yield "[chamber]"
    yield f'area = "{exact_text(round(found.area_mm2 * CUBIC_MM), "mm")} mm2"'
    yield from _ends("volume", *(None if end is None else text(end)
                                 for end in (found.least, found.most)))  # fmt: skip
    if found.apart is not None:
        yield f"max_spread = {text(found.apart)}"
    yield from _ends("compression_ratio", *(
        None if end is None else f'"{exact_text(round(end * CUBIC_MM), "mm")}"'
        for end in found.ratio))  # fmt: skip
    if found.swept is not None:
        yield f"swept_volume = {text(found.swept)}"
    if found.beside:
        yield f"beside = {text(found.beside)}"


def text(cubic_um: int) -> str:
    """Write a volume as a job file has it."""
    return f'"{exact_text(cubic_um, "mm")} mm3"'


def diameter(rules: Rules) -> Iterator[str]:
    """Write the diameter whose area a valve's head has."""
    if rules.head_area_mm2 is None:
        return
    # The root is the diameter again: an area comes from one of whole picometres.
    square = rules.head_area_mm2 / round_area(10**9) * 10**18
    root = isqrt(round(square))
    pm = min((root, root + 1), key=lambda one: abs(one * one - square))
    yield f'head_diameter = "{exact_text(pm, "mm")} mm"'


def _ends(key: str, least: str | None, most: str | None) -> Iterator[str]:
    ends = [f"{end} = {given}" for end, given in (("min", least), ("max", most)) if given]
    if ends:
        yield f"{key} = {{ {', '.join(ends)} }}"
