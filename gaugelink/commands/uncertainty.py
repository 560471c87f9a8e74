"""Draw up an uncertainty budget from a file of inputs and a formula.

The file is TOML; docs/uncertainty.md explains every key. With --monte-carlo the result is also had
by drawing lots, which needs no straight-line approximation; it is told where the formula bends so
much within the uncertainties that the budget alone is not enough.

Exit status: 0 done; 2 the file is bad.
"""

from __future__ import annotations

import json
import sys
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from gaugelink.content import read_text
from gaugelink.errors import InputError

if TYPE_CHECKING:
    import argparse

    from gaugelink.budgetfile import BudgetFile
    from gaugelink.metrology.budget import Budget
    from gaugelink.metrology.montecarlo import Drawn

FEWEST: Final = 10_000
MOST: Final = 100_000_000
SHAPES: Final = {"normal": "normal", "rectangular": "rect.", "triangular": "triang.",
                 "u-shaped": "u-shaped"}  # fmt: skip
LEFT: Final = (0, 3, 5)
"""Columns of the table that hold words."""


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("file", metavar="BUDGET.toml", nargs="?",
                        help="inputs, correlations and formula")  # fmt: skip
    parser.add_argument("--ready", metavar="KIND",
                        help="print a ready-made budget, such as stem or clearance")  # fmt: skip
    parser.add_argument("--bench", metavar="BENCH.toml",
                        help="with --ready: with this bench's gauges")  # fmt: skip
    parser.add_argument("--coverage", type=float, metavar="P",
                        help="coverage of U (default: the file's; 0.95)")  # fmt: skip
    parser.add_argument("--dof", choices=["cut", "as-is"], default="cut",
                        help="k at degrees of freedom cut to whole ones, or as they are (JCGM "
                        "100:2008, G.4.1 leaves the choice)")  # fmt: skip
    parser.add_argument("--monte-carlo", metavar="N",
                        help="draw so many results too, for example 1000000; auto: until two "
                        "digits of u hold")  # fmt: skip
    parser.add_argument("--seed", type=int, default=1, metavar="N",
                        help="the same seed draws the same results")  # fmt: skip
    parser.add_argument("--plot", metavar="FILE.html", help="write the plots, to look at offline")


def run(args: argparse.Namespace) -> int:
    """Draw up one budget.

    Raises:
        InputError: the file or an argument is bad.
    """
    from gaugelink.budgetfile import load_budget  # noqa: PLC0415
    from gaugelink.metrology.budget import budget  # noqa: PLC0415

    if args.ready is not None:
        return _ready(args)
    if args.file is None:
        raise InputError("found no file, accepted: one, or --ready", field="BUDGET.toml")
    if args.bench is not None:
        raise InputError("found it, accepted: with --ready only", field="--bench")
    loaded = load_budget(read_text(Path(args.file)), args.file)
    coverage = loaded.coverage if args.coverage is None else args.coverage
    if not 0 < coverage < 1:
        raise InputError(f"found {coverage:g}, accepted: between 0 and 1", field="--coverage")
    drawn = None
    try:
        found = budget(loaded.formula, loaded.inputs, loaded.correlations)
        if args.monte_carlo is not None:
            drawn = _draw(args, loaded, coverage)
    except ValueError as fault:
        raise InputError(str(fault), file=args.file) from None
    document = _document(found, loaded, coverage, drawn, cut=args.dof == "cut")
    if args.plot:
        from gaugelink.commands.uncertainty_plot import write  # noqa: PLC0415

        write(Path(args.plot), document, drawn, loaded.scale)
    if args.json:
        print(json.dumps(document))
    else:
        _print(document)
    return 0


def _ready(args: argparse.Namespace) -> int:
    from gaugelink.metrology.ready import READY, Own, ready_text  # noqa: PLC0415

    if args.file is not None or args.json:
        raise InputError("found more, accepted: alone, or with --bench", field="--ready")
    if args.ready not in READY:
        what = f"found {args.ready!r}, accepted: {', '.join(READY)}"
        raise InputError(what, field="--ready")
    register = None
    if args.bench is not None:
        from gaugelink.commands.register import coarsest  # noqa: PLC0415

        register = {kind: Own(gauge.id, gauge.u_pm, gauge.repeatability_pm)
                    for kind, gauge in coarsest(args.bench).items()}  # fmt: skip
    print(ready_text(args.ready, register), end="")
    return 0


def _draw(args: argparse.Namespace, loaded: BudgetFile, coverage: float) -> Drawn:
    from gaugelink.metrology.montecarlo import draw, draw_until_settled  # noqa: PLC0415

    auto = args.monte_carlo == "auto"
    trials = (
        int(args.monte_carlo) if args.monte_carlo.isascii() and args.monte_carlo.isdigit() else 0
    )
    if not auto and not FEWEST <= trials <= MOST:
        what = f"found {args.monte_carlo!r}, accepted: auto, or {FEWEST} to {MOST}"
        raise InputError(what, field="--monte-carlo")
    if args.seed < 0:
        raise InputError(f"found {args.seed}, accepted: 0 or more", field="--seed")
    shown = sys.stderr.isatty()

    def progress(done: int) -> None:
        if shown:
            how = f"{done} drawn" if auto else f"{100 * done // trials:3d} % drawn"
            print(f"\r{how}", end="", file=sys.stderr)

    model = (loaded.formula, loaded.inputs, loaded.correlations)
    if auto:
        found = draw_until_settled(*model, finer=5, coverage=coverage, seed=args.seed,
                                   progress=progress)  # fmt: skip
    else:
        found = draw(*model, trials=trials, coverage=coverage, seed=args.seed, progress=progress)
    if shown:
        print("\r                   \r", end="", file=sys.stderr)
    return found


