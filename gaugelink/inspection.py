"""What a person looks at and tries before a head is released, and which work makes it void.

No gauge tells whether a spring's end coil is whole or a collet sits in its groove: somebody looks,
says sound or condemned, and gives a name. What was looked at before the part was worked on, taken
out or replaced says nothing about the part as it is now, and has to be looked at again.

Sources: common practice, no source, for the list and for the table. That valves are looked at for
burnt faces, pits, worn collet grooves and tips, springs for pits, and castings for cracks before
time is spent on measuring, is how shops work; so is it that a guide or an insert which fits too
tightly cracks a head, which is why the crack test is repeated after either.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, get_args

if TYPE_CHECKING:
    from gaugelink.work import Operation

Check = Literal[
    "valve", "guide", "seat", "spring", "collets seated", "leak test", "head face", "crack test"
]
"""Everything that can be looked at or tried."""


@dataclass(frozen=True, slots=True)
class Look:
    """What one check is.

    Attributes:
        of: one for each valve, or one for the head.
        at: what to look at or try.
        required: no head is released without it. One that is not still blocks once it was done
            and found bad, or done before work that makes it void.
    """

    of: Literal["valve", "head"]
    at: str
    required: bool = True


CHECKS: Final[dict[Check, Look]] = {
    "valve": Look("valve", "face not burnt or pitted, collet groove and tip not worn"),
    "guide": Look("valve", "not cracked or loose, bore clean"),
    "seat": Look("valve", "not pitted or cracked, insert tight, valve touches all round"),
    "spring": Look("valve", "no pits, no broken or worn coil"),
    "collets seated": Look("valve", "both collets home in their groove and in the retainer"),
    "leak test": Look("valve", "port holds vacuum or fluid; where the shop tests it", False),
    "head face": Look("head", "no scores, no corrosion between the chambers, clean"),
    "crack test": Look("head", "dye, magnetic particle or pressure test shows no crack"),
}
"""By check, what it is, in the order of looking."""
assert tuple(CHECKS) == get_args(Check)

_GUIDE: Final = ("guide", "seat", "collets seated", "leak test")
_VALVE: Final = ("valve", "seat", "collets seated", "leak test")
_SEAT: Final = ("seat", "collets seated", "leak test")
_HEAT: Final = ("guide", "seat", "collets seated", "leak test", "head face", "crack test")

VOIDS: Final[dict[Operation, tuple[Check, ...]]] = {
    # Pressed in, a guide or an insert can crack the head.
    "guide replaced": (*_GUIDE, "crack test"),
    "guide reamed": _GUIDE,
    "guide honed": _GUIDE,
    "guide sleeved": _GUIDE,
    "valve refaced": _VALVE,
    "tip ground": ("valve", "collets seated"),
    "valve replaced": _VALVE,
    "valve moved": _VALVE,
    "insert fitted": (*_SEAT, "crack test"),
    "seat cut": _SEAT,
    "seat ground": _SEAT,
    # Lapping works on both, and compound may be left in.
    "seat lapped": _VALVE,
    "face skimmed": ("collets seated", "head face"),  # the valves are out for it
    "spring changed": ("spring", "collets seated"),
    "shim changed": ("collets seated",),
    "retainer changed": ("collets seated",),
    "head heated": _HEAT,
    "head welded": _HEAT,
    "head straightened": _HEAT,
    "head washed": (),
    "gauge found out": (),
}
"""By operation, the checks that it makes void: of the valves named, or of the whole head.

Washing takes no part out and changes none; a gauge looks at nothing.
"""


def inspection_page() -> str:
    """Write the tables of docs/release.md, Markdown: the checks, and what makes each void.

    >>> inspection_page().splitlines()[2][:28]
    '| valve | one for each valve'
    """
    lines = ["| check | of | look at | made void by |", "|---|---|---|---|"]
    for name, look in CHECKS.items():
        by = ", ".join(operation for operation, checks in VOIDS.items() if name in checks)
        of = "one for each valve" if look.of == "valve" else "the head"
        at = look.at if look.required else f"{look.at} (not required)"
        lines.append(f"| {name} | {of} | {at} | {by} |")
    return "\n".join(lines) + "\n"
