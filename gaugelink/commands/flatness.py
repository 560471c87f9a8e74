"""Tell how flat a face is: least squares, minimum zone with its contact points, six lines.

Columns: x, y, z; and unit (mm or in; mm where it is absent). x runs along the head, y across it.
Distances are square to the planes (ISO 1101), however the face lies. Along the edges and diagonals
that have three points or more, the gap under a straightedge and the straightness are told. Points
are counted from 1, in the order of the file.

With --u, the standard uncertainty of one height, that of both kinds of flatness is told (first
order, expanded with k = 2). With --bench it is that of the bench's indicator, of two the less
certain one. With --max the minimum zone is held against a limit, 1.645 of its standard
uncertainties kept from it (ISO 14253-1:2017), or as it is without an uncertainty.

Exit status: 0 done; 1 the minimum zone is outside --max, or undecided; 2 the file or an argument
is bad.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gaugelink.commands.lengths import length_above_0
from gaugelink.errors import InputError
from gaugelink.quantity import PM_PER, PM_PER_MM, is_length_unit
from gaugelink.tablefile import read_table

if TYPE_CHECKING:
    import argparse

    from gaugelink.metrology.flatness import Point, Zone
    from gaugelink.tablefile import Row

COVER = 2
"""Expanded over standard uncertainty."""


@dataclass(frozen=True, slots=True)
class Measured:
    """The points of a file in whole steps, and how many millimetres a step is."""

    points: list[Point]
    step_mm: Fraction

    def mm(self, steps: float | Fraction) -> float:
        """Give steps in millimetres."""
        if isinstance(steps, Fraction):
            return float(steps * self.step_mm)
        return steps * self.step_mm.numerator / self.step_mm.denominator


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("file", metavar="FILE", help="points of the face (CSV: x,y,z)")
    parser.add_argument("--any-length", metavar="LENGTH",
                        help="tell the worst straightness in any such length of the six lines, "
                        "for example 150mm")  # fmt: skip
    parser.add_argument("--level-on", metavar="P,P,P",
                        help="three points on which the head is levelled for the cut, for example "
                        "1,5,31 (default: the best set-up there is)")  # fmt: skip
    sure = parser.add_mutually_exclusive_group()
    sure.add_argument("--u", metavar="LENGTH",
                      help="standard uncertainty of one height, for example 0.002mm")  # fmt: skip
    sure.add_argument("--bench", metavar="BENCH.toml",
                      help="in place of --u: the bench file of the indicator")  # fmt: skip
    parser.add_argument("--max", metavar="LENGTH",
                        help="largest flatness allowed, itself within")  # fmt: skip
    parser.add_argument("--plot", metavar="FILE.html",
                        help="write a map of the face, to look at offline")  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Measure one face.

    Raises:
        InputError: the file or an argument is bad, or the points have no flatness.
    """
    from gaugelink.metrology.flatness import clean_up, least_squares, minimum_zone  # noqa: PLC0415

    window_pm = length_above_0(args.any_length, "--any-length") if args.any_length else None
    sure = _u(args)
    max_pm = length_above_0(args.max, "--max") if args.max else None
    measured = read(Path(args.file))
    level_on = _three(args.level_on, len(measured.points)) if args.level_on else None
    try:
        zone = minimum_zone(measured.points)
        squares = least_squares(measured.points)
    except ValueError as fault:
        raise InputError(str(fault), file=args.file) from None
    try:
        cut = clean_up(measured.points, level_on)
    except ValueError as fault:
        raise InputError(str(fault), field="--level-on") from None
    document = {
        "least_squares_mm": measured.mm(squares),
        "minimum_zone_mm": measured.mm(zone.width),
        "contacts": _contacts(measured, zone),
        "contact": zone.kind,
        "points": len(measured.points),
        "clean_up_mm": measured.mm(cut.depth),
        "clean_up": {"highest": cut.highest + 1, "lowest": cut.lowest + 1},
        "lines": _lines(measured, window_pm),
    }
    document |= _sureness(measured, zone, sure, max_pm)
    if args.plot:
        from gaugelink.commands.flatness_plot import write  # noqa: PLC0415

        write(Path(args.plot), measured.points, zone, measured.mm(1.0), document)
    if args.json:
        print(json.dumps(document))
    else:
        _print(document, args.any_length)
    return 1 if document.get("verdict", "within") != "within" else 0


