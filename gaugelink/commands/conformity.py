"""Say whether a value conforms to its limits, given its uncertainty.

Amounts are plain numbers, or lengths with their unit (mm or in), all of one kind. With
--repeatability and --readings it is also said how many more readings would decide what is
undecided. Where the value is known better towards less than towards more, --u-below and --u-above
take the place of --u. With --parts-mean and --parts-sd, how the parts are spread, the risks of the
rule over all parts are told: of taking a bad one, and of turning a good one away.

Exit status: 0 within; 1 outside or undecided; 2 an argument is bad.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Final

from gaugelink.commands.lengths import length_at
from gaugelink.errors import InputError
from gaugelink.quantity import PM_PER, parse_number

if TYPE_CHECKING:
    import argparse

    from gaugelink.metrology.risk import MoreReadings

SURE: Final = 0.95
ONE_SIDE: Final = 1.6448
"""Standard uncertainties that leave 5 % beyond one limit."""

FINEST: Final = 12
"""Decimal places that plain numbers may have; inside they are whole multiples of the last."""


@dataclass(frozen=True, slots=True)
class _Scale:
    """How amounts are told: in a unit of length, or plain."""

    unit: str
    per: int


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("--value", required=True, metavar="V", help="the measured value")
    parser.add_argument("--u", metavar="U", help="its standard uncertainty")
    for side in ("below", "above"):
        parser.add_argument(f"--u-{side}", metavar="U",
                            help=f"of the half {side} the value, instead of --u")  # fmt: skip
    parser.add_argument("--lower", metavar="L", help="lower limit, itself within")
    parser.add_argument("--upper", metavar="H", help="upper limit, itself within")
    parser.add_argument("--rule", choices=["simple", "guarded"], default="guarded",
                        help="compare as it is, or keep 1.645 standard uncertainties from the "
                        "limit (ISO 14253-1:2017; default)")  # fmt: skip
    parser.add_argument("--guard-factor", metavar="G",
                        help="guard band in standard uncertainties (default 1.645)")  # fmt: skip
    parser.add_argument("--parts-mean", metavar="M", help="mean of all parts, for the risks")
    parser.add_argument("--parts-sd", metavar="S", help="their standard deviation")
    parser.add_argument("--repeatability", metavar="S",
                        help="standard deviation of single readings, part of U")  # fmt: skip
    parser.add_argument("--readings", type=int, default=1, metavar="N",
                        help="how many readings the value is the mean of (default 1)")  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Judge one value.

    Raises:
        InputError: a bad argument.
    """
    scale = _scale(args.value)
    value = _amount(args.value, "--value", scale)
    ends = [None if text is None else _amount(text, field, scale)
            for text, field in ((args.lower, "--lower"), (args.upper, "--upper"))]  # fmt: skip
    lower, upper = ends
    if lower is None and upper is None:
        raise InputError("found no limit, accepted: --lower, --upper, or both", field="--lower")
    if lower is not None and upper is not None and lower > upper:
        raise InputError(f"found {args.lower}, accepted: not above --upper", field="--lower")
    if args.u is None:
        document, u = _lopsided(args, scale, value, ends), None
    else:
        u = _amount(args.u, "--u", scale)
        document = _even(args, value, u, ends)
    document |= {"rule": args.rule, "unit": scale.unit}
    if args.parts_mean is not None or args.parts_sd is not None:
        document["risks"] = _risks(args, scale, u, ends)
    more = None
    if u is not None and document["verdict"] == "undecided":
        more = _more(args, scale, value, u, ends)
    if more is not None:
        document["more_readings"] = {
            "total": more.total, "u_needed": more.u_needed, "words": more.words,
        }  # fmt: skip
    print(json.dumps(document)) if args.json else _print(document)
    return 0 if document["verdict"] == "within" else 1


def _even(args: argparse.Namespace, value: int, u: int, ends: list[int | None]) -> dict[str, Any]:
    """Judge a value that is known alike on both sides."""
    from gaugelink.metrology.conformity import probability_within, verdict  # noqa: PLC0415

    for name in ("u_below", "u_above"):
        if getattr(args, name) is not None:
            raise InputError("found it beside --u, accepted: the two in its place",
                             field=f"--{name.replace('_', '-')}")  # fmt: skip
    if u < 0 or (u == 0 and args.rule == "guarded"):
        raise InputError(f"found {args.u}, accepted: above 0 (0 with --rule simple)", field="--u")
    factor, (lower, upper) = _factor(args), ends
    word = verdict(value, u if args.rule == "guarded" else None, lower, upper, factor)
    inside = verdict(value, None, lower, upper) == "within"
    probability = probability_within(value, u, lower, upper) if u else float(inside)
    return {"verdict": word, "probability": probability, "guard_factor": float(factor)}


