"""The keys of job files and price files, as people write them."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

LIMITED: Final = {
    "stem_diameter": "stem diameter",
    "guide_bore": "guide bore",
    "guide_clearance": "guide clearance",
    "seat_runout": "seat runout",
    "valve_face_runout": "valve face runout",
    "stand_down": "stand-down",
    "tip_height": "tip height",
    "installed_spring_height": "installed spring height",
    "spring_free_length": "spring free length",
    "retainer_to_seal": "retainer-to-seal",
    "seat_width": "seat width",
    "margin": "margin",
    "valve_length": "valve length",
}
"""Keys of the file, and the characteristics that they stand for."""

READ: Final = tuple(key for key in LIMITED
                     if key not in {"stem_diameter", "guide_bore", "guide_clearance"})  # fmt: skip
ONE_SIDED: Final = {"seat_runout": "min", "valve_face_runout": "min", "margin": "max",
                     "valve_length": "max"}  # fmt: skip
HEAD: Final = {"head_thickness": "head thickness", "head_face_flatness": "head-face flatness"}
PROTRUDING: Final = {
    "injector_protrusion": "injector protrusion",
    "prechamber_protrusion": "prechamber protrusion",
}
"""What a cylinder has one of, held by limits of the head."""


def _shown(name: str) -> str:
    if not name.isprintable():
        raise ValueError(f"found {name!r}, accepted: signs that can be shown")
    return name


Name = Annotated[str, Field(min_length=1, max_length=60), AfterValidator(_shown)]
Money = Annotated[str, Field(min_length=1, max_length=20)]
Ends = str | tuple[str, str]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class RangeKeys(_Table):
    """A limit, either end of it."""

    min: str | None = None
    max: str | None = None


class _Job(_Table):
    name: str = ""
    measured: list[str] | None = None
    pairing: bool = False
    springs_as_set: bool = False


class _Uncertainty(_Table):
    stem_diameter: str | None = None
    guide_bore: str | None = None
    seat_runout: str | None = None
    valve_face_runout: str | None = None
    stand_down: str | None = None
    tip_height: str | None = None
    installed_spring_height: str | None = None
    spring_free_length: str | None = None
    spring_load: str | None = None
    retainer_to_seal: str | None = None
    seat_width: str | None = None
    margin: str | None = None
    valve_length: str | None = None
    injector_protrusion: str | None = None
    prechamber_protrusion: str | None = None
    head_thickness: str | None = None
    head_face_flatness: str | None = None
    chamber_volume: str | None = None


class _Head(_Table):
    thickness: str | None = None
    thickness_min: str | None = None
    flatness: str | None = None
    flatness_max: str | None = None
    clean_up: str | None = None
    face_scrap: str = ""
    cracked: str = ""
    injector_protrusion: RangeKeys = RangeKeys()
    prechamber_protrusion: RangeKeys = RangeKeys()


class _Chamber(_Table):
    """What the book says of the room over a piston."""

    area: str
    volume: RangeKeys = RangeKeys()
    max_spread: str | None = None
    compression_ratio: RangeKeys = RangeKeys()
    swept_volume: str | None = None
    beside: str | None = None


class KindKeys(_Table):
    """What the book says of one kind of valve, and the sizes of new parts."""

    stem_diameter: RangeKeys = RangeKeys()
    guide_bore: RangeKeys = RangeKeys()
    guide_clearance: RangeKeys = RangeKeys()
    seat_runout: RangeKeys = RangeKeys()
    valve_face_runout: RangeKeys = RangeKeys()
    stand_down: RangeKeys = RangeKeys()
    tip_height: RangeKeys = RangeKeys()
    installed_spring_height: RangeKeys = RangeKeys()
    spring_free_length: RangeKeys = RangeKeys()
    spring_load: RangeKeys = RangeKeys()
    retainer_to_seal: RangeKeys = RangeKeys()
    seat_width: RangeKeys = RangeKeys()
    seat_width_per_cut: int | float | None = Field(default=None, gt=0, le=100)
    margin: RangeKeys = RangeKeys()
    valve_length: RangeKeys = RangeKeys()
    new_stem: Ends | None = None
    new_bore: Ends | None = None
    stand_down_spread: str | None = None
    head_diameter: str | None = None
    spring: list[tuple[str, str]] = []
    spring_tested_at: str | None = None
    lift: str | None = None
    solid_height: str | None = None
    bind_margin_min: str | None = None


class ValveKeys(_Table):
    """What was measured at one valve."""

    name: Name
    kind: str
    stem: Ends | None = None
    bore: Ends | None = None
    seat_runout: str | None = None
    valve_face_runout: str | None = None
    stand_down: str | None = None
    tip_height: str | None = None
    installed_spring_height: str | None = None
    spring_free_length: str | None = None
    spring_load: str | None = None
    retainer_to_seal: str | None = None
    seat_width: str | None = None
    margin: str | None = None
    valve_length: str | None = None
    drop: str | None = None
    seat_clean_up: str | None = None
    face_clean_up: str | None = None
    scrap: str = ""
    guide_scrap: str = ""
    spring_scrap: str = ""
    seat_scrap: str = ""
    married: bool = False
    open: dict[Literal["valve", "guide", "spring"], list[str]] = {}


class CylinderKeys(_Table):
    """What was measured at one cylinder beside its valves."""

    number: int = Field(ge=1, le=99)
    injector_protrusion: str | None = None
    prechamber_protrusion: str | None = None
    chamber_volume: str | None = None


class StepKeys(_Table):
    """What a step costs, and how deep it may go."""

    price: Money | None = None
    minutes: int | float | None = Field(default=None, ge=0, le=10_000)
    least: str | None = None
    most: str | None = None
    takes: str | None = None


class _Shim(_Table):
    thickness: str
    price: Money | None = None


class _Oversize(_Table):
    name: Name
    kind: str
    bore: Ends
    stem: Ends
    valve: Money | None = None


class PartKeys(_Table):
    """Prices of the parts of one kind; without one, no step is planned that needs it."""

    valve: Money | None = None
    guide: Money | None = None
    insert: Money | None = None
    spring: Money | None = None
    seal: Money | None = None


class PriceKeys(_Table):
    """What the shop offers, and at what price."""

    currency: Annotated[Name, Field(max_length=8)]
    hour: Money | None = None
    step: dict[str, StepKeys] = Field(min_length=1)
    part: dict[str, PartKeys] = {}
    shim: list[_Shim] = Field(default=[], max_length=100)
    most_shims: str | None = None
    oversize: list[_Oversize] = Field(default=[], max_length=50)


class PriceFile(_Table):
    """A price file."""

    prices: PriceKeys


class JobFile(_Table):
    """A job file; the prices may stand in a file of their own."""

    job: _Job = _Job()
    u: _Uncertainty = _Uncertainty()
    head: _Head = _Head()
    chamber: _Chamber | None = None
    kind: dict[Name, KindKeys] = Field(min_length=1)
    valve: list[ValveKeys] = Field(min_length=1, max_length=96)
    cylinder: list[CylinderKeys] = Field(default=[], max_length=48)
    prices: PriceKeys | None = None
