"""Reckon a valve spring: rate, loads at heights, solid height, room to spare, shims.

The file is TOML; every amount is a text with its unit ("2.0 mm", "0.037 in", "79.3 GPa", "60 lbf").
By shape: wire_diameter, mean_diameter (or outer_diameter), active_coils, total_coils,
shear_modulus, free_length; ends = "ground" (the default) or "squared". Or by what a tester read:
measured = [["39.6 mm", "362 N"], ...], two heights or more; a progressive spring needs more.
Then: heights, lift, installed_height (default: the greatest of heights), height_change;
nominal_height and shims = ["0.015 in", ...], most_shims; retainer_to_seal; solid_height where it
was measured; least_bind_margin and least_seal_margin, where the book gives them.

Exit status: 0 done; 1 the spring goes solid, or a margin is too small; 2 the file is bad.
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
    parser.add_argument("file", metavar="FILE.toml", help="the spring")


def run(args: argparse.Namespace) -> int:
    """Reckon one spring.

    Raises:
        InputError: the file is bad, or tells too little.
    """
    from gaugelink.commands.spring_file import SpringReader  # noqa: PLC0415

    document = SpringReader(read_text(Path(args.file)), args.file).document()
    if args.json:
        print(json.dumps(document))
    else:
        _print(document)
    return 1 if document["problems"] else 0


def _print(document: dict[str, Any]) -> None:
    print(f"{'rate':<28}{document['rate_n_per_mm']:>10.3f} N/mm")
    by_shape = document["rate_by_shape_n_per_mm"]
    if by_shape is not None and by_shape != document["rate_n_per_mm"]:
        print(f"{'rate by its shape':<28}{by_shape:>10.3f} N/mm")
    if document["progressive"]:
        rates = ", ".join(f"{rate:.3f}" for rate in document["rates_n_per_mm"])
        print(f"progressive: {rates} N/mm, from the greatest height down")
    print(f"{'free length':<28}{document['free_mm']:>10.3f} mm")
    for height, load in zip(document["heights_mm"], document["loads"], strict=True):
        print(f"{f'load at {height:g} mm':<28}{load:>10.2f} N")
    for name, key, unit in (("load change", "load_change_n", "N"),
                            ("solid height", "solid_mm", "mm"),
                            ("room before coils touch", "bind_margin_mm", "mm"),
                            ("room above the seal", "seal_margin_mm", "mm")):  # fmt: skip
        if document[key] is not None:
            print(f"{name:<28}{document[key]:>10.3f} {unit}")
    shims = document["shims"]
    if shims:
        chosen = " + ".join(f"{shim:g}" for shim in shims["chosen_mm"]) or "none"
        print(f"shims for {shims['needed_mm']:.3f} mm: {chosen}; height "
              f"{shims['height_mm']:.3f} mm, load {shims['load_n']:.2f} N")  # fmt: skip
    for words in document["problems"]:
        print(f"! {words}")
