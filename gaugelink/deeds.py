"""What people and gauges do at a bench: all that `Session.decide` takes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

if TYPE_CHECKING:
    from gaugelink.events import PlannedStep
    from gaugelink.inspection import Check
    from gaugelink.judging import Judgement
    from gaugelink.quantity import Displayed
    from gaugelink.reading import Trace
    from gaugelink.work import Operation

Mode = Literal["actual", "hold", "max", "min", "tir"]
MODE_WORDS: Final[dict[str, str]] = {
    "hold": "holding an old value",
    "max": "showing the largest value",
    "min": "showing the smallest value",
    "tir": "showing a difference",
}


@dataclass(frozen=True, slots=True)
class ValueArrived:
    """A gauge sent a value, or a person took what it shows."""

    gauge: str
    shown: Displayed
    raw: bytes
    mode: Mode = "actual"
    trigger: str = "gauge"


@dataclass(frozen=True, slots=True)
class SweepArrived:
    """A recorded sweep ended, and was analysed.

    ``why`` says that it can count nowhere, and is empty where nothing is known against it.
    """

    gauge: str
    trace: Trace
    raw: bytes
    usable: bool
    flags: tuple[str, ...]
    why: str = ""


@dataclass(frozen=True, slots=True)
class Skip:
    """Do not measure what is asked for."""

    reason: str


@dataclass(frozen=True, slots=True)
class Retake:
    """Strike out the last reading taken and ask for it again."""

    reason: str


@dataclass(frozen=True, slots=True)
class StrikeOut:
    """Strike out a reading by its place in the record."""

    place: int
    reason: str


@dataclass(frozen=True, slots=True)
class Assign:
    """Put a value from the tray into a step of the plan."""

    place: int
    step: int
    reason: str


@dataclass(frozen=True, slots=True)
class ConfirmPosition:
    """Say that every gauge which was lost and is back is where it is asked for."""


@dataclass(frozen=True, slots=True)
class ConfirmZero:
    """Say that a gauge was checked on its master, and that its zero is right."""

    gauge: str


@dataclass(frozen=True, slots=True)
class DoWork:
    """Say what was done to the head: what it touched has to be measured again.

    Attributes:
        operation: what was done.
        valves: the valves that it concerns; none where it concerns the whole head or a gauge.
        depth: what was taken off, where it is known.
        by: who did it; empty: who stands at the bench.
        gauge: the gauge that was found out; empty for everything else.
        size: what guide or valve are of since, as the sheet names it, empty for the standard one;
            None: nobody told, and the work order says.
    """

    operation: Operation
    valves: tuple[str, ...] = ()
    depth: Displayed | None = None
    by: str = ""
    gauge: str = ""
    size: str | None = None


@dataclass(frozen=True, slots=True)
class Inspect:
    """Say what was looked at or tried, and whether it is sound.

    Attributes:
        check: what.
        valves: which; none: all of them, or the head where the check is of the head.
        sound: whether it is; if not, `words` say what is wrong.
        words: a remark.
        by: who looked; empty: who stands at the bench.
    """

    check: Check
    valves: tuple[str, ...] = ()
    sound: bool = True
    words: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True)
class TellSpring:
    """Say what load a valve's spring showed on a spring tester, at the height of the sheet.

    Attributes:
        valve: whose spring.
        load: as read, with its unit.
        u: standard uncertainty of the tester, with its unit; empty: nobody told.
        by: who tested it; empty: who stands at the bench.
    """

    valve: str
    load: str
    u: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True)
class FillChamber:
    """Say how much went into the chamber of a cylinder, valves in their seats.

    Attributes:
        cylinder: counted from the first.
        volume: as read, with its unit.
        u: its standard uncertainty, with its unit; empty: nobody told.
        by: who filled it; empty: who stands at the bench.
    """

    cylinder: int
    volume: str
    u: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True)
class SignDeviation:
    """Accept a verdict that is not within, as it stands.

    Attributes:
        valve: the valve; empty: the head.
        characteristic: what was judged.
        method: by which method.
        limit: the limit in words.
        value: the value judged, exact text with its unit.
        places: record places of the readings used, every one of which still has to count.
        by: who signs; must not be empty.
        reason: why it is accepted.
    """

    valve: str
    characteristic: str
    method: str
    limit: str
    value: str
    places: tuple[int, ...]
    by: str
    reason: str


@dataclass(frozen=True, slots=True)
class Release:
    """Release the head.

    Attributes:
        by: who signs; must not be empty.
        words: a remark.
        judgement: the verdicts as they stood.
        seen: how many entries of the record they were reached with.
    """

    by: str
    words: str
    judgement: Judgement
    seen: int


@dataclass(frozen=True, slots=True)
class TakePlan:
    """Take a plan as the work order of the head.

    Attributes:
        cost, standing: what it costs, and how good it is.
        steps: its lines, in the order of the trade.
        by: who takes it; empty: who stands at the bench.
    """

    cost: str
    standing: str
    steps: tuple[PlannedStep, ...]
    by: str = ""


Command = (
    ValueArrived
    | SweepArrived
    | Skip
    | Retake
    | StrikeOut
    | Assign
    | ConfirmPosition
    | ConfirmZero
    | DoWork
    | TakePlan
    | Inspect
    | TellSpring
    | FillChamber
    | SignDeviation
    | Release
)