def _lopsided(
    args: argparse.Namespace, scale: _Scale, value: int, ends: list[int | None]
) -> dict[str, Any]:
    """Judge a value that is known better on one side."""
    from gaugelink.metrology.conformity import (  # noqa: PLC0415
        probability_lopsided,
        verdict,
        verdict_lopsided,
    )

    halves = []
    for name in ("u_below", "u_above"):
        field, text = f"--{name.replace('_', '-')}", getattr(args, name)
        if text is None:
            raise InputError("this argument is missing; --u, or --u-below and --u-above, say how "
                             "sure the value is", field=field)  # fmt: skip
        half = _amount(text, field, scale)
        if half <= 0:
            raise InputError(f"found {text}, accepted: above 0", field=field)
        halves.append(half / scale.per)
    for name in ("guard_factor", "repeatability", "parts_mean", "parts_sd"):
        if getattr(args, name) is not None:
            raise InputError("accepted: with --u only", field=f"--{name.replace('_', '-')}")
    # Distances from the value: they keep digits that the value itself has no room for.
    lower, upper = (None if end is None else (end - value) / scale.per for end in ends)
    if args.rule == "simple":
        word = verdict(value, None, ends[0], ends[1])
    else:
        word = verdict_lopsided(0.0, halves[0], halves[1], lower, upper)
    chance = probability_lopsided(0.0, halves[0], halves[1], lower, upper)
    return {"verdict": word, "probability": chance}


def _factor(args: argparse.Namespace) -> Fraction:
    from gaugelink.metrology.conformity import GUARD_FACTOR  # noqa: PLC0415

    if args.rule == "simple":
        if args.guard_factor is not None:
            raise InputError("found it with --rule simple, accepted: with guarded only",
                             field="--guard-factor")  # fmt: skip
        return Fraction(0)
    if args.guard_factor is None:
        return GUARD_FACTOR
    try:
        digits, places = parse_number(args.guard_factor)
    except InputError as fault:
        raise InputError(fault.what, field="--guard-factor") from None
    if not 0 <= digits <= 10 * 10**places:
        raise InputError(f"found {args.guard_factor}, accepted: 0 to 10", field="--guard-factor")
    return Fraction(digits, 10**places)


def _risks(
    args: argparse.Namespace, scale: _Scale, u: int | None, ends: list[int | None]
) -> dict[str, float]:
    """Reckon the risks of the rule over all parts."""
    from gaugelink.metrology.risk import global_risks  # noqa: PLC0415

    for field, text in (("--parts-mean", args.parts_mean), ("--parts-sd", args.parts_sd)):
        if text is None:
            raise InputError("this argument is missing; the risks need it", field=field)
    mean = _amount(args.parts_mean, "--parts-mean", scale)
    spread = _amount(args.parts_sd, "--parts-sd", scale)
    if spread <= 0 or not u:
        field, text = ("--parts-sd", args.parts_sd) if spread <= 0 else ("--u", args.u)
        raise InputError(f"found {text}, accepted: above 0", field=field)
    # From the mean of the parts, in their standard deviation: no digit is lost.
    lower, upper = (None if end is None else (end - mean) / spread for end in ends)
    guard = float(_factor(args) * u) / spread
    found = global_risks(0.0, 1.0, u / spread, lower, upper, guard)
    return {"consumer": found.consumer, "producer": found.producer}


def _print(document: dict[str, Any]) -> None:
    print(f"{document['verdict']}: the true value lies within the limits with a probability of "
          f"{100 * document['probability']:.3g} %")  # fmt: skip
    full = document["rule"] == "guarded" and document.get("guard_factor", 2.0) > ONE_SIDE
    unsure = document["probability"] < SURE
    if document["verdict"] == "within" and full and unsure:
        print("It is below 95 % because the limits are close together: each takes its share.")
    if more := document.get("more_readings"):
        print(more["words"])
    if risks := document.get("risks"):
        print(f"Of all parts, {100 * risks['consumer']:.2g} % are bad and accepted, "
              f"{100 * risks['producer']:.2g} % are good and not accepted.")  # fmt: skip


def _more(
    args: argparse.Namespace, scale: _Scale, value: int, u: int, ends: list[int | None]
) -> MoreReadings | None:
    """Say what would decide it; None if nobody told how readings scatter."""
    from gaugelink.metrology.risk import more_readings  # noqa: PLC0415

    if args.readings < 1:
        raise InputError(f"found {args.readings}, accepted: 1 or more", field="--readings")
    if args.repeatability is None:
        return None
    scatter = _amount(args.repeatability, "--repeatability", scale)
    steady = u * u - Fraction(scatter * scatter, args.readings)
    if scatter < 0 or steady < 0:
        raise InputError(
            f"found {args.repeatability} with {args.readings} readings, accepted: 0 up to what U "
            "leaves for it",
            field="--repeatability",
        )
    away = min(abs(value - end) for end in ends if end is not None)
    return more_readings(
        away / scale.per, float(steady) ** 0.5 / scale.per, scatter / scale.per, args.readings,
        float(_factor(args)), scale.unit,
    )  # fmt: skip


def _scale(text: str) -> _Scale:
    """Tell from the value whether amounts are lengths or plain numbers."""
    try:
        parse_number(text)
    except InputError:
        unit = length_at(text, "--value").unit
        return _Scale(unit, PM_PER[unit])
    return _Scale("", 10**FINEST)


def _amount(text: str, field: str, scale: _Scale) -> int:
    """Read an amount as a whole number of picometres, or of the finest place."""
    if scale.unit:
        return length_at(text, field).pm
    try:
        digits, places = parse_number(text)
    except InputError as fault:
        raise InputError(f"{fault.what}, without a unit as --value", field=field) from None
    if places > FINEST:
        raise InputError(f"found {places} decimal places, accepted: up to {FINEST}", field=field)
    return int(digits * 10 ** (FINEST - places))
