"""Scenario files: a simulated bench, its head, its gauges and its operator's slips, as data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PrivateAttr,
    ValidationInfo,
    field_validator,
)

from gaugelink import tomlfile
from gaugelink.errors import InputError
from gaugelink.force import parse_force, parse_rate
from gaugelink.head import GAUGE_KINDS, ValveKind
from gaugelink.inspection import Check  # noqa: TC001  pydantic reads it
from gaugelink.plan import plan_for
from gaugelink.quantity import PM_PER_UM, parse_length
from gaugelink.simulate.encoders import ENCODERS
from gaugelink.simulate.faults import Fault  # noqa: TC001  pydantic reads it
from gaugelink.work import Stage  # noqa: TC001  pydantic reads it

if TYPE_CHECKING:
    from gaugelink.limits import Sheet


def _micrometres(value: object) -> object:
    """Read a length with its unit into micrometres, the simulation's own unit."""
    if not isinstance(value, str):
        raise ValueError(f'found {value!r}, accepted: text with a unit such as "0.020 mm"')  # noqa: TRY004
    try:
        return parse_length(value).pm / PM_PER_UM
    except InputError as fault:
        raise ValueError(fault.what) from None


def _not_negative(value: float) -> float:
    if value < 0:
        raise ValueError("accepted: nothing below zero")
    return value


def _above_zero(value: float) -> float:
    if value <= 0:
        raise ValueError("accepted: more than zero")
    return value


def _known_driver(value: str) -> str:
    if value not in ENCODERS:
        raise ValueError(f"found {value!r}, accepted: {', '.join(ENCODERS)}")
    return value


def _known_kind(value: str) -> str:
    if value not in GAUGE_KINDS:
        raise ValueError(f"found {value!r}, accepted: {', '.join(GAUGE_KINDS)}")
    return value


def _rate(value: object) -> object:
    """Read a spring's rate with its unit into newtons for a millimetre."""
    if not isinstance(value, str):
        raise ValueError(f'found {value!r}, accepted: text with a unit such as "40 N/mm"')  # noqa: TRY004
    try:
        return float(parse_rate(value))
    except InputError as fault:
        raise ValueError(fault.what) from None


def _a_force(value: str) -> str:
    try:
        parse_force(value)
    except InputError as fault:
        raise ValueError(fault.what) from None
    return value


Rate = Annotated[float, BeforeValidator(_rate), AfterValidator(_above_zero)]
Micrometres = Annotated[float, BeforeValidator(_micrometres)]
Amount = Annotated[Micrometres, AfterValidator(_not_negative)]
Size = Annotated[Micrometres, AfterValidator(_above_zero)]

PLACES: dict[str, dict[str, int]] = {"scale24": {"mm": 2, "in": 4}}
"""Drivers whose wire format has fixed decimal places, by unit."""

UNIT: dict[str, str] = {"plain-line": "mm", "plain-line-inch": "in"}
"""Drivers whose wire format does not say the unit."""


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Title(_Strict):
    """What the scenario is called, and the job it plays."""

    name: str
    title: str
    invented: Literal[True]
    sheet: str
    job: str
    head: str
    serial: str
    stage: Stage
    operator: str
    bench: str
    seed: int = 1
    prices: str = ""


class Sizes(_Strict):
    """True sizes before wear, micrometres, by kind of valve where they differ.

    ``spring_height`` is the height that the parts leave to a spring, closed. ``masters`` are what
    the zeros of gauges are checked on, by kind of gauge; 0 where not given.
    """

    stem: dict[ValveKind, Size]
    new_stem: dict[ValveKind, Size]
    bore: dict[ValveKind, Size]
    stand_down: dict[ValveKind, Micrometres]
    spring_length: Size
    spring_height: dict[ValveKind, Size] = {}
    guide_length: Size
    reach: Size
    spread: Amount
    face_bow: Micrometres
    face_twist: Micrometres
    masters: dict[str, Micrometres] = {}


class Springs(_Strict):
    """The springs on a tester: their rate, N/mm, and the tester's standard uncertainty as told."""

    rate: Rate
    u: Annotated[str, AfterValidator(_a_force)]


