"""Say whether a value conforms to its limits, given its uncertainty.

Amounts are plain numbers, or lengths with their unit (mm or in), all of one kind. With
--repeatability and --readings it is also said how many more readings would decide what is
undecided.

Exit status: 0 within; 1 outside or undecided; 2 an argument is bad.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Final

from gaugelink.errors import InputError
from gaugelink.quantity import PM_PER, parse_length, parse_number

if TYPE_CHECKING:
    import argparse

    from gaugelink.metrology.risk import MoreReadings

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
    parser.add_argument("--u", required=True, metavar="U", help="its standard uncertainty")
    parser.add_argument("--lower", metavar="L", help="lower limit, itself within")
    parser.add_argument("--upper", metavar="H", help="upper limit, itself within")
    parser.add_argument("--rule", choices=["simple", "guarded"], default="guarded",
                        help="compare as it is, or keep 1.645 standard uncertainties from the "
                        "limit (ISO 14253-1:2017; default)")  # fmt: skip
    parser.add_argument("--repeatability", metavar="S",
                        help="standard deviation of single readings, part of U")  # fmt: skip
    parser.add_argument("--readings", type=int, default=1, metavar="N",
                        help="how many readings the value is the mean of (default 1)")  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Judge one value.

    Raises:
        InputError: a bad argument.
    """
    from gaugelink.metrology.conformity import probability_within, verdict  # noqa: PLC0415

    scale = _scale(args.value)
    value, u = _amount(args.value, "--value", scale), _amount(args.u, "--u", scale)
    ends = [None if text is None else _amount(text, field, scale)
            for text, field in ((args.lower, "--lower"), (args.upper, "--upper"))]  # fmt: skip
    lower, upper = ends
    if lower is None and upper is None:
        raise InputError("found no limit, accepted: --lower, --upper, or both", field="--lower")
    if lower is not None and upper is not None and lower > upper:
        raise InputError(f"found {args.lower}, accepted: not above --upper", field="--lower")
    if u < 0 or (u == 0 and args.rule == "guarded"):
        raise InputError(f"found {args.u}, accepted: above 0 (0 with --rule simple)", field="--u")
    word = verdict(value, u if args.rule == "guarded" else None, lower, upper)
    inside = verdict(value, None, lower, upper) == "within"
    probability = probability_within(value, u, lower, upper) if u else float(inside)
    document: dict[str, Any] = {
        "verdict": word,
        "probability": probability,
        "rule": args.rule,
        "unit": scale.unit,
    }
    more = _more(args, scale, value, u, ends) if word == "undecided" else None
    if more is not None:
        document["more_readings"] = {
            "total": more.total, "u_needed": more.u_needed, "words": more.words,
        }  # fmt: skip
    if args.json:
        print(json.dumps(document))
    else:
        print(f"{word}: the true value lies within the limits with a probability of "
              f"{100 * probability:.3g} %")  # fmt: skip
        if more is not None:
            print(more.words)
    return 0 if word == "within" else 1


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
    return more_readings(away / scale.per, float(steady) ** 0.5 / scale.per, scatter / scale.per,
                         args.readings)  # fmt: skip


def _scale(text: str) -> _Scale:
    """Tell from the value whether amounts are lengths or plain numbers."""
    try:
        parse_number(text)
    except InputError:
        return _Scale(parse_length_at(text, "--value").unit, PM_PER["mm"])
    return _Scale("", 10**FINEST)


def parse_length_at(text: str, field: str) -> Any:
    """Read a length that an argument gives.

    Raises:
        InputError: it is none; the sentence names the argument.
    """
    try:
        return parse_length(text)
    except InputError as fault:
        raise InputError(fault.what, field=field) from None


def _amount(text: str, field: str, scale: _Scale) -> int:
    """Read an amount as a whole number of picometres, or of the finest place."""
    if scale.unit:
        pm: int = parse_length_at(text, field).pm
        return pm
    try:
        digits, places = parse_number(text)
    except InputError as fault:
        raise InputError(f"{fault.what}, without a unit as --value", field=field) from None
    if places > FINEST:
        raise InputError(f"found {places} decimal places, accepted: up to {FINEST}", field=field)
    return int(digits * 10 ** (FINEST - places))
