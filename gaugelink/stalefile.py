"""The part of a limit sheet that says what work makes stale on its engine.

The usual table is `gaugelink.work`; a sheet adds to it or takes away from it, with a reason.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from pydantic import BaseModel, ConfigDict, StringConstraints

from gaugelink import tomlfile
from gaugelink.errors import InputError
from gaugelink.head import CHARACTERISTICS
from gaugelink.limits import StaleChange
from gaugelink.work import WORK, Operation

if TYPE_CHECKING:
    from collections.abc import Sequence


class StaleEntry(BaseModel):
    """One ``[[stale]]`` of a sheet, as typed."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)

    operation: Operation
    added: list[str] = []
    removed: list[str] = []
    reason: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1)]


def read_changes(
    entries: Sequence[StaleEntry], text: str, file: str
) -> tuple[tuple[StaleChange, ...], list[InputError]]:
    """Check what a sheet changes, and give it with every fault.

    Args:
        entries: as typed.
        text: the sheet, TOML.
        file: its name for messages.
    """
    faults: list[InputError] = []
    for number, entry in enumerate(entries):

        def bad(key: str, what: str, number: int = number) -> None:
            line = tomlfile.line_of(text, ("stale", number, key))
            line = line or tomlfile.line_of(text, ("stale", number))
            faults.append(InputError(what, file=file, line=line, field=f"stale.{number + 1}.{key}"))

        name = entry.operation
        if name in [earlier.operation for earlier in entries[:number]]:
            bad("operation", f"found {name!r} a second time; accepted: one table each")
        if WORK[name].concerns == "gauge":
            bad("operation", f"found {name!r}, which concerns everything that the gauge measured; "
                "a sheet cannot change that")  # fmt: skip
            continue
        if not entry.added and not entry.removed:
            bad("operation", "the table changes nothing; needed: added or removed")
        stale = set(WORK[name].stale)
        for key, items, wanted in (("added", entry.added, False), ("removed", entry.removed, True)):
            for item in items:
                if item not in CHARACTERISTICS:
                    bad(key, f"found {item!r}, accepted: {', '.join(CHARACTERISTICS)}")
                elif (item in stale) is not wanted:
                    bad(key, f"found {item!r}, which {name!r} "
                        f"{'leaves alone' if wanted else 'makes stale'} already")  # fmt: skip
        left = stale.union(entry.added).difference(entry.removed)
        for item in entry.removed:
            known = CHARACTERISTICS.get(item)
            if known and (sources := left.intersection(known.reckoned_from)):
                names = ", ".join(sorted(sources))
                bad("removed", f"found {item!r}, which is reckoned from {names}; "
                    "needed: that removed as well, or neither")  # fmt: skip
    changes = tuple(
        StaleChange(entry.operation, tuple(entry.added), tuple(entry.removed), entry.reason)
        for entry in entries
    )
    return changes, faults
