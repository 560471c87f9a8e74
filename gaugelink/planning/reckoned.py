"""Chamber volumes reckoned from stand-down and head thickness, where nobody has measured them.

Source: geometry. A valve has sunk by its stand-down less the book's, plus what was skimmed; the
chamber gains its head's area times that, and loses its own area times the skim.
"""

from __future__ import annotations

from math import isqrt
from typing import TYPE_CHECKING

from gaugelink.planning.chamber import Chamber, round_area
from gaugelink.planning.task import Cylinder

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gaugelink.limits import Sheet
    from gaugelink.planning.task import Place, Rules


def cylinders_of(
    sheet: Sheet,
    places: Sequence[Place],
    thickness_pm: int | None,
    filled: Mapping[int, tuple[int, int]] | None = None,
) -> tuple[Cylinder, ...]:
    """Give the volume of every cylinder's chamber; no cylinders where the sheet has no table.

    Args:
        sheet: the limits.
        places: of its head, in the order of its valves.
        thickness_pm: of the head, None: not measured.
        filled: volumes that were measured, by cylinder, with their standard uncertainties, cubic
            micrometres; all others are reckoned.
    """
    book = sheet.chamber
    if book is None:
        return ()
    known = {place.name: place for place in places}
    found = []
    for number in range(1, sheet.head.cylinders + 1):
        valves = [valve for valve in sheet.head.valves() if valve.cylinder == number]
        names = tuple(valve.name for valve in valves)
        if filled and number in filled:
            measured, u = filled[number]
            found.append(Cylinder(f"cylinder {number}", names, volume=measured, filled=True, u=u))
            continue
        sunk = [known[valve.name].readings.get("stand-down") for valve in valves]
        volume = None
        if thickness_pm is not None and None not in sunk:
            skimmed = book.thickness_pm - thickness_pm
            volume = round(
                book.volume - book.area_mm2 * skimmed
                + sum(round_area(book.diameter_pm[valve.kind])
                      * ((stood or 0) - book.stand_down_pm[valve.kind] + skimmed)
                      for valve, stood in zip(valves, sunk, strict=True)))  # fmt: skip
        found.append(Cylinder(f"cylinder {number}", names, volume=volume))
    return tuple(found)


def chamber_of(sheet: Sheet, rules: Mapping[str, Rules], thickness_u_pm: int) -> Chamber | None:
    """Give what the book says of the chambers, with the uncertainty of a reckoned volume.

    That of the book's own figures is unknown and not in it (JCGM 100:2008, 5.1.2, of readings that
    do not depend on each other).
    """
    book = sheet.chamber
    if book is None:
        return None
    areas = [(round_area(book.diameter_pm[kind]), rules[kind].u_pm.get("stand-down", 0))
             for kind in sheet.head.kinds]  # fmt: skip
    by_skim = sum(area for area, _ in areas) - book.area_mm2
    square = sum((area * u) ** 2 for area, u in areas) + (by_skim * thickness_u_pm) ** 2
    u = isqrt(int(square)) + 1 if square else 0
    return Chamber(book.area_mm2, book.least, book.most, book.apart, book.ratio, book.swept,
                   book.beside, u)  # fmt: skip
