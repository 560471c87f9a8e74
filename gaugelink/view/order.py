"""The work order that somebody took, how far it is done, and what came out of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.events import ReadingAssigned, ReadingParked, ReadingTaken
from gaugelink.planning.forecast_rock import is_rocked, range_words, travel_words
from gaugelink.planning.forecast_words import moved_words
from gaugelink.planning.order_figures import due
from gaugelink.planning.oversized import KEEPS, SIZED, sizes_for
from gaugelink.planning.ticking import FACE, Ticked, ticked
from gaugelink.planning.working import placed
from gaugelink.quantity import rounded_text

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gaugelink.course import Course
    from gaugelink.limits import Sheet
    from gaugelink.planning.forecast import Compared
    from gaugelink.planning.order_figures import Due
    from gaugelink.quantity import Displayed
    from gaugelink.view.parts import Document
    from gaugelink.work import Operation

    Sizes = dict[tuple[str, str], list[tuple[int, Displayed]]]


def order_document(course: Course, held: Sequence[Compared]) -> Document | None:
    """Write the work order; None where no plan was taken.

    Args:
        course: where the session stands.
        held: readings and sweeps beside what was foretold
            (`gaugelink.planning.compared.compared_in`).
    """
    if course.order is None:
        return None
    place, order = course.order
    lines = ticked(place, order, course.work)
    compared = {item.found.placed.place: item for item in held}
    sizes = _sizes(course)
    return {
        "place": place,
        "cost": order.cost,
        "standing": order.standing,
        "by": order.by,
        "utc": order.stamp.utc,
        "lines": [
            {
                **_line(line),
                "figures": [
                    _figure(course, line.step.operation, one, compared, sizes) for one in figures
                ],
            }
            for line, figures in zip(lines, due(lines), strict=True)
        ],
        "done": sum(len(line.done) for line in lines),
        "of": sum(len(line.owners) for line in lines),
    }


def sizes_document(sheet: Sheet, operation: Operation) -> Document:
    """Write which sizes may be told with work, each with its valves, and what holds untold."""
    what = SIZED.get(operation)
    names = dict.fromkeys(limit.size for limit in sheet.oversizes if limit.characteristic == what)
    return {
        "sizes": [
            {"name": name, "valves": [valve.name for valve in sheet.head.valves()
                                      if name in sizes_for(sheet, what or "", valve.name)]}
            for name in names
        ],
        "untold": "as it was" if operation in KEEPS else "standard",
    }  # fmt: skip


def _line(line: Ticked) -> Document:
    told = []
    for valve, work in line.done.items():
        size = "" if work.size is None else f"size {work.size or 'standard'}"
        words = [f"{valve}:" if valve else "", str(work.depth) if work.depth else "", size, work.by]
        told.append(" ".join(word for word in words if word))
    return {
        "operation": line.step.operation,
        "words": line.step.words,
        "depth": line.step.depth,
        "owners": [
            {"name": owner, "done": owner in line.done} for owner in line.owners if owner != FACE
        ],
        "finished": line.finished,
        "told": "; ".join(told),
    }


def _figure(
    course: Course, operation: Operation, one: Due, compared: Mapping[int, Compared], sizes: Sizes
) -> Document:
    """Write what a line should leave at a valve, and what was found there since."""
    rocked = one.figure == "guide clearance" and is_rocked(course.sheet, one.valve)
    found = _swept(course, one, compared) if rocked else _found(one, sizes)
    held = [compared[place] for place, _ in found if place in compared]
    rocks = _travel(course, operation, one, held) if rocked else ""
    surprised = [item for item in held if item.surprise]
    shown = [size for _, size in found]
    word = "surprise" if surprised else ""
    if held and not surprised and all(item.word == "as foretold" for item in held):
        word = "as foretold"
    return {
        "valve": one.valve or None,
        "figure": one.figure,
        "expected": f"{one.words}, by rock {rocks}" if rocks else one.words,
        "moved": _signed(one.moved_pm) if one.moved_pm else "",
        "done": one.done is not None,
        "found": f"travel {_span(shown)}" if rocked and shown else _span(shown),
        "difference": _difference(one, shown),
        "word": word,
        "words": moved_words(surprised[0]) if surprised else "",
    }


def _travel(course: Course, operation: Operation, one: Due, held: Sequence[Compared]) -> str:
    """Say what the rocks of a valve should travel, as far as it is known.

    A guide that is rocked with a new valve shows that valve's clearance, not the fitted one's: what
    it should travel is known when the rock is held against what was foretold for it.
    """
    foretold = [item.forecast for item in held]
    lows = [item.low_pm for item in foretold if item.low_pm is not None]
    highs = [item.high_pm for item in foretold if item.high_pm is not None]
    if lows and highs:
        return range_words(min(lows), max(highs))
    if operation != "valve replaced" and is_rocked(course.sheet, one.valve, "new"):
        return ""
    return travel_words(course.sheet, one.valve, one.least_pm, one.most_pm)


def _sizes(course: Course) -> Sizes:
    """Put the readings that count together by valve and characteristic, in order of measuring."""
    sizes: Sizes = {}
    for place in course.filled.values():
        event = course.history[place].event
        at = placed(place, event)
        if isinstance(event, ReadingAssigned):
            event = course.history[event.parked].event
        if at is not None and isinstance(event, ReadingTaken | ReadingParked):
            key = at.position.valve, at.position.characteristic
            sizes.setdefault(key, []).append((at.place, event.shown))
    for found in sizes.values():
        found.sort(key=lambda item: item[0])
    return sizes


def _found(one: Due, sizes: Sizes) -> list[tuple[int, Displayed]]:
    """List the readings of a figure that were taken after its work, by their places.

    Once a later line has changed it, what is found belongs to that line.
    """
    if one.done is None or not one.settled:
        return []
    return [item for item in sizes.get((one.valve, one.figure), []) if item[0] > one.done]


def _swept(
    course: Course, one: Due, compared: Mapping[int, Compared]
) -> list[tuple[int, Displayed]]:
    """List the travels of a valve that count and were taken after its work, by their places."""
    if one.done is None or not one.settled:
        return []
    return [
        (place, item.found.shown)
        for place, item in sorted(compared.items())
        if item.forecast.position.valve == one.valve
        and item.forecast.position.method == "rock"
        and place > one.done
        and place in course.filled.values()
    ]


def _span(sizes: list[Displayed]) -> str:
    if not sizes:
        return ""
    least, most = (pick(sizes, key=lambda shown: shown.pm) for pick in (min, max))
    same_unit = least.unit == most.unit
    return str(most) if least.pm == most.pm else f"{least.text if same_unit else least} to {most}"


def _difference(one: Due, sizes: list[Displayed]) -> str:
    """Say by how much one size was missed; ranges, and several sizes, have no single difference."""
    if len(sizes) != 1 or one.least_pm != one.most_pm:
        return ""
    return _signed(sizes[0].pm - one.least_pm)


def _signed(pm: int) -> str:
    text = rounded_text(pm, "mm", 3)
    return f"{'+' if pm > 0 else ''}{text} mm"
