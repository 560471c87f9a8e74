"""What a position should read after the work that was told, and whether it does.

A reading that work made stale still says where the part stood before. With the depths that were
told, `gaugelink.planning.allowances.EFFECT` says where it should stand now. A new reading far from
that is a surprise, and a person is told. Work whose effect does not follow from a depth foretells
nothing; a new part foretells the sizes that the sheet gives for a new one.

docs/forecast.md explains the uncertainties and what a surprise can mean.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from math import isqrt
from typing import TYPE_CHECKING, Final

from gaugelink.head import CHARACTERISTICS
from gaugelink.planning.allowances import EFFECT
from gaugelink.planning.stages import Placed, touches

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from gaugelink.events import WorkDone
    from gaugelink.head import Position
    from gaugelink.planning.allowances import Step
    from gaugelink.quantity import Displayed
    from gaugelink.work import Operation

STEP_OF: Final[dict[Operation, Step]] = {
    "seat cut": "cut seat",
    "seat ground": "cut seat",
    "seat lapped": "lap",
    "valve refaced": "reface valve",
    "tip ground": "grind tip",
    "face skimmed": "skim",
    "shim changed": "shim",
}
"""Work whose effect follows from its depth."""
NEW_SIZES: Final[dict[Operation, tuple[str, ...]]] = {
    "valve replaced": ("stem diameter", "valve length", "margin"),
    "guide replaced": ("guide bore", "guide projection"),
    "spring changed": ("spring free length", "spring squareness"),
}
"""What a new part has a size of its own for, whatever the old one had."""
ORDERED: Final[dict[Operation, tuple[str, ...]]] = {
    "guide replaced": ("guide bore",),
    "guide reamed": ("guide bore",),
    "valve replaced": ("stem diameter",),
    "valve moved": ("stem diameter",),
    "insert fitted": ("stand-down", "tip height", "installed spring height"),
}
"""What a line of the work order brings to a size, whatever it was before: an oversize, the stem of
a valve from another place, or an insert that is cut until the valve sits where it should."""
SET_PM: Final = 20_000_000
"""A machine takes off what was set to within 0.02 mm (common practice, no source)."""
AXIS_PM: Final = 50_000_000
"""A new or wider guide lies within 0.05 mm of the old one's axis (common practice, no source)."""
ON_THE_AXIS: Final[tuple[Operation, ...]] = (
    "guide replaced", "guide reamed", "guide honed", "guide sleeved",
)  # fmt: skip
"""Work that may move the axis about which a valve turns; on a seat of 45 degrees a valve whose axis
lies beside that of its seat by some length stands proud by as much until the seat is cut to it."""
SURE: Final = Fraction(258, 100)
"""Standard uncertainties that only 1 of 100 readings passes by chance (normal distribution)."""

NewSizes = Callable[["Position"], "tuple[int | None, int | None]"]
"""Gives the smallest and largest size of a new part at a place, picometres; None: not stated."""

OrderedSizes = Callable[["WorkDone", "Position"], "tuple[int, int] | None"]
"""Gives the sizes to which the line that asked for work brings a place; None: no line did."""


@dataclass(frozen=True, slots=True)
class Sized:
    """A reading with its size; ``u_pm`` is the standard uncertainty of its gauge."""

    placed: Placed
    shown: Displayed
    u_pm: int


@dataclass(frozen=True, slots=True)
class Forecast:
    """What a position should read now.

    Attributes:
        position: the place.
        before: the reading from before the work; None where a new part alone foretells.
        because: the work that it follows from, in order of the record.
        low_pm: smallest size foretold, picometres; None: nothing holds it below.
        high_pm: largest; the same as the smallest where one size is foretold.
        u_pm: standard uncertainty, picometres.
        why_not: why nothing is foretold; empty where something is.
    """

    position: Position
    before: Sized | None
    because: tuple[WorkDone, ...]
    low_pm: int | None
    high_pm: int | None
    u_pm: int
    why_not: str = ""

    @property
    def is_size(self) -> bool:
        """Whether one size is foretold, not a range."""
        return not self.why_not and self.low_pm is not None and self.low_pm == self.high_pm


def depth_variance(work: WorkDone) -> int:
    """Give the variance of a depth as it was told, square picometres, rounded down.

    Half of its last place to either side, and what the machine is off, both rectangular
    distributions (JCGM 100:2008, clause 4.3.7). A shim is no machining: it is as thick as it was
    measured.

    >>> from gaugelink.events import WorkDone
    >>> from gaugelink.quantity import parse_length
    >>> from gaugelink.reading import Stamp
    >>> at = Stamp("2026-01-01T00:00:00.000000Z", 0, "A. N.", "1")
    >>> cut = WorkDone(at, "seat cut", ("3E",), (), "A. N.", parse_length("0.15 mm"))
    >>> isqrt(depth_variance(cut))  # 0.02 / sqrt(3) and 0.01 / sqrt(12) mm, root sum of squares
    11902380
    """
    if work.depth is None:
        return 0
    machined = 0 if work.operation == "shim changed" else SET_PM**2 // 3
    return work.depth.step_pm**2 // 12 + machined


