"""The closed list of things that happen on a bench: the only vocabulary the rooms share.

Every event becomes one document of the record, and can be made again from it
(`gaugelink.event_documents`).
"""

from __future__ import annotations

from dataclasses import dataclass

# The annotations below are looked up at run time to make events from documents again.
from gaugelink.head import Position  # noqa: TC001
from gaugelink.inspection import Check  # noqa: TC001
from gaugelink.quantity import Displayed  # noqa: TC001
from gaugelink.reading import Gauge, Stamp, Tag, Trace  # noqa: TC001
from gaugelink.work import Operation  # noqa: TC001


@dataclass(frozen=True, slots=True)
class OtherSize:
    """A guide or a valve of another size than the standard one, by its characteristic."""

    valve: str
    characteristic: str
    size: str


@dataclass(frozen=True, slots=True)
class JobOpened:
    """A head came to the bench: which, against which sheet, and with which gauges.

    The sheet stands in the record whole, so that the verdicts can be reckoned again from it.
    ``clock`` says what the monotonic times are: ``real``, or ``simulated`` for a simulated bench.
    ``sizes`` are what the record of the round before says of the head, so that this one is judged
    without that one; left out where nobody named a round before with any.
    """

    stamp: Stamp
    job: str
    head: str
    serial: str
    stage: str
    sheet_name: str
    sheet_edition: str
    sheet_text: str
    sheet_sha256: str
    gauges: tuple[Gauge, ...]
    invented: bool
    clock: str
    program: str
    sizes: tuple[OtherSize, ...] | None = None


@dataclass(frozen=True, slots=True)
class GaugeLost:
    """A gauge's port closed or failed. Announced once."""

    stamp: Stamp
    gauge: str
    port: str
    why: str


@dataclass(frozen=True, slots=True)
class GaugeFound:
    """A gauge is there, at the start or again. Announced once."""

    stamp: Stamp
    gauge: str
    port: str


@dataclass(frozen=True, slots=True)
class PositionConfirmed:
    """A gauge had been lost and was back, and a person said that it is where it is asked for.

    ``position`` is what was asked for then; left out where nothing was.
    """

    stamp: Stamp
    gauge: str
    position: Position | None = None


@dataclass(frozen=True, slots=True)
class ZeroDoubted:
    """A gauge's zero may have moved; what it sends belongs nowhere until it has been checked."""

    stamp: Stamp
    gauge: str
    why: str


@dataclass(frozen=True, slots=True)
class ZeroChecked:
    """A person checked a gauge on its master, and its zero is right."""

    stamp: Stamp
    gauge: str


@dataclass(frozen=True, slots=True)
class BatteryTold:
    """A gauge said how its battery is, and it was otherwise before."""

    stamp: Stamp
    gauge: str
    low: bool
    words: str


@dataclass(frozen=True, slots=True)
class ReadingTaken:
    """A reading was asked for, came, and is in its place."""

    stamp: Stamp
    tag: Tag
    shown: Displayed
    raw: bytes
    trigger: str


@dataclass(frozen=True, slots=True)
class SweepTaken:
    """A rock sweep was recorded in its place; ``flags`` are what the analysis found wrong."""

    stamp: Stamp
    tag: Tag
    trace: Trace
    raw: bytes
    usable: bool
    flags: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReadingParked:
    """A value came that nobody had asked for: it waits in the tray, and belongs nowhere."""

    stamp: Stamp
    gauge: str
    shown: Displayed
    raw: bytes
    why: str


@dataclass(frozen=True, slots=True)
class SweepParked:
    """A sweep was recorded and can count nowhere: ``why`` says what was against it.

    It is kept whole. ``flags`` are what the analysis found wrong.
    """

    stamp: Stamp
    gauge: str
    trace: Trace
    raw: bytes
    flags: tuple[str, ...]
    why: str


@dataclass(frozen=True, slots=True)
class ReadingRefused:
    """A value came that must not be recorded as a measurement (hold, maximum, minimum mode)."""

    stamp: Stamp
    gauge: str
    shown: Displayed
    raw: bytes
    why: str


@dataclass(frozen=True, slots=True)
class ReadingAssigned:
    """A person took a value out of the tray and put it in a place."""

    stamp: Stamp
    parked: int
    tag: Tag
    reason: str


@dataclass(frozen=True, slots=True)
class PositionSkipped:
    """A person decided not to measure here, and why."""

    stamp: Stamp
    position: Position
    reason: str


@dataclass(frozen=True, slots=True)
class ReadingStruckOut:
    """A reading, sweep, assignment, inspection or signature no longer counts; it stays readable."""

    stamp: Stamp
    struck: int
    reason: str


