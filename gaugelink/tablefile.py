"""CSV files that people bring: read with the line of every row kept for messages.

The separator may be a comma, a semicolon or a tab; the header decides. With a semicolon or tab the
decimal comma of the values is read as well. Lines that begin with ``#`` are remarks.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gaugelink.content import read_text
from gaugelink.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its cells by column, and where it stands."""

    cells: Mapping[str, str]
    file: str
    line: int

    def __getitem__(self, column: str) -> str:
        """The cell, with blanks around it removed; empty where the column does not exist."""
        return self.cells.get(column, "")

    def fault(self, column: str, what: str) -> InputError:
        """Make the error that names this row and column."""
        return InputError(what, file=self.file, line=self.line, field=column)

    def one_of(self, column: str, accepted: Sequence[str], *, empty: bool = False) -> str:
        """Give the cell if it is one of the accepted words.

        Raises:
            InputError: it is another word.
        """
        cell = self[column]
        if cell in accepted or (empty and not cell):
            return cell
        raise self.fault(column, f"found {cell!r}, accepted: {', '.join(accepted)}")


def read_table(
    path: Path, *, required: Sequence[str], optional: Sequence[str] = (), free: bool = False
) -> list[Row]:
    """Read a CSV file with a header line.

    Args:
        path: the file.
        required: columns that must be there.
        optional: columns that may be there; any other column is refused, so that a slip in a
            header is not read as "column absent".
        free: the file names further columns itself, such as one for each guide.

    Raises:
        InputError: unreadable, no header, a missing, unknown, unnamed or repeated column, a row
            that is too long or too short, or no rows at all.
    """
    file = str(path)
    text = read_text(path)
    lines = text.split("\n")  # splitlines() would also cut at form feeds and the like
    remark = [row.lstrip().startswith("#") or not row.strip() for row in lines]
    head_at = next((place for place, skip in enumerate(remark) if not skip), None)
    if head_at is None:
        raise InputError(f"the file is empty; needed: a header {','.join(required)}", file=file)
    separator = next((mark for mark in ("\t", ";") if mark in lines[head_at]), ",")
    header = _cells(lines[head_at], separator, file, head_at + 1)
    _check_header(header, required, None if free else optional, file, head_at + 1)
    rows = []
    for place in range(head_at + 1, len(lines)):
        if remark[place]:
            continue
        cells = _cells(lines[place], separator, file, place + 1)
        if len(cells) != len(header):
            raise InputError(
                f"found {len(cells)} cells, accepted: {len(header)}, as in the header",
                file=file,
                line=place + 1,
            )
        rows.append(Row(dict(zip(header, cells, strict=True)), file, place + 1))
    if not rows:
        raise InputError("there is a header but no row below it", file=file, line=head_at + 1)
    return rows


def _cells(row: str, separator: str, file: str, line: int) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([row], delimiter=separator, strict=True))]
    except csv.Error as fault:
        raise InputError(f"cannot be read as a row ({fault})", file=file, line=line) from None


def _check_header(
    header: list[str], required: Sequence[str], optional: Sequence[str] | None, file: str, line: int
) -> None:
    """Refuse a header; optional None: the file names further columns itself."""
    accepted = ", ".join([*required, *(["any other name"] if optional is None else optional)])
    if "" in header:
        number = header.index("") + 1
        what = f"found a column without a name, accepted: {accepted}"
        if number == len(header):
            what += "; or take the separator at the end of each line away"
        raise InputError(
            what,
            file=file,
            line=line,
            field=f"column {number}",
        )
    for name in required:
        if name not in header:
            raise InputError(
                f"this column is missing; found: {', '.join(header)}",
                file=file,
                line=line,
                field=name,
            )
    for name in header:
        if optional is not None and name not in required and name not in optional:
            raise InputError(
                f"unknown column; accepted: {accepted}", file=file, line=line, field=name
            )
        if header.count(name) > 1:
            raise InputError("this column stands twice", file=file, line=line, field=name)