def base_of(
    readings: Iterable[Sized], position: Position, done: Sequence[tuple[int, WorkDone]], until: int
) -> Sized | None:
    """Find the last reading of a place from before work on it; None where there is none.

    What was measured with a gauge that was found out since is no base.

    Args:
        readings: of any place, in any order.
        position: the place.
        done: the work, each with its place in the record.
        until: work from this record place on does not count.
    """
    found = [
        item
        for item in readings
        if item.placed.position == position
        and any(at < until and touches(work, at, item.placed) for at, work in done)
        and not was_found_out(item, done)
    ]
    return max(found, key=lambda item: item.placed.place, default=None)


def was_found_out(reading: Sized, done: Iterable[tuple[int, WorkDone]]) -> bool:
    """Tell whether the gauge that took a reading was found out later."""
    return any(work.gauge is not None and touches(work, at, reading.placed) for at, work in done)


def foretell(
    position: Position,
    before: Sized | None,
    done: Sequence[tuple[int, WorkDone]],
    *,
    until: int,
    new_sizes: NewSizes | None = None,
    thickness: Sequence[Sized] = (),
    ordered: OrderedSizes | None = None,
) -> Forecast | None:
    """Say what a place should read after the work that touched it.

    Args:
        position: the place.
        before: its reading from before; None where there is none.
        done: all work, each with its place in the record, in any order.
        until: work from this record place on does not count yet.
        new_sizes: the sizes of new parts.
        thickness: readings of the head's thickness; they give the depth of a skim that nobody
            told.
        ordered: the sizes of the work order; they go before those of new parts.

    Returns:
        None where neither an earlier reading nor a new part says anything. Without work the
        forecast is the earlier reading.
    """
    own = before.placed if before else Placed(position, "", -1)
    work = sorted(
        ((at, one) for at, one in done if at < until and touches(one, at, own)),
        key=lambda item: item[0],
    )
    name = position.characteristic
    low = high = before.shown.pm if before else None
    variance = before.u_pm**2 if before else 0
    why_not = "" if before else "it was not measured before"
    because: list[WorkDone] = []
    skims: list[tuple[int, WorkDone]] = []
    is_new = False
    for at, one in work:
        because.append(one)
        asked = (
            ordered(one, position) if ordered and name in ORDERED.get(one.operation, ()) else None
        )
        if asked is not None:
            low, high = asked
            variance = SET_PM**2 // 3 if one.operation == "insert fitted" else 0
            why_not, because, skims, is_new = "", [one], [], True
            continue
        if name in NEW_SIZES.get(one.operation, ()):
            low, high = new_sizes(position) if new_sizes else (None, None)
            nothing = low is None and high is None
            why_not = f"the sheet has no size of a new part for the {name}" if nothing else ""
            variance, because, skims, is_new = 0, [one], [], True
            continue
        if one.operation in ON_THE_AXIS and name == "stand-down":
            variance += AXIS_PM**2 // 3
            continue
        step = STEP_OF.get(one.operation)
        effect = EFFECT[step].get(name, 0) if step else 0  # type: ignore[call-overload]
        if not effect:
            why_not = why_not or f"no depth says what {one.operation} does to the {name}"
        elif one.operation == "face skimmed":
            skims.append((at, one))
        elif one.depth is None:
            why_not = why_not or f"nobody told the depth of {one.operation}"
        else:
            low, high = _moved(low, effect * one.depth.pm), _moved(high, effect * one.depth.pm)
            variance += depth_variance(one)
    if before is None and not is_new:
        return None
    if skims:
        depth = _skimmed(skims, done, thickness)
        if depth is None:
            why_not = why_not or "nobody told the depth of face skimmed"
        else:
            sign = EFFECT["skim"].get(name, 0)  # type: ignore[call-overload]
            low, high = _moved(low, sign * depth[0]), _moved(high, sign * depth[0])
            variance += depth[1]
    if why_not:
        low = high = None
    return Forecast(position, before, tuple(because), low, high, isqrt(variance), why_not)


def _moved(pm: int | None, by: int) -> int | None:
    return None if pm is None else pm + by


