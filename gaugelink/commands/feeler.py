"""Hold what feeler blades told of gaps under a straightedge against a limit.

Columns: line, goes, stops; and unit (mm or in; mm where it is absent). *goes* is the thickest blade
that went in (0 where none did), *stops* the thinnest that did not (empty where all went in). A
blade never gives a figure: "0.05 goes, 0.06 does not" leaves the gap anywhere between, and against
a limit of 0.05 it decides nothing.

Exit status: 0 every gap is within the limit; 1 one is outside or undecided; 2 the file or an
argument is bad.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gaugelink.commands.lengths import length_from_0
from gaugelink.errors import InputError
from gaugelink.quantity import PM_PER_MM, is_length_unit, parse_length
from gaugelink.tablefile import read_table

if TYPE_CHECKING:
    import argparse

    from gaugelink.metrology.straightness import Feeler
    from gaugelink.tablefile import Row


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("file", metavar="FILE", help="blades by line (CSV: line,goes,stops)")
    parser.add_argument("--limit", required=True, metavar="LENGTH",
                        help="largest gap allowed, for example 0.05mm")  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Judge one face.

    Raises:
        InputError: the file or an argument is bad.
    """
    from gaugelink.metrology.straightness import feeler_verdict, largest_gap  # noqa: PLC0415

    limit_pm = length_from_0(args.limit, "--limit")
    gaps = read(Path(args.file))
    largest = largest_gap(gaps)
    word = feeler_verdict(largest, limit_pm)
    document: dict[str, Any] = {
        "limit_mm": limit_pm / PM_PER_MM,
        "verdict": word,
        **_bounds(largest),
        "lines": [{"line": name, **_bounds(gap), "verdict": feeler_verdict(gap, limit_pm)}
                  for name, gap in gaps.items()],
    }  # fmt: skip
    print(json.dumps(document)) if args.json else _print(document)
    return 0 if word == "within" else 1


def read(path: Path) -> dict[str, Feeler]:
    """Read a file of blades.

    Raises:
        InputError: a bad cell, a line told twice, or blades that contradict each other.
    """
    from gaugelink.metrology.straightness import Feeler  # noqa: PLC0415

    gaps: dict[str, Feeler] = {}
    for row in read_table(path, required=("line", "goes", "stops"), optional=("unit",)):
        name = row["line"]
        if not name or name in gaps:
            what = f"found {name!r} twice, accepted: once" if name else "the cell is empty"
            raise row.fault("line", what)
        goes_pm = _cell(row, "goes")
        stops_pm = _cell(row, "stops") if row["stops"] else None
        if stops_pm is not None and stops_pm <= goes_pm:
            raise row.fault(
                "stops",
                f"found a blade of {row['stops']} that stops and one of {row['goes']} that goes, "
                "accepted: the one that stops is thicker",
            )
        gaps[name] = Feeler(goes_pm, stops_pm)
    return gaps


def _cell(row: Row, column: str) -> int:
    unit = row["unit"] or "mm"
    if not is_length_unit(unit):
        raise row.fault("unit", f"found {unit!r}, accepted: mm or in")
    try:
        found = parse_length(row[column], unit)
    except InputError as fault:
        raise row.fault(column, fault.what) from None
    if found.pm < 0:
        raise row.fault(column, f"found {row[column]!r}, accepted: 0 or more")
    return found.pm


def _bounds(gap: Feeler) -> dict[str, float | None]:
    return {
        "goes_mm": gap.goes_pm / PM_PER_MM,
        "stops_mm": None if gap.stops_pm is None else gap.stops_pm / PM_PER_MM,
    }


def _print(document: dict[str, Any]) -> None:
    rows = [*document["lines"], {"line": "largest", **document}]
    for row in rows:
        stops = row["stops_mm"]
        upper = "no blade stopped" if stops is None else f"below {stops:g} mm"
        print(f"{row['line']:<26}{row['goes_mm']:>8g} mm or more, {upper:<20}{row['verdict']}")
    if document["verdict"] == "undecided":
        print("Undecided: try a blade between, or measure with an indicator.")
