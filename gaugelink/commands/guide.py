"""Tell the form of a guide and its stem, their clearance, and what rock should show.

Columns: part (bore or stem), depth (from the guide's head end; may stay empty for the stem),
direction (along or across), value; and unit (mm or in; mm where it is absent), which counts for the
depth too. From the bore at each depth less the smallest stem, the travel of a rock is foretold for
either direction. A travel that was measured is held against it: the two methods answer different
questions and are never averaged, but where they contradict each other something is wrong.

Exit status: 0 done; 1 a measured travel disagrees; 2 the file or an argument is bad.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from gaugelink.commands.lengths import length_above_0, length_from_0
from gaugelink.errors import InputError
from gaugelink.quantity import PM_PER_MM, exact_text, is_length_unit, parse_length
from gaugelink.tablefile import read_table

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from gaugelink.metrology.roundness import Size
    from gaugelink.tablefile import Row

PARTS: Final = ("bore", "stem")
DIRECTIONS: Final = ("along", "across")


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    add = parser.add_argument
    add("file", metavar="FILE", help="readings (CSV: part,depth,direction,value)")
    add("--guide-length", required=True, metavar="LENGTH",
        help="length of guide that has stem in it, for example 50mm")  # fmt: skip
    add("--reach", required=True, metavar="LENGTH",
        help="from the guide's head end to the contact point, lift included, for example "
        "28mm")  # fmt: skip
    for direction in DIRECTIONS:
        add(f"--travel-{direction}", metavar="LENGTH", help=f"travel measured by rock, {direction}")
    add("--u-travel", default="0.003mm", metavar="LENGTH",
        help="its standard uncertainty (default %(default)s)")  # fmt: skip
    add("--u-size", default="0.002mm", metavar="LENGTH",
        help="standard uncertainty of a reading of bore or stem (default %(default)s)")  # fmt: skip
    add("--u-reach", default="1mm", metavar="LENGTH",
        help="standard uncertainty of the reach (default %(default)s)")  # fmt: skip
    add("--u-guide-length", default="0.5mm", metavar="LENGTH",
        help="standard uncertainty of the guide length (default %(default)s)")  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Tell of one guide.

    Raises:
        InputError: the file or an argument is bad.
    """
    from gaugelink.metrology.roundness import clearances  # noqa: PLC0415

    given = {
        name: (length_above_0 if name == "guide_length" else length_from_0)(
            getattr(args, name), f"--{name.replace('_', '-')}"
        )
        for name in ("guide_length", "reach", "u_travel", "u_size", "u_reach", "u_guide_length",
                     "travel_along", "travel_across")
        if getattr(args, name)
    }  # fmt: skip
    bores, stems, depths = read(Path(args.file))
    for part, sizes in (("bore", bores), ("stem", stems)):
        if not sizes:
            raise InputError(f"found no reading of the {part}, needed: at least one",
                             file=args.file, field="part")  # fmt: skip
    between = clearances([one.pm for one in bores], [one.pm for one in stems])
    document: dict[str, Any] = {
        "bore": _form(bores, [exact_text(depth, "mm") for depth in sorted(set(depths))]),
        "stem": _form(stems, []),
        "clearance": {"tightest_mm": between.tightest_pm / PM_PER_MM,
                      "worst_mm": between.worst_pm / PM_PER_MM},
        "rock": _rock(args.file, bores, stems, depths, given),
    }  # fmt: skip
    print(json.dumps(document)) if args.json else _print(document)
    words = [row["verdict"] for row in document["rock"].values()]
    return 1 if {"above", "below"} & {*words} else 0


def read(path: Path) -> tuple[list[Size], list[Size], list[int]]:
    """Read a file of bore and stem readings.

    Returns:
        The readings of the bore, those of the stem, and the depths of the former in picometres.

    Raises:
        InputError: a bad cell, or one place read twice.
    """
    from gaugelink.metrology.roundness import Size  # noqa: PLC0415

    rows = read_table(path, required=("part", "depth", "direction", "value"), optional=("unit",))
    sizes: dict[str, list[Size]] = {part: [] for part in PARTS}
    depths: list[int] = []
    seen: dict[tuple[str, str, str], int] = {}
    for row in rows:
        part = row.one_of("part", PARTS)
        direction = row.one_of("direction", DIRECTIONS)
        station = ""
        if row["depth"] or part == "bore":
            depth_pm = _cell(row, "depth")
            station = exact_text(depth_pm, "mm")
            if part == "bore":
                depths.append(depth_pm)
            place = (part, station, direction)
            if place in seen:
                what = f"found this place twice (line {seen[place]}); accepted: once"
                raise row.fault("depth", what)
            seen[place] = row.line
        sizes[part].append(Size(station, direction, _cell(row, "value")))
    return sizes["bore"], sizes["stem"], depths


