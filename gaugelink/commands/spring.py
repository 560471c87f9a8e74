"""Reckon a valve spring, or a nest of several: loads at heights, solid height, room, shims.

The file is TOML; every amount is a text with its unit ("2.0 mm", "0.037 in", "79.3 GPa", "60 lbf").
By shape: wire_diameter, mean_diameter (or outer_diameter), active_coils, total_coils,
shear_modulus, free_length; ends = "ground" (the default) or "squared". Or by its rate: rate
("20.5 N/mm", "117 lbf/in") and free_length. Or by what a tester read: measured = [["39.6 mm",
"362 N"], ...], two heights or more; a progressive spring needs more. solid_height where it was
measured.
Then: heights, lift, installed_height (default: the greatest of heights), height_change;
nominal_height and shims = ["0.015 in", ...], most_shims; retainer_to_seal; least_bind_margin and
least_seal_margin, where the book gives them. What the load may be: [[limit]] tables with height,
least, most, and u, the load's standard uncertainty; 1.645 of it are kept from the limit.
A nest has its springs in [[spring]] tables, each with a name, the keys of a spring by itself, and
step, how much shorter than the nest it stands (below 0: longer). All other keys come before them
and hold for the nest; limits for the sum of the loads.

Exit status: 0 done; 1 a spring goes solid or loose, a margin is too small, or a load is outside
its limit or undecided; 2 the file is bad.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gaugelink.content import read_text

if TYPE_CHECKING:
    import argparse


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("file", metavar="FILE.toml", help="the spring, or the springs of a nest")


def run(args: argparse.Namespace) -> int:
    """Reckon one spring, or one nest.

    Raises:
        InputError: the file is bad, or tells too little.
    """
    from gaugelink.commands.spring_file import document as reckon  # noqa: PLC0415

    document = reckon(read_text(Path(args.file)), args.file)
    if args.json:
        print(json.dumps(document))
    else:
        _print(document)
    held = all(limit["verdict"] == "within" for limit in document["limits"])
    return 1 if document["problems"] or not held else 0


def _print(document: dict[str, Any]) -> None:
    springs = document.get("springs", [])
    if springs:
        print(f"a nest of {len(springs)}, installed at {document['installed_mm']:g} mm")
    print(f"{'rate':<28}{document['rate_n_per_mm']:>10.3f} N/mm")
    by_shape = document.get("rate_by_shape_n_per_mm")
    if by_shape is not None and by_shape != document["rate_n_per_mm"]:
        print(f"{'rate by its shape':<28}{by_shape:>10.3f} N/mm")
    if document.get("progressive"):
        rates = ", ".join(f"{rate:.3f}" for rate in document["rates_n_per_mm"])
        print(f"progressive: {rates} N/mm, from the greatest height down")
    print(f"{'free length':<28}{document['free_mm']:>10.3f} mm")
    for height, load in zip(document["heights_mm"], document["loads"], strict=True):
        print(f"{f'load at {height:g} mm':<28}{load:>10.2f} N")
    first = " and ".join(document.get("binds_first", []))
    for name, key, unit in (("load change", "load_change_n", "N"),
                            ("solid height", "solid_mm", "mm"),
                            ("room before coils touch", "bind_margin_mm", "mm"),
                            ("room above the seal", "seal_margin_mm", "mm")):  # fmt: skip
        if document[key] is not None:
            tail = f"   {first} first" if first and key == "bind_margin_mm" else ""
            print(f"{name:<28}{document[key]:>10.3f} {unit}{tail}")
    unknown = [one["name"] for one in springs if one["solid_mm"] is None]
    if unknown:
        names = ", ".join(unknown)
        print(f"{'room before coils touch':<28}{'not known':>10}: no solid height of {names}")
    shims = document["shims"]
    if shims:
        chosen = " + ".join(f"{shim:g}" for shim in shims["chosen_mm"]) or "none"
        print(f"shims for {shims['needed_mm']:.3f} mm: {chosen}; height "
              f"{shims['height_mm']:.3f} mm, load {shims['load_n']:.2f} N")  # fmt: skip
    for limit in document["limits"]:
        ends = [f"{words} {limit[key]:.2f}" for words, key in (("from", "least_n"),
                                                              ("up to", "most_n"))
                if limit[key] is not None]  # fmt: skip
        at = f"limit at {limit['height_mm']:g} mm"
        print(f"{at:<28}{limit['load_n']:>10.2f} N   {' '.join(ends)} N: {limit['verdict']}")
    if springs:
        _print_members(springs, document["heights_mm"])
    for words in document["problems"]:
        print(f"! {words}")


def _print_members(springs: list[dict[str, Any]], heights: list[float]) -> None:
    """Print the springs of a nest, a line each, and what each carries at the nest's heights."""
    wide = max(len(one["name"]) for one in springs) + 2
    titles = ["rate, N/mm", "free, mm", "solid, mm", "room, mm",
              *(f"N at {height:g}" for height in heights)]  # fmt: skip
    print(f"\n{'':<{wide}}" + "".join(f"{title:>13}" for title in titles))
    for one in springs:
        cells = [(one[key], 3) for key in ("rate_n_per_mm", "free_mm", "solid_mm",
                                           "bind_margin_mm")]  # fmt: skip
        cells += [(load, 2) for load in one["loads"]]
        row = (f"{'-' if value is None else format(value, f'.{places}f'):>13}"
               for value, places in cells)  # fmt: skip
        print(f"{one['name']:<{wide}}" + "".join(row))
