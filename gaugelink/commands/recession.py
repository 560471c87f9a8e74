"""Tell where a valve will stand after machining, and how much deeper its seat may be cut.

Give what is known of the valve now: --recession (below 0 where it stands proud), --tip (height of
the tip above the spring seat), --spring (installed height). Then the work: layers square to the
face (--seat-layer, --face-layer, with --angle), or depths along the valve (--seat-cut; below 0 for
an insert that lets it rise), --skim, --tip-ground. With the book's largest figures
(--most-recession, --most-tip, --most-spring) it is told what still may go, and what stops it first.

Exit status: 0 done; 1 afterwards a figure is beyond the book's; 2 an argument is bad.
"""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any, Final

from gaugelink.commands.lengths import length_at, length_from_0
from gaugelink.errors import InputError
from gaugelink.quantity import PM_PER_MM

if TYPE_CHECKING:
    import argparse

NOW: Final = ("recession", "tip", "spring")


def arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    add = parser.add_argument
    add("--recession", required=True, metavar="LENGTH", help="below the fire face, e.g. 0.95mm")
    add("--tip", metavar="LENGTH", help="height of the tip above the spring seat")
    add("--spring", metavar="LENGTH", help="installed height of the spring")
    add("--seat-layer", metavar="LENGTH", help="taken off the seat, square to it")
    add("--face-layer", metavar="LENGTH", help="taken off the valve's face, square to it")
    add("--angle", metavar="DEGREES", type=float, default=45.0,
        help="of seat and face from the head's face (default %(default)g)")  # fmt: skip
    add("--seat-cut", metavar="LENGTH", help="depth of the seat's cut along the valve")
    add("--skim", metavar="LENGTH", help="taken off the fire face")
    add("--tip-ground", metavar="LENGTH", help="taken off the tip")
    for name in NOW:
        add(f"--most-{name}", metavar="LENGTH", help=f"largest {name} in the book")
    add("--shims", metavar="LENGTH", help="shims that may still go under the spring")


def run(args: argparse.Namespace) -> int:
    """Tell of one valve.

    Raises:
        InputError: an argument is bad.
    """
    from gaugelink.metrology.roundness import Seated, drop_for_layer  # noqa: PLC0415

    if not 0 <= args.angle < 90:
        raise InputError(f"found {args.angle:g}, accepted: 0 up to below 90", field="--angle")
    given = {name: _length(text, name) for name, text in vars(args).items()
             if isinstance(text, str) and name not in {"command", "angle"}}  # fmt: skip
    layers_pm = given.get("seat_layer", 0) + given.get("face_layer", 0)
    drop_pm = given.get("seat_cut", 0) + round(drop_for_layer(layers_pm, args.angle))
    after = Seated(given["recession"], given.get("tip", 0), given.get("spring", 0)).after(
        drop_pm=drop_pm, skim_pm=given.get("skim", 0), tip_ground_pm=given.get("tip_ground", 0)
    )
    most = {name: given[f"most_{name}"] for name in NOW if f"most_{name}" in given}
    for name in most:
        if name not in given:
            what = f"this argument is missing; --most-{name} needs it"
            raise InputError(what, field=f"--{name}")
    document: dict[str, Any] = {
        "drop_mm": drop_pm / PM_PER_MM,
        "recession_mm": after.recession_pm / PM_PER_MM,
        "tip_mm": after.tip_pm / PM_PER_MM if "tip" in given else None,
        "spring_mm": after.spring_pm / PM_PER_MM if "spring" in given else None,
        "cut_left_mm": None,
        "stopped_by": None,
    }
    if most:
        first, left_pm = after.cut_left(most, given.get("shims", 0))
        document.update(cut_left_mm=left_pm / PM_PER_MM, stopped_by=first)
    print(json.dumps(document)) if args.json else _print(document)
    return 1 if most and document["cut_left_mm"] < 0 else 0


def _length(text: str, name: str) -> int:
    field = f"--{name.replace('_', '-')}"
    # The valve may stand above the face, and an insert lifts it.
    if name in {"recession", "most_recession", "seat_cut"}:
        return length_at(text, field).pm
    return length_from_0(text, field)


def _print(document: dict[str, Any]) -> None:
    for words, key in (("the valve drops by", "drop_mm"), ("recession", "recession_mm"),
                       ("tip height", "tip_mm"), ("spring height", "spring_mm")):  # fmt: skip
        if document[key] is not None:
            print(f"{words:<20}{document[key]:>10.3f} mm")
    left = document["cut_left_mm"]
    if left is None:
        return
    # Rounded down: nobody shall cut what is not there.
    shown = math.floor(left * 1000 + 1e-6) / 1000
    by = {"recession": "the recession", "tip": "the tip height", "spring": "the spring height"}
    if left < 0:
        print(f"! {-shown:.3f} mm too deep for {by[document['stopped_by']]}: an insert, or another "
              "valve")  # fmt: skip
    else:
        print(f"{'may still be cut':<20}{shown:>10.3f} mm, then {by[document['stopped_by']]} stops "
              "it")  # fmt: skip