def _cell(row: Row, column: str) -> int:
    unit = row["unit"] or "mm"
    if not is_length_unit(unit):
        raise row.fault("unit", f"found {unit!r}, accepted: mm or in")
    try:
        found = parse_length(row[column], unit)
    except InputError as fault:
        raise row.fault(column, fault.what) from None
    if found.pm < 0 or (column == "value" and found.pm == 0):
        accepted = "more than 0" if column == "value" else "0 or more"
        raise row.fault(column, f"found {row[column]!r}, accepted: {accepted}")
    return found.pm


def _form(sizes: Sequence[Size], stations: Sequence[str]) -> dict[str, Any]:
    from gaugelink.metrology.roundness import bell_mouth, out_of_round, taper  # noqa: PLC0415

    oval = out_of_round(sizes)
    form: dict[str, Any] = {
        "out_of_round_mm": max(oval.values()) / PM_PER_MM if oval else None,
        "taper_mm": float(taper(sizes) / PM_PER_MM),
    }
    if len(stations) >= 3:
        mouths = bell_mouth(sizes, stations)
        form["bell_mouth_mm"] = {
            name: float(mouths[station] / PM_PER_MM)
            for name, station in (("head end", stations[0]), ("other end", stations[-1]))
            if station in mouths
        }
    return form


def _rock(file: str, bores: Sequence[Size], stems: Sequence[Size], depths: Sequence[int],
          given: dict[str, int]) -> dict[str, Any]:  # fmt: skip
    from gaugelink.metrology.rock import factor  # noqa: PLC0415
    from gaugelink.metrology.rock_bore import compare, foretell  # noqa: PLC0415

    stem_pm = min(one.pm for one in stems)
    rows = {}
    for direction in DIRECTIONS:
        local = {depth: one.pm - stem_pm for depth, one in zip(depths, bores, strict=True)
                 if one.direction == direction}  # fmt: skip
        travel_pm = given.get(f"travel_{direction}")
        if not local:
            if travel_pm is not None:
                what = "found a travel, but no bore reading in this direction; needed: one"
                raise InputError(what, file=file, field=f"--travel-{direction}")
            continue
        try:
            k = factor(given["guide_length"], given["reach"])
            found = foretell(local, given["guide_length"], given["reach"])
        except ValueError as fault:
            raise InputError(str(fault), file=file, field="depth or value") from None
        u_pm = found.u_pm(given["u_size"], given["u_reach"], u_stem_pm=given["u_size"],
                          u_guide_length_pm=given["u_guide_length"])  # fmt: skip
        row: dict[str, Any] = {
            "foretold_mm": float(found.travel_pm / PM_PER_MM),
            "foretold_u_mm": u_pm / PM_PER_MM,
            "apparent_clearance_mm": float(found.travel_pm / k / PM_PER_MM),
            "rests_at_mm": [depth / PM_PER_MM for depth in found.rests_pm],
            "measured_mm": None, "verdict": None, "means": None,
        }  # fmt: skip
        if travel_pm is not None:
            held = compare(travel_pm, given["u_travel"], found, u_pm)
            row.update(measured_mm=travel_pm / PM_PER_MM, verdict=held.word, means=held.means)
        rows[direction] = row
    return rows


def _print(document: dict[str, Any]) -> None:
    for part in PARTS:
        form = document[part]
        oval = form["out_of_round_mm"]
        words = "not known" if oval is None else f"{oval:.4f} mm"
        print(f"{part:<6}out of round {words}   taper {form['taper_mm']:.4f} mm")
        for end, size in form.get("bell_mouth_mm", {}).items():
            print(f"      bell-mouth at the {end} {size:.4f} mm")
    between = document["clearance"]
    print(f"clearance {between['tightest_mm']:.4f} (tightest) to {between['worst_mm']:.4f} mm "
          "(worst)")  # fmt: skip
    for direction, row in document["rock"].items():
        near, far = row["rests_at_mm"]
        print(f"rock {direction}: travel {row['foretold_mm']:.4f} mm foretold, u "
              f"{row['foretold_u_mm']:.4f}; the stem rests at {near:g} and {far:g} mm")  # fmt: skip
        if row["verdict"]:
            mark = "-" if row["verdict"] == "agrees" else "!"
            print(f"  {mark} measured {row['measured_mm']:.4f} mm: {row['means']}")
