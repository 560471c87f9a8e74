"""Readings, the gauges they come from, and the tags that say where they belong."""

from __future__ import annotations

from dataclasses import dataclass

# `gaugelink.events` looks the annotations below up at run time.
from gaugelink.head import Position  # noqa: TC001
from gaugelink.quantity import Displayed, LengthUnit  # noqa: TC001


@dataclass(frozen=True, slots=True)
class Gauge:
    """A gauge of the shop, as its register knows it.

    Attributes:
        id: the shop's own mark on the gauge.
        kind: one of `gaugelink.head.GAUGE_KINDS`.
        title: what people call it.
        serial: the maker's serial number.
        driver: name of the driver file that decodes it.
        u_pm: standard uncertainty of one reading, picometres, from its budget.
        calibration_due: date, ISO 8601.
        repeatability_pm: standard deviation of single readings of one place, part of `u_pm`,
            picometres; None where nobody has told.
    """

    id: str
    kind: str
    title: str
    serial: str
    driver: str
    u_pm: int
    calibration_due: str
    repeatability_pm: int | None = None


@dataclass(frozen=True, slots=True)
class Stamp:
    """Who, where and when: both clocks, because the wall clock may jump.

    Attributes:
        utc: RFC 3339 with microseconds and ``Z``.
        mono_ns: monotonic clock, nanoseconds, comparable within one run only.
        operator: who held the gauge.
        bench: which bench.
    """

    utc: str
    mono_ns: int
    operator: str
    bench: str


@dataclass(frozen=True, slots=True)
class Tag:
    """Where a reading belongs, and with what and at which stage of the job it was taken."""

    position: Position
    stage: str
    gauge: str


@dataclass(frozen=True, slots=True)
class Trace:
    """The samples of a sweep, exactly as they came.

    Attributes:
        unit: the unit that the gauge showed at the start.
        step_pm: the gauge's display step, picometres.
        t_us: arrival times, microseconds from the first sample.
        value_pm: the samples, picometres, one for each time.
        texts: the digits as shown, one for each time, with the unit where it is another one.
    """

    unit: LengthUnit
    step_pm: int
    t_us: tuple[int, ...]
    value_pm: tuple[int, ...]
    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Reading:
    """One value in its place, as judged and shown. ``place`` is its number in the record."""

    tag: Tag
    shown: Displayed
    raw: bytes
    stamp: Stamp
    place: int


@dataclass(frozen=True, slots=True)
class Sweep:
    """One rock sweep in its place, samples and bytes and all."""

    tag: Tag
    trace: Trace
    raw: bytes
    stamp: Stamp
    place: int
    usable: bool
    flags: tuple[str, ...]
