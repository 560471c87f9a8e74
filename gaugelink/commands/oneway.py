"""Tell whether groups of readings differ by more than they scatter (one-way analysis of variance).

Columns: group, value. The groups may be of any size. Values are read as exact decimals, and no sum
of squares is rounded.

Exit status: 0 done; 2 the file is bad, or cannot be analysed.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from gaugelink.errors import InputError
from gaugelink.tablefile import read_table

if TYPE_CHECKING:
    import argparse

    from gaugelink.metrology.oneway import OneWay


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("file", metavar="FILE", help="readings (CSV: group,value)")


def run(args: argparse.Namespace) -> int:
    """Analyse one file.

    Raises:
        InputError: the file is bad, or has too few groups or readings, or no scatter.
    """
    from gaugelink.metrology.counts import Counts, counts_of  # noqa: PLC0415
    from gaugelink.metrology.oneway import oneway  # noqa: PLC0415

    rows = read_table(Path(args.file), required=("group", "value"))
    for row in rows:
        if not row["group"]:
            raise row.fault("group", "the cell is empty; accepted: the name of the group")
        try:
            counts_of([row["value"]])
        except InputError as fault:
            raise row.fault("value", fault.what) from None
    counts: Counts = counts_of(row["value"] for row in rows)
    groups: dict[str, list[int]] = {}
    for row, value in zip(rows, counts.values, strict=True):
        groups.setdefault(row["group"], []).append(value)
    try:
        table = oneway([*groups.values()])
    except ValueError as fault:
        raise InputError(str(fault), file=args.file) from None
    if args.json:
        square = counts.step**2
        print(json.dumps({
            "ss_between": float(table.ss_between * square),
            "ss_within": float(table.ss_within * square),
            "df_between": table.df_between,
            "df_within": table.df_within,
            "f": float(table.f),
            "p": table.p,
        }))  # fmt: skip
    else:
        _print(table, float(counts.step))
    return 0


def _print(table: OneWay, step: float) -> None:
    print(f"{'':<10}{'df':>5}{'sum of squares':>18}{'mean square':>18}{'F':>12}{'p':>10}")
    rows = (
        ("between", table.df_between, table.ss_between, table.ms_between),
        ("within", table.df_within, table.ss_within, table.ms_within),
    )
    for name, df, ss, ms in rows:
        tail = f"{float(table.f):>12.4g}{table.p:>10.4f}" if name == "between" else ""
        print(f"{name:<10}{df:>5}{float(ss) * step**2:>18.9g}{float(ms) * step**2:>18.9g}{tail}")
    if table.p < 0.05:
        words = "the groups differ by more than their scatter explains"
    else:
        words = "their scatter is enough to explain that the groups differ"
    print(
        f"\nAt 5 % {words}. Standard deviation within: {float(table.ms_within) ** 0.5 * step:.6g}"
    )
    between = float(table.variance_between) ** 0.5 * step
    print(f"Standard deviation between, the scatter taken off: {between:.6g}")
