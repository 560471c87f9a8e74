"""The work order that somebody took, and how far it is done, as the page draws it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.planning.ticking import FACE, Ticked, ticked

if TYPE_CHECKING:
    from gaugelink.course import Course
    from gaugelink.view.parts import Document


def order_document(course: Course) -> Document | None:
    """Write the work order; None where no plan was taken."""
    if course.order is None:
        return None
    place, order = course.order
    lines = ticked(place, order, course.work)
    return {
        "place": place,
        "cost": order.cost,
        "standing": order.standing,
        "by": order.by,
        "utc": order.stamp.utc,
        "lines": [_line(line) for line in lines],
        "done": sum(len(line.done) for line in lines),
        "of": sum(len(line.owners) for line in lines),
    }


def _line(line: Ticked) -> Document:
    told = []
    for valve, work in line.done.items():
        words = [f"{valve}:" if valve else "", str(work.depth) if work.depth else "", work.by]
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
