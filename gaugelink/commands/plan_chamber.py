"""The chambers in job files of `gaugelink plan`, read and written."""

from __future__ import annotations

from fractions import Fraction
from math import isqrt
from typing import TYPE_CHECKING, TypeVar

from gaugelink.chamberfile import parse_area, parse_ratio, parse_volume
from gaugelink.errors import InputError
from gaugelink.planning.chamber import CUBIC_MM, Chamber, room_at, round_area
from gaugelink.quantity import exact_text

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from gaugelink.commands.plan_file import Reader
    from gaugelink.commands.plan_keys import JobFile
    from gaugelink.planning.task import Rules, Task

Found = TypeVar("Found")


def volume(read: Reader, given: str | None, *path: str | int) -> int | None:
    """Read a volume, such as ``30.3 cm3``, as whole cubic micrometres; None where none is given.

    Raises:
        InputError: it is none, with the place in the file.
    """
    return _told(read, given, parse_volume, *path)


def _told(
    read: Reader, given: str | None, parse: Callable[[str], Found], *path: str | int
) -> Found | None:
    if given is None:
        return None
    try:
        return parse(given)
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
    area = _told(read, keys.area, parse_area, *at, "area")
    swept = volume(read, keys.swept_volume, *at, "swept_volume")
    ratio = (_told(read, keys.compression_ratio.min, parse_ratio, *at, "compression_ratio", "min"),
             _told(read, keys.compression_ratio.max, parse_ratio, *at, "compression_ratio", "max")
             )  # fmt: skip
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
    apart = volume(read, keys.max_spread, *at, "max_spread")
    beside = volume(read, keys.beside, *at, "beside") or 0
    u = volume(read, table.u.chamber_volume, "u", "chamber_volume") or 0
    found = Chamber(area or Fraction(0), least, most, apart, ratio, swept, beside, u)
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
