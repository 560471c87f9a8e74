"""Turn a recorded rock sweep into travel and clearance.

Columns: time_s, value, unit (mm or in); and axis (along or across) where both directions stand in
one file: each is then a sweep of its own, and the larger is the result. A unit that changes within
a sweep is not a bad file: it is what happened at the bench, and it spoils the sweep.

Exit status: 0 the sweep is usable; 1 something spoils it; 2 the file or an argument is bad.
"""

from __future__ import annotations

import json
import re
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from gaugelink.errors import InputError
from gaugelink.tablefile import Row, read_table

if TYPE_CHECKING:
    import argparse

    from gaugelink.metrology.rock import Clearance, Rock
    from gaugelink.metrology.sweep_result import Sweep
    from gaugelink.quantity import LengthUnit

REQUIRED: Final = ("time_s", "value", "unit")
AXES: Final = ("along", "across")
ALONE: Final = "sweep"
"""Name of the only sweep of a file without an axis column; it is never shown."""

U_INSTRUMENT: Final = "1.73um"
FARTHEST_PM: Final = 5 * 10**12
LONGEST_S: Final = 10**8
_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_MICRO = re.compile(r"(.*?)\s*[u\u00b5\u03bc][mM]")


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("file", metavar="FILE", help="the sweep (CSV: time_s,value,unit[,axis])")
    parser.add_argument(
        "--guide-length",
        required=True,
        metavar="LENGTH",
        help="length of guide that has stem in it, for example 50mm",
    )
    parser.add_argument(
        "--reach",
        required=True,
        metavar="LENGTH",
        help="from the guide's head end to the contact point, lift included, for example 28mm",
    )
    parser.add_argument(
        "--u-instrument",
        default=U_INSTRUMENT,
        metavar="LENGTH",
        help="standard uncertainty of the indicator over the travel (default %(default)s: within "
        "3 um, rectangular)",
    )
    parser.add_argument(
        "--u-guide-length",
        default="0.5mm",
        metavar="LENGTH",
        help="standard uncertainty of the guide length (default %(default)s)",
    )
    parser.add_argument(
        "--u-reach",
        default="1mm",
        metavar="LENGTH",
        help="standard uncertainty of the reach (default %(default)s)",
    )
    parser.add_argument(
        "--lean",
        type=float,
        default=0.0,
        metavar="DEGREES",
        help="how far the indicator may lean from the motion; it then shows too little, and the "
        "uncertainty grows (default 0; 10 where it was set by eye)",
    )
    parser.add_argument(
        "--flex",
        default="0mm",
        metavar="LENGTH",
        help="how much of the travel may be bending of the valve (default %(default)s)",
    )
    parser.add_argument(
        "--range",
        metavar="LOW:HIGH",
        help="lowest and highest figure of the indicator, for example 0mm:12.7mm; an end that "
        "stands exactly there spoils the sweep",
    )


def run(args: argparse.Namespace) -> int:
    """Measure the sweeps of a file.

    Raises:
        InputError: the file or an argument is bad.
    """
    guide_length_pm = _length(args.guide_length, "--guide-length")
    if guide_length_pm == 0:
        raise InputError(
            f"found {args.guide_length!r}, accepted: more than 0", field="--guide-length"
        )
    reach_pm = _length(args.reach, "--reach")
    u_instrument_pm = _length(args.u_instrument, "--u-instrument")
    guide_length_u_pm = _length(args.u_guide_length, "--u-guide-length")
    reach_u_pm = _length(args.u_reach, "--u-reach")
    flex_pm = _length(args.flex, "--flex")
    if not 0 <= args.lean < 90:
        raise InputError(f"found {args.lean:g}, accepted: 0 to below 90 degrees", field="--lean")
    range_pm = _range(args.range) if args.range else None
    sweeps = read_sweeps(Path(args.file))

    from gaugelink.metrology.rock import rock  # noqa: PLC0415  numpy is slow to start

    found = rock(
        {name: sweep.measure(u_instrument_pm, range_pm) for name, sweep in sweeps.items()},
        guide_length_pm=guide_length_pm,
        reach_pm=reach_pm,
        guide_length_u_pm=guide_length_u_pm,
        reach_u_pm=reach_u_pm,
        lean_deg=args.lean,
        flex_pm=flex_pm,
    )
    if args.json:
        print(json.dumps(_document(found), ensure_ascii=False))
    else:
        _print(found, sweeps)
    return 0 if found.usable else 1