def _document(
    found: Budget, loaded: BudgetFile, coverage: float, drawn: Drawn | None, *, cut: bool
) -> dict[str, Any]:
    scale = loaded.scale
    k = found.coverage_factor(coverage, cut=cut)
    used = {str(symbol) for symbol in loaded.formula.free_symbols}
    rows = []
    for row in found.rows:
        own, unit = loaded.scales[row.quantity.name]
        rows.append({
            "name": row.quantity.name, "unit": unit,
            "value": row.quantity.value / own, "u": row.quantity.u / own,
            "dof": row.quantity.dof if isfinite(row.quantity.dof) else None,
            "distribution": row.quantity.distribution,
            "sensitivity": row.sensitivity * own / scale,
            "contribution": abs(row.u) / scale, "percent": 100 * row.share,
            "unused": row.quantity.name not in used,
        })  # fmt: skip
    document: dict[str, Any] = {
        "value": found.value / scale,
        "u": found.u / scale,
        "dof": found.dof if isfinite(found.dof) else None,
        "k": k,
        "U": k * found.u / scale,
        "coverage": coverage,
        "unit": loaded.unit,
        "u_second_order": found.u_second / scale,
        "bends": found.curved,
        "budget": rows,
    }
    if drawn is not None:
        document["monte_carlo"] = _drawn(drawn, document, scale)
    return document


def _drawn(drawn: Drawn, document: dict[str, Any], scale: float) -> dict[str, Any]:
    """Tell what was drawn, and whether the budget's interval is as good (JCGM 101:2008, 8.1)."""
    from gaugelink.metrology.montecarlo import numerical_tolerance  # noqa: PLC0415

    ends = [end / scale for end in drawn.symmetric]
    budget = [document["value"] - document["U"], document["value"] + document["U"]]
    tolerance = numerical_tolerance(document["u"])
    apart = [abs(one - other) for one, other in zip(budget, ends, strict=True)]
    return {
        "trials": drawn.trials, "settled": drawn.settled, "value": drawn.value / scale,
        "u": drawn.u / scale if isfinite(drawn.u) else None,
        "symmetric": ends, "shortest": [end / scale for end in drawn.shortest],
        "budget_off": apart, "tolerance": tolerance, "budget_holds": max(apart) <= tolerance,
    }  # fmt: skip


def _print(document: dict[str, Any]) -> None:
    unit = document["unit"]
    rows = [["input", "value", "u", "unit", "dof", "shape", "sensitivity",
             f"u, {unit}" if unit else "part of u", "share"]]  # fmt: skip
    rows += [
        [row["name"], f"{row['value']:.9g}", f"{row['u']:.4g}", row["unit"],
         "" if row["dof"] is None else f"{row['dof']:.3g}", SHAPES[row["distribution"]],
         f"{row['sensitivity']:.5g}", f"{row['contribution']:.4g}", f"{row['percent']:.1f}%"]
        for row in document["budget"]
    ]  # fmt: skip
    columns = [
        [cell.ljust(size) if at in LEFT else cell.rjust(size) for cell in column]
        for at, column in enumerate(zip(*rows, strict=True))
        if any(column[1:]) and (size := max(map(len, column)))  # no column with nothing in it
    ]
    for row in zip(*columns, strict=True):
        print("  ".join(row).rstrip())
    dof = "" if document["dof"] is None else f", {document['dof']:.1f} degrees of freedom"
    print(f"\nResult {document['value']:.9g} {unit}, u = {document['u']:.4g} {unit}{dof}")
    print(f"U = {document['U']:.4g} {unit} (k = {document['k']:.3f}, "
          f"{100 * document['coverage']:g} %)")  # fmt: skip
    if unused := [row["name"] for row in document["budget"] if row["unused"]]:
        print(f"Not in the formula, and so without effect: {', '.join(unused)}.")
    if drawn := document.get("monte_carlo"):
        _print_drawn(drawn, document)
    elif document["bends"]:
        second = document["u_second_order"]
        print(f"The formula bends within the uncertainties: with the terms of second order u is "
              f"{second:.4g} {unit}. Use --monte-carlo auto.")  # fmt: skip


def _print_drawn(drawn: dict[str, Any], document: dict[str, Any]) -> None:
    unit = document["unit"]
    low, high = drawn["symmetric"]
    print(f"Drawn {drawn['trials']} times: {drawn['value']:.9g} {unit}"
          + (f", u = {drawn['u']:.4g} {unit}" if drawn["u"] is not None else "")
          + f"\n{100 * document['coverage']:g} % from {low:.9g} to {high:.9g} {unit}")  # fmt: skip
    if drawn["u"] is None:
        print("No u is told of what was drawn: an input with two degrees of freedom or fewer has "
              "none.\nTake more readings of it.")  # fmt: skip
    if drawn["settled"] is False:
        print(f"Two digits of u do not hold yet after {drawn['trials']} drawn.")
    off, tolerance = max(drawn["budget_off"]), drawn["tolerance"]
    if drawn["budget_holds"]:
        print(f"The budget's interval is as good: its ends are off by {off:.2g} {unit}, and "
              f"{tolerance:.2g} may be.")  # fmt: skip
    else:
        print(f"Take the interval that was drawn: the budget's is off by {off:.2g} {unit}, more "
              f"than {tolerance:.2g}.")  # fmt: skip
    if document["bends"]:
        print(f"The formula bends within the uncertainties: with the terms of second order u is "
              f"{document['u_second_order']:.4g} {unit}.")  # fmt: skip
