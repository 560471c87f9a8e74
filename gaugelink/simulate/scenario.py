"""Scenario files: a simulated bench, its head, its gauges and its operator's slips, as data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from gaugelink import tomlfile
from gaugelink.errors import InputError
from gaugelink.head import GAUGE_KINDS, ValveKind
from gaugelink.quantity import PM_PER_UM, parse_length
from gaugelink.simulate.encoders import ENCODERS

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


def _known_driver(value: str) -> str:
    if value not in ENCODERS:
        raise ValueError(f"found {value!r}, accepted: {', '.join(ENCODERS)}")
    return value


def _known_kind(value: str) -> str:
    if value not in GAUGE_KINDS:
        raise ValueError(f"found {value!r}, accepted: {', '.join(GAUGE_KINDS)}")
    return value


Micrometres = Annotated[float, BeforeValidator(_micrometres)]


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
    stage: str
    operator: str
    bench: str
    seed: int = 1


class Sizes(_Strict):
    """True sizes before wear, micrometres, by kind of valve where they differ."""

    stem: dict[ValveKind, Micrometres]
    new_stem: dict[ValveKind, Micrometres]
    bore: dict[ValveKind, Micrometres]
    stand_down: dict[ValveKind, Micrometres]
    spring_length: Micrometres
    guide_length: Micrometres
    reach: Micrometres
    spread: Micrometres
    face_bow: Micrometres
    face_twist: Micrometres


class Wear(_Strict):
    """What one valve's parts have gone through, micrometres taken off or added."""

    valve: str
    stem: Micrometres = 0.0
    bore: Micrometres = 0.0
    bell_mouth: Micrometres = 0.0
    stand_down: Micrometres = 0.0
    spring_length: Micrometres = 0.0


class SimulatedGauge(_Strict):
    """A gauge of the simulated bench. ``u`` is what its register claims, ``noise`` its scatter."""

    id: str
    kind: Annotated[str, BeforeValidator(_known_kind)]
    title: str
    serial: str
    driver: Annotated[str, BeforeValidator(_known_driver)]
    unit: Literal["mm", "in"] = "mm"
    places: Annotated[int, Field(ge=1, le=5)]
    speaks: Literal["when pressed", "when asked", "all the time"]
    per_second: Annotated[float, Field(gt=0, le=100)] = 10.0
    noise: Micrometres
    u: Micrometres
    calibration_due: str


class Slip(_Strict):
    """Something the operator does wrong, or decides, at one valve and characteristic."""

    valve: str
    characteristic: str
    direction: Literal["", "along", "across"] = ""
    station: str = ""
    what: Literal["wrong gauge", "retake", "skip", "strike out", "short sweep", "hold"]
    reason: str = ""


class Scenario(_Strict):
    """A scenario file, whole."""

    scenario: Title
    sizes: Sizes
    gauge: Annotated[list[SimulatedGauge], Field(min_length=1)]
    worn: list[Wear] = []
    slip: list[Slip] = []

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
    return tomlfile.check(Scenario, text, file)


def check_against(scenario: Scenario, sheet: Sheet, file: str) -> None:
    """Check that worn valves and slips are on the head that the sheet describes.

    Raises:
        InputError: one is not.
    """
    names = {valve.name for valve in sheet.head.valves()} | {""}
    named = [(f"worn.{n}", item.valve) for n, item in enumerate(scenario.worn, 1)]
    named += [(f"slip.{n}", item.valve) for n, item in enumerate(scenario.slip, 1)]
    for field, valve in named:
        if valve not in names:
            accepted = ", ".join(sorted(names - {""}))
            raise InputError(
                f"found {valve!r}, accepted: {accepted}", file=file, field=f"{field}.valve"
            )
