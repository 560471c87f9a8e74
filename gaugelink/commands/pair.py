"""Tell which used valve goes into which guide, so that most parts are saved.

A CSV file has a column valve and one for each guide with the cost of the pair; an empty cell is a
pair that is not allowed. A TOML file has the measured stems and bores, the clearance that is
allowed and whether the maker permits valves to change guides; docs/pairing.md explains its keys.

Exit status: 0 every valve has a guide, surely within; 1 one is left over, or undecided; 2 the file
is bad. A pairing is advice: the maker's manual decides whether valves may change guides at all.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gaugelink.content import read_text
from gaugelink.errors import InputError

if TYPE_CHECKING:
    import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("file", metavar="FILE", help="costs (.csv), or measured parts (.toml)")


def run(args: argparse.Namespace) -> int:
    """Pair the parts of one file.

    Raises:
        InputError: the file is bad.
    """
    measured = Path(args.file).suffix.lower() == ".toml"
    document = _of_parts(args.file) if measured else _of_costs(args.file)
    if args.json:
        print(json.dumps(document, ensure_ascii=False))
    else:
        _print(document)
    words = [one["word"] for one in document.get("details", [])]
    return 1 if document["unmatched"] or "undecided" in words else 0


def _of_costs(file: str) -> dict[str, Any]:
    from gaugelink.metrology.counts import counts_of  # noqa: PLC0415
    from gaugelink.planning.pairing import assign  # noqa: PLC0415
    from gaugelink.tablefile import read_table  # noqa: PLC0415

    rows = read_table(Path(file), required=("valve",), free=True)
    header = list(rows[0].cells)
    if header[0] != "valve" or len(header) < 2:
        what = f"found {', '.join(header)}, accepted: valve first, then a column for each guide"
        raise InputError(what, file=file, line=rows[0].line - 1, field="valve")
    guides = header[1:]
    for number, row in enumerate(rows):
        if not row["valve"] or row["valve"] in [other["valve"] for other in rows[:number]]:
            raise row.fault("valve", f"found {row['valve']!r}, accepted: a name, each once")
        for guide in guides:
            try:
                counts_of([row[guide] or "0"])
            except InputError as fault:
                raise row.fault(guide, fault.what) from None
    counts = counts_of(row[guide] or "0" for row in rows for guide in guides)
    values = iter(counts.values)
    costs = [[next(values) for _ in guides] for _ in rows]
    table = [[cost if row[guide] else None for cost, guide in zip(line, guides, strict=True)]
             for line, row in zip(costs, rows, strict=True)]  # fmt: skip
    try:
        found = assign(table)
    except ValueError as fault:
        raise InputError(str(fault), file=file) from None
    return {
        "pairs": [[rows[row]["valve"], guides[column]] for row, column in found.pairs],
        "unmatched": [rows[row]["valve"] for row in found.unmatched],
        "cost": found.cost / 10**counts.places,
    }


def _of_parts(file: str) -> dict[str, Any]:
    from gaugelink.pairfile import load_parts  # noqa: PLC0415
    from gaugelink.planning.pairing import pair  # noqa: PLC0415

    parts = load_parts(read_text(Path(file)), file)
    found = pair(parts.stems, parts.bores, parts.band)
    return {
        "pairs": [[one.stem.name, one.bore.name] for one in found.pairs],
        "unmatched": [stem.name for stem in found.spare],
        "cost": found.moves,
        "empty_guides": [bore.name for bore in found.empty],
        "details": [
            {
                "valve": one.stem.name, "guide": one.bore.name, "moved": one.moved,
                "tightest_mm": one.tightest_pm / 1e9, "widest_mm": one.widest_pm / 1e9,
                "word": one.word, "margin_mm": one.margin_pm / 1e9,
            }
            for one in found.pairs
        ],
    }  # fmt: skip


def _print(document: dict[str, Any]) -> None:
    details = {one["valve"]: one for one in document.get("details", [])}
    for valve, guide in document["pairs"]:
        one = details.get(valve)
        if one is None:
            print(f"{valve} into {guide}")
            continue
        verb = "moves to" if one["moved"] else "stays in"
        print(f"{valve} {verb} {guide}: clearance {one['tightest_mm']:.3f} to "
              f"{one['widest_mm']:.3f} mm, {one['word']}")  # fmt: skip
    for valve in document["unmatched"]:
        print(f"{valve}: no guide is left that it fits")
    for guide in document.get("empty_guides", []):
        print(f"Guide {guide}: none of these valves; it needs another one, or work")
    what = "Moves" if details else "Cost"
    print(f"{what}: {document['cost']:g}")