@dataclass(frozen=True, slots=True)
class WorkDone:
    """Work was done on the head, and earlier readings are stale because of it.

    ``stale`` are the characteristics that it makes stale, as the table and the sheet had it then;
    ``valves`` are empty where it concerns the whole head. ``depth`` is what was taken off, where
    somebody told. Where a gauge was found out, ``gauge`` is which, and ``since`` the record place
    of its last good check before what it measured last; left out where there was none. ``voids``
    are the checks that it makes void, as the table had it then; an older record lacks them.
    ``size`` is what guide or valve are of since, as the sheet names it, empty for the standard one;
    left out where nobody told, so that the work order says.
    """

    stamp: Stamp
    operation: Operation
    valves: tuple[str, ...]
    stale: tuple[str, ...]
    by: str
    depth: Displayed | None = None
    gauge: str | None = None
    since: int | None = None
    voids: tuple[str, ...] | None = None
    size: str | None = None


@dataclass(frozen=True, slots=True)
class PlannedFigure:
    """What a valve, or the head where ``valve`` is empty, should measure after a step of a plan.

    ``least`` and ``most`` are lengths with their unit, the same twice where one size is foretold.
    """

    valve: str
    figure: str
    least: str
    most: str


@dataclass(frozen=True, slots=True)
class PlannedStep:
    """One line of a work order: what to do to which valves, ``valves`` empty for the face.

    ``operation`` is what it is called once it is done; ``depth`` is a length with its unit, or
    empty. ``expected`` is what should be measured then, with all lines before it done as planned;
    an older record lacks it.
    """

    operation: Operation
    valves: tuple[str, ...]
    words: str
    depth: str
    expected: tuple[PlannedFigure, ...] | None = None


@dataclass(frozen=True, slots=True)
class PlanTaken:
    """A person took a plan as the work order of this head. A later one replaces it.

    ``cost`` has its currency; ``standing`` says how good the plan is, and whether it is partial.
    """

    stamp: Stamp
    cost: str
    standing: str
    steps: tuple[PlannedStep, ...]
    by: str


@dataclass(frozen=True, slots=True)
class Inspected:
    """A person looked at something, or tried it, and found it sound or condemned it.

    ``valves`` are empty where it is the whole head. ``words`` say what is wrong where it is not
    sound. A later one of the same check and valve replaces it.
    """

    stamp: Stamp
    check: Check
    valves: tuple[str, ...]
    sound: bool
    words: str
    by: str


@dataclass(frozen=True, slots=True)
class SpringTested:
    """A person put a valve's spring on a spring tester and told the load that it showed.

    ``load`` is the text as read, with its unit; ``height`` the height that the sheet has it tested
    at. ``u`` is the tester's standard uncertainty, text with its unit; left out where nobody told.
    A later one of the same valve replaces it.
    """

    stamp: Stamp
    valve: str
    load: str
    height: str
    by: str
    u: str | None = None


@dataclass(frozen=True, slots=True)
class ChamberFilled:
    """A person filled the chamber of a cylinder, valves in their seats, and told what went in.

    ``volume`` and ``u``, its standard uncertainty, are texts with their unit, as told; None: nobody
    told one.
    """

    stamp: Stamp
    cylinder: int
    volume: str
    by: str
    u: str | None = None


@dataclass(frozen=True, slots=True)
class DeviationSigned:
    """A named person accepts a verdict that is not within, for this value and these readings.

    Or a reading that surprised after work: then ``limit`` says what was expected. ``value`` is
    exact text with its unit; of a spring's load, its coils, or what places have in common, what the
    page shows. ``places`` are the record places of the readings used, of a spring's test, of a
    chamber's filling. Any other value or reading is another verdict, which nobody has signed.
    """

    stamp: Stamp
    valve: str
    characteristic: str
    method: str
    limit: str
    value: str
    by: str
    reason: str
    places: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class HeadReleased:
    """A named person released the head, when nothing stood against it.

    ``within``, ``outside`` and ``undecided`` count the verdicts; ``deviations`` are the record
    places of those signed for what is not within.
    """

    stamp: Stamp
    by: str
    words: str
    within: int
    outside: int
    undecided: int
    deviations: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Verdict:
    """One limit held against its readings, as it stands in the record.

    ``value`` is exact text in ``unit``; ``places`` are the record places of the readings used.
    """

    valve: str
    characteristic: str
    method: str
    value: str
    unit: str
    u_pm: int
    verdict: str
    limit: str
    source: str
    reason: str
    places: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class JobJudged:
    """The head was judged as it stood."""

    stamp: Stamp
    rule: str
    verdicts: tuple[Verdict, ...]


Event = (
    JobOpened
    | GaugeLost
    | GaugeFound
    | PositionConfirmed
    | ZeroDoubted
    | ZeroChecked
    | BatteryTold
    | ReadingTaken
    | SweepTaken
    | ReadingParked
    | SweepParked
    | ReadingRefused
    | ReadingAssigned
    | PositionSkipped
    | ReadingStruckOut
    | PlanTaken
    | WorkDone
    | Inspected
    | SpringTested
    | ChamberFilled
    | DeviationSigned
    | HeadReleased
    | JobJudged
)
