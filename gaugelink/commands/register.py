"""The gauges of a bench, by what they measure: of two of a kind the less certain one counts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from gaugelink.content import read_text
from gaugelink.errors import InputError

if TYPE_CHECKING:
    from gaugelink.reading import Gauge


def coarsest(file: str) -> dict[str, Gauge]:
    """Read a bench file, and give of each kind the gauge with the largest uncertainty.

    What holds with it holds with any other of the kind: nobody says which was in the hand.

    Raises:
        InputError: the file is bad.
    """
    from gaugelink.benchfile import load  # noqa: PLC0415  pydantic is slow to start

    gauges = [placed.gauge for placed in load(read_text(Path(file)), file).gauges]
    return {gauge.kind: gauge for gauge in sorted(gauges, key=lambda gauge: gauge.u_pm)}


def coarsest_of(file: str, kind: str) -> Gauge:
    """Give the gauge of one kind with the largest uncertainty.

    Raises:
        InputError: the file is bad, or the bench has none.
    """
    gauges = coarsest(file)
    if kind not in gauges:
        what = f"found no {kind} among {', '.join(gauges)}; accepted: a bench that has one"
        raise InputError(what, file=file, field="gauge.kind")
    return gauges[kind]
