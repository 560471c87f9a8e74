"""What a rock should travel after work on guide or valve.

A stem of a size in a bore of a size has a clearance, and the sheet's guide length and reach turn it
into travel (`gaugelink.metrology.rock`). Of a part that the work replaced, or made to a size, the
sizes are those of the work order or of new parts in the sheet; of any other part those measured,
after the work if it touched the part. What is foretold is a range: from the tightest bore with the
thickest stem to the widest with the thinnest. However a bore is worn between its readings, its
travel lies between those of straight guides as tight and as wide.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor, isqrt
from typing import TYPE_CHECKING, Final

from gaugelink.head import Position
from gaugelink.metrology.rock import U_GUIDE_LENGTH_PM, U_REACH_PM, factor
from gaugelink.planning.forecast import Forecast, was_found_out
from gaugelink.planning.oversized import SIZED, brought, new_of
from gaugelink.planning.stages import Placed, touches
from gaugelink.quantity import parse_length, rounded_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gaugelink.events import WorkDone
    from gaugelink.limits import Limit, Sheet
    from gaugelink.planning.forecast import Sized
    from gaugelink.planning.ticking import Ticked
    from gaugelink.work import Operation

_NEW: Final[dict[Operation, str]] = {
    "guide replaced": "guide bore",
    "valve replaced": "stem diameter",
}
_CALLED: Final = {"guide bore": "bore of the guide", "stem diameter": "stem of the valve"}


@dataclass(frozen=True, slots=True)
class Span:
    """The size of a part: smallest, largest, standard uncertainty; picometres."""

    low_pm: int
    high_pm: int
    u_pm: int = 0


@dataclass(frozen=True, slots=True)
class Around:
    """What a rock's forecast is made of.

    Attributes:
        sheet: the limits, with guide length and reach.
        sizes: single readings that were not struck out, stale ones too.
        done: the work, each with its place in the record.
        lines: the work order, ticked; none where there is none.
    """

    sheet: Sheet
    sizes: Sequence[Sized]
    done: Sequence[tuple[int, WorkDone]]
    lines: Sequence[Ticked] = ()


def travel_span(bore: Span, stem: Span, length_pm: int, reach_pm: int) -> Span:
    """Turn the sizes of bore and stem into the travel of a rock.

    Law of propagation (JCGM 100:2008, 5.1.2) on T = C (1 + 2 a / L), at the widest clearance.

    Args:
        bore: of the guide.
        stem: of the valve.
        length_pm: L > 0, picometres.
        reach_pm: a >= 0, picometres.

    >>> mm = 10**9
    >>> new = Span(8_000_000_000, 8_015_000_000), Span(7_955_000_000, 7_970_000_000)
    >>> found = travel_span(*new, 50 * mm, 25 * mm)  # clearance 0.030 to 0.060 mm, factor 2
    >>> found.low_pm, found.high_pm, round(found.u_pm / 1e6, 2)  # um
    (60000000, 120000000, 2.47)
    """
    k = factor(length_pm, reach_pm)
    low, high = max(0, bore.low_pm - stem.high_pm), max(0, bore.high_pm - stem.low_pm)
    by_reach = Fraction(2 * U_REACH_PM, length_pm)
    by_length = Fraction(2 * reach_pm * U_GUIDE_LENGTH_PM, length_pm**2)
    square = k**2 * (bore.u_pm**2 + stem.u_pm**2) + high**2 * (by_reach**2 + by_length**2)
    return Span(floor(k * low), ceil(k * high), isqrt(round(square)))


def foretell_rock(position: Position, around: Around, until: int) -> Forecast | None:
    """Say what a rock should travel after the work that touched it.

    Args:
        position: the place of the sweep.
        around: sheet, readings, work and order.
        until: work and readings from this record place on do not count.

    Returns:
        None where no work touched it, or the sheet has no limit by rock for it.
    """
    limit = _limit(around.sheet, position)
    own = Placed(position, "", -1)
    work = [one for at, one in around.done if at < until and touches(one, at, own)
            and one.gauge is None]  # fmt: skip
    if limit is None or not work:
        return None
    bore, by_bore, no_bore = _part(position, "guide bore", around, until)
    stem, by_stem, no_stem = _part(position, "stem diameter", around, until)
    if position.valve_used == "new":
        stem, by_stem, no_stem = _new_stem(position, around, until), None, _unknown("stem diameter")
    because = tuple(one for one in work if one in {by_bore, by_stem}) or (work[-1],)
    if bore is None or stem is None:
        why = no_bore if bore is None else no_stem
        return Forecast(position, None, because, None, None, 0, why)
    if limit.guide_length is None or limit.reach is None:
        why = "the sheet has no guide length and reach for it"
        return Forecast(position, None, because, None, None, 0, why)
    found = travel_span(bore, stem, limit.guide_length.pm, limit.reach.pm)
    return Forecast(position, None, because, found.low_pm, found.high_pm, found.u_pm)


def _part(
    rock: Position, name: str, around: Around, until: int
) -> tuple[Span | None, WorkDone | None, str]:
    """Find the size of one part: what is known, the last work on it, and why nothing is."""
    own = Placed(Position(rock.valve, name), "", -1)
    touched = [(at, one) for at, one in around.done
               if at < until and touches(one, at, own) and one.gauge is None]  # fmt: skip
    since, last = max(touched, key=lambda item: item[0], default=(-1, None))
    if last is not None:
        planned = brought(around.lines, last, rock.valve, name, around.sheet)
        if planned is not None:
            return Span(*planned), last, ""
        if _NEW.get(last.operation) == name and (new := _printed(around.sheet, rock.valve, name)):
            return new, last, ""
    measured = [
        item
        for item in around.sizes
        if item.placed.position.valve == rock.valve
        and item.placed.position.characteristic == name
        and since < item.placed.place < until
        and (name != "guide bore" or item.placed.position.direction in {"", rock.direction})
        and not was_found_out(item, around.done)
    ]
    measured.sort(key=lambda item: item.placed.place)
    newest = {item.placed.position: item for item in measured}.values()
    if not newest:
        return None, last, _unknown(name)
    sizes = [item.shown.pm for item in newest]
    return Span(min(sizes), max(sizes), max(item.u_pm for item in newest)), last, ""


def _unknown(name: str) -> str:
    return f"nobody told or measured the {_CALLED[name]}"


def _new_stem(rock: Position, around: Around, until: int) -> Span | None:
    """Give the stem of a new valve that is put in to rock the guide, of the size that was told.

    Where nobody told, the work order may say which.
    """
    told = [(at, one.size) for at, one in around.done
            if at < until and one.size is not None and rock.valve in one.valves
            and one.operation in SIZED]  # fmt: skip
    if told:
        _, size = max(told)
        new = new_of(around.sheet, "stem diameter", rock.valve, size)
        return Span(*new) if new else _printed(around.sheet, rock.valve, "stem diameter")
    for line in around.lines:
        if line.step.operation != "valve replaced":
            continue  # what a moved valve measures says nothing of a new one
        for one in line.step.expected or ():
            if one.valve == rock.valve and one.figure == "stem diameter":
                return Span(parse_length(one.least).pm, parse_length(one.most).pm)
    return _printed(around.sheet, rock.valve, "stem diameter")


def _printed(sheet: Sheet, valve: str, name: str) -> Span | None:
    """Give the sizes of a new part in the sheet; None where it lacks one of them."""
    bounds = [limit.bounds for limit in sheet.of(name, valve) if limit.judge != "range"]
    low = [found["new_min"].pm for found in bounds if "new_min" in found]
    high = [found["new_max"].pm for found in bounds if "new_max" in found]
    return Span(min(low), max(high)) if low and high else None


def travel_words(sheet: Sheet | None, valve: str, least_pm: int, most_pm: int) -> str:
    """Say what a clearance lets expect of the rocks of a valve; empty where none is taken there.

    Args:
        sheet: the limits.
        valve: the valve.
        least_pm: the least clearance, picometres.
        most_pm: the most.
    """
    for limit in sheet.of("guide clearance", valve) if sheet else ():
        if limit.method == "rock" and limit.guide_length is not None and limit.reach is not None:
            found = travel_span(Span(least_pm, most_pm), Span(0, 0), limit.guide_length.pm,
                                limit.reach.pm)  # fmt: skip
            return range_words(found.low_pm, found.high_pm)
    return ""


def range_words(low_pm: int, high_pm: int) -> str:
    """Write what a rock should travel.

    >>> range_words(60_000_000, 120_000_000)
    'travel 0.060 to 0.120 mm'
    """
    low, high = (rounded_text(pm, "mm", 3) for pm in (low_pm, high_pm))
    return f"travel {low} mm" if low == high else f"travel {low} to {high} mm"


def is_rocked(sheet: Sheet | None, valve: str, valve_used: str = "") -> bool:
    """Tell whether the sheet has a guide rocked, and by which valve.

    Args:
        sheet: the limits.
        valve: the valve.
        valve_used: only with this one, ``own`` or ``new``; empty: with either.
    """
    return any(limit.method == "rock" and valve_used in {"", limit.valve_used}
               for limit in (sheet.of("guide clearance", valve) if sheet else ()))  # fmt: skip


def _limit(sheet: Sheet, position: Position) -> Limit | None:
    """Find the limit that a rock is taken for."""
    lift_pm = parse_length(position.lift).pm if position.lift else None
    for limit in sheet.of("guide clearance", position.valve):
        if (
            limit.method == "rock"
            and limit.takes(position.station, position.direction)
            and (limit.lift.pm if limit.lift else None) == lift_pm
            and limit.valve_used == position.valve_used
        ):
            return limit
    return None
