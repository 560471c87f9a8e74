"""What the readings of a session were foretold to be: its history, as the forecast takes it.

A surprise is answered by measuring the place once more, with the same result: then neither the
gauge slipped nor was another place measured, and the reading stands although the forecast is off.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final, Protocol

from gaugelink.events import ReadingAssigned, ReadingParked, ReadingTaken, SweepTaken
from gaugelink.head import zero_check_of
from gaugelink.planning.forecast import SURE, Sized, compare, pairs, was_found_out
from gaugelink.planning.forecast_rock import Around, foretell_rock
from gaugelink.planning.oversized import brought
from gaugelink.planning.stages import Placed
from gaugelink.planning.ticking import ticked
from gaugelink.planning.working import placed
from gaugelink.quantity import Displayed, rounded_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from gaugelink.events import PlanTaken, WorkDone
    from gaugelink.head import Position
    from gaugelink.limits import Sheet
    from gaugelink.planning.forecast import Compared, NewSizes, OrderedSizes
    from gaugelink.planning.working import Line
    from gaugelink.reading import Gauge

MEASURED_AGAIN: Final = "measured again"
FROM_THE_TRAY: Final = "replaced from the tray"
REPEATED: Final = frozenset({MEASURED_AGAIN, FROM_THE_TRAY, "to see whether it repeats"})
"""Reasons why a reading gave way to another one that say nothing against it."""


Travels = Mapping[int, tuple[int, int]]
"""Travel of sweeps and its standard uncertainty, picometres, by record place."""


class Seen(Protocol):
    """Where a session stands (`gaugelink.course.Course`)."""

    @property
    def gauges(self) -> Mapping[str, Gauge]:
        """The gauges by their mark."""

    @property
    def history(self) -> Mapping[int, Line]:
        """Everything that was taken, by record place."""

    @property
    def work(self) -> Sequence[tuple[int, WorkDone]]:
        """The work, each with its place in the record."""

    @property
    def sheet(self) -> Sheet | None:
        """The limits."""

    @property
    def order(self) -> tuple[int, PlanTaken] | None:
        """The plan that was taken, with its place in the record."""


def sizes_in(seen: Seen) -> list[Sized]:
    """List the single readings that were not struck out, stale ones too."""
    return [size for line in seen.history.values() if not line.struck
            if (size := _size(seen, line)) is not None]  # fmt: skip


def new_sizes_of(sheet: Sheet | None) -> NewSizes:
    """Give the sizes that a sheet has for new parts."""

    def sizes(position: Position) -> tuple[int | None, int | None]:
        for limit in sheet.of(position.characteristic, position.valve) if sheet else ():
            if limit.judge != "range" and limit.method == position.method and limit.takes(
                position.station, position.direction
            ):  # fmt: skip
                low, high = limit.bounds.get("new_min"), limit.bounds.get("new_max")
                if low is not None or high is not None:
                    return low.pm if low else None, high.pm if high else None
        return None, None

    return sizes


def compared_in(seen: Seen, travels: Travels) -> list[Compared]:
    """Hold every reading and sweep after work against what was foretold, oldest first.

    Args:
        seen: where the session stands.
        travels: of each usable sweep, by its record place.
    """
    if not seen.work:
        return []
    sizes = sizes_in(seen)
    around = around_of(seen, sizes, seen.work)
    asked = ordered_sizes_of(seen, seen.work)
    found = pairs(sizes, seen.work, new_sizes_of(seen.sheet), asked)
    for line in seen.history.values() if around else ():
        swept = None if line.struck else _travel(seen, line, travels)
        if around is None or swept is None or was_found_out(swept, seen.work):
            continue
        then = foretell_rock(swept.placed.position, around, swept.placed.place)
        if then is not None:
            found.append(compare(then, swept))
    return sorted(found, key=lambda item: item.found.placed.place)


def ordered_sizes_of(seen: Seen, done: Sequence[tuple[int, WorkDone]]) -> OrderedSizes:
    """Give the sizes to which work brings its places, as told with it or by the work order."""
    lines = ticked(*seen.order, done) if seen.order else []

    def sizes(work: WorkDone, position: Position) -> tuple[int, int] | None:
        return brought(lines, work, position.valve, position.characteristic, seen.sheet)

    return sizes


def around_of(
    seen: Seen, sizes: list[Sized], done: Sequence[tuple[int, WorkDone]]
) -> Around | None:
    """Give what rocks are foretold from; None without a sheet."""
    if seen.sheet is None:
        return None
    lines = ticked(*seen.order, done) if seen.order else ()
    return Around(seen.sheet, sizes, done, lines)


def before_it(seen: Seen, found: Sized, travels: Travels) -> Sized | None:
    """Find the reading of the same place that one took the place of; None where there is none.

    What was struck out because something was wrong with it is none, nor what work made stale.
    """
    earlier = [size for line in seen.history.values()
               if line.struck in REPEATED and not line.stale
               if (size := _size(seen, line) or _travel(seen, line, travels)) is not None
               if size.placed.position == found.placed.position
               and size.placed.place < found.placed.place]  # fmt: skip
    return max(earlier, key=lambda size: size.placed.place, default=None)


def repeats(seen: Seen, one: Sized, other: Sized) -> bool:
    """Tell whether two readings of one place say the same.

    They may differ by 2.58 standard uncertainties of their difference: by how much the gauges
    scatter, or their whole uncertainty where that is not known.
    """
    square = 0
    for size in (one, other):
        scatter = seen.gauges[size.placed.gauge].repeatability_pm
        if size.placed.position.method == "rock":
            scatter = None  # of a travel, from the ends of many rocks
        square += (scatter if scatter is not None else size.u_pm) ** 2
    apart = (one.shown.pm - other.shown.pm) * SURE.denominator
    # Two readings on neighbouring steps of a display are the same reading.
    near = abs(one.shown.pm - other.shown.pm) <= max(one.shown.step_pm, other.shown.step_pm)
    return near or apart**2 <= SURE.numerator**2 * square


def counting(seen: Seen, filled: Mapping[int, int]) -> Iterator[tuple[int, int, int]]:
    """Go through what counts: step, record place, and the place where it was measured."""
    for number, place in filled.items():
        at = placed(place, seen.history[place].event)
        if at is not None:
            yield number, place, at.place


def _size(seen: Seen, line: Line) -> Sized | None:
    event, at = line.event, placed(line.place, line.event)
    if at is None or zero_check_of(at.position) is not None:
        return None
    if isinstance(event, ReadingAssigned):
        event = seen.history[event.parked].event
    gauge = seen.gauges.get(at.gauge)
    if gauge is None or not isinstance(event, ReadingTaken | ReadingParked):
        return None
    return Sized(at, event.shown, gauge.u_pm)


def _travel(seen: Seen, line: Line, travels: Travels) -> Sized | None:
    event = line.event
    if not isinstance(event, SweepTaken) or not event.usable or line.place not in travels:
        return None
    if event.tag.gauge not in seen.gauges:
        return None
    travel_pm, u_pm = travels[line.place]
    shown = Displayed(rounded_text(travel_pm, "mm", 4), "mm", travel_pm, 100_000)
    return Sized(Placed(event.tag.position, event.tag.gauge, line.place), shown, u_pm)
