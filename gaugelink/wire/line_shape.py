"""How the lines of a gauge look: the keys of the ``[frame]`` table of codec `line`.

The format is a regular expression whose named groups say which part is what. Tables translate the
gauge's letters: units, modes, tolerance flags, battery flags, error words.
"""

from __future__ import annotations

import re
from typing import Annotated, Final, Literal

from pydantic import Field

from gaugelink.quantity import LengthUnit  # noqa: TC001  pydantic reads it
from gaugelink.wire.base import Mode  # noqa: TC001  pydantic reads it
from gaugelink.wire.segments import clash
from gaugelink.wire.settings import Fault, Frame

GROUPS: Final = (
    *("sign", "digits", "unit", "mode", "tolerance", "battery", "error"),
    *("channel", "point"),
)
"""Names that a pattern may give to its parts; ``digits`` it must."""

TABLES: Final = {
    "unit": "units",
    "mode": "modes",
    "tolerance": "tolerances",
    "battery": "batteries",
    "error": "errors",
    "channel": "channels",
    "sign": "signs",
}
"""The table that translates each group."""

_NEED_NO_TABLE: Final = frozenset({"unit", "channel", "sign"})
_NEED_NO_GROUP: Final = frozenset({"error", "battery"})

FLAGS: Final = re.ASCII | re.IGNORECASE


class LineShape(Frame):
    """The keys of codec `line`; docs/drivers.md explains every one."""

    codec: Literal["line"]
    ends_with: str | Annotated[tuple[str, ...], Field(strict=False)]
    pattern: str
    unit: LengthUnit | None = None
    units: dict[str, LengthUnit] | None = None
    modes: dict[str, Mode] | None = None
    tolerances: dict[str, str] | None = None
    batteries: dict[str, str] | None = None
    errors: dict[str, str] | None = None
    longest: int = Field(default=64, ge=4, le=256)
    request: str | None = Field(default=None, min_length=1)
    channels: dict[str, LengthUnit] | None = None
    signs: dict[str, Literal["+", "-"]] | None = None
    places: int | None = Field(default=None, ge=0, le=8)

    @property
    def ends(self) -> tuple[bytes, ...]:
        """The ends of line, as bytes."""
        texts = (self.ends_with,) if isinstance(self.ends_with, str) else self.ends_with
        return tuple(text.encode() for text in texts)

    @property
    def request_bytes(self) -> bytes | None:
        """The bytes that ask the gauge for a value; None: it speaks by itself."""
        return None if self.request is None else self.request.encode()

    def fault(self) -> Fault | None:
        """Find what is wrong between one key and another, or inside the pattern."""
        return self._fault_of_ends() or self._fault_of_pattern() or self._fault_of_units()

    def _fault_of_ends(self) -> Fault | None:
        field = ("frame", "ends_with")
        if not self.ends or not all(self.ends):
            return field, r"found an empty end of line, accepted: for example '\r', '\n', '\r\n'"
        pair = clash(self.ends)
        if pair:
            return field, (
                f"found {pair[0].decode()!r} and {pair[1].decode()!r}: the first would cut the "
                "second in two; accepted: only the one that the gauge sends"
            )
        most = max(len(end) for end in self.ends)
        if self.longest <= most:
            return ("frame", "longest"), f"found {self.longest}, accepted: more than {most}"
        return None

    def _fault_of_pattern(self) -> Fault | None:
        field = ("frame", "pattern")
        try:
            groups = re.compile(self.pattern, FLAGS).groupindex
        except (re.error, OverflowError, RecursionError) as fault:
            return field, f"found {self.pattern!r}, not a regular expression: {fault}"
        if "digits" not in groups:
            return field, (
                f"the named group digits is missing, found: {', '.join(groups) or 'no groups'}; "
                r"write for example (?P<digits>\d+\.\d+)"
            )
        for name in groups:
            if name not in GROUPS:
                return field, f"found the named group {name}, accepted: {', '.join(GROUPS)}"
        for name, table in TABLES.items():
            given = getattr(self, table)
            if name in groups and given is None and name not in _NEED_NO_TABLE:
                return field, (
                    f"found the named group {name}, but no table [frame.{table}] that says "
                    "what its letters mean; accepted: both or neither"
                )
            if name not in groups and given is not None and name not in _NEED_NO_GROUP:
                return ("frame", table), (
                    f"found this table, but the pattern has no named group {name}; "
                    "accepted: both or neither"
                )
        return None

    def _fault_of_units(self) -> Fault | None:
        groups = re.compile(self.pattern, FLAGS).groupindex
        in_pattern = "unit" in groups
        ways = [in_pattern, self.unit is not None, self.channels is not None]
        if sum(ways) > 1:
            return ("frame", "unit" if self.unit is not None else "channels"), (
                "the unit is stated here and elsewhere as well (unit, [frame.channels], or the "
                "part unit of the pattern); accepted: one of them. "
                'For a gauge that leaves out one unit, write it as "" in [frame.units]'
            )
        if not any(ways):
            return ("frame", "unit"), (
                "the pattern has no named group unit, and no unit is stated; "
                'add unit = "mm" or unit = "in", whichever the gauge is set to'
            )
        if self.places is not None and "point" in groups:
            return ("frame", "places"), (
                "the pattern has a named group point that says where the decimal point is; "
                "accepted: one of them"
            )
        return None
