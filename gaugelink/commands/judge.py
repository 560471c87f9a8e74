"""Hold readings from a CSV file against a limit sheet.

Columns: valve, characteristic, station, direction, value, unit; and, where they are known, method
(rock or direct), lift, valve_used (new or own), figure (clearance or travel) and u, the standard
uncertainty in the row's unit. A guide clearance that states no method is taken by the sheet's
method where the sheet has only one for that valve, and is left unjudged otherwise. With --bench,
rows without u take that of the bench's gauge for them (of two of a kind the less certain one), and
of what is undecided it is said how many more readings would decide it, or which gauge.

Exit status: 0 everything is within; 1 something is outside, undecided or left unjudged; 2 a file is
bad.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final, cast

from gaugelink.content import read_text
from gaugelink.errors import InputError
from gaugelink.tablefile import Row, read_table

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from gaugelink.head import Direction, Method
    from gaugelink.judging import Judged, Judgement, Measured
    from gaugelink.limits import Figure, Sheet
    from gaugelink.planning.deciding import Decider, Register

REQUIRED: Final = ("valve", "characteristic", "station", "direction", "value", "unit")
OPTIONAL: Final = ("method", "lift", "valve_used", "figure", "u")


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("sheet", metavar="SHEET", help="a limit sheet (TOML)")
    parser.add_argument("readings", metavar="READINGS.csv", help="the readings")
    parser.add_argument("--bench", metavar="BENCH.toml", help="the bench file of the gauges")


def run(args: argparse.Namespace) -> int:
    """Judge the readings of a file.

    Raises:
        InputError: sheet, readings or bench file are bad.
    """
    from gaugelink.judging import judge  # noqa: PLC0415  pydantic and numpy are slow to start
    from gaugelink.sheetfile import load  # noqa: PLC0415

    sheet = load(read_text(Path(args.sheet)), args.sheet)
    measured = readings_of(args.readings, sheet)
    register = register_of(args.bench, measured) if args.bench is not None else None
    if register is not None:
        measured = [with_u(row, register) for row in measured]
    found = judge(sheet, measured)
    told = _deciders(sheet, found, register) if register is not None else []
    if args.json:
        document = _document(found)
        if register is not None:
            document["deciders"] = [_decider(one, found) for one in told]
        print(json.dumps(document, ensure_ascii=False))
    else:
        _print(found)
        for one in told:
            item = one.judged
            print(f"to decide {item.valve or 'head'} {_name(item)}: {one.words}")
    counts = found.counts()
    return 1 if counts["outside"] or counts["undecided"] or found.unused else 0


def register_of(file: str, measured: Sequence[Measured]) -> Register:
    """Read the gauges of a bench, and tell which measured what.

    Raises:
        InputError: the bench file is bad.
    """
    from gaugelink import benchfile  # noqa: PLC0415
    from gaugelink.head import CHARACTERISTICS  # noqa: PLC0415
    from gaugelink.planning.deciding import Register  # noqa: PLC0415

    gauges = [placed.gauge for placed in benchfile.load(read_text(Path(file)), file).gauges]
    coarsest = {gauge.kind: gauge for gauge in sorted(gauges, key=lambda one: one.u_pm)}
    taken_with = {}
    for row in measured:
        gauge = coarsest.get(CHARACTERISTICS[row.characteristic].gauge)
        if gauge is None or (row.characteristic == "guide clearance" and row.method != "rock"):
            continue  # nobody knows what a ready clearance was measured with
        if row.u_pm and row.method != "rock":
            gauge = replace(gauge, u_pm=row.u_pm)
        taken_with[row.place] = gauge
    return Register(gauges, taken_with)


def with_u(row: Measured, register: Register) -> Measured:
    """Give a reading that states no uncertainty that of its gauge; a rock's has more in it."""
    gauge = register.taken_with.get(row.place)
    if row.u_pm or gauge is None or row.characteristic == "guide clearance":
        return row
    return replace(row, u_pm=gauge.u_pm)


def _deciders(sheet: Sheet, found: Judgement, register: Register) -> list[Decider]:
    from gaugelink.planning.deciding import deciders  # noqa: PLC0415

    return deciders(sheet, found.verdicts, register)


def _decider(one: Decider, found: Judgement) -> dict[str, object]:
    return {
        "verdict": next(n for n, item in enumerate(found.verdicts) if item is one.judged),
        "valve": one.judged.valve,
        "characteristic": one.judged.characteristic,
        "method": one.judged.method,
        "more": one.more,
        "u_needed_um": one.u_needed_pm / 1e6,
        "gauges": list(one.gauges),
        "words": one.words,
    }


def _name(item: Judged) -> str:
    return " by ".join(part for part in (item.characteristic, item.method) if part)


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
        table.add_row(item.valve or "head", _name(item), item.text, item.unit, item.verdict,
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
