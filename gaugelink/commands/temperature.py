"""Turn a reading into the length at 20 degC, and tell how long a part should still lie.

Materials: steel, iron, aluminium, bronze, austenitic (valve steel), or a coefficient such as
17.8ppm/K, which is better: tables differ, and a name stands for their range. Set on a master at
hand, the gauge takes the master's material and temperature.

With --room the wait is told until the temperature alone is wrong by no more than --error; with
--cooled the time constant is taken from two temperatures of the part itself.

Exit status: 0 done; 1 the part should still lie, or the correction is worth too little to rely on;
2 an argument is bad.
"""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any

from gaugelink.commands.lengths import length_above_0
from gaugelink.errors import InputError
from gaugelink.quantity import PM_PER_MM, PM_PER_UM

if TYPE_CHECKING:
    import argparse
    from fractions import Fraction

    from gaugelink.commands.amounts import Amounts
    from gaugelink.metrology.temperature import Material


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    add = parser.add_argument
    add("--length", required=True, metavar="LENGTH", help="the reading, for example 120.520mm")
    add("--part", required=True, metavar="MATERIAL", help="of the part, for example aluminium")
    add("--part-temp", required=True, metavar="T", help="its temperature, for example 31degC")
    add("--gauge", default="steel", metavar="MATERIAL",
        help="of the gauge's scale, or of its master (default %(default)s)")  # fmt: skip
    add("--gauge-temp", required=True, metavar="T", help="its temperature, for example 22degC")
    add("--u-temp", default="0.5delta_degC", metavar="T",
        help="standard uncertainty of either temperature (default %(default)s)")  # fmt: skip
    add("--error", default="0.001mm", metavar="LENGTH",
        help="what the temperature may falsify (default %(default)s)")  # fmt: skip
    add("--room", metavar="T", help="temperature of the room, for the wait")
    add("--time-constant", metavar="TIME", help="of the part, for example 40min")
    add("--cooled", metavar="T,TIME",
        help="temperature of the part some time ago, for example 45degC,10min")  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Correct one reading.

    Raises:
        InputError: an argument is bad.
    """
    from gaugelink.commands.amounts import Amounts  # noqa: PLC0415
    from gaugelink.metrology.temperature import (  # noqa: PLC0415
        REFERENCE_C,
        allowed_difference,
        at_twenty,
    )

    amounts = Amounts()
    read_pm = length_above_0(args.length, "--length")
    error_pm = length_above_0(args.error, "--error")
    part, gauge = _material(amounts, args.part, "--part"), _material(amounts, args.gauge, "--gauge")
    part_c = _degrees(amounts, args.part_temp, "--part-temp")
    gauge_c = _degrees(amounts, args.gauge_temp, "--gauge-temp")
    u_k = amounts.read(args.u_temp, "delta_degC", "0.5delta_degC", "--u-temp")
    if not 0 <= u_k <= 100:
        raise InputError(f"found {args.u_temp!r}, accepted: 0 or more, up to 100 K",
                         field="--u-temp")  # fmt: skip
    try:
        found = at_twenty(read_pm, part=part, part_c=part_c, gauge=gauge, gauge_c=gauge_c,
                          u_temperature_k=float(u_k))  # fmt: skip
    except ValueError as fault:
        raise InputError(str(fault), field="--part-temp or --gauge-temp") from None
    allowed = allowed_difference(error_pm, read_pm, part)
    wait_min = _wait(args, amounts, part_c, allowed)
    warnings = []
    if found.u_pm > error_pm:
        warnings.append(
            f"the correction itself is uncertain by {found.u_pm / PM_PER_UM:.1f} um: let the part "
            "lie, or state its coefficient and temperature better"
        )
    if wait_min:
        warnings.append(f"let the part lie for another {math.ceil(wait_min)} min")
    if args.room:
        warnings += _of_the_room(_degrees(amounts, args.room, "--room"), allowed)
    if abs(part_c - REFERENCE_C) > allowed and not args.room:
        warnings.append(
            f"the part is {float(part_c - REFERENCE_C):+g} K from 20 degC; more than {allowed:.2g} "
            f"K alone falsify {error_pm / PM_PER_UM:g} um"
        )
    document = {
        "read_mm": read_pm / PM_PER_MM,
        "at_20_mm": float(found.length_pm / PM_PER_MM),
        "correction_um": float(found.correction_pm / PM_PER_UM),
        "u_um": found.u_pm / PM_PER_UM,
        "part_ppm_per_k": float(part.coefficient * 10**6),
        "gauge_ppm_per_k": float(gauge.coefficient * 10**6),
        "allowed_difference_k": allowed,
        "wait_min": wait_min,
        "warnings": warnings,
    }
    print(json.dumps(document)) if args.json else _print(document, part, gauge)
    return 1 if warnings else 0


def _of_the_room(room_c: Fraction, allowed: float) -> list[str]:
    """Say where lying does not bring the part to 20 degC, for it only comes to the room."""
    from gaugelink.metrology.temperature import REFERENCE_C  # noqa: PLC0415

    off = room_c - REFERENCE_C
    if abs(off) <= allowed:
        return []
    words = (
        f"the room is {float(off):+g} K from 20 degC, and the part comes to the room only: the "
        "correction is still needed"
    )
    return [words]


def _wait(
    args: argparse.Namespace, amounts: Amounts, part_c: Fraction, allowed: float
) -> float | None:
    from gaugelink.metrology.temperature import time_constant, wait  # noqa: PLC0415

    given = [name for name in ("time_constant", "cooled") if getattr(args, name)]
    if not args.room:
        if given:
            raise InputError("this argument is missing; the wait needs it", field="--room")
        return None
    if len(given) != 1:
        raise InputError(
            f"found {'both' if given else 'neither'}, accepted: one of the two beside --room",
            field="--time-constant or --cooled",
        )
    room_c = _degrees(amounts, args.room, "--room")
    try:
        if args.time_constant:
            constant = float(amounts.read(args.time_constant, "min", "40min", "--time-constant"))
        else:
            before, _, ago = args.cooled.partition(",")
            minutes = float(amounts.read(ago, "min", "45degC,10min", "--cooled"))
            constant = time_constant(_degrees(amounts, before, "--cooled"), part_c, room_c, minutes)
        return wait(part_c, room_c, allowed, constant)
    except ValueError as fault:
        raise InputError(str(fault), field=f"--{given[0].replace('_', '-')}") from None


def _degrees(amounts: Amounts, text: str, field: str) -> Fraction:
    return amounts.read(text, "degC", "20degC or 68degF", field)


def _material(amounts: Amounts, text: str, field: str) -> Material:
    from gaugelink.metrology.temperature import MATERIALS, stated  # noqa: PLC0415

    if text in MATERIALS:
        return MATERIALS[text]
    try:
        found = amounts.read(text, "1/delta_degC", "17.8ppm/K")
    except InputError:
        known = ", ".join(MATERIALS)
        raise InputError(f"found {text!r}, accepted: {known}, or a coefficient such as 17.8ppm/K",
                         field=field) from None  # fmt: skip
    if not 0 <= found * 1000 <= 1:
        raise InputError(f"found {text!r}, accepted: 0 to 1000 ppm/K", field=field)
    return stated(found, text)


def _print(document: dict[str, Any], part: Material, gauge: Material) -> None:
    print(f"{'read':<16}{document['read_mm']:>14.6f} mm")
    print(f"{'at 20 degC':<16}{document['at_20_mm']:>14.6f} mm")
    print(f"{'correction':<16}{document['correction_um']:>+14.2f} um   u {document['u_um']:.2f} um")
    for name, one in (("part", part), ("gauge", gauge)):
        known = "" if one.low == one.high else (
            f"   tables: {float(one.low * 10**6):g} to {float(one.high * 10**6):g}")  # fmt: skip
        print(f"{name:<16}{float(one.coefficient * 10**6):>14.2f} ppm/K   {one.name}{known}")
    for words in document["warnings"]:
        print(f"! {words}")
