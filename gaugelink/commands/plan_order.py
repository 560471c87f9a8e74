"""Write the work order of a plan as files: tables for a spreadsheet, a sheet of paper."""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING, Final

from gaugelink.planning.order import told
from gaugelink.planning.setting import readable
from gaugelink.quantity import rounded_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from gaugelink.planning.order import Again, WorkLine, WorkOrder

ORDER_HEADER: Final = (
    "line", "section", "operation", "valve", "what to do", "why", "depth mm", "least mm", "most mm",
    "should measure afterwards", "part", "quantity", "caution", "actual depth mm", "done by",
)  # fmt: skip
PARTS_HEADER: Final = ("part", "kind", "quantity", "valves", "price each", "currency", "note")

_NUMBER: Final = re.compile(r"[+-]?\d+(\.\d+)?", re.ASCII)
_FORMULA: Final = tuple("=+-@\uff1d\uff0b\uff0d\uff20\u2212")
"""What a spreadsheet may take for the start of a formula, full-width forms and minus included."""


def cell(value: object) -> str:
    r"""Write one cell so that no spreadsheet takes it for a formula: an apostrophe goes before it.

    Plain decimal numbers stay. Line ends and other control characters become spaces.

    >>> cell("=1+1"), cell("\t@x"), cell("-0.5"), cell("2I")
    ("'=1+1", "'@x", '-0.5', '2I')
    """
    text = " ".join("".join(one if one.isprintable() else " " for one in str(value)).split())
    return f"'{text}" if text.startswith(_FORMULA) and not _NUMBER.fullmatch(text) else text


def order_csv(order: WorkOrder) -> str:
    """Write the order as a table: its lines, and what is measured again where its turn comes."""
    first = [one for one in order.remeasure if one.before_seats]
    last = [one for one in order.remeasure if not one.before_seats]
    guides = [line for line in order.lines if line.section == "guides"]
    rows = [
        *map(_line, guides),
        *(_measure(one, "guides", ", before any seat work") for one in first),
        *(_line(line) for line in order.lines if line.section != "guides"),
        *(_measure(one, "measure again") for one in last),
    ]
    return _table(ORDER_HEADER, rows)


def _line(line: WorkLine) -> Sequence[object]:
    depths: list[str] = ["", "", ""]
    if line.setting:
        depths = [rounded_text(pm, "mm", 3) for pm in readable(line.setting)]
    elif line.about_pm:
        depths[0] = rounded_text(line.about_pm, "mm", 3)
    return (line.number, line.section, line.operation, line.place or "face", line.words, line.why,
            *depths, told(line.expected), line.part, line.quantity or "", line.caution,
            "", "")  # fmt: skip


def _measure(one: Again, section: str, when: str = "") -> Sequence[object]:
    return ("", section, "", one.place or "head", f"Measure {one.characteristic}{when}",
            one.because, "", "", "", one.expected.words, "", "", "", "", "")  # fmt: skip


def parts_csv(order: WorkOrder) -> str:
    """Write the parts list as a table."""
    return _table(PARTS_HEADER, [
        (one.part, one.kind, one.quantity, ", ".join(one.places),
         f"{one.cents_each / 100:.2f}" if one.cents_each else "", order.currency, one.note)
        for one in order.parts
    ])  # fmt: skip


def _table(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    made = io.StringIO(newline="")
    writer = csv.writer(made, lineterminator="\r\n")  # as RFC 4180, clause 2
    writer.writerow(header)
    writer.writerows([cell(value) for value in row] for row in rows)
    return made.getvalue()


def write_files(
    made: WorkOrder, *, order: Path | None, parts: Path | None, pdf: Path | None,
    invented: bool = False,
) -> None:  # fmt: skip
    """Write what was asked for, everything made before the first file is written.

    Args:
        made: the work order.
        order: a table (CSV, UTF-8 with a mark at the start, so that spreadsheets know it).
        parts: the same of the parts.
        pdf: the sheet for the bench.
        invented: the job is for show; marked on the sheet.

    Raises:
        InputError: a file cannot be written.
        RecordError: the sheet could not be set as pages.
    """
    from gaugelink.report.order import order_pdf  # noqa: PLC0415
    from gaugelink.report.whole import write_all  # noqa: PLC0415

    ready: list[tuple[bytes, Path]] = []
    if order is not None:
        ready.append((order_csv(made).encode("utf-8-sig"), order))
    if parts is not None:
        ready.append((parts_csv(made).encode("utf-8-sig"), parts))
    if pdf is not None:
        ready.append((order_pdf(made.as_document(), invented=invented), pdf))
    write_all(ready)