def _u(args: argparse.Namespace) -> tuple[int, str] | None:
    """Give the standard uncertainty of one height, and who says so; None where nobody does."""
    if args.u:
        return length_above_0(args.u, "--u"), "--u"
    if not args.bench:
        return None
    from gaugelink.commands.register import coarsest_of  # noqa: PLC0415
    from gaugelink.head import CHARACTERISTICS  # noqa: PLC0415

    gauge = coarsest_of(args.bench, CHARACTERISTICS["face height"].gauge)
    return gauge.u_pm, gauge.id


def _sureness(measured: Measured, zone: Zone, sure: tuple[int, str] | None, max_pm: int | None
              ) -> dict[str, Any]:  # fmt: skip
    """Tell how sure the flatness is, and the verdict, where they were asked for."""
    from gaugelink.metrology.conformity import verdict  # noqa: PLC0415

    found: dict[str, Any] = {}
    zone_u_pm = None
    if sure is not None:
        u_pm, told_by = sure
        from gaugelink.metrology.flatness_uncertainty import (  # noqa: PLC0415
            least_squares_weight,
            minimum_zone_weight,
        )

        try:
            weight = minimum_zone_weight(measured.points, zone)
        except ValueError as fault:
            field = "--u" if told_by == "--u" else "--bench"
            raise InputError(str(fault), field=field) from None
        zone_u_pm = round(weight * u_pm)
        squares_u_pm = round(least_squares_weight(measured.points) * u_pm)
        found = {"k": COVER, "method": "first order", "u_mm": u_pm / PM_PER_MM, "u_from": told_by}
        for name, part_pm in (("minimum_zone", zone_u_pm), ("least_squares", squares_u_pm)):
            found[f"{name}_u_mm"] = part_pm / PM_PER_MM
            found[f"{name}_U_mm"] = COVER * part_pm / PM_PER_MM
    if max_pm is not None:
        width_pm = Fraction(zone.width) * measured.step_mm * PM_PER_MM
        found["max_mm"] = max_pm / PM_PER_MM
        found["verdict"] = verdict(width_pm, zone_u_pm, None, max_pm)
    return found


def read(path: Path) -> Measured:
    """Read a file of points, exactly.

    Raises:
        InputError: a bad cell, two units, or more digits than are held exactly.
    """
    from gaugelink.metrology.counts import counts_of  # noqa: PLC0415

    rows = read_table(path, required=("x", "y", "z"), optional=("unit",))
    unit = rows[0]["unit"] or "mm"
    for row in rows:
        here = row["unit"] or "mm"
        if not is_length_unit(here) or here != unit:
            raise row.fault("unit", f"found {here!r}, accepted: mm or in, the same in every row")
        for column in ("x", "y", "z"):
            _check(row, column)
    assert is_length_unit(unit)
    counts = counts_of(row[column] for row in rows for column in ("x", "y", "z"))
    values = counts.values
    points = [*zip(values[::3], values[1::3], values[2::3], strict=True)]
    return Measured(points, counts.step * Fraction(PM_PER[unit], PM_PER_MM))


def _check(row: Row, column: str) -> None:
    from gaugelink.metrology.counts import counts_of  # noqa: PLC0415

    try:
        counts_of([row[column]])
    except InputError as fault:
        raise row.fault(column, fault.what) from None


