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
from typing import TYPE_CHECKING, Any

from gaugelink.content import read_text
from gaugelink.errors import InputError

if TYPE_CHECKING:
    import argparse

    from gaugelink.budgetfile import BudgetFile
    from gaugelink.metrology.budget import Budget
    from gaugelink.metrology.montecarlo import Drawn


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
    parser.add_argument("--monte-carlo", type=int, metavar="N",
                        help="draw so many results too, for example 1000000")  # fmt: skip
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
    document = _document(found, loaded, coverage, drawn)
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
    from gaugelink.metrology.montecarlo import draw  # noqa: PLC0415

    if not 10_000 <= args.monte_carlo <= 100_000_000:
        what = f"found {args.monte_carlo}, accepted: 10000 to 100000000"
        raise InputError(what, field="--monte-carlo")
    shown = sys.stderr.isatty()

    def progress(done: int) -> None:
        if shown:
            print(f"\r{100 * done // args.monte_carlo:3d} % drawn", end="", file=sys.stderr)

    found = draw(loaded.formula, loaded.inputs, loaded.correlations, trials=args.monte_carlo,
                 coverage=coverage, seed=args.seed, progress=progress)  # fmt: skip
    if shown:
        print("\r           \r", end="", file=sys.stderr)
    return found


def _document(
    found: Budget, loaded: BudgetFile, coverage: float, drawn: Drawn | None
) -> dict[str, Any]:
    scale = loaded.scale
    k = found.coverage_factor(coverage)
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
        })  # fmt: skip
    document: dict[str, Any] = {
        "value": found.value / scale,
        "u": found.u / scale,
        "dof": found.dof if isfinite(found.dof) else None,
        "k": k,
        "U": k * found.u / scale,
        "coverage": coverage,
        "unit": loaded.unit,
        "u_second_order": None if found.u_second is None else found.u_second / scale,
        "bends": found.curved,
        "budget": rows,
    }
    if drawn is not None:
        document["monte_carlo"] = {
            "trials": drawn.trials, "value": drawn.value / scale, "u": drawn.u / scale,
            "symmetric": [end / scale for end in drawn.symmetric],
            "shortest": [end / scale for end in drawn.shortest],
        }  # fmt: skip
    return document


def _print(document: dict[str, Any]) -> None:
    unit = document["unit"]
    print(f"{'input':<16}{'value':>16}{'u':>13} {'':<6}{'dof':>6}  {'distribution':<12}"
          f"{'sensitivity':>13}{'contribution':>14}{'share':>8}")  # fmt: skip
    for row in document["budget"]:
        dof = "" if row["dof"] is None else f"{row['dof']:.3g}"
        print(f"{row['name']:<16}{row['value']:>16.9g}{row['u']:>13.4g} {row['unit']:<6}{dof:>6}  "
              f"{row['distribution']:<12}{row['sensitivity']:>13.5g}{row['contribution']:>14.4g}"
              f"{row['percent']:>7.1f}%")  # fmt: skip
    dof = "" if document["dof"] is None else f", {document['dof']:.1f} degrees of freedom"
    print(f"\nResult {document['value']:.9g} {unit}, u = {document['u']:.4g} {unit}{dof}")
    print(f"U = {document['U']:.4g} {unit} (k = {document['k']:.3f}, "
          f"{100 * document['coverage']:g} %)")  # fmt: skip
    if drawn := document.get("monte_carlo"):
        low, high = drawn["symmetric"]
        print(f"Drawn {drawn['trials']} times: {drawn['value']:.9g} {unit}, u = {drawn['u']:.4g} "
              f"{unit}, {100 * document['coverage']:g} % from {low:.9g} to {high:.9g}")  # fmt: skip
    if document["bends"]:
        second = document["u_second_order"]
        print(f"The formula bends within the uncertainties: with the terms of second order u is "
              f"{second:.4g} {unit}. Use --monte-carlo.")  # fmt: skip