class RecordedSweep:
    """The readings of one direction, in the order of the file."""

    def __init__(self) -> None:
        self.t_ns: list[int] = []
        self.value_pm: list[int] = []
        self.units: list[LengthUnit] = []
        self.shown_step_pm: int | None = None

    def take(self, row: Row) -> None:
        """Take in a row.

        Raises:
            InputError: a cell is empty or is not what it should be.
        """
        unit = _unit(row)
        pm, step_pm = _value(row, unit)
        self.t_ns.append(_time(row))
        self.value_pm.append(pm)
        self.units.append(unit)
        if unit == self.units[0]:
            known = self.shown_step_pm
            self.shown_step_pm = step_pm if known is None else min(known, step_pm)

    def measure(self, u_instrument_pm: int, range_pm: tuple[int, int] | None) -> Sweep:
        """Measure the travel."""
        import numpy as np  # noqa: PLC0415

        from gaugelink.metrology.sweep import display_step, measure_travel  # noqa: PLC0415

        value_pm = np.array(self.value_pm, dtype=np.int64)
        alike = value_pm[[unit == self.units[0] for unit in self.units]]
        assert self.shown_step_pm is not None
        return measure_travel(
            np.array(self.t_ns, dtype=np.int64),
            value_pm,
            display_step(alike, self.shown_step_pm),
            units=self.units,
            u_instrument_pm=u_instrument_pm,
            range_pm=range_pm,
        )


def read_sweeps(path: Path) -> dict[str, RecordedSweep]:
    """Read the sweeps of a file, one for each axis in it.

    Raises:
        InputError: the file is bad.
    """
    sweeps: dict[str, RecordedSweep] = {}
    for row in read_table(path, required=REQUIRED, optional=("axis",)):
        name = row.one_of("axis", AXES) if "axis" in row.cells else ALONE
        sweeps.setdefault(name, RecordedSweep()).take(row)
    return sweeps


def _unit(row: Row) -> LengthUnit:
    unit = row["unit"].lower()
    if unit == "mm":
        return "mm"
    if unit == "in":
        return "in"
    found = repr(row["unit"]) if unit else "no unit"
    raise row.fault("unit", f"found {found}, accepted: mm or in, with every reading")


def _time(row: Row) -> int:
    text = row["time_s"]
    if not _NUMBER.fullmatch(text):
        raise row.fault("time_s", f"found {text!r}, accepted: seconds, such as 12.345")
    seconds = Decimal(text.replace(",", "."))
    if not -LONGEST_S <= seconds <= LONGEST_S:
        raise row.fault("time_s", f"found {text!r}, accepted: within {LONGEST_S} s of 0")
    return int((seconds * 10**9).to_integral_value())


def _value(row: Row, unit: LengthUnit) -> tuple[int, int]:
    """Give value and step of the last place shown, both in pm."""
    from gaugelink.quantity import PM_PER, parse_length  # noqa: PLC0415

    text = row["value"]
    try:
        shown = parse_length(text, unit)
        pm, step_pm = shown.pm, shown.step_pm
    except InputError as fault:
        if not _NUMBER.fullmatch(text):
            raise row.fault("value", fault.what) from None
        # No gauge, but a program that writes floating-point numbers: 5e-05, 4.1259999999999994.
        number = Decimal(text.replace(",", "."))
        if abs(number) > 10**6:
            pm, step_pm = FARTHEST_PM + 1, 1
        else:
            pm, step_pm = int((number * PM_PER[unit]).to_integral_value()), 1
    if abs(pm) > FARTHEST_PM:
        raise row.fault("value", f"found {text!r} {unit}, accepted: at most 5000 mm")
    return pm, step_pm


