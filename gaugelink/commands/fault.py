"""Tell whether the valve or the guide is at fault where a guide clearance is over its limit.

The files are those of `gaugelink judge`: a limit sheet, and readings (CSV: valve, characteristic,
station, direction, value, unit; method, lift, valve_used, figure, u). Probabilities need
uncertainties: a row's own u, else --u-stem or --u-bore, else that of the gauge in the bench file.
Which ways there are to tell, and what the answers mean, stands in docs/attribution.md.

Exit status: 0 no clearance is over its limit; 1 one is, or may be; 2 a file is bad.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gaugelink.commands.judge import readings_of, register_of, with_u
from gaugelink.commands.lengths import length_above_0
from gaugelink.content import read_text

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterable

    from gaugelink.judging import Measured
    from gaugelink.planning.attribution import Finding


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    add = parser.add_argument
    add("sheet", metavar="SHEET", help="a limit sheet (TOML)")
    add("readings", metavar="READINGS.csv", help="the readings")
    add("--u-stem", metavar="LENGTH",
        help="standard uncertainty of stem diameters whose row has no u, for example "
        "0.0019mm")  # fmt: skip
    add("--u-bore", metavar="LENGTH", help="that of guide bores")
    add("--bench", metavar="BENCH.toml", help="the bench file of the gauges")


def run(args: argparse.Namespace) -> int:
    """Attribute the clearances of a file.

    Raises:
        InputError: sheet, readings or an argument are bad.
    """
    known = {
        name: length_above_0(text, field)
        for name, text, field in (("stem diameter", args.u_stem, "--u-stem"),
                                  ("guide bore", args.u_bore, "--u-bore"))
        if text is not None
    }  # fmt: skip
    from gaugelink.judging import judge  # noqa: PLC0415  pydantic and numpy are slow to start
    from gaugelink.planning.attribution import attributions  # noqa: PLC0415
    from gaugelink.sheetfile import load  # noqa: PLC0415

    sheet = load(read_text(Path(args.sheet)), args.sheet)
    measured = list(_with_u(readings_of(args.readings, sheet), known))
    if args.bench is not None:
        register = register_of(args.bench, measured)
        measured = [with_u(row, register) for row in measured]
    found = attributions(sheet, measured, judge(sheet, measured).verdicts)
    if args.json:
        print(json.dumps({"faults": [_document(one) for one in found]}, ensure_ascii=False))
    else:
        _print(found)
    return 1 if found else 0


def _with_u(rows: Iterable[Measured], known: dict[str, int]) -> Iterable[Measured]:
    """Give rows that state no uncertainty the one that an argument states."""
    for row in rows:
        yield row if row.u_pm else replace(row, u_pm=known.get(row.characteristic, row.u_pm))


def _document(one: Finding) -> dict[str, Any]:
    item, answer = one.judged, one.answer
    return {
        "valve": item.valve,
        "method": item.method,
        "value": item.text,
        "unit": item.unit,
        "verdict": item.verdict,
        "limit": item.limit,
        "by": one.by,
        "answer": answer.word if answer else None,
        "probability": answer.right if answer else None,
        "probabilities": dict(answer.probabilities) if answer else None,
        "sure": one.sure,
        "words": one.words,
        "doubts": list(answer.doubts) if answer else [],
        "missing": list(one.missing),
        "lines": list(item.places),
    }


def _print(found: list[Finding]) -> None:
    if not found:
        print("No guide clearance is over its limit.")
    for one in found:
        item = one.judged
        by = f" (by {one.by})" if one.by else ""
        print(f"{item.valve}  {item.method} {item.text} {item.unit}, {item.limit}: {one.words}{by}")
        for remark in one.remarks:
            print(f"      {remark}")
