"""Check a limit sheet: units held against each other, order of the bounds, names and places.

Figures of an unusual order of magnitude are told too; they do not change the exit status.

Exit status: 0 the sheet can be used; 1 printed pairs disagree and nobody has resolved them; 2 the
sheet has errors. With --json every error is listed, not only the first.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from gaugelink.content import read_text
from gaugelink.errors import InputError

if TYPE_CHECKING:
    import argparse

    from gaugelink.sheetfile import Checked


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("action", choices=["check", "gauges"],
                        help="check the sheet, or hold a bench's gauges against it")  # fmt: skip
    parser.add_argument("file", metavar="FILE", help="a limit sheet (TOML)")
    parser.add_argument("--bench", metavar="BENCH.toml", help="with gauges: the bench file")


def run(args: argparse.Namespace) -> int:
    """Check one sheet.

    Raises:
        InputError: the sheet has errors: the first of them, and how many more there are. With
            ``--json`` the document that lists them all is printed before.
    """
    from gaugelink.sheetfile import check  # noqa: PLC0415  pydantic is slow to start

    if args.action == "gauges":
        return _gauges(args)
    if args.bench is not None:
        raise InputError("found it, accepted: with gauges only", field="--bench")
    found = check(read_text(Path(args.file)), args.file)
    if args.json:
        print(json.dumps(_document(found), ensure_ascii=False))
    if found.errors:
        raise _first(found.errors)
    if not args.json:
        _print(found)
    return 1 if any(not item.resolved for item in found.disagreements) else 0


def _gauges(args: argparse.Namespace) -> int:
    """Hold the gauges of a bench against a sheet."""
    from gaugelink import benchfile, sheetfile  # noqa: PLC0415
    from gaugelink.fitness import WORDS, fitness  # noqa: PLC0415
    from gaugelink.quantity import micrometres_text  # noqa: PLC0415

    if args.bench is None:
        raise InputError("missing; accepted: a bench file", field="--bench")
    sheet = sheetfile.load(read_text(Path(args.file)), args.file)
    bench = benchfile.load(read_text(Path(args.bench)), args.bench)
    found = fitness(sheet, [placed.gauge for placed in bench.gauges])
    if args.json:
        print(json.dumps({"limits": [
            {
                "line": one.limit.line, "characteristic": one.limit.characteristic,
                "limit": one.limit.words, "word": one.word, "missing": list(one.missing),
                "u_um": one.u_pm / 1e6, "room_um": one.room_pm / 1e6, "ratio": one.ratio,
                "left": one.left,
            }
            for one in found
        ]}, ensure_ascii=False))  # fmt: skip
    else:
        for one in found:
            words = WORDS[one.word]
            if one.missing:
                words += f" ({', '.join(one.missing)})"
            name = one.limit.characteristic
            if one.limit.method:
                name += f" ({one.limit.method})"
            print(f"{name}, {one.limit.words}: {words}")
            if one.ratio is not None and one.left is not None:
                u, room = micrometres_text(one.u_pm), micrometres_text(one.room_pm)
                print(f"    u {u} um in a room of {room} um, {one.ratio:.1f} times 2 U; "
                      f"{100 * one.left:.0f} % of it is within")  # fmt: skip
    return 1 if any(one.word in {"cannot", "no gauge"} for one in found) else 0


def _first(errors: list[InputError]) -> InputError:
    first, more = errors[0], len(errors) - 1
    if not more:
        return first
    what = f"{first.what} (and {more} more; --json lists them all)"
    return InputError(what, file=first.file, line=first.line, field=first.field)


def _document(found: Checked) -> dict[str, object]:
    document: dict[str, object] = {
        "limits": found.limits,
        "disagreements": [
            {"line": item.line, "field": item.field, "what": item.words, "resolved": item.resolved}
            for item in found.disagreements
        ],
        "warnings": [
            {"line": item.line, "field": item.field, "what": item.what} for item in found.warnings
        ],
        "errors": [
            {"line": item.line, "field": item.field, "what": item.what} for item in found.errors
        ],
    }
    if found.sheet is not None and found.sheet.changes:
        document["stale"] = [
            {"operation": item.operation, "added": list(item.added), "removed": list(item.removed),
             "reason": item.reason}
            for item in found.sheet.changes
        ]  # fmt: skip
    return document


def _print(found: Checked) -> None:
    for item in found.disagreements:
        state = "resolved" if item.resolved else "to be resolved"
        print(f"line {item.line}, {item.field} ({state}): {item.words}")
    for doubt in found.warnings:
        print(f"{doubt.file}, line {doubt.line}, {doubt.field} (unusual): {doubt.what}")
    assert found.sheet is not None
    sheet = found.sheet
    count = f"{found.limits} limit{'' if found.limits == 1 else 's'}"
    print(f"{sheet.name}, edition {sheet.edition}: {count}.")
    for change in sheet.changes:
        told = [f"{', '.join(names)} {words}" for names, words in (
            (change.added, "too"), (change.removed, "not")) if names]  # fmt: skip
        print(f"Measured again after {change.operation}: {'; '.join(told)} ({change.reason}).")
    open_pairs = sum(not item.resolved for item in found.disagreements)
    print("It can be used." if not open_pairs else "It cannot be used before that is resolved.")