class Wear(_Strict):
    """What one valve's parts have gone through, micrometres taken off or added."""

    valve: str
    stem: Micrometres = 0.0
    bore: Micrometres = 0.0
    bell_mouth: Micrometres = 0.0
    stand_down: Micrometres = 0.0
    spring_length: Micrometres = 0.0


class SimulatedGauge(_Strict):
    """A gauge of the simulated bench.

    ``u`` and ``repeatability`` are what its register claims, ``noise`` is its scatter before the
    display.
    """

    id: str
    kind: Annotated[str, BeforeValidator(_known_kind)]
    title: str
    serial: str
    driver: Annotated[str, BeforeValidator(_known_driver)]
    unit: Literal["mm", "in"] = "mm"
    places: Annotated[int, Field(ge=1, le=5)]
    speaks: Literal["when pressed", "when asked", "all the time"]
    per_second: Annotated[float, Field(gt=0, le=100)] = 10.0
    noise: Amount
    u: Amount
    repeatability: Amount | None = None
    calibration_due: str

    @field_validator("unit")
    @classmethod
    def _unit_fits_driver(cls, unit: str, info: ValidationInfo) -> str:
        driver = info.data.get("driver", "")
        if unit != UNIT.get(driver, unit):
            raise ValueError(f"found {unit!r}; {driver} can only mean {UNIT[driver]}")
        return unit

    @field_validator("places")
    @classmethod
    def _places_fit_driver(cls, places: int, info: ValidationInfo) -> int:
        driver, unit = info.data.get("driver", ""), info.data.get("unit", "")
        wanted = PLACES.get(driver, {}).get(unit, places)
        if places != wanted:
            raise ValueError(f"found {places}, accepted for {driver} in {unit}: {wanted}")
        return places


class Slip(_Strict):
    """Something the operator does wrong, or decides, at one valve and characteristic."""

    valve: str
    characteristic: str
    direction: Literal["", "along", "across"] = ""
    station: str = ""
    what: Literal[
        "wrong gauge", "retake", "skip", "strike out", "short sweep", "hold", "wrong unit"
    ]
    reason: str = ""


class Machining(_Strict):
    """Work that a machine does badly: what it takes off beyond its dial, micrometres."""

    valve: str
    operation: Literal["seat cut", "insert fitted", "face skimmed", "valve refaced"]
    off: Micrometres


class Inspection(_Strict):
    """What the operator finds by looking, when everything is measured; no valve: all of them."""

    check: Check
    valve: str = ""
    sound: bool = True
    words: str = ""


class Scenario(_Strict):
    """A scenario file, whole."""

    scenario: Title
    sizes: Sizes
    gauge: Annotated[list[SimulatedGauge], Field(min_length=1)]
    worn: list[Wear] = []
    slip: list[Slip] = []
    springs: Springs | None = None
    inspection: list[Inspection] = []
    machining: list[Machining] = []
    fault: list[Fault] = []

    _text: str = PrivateAttr(default="")

    def gauge_for(self, kind: str) -> SimulatedGauge:
        """Give the gauge of a kind.

        Raises:
            InputError: the bench has none.
        """
        for gauge in self.gauge:
            if gauge.kind == kind:
                return gauge
        raise InputError(f"the bench has no {kind}, and the measuring plan needs one")


def load(text: str, file: str) -> Scenario:
    """Load a scenario.

    Raises:
        InputError: a fault, with file, line and field.
    """
    scenario = tomlfile.check(Scenario, text, file)
    scenario._text = text  # noqa: SLF001  ours; kept for the lines of later messages
    marks = [gauge.id for gauge in scenario.gauge]
    kinds = [gauge.kind for gauge in scenario.gauge]
    for number, gauge in enumerate(scenario.gauge):
        for key, value, others in (("id", gauge.id, marks), ("kind", gauge.kind, kinds)):
            if value in others[:number]:
                what = f"found {value!r} a second time; accepted: one gauge of each {key}"
                raise _placed(scenario, file, ("gauge", number, key), what)
    by_mark = {gauge.id: gauge for gauge in scenario.gauge}
    for number, fault in enumerate(scenario.fault):
        if fault.gauge not in by_mark:
            what = f"found {fault.gauge!r}, accepted: {', '.join(marks)}"
            raise _placed(scenario, file, ("fault", number, "gauge"), what)
        if fault.what == "unit button" and by_mark[fault.gauge].driver in UNIT:
            what = "found 'unit button', accepted only at a gauge whose format says the unit"
            raise _placed(scenario, file, ("fault", number, "what"), what)
    return scenario


