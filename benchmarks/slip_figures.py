"""How many slips are caught, and how many correct readings are asked about.

    python benchmarks/slip_figures.py [--heads N] [--seed S]

Each slip is put into the readings of N simulated heads (tests/slip_maker.py; docs/slips.md states
the distributions). Thresholds and heads were written by the same hands, so the figures say how the
rules do on heads of that kind, not on every head. The table is that of docs/slips.md.
"""

from __future__ import annotations

import argparse
import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Final

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from slip_maker import (
    SIZES,
    Caught,
    Head,
    decimal_shift,
    double_send,
    frozen,
    make_head,
    sign,
    swap,
    wrong_unit,
    zero,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

SEED: Final = 20_261_101
EXACTLY: Final = (50.0, 50.000001)
LEFT: Final = dict(zip(SIZES, (24, 24, 7, 12), strict=True))
"""Readings that still come after the display froze, at least."""


def rows() -> list[tuple[str, str, Callable[[Head], Caught]]]:
    """List the slips that are put into ordinary heads: what it is, its name, how it is made."""
    found: list[tuple[str, str, Callable[[Head], Caught]]] = [
        ("wrong unit: shows inches, taken as mm", "wrong unit", _unit("inches as mm")),
        ("wrong unit: shows mm, taken as inches", "wrong unit", _unit("mm as inches")),
        ("wrong unit: changed, and told", "wrong unit", _unit("unit told")),
        ("decimal shift", "decimal shift", decimal_shift),
        ("sign", "sign", sign),
        ("double send", "double send", double_send),
    ]
    for name in SIZES:
        for words, from_start in (("forgotten", True), ("changed in mid-series", False)):
            for size, offset in (("0.05 mm", EXACTLY), ("0.05 to 0.50 mm", (50.0, 500.0))):
                made = partial(zero, name=name, offset=offset, from_start=from_start)
                found.append((f"zero {words}, {size}: {name}", "zero", made))
    for name in SIZES:
        made = partial(frozen, name=name, least_left=LEFT[name])
        found.append((f"frozen display: {name}", "frozen display", made))
    return found


def _unit(way: str) -> Callable[[Head], Caught]:
    return partial(wrong_unit, way=way)


def line(words: str, code: str, results: Sequence[Caught]) -> str:
    """Write a line of the table."""
    caught = [item for item in results if item is not None]
    named = sum(item[1].code == code for item in caught)
    after = sorted(item[0] for item in caught)
    middle = str(1 + after[len(after) // 2]) if after else "-"
    count = len(results)
    return (
        f"| {words} | {count} | {100 * len(caught) / count:.2f} % "
        f"| {100 * named / count:.1f} % | {middle} |"
    )


def false_line(words: str, heads: Sequence[Head]) -> str:
    """Write how many correct readings were asked about."""
    asked = sum(sum(head.false.values()) for head in heads)
    readings = sum(len(series) for head in heads for series in head.series.values())
    return f"| {words} | {len(heads)} | {readings} | {asked} | {100 * asked / readings:.3f} % |"


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--heads", type=int, default=2000, help="heads for each slip")
    parser.add_argument("--seed", type=int, default=SEED)
    args = parser.parse_args()
    print(f"Seed {args.seed}; {args.heads} heads for each slip.\n")
    results: dict[str, list[Caught]] = {words: [] for words, _, _ in rows()}
    heads = []
    for number in range(args.heads):
        head = make_head(args.seed, number)
        heads.append(head)
        for words, _, slip in rows():
            results[words].append(slip(head))
    apart = [
        make_head(args.seed, number, thinner_um=21 + number % 30, names=["stem diameter"])
        for number in range(args.heads)
    ]
    swapped = [swap(head) for head in apart]
    print("| slip | heads | asked about | by its name | first at reading (median) |")
    print("|---|---|---|---|---|")
    for words, code, _ in rows():
        print(line(words, code, results[words]))
    print(line("intake and exhaust stem swapped, 0.021 to 0.050 mm apart", "wrong valve", swapped))
    print("\n| correct readings | heads | readings | asked about | share |")
    print("|---|---|---|---|---|")
    print(false_line("all sizes", heads))
    print(false_line("stems, kinds 0.021 to 0.050 mm apart", apart))


if __name__ == "__main__":
    main()
