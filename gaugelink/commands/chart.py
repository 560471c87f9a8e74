"""Tell whether what is measured is steady: control charts, and capability where limits are given.

Columns: subgroup, value; rows in order of time; and unit (mm or in; mm where it is absent).
Individuals take one reading a subgroup, the others 2 to 25, the same number in each. With --lower
or --upper the capability is told too.

Exit status: 0 steady; 1 something happened that chance alone seldom does; 2 the file is bad.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gaugelink.errors import InputError
from gaugelink.quantity import PM_PER, is_length_unit, parse_length
from gaugelink.tablefile import read_table

if TYPE_CHECKING:
    import argparse

    from gaugelink.metrology.charts import Chart
    from gaugelink.quantity import LengthUnit


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("file", metavar="FILE", help="readings (CSV: subgroup,value)")
    parser.add_argument("--kind", required=True, choices=["individuals", "xbar-r", "xbar-s"],
                        help="single readings with moving ranges; means with ranges, or with "
                        "standard deviations")  # fmt: skip
    parser.add_argument("--constants", choices=["exact", "rounded"], default="exact",
                        help="factors as computed, or of three places, as printed")  # fmt: skip
    parser.add_argument("--lower", metavar="LENGTH", help="lower limit, for example 7.96mm")
    parser.add_argument("--upper", metavar="LENGTH", help="upper limit")
    parser.add_argument("--plot", metavar="FILE.html", help="write the charts, to look at offline")


def run(args: argparse.Namespace) -> int:
    """Draw up the charts of one file.

    Raises:
        InputError: the file or an argument is bad.
    """
    from gaugelink.metrology.charts import chart  # noqa: PLC0415
    from gaugelink.metrology.counts import counts_of  # noqa: PLC0415

    rows = read_table(Path(args.file), required=("subgroup", "value"), optional=("unit",))
    unit = rows[0]["unit"] or "mm"
    for row in rows:
        here = row["unit"] or "mm"
        if not is_length_unit(here) or here != unit:
            raise row.fault("unit", f"found {here!r}, accepted: mm or in, the same in every row")
        if not row["subgroup"]:
            raise row.fault("subgroup", "the cell is empty; accepted: a name or a number")
        try:
            counts_of([row["value"]])
        except InputError as fault:
            raise row.fault("value", fault.what) from None
    assert is_length_unit(unit)
    ends = [_limit(getattr(args, name), f"--{name}", unit) for name in ("lower", "upper")]
    counts = counts_of(row["value"] for row in rows)
    groups: dict[str, list[int]] = {}
    for row, value in zip(rows, counts.values, strict=True):
        groups.setdefault(row["subgroup"], []).append(value)
    try:
        found = chart([*groups.values()], args.kind, rounded=args.constants == "rounded")
        document = _document(found, [*groups], args.kind, unit, 10**counts.places)
        if any(end is not None for end in ends):
            document["capability"] = _capability(found, counts.values, ends, 10**counts.places)
    except ValueError as fault:
        raise InputError(str(fault), file=args.file) from None
    if args.plot:
        from gaugelink.commands.chart_plot import write  # noqa: PLC0415

        write(Path(args.plot), document, ends)
    if args.json:
        print(json.dumps(document))
    else:
        _print(document)
    return 1 if found.signals else 0


def _limit(text: str | None, field: str, unit: LengthUnit) -> float | None:
    if text is None:
        return None
    try:
        return parse_length(text).pm / PM_PER[unit]
    except InputError as fault:
        raise InputError(fault.what, field=field) from None


def _document(found: Chart, names: list[str], kind: str, unit: str, scale: int) -> dict[str, Any]:
    first = len(found.values) - len(found.spreads)
    return {
        "kind": kind,
        "unit": unit,
        "center": found.location.center / scale,
        "lower": found.location.lower / scale,
        "upper": found.location.upper / scale,
        "spread_center": found.spread.center / scale,
        "spread_lower": found.spread.lower / scale,
        "spread_upper": found.spread.upper / scale,
        "sigma": found.sigma / scale,
        "signals": [
            {"subgroup": names[one.at], "chart": one.on, "what": one.words}
            for one in found.signals
        ],
        "points": [
            {"subgroup": name, "value": value / scale,
             "spread": found.spreads[at - first] / scale if at >= first else None}
            for at, (name, value) in enumerate(zip(names, found.values, strict=True))
        ],
    }  # fmt: skip


def _capability(
    found: Chart, values: tuple[int, ...], ends: list[float | None], scale: int
) -> dict[str, Any]:
    from gaugelink.metrology.capability import capability  # noqa: PLC0415
    from gaugelink.metrology.counts import sum_of_squares  # noqa: PLC0415

    lower, upper = ends
    count = len(values)
    mean = sum(values) / count / scale
    overall = float(sum_of_squares(values) / (count - 1)) ** 0.5 / scale
    steady = capability(mean, found.sigma / scale, found.df, count, lower, upper)
    whole = capability(mean, overall, count - 1, count, lower, upper)
    return {
        "cp": steady.width, "cp_95_percent": steady.width_ends,
        "cpk": steady.nearer, "cpk_95_percent": steady.nearer_ends,
        "pp": whole.width, "pp_95_percent": whole.width_ends,
        "ppk": whole.nearer, "ppk_95_percent": whole.nearer_ends,
    }  # fmt: skip


def _print(document: dict[str, Any]) -> None:
    unit = document["unit"]
    print(f"{'':<10}{'lower':>14}{'centre':>14}{'upper':>14}  {unit}")
    for words, mark in (("values", ""), ("spread", "spread_")):
        row = [document[f"{mark}{name}"] for name in ("lower", "center", "upper")]
        print(f"{words:<10}" + "".join(f"{value:>14.7g}" for value in row))
    print(f"Standard deviation of single readings: {document['sigma']:.6g} {unit}")
    for name, value in document.get("capability", {}).items():
        if value is not None and not name.endswith("percent"):
            low, high = document["capability"][f"{name}_95_percent"]
            print(f"{name.capitalize():<4}{value:>8.3f}  (95 %: {low:.3f} to {high:.3f})")
    if not document["signals"]:
        print("Nothing that chance alone would not do: it is steady.")
    for signal in document["signals"]:
        print(f"Subgroup {signal['subgroup']}: {signal['what']} (chart of {signal['chart']})")