def check_against(scenario: Scenario, sheet: Sheet, file: str) -> None:
    """Check that a scenario fits the head and the plan of a sheet.

    Raises:
        InputError: a size is missing for a kind of valve; a worn valve is not on the head; a slip
            is at a place that is never measured; a sweep is wanted of a gauge that cannot do it.
    """
    for name in ("stem", "new_stem", "bore", "stand_down"):
        for kind in sheet.head.kinds:
            if kind not in getattr(scenario.sizes, name):
                what = f"the size for {kind} valves is missing, and the head has some"
                raise _placed(scenario, file, ("sizes", name), what)
    _check_springs(scenario, sheet, file)
    for zero in sheet.zeros:
        if zero.shows.pm and zero.gauge not in scenario.sizes.masters:
            what = f"the size of the {zero.gauge}'s master is missing, and the sheet has it checked"
            raise _placed(scenario, file, ("sizes", "masters"), what)
    names = [valve.name for valve in sheet.head.valves()]
    for number, seen in enumerate(scenario.inspection):
        if seen.valve and seen.valve not in names:
            what = f"found {seen.valve!r}, accepted: {', '.join(map(repr, names))}"
            raise _placed(scenario, file, ("inspection", number, "valve"), what)
    for number, bad in enumerate(scenario.machining):
        accepted = [""] if bad.operation == "face skimmed" else names
        if bad.valve not in accepted:
            what = f"found {bad.valve!r}, accepted: {', '.join(map(repr, accepted))}"
            raise _placed(scenario, file, ("machining", number, "valve"), what)
    worn = [item.valve for item in scenario.worn]
    for number, valve in enumerate(worn):
        if valve not in names:
            what = f"found {valve!r}, accepted: {', '.join(names)}"
        elif valve in worn[:number]:
            what = f"found {valve!r} a second time; put all its wear in one table"
        else:
            continue
        raise _placed(scenario, file, ("worn", number, "valve"), what)
    _check_plan(scenario, sheet, file)


def _check_springs(scenario: Scenario, sheet: Sheet, file: str) -> None:
    asked = {step.position.valve for step in plan_for(sheet)
             if step.position.characteristic == "installed spring height"}  # fmt: skip
    for valve in sheet.head.valves():
        if valve.name in asked and valve.kind not in scenario.sizes.spring_height:
            what = f"the size for {valve.kind} valves is missing, and the sheet has it measured"
            raise _placed(scenario, file, ("sizes", "spring_height"), what)
    if scenario.springs is None and any(spring.load_limited for spring in sheet.springs):
        what = "the table is missing, and the sheet has springs tested"
        raise _placed(scenario, file, ("springs",), what)


def _check_plan(scenario: Scenario, sheet: Sheet, file: str) -> None:
    plan = plan_for(sheet)
    places = [step.position for step in plan]
    for number, slip in enumerate(scenario.slip):
        found = [getattr(slip, name) for name in _PLACE]
        for depth, name in enumerate(_PLACE, 1):
            fitting = [[getattr(place, key) for key in _PLACE[:depth]] for place in places]
            if found[:depth] not in fitting:
                known = {item[-1]: None for item in fitting if item[:-1] == found[: depth - 1]}
                what = f"found {found[depth - 1]!r}, accepted there: {', '.join(map(repr, known))}"
                raise _placed(scenario, file, ("slip", number, name), what)
    swept = {step.gauge_kind for step in plan if step.sweep}
    for number, gauge in enumerate(scenario.gauge):
        if gauge.kind in swept and gauge.speaks != "all the time":
            what = f"found {gauge.speaks!r}, accepted for rock sweeps: 'all the time'"
            raise _placed(scenario, file, ("gauge", number, "speaks"), what)


_PLACE = ("valve", "characteristic", "station", "direction")


def _placed(scenario: Scenario, file: str, path: tuple[str | int, ...], what: str) -> InputError:
    line = tomlfile.line_of(scenario._text, path)  # noqa: SLF001  kept for this very message
    field = ".".join(str(part + 1) if isinstance(part, int) else part for part in path)
    return InputError(what, file=file, line=line, field=field)
