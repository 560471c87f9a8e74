"""The simulated machinist: works from the printed work order, and changes the workpiece.

The order is read as a person reads it, from the table that the shop prints; nothing of the plan
that made it is looked at. A machine is never quite where its dial says, and sometimes far from it:
the scenario's ``[[machining]]`` tables say where.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gaugelink.simulate.workpiece import Fitted, Workpiece

OFF_UM: Final = 4.0
"""Standard deviation of what a machine takes off, about its dial (invented)."""
TOLD: Final = ("seat cut", "seat lapped", "valve refaced", "tip ground", "face skimmed",
               "shim changed")  # fmt: skip
"""Work whose depth or thickness is told when it is ticked."""


@dataclass(frozen=True, slots=True)
class Line:
    """A line of the printed order.

    Attributes:
        operation: what is done.
        valve: where; empty: to the head.
        words: what the sheet says about it.
        depth: as printed, with its unit; empty where there is none.
    """

    operation: str
    valve: str
    words: str
    depth: str

    @property
    def told(self) -> str:
        """The depth that is told when the line is ticked."""
        return self.depth if self.operation in TOLD else ""

    @property
    def depth_um(self) -> float:
        """The depth, micrometres; 0 where there is none."""
        return float(self.depth.removesuffix(" mm") or 0) * 1000


@dataclass(frozen=True, slots=True)
class Oversize:
    """A guide reamed wider and the valve made for it: middle sizes, micrometres."""

    name: str
    bore: float
    stem: float


def printed_lines(order_csv: str) -> list[Line]:
    r"""Read the table of a work order, without what is to be measured again.

    >>> printed_lines("operation,valve,what to do,depth mm\r\nseat cut,3E,Cut the seat,0.030\r\n"
    ...               ",3E,Measure stand-down,\r\n")
    [Line(operation='seat cut', valve='3E', words='Cut the seat', depth='0.030 mm')]
    """
    return [
        Line(row["operation"], "" if row["valve"] == "face" else row["valve"], row["what to do"],
             f"{row['depth mm']} mm" if row["depth mm"] else "")
        for row in csv.DictReader(io.StringIO(order_csv, newline=""))
        if row["operation"]
    ]  # fmt: skip


def machined(
    workpiece: Workpiece, line: Line, before: Workpiece, oversizes: Iterable[Oversize] = ()
) -> Workpiece:
    """Do one line of an order.

    Args:
        workpiece: the head as it stands.
        line: what to do.
        before: the head as it stood before the order: valves are all out before one goes in.
        oversizes: of the shop.

    Raises:
        LookupError: the simulation knows no such work.
    """
    took = line.depth_um + _off(workpiece, line)
    if line.operation == "face skimmed":
        return replace(workpiece, skimmed=workpiece.skimmed + took)
    here, sizes = workpiece.at(line.valve), workpiece.scenario.sizes
    kind = workpiece.kind(line.valve)
    size = next((one for one in oversizes if line.words.endswith(f"size {one.name}")), None)
    match line.operation:
        case "guide reamed" | "guide replaced":
            bore = sizes.bore[kind] if size is None else size.bore
            here = replace(here, guide=bore)
        case "valve replaced":
            stem = sizes.new_stem[kind] if size is None else size.stem
            here = replace(here, stem=stem, valve_of="")
        case "valve moved":
            owner = line.words.removeprefix("Fit the valve of ")
            moved: Fitted = before.at(owner)
            here = replace(here, stem=moved.stem, valve_of=moved.valve_of or owner)
        case "seat cut" | "seat lapped" | "valve refaced":
            here = replace(here, drop=here.drop + took)
        case "insert fitted":
            here = replace(here, drop=here.drop - took)
        case "spring changed":
            here = replace(here, new_spring=True)
        case "shim changed":
            here = replace(here, shims=here.shims + line.depth_um)
        case other:
            raise LookupError(f"the simulated machinist does not know {other}")
    return replace(workpiece, fitted={**workpiece.fitted, line.valve: here})


def _off(workpiece: Workpiece, line: Line) -> float:
    """Draw how far from its dial the machine is, micrometres; lapping takes what it takes."""
    for slip in workpiece.scenario.machining:
        if (slip.valve, slip.operation) == (line.valve, line.operation):
            return slip.off
    chance = workpiece.chance("machine", line.operation, line.valve)
    if line.operation == "seat lapped":
        return chance.uniform(-2.0, 2.0)
    return chance.gauss(0, OFF_UM) if line.depth else 0.0
