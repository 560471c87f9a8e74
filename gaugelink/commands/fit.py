"""Look up a fit of ISO 286, hold measured sizes against it, and reckon what a press fit does.

CLASSES are a hole and a shaft, such as H7/p6. With --hole and --shaft the sizes measured are held
against them; they may stand without classes. With --bore, --outside and the two moduli, an
interference gives the pressure and by how much the bore closes (Lame; round, long, elastic).

Exit status: 0 done; 1 a measured size is outside its class; 2 an argument is bad.
"""

from __future__ import annotations

import json
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from gaugelink.commands.lengths import length_above_0
from gaugelink.errors import InputError
from gaugelink.quantity import PM_PER_MM, PM_PER_UM, micrometres_text

if TYPE_CHECKING:
    import argparse

    from gaugelink.metrology.fits import Fit, Range

PRESS = ("bore", "outside", "part_modulus", "boss_modulus")


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    add = parser.add_argument
    add("size", metavar="SIZE", help="nominal size, for example 14mm")
    add("classes", metavar="CLASSES", nargs="?", help="hole and shaft, for example H7/p6")
    add("--hole", metavar="LENGTH", help="the hole as measured")
    add("--shaft", metavar="LENGTH", help="the shaft as measured")
    add("--bore", metavar="LENGTH", help="bore of the pressed part, for example 8mm; 0mm: solid")
    add("--outside", metavar="LENGTH", help="outer diameter of the boss round it")
    add("--part-modulus", metavar="E", help="modulus of the pressed part, for example 110GPa")
    add("--boss-modulus", metavar="E", help="modulus of the boss, for example 71GPa")
    add("--part-poisson", metavar="N", default="0.3", help="its Poisson's ratio (%(default)s)")
    add("--boss-poisson", metavar="N", default="0.3", help="of the boss (%(default)s)")


def run(args: argparse.Namespace) -> int:
    """Look up or reckon one fit.

    Raises:
        InputError: an argument is bad or missing.
    """
    from gaugelink.metrology.fits import fit  # noqa: PLC0415

    nominal_pm = length_above_0(args.size, "SIZE")
    hole_pm = length_above_0(args.hole, "--hole") if args.hole else None
    shaft_pm = length_above_0(args.shaft, "--shaft") if args.shaft else None
    if not args.classes and (hole_pm is None or shaft_pm is None):
        what = "this argument is missing; needed: the classes, or --hole and --shaft as measured"
        raise InputError(what, field="CLASSES")
    try:
        found = fit(nominal_pm, args.classes) if args.classes else None
    except ValueError as fault:
        raise InputError(str(fault), field="SIZE or CLASSES") from None
    measured = None if hole_pm is None or shaft_pm is None else hole_pm - shaft_pm
    document: dict[str, Any] = {
        "nominal_mm": nominal_pm / PM_PER_MM,
        **(_looked_up(found, args.classes) if found else {}),
        "measured": _measured(found, nominal_pm, hole_pm, shaft_pm),
        "press": [],
    }
    given = [name for name in PRESS if getattr(args, name)]
    if given:
        ends = [measured] if measured is not None or found is None else [
            found.most_pm, found.least_pm]  # fmt: skip
        document["press"] = [_press(args, nominal_pm, -clearance_pm) for clearance_pm in ends
                             if clearance_pm is not None and clearance_pm < 0]  # fmt: skip
    print(json.dumps(document)) if args.json else _print(document)
    outside = [one for one in document["measured"].values() if one.get("within") is False]
    return 1 if outside else 0


def _looked_up(found: Fit, classes: str) -> dict[str, Any]:
    names = [name.strip() for name in classes.split("/")]
    return {
        "kind": found.kind,
        "least_clearance_mm": found.least_pm / PM_PER_MM,
        "most_clearance_mm": found.most_pm / PM_PER_MM,
        **{
            part: {"class": name, "lower_um": one.lower_pm / PM_PER_UM,
                   "upper_um": one.upper_pm / PM_PER_UM}
            for part, name, one in zip(("hole", "shaft"), names, (found.hole, found.shaft),
                                       strict=True)
        },
    }  # fmt: skip


