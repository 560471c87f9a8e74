"""What a study says of a sheet's limits: can this gauge, in these hands, judge them?

The room of a limit and the words are those of `gaugelink.fitness`; in the place of the gauge's
standard uncertainty stands what the study found, repeatability and reproducibility together. A
study knows no bias and no master, so it can only say that a gauge is too coarse, or that its
scatter is no hindrance.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from gaugelink.content import read_text
from gaugelink.errors import InputError
from gaugelink.fitness import WORDS, fitness, kinds_of
from gaugelink.head import CHARACTERISTICS
from gaugelink.reading import Gauge


def limits_document(
    sheet_file: str, characteristic: str | None, rr_pm: float
) -> list[dict[str, Any]]:
    """Hold the standard deviation of measuring against each limit of a characteristic.

    Args:
        sheet_file: the limit sheet.
        characteristic: what the parts of the study were measured for.
        rr_pm: repeatability and reproducibility together, picometres.

    Raises:
        InputError: a bad sheet, no such characteristic in it, or one that takes several gauges.
    """
    from gaugelink import sheetfile  # noqa: PLC0415

    sheet = sheetfile.load(read_text(Path(sheet_file)), sheet_file)
    known = list(dict.fromkeys(limit.characteristic for limit in sheet.limits))
    if characteristic not in known:
        found = "none" if characteristic is None else repr(characteristic)
        what = f"found {found}, accepted: one that the sheet limits: {', '.join(known)}"
        raise InputError(what, field="--characteristic")
    kind = CHARACTERISTICS[characteristic].gauge
    gauge = Gauge("", kind, "", "", "", round(rr_pm), "")
    rows = []
    for one in fitness(sheet, [gauge]):
        if one.limit.characteristic != characteristic or kinds_of(one.limit) != [kind]:
            continue
        rows.append({
            "line": one.limit.line, "limit": one.limit.words, "word": one.word,
            "room_um": one.room_pm / 1e6, "u_um": one.u_pm / 1e6,
            "percent_of_room": 600 * one.u_pm / one.room_pm if one.room_pm else None,
            "left": one.left,
        })  # fmt: skip
    if not rows:
        what = (
            f"found {characteristic!r}, which is reckoned from several readings; accepted: others"
        )
        raise InputError(what, field="--characteristic")
    return rows


def tell(characteristic: str, rows: list[dict[str, Any]]) -> None:
    """Print the rows for people."""
    print(f"\nWith this scatter, {characteristic}:")
    for row in rows:
        print(f"{row['limit']}: {WORDS[row['word']]}")
        if row["percent_of_room"] is not None:
            took, room = row["percent_of_room"], row["room_um"]
            print(f"    six of it take {took:.0f} % of a room of {room:.1f} um; "
                  f"{100 * row['left']:.0f} % of it is within")  # fmt: skip
    print("The scatter alone: bias and master come on top (--master, gaugelink sheet gauges).")
