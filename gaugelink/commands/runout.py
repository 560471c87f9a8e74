"""Tell runout and eccentricity from dial readings round one turn.

Columns: value, unit (mm or in); and angle_deg where they are not evenly spaced. Without angles the
readings are spaced evenly from 0, the first not repeated at the end. Told are the total reading
(highest less lowest), the eccentricity with the angle at which it lies (least squares), and the
form that is left. With --u, the standard uncertainty of one reading, the verdict against --max
keeps 1.645 of the total's off (ISO 14253-1:2017). --max is a limit of the total reading, not of the
eccentricity, which is half of it on a true circle.

Exit status: 0 done; 1 the total is outside --max, or undecided; 2 the file or an argument is bad.
"""

from __future__ import annotations

import json
from fractions import Fraction
from math import isfinite, sqrt
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gaugelink.commands.lengths import length_above_0
from gaugelink.errors import InputError
from gaugelink.quantity import PM_PER_MM, parse_length
from gaugelink.tablefile import read_table

if TYPE_CHECKING:
    import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("file", metavar="FILE", help="readings of one turn (CSV: value,unit)")
    parser.add_argument("--u", metavar="LENGTH",
                        help="standard uncertainty of one reading, such as 0.002mm")  # fmt: skip
    parser.add_argument("--max", metavar="LENGTH",
                        help="largest total reading allowed, itself within")  # fmt: skip
    parser.add_argument("--plot", metavar="FILE.html",
                        help="write a plot of the turn, to look at offline")  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Tell of one turn.

    Raises:
        InputError: the file or an argument is bad.
    """
    from gaugelink.metrology.conformity import verdict  # noqa: PLC0415
    from gaugelink.metrology.runout import even_angles, runout  # noqa: PLC0415

    u_pm = length_above_0(args.u, "--u") if args.u else None
    max_pm = length_above_0(args.max, "--max") if args.max else None
    sizes_pm, angles = _read(Path(args.file))
    angles = angles or even_angles(len(sizes_pm))
    try:
        found = runout([(pm - sizes_pm[0]) / PM_PER_MM for pm in sizes_pm], angles)
    except ValueError as fault:
        raise InputError(str(fault), file=args.file) from None
    total_pm = max(sizes_pm) - min(sizes_pm)
    # Without a stated one, what the cosine leaves: form counts as scatter, on the safe side.
    one = found.scatter if u_pm is None else u_pm / PM_PER_MM
    document: dict[str, Any] = {
        "readings": len(sizes_pm),
        "total_mm": total_pm / PM_PER_MM,
        "eccentricity_mm": found.eccentricity,
        "eccentricity_u_mm": one * found.weight,
        "u_from": "remaining form" if u_pm is None else "--u",
        "direction_deg": found.direction_deg,
        "form_mm": found.form,
    }
    total_u_pm = None
    if u_pm is not None:
        total_u_pm = round(sqrt(2) * u_pm)  # a difference of two readings
        document["total_u_mm"] = total_u_pm / PM_PER_MM
    if max_pm is not None:
        document["max_mm"] = max_pm / PM_PER_MM
        document["verdict"] = verdict(Fraction(total_pm), total_u_pm, None, max_pm)
    if args.plot:
        from gaugelink.commands.runout_plot import write  # noqa: PLC0415

        write(Path(args.plot), angles, found, document)
    print(json.dumps(document)) if args.json else _print(document)
    return 1 if document.get("verdict", "within") != "within" else 0


def _read(path: Path) -> tuple[list[int], list[float]]:
    sizes_pm, angles = [], []
    for row in read_table(path, required=("value", "unit"), optional=("angle_deg",)):
        try:
            sizes_pm.append(parse_length(f"{row['value']} {row['unit']}").pm)
        except InputError as fault:
            raise row.fault("value", fault.what) from None
        if "angle_deg" in row.cells:
            try:
                angle = float(row["angle_deg"].replace(",", "."))
            except ValueError:
                angle = float("nan")
            if not isfinite(angle):
                what = f"found {row['angle_deg']!r}, accepted: degrees, such as 45"
                raise row.fault("angle_deg", what)
            angles.append(angle)
    return sizes_pm, angles


def _print(document: dict[str, Any]) -> None:
    print(f"{document['readings']} readings")
    print(f"{'total reading':<20}{document['total_mm']:>10.4f} mm")
    off, u = document["eccentricity_mm"], document["eccentricity_u_mm"]
    print(f"{'eccentricity':<20}{off:>10.4f} mm   u {u:.4f} mm (from {document['u_from']})")
    if off > 2 * u:
        print(f"{'  it lies at':<20}{document['direction_deg']:>10.1f} degrees")
    else:
        print("  too small for its uncertainty to have a direction")
    print(f"{'form that is left':<20}{document['form_mm']:>10.4f} mm")
    if "verdict" in document:
        print(f"{'largest allowed':<20}{document['max_mm']:>10.4f} mm   {document['verdict']}")