def _measured(
    found: Fit | None, nominal_pm: int, hole_pm: int | None, shaft_pm: int | None
) -> dict[str, Any]:
    def one(pm: int, allowed: Range | None) -> dict[str, Any]:
        row: dict[str, Any] = {"mm": pm / PM_PER_MM}
        if allowed is not None:
            row["within"] = allowed.lower_pm <= pm - nominal_pm <= allowed.upper_pm
        return row

    rows = {}
    if hole_pm is not None:
        rows["hole"] = one(hole_pm, found.hole if found else None)
    if shaft_pm is not None:
        rows["shaft"] = one(shaft_pm, found.shaft if found else None)
    if hole_pm is not None and shaft_pm is not None:
        rows["clearance"] = {"mm": (hole_pm - shaft_pm) / PM_PER_MM}
    return rows


def _press(args: argparse.Namespace, joint_pm: int, interference_pm: int) -> dict[str, Any]:
    from gaugelink.commands.amounts import Amounts  # noqa: PLC0415
    from gaugelink.metrology.fits import Tube, press  # noqa: PLC0415

    for name in PRESS:
        if not getattr(args, name):
            what = "this argument is missing; a press fit needs it"
            raise InputError(what, field=f"--{name.replace('_', '-')}")
    amounts = Amounts()
    tubes = [
        Tube(amounts.read(getattr(args, f"{part}_modulus"), "N/mm**2", "110GPa",
                          f"--{part}-modulus"), _ratio(args, part))
        for part in ("part", "boss")
    ]  # fmt: skip
    bore_pm = 0 if args.bore.strip() in {"0", "0mm", "0in"} else length_above_0(args.bore, "--bore")
    outside_pm = length_above_0(args.outside, "--outside")
    sizes = [Fraction(pm, PM_PER_MM) for pm in (interference_pm, bore_pm, joint_pm, outside_pm)]
    try:
        found = press(sizes[0], sizes[1], sizes[2], sizes[3], *tubes)
    except ValueError as fault:
        raise InputError(str(fault), field="--bore or --outside or --part-modulus") from None
    return {
        "interference_mm": float(sizes[0]),
        "pressure_mpa": float(found.pressure),
        "bore_closes_um": float(found.closure * 1000),
        "boss_grows_um": float(found.growth * 1000),
    }


def _ratio(args: argparse.Namespace, part: str) -> Fraction:
    text = getattr(args, f"{part}_poisson")
    try:
        ratio = Fraction(text.replace(",", "."))
    except (ValueError, ZeroDivisionError):
        ratio = Fraction(-1)
    if not 0 <= ratio <= Fraction(1, 2):
        raise InputError(f"found {text!r}, accepted: 0 to 0.5", field=f"--{part}-poisson")
    return ratio


def _print(document: dict[str, Any]) -> None:
    if "kind" in document:
        for part in ("hole", "shaft"):
            row = document[part]
            print(
                f"{part:<8}{row['class']:<6}{row['lower_um']:>+9.1f} to {row['upper_um']:+.1f} um"
            )
        print(f"{document['kind']}: {document['least_clearance_mm']:.3f} to "
              f"{document['most_clearance_mm']:.3f} mm")  # fmt: skip
    for part, row in document["measured"].items():
        words = {True: "   within", False: "   outside", None: ""}[row.get("within")]
        print(f"{part} as measured: {row['mm']:.6g} mm{words}")
    for row in document["press"]:
        print(f"interference {micrometres_text(round(row['interference_mm'] * PM_PER_MM))} um: "
              f"{row['pressure_mpa']:.1f} MPa, bore closes by {row['bore_closes_um']:.1f} um, boss "
              f"grows by {row['boss_grows_um']:.1f} um")  # fmt: skip
    if document["press"]:
        print("Ream or hone, and measure again after pressing: no boss is a round tube.")
