"""How many slips are caught, and how many correct readings are asked about.

    python benchmarks/slip_figures.py [--heads N] [--seed S]

Each slip is put into the readings of N simulated heads (tests/slip_maker.py and its neighbour;
docs/slips.md states the distributions). Thresholds and heads were written by the same hands, so the
figures say how the rules do on heads of that kind, not on every head. The tables are those of
docs/slips.md. Intervals: Clopper and Pearson, 95 %.
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Final

from scipy.stats import binomtest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

import slip_maker as one
import slip_maker_series as more
from slip_maker import SIZES, Caught, Head, make_head

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

SEED: Final = 20_261_101
EXACTLY: Final = (50.0, 50.000001)
OR_MORE: Final = (50.0, 500.0)
LEFT: Final = dict(zip(SIZES, (24, 24, 7, 12), strict=True))
"""Readings that still come after the display froze or the mode was changed, at least."""
FACE: Final = "face height"
ALL: Final = "all four sizes"


@dataclass
class Row:
    """A slip: how it is made, on which heads, and what has to be reached."""

    slip: str
    of: str
    names: tuple[str, ...]
    make: Callable[[Head], Caught]
    heads: str = "first round"
    target: float | None = None
    results: list[Caught] = field(default_factory=list)


def rows() -> Iterator[Row]:
    """List the slips."""
    for words, way in (
        ("shows inches, taken as mm", "inches as mm"),
        ("shows mm, taken as inches", "mm as inches"),
        ("changed, and told", "unit told"),
    ):
        make = partial(one.wrong_unit, way=way)
        yield Row(f"wrong unit: {words}", ALL, ("wrong unit",), make, target=99.5)
    yield Row("decimal shift", ALL, ("decimal shift",), one.decimal_shift, target=99)
    yield Row("sign", ALL, ("sign",), one.sign)
    yield Row("double send", ALL, ("double send",), one.double_send, target=99)
    yield from _zeros()
    for name in SIZES:
        make = partial(one.frozen, name=name, least_left=LEFT[name])
        yield Row("frozen display, or hold not told", name, ("frozen display",), make, target=99)
    for words, pick in (("largest", max), ("smallest", min)):
        for checks in (True, False):
            how = "checks done" if checks else "no checks"
            for name in SIZES:
                make = partial(more.extreme, name=name, pick=pick, least_left=LEFT[name],
                               checks=checks)  # fmt: skip
                yield Row(f"{words} size held and not told, {how}", name,
                          ("frozen display", "zero"), make)  # fmt: skip
    yield Row("kinds swapped, 0.021 to 0.050 mm apart", "stem diameter", ("wrong valve",), one.swap,
              "kinds 0.021 to 0.050 mm apart", target=90)  # fmt: skip
    for heads, words in (("first round", ""), ("second round", ", with the round before")):
        for name in SIZES:
            make = partial(more.neighbour, name=name)
            yield Row(f"next valve of the kind{words}", name, ("wrong valve", "last round"), make,
                      heads)  # fmt: skip
    sheet = more.with_others()
    for name in more.OTHERS:
        make = partial(more.other_characteristic, name=name, sheet=sheet)
        yield Row("another characteristic", name, ("wrong characteristic",), make)
    yield Row("wrong unit: shows inches, taken as mm", FACE, ("wrong unit",),
              partial(more.one_in_inches, name=FACE), "face")  # fmt: skip
    yield Row(
        "decimal shift", FACE, ("decimal shift",), partial(more.one_decimal, name=FACE), "face"
    )
    yield Row("sign", FACE, ("sign",), partial(more.one_sign, name=FACE), "face")
    yield Row("base slipped, 0.05 mm", FACE, ("implausible",),
              partial(more.jumped, name=FACE, offset=EXACTLY), "face")  # fmt: skip
    yield Row("frozen display, or hold not told", FACE, ("frozen display",),
              partial(one.frozen, name=FACE, least_left=7), "face")  # fmt: skip


def _zeros() -> Iterator[Row]:
    for words, from_start in (("forgotten", True), ("changed in mid-series", False)):
        for size, offset in (("0.05 mm", EXACTLY), ("0.05 to 0.50 mm", OR_MORE)):
            for how, slip, heads in (
                ("checks done", more.checked_zero, "first round"),
                ("no checks", one.zero, "first round"),
                ("no checks, with the round before", one.zero, "second round"),
            ):
                for name in SIZES:
                    make = partial(slip, name=name, offset=offset, from_start=from_start)
                    aim = 95 if from_start and how == "checks done" else None
                    slip_words = f"zero {words}, {size}, {how}"
                    yield Row(slip_words, name, ("zero", "last round"), make, heads, aim)


def share(count: int, of: int, places: int = 1) -> str:
    """Write a share with its 95 % interval."""
    ends = binomtest(count, of).proportion_ci(0.95, "exact")
    low, high = (f"{100 * end:.{places}f}" for end in (ends.low, ends.high))
    return f"{100 * count / of:.{places}f} % | {low} to {high}"


def line(row: Row, false: dict[tuple[str, str], tuple[int, int]]) -> str:
    """Write a line of the table."""
    caught = [item for item in row.results if item is not None]
    named = sum(item[1].code in row.names for item in caught)
    asked, readings = false[row.heads, row.of]
    count = len(row.results)
    target = "" if row.target is None else f"{row.target:g} %"
    met = "" if row.target is None else "yes" if 100 * len(caught) >= row.target * count else "no"
    return (
        f"| {row.slip} | {row.of} | {count} | {share(len(caught), count)} "
        f"| {100 * named / count:.1f} % | {100 * asked / readings:.3f} % | {target} | {met} |"
    )


def together(found: list[Row]) -> Iterator[Row]:
    """Go through the rows; after the last of a slip at the four sizes, all four together."""
    for number, row in enumerate(found):
        yield row
        four = found[max(0, number - 3) : number + 1]
        if [item.of for item in four] == list(SIZES) and len({item.slip for item in four}) == 1:
            results = [item for each in four for item in each.results]
            yield Row(row.slip, ALL, row.names, row.make, row.heads, row.target, results)


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--heads", type=int, default=2000, help="heads for each slip")
    parser.add_argument("--seed", type=int, default=SEED)
    args = parser.parse_args()
    found = list(rows())
    asked: dict[tuple[str, str], int] = defaultdict(int)
    readings: dict[tuple[str, str], int] = defaultdict(int)
    checks: dict[str, int] = dict.fromkeys(SIZES, 0)
    for number in range(args.heads):
        plain = make_head(args.seed, number)
        heads = {
            "first round": plain,
            "second round": more.second_round(plain),
            "kinds 0.021 to 0.050 mm apart": make_head(
                args.seed, number, thinner_um=21 + number % 30, names=["stem diameter"]
            ),
            "face": make_head(args.seed, number, names=[FACE]),
        }
        for kind, head in heads.items():
            for name, series in head.series.items():
                for key in (name, ALL) if len(head.series) > 1 else (name,):
                    asked[kind, key] += head.false[name]
                    readings[kind, key] += len(series)
        for name in SIZES:
            checks[name] += sum(
                more.check(plain, name, when, 0.0) is not None for when in ("before", "after")
            )
        for row in found:
            row.results.append(row.make(heads[row.heads]))
    false = {key: (asked[key], readings[key]) for key in readings}
    print(f"Seed {args.seed}; {args.heads} heads for each slip.\n")
    print("| slip | of | cases | asked about | 95 % interval | by its name | false alarms "
          "| target | met |")  # fmt: skip
    print("|---|---|---|---|---|---|---|---|---|")
    for row in together(found):
        print(line(row, false))
    print("\n| correct readings | of | readings | asked about | 95 % interval | target | met |")
    print("|---|---|---|---|---|---|---|")
    for (kind, name), (count, of) in false.items():
        met = "yes" if count * 100 < of else "no"
        print(f"| {kind} | {name} | {of} | {share(count, of, 3)} | under 1 % | {met} |")
    for name, count in checks.items():
        met = "yes" if count * 100 < 2 * args.heads else "no"
        print(f"| zero checks | {name} | {2 * args.heads} | {share(count, 2 * args.heads, 3)} "
              f"| under 1 % | {met} |")  # fmt: skip


if __name__ == "__main__":
    main()
