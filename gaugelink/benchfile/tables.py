"""The tables of a bench file, as people write them; what goes together is checked in `reader`."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Final

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
)

from gaugelink.capture.pedal import PedalAction  # noqa: TC001  pydantic reads it
from gaugelink.errors import InputError
from gaugelink.ports.pedal import PedalLine  # noqa: TC001  pydantic reads it
from gaugelink.quantity import parse_length
from gaugelink.wire.driver import GaugeKind  # noqa: TC001  pydantic reads it
from gaugelink.work import Stage  # noqa: TC001  pydantic reads it

PAGE: Final = 8421
"""Port of the page where the file names none: the same address every day, for a bookmark."""


def _due(value: object) -> object:
    """Take a date with quotes or without; TOML has both."""
    if isinstance(value, date):
        return value.isoformat()
    try:
        return date.fromisoformat(str(value)).isoformat()
    except ValueError:
        raise ValueError(f"found {value!r}, accepted: a date such as 2027-03-31") from None


def _uncertainty_pm(value: object) -> object:
    if not isinstance(value, str):
        raise ValueError(f'found {value!r}, accepted: text with a unit such as "0.002 mm"')  # noqa: TRY004  pydantic collects ValueError
    try:
        length = parse_length(value)
    except InputError as fault:
        raise ValueError(fault.what) from None
    if length.pm <= 0:
        raise ValueError(f"found {value!r}, accepted: more than zero")
    return length.pm


def _usb(value: str) -> str:
    parts = value.split(":")
    if len(parts) != 2 or not all(_is_usb_number(part) for part in parts):
        raise ValueError(f'found {value!r}, accepted: maker and product such as "0403:6001"')
    return value


def _is_usb_number(text: str) -> bool:
    return 1 <= len(text) <= 4 and all(item in "0123456789abcdefABCDEF" for item in text)


def job_name(value: str) -> str:
    """Check the name of a job: its record is a file of that name, on any system.

    Raises:
        ValueError: it cannot be the name of a file everywhere.

    >>> job_name("D-0042")
    'D-0042'
    """
    taken = {"con", "prn", "aux", "nul", *(f"{a}{n}" for a in ("com", "lpt") for n in range(10))}
    if (
        not 0 < len(value) <= 80
        or not all(item.isalnum() or item in " ._-" for item in value)
        or not value[0].isalnum()
        or not value[-1].isalnum()
        or value.split(".", maxsplit=1)[0].lower() in taken
    ):
        raise ValueError(
            f"found {value!r}, accepted: letters, digits and blank . _ - inside, up to 80, for the "
            "record is a file of this name"
        )
    return value


Words = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1)]
"""A text that says something: blanks alone are none."""
Length = Annotated[int, BeforeValidator(_uncertainty_pm)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class TitleTable(_Strict):
    """The ``[bench]`` table."""

    name: Words
    operator: Words
    record: Words
    page: Annotated[int, Field(ge=0, le=65535)] = PAGE
    keep_bytes: Words | None = None
    prices: Words | None = None


class JobTable(_Strict):
    """The ``[job]`` table."""

    name: Annotated[Words, AfterValidator(job_name)]
    head: Words
    serial: Words
    stage: Stage
    sheet: Words
    invented: bool = False
    earlier: Words | None = None


class BindTable(_Strict):
    """What an adapter is known by; the words are those that ``gaugelink ports`` prints."""

    usb: Annotated[str, AfterValidator(_usb)]
    serial_number: Words | None = None
    path: Words | None = None
    part: Words | None = None


class PlaceTable(_Strict):
    """Where something is plugged in."""

    port: Words | None = None
    bind: BindTable | None = None


class PortTable(PlaceTable):
    """A ``[[port]]`` table: a port that several gauges share, by a name of its own."""

    name: Words


class GaugeTable(PlaceTable):
    """A ``[[gauge]]`` table."""

    id: Annotated[Words, Field(max_length=60)]
    kind: GaugeKind
    title: Words
    serial: Words
    driver: Words
    u: Length
    repeatability: Length | None = None
    calibration_due: Annotated[str, BeforeValidator(_due)]
    channel: Words | None = None


class PedalTable(_Strict):
    """The ``[pedal]`` table."""

    port: Words
    line: PedalLine
    action: PedalAction = "accept"


class BenchTables(_Strict):
    """A bench file, whole."""

    bench: TitleTable
    gauge: Annotated[list[GaugeTable], Field(min_length=1)]
    port: list[PortTable] = []
    job: JobTable | None = None
    pedal: PedalTable | None = None
