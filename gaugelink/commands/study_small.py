"""The studies that one person does, as `gaugelink study` reads and tells them."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Any

from gaugelink.commands.lengths import length_above_0, length_at, length_from_0
from gaugelink.errors import InputError
from gaugelink.metrology.counts import counts_of
from gaugelink.metrology.study_small import ENOUGH, FEW, on_master, one_person
from gaugelink.quantity import PM_PER, is_length_unit
from gaugelink.tablefile import read_table

if TYPE_CHECKING:
    from pathlib import Path

    from gaugelink.metrology.counts import Counts
    from gaugelink.quantity import LengthUnit
    from gaugelink.tablefile import Row


def one_person_document(path: Path, tolerance: str | None, spread: float = 6) -> dict[str, Any]:
    """Analyse a file of parts that one person measured.

    Raises:
        InputError: a bad file, or one that cannot be analysed.
    """
    rows = read_table(path, required=("part", "value"), optional=("operator", "trial", "unit"))
    names = {row["operator"] for row in rows}
    if len(names) > 1:
        what = f"found {len(names)} operators, accepted with --one-person: one"
        raise InputError(what, file=str(path), field="operator")
    counts, unit = _values(rows)
    parts: dict[str, list[int]] = {}
    for row, value in zip(rows, counts.values, strict=True):
        if not row["part"]:
            raise row.fault("part", "the cell is empty; accepted: a name or a number")
        parts.setdefault(row["part"], []).append(value)
    try:
        found = one_person([*parts.values()])
    except ValueError as fault:
        raise InputError(str(fault), file=str(path)) from None
    step = float(counts.step)
    total = (found.repeatability**2 + found.part**2) ** 0.5
    sd = {"repeatability": found.repeatability * step, "part": found.part * step,
          "total": total * step}  # fmt: skip
    wide = length_above_0(tolerance, "--tolerance") / PM_PER[unit] if tolerance else None
    return {
        "method": "one person", "unit": unit, "parts": len(parts), "sd": sd,
        "sd_95_percent": {"repeatability": [end * step for end in found.repeatability_ends]},
        "percent_of_total": {name: 100 * value / sd["total"] for name, value in sd.items()},
        "spread": spread,
        "percent_of_tolerance": (
            {name: 100 * spread * value / wide for name, value in sd.items()} if wide else None
        ),
    }  # fmt: skip


def master_document(
    path: Path, master: str, u_master: str, tolerance: str | None
) -> dict[str, Any]:
    """Analyse readings of a master.

    Raises:
        InputError: a bad file or argument.
    """
    rows = read_table(path, required=("value",), optional=("part", "operator", "trial", "unit"))
    counts, unit = _values(rows)
    per_count = Fraction(PM_PER[unit], 10**counts.places)
    size = Fraction(length_at(master, "--master").pm) / per_count
    u = length_from_0(u_master, "--u-master") / per_count
    wide = length_above_0(tolerance, "--tolerance") / per_count if tolerance else None
    try:
        found = on_master(counts.values, size, float(u), None if wide is None else float(wide))
    except ValueError as fault:
        raise InputError(str(fault), file=str(path)) from None
    step = float(counts.step)
    return {
        "method": "master", "unit": unit, "readings": len(rows), "bias": found.bias * step,
        "bias_p": found.bias_p, "sd": {"repeatability": found.sd * step},
        "tolerance_over_scatter": found.width, "with_bias": found.nearer, "enough": ENOUGH,
        "can_judge": found.can,
    }  # fmt: skip


def tell(document: dict[str, Any]) -> None:
    """Print a document for people."""
    unit = document["unit"]
    scatter = document["sd"]["repeatability"]
    if document["method"] == "one person":
        low, high = document["sd_95_percent"]["repeatability"]
        print(f"{document['parts']} parts by one person")
        print(f"Repeatability {scatter:.5g} {unit} (95 %: {low:.5g} to {high:.5g}), parts "
              f"{document['sd']['part']:.5g} {unit}")  # fmt: skip
        if share := document["percent_of_tolerance"]:
            print(f"{document['spread']:g} standard deviations take "
                  f"{share['repeatability']:.1f} % of the tolerance.")  # fmt: skip
        print("What differs between people is not in it: that takes a study with two or more.")
        return
    print(f"{document['readings']} readings of the master")
    word = "is real (p below 5 %)" if document["bias_p"] < 0.05 else "may be chance"
    print(f"Bias {document['bias']:+.5g} {unit}, p = {document['bias_p']:.3f}: it {word}.")
    print(f"Standard deviation {scatter:.5g} {unit}")
    if document["can_judge"] is not None:
        word = "can" if document["can_judge"] else "cannot"
        width, nearer = document["tolerance_over_scatter"], document["with_bias"]
        print(f"Tolerance over scatter {width:.2f}, with the bias {nearer:.2f}; {ENOUGH} is "
              f"enough: the gauge {word} judge this.")  # fmt: skip
    if document["readings"] < FEW:
        print(f"Fewer than {FEW} readings: take more before you rely on it.")


def _values(rows: list[Row]) -> tuple[Counts, LengthUnit]:
    unit = rows[0]["unit"] or "mm"
    for row in rows:
        here = row["unit"] or "mm"
        if not is_length_unit(here) or here != unit:
            raise row.fault("unit", f"found {here!r}, accepted: mm or in, the same in every row")
        try:
            counts_of([row["value"]])
        except InputError as fault:
            raise row.fault("value", fault.what) from None
    assert is_length_unit(unit)
    return counts_of(row["value"] for row in rows), unit