def _skimmed(
    skims: Sequence[tuple[int, WorkDone]],
    done: Sequence[tuple[int, WorkDone]],
    thickness: Sequence[Sized],
) -> tuple[int, int] | None:
    """Give the depth of skims together, and its variance; None where nothing tells it.

    Where one was not told, the head's thickness before and after gives them all.
    """
    if all(work.depth is not None for _, work in skims):
        depths = [work.depth.pm for _, work in skims if work.depth]
        return sum(depths), sum(depth_variance(work) for _, work in skims)
    first, last = skims[0][0], skims[-1][0]
    others = [at for at, work in done if work.operation == "face skimmed"]
    since = max((at for at in others if at < first), default=-1)
    until = min((at for at in others if at > last), default=None)
    old: dict[Position, Sized] = {}
    new: dict[Position, Sized] = {}
    for item in sorted(thickness, key=lambda item: item.placed.place):
        place = item.placed.place
        if since < place < first:
            old[item.placed.position] = item
        elif place > last and (until is None or place < until):
            new[item.placed.position] = item
    both = [station for station in old if station in new]
    if not both:
        return None
    depths = [old[station].shown.pm - new[station].shown.pm for station in both]
    # A gauge's errors are common to all places: a mean is credited with no less than one reading.
    largest = max(old[station].u_pm ** 2 + new[station].u_pm ** 2 for station in both)
    return sum(depths) // len(depths), largest + (max(depths) - min(depths)) ** 2 // 12


@dataclass(frozen=True, slots=True)
class Compared:
    """A new reading held against what was foretold.

    Attributes:
        forecast: what was foretold.
        found: the reading.
        difference_pm: how far it lies beyond what was foretold, with its sign; 0 within a range.
        u_pm: standard uncertainty of that.
    """

    forecast: Forecast
    found: Sized
    difference_pm: int
    u_pm: int

    @property
    def surprise(self) -> bool:
        """Whether it lies further off than 2.58 standard uncertainties."""
        return not self.forecast.why_not and (
            abs(self.difference_pm) * SURE.denominator > SURE.numerator * self.u_pm
        )

    @property
    def word(self) -> str:
        """How it came out: ``as foretold``, ``surprise`` or ``not foretold``."""
        if self.forecast.why_not:
            return "not foretold"
        return "surprise" if self.surprise else "as foretold"

    @property
    def meanings(self) -> tuple[str, ...]:
        """What a surprise here can mean, in short words."""
        place = self.forecast.position
        if place.method == "rock":
            other = "guide or valve is another one than told, or of another size"
            if self.difference_pm > 0:
                return ("another valve was rocked", other, "the guide is loose in the head",
                        "the indicator's base slipped")  # fmt: skip
            return ("another valve was rocked", other, "the rocks stopped short of the wall",
                    "there was oil or dirt in the guide")  # fmt: skip
        wrong = f"another {'valve' if place.valve else 'place'} was measured"
        if not self.forecast.is_size:
            return wrong, "the part is not the new one", "the gauge's zero is off"
        gauge = CHARACTERISTICS[place.characteristic].gauge
        sat = "the depth gauge's base" if gauge == "depth gauge" else f"the {gauge}"
        return (wrong, "another depth was taken off than told", "work was done and not told",
                f"{sat} did not sit")  # fmt: skip


def compare(forecast: Forecast, found: Sized) -> Compared:
    """Hold a new reading against what was foretold.

    The same gauge may have measured before and after; what its errors have in common is not taken
    off, so a surprise is a surprise all the more.
    """
    pm, low, high = found.shown.pm, forecast.low_pm, forecast.high_pm
    off = 0
    if low is not None and pm < low:
        off = pm - low
    elif high is not None and pm > high:
        off = pm - high
    return Compared(forecast, found, off, isqrt(forecast.u_pm**2 + found.u_pm**2))


def pairs(
    readings: Sequence[Sized],
    done: Sequence[tuple[int, WorkDone]],
    new_sizes: NewSizes | None = None,
    ordered: OrderedSizes | None = None,
) -> list[Compared]:
    """Hold every reading that was taken after work against what was foretold, oldest first.

    Args:
        readings: all readings that were not struck out, stale or not.
        done: the work, each with its place in the record.
        new_sizes: the sizes of new parts.
        ordered: the sizes of the work order.
    """
    if not done:
        return []
    good = [item for item in readings if not was_found_out(item, done)]
    thickness = [item for item in good if item.placed.position.characteristic == "head thickness"]
    of: dict[Position, list[Sized]] = {}
    for item in good:
        of.setdefault(item.placed.position, []).append(item)
    found = []
    for item in sorted(good, key=lambda item: item.placed.place):
        at, position = item.placed.place, item.placed.position
        before = base_of(of[position], position, done, at)
        forecast = foretell(position, before, done, until=at, new_sizes=new_sizes,
                            thickness=thickness, ordered=ordered)  # fmt: skip
        if forecast is not None and forecast.because:
            found.append(compare(forecast, item))
    return found
