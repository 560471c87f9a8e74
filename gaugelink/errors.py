"""Errors, each saying whose fault it is: the file, the gauge, the port or the caller.

Every one of them carries one clear sentence that names what was found, what is accepted and, where
it helps, what to do next. The command line prints that sentence and ends with status 2.
"""

from __future__ import annotations


class GaugeLinkError(Exception):
    """Anything a user can put right; its text is the one sentence they are shown."""


class InputError(GaugeLinkError):
    """A file or an argument is bad.

    Args:
        what: the fault in words, found and accepted included.
        file: the file's name as the user gave it.
        line: line in the file, counted from 1.
        field: the key, column or argument.

    >>> str(InputError("found 'red', accepted: mm or in", file="a.csv", line=3, field="unit"))
    "a.csv, line 3, unit: found 'red', accepted: mm or in"
    """

    def __init__(
        self,
        what: str,
        *,
        file: str | None = None,
        line: int | None = None,
        field: str | None = None,
    ) -> None:
        self.what = what
        self.file = file
        self.line = line
        self.field = field
        place = [file or ""]
        if line is not None:
            place.append(f"line {line}")
        if field:
            place.append(field)
        where = ", ".join(part for part in place if part)
        super().__init__(f"{where}: {what}" if where else what)

    def in_file(self, file: str, line: int | None = None, field: str | None = None) -> InputError:
        """The same fault, placed: what is already known about the place is kept."""
        return InputError(
            self.what,
            file=self.file or file,
            line=self.line if self.line is not None else line,
            field=self.field or field,
        )


class PortError(GaugeLinkError):
    """A port could not be opened, or was lost; the sentence says which and what to try."""


class RecordError(GaugeLinkError):
    """The record could not be opened, written or trusted."""


class SessionError(GaugeLinkError):
    """The capture session was asked for something that it cannot do in its present state."""