def _three(text: str, count: int) -> tuple[int, int, int]:
    words = [word.strip() for word in text.split(",")]
    places = [int(word) - 1 for word in words if word.isascii() and word.isdigit()]
    known = all(0 <= place < count for place in places)
    if not known or len(places) != len(words) or len(places) != 3 or len(set(places)) != 3:
        raise InputError(
            f"found {text!r}, accepted: three different points from 1 to {count}, such as 1,2,3",
            field="--level-on",
        )
    a, b, c = places
    return a, b, c


def _contacts(measured: Measured, zone: Zone) -> list[dict[str, Any]]:
    rows = []
    for plane, places in (("upper", zone.upper), ("lower", zone.lower)):
        for place in places:
            x, y, z = (measured.mm(Fraction(part)) for part in measured.points[place])
            rows.append({"point": place + 1, "plane": plane, "x_mm": x, "y_mm": y, "z_mm": z})
    return rows


def _lines(measured: Measured, window_pm: int | None) -> list[dict[str, Any]]:
    from gaugelink.metrology.straightness import (  # noqa: PLC0415
        in_any_length,
        profile,
        six_lines,
        straightedge,
        straightness,
    )

    points, rows = measured.points, []
    for name, places in six_lines(points).items():
        line = profile(points, places)
        row: dict[str, Any] = {
            "line": name, "points": [place + 1 for place in places],
            "straightedge_mm": measured.mm(straightedge(line)),
            "straightness_mm": measured.mm(straightness(line)),
        }  # fmt: skip
        if window_pm is not None:
            length = Fraction(window_pm, PM_PER_MM) / measured.step_mm
            try:
                worst = in_any_length(points, places, int(length))
            except ValueError:
                row["any_length_mm"] = None
            else:
                row["any_length_mm"] = measured.mm(worst.size)
                row["any_length_between"] = [worst.first + 1, worst.last + 1]
        rows.append(row)
    return rows


def _print(document: dict[str, Any], window: str | None) -> None:
    print(f"{document['points']} points")
    print(f"{'least squares':<24}{document['least_squares_mm']:>12.6f} mm")
    print(f"{'minimum zone':<24}{document['minimum_zone_mm']:>12.6f} mm   "
          f"contact {document['contact']}")  # fmt: skip
    for plane in ("upper", "lower"):
        on = [row for row in document["contacts"] if row["plane"] == plane]
        if on:
            shown = [f"point {row['point']} ({row['x_mm']:g}, {row['y_mm']:g})" for row in on]
            print(f"  on the {plane} plane: {', '.join(shown)}")
    if "k" in document:
        print(f"{'u of one height':<24}{document['u_mm']:>12.6f} mm   from {document['u_from']}")
        for words, name in (("minimum zone", "minimum_zone"), ("least squares", "least_squares")):
            print(f"{f'u of {words}':<24}{document[f'{name}_u_mm']:>12.6f} mm   U (k = 2) "
                  f"{document[f'{name}_U_mm']:.6f} mm")  # fmt: skip
    if "verdict" in document:
        print(f"{'largest allowed':<24}{document['max_mm']:>12.6f} mm   {document['verdict']}")
    ends = document["clean_up"]
    print(f"{'smallest clean-up cut':<24}{document['clean_up_mm']:>12.6f} mm   from point "
          f"{ends['highest']} down to point {ends['lowest']}")  # fmt: skip
    if not document["lines"]:
        print("No edge or diagonal has three points: nothing to lay a straightedge on.")
        return
    print(f"\n{'line':<26}{'points':>8}{'straightedge':>16}{'straightness':>16}"
          f"{f'in any {window}' if window else '':>18}")  # fmt: skip
    for row in document["lines"]:
        tail = ""
        if window:
            size = row["any_length_mm"]
            tail = "too few points" if size is None else f"{size:.6f} mm"
        print(f"{row['line']:<26}{len(row['points']):>8}{row['straightedge_mm']:>13.6f} mm"
              f"{row['straightness_mm']:>13.6f} mm{tail:>18}")  # fmt: skip
