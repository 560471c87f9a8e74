"""Hold readings from a CSV file against a limit sheet.

Columns: valve, characteristic, station, direction, value, unit; and, where they are known, method
(rock or direct), lift, valve_used (new or own), figure (clearance or travel) and u, the standard
uncertainty in the row's unit. A guide clearance that states no method is taken by the sheet's
method where the sheet has only one for that valve, and is left unjudged otherwise.

Exit status: 0 everything is within; 1 something is outside, undecided or left unjudged; 2 a file is
bad.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Final, cast

from gaugelink.content import read_text
from gaugelink.errors import InputError
from gaugelink.tablefile import Row, read_table

if TYPE_CHECKING:
    import argparse

    from gaugelink.head import Direction, Method
    from gaugelink.judging import Judgement, Measured
    from gaugelink.limits import Figure, Sheet

REQUIRED: Final = ("valve", "characteristic", "station", "direction", "value", "unit")
OPTIONAL: Final = ("method", "lift", "valve_used", "figure", "u")


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("sheet", metavar="SHEET", help="a limit sheet (TOML)")
    parser.add_argument("readings", metavar="READINGS.csv", help="the readings")


def run(args: argparse.Namespace) -> int:
    """Judge the readings of a file.

    Raises:
        InputError: sheet or readings are bad.
    """
    from gaugelink.judging import judge  # noqa: PLC0415  pydantic and numpy are slow to start
    from gaugelink.sheetfile import load  # noqa: PLC0415

    sheet = load(read_text(Path(args.sheet)), args.sheet)
    found = judge(sheet, readings_of(args.readings, sheet))
    if args.json:
        print(json.dumps(_document(found), ensure_ascii=False))
    else:
        _print(found)
    counts = found.counts()
    return 1 if counts["outside"] or counts["undecided"] or found.unused else 0


def readings_of(file: str, sheet: Sheet) -> list[Measured]:
    """Read a file of readings.

    Raises:
        InputError: it cannot be read, or a row does not fit the sheet's head.
    """
    rows = read_table(Path(file), required=REQUIRED, optional=OPTIONAL)
    return [_measured(row, sheet) for row in rows]


def _measured(row: Row, sheet: Sheet) -> Measured:
    from gaugelink.head import CHARACTERISTICS  # noqa: PLC0415
    from gaugelink.judging import Measured  # noqa: PLC0415
    from gaugelink.quantity import parse_length  # noqa: PLC0415

    valve, characteristic = row["valve"].upper(), row["characteristic"]
    what = CHARACTERISTICS.get(characteristic)
    if what is None:
        row.one_of("characteristic", list(CHARACTERISTICS))
        raise AssertionError
    if what.of == "valve":
        names = [item.name for item in sheet.head.valves()]
        if valve not in names:
            raise row.fault(
                "valve", f"found {row['valve']!r}, accepted on this head: {', '.join(names)}"
            )
    elif valve not in {"", "HEAD", "-"}:
        raise row.fault("valve", f"found {row['valve']!r}; {characteristic} has no valve")
    unit = row.one_of("unit", ["mm", "in"])
    try:
        value = parse_length(row["value"], "mm" if unit == "mm" else "in")
    except InputError as fault:
        raise row.fault("value", fault.what) from None
    return Measured(
        valve if what.of == "valve" else "",
        characteristic,
        row["station"],
        cast("Direction", row.one_of("direction", ["along", "across"], empty=True)),
        value.pm,
        value.text,
        value.unit,
        _length(row, "u", value.unit),
        row.line,
        cast("Method", row.one_of("method", ["rock", "direct"], empty=True)),
        _length(row, "lift"),
        row.one_of("valve_used", ["new", "own"], empty=True),
        cast("Figure", row.one_of("figure", ["clearance", "travel"], empty=True) or "clearance"),
    )


def _length(row: Row, column: str, unit: str | None = None) -> int | None:
    from gaugelink.quantity import is_length_unit, parse_length  # noqa: PLC0415

    if not row[column]:
        return None
    try:
        given = unit if unit is not None and is_length_unit(unit) else None
        length = parse_length(row[column], given)
    except InputError as fault:
        raise row.fault(column, fault.what) from None
    if length.pm < 0:
        raise row.fault(column, f"found {row[column]!r}, accepted: a length not below 0")
    return length.pm


def _document(found: Judgement) -> dict[str, object]:
    return {
        "verdicts": [
            {
                "valve": item.valve,
                "characteristic": item.characteristic,
                "method": item.method,
                "value": item.text,
                "unit": item.unit,
                "verdict": item.verdict,
                "limit": item.limit,
                "source": item.source,
                "reason": item.reason,
                "probability": item.probability,
                "lines": list(item.places),
            }
            for item in found.verdicts
        ],
        "counts": found.counts(),
        "unjudged": [
            {"line": item.place, "valve": item.valve, "characteristic": item.characteristic}
            for item in found.unused
        ],
        "not_measured": [
            {
                "valve": item.valve,
                "characteristic": item.characteristic,
                "method": item.method,
                "missing": item.why,
            }
            for item in found.missing
        ],
    }


def _print(found: Judgement) -> None:
    from rich.console import Console  # noqa: PLC0415
    from rich.table import Table  # noqa: PLC0415

    table = Table(box=None, header_style="bold", pad_edge=False)
    for title, side in (("valve", "left"), ("characteristic", "left"), ("value", "right"),
                        ("", "left"), ("verdict", "left"), ("limit", "left"),
                        ("reason", "left")):  # fmt: skip
        table.add_column(title, justify="right" if side == "right" else "left")
    for item in found.verdicts:
        name = " by ".join(part for part in (item.characteristic, item.method) if part)
        table.add_row(item.valve or "head", name, item.text, item.unit, item.verdict,
                      item.limit, item.reason)  # fmt: skip
    console = Console(highlight=False, markup=False)
    console.print(table)
    counts = found.counts()
    console.print(", ".join(f"{count} {word}" for word, count in counts.items()))
    for left in found.unused:
        console.print(
            f"line {left.place}: {left.valve or 'head'} {left.characteristic} is not judged: no "
            "limit of the sheet uses it as it stands (station, direction, method, lift, figure), "
            "or what it belongs with was not measured"
        )
    owners: dict[str, list[str]] = {}
    for gap in found.missing:
        name = " by ".join(part for part in (gap.characteristic, gap.method) if part)
        words = f"{name} ({gap.why})" if gap.why else name
        owners.setdefault(words, []).append(gap.valve or "head")
    for words, valves in owners.items():
        console.print(f"not measured: {words} of {', '.join(valves)}")
