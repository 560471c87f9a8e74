"""The work that is done to a head, and which earlier readings it makes stale.

A stale reading is kept and shown, and counts for nothing: the work may have changed what it says.
Every operation says of every characteristic whether it is touched, so that none is forgotten. A
limit sheet may change that for its engine (`gaugelink.limits.StaleChange`).

Sources: common practice, no source, for which work asks for which measurement again; the geometry
of seat, valve face and tip for the heights (a layer taken off seat or valve face lets the valve
drop, so stand-down, tip height and installed spring height change together; grinding the tip
changes the tip's height and the valve's length alone; facing the head changes the stand-down, not
the installed height).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal, get_args

from gaugelink.head import CHARACTERISTICS

Stage = Literal["as received", "after cleaning", "after machining", "after lapping", "final"]
STAGES: Final[tuple[Stage, ...]] = get_args(Stage)
"""The stages of a job, in their order; older records may say other words."""

Operation = Literal[
    "guide replaced",
    "guide reamed",
    "guide honed",
    "guide sleeved",
    "valve refaced",
    "tip ground",
    "valve replaced",
    "valve moved",
    "insert fitted",
    "seat cut",
    "seat ground",
    "seat lapped",
    "face skimmed",
    "spring changed",
    "shim changed",
    "retainer changed",
    "head heated",
    "head welded",
    "head straightened",
    "head washed",
    "gauge found out",
]
"""Everything that can be done. *Gauge found out*: an after-check showed that the gauge is out."""

Concerns = Literal["valves", "head", "gauge"]
Depth = Literal["", "seat", "valve face", "tip", "head face", "shims"]


@dataclass(frozen=True, slots=True)
class Work:
    """What one operation does to earlier readings.

    Attributes:
        concerns: the valves that are named, the whole head, or what one gauge has measured.
        stale: the characteristics whose readings it makes stale.
        untouched: the others, each on purpose.
        little: it changes sizes by a few micrometres only, so that a new reading can be held
            against the stale one (`gaugelink.slips`).
        depth: what a depth told with it was taken off, or that the shims are thicker by; empty: no
            length says what it does, and none is asked for.
    """

    concerns: Concerns
    stale: tuple[str, ...]
    untouched: tuple[str, ...]
    little: bool = False
    depth: Depth = ""


_SEAT_STALE: Final = (
    "seat runout",
    "stand-down",
    "tip height",
    "installed spring height",
    "retainer-to-seal",
    "seat width",
)
_SEAT_UNTOUCHED: Final = (
    "stem diameter",
    "guide bore",
    "guide clearance",
    "stem runout",
    "valve face runout",
    "guide projection",
    "spring free length",
    "spring squareness",
    "valve length",
    "margin",
    "head thickness",
    "injector protrusion",
    "prechamber protrusion",
    "face height",
    "head-face flatness",
)
_SEAT: Final = Work("valves", _SEAT_STALE, _SEAT_UNTOUCHED, depth="seat")

# The seat is turned about the guide's axis: where the axis moves, the valve comes to rest elsewhere
# in its seat, and that shows in the stand-down.
_GUIDE: Final = Work(
    "valves",
    (
        "guide bore",
        "guide clearance",
        "seat runout",
        "stand-down",
        "guide projection",
        "retainer-to-seal",
    ),
    (
        "stem diameter",
        "stem runout",
        "valve face runout",
        "tip height",
        "installed spring height",
        "spring free length",
        "spring squareness",
        "valve length",
        "margin",
        "seat width",
        "head thickness",
        "injector protrusion",
        "prechamber protrusion",
        "face height",
        "head-face flatness",
    ),
)

# Another valve is measured whole, a new one too: its sizes are the old one's no longer.
_VALVE: Final = Work(
    "valves",
    (
        "stem diameter",
        "guide clearance",
        "stem runout",
        "valve face runout",
        "stand-down",
        "tip height",
        "installed spring height",
        "retainer-to-seal",
        "valve length",
        "margin",
    ),
    (
        "guide bore",
        "seat runout",
        "guide projection",
        "spring free length",
        "spring squareness",
        "seat width",
        "head thickness",
        "injector protrusion",
        "prechamber protrusion",
        "face height",
        "head-face flatness",
    ),
)

# Heat and stress bend a casting and move what is bored in it, and a warm head reads wrong.
_CASTING_STALE: Final = (
    "guide bore",
    "guide clearance",
    "seat runout",
    "face height",
    "head-face flatness",
)
_CASTING_UNTOUCHED: Final = (
    "stem diameter",
    "stem runout",
    "valve face runout",
    "stand-down",
    "guide projection",
    "tip height",
    "installed spring height",
    "retainer-to-seal",
    "spring free length",
    "spring squareness",
    "valve length",
    "margin",
    "seat width",
    "head thickness",
    "injector protrusion",
    "prechamber protrusion",
)
_CASTING: Final = Work("head", _CASTING_STALE, _CASTING_UNTOUCHED)

_PARTS: Final = (
    "stem diameter",
    "guide bore",
    "guide clearance",
    "stem runout",
    "valve face runout",
    "seat runout",
    "stand-down",
    "guide projection",
    "tip height",
)
_HEAD: Final = (
    "seat width",
    "head thickness",
    "injector protrusion",
    "prechamber protrusion",
    "face height",
    "head-face flatness",
)
_SHIM: Final = Work(
    "valves",
    ("installed spring height",),
    (
        *_PARTS,
        "retainer-to-seal",
        "spring free length",
        "spring squareness",
        "valve length",
        "margin",
        *_HEAD,
    ),
)

WORK: Final[dict[Operation, Work]] = {
    "guide replaced": _GUIDE,
    "guide reamed": _GUIDE,
    "guide honed": _GUIDE,
    "guide sleeved": _GUIDE,
    "valve refaced": Work(
        "valves",
        (
            "valve face runout",
            "stand-down",
            "tip height",
            "installed spring height",
            "retainer-to-seal",
            "margin",
        ),
        (
            "stem diameter",
            "guide bore",
            "guide clearance",
            "stem runout",
            "seat runout",
            "guide projection",
            "spring free length",
            "spring squareness",
            "valve length",
            *_HEAD,
        ),
        depth="valve face",
    ),
    "tip ground": Work(
        "valves",
        ("tip height", "valve length"),
        (
            "stem diameter",
            "guide bore",
            "guide clearance",
            "stem runout",
            "valve face runout",
            "seat runout",
            "stand-down",
            "guide projection",
            "installed spring height",
            "retainer-to-seal",
            "spring free length",
            "spring squareness",
            "margin",
            *_HEAD,
        ),
        depth="tip",
    ),
    "valve replaced": _VALVE,
    "valve moved": _VALVE,
    "insert fitted": Work("valves", _SEAT_STALE, _SEAT_UNTOUCHED),
    "seat cut": _SEAT,
    "seat ground": _SEAT,
    "seat lapped": Work("valves", _SEAT_STALE, _SEAT_UNTOUCHED, little=True, depth="seat"),
    "face skimmed": Work(
        "head",
        (
            "stand-down",
            "head thickness",
            "injector protrusion",
            "prechamber protrusion",
            "face height",
            "head-face flatness",
        ),
        (
            "stem diameter",
            "guide bore",
            "guide clearance",
            "stem runout",
            "valve face runout",
            "seat runout",
            "guide projection",
            "tip height",
            "installed spring height",
            "retainer-to-seal",
            "spring free length",
            "spring squareness",
            "valve length",
            "margin",
            "seat width",
        ),
        depth="head face",
    ),
    "spring changed": Work(
        "valves",
        ("installed spring height", "spring free length", "spring squareness"),
        (*_PARTS, "retainer-to-seal", "valve length", "margin", *_HEAD),
    ),
    "shim changed": replace(_SHIM, depth="shims"),
    "retainer changed": Work(
        "valves",
        ("installed spring height", "retainer-to-seal"),
        (*_PARTS, "spring free length", "spring squareness", "valve length", "margin", *_HEAD),
    ),
    "head heated": _CASTING,
    "head welded": _CASTING,
    "head straightened": _CASTING,
    "head washed": Work("head", _CASTING_STALE, _CASTING_UNTOUCHED, little=True),
    "gauge found out": Work("gauge", tuple(CHARACTERISTICS), ()),
}
"""By operation, what becomes stale; docs/staleness.md is made of it."""


CHAMBER_WORK: Final[frozenset[Operation]] = frozenset({
    "valve refaced", "valve replaced", "valve moved", "insert fitted", "seat cut", "seat ground",
    "seat lapped", "face skimmed", "head welded",
})  # fmt: skip
"""Work that gives a chamber another volume, those of the named valves or all."""


def whole_row(names: set[str]) -> tuple[str, ...]:
    """Complete characteristics by those reckoned from them, in the order of measuring.

    >>> whole_row({"face height"})
    ('face height', 'head-face flatness')
    """
    return tuple(
        name
        for name, item in CHARACTERISTICS.items()
        if name in names or names.intersection(item.reckoned_from)
    )


def staleness_page() -> str:
    """Write the table of docs/staleness.md, Markdown, one line for each operation."""
    words = {
        "valves": "the valves named",
        "head": "the whole head",
        "gauge": "what the gauge measured",
    }
    lines = ["| operation | concerns | must be measured again | untouched |", "|---|---|---|---|"]
    for name, work in WORK.items():
        stale = "everything since its last good check" if work.concerns == "gauge" else ""
        lines.append(
            f"| {name} | {words[work.concerns]} | {stale or ', '.join(work.stale)} "
            f"| {', '.join(work.untouched) or 'nothing'} |"
        )
    return "\n".join(lines) + "\n"
