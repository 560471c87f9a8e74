"""Print which published values are held, and to how many digits.

    python benchmarks/held_values.py [FOLDER]

FOLDER holds the published values (default: ../shared/checks, seen from the project's folder). The
two tables are those in docs/calculations.md. A new row is given by a function of `held_statistics`,
`held_length`, `held_form` or `held_whole`; the published figures of fits stand in tests/.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path
from typing import Final

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

import held_form
import held_length
import held_statistics
import held_whole
from held_kit import Values

FOLDER: Final = Path(__file__).resolve().parents[2] / "shared" / "checks"


def tables(folder: Path) -> tuple[list[str], list[str]]:
    """Give the rows of both tables, without their heads."""
    values = Values(folder)
    by_digits = [
        f"| {what} | {source} | {math.floor(reached + 1e-9)} |"
        for part in (*held_statistics.PARTS, *held_length.PARTS, *held_form.PARTS)
        for what, source, reached in part(values)
    ]
    whole = [
        f"| {what} | {source} | {right} of {of} |"
        for part in held_whole.PARTS
        for what, source, right, of in part(values)
    ]
    return by_digits, whole


def main() -> None:
    """Print the tables."""
    by_digits, whole = tables(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
    print("| what | source | digits |\n|---|---|---|", *by_digits, sep="\n")
    print("\n| what | source | held |\n|---|---|---|", *whole, sep="\n")


if __name__ == "__main__":
    main()