def _length(text: str, field: str) -> int:
    """Read the length in an argument; micrometres are accepted as well."""
    from gaugelink.quantity import PM_PER_UM, parse_length, parse_number  # noqa: PLC0415

    try:
        if micro := _MICRO.fullmatch(text.strip()):
            digits, places = parse_number(micro[1])
            pm = int((Decimal(digits) * PM_PER_UM / 10**places).to_integral_value())
        else:
            pm = parse_length(text).pm
    except InputError as fault:
        raise InputError(fault.what, field=field) from None
    if not 0 <= pm <= FARTHEST_PM:
        raise InputError(f"found {text!r}, accepted: 0 to 5000 mm", field=field)
    return pm


def _range(text: str) -> tuple[int, int]:
    from gaugelink.quantity import parse_length  # noqa: PLC0415

    low, mark, high = text.partition(":")
    if not mark:
        raise InputError(f"found {text!r}, accepted: for example 0mm:12.7mm", field="--range")
    try:
        ends = parse_length(low).pm, parse_length(high).pm
    except InputError as fault:
        raise InputError(fault.what, field="--range") from None
    if ends[0] >= ends[1]:
        raise InputError(f"found {text!r}, accepted: the lower figure first", field="--range")
    return ends


def _mm(pm: float) -> float:
    return float(pm) / 1e9


def _axis_document(sweep: Sweep, clearance: Clearance) -> dict[str, Any]:
    return {
        "travel_mm": _mm(sweep.travel_pm),
        "travel_u_mm": _mm(sweep.travel_u_pm),
        "travel_upper_mm": _mm(sweep.upper_pm),
        "clearance_mm": _mm(float(clearance.clearance_pm)),
        "clearance_u_mm": _mm(clearance.clearance_u_pm),
        "clearance_upper_mm": _mm(float(sweep.upper_pm / clearance.factor)),
        "factor": float(clearance.factor),
        "full_rocks": sweep.full_rocks,
        "ends": [
            {
                "level_mm": _mm(float(end.level_pm)),
                "side": end.side,
                "used": end.used,
                "why": end.why,
            }
            for end in sweep.plateaus
        ],
        "flags": [
            {"code": flag.code, "text": flag.text, "spoils": flag.spoils} for flag in sweep.flags
        ],
        "usable": sweep.usable,
    }


def _document(found: Rock) -> dict[str, Any]:
    axes = {
        name: _axis_document(sweep, found.clearances[name]) for name, sweep in found.sweeps.items()
    }
    document = dict(axes[found.direction])
    if list(axes) == [ALONE]:
        return document
    document["flags"] = [
        {"axis": name, **flag} for name in sorted(axes) for flag in axes[name]["flags"]
    ]
    return document | {"usable": found.usable, "axis": found.direction, "axes": axes}


def _print(found: Rock, sweeps: dict[str, RecordedSweep]) -> None:
    from gaugelink.commands.rock_plot import plot  # noqa: PLC0415
    from gaugelink.quantity import micrometres_text  # noqa: PLC0415

    for name, sweep in found.sweeps.items():
        clearance = found.clearances[name]
        if name != ALONE:
            print(f"{name}:")
        for line in plot(sweeps[name].t_ns, sweeps[name].value_pm, sweep):
            print(f"  {line}")
        print(
            f"  travel     {micrometres_text(sweep.travel_pm):>8} um"
            f"   u {micrometres_text(sweep.travel_u_pm)} um"
            f"   {sweep.full_rocks} full rock{'' if sweep.full_rocks == 1 else 's'}"
        )
        print(
            f"  clearance  {micrometres_text(clearance.clearance_pm):>8} um"
            f"   u {micrometres_text(clearance.clearance_u_pm)} um"
            f"   travel / {float(clearance.factor):.3f}"
        )
        if sweep.upper_pm > sweep.travel_pm:
            # A hand that stops short makes the travel too small: the unsafe side.
            upper = micrometres_text(sweep.upper_pm / clearance.factor)
            print(f"  upper      {upper:>8} um   by the fuller ends, travel "
                  f"{micrometres_text(sweep.upper_pm)} um")  # fmt: skip
        for flag in sweep.flags:
            print(f"  {'!' if flag.spoils else '-'} {flag.code}: {flag.text}")
    if len(found.sweeps) > 1:
        print(f"result: {found.direction}, the larger")
    print("usable" if found.usable else "not usable: rock again")
